"""Finding the printed cards in a photo: which they are, and where their chessboard corners lie.

Markers (found on a reduced copy) only say where to look. What is measured are the saddle points where
four squares meet, at full size: a saddle stays put when over-exposed white bleeds into black.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array
from .geometry import CARD_COUNT, MARKER_GAP_IN, MARKERS_PER_CARD, marker_corners_in, outline_in, saddles_in

# Longest side of the copy that is searched for markers, px; the full photo is searched only if this finds none.
SEARCH_SIDE_PX = 1400
# A card needs so many markers for its place to be trusted before refinement; so few already show that a card lies there.
MIN_MARKERS, HINT_MARKERS = 3, 2
# Markers smaller than this on the searched copy, px, may have neighbours that are too small for it: a larger copy is searched then.
SMALL_MARKER_PX = 18.0
# Half the refinement window stays so far inside the next marker's corner, px (blur reaches that far).
WINDOW_CLEARANCE_PX = 2.0
MAX_WINDOW_PX = 10.0
MIN_WINDOW_PX = 2.0
# A refined saddle farther than this from where the card's other saddles put it is not one, as a share of a square.
MAX_SADDLE_MISS = 0.06

# Rounds of damping outliers in a homography, where there are more points than this.
ROUNDS, FEWEST_TO_DAMP = 4, 8


@dataclass(frozen=True)
class SeenCard:
    """One card in the photo."""

    number: int  # 1..8
    saddles_in: Array  # (n, 2) on the card as drawn: x right, y up from its centre, nominal inches
    saddles_px: Array  # (n, 2) in the upright photo
    outline_px: Array  # (4, 2) the card's corners


@dataclass(frozen=True)
class CardSearch:
    """All cards that were read, and what else was seen of cards."""

    cards: tuple[SeenCard, ...]
    repeated: tuple[int, ...]  # numbers that stand in the photo more than once: left out
    partial: tuple[int, ...] = ()  # numbers of which too little shows: left out
    others_px: tuple[Array, ...] = ()  # (4, 2) outlines of all that was left out


def find_cards(grey: NDArray[np.uint8]) -> CardSearch:
    """Read the cards in an upright grey photo (h, w)."""
    markers = _markers_on_copy(grey, SEARCH_SIDE_PX)
    by_card = _by_card(markers)
    if max(grey.shape) > SEARCH_SIDE_PX:
        if not any(len(copy) >= MIN_MARKERS for copies in by_card.values() for copy in copies):
            by_card = _by_card(_markers_on_copy(grey, max(grey.shape)))
        elif _middle_side(markers) * SEARCH_SIDE_PX / max(grey.shape) < SMALL_MARKER_PX:
            by_card = _by_card(_markers_on_copy(grey, min(2 * SEARCH_SIDE_PX, max(grey.shape))))
    cards, repeated, partial, others = [], [], [], []
    for number, copies in by_card.items():
        whole = [copy for copy in copies if len(copy) >= MIN_MARKERS]
        card = _measure(grey, number, whole[0]) if len(whole) == 1 else None
        if len(whole) > 1:
            repeated.append(number)
        elif card is None:
            partial.append(number)
        else:
            cards.append(card)
        others += [_outline(copy) for copy in copies if card is None or copy is not whole[0]]
    return CardSearch(tuple(sorted(cards, key=lambda c: c.number)), tuple(sorted(repeated)), tuple(sorted(partial)), tuple(others))


def _middle_side(markers: list[tuple[int, Array]]) -> float:
    return float(np.median([np.linalg.norm(quad[0] - quad[1]) for _, quad in markers]))


def _outline(copy: dict[int, Array]) -> Array:
    """(4, 2) px: about where a card lies of which a few markers were seen."""
    drawn = np.concatenate([marker_corners_in(place) for place in copy])
    return _apply(_homography(drawn, np.concatenate(list(copy.values()))), outline_in())


def _markers_on_copy(grey: NDArray[np.uint8], side_px: int) -> list[tuple[int, Array]]:
    """(marker id, its corners (4, 2) in full-size pixels), from a copy with the given longest side."""
    import cv2

    scale = min(1.0, side_px / max(grey.shape))
    copy = grey if scale == 1 else cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    settings = cv2.aruco.DetectorParameters()
    # One threshold window a little wider than a marker's module does for cards of every usual size and saves two thirds of the time.
    settings.adaptiveThreshWinSizeMin = settings.adaptiveThreshWinSizeMax = 23
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(copy)
    if ids is None:
        return []
    # Reduced copies keep pixel edges, not centres.
    sx, sy = copy.shape[1] / grey.shape[1], copy.shape[0] / grey.shape[0]
    found = []
    for marker, quad in zip(ids.ravel(), corners, strict=True):
        full = (quad.reshape(4, 2).astype(float) + 0.5) / [sx, sy] - 0.5
        found.append((int(marker), full))
    return found


def _by_card(markers: list[tuple[int, Array]]) -> dict[int, list[dict[int, Array]]]:
    """Markers grouped into cards: card number -> its copies, each a mapping of marker place (0..9) to corners."""
    groups: dict[int, list[dict[int, Array]]] = {}
    for number in range(1, CARD_COUNT + 1):
        mine = [(m % MARKERS_PER_CARD, quad) for m, quad in markers if m // MARKERS_PER_CARD + 1 == number]
        copies: list[dict[int, Array]] = []
        for place, quad in mine:
            for copy in copies:
                if place not in copy and _agree(copy, place, quad):
                    copy[place] = quad
                    break
            else:
                copies.append({place: quad})
        copies = [copy for copy in copies if len(copy) >= HINT_MARKERS]
        if copies:
            groups[number] = copies
    return groups


def _agree(copy: dict[int, Array], place: int, quad: Array) -> bool:
    """Whether a marker lies where a card's other markers put it."""
    design = np.ones((4 * len(copy), 3))
    design[:, :2] = np.concatenate([marker_corners_in(other) for other in copy])
    seen = np.array(list(copy.values()))
    # Over a card an affine map is wrong by less than is allowed for here.
    to_photo = np.linalg.solve(design.T @ design, design.T @ seen.reshape(-1, 2))
    centre = quad.mean(axis=0)
    missed = marker_corners_in(place).mean(axis=0) @ to_photo[:2] + to_photo[2] - centre
    side = float(np.hypot(*(quad[0] - quad[1])))
    away = float(np.hypot(*(seen.mean(axis=1) - centre).T).min())
    # Markers foresee the next one to a few per cent of the distance; another copy of the card lies a card's width off at least.
    return float(np.hypot(*missed)) < 0.5 * side + 0.2 * away


