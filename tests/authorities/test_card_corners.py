"""Card corners against boards that OpenCV draws, with its pixel convention.

Sources: integer = centre of a pixel, so a corner on a pixel's edge reads k - .5 (opencv/opencv issues 10130, 22288, 24633);
a reduced copy keeps centres, u_full = (u + .5) / s - .5; a board detector once half a pixel off: issue 25539.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from seamcheck.cards.detect import find_cards
from seamcheck.cards.geometry import CARD_COUNT, CARD_WIDTH_IN, MARKERS_PER_CARD, marker_corners_in, saddles_in

SIDE_PX = 80
MARGIN_PX = 200
CONVENTION_PX = 0.02  # a detector that is off by the half pixel of a convention is off by 25 times this


def drawn(number: int, side_px: int = SIDE_PX, margin_px: int = MARGIN_PX) -> tuple[np.ndarray, np.ndarray]:
    """Card `number` as OpenCV draws it, grey, and its 12 corners (12, 2) in pixels."""
    ids = MARKERS_PER_CARD * (number - 1) + np.arange(MARKERS_PER_CARD)
    board = cv2.aruco.CharucoBoard((5, 4), 0.5, 0.375, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100), ids)
    picture = np.full((4 * side_px + 2 * margin_px, 5 * side_px + 2 * margin_px), 255, np.uint8)
    picture[margin_px:-margin_px, margin_px:-margin_px] = board.generateImage((5 * side_px, 4 * side_px))
    corners = [[margin_px + side_px * column - 0.5, margin_px + side_px * row - 0.5] for row in (1, 2, 3) for column in (1, 2, 3, 4)]
    return picture, np.array(corners)


def test_a_card_is_as_wide_as_it_says() -> None:
    assert CARD_WIDTH_IN == 3.0
    board = cv2.aruco.CharucoBoard((5, 4), 0.5, 0.375, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100))
    theirs = np.array(board.getChessboardCorners())[:, :2]
    assert saddles_in() - saddles_in()[0] == pytest.approx((theirs - theirs[0]) * [1, -1], abs=1e-6)
    markers = np.array([corners[:, :2] for corners in board.getObjPoints()])
    ours = np.array([marker_corners_in(place) for place in range(MARKERS_PER_CARD)])
    assert ours - ours[0, 0] == pytest.approx((markers - markers[0, 0]) * [1, -1], abs=1e-6)


@pytest.mark.parametrize("number", range(1, CARD_COUNT + 1))
def test_corners_lie_where_opencv_draws_them(number: int) -> None:
    picture, corners = drawn(number)
    (card,) = find_cards(cv2.GaussianBlur(picture, (0, 0), 1.2)).cards
    assert card.number == number
    assert card.saddles_px == pytest.approx(corners, abs=CONVENTION_PX)


def test_corners_between_pixels() -> None:
    """Drawn four times too large, each pixel then the mean of 4 x 4: corners fall on eighths of a pixel."""
    picture, corners = drawn(5, 4 * SIDE_PX + 1, 4 * MARGIN_PX + 2)
    height, width = (length // 4 * 4 for length in picture.shape)
    small = cv2.resize(cv2.GaussianBlur(picture[:height, :width], (0, 0), 4.0), None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    (card,) = find_cards(small).cards
    assert card.saddles_px == pytest.approx((corners + 0.5) / 4 - 0.5, abs=CONVENTION_PX)


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_corners_of_a_turned_card(turns: int) -> None:
    """Turning the picture by quarters turns the corners about its middle, and nothing else."""
    picture, corners = drawn(2)
    turned = np.ascontiguousarray(np.rot90(cv2.GaussianBlur(picture, (0, 0), 1.2), turns))
    (card,) = find_cards(turned).cards
    quarter = np.array([[0, 1], [-1, 0]])  # u' = v, v' = -u: counterclockwise as seen, v down
    middle = (np.array(picture.shape[::-1]) - 1) / 2
    middle_turned = (np.array(turned.shape[::-1]) - 1) / 2
    expected = (corners - middle) @ np.linalg.matrix_power(quarter, turns).T + middle_turned
    assert card.saddles_px == pytest.approx(expected, abs=CONVENTION_PX)


def test_white_that_bleeds_leaves_saddles_in_place() -> None:
    """Over-exposure: white spreads over black by a pixel all round, which moves a marker's corners but no saddle."""
    picture, corners = drawn(7)
    bled = cv2.GaussianBlur(cv2.dilate(picture, np.ones((3, 3), np.uint8)), (0, 0), 1.0)
    (card,) = find_cards(bled).cards
    assert card.saddles_px == pytest.approx(corners, abs=0.1)
