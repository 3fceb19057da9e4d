"""The sheet of eight scale cards with its two check bars, as a PDF at true scale."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..basis.language import say, to_say
from ..cards.geometry import (
    BAR_ACROSS_IN,
    BAR_ALONG_IN,
    CARD_COUNT,
    CARD_HEIGHT_IN,
    CARD_WIDTH_IN,
    COLUMNS,
    MARGIN_IN,
    MARKERS_PER_CARD,
    ROWS,
    SQUARE_IN,
    marker_places,
    square_is_white,
)
from ..sheet import Loop, PdfKind, Sheet, text_width_in

CARDS_ACROSS, CARDS_DOWN = 2, 4
MODULES_PER_SQUARE = 8  # a marker is 6 modules wide and stands one module inside its square
MARKER_MODULES = 6
MODULE_IN = SQUARE_IN / MODULES_PER_SQUARE

HAIRLINE_IN = 0.004  # the bars' ticks: a steel rule's own graduations are wider
BAR_LINE_IN = 0.008
TICK_IN = 0.16
CUT_GREY = 0.6
CARD_TEXT_IN = 0.105  # height of type
NOTE_TEXT_IN = 0.14

NOTES = (
    to_say('Print at 100 %, never "fit to page". Lay a steel rule along both bars, and give its readings: --bar-across, --bar-along.'),
    to_say("Glue the whole sheet flat to thin stiff card. When it is dry, cut along the grey lines: eight cards, 3 by 2 1/2 in."),
    to_say("Lay four or more flat round the rose, beyond the points, clear of the seams. Take one photo from above, all of it in view."),
)


def board_modules(card: int) -> NDArray[np.bool_]:
    """(32, 40): which modules of a card's board are black, the top left one first."""
    import cv2

    black = np.zeros((ROWS * MODULES_PER_SQUARE, COLUMNS * MODULES_PER_SQUARE), bool)
    for row in range(ROWS):
        for column in range(COLUMNS):
            black[_square(row, column)] = not square_is_white(row, column)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    for place, (row, column) in enumerate(marker_places()):
        marker = cv2.aruco.generateImageMarker(dictionary, MARKERS_PER_CARD * (card - 1) + place, MARKER_MODULES)
        black[_square(row, column)][1:-1, 1:-1] = marker == 0
    return black


def _square(row: int, column: int) -> tuple[slice, slice]:
    n = MODULES_PER_SQUARE
    return slice(row * n, (row + 1) * n), slice(column * n, (column + 1) * n)


def outlines(filled: NDArray[np.bool_]) -> list[list[tuple[int, int]]]:
    """The closed outlines of the filled cells of a grid, as corners (column, row) with row 0 at the top.

    Seen with rows running down, the filled side lies on the right; turned over, with y up, on the left.
    Where two filled cells touch at a corner only, the outlines pass each other there.
    """
    padded = np.pad(filled, 1)
    following: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for row, column in np.argwhere(filled).tolist():
        corners = [(column, row), (column + 1, row), (column + 1, row + 1), (column, row + 1)]
        beyond = [padded[row, column + 1], padded[row + 1, column + 2], padded[row + 2, column + 1], padded[row + 1, column]]
        for side in range(4):
            if not beyond[side]:
                following.setdefault(corners[side], []).append(corners[(side + 1) % 4])
    loops = []
    while following:
        start = min(following)
        loop = [start]
        while True:
            here = loop[-1]
            there = following[here].pop()
            if not following[here]:
                del following[here]
            if there == start:
                break
            loop.append(there)
        loops.append(_without_straight_corners(loop))
    return loops


def _without_straight_corners(loop: list[tuple[int, int]]) -> list[tuple[int, int]]:
    kept = []
    for index, here in enumerate(loop):
        before, after = loop[index - 1], loop[(index + 1) % len(loop)]
        if (here[0] - before[0], here[1] - before[1]) != (after[0] - here[0], after[1] - here[1]):
            kept.append(here)
    return kept


