"""What a printed card is like: a ChArUco board in OpenCV's current pattern, with a white margin.

Card frame: inches as drawn, origin at the card's centre, x right, y up, the card's number upright.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from ..basis.frames import Array

CARD_COUNT = 8
COLUMNS, ROWS = 5, 4  # squares
SQUARE_IN = 0.5
MARKER_IN = 0.375
MARGIN_IN = 0.25  # white, all round
CARD_WIDTH_IN = COLUMNS * SQUARE_IN + 2 * MARGIN_IN
CARD_HEIGHT_IN = ROWS * SQUARE_IN + 2 * MARGIN_IN
MARKERS_PER_CARD = COLUMNS * ROWS // 2
MARKER_GAP_IN = (SQUARE_IN - MARKER_IN) / 2  # white between a marker and its square's edge
PAPER_THICKNESS_IN = 0.004  # a sheet of printer paper (common practice, no source)
BAR_ACROSS_IN = 6.0
BAR_ALONG_IN = 10.0


def square_is_white(row: int, column: int) -> bool:
    """Whether a square (row 0 at the top) carries a marker: the top left square is black."""
    return (row + column) % 2 == 1


def marker_places() -> list[tuple[int, int]]:
    """(row, column) of the ten markers in the order of their ids: row by row from the top left."""
    return [(row, column) for row in range(ROWS) for column in range(COLUMNS) if square_is_white(row, column)]


def _from_top_left(x_in: Array, y_down_in: Array) -> Array:
    """Card frame from inches right of and below the chessboard's top left corner."""
    return np.stack([x_in - COLUMNS * SQUARE_IN / 2, ROWS * SQUARE_IN / 2 - y_down_in], axis=-1)


@lru_cache
def marker_corners_in(place: int) -> Array:
    """(4, 2) corners of the place-th marker (0..9): top left, top right, bottom right, bottom left."""
    row, column = marker_places()[place]
    x = column * SQUARE_IN + MARKER_GAP_IN + np.array([0, MARKER_IN, MARKER_IN, 0])
    y = row * SQUARE_IN + MARKER_GAP_IN + np.array([0, 0, MARKER_IN, MARKER_IN])
    return _from_top_left(x, y)


def saddles_in() -> Array:
    """(12, 2) inner chessboard corners, row by row from the top left."""
    y, x = np.meshgrid(np.arange(1, ROWS), np.arange(1, COLUMNS), indexing="ij")
    return _from_top_left(x.ravel() * SQUARE_IN, y.ravel() * SQUARE_IN)


def outline_in() -> Array:
    """(4, 2) the cut-out card's corners: top left, top right, bottom right, bottom left."""
    w, h = CARD_WIDTH_IN / 2, CARD_HEIGHT_IN / 2
    return np.array([[-w, h], [w, h], [w, -h], [-w, -h]])
