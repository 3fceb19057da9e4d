"""Drawings at true size on the pages of a PDF: one page where they fit, else tiles with an overlap and marks to join them by.

Every page carries the two check bars that the card sheet has, so one pair of readings serves for both.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from ..basis.language import say, to_say
from ..basis.units import lengths
from ..cards.geometry import BAR_ACROSS_IN, BAR_ALONG_IN
from ..sheet import PAPERS, PdfKind, Sheet, text_width_in
from .drawing import (
    DASHED_IN,
    FINE_IN,
    PLAIN_IN,
    SMALL_TEXT_IN,
    TITLE_TEXT_IN,
    Circle,
    Drawing,
    Fill,
    Item,
    Layer,
    Stroke,
    Words,
    places_on,
)

# The window for the drawing on a page: from its left and right, bottom and top edges, inches.
LEFT_IN, RIGHT_IN, BOTTOM_IN, TOP_IN = 0.75, 0.35, 0.95, 0.7
BAR_FROM_LEFT_IN, BAR_FROM_BOTTOM_IN, TICK_IN = 0.45, 0.66, 0.16
FOOT_IN, HEAD_IN = 0.3, 0.48  # base lines, from the bottom and the top

OVERLAP_IN = 0.5  # of neighbouring tiles: room for tape and for a look at the marks on both
MARK_IN = 0.12  # a join mark's radius
MARK_EVERY_IN = 3.0
JOIN_GREY = 0.45

FOOT = to_say("Print at 100 %. Lay a steel rule along both bars: if they are off, make it again with --bar-across and --bar-along.")


def room_in(paper: str) -> tuple[float, float]:
    """Width and height of what fits on one page."""
    width, height = PAPERS[paper]
    return width - LEFT_IN - RIGHT_IN, height - BOTTOM_IN - TOP_IN


def fits(drawing: Drawing, paper: str) -> bool:
    """Whether the drawing needs no tiles."""
    (left, bottom, right, top), (width, height) = drawing.bounds(), room_in(paper)
    return right - left <= width + 1e-9 and top - bottom <= height + 1e-9


def pages(
    drawings: Sequence[Drawing], paper: str, title: str, print_scale: tuple[float, float] = (1.0, 1.0), kind: PdfKind = PdfKind.PATTERNS
) -> bytes:
    """The PDF file. print_scale: how much larger than the file the printer prints, along x and y."""
    sheet = Sheet(paper, title, kind, print_scale)
    todo = [(drawing, place, tiles) for drawing in drawings for tiles in [tile_corners(drawing, paper)] for place in tiles]
    for number, (drawing, place, tiles) in enumerate(todo, 1):
        if number > 1:
            sheet.next_page()
        _tile(sheet, drawing, tiles, place)
        _frame(sheet, drawing.title, _whereabouts(tiles, place), say("page {number} of {count}", number=number, count=len(todo)))
    return sheet.pdf()


Corner = tuple[float, float]


def tile_corners(drawing: Drawing, paper: str) -> list[Corner]:
    """The window's lower left corner in the drawing's frame for each tile that shows any of it, row by row from the top left."""
    left, bottom, right, top = drawing.bounds()
    width, height = room_in(paper)
    across, down = _count(right - left, width), _count(top - bottom, height)
    # One tile has the drawing in its middle; of several the first is full, so that no join runs down the middle of the rose.
    first_left = left if across > 1 else (left + right - width) / 2
    first_top = top if down > 1 or drawing.from_top else (bottom + top + height) / 2
    tiles = [
        (first_left + column * (width - OVERLAP_IN), first_top - height - row * (height - OVERLAP_IN))
        for row in range(down)
        for column in range(across)
    ]
    places = [place for item in drawing.items for place in places_on(item)]
    return [(x, y) for x, y in tiles if len(tiles) == 1 or any(x <= px <= x + width and y <= py <= y + height for px, py in places)]


def _count(needed_in: float, window_in: float) -> int:
    return 1 if needed_in <= window_in + 1e-9 else ceil((needed_in - OVERLAP_IN) / (window_in - OVERLAP_IN) - 1e-9)


def _tile(sheet: Sheet, drawing: Drawing, tiles: list[Corner], place: Corner) -> None:
    window = (LEFT_IN, BOTTOM_IN, sheet.width_in - RIGHT_IN, sheet.height_in - TOP_IN)
    with sheet.within(*window, (LEFT_IN - place[0], BOTTOM_IN - place[1])):
        for item in drawing.items:
            _draw(sheet, item)
        for item in _joins(tiles, (window[2] - window[0], window[3] - window[1])):
            _draw(sheet, item)


def _draw(sheet: Sheet, item: Item) -> None:
    if isinstance(item, Stroke):
        sheet.stroke(item.points, item.width_in, item.closed, item.grey, item.dash_in)
    elif isinstance(item, Circle):
        sheet.circle(item.middle, item.radius_in, item.width_in, item.grey)
    elif isinstance(item, Fill):
        sheet.fill([item.points], item.grey)
    elif isinstance(item, Words):
        sheet.text(item.text, item.start, item.size_in, item.turned_deg, item.grey)


def _joins(tiles: list[Corner], window_in: tuple[float, float]) -> list[Item]:
    """Where tiles join, in the drawing's frame: the middle of each overlap, with marks that both tiles show."""
    columns, rows = sorted({x for x, _ in tiles}), sorted({y for _, y in tiles})
    ends_x, ends_y = (columns[0], columns[-1] + window_in[0]), (rows[0], rows[-1] + window_in[1])
    marks = Drawing("")
    count = 0
    for starts, (low, high), upright in ((columns, ends_y, True), (rows, ends_x, False)):
        for start in starts[1:]:
            at = start + OVERLAP_IN / 2
            line = ((at, low), (at, high)) if upright else ((low, at), (high, at))
            marks.line(*line, Layer.NOTE, FINE_IN, JOIN_GREY, DASHED_IN)
            spaces = max(round((high - low) / MARK_EVERY_IN), 2)
            for k in range(spaces):
                along = low + (k + 0.5) * (high - low) / spaces
                count += 1
                _mark(marks, (at, along) if upright else (along, at), str(count))
    return marks.items