def card_places(width_in: float, height_in: float) -> list[tuple[float, float]]:
    """The middles of cards 1 to 8 on a page (page frame, inches), row by row from the top left."""
    left = (width_in - CARDS_ACROSS * CARD_WIDTH_IN) / 2
    top = (height_in + CARDS_DOWN * CARD_HEIGHT_IN) / 2
    return [
        (left + (index % CARDS_ACROSS + 0.5) * CARD_WIDTH_IN, top - (index // CARDS_ACROSS + 0.5) * CARD_HEIGHT_IN)
        for index in range(CARD_COUNT)
    ]


def card_sheet(paper: str) -> bytes:
    """The PDF file for a paper (a key of sheet.PAPERS): eight cards, the check bars and how to use them."""
    sheet = Sheet(paper, say("Scale cards"), PdfKind.CARDS)
    for card, middle in enumerate(card_places(sheet.width_in, sheet.height_in), start=1):
        _draw_card(sheet, card, middle)
    _draw_cut_lines(sheet)
    _draw_bars(sheet)
    right = (sheet.width_in + CARDS_ACROSS * CARD_WIDTH_IN) / 2
    notes = [say(note) for note in NOTES]
    start = (sheet.height_in - max(text_width_in(note, NOTE_TEXT_IN) for note in notes)) / 2
    for index, note in enumerate(notes):
        sheet.text(note, (right + 0.36 + 0.24 * index, start), NOTE_TEXT_IN, turned_deg=90)
    return sheet.pdf()


def _draw_card(sheet: Sheet, card: int, middle: tuple[float, float]) -> None:
    left, top = middle[0] - COLUMNS * SQUARE_IN / 2, middle[1] + ROWS * SQUARE_IN / 2
    loops: list[Loop] = [
        [(left + column * MODULE_IN, top - row * MODULE_IN) for column, row in loop] for loop in outlines(board_modules(card))
    ]
    sheet.fill(loops)
    words = say("Card {card}: these five squares measure 2 1/2 in", card=card)
    base = middle[1] - CARD_HEIGHT_IN / 2 + (MARGIN_IN - CARD_TEXT_IN) / 2 + 0.02
    sheet.text(words, (middle[0] - text_width_in(words, CARD_TEXT_IN) / 2, base), CARD_TEXT_IN)


def _draw_cut_lines(sheet: Sheet) -> None:
    left, right = ((sheet.width_in + side * CARDS_ACROSS * CARD_WIDTH_IN) / 2 for side in (-1, 1))
    bottom, top = ((sheet.height_in + side * CARDS_DOWN * CARD_HEIGHT_IN) / 2 for side in (-1, 1))
    for index in range(CARDS_ACROSS + 1):
        x = left + index * CARD_WIDTH_IN
        sheet.line((x, bottom), (x, top), HAIRLINE_IN, CUT_GREY)
    for index in range(CARDS_DOWN + 1):
        y = bottom + index * CARD_HEIGHT_IN
        sheet.line((left, y), (right, y), HAIRLINE_IN, CUT_GREY)


def _draw_bars(sheet: Sheet) -> None:
    """The bar across under the cards, the bar along to their left; each measured from tick to tick."""
    below = (sheet.height_in - CARDS_DOWN * CARD_HEIGHT_IN) / 2
    y, x0 = below - 0.16, (sheet.width_in - BAR_ACROSS_IN) / 2
    sheet.line((x0, y), (x0 + BAR_ACROSS_IN, y), BAR_LINE_IN)
    for x in (x0, x0 + BAR_ACROSS_IN):
        sheet.line((x, y - TICK_IN / 2), (x, y + TICK_IN / 2), HAIRLINE_IN)
    sheet.text(say("6 in, across"), (x0 + BAR_ACROSS_IN + 0.08, y - 0.04), CARD_TEXT_IN)

    x, y0 = (sheet.width_in - CARDS_ACROSS * CARD_WIDTH_IN) / 2 - 0.5, (sheet.height_in - BAR_ALONG_IN) / 2
    sheet.line((x, y0), (x, y0 + BAR_ALONG_IN), BAR_LINE_IN)
    for y in (y0, y0 + BAR_ALONG_IN):
        sheet.line((x - TICK_IN / 2, y), (x + TICK_IN / 2, y), HAIRLINE_IN)
    words = say("10 in, along: read from tick to tick, to the 1/64 in or the half millimetre")
    sheet.text(words, (x - 0.12, (sheet.height_in - text_width_in(words, CARD_TEXT_IN)) / 2), CARD_TEXT_IN, turned_deg=90)