def _measure(grey: NDArray[np.uint8], number: int, markers: dict[int, Array]) -> SeenCard | None:
    """Refine a card's saddles on the full photo; None where too few can be had."""
    import cv2

    drawn = np.concatenate([marker_corners_in(place) for place in markers])
    seen = np.concatenate(list(markers.values()))
    homography = _homography(drawn, seen)
    nominal = saddles_in()
    start = _apply(homography, nominal)
    square_px = float(np.median(np.linalg.norm(np.diff(start.reshape(3, 4, 2), axis=1), axis=-1)))
    ppi = square_px / float(np.linalg.norm(nominal[1] - nominal[0]))
    half = int(np.clip(MARKER_GAP_IN * ppi - WINDOW_CLEARANCE_PX, MIN_WINDOW_PX, MAX_WINDOW_PX))
    height, width = grey.shape
    margin = half + 2
    inside = np.all((start > margin) & (start < np.array([width, height]) - 1 - margin), axis=1)
    if inside.sum() < 6:
        return None
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 1e-3)
    left, top = np.floor(start[inside].min(axis=0)).astype(int) - margin - 2
    left, top = max(left, 0), max(top, 0)
    right, bottom = np.ceil(start[inside].max(axis=0)).astype(int) + margin + 3
    crop = np.ascontiguousarray(grey[top:bottom, left:right])
    corners = (start[inside] - [left, top]).astype(np.float32).reshape(-1, 1, 2)
    # Twice: the first pass brings a start that may be pixels off into the middle of its window.
    for _ in range(2):
        corners = cv2.cornerSubPix(crop, corners, (half, half), (-1, -1), stop)
    refined = corners.reshape(-1, 2).astype(float) + [left, top]
    better = _homography(nominal[inside], refined)
    miss = np.linalg.norm(_apply(better, nominal[inside]) - refined, axis=1)
    good = miss < max(MAX_SADDLE_MISS * square_px, 1.0)
    if good.sum() < 6:
        return None
    return SeenCard(number, nominal[inside][good], refined[good], _apply(better, outline_in()))


def _homography(from_points: Array, to_points: Array) -> Array:
    """(3, 3) from points (n, 2) to points (n, 2): normalised direct linear transform, outliers damped.

    Hartley and Zisserman, Multiple View Geometry, algorithm 4.2; the weights are Cauchy's. (OpenCV's takes twenty times as long, and
    a photo needs a hundred of them.)
    """
    to_unit, from_unit = _to_unit(to_points), _to_unit(from_points)
    source, target = _apply(from_unit, from_points), _apply(to_unit, to_points)
    ones = np.column_stack([source, np.ones(len(source))])
    rows = np.zeros((len(source), 2, 9))
    rows[:, 0, :3], rows[:, 0, 6:] = ones, -target[:, :1] * ones
    rows[:, 1, 3:6], rows[:, 1, 6:] = ones, -target[:, 1:] * ones
    weight = np.ones(len(source))
    for _ in range(ROUNDS if len(source) > FEWEST_TO_DAMP else 1):
        flat = rows.reshape(-1, 9)
        _, vectors = np.linalg.eigh(flat.T @ (np.repeat(weight, 2)[:, None] * flat))
        unit = vectors[:, 0].reshape(3, 3)
        miss = np.linalg.norm(_apply(unit, source) - target, axis=1)
        weight = 1 / (1 + (miss / (2 * np.median(miss) + 1e-12)) ** 2)
    return np.linalg.inv(to_unit) @ unit @ from_unit


def _to_unit(points: Array) -> Array:
    """(3, 3): brings points' middle to 0 and their usual distance from it to 1."""
    middle = points.mean(axis=0)
    scale = 1 / max(float(np.linalg.norm(points - middle, axis=1).mean()), 1e-12)
    return np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1.0]])


def _apply(homography: Array, points: Array) -> Array:
    mapped = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return mapped[:, :2] / mapped[:, 2:]