def _mark(marks: Drawing, at: Corner, name: str) -> None:
    x, y = at
    marks.circle(at, MARK_IN / 2, Layer.NOTE, FINE_IN)
    marks.line((x - MARK_IN, y), (x + MARK_IN, y), Layer.NOTE, FINE_IN)
    marks.line((x, y - MARK_IN), (x, y + MARK_IN), Layer.NOTE, FINE_IN)
    marks.words(name, (x + 0.07, y + 0.06), 0.08)


def _whereabouts(tiles: list[Corner], place: Corner) -> str:
    columns, rows = sorted({x for x, _ in tiles}), sorted({y for _, y in tiles}, reverse=True)
    if len(tiles) == 1:
        return ""
    across, down = columns.index(place[0]) + 1, rows.index(place[1]) + 1
    return say(
        "row {down} of {rows}, column {across} of {columns}: cut along one dashed line, lay its marks on the other sheet's, tape",
        down=down,
        rows=len(rows),
        across=across,
        columns=len(columns),
    )


def _frame(sheet: Sheet, title: str, where: str, number: str) -> None:
    """The title, the check bars and the foot of a page."""
    top = sheet.height_in - HEAD_IN
    sheet.text(title, (LEFT_IN, top), TITLE_TEXT_IN)
    sheet.text(where, (LEFT_IN, top - 0.17), SMALL_TEXT_IN)
    sheet.text(number, (sheet.width_in - RIGHT_IN - text_width_in(number, SMALL_TEXT_IN), top), SMALL_TEXT_IN)
    sheet.text(say(FOOT), (LEFT_IN, FOOT_IN), SMALL_TEXT_IN)

    y, x0 = BAR_FROM_BOTTOM_IN, LEFT_IN
    sheet.line((x0, y), (x0 + BAR_ACROSS_IN, y), PLAIN_IN)
    for x in (x0, x0 + BAR_ACROSS_IN):
        sheet.line((x, y - TICK_IN / 2), (x, y + TICK_IN / 2), FINE_IN)
    sheet.text(say("{bar}, across", bar=lengths().plain(BAR_ACROSS_IN)), (x0 + BAR_ACROSS_IN + 0.08, y - 0.04), SMALL_TEXT_IN)

    x, y0 = BAR_FROM_LEFT_IN, (sheet.height_in - BAR_ALONG_IN) / 2
    sheet.line((x, y0), (x, y0 + BAR_ALONG_IN), PLAIN_IN)
    for y in (y0, y0 + BAR_ALONG_IN):
        sheet.line((x - TICK_IN / 2, y), (x + TICK_IN / 2, y), FINE_IN)
    sheet.text(say("{bar}, along", bar=lengths().plain(BAR_ALONG_IN)), (x - 0.07, sheet.height_in / 2), SMALL_TEXT_IN, turned_deg=90)
