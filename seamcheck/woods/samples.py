"""Samples lying apart on a bench beside a card: found as pieces of another colour, each with its light, figure and grain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array
from ..edges import SRGB_TO_LINEAR
from ..find.light import LogLight, log_light
from ..find.loose import strangeness
from ..plane.camera import Camera
from ..plane.rectify import flatten, reduced, seen_box
from .white import Whiteness

FIND_PPI, LOOK_PPI = 24.0, 100.0
FARTHEST_IN = 30.0  # from the photo's middle
# Robust standard deviations from the bench's colour at which pieces are outlined; at several, since woods and benches differ.
LEVELS = (3.0, 4.5, 7.0, 11.0)
# A sample's size, square inches, how much of its hull it fills, and how narrow it may be (inches).
AREA_FROM_IN2, AREA_TO_IN2, SOLID, NARROWEST_IN = 0.4, 150.0, 0.85, 0.3
# Pieces that share this much of the smaller are one.
SAME_SHARE = 0.3
# So much of a piece's rim is left out: its shadow, its side, halos of sharpening (inches).
RIM_IN = 0.08
# What an eye tells apart at six feet (an arc minute): figure finer than this melts together, inches.
CELL_IN = 0.02
# Samples whose middles differ less than this share of their height lie in one row.
ROW_SHARE = 0.6
STEP = 4
# What they lie on is the colour close beside them (inches, from and to): a band, a floor or another board farther out isn't.
BESIDE_IN = (0.15, 0.6)
# Of that colour is what differs from it, smoothed over SMOOTH_IN, by no more robust standard deviations and, beyond them, log light.
BESIDE_SIGMAS, BESIDE_LOG = 3.0, 0.04
SMOOTH_IN = 0.2
SHORTEST_SIDE_IN = 0.6  # of the square from which it is measured
# Two woods in one piece: their mean log light differs by so much, each has so much of the piece, and a straight line parts nearly all.
TWO_WOODS_LOG, TWO_WOODS_SHARE, TWO_WOODS_PARTED, TWO_WOODS_SMOOTH_IN = 0.3, 0.1, 0.97, 0.08
# Of how much of the gradient's power runs across the grain; below, a piece has no grain to speak of.
LEAST_GRAIN = 0.15


@dataclass(frozen=True)
class Sample:
    """A piece of wood."""

    number: int
    name: str
    outline_px: Array  # (n, 2) in the photo
    middle_in: Array  # (2,)
    cells: Array  # (m, 3) reflectance R, G, B of cells CELL_IN wide
    texture: Array  # (h, w, 3) reflectance, grain upright, LOOK_PPI to the inch
    u_log: float  # standard uncertainty of its log light, apart from the other samples'

    @property
    def colour(self) -> Array:
        """(3,): what it comes to from afar."""
        return np.asarray(self.cells.mean(axis=0))

    def renamed(self, name: str) -> Sample:
        return Sample(self.number, name, self.outline_px, self.middle_in, self.cells, self.texture, self.u_log)


def find_samples(
    bgr: NDArray[np.uint8], camera: Camera, card_outlines_in: Sequence[Array], white: Whiteness, z_in: float
) -> tuple[list[Sample], Sample | None]:
    """(samples in reading order, what they lie on). A piece that the frame cuts or that hardly differs from the bench isn't found."""
    low, high = seen_box(camera, (bgr.shape[1], bgr.shape[0]), z_in, FARTHEST_IN)
    factor = max(1, int(camera.px_per_in_at((low + high) / 2, z_in) / FIND_PPI))
    view = flatten(reduced(bgr, factor), camera, low, high, z_in, FIND_PPI, factor)
    light = log_light(view, card_outlines_in)
    outlines = _outlines(light)
    found = []
    for outline in outlines:
        piece = piece_of(bgr, camera, view.in_of(outline.astype(float)), z_in, white)
        if piece is not None:
            found.append((view.in_of(outline.astype(float)), piece))
    numbered = _in_reading_order([camera.px_from_plane(outline, z_in) for outline, _ in found])
    samples = []
    for number, k in enumerate(numbered, 1):
        outline, (cells, texture) = found[k]
        middle = outline.mean(axis=0)
        samples.append(Sample(number, str(number), camera.px_from_plane(outline, z_in), middle, cells, texture, white.u_log(middle)))
    return samples, _ground(bgr, camera, light, _filled(outlines, light.wood.shape), white)


def _outlines(light: LogLight) -> list[NDArray[np.int32]]:
    """Convex outlines (n, 2) of pieces, pixels of the view; the most piece-like of those that overlap."""
    import cv2

    ppi = light.view.px_per_in
    candidates: list[tuple[float, NDArray[np.int32], NDArray[np.uint8]]] = []
    for with_brightness in (True, False):
        strange = strangeness(light, with_brightness)
        for level in LEVELS:
            mask = cv2.morphologyEx((strange > level).astype(np.uint8), cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
            mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
            found, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
            for contour in found:
                area = cv2.contourArea(contour) / ppi**2
                hull = cv2.convexHull(contour)
                hull_area = cv2.contourArea(hull) / ppi**2
                if not AREA_FROM_IN2 < area < AREA_TO_IN2 or area < SOLID * hull_area:
                    continue
                if min(cv2.minAreaRect(hull)[1]) < NARROWEST_IN * ppi or _touches_the_unseen(hull[:, 0], light):
                    continue
                filled = cv2.fillPoly(np.zeros(mask.shape, np.uint8), [hull], 1)
                candidates.append((area / hull_area + 0.02 * np.log(area), hull[:, 0], filled))
    kept: list[tuple[NDArray[np.int32], NDArray[np.uint8]]] = []
    for _, hull, filled in sorted(candidates, key=lambda one: -one[0]):
        size = int(filled.sum())
        if all((filled & other).sum() < SAME_SHARE * min(size, int(other.sum())) for _, other in kept):
            kept.append((hull, filled))
    return [hull for hull, _ in kept]


def _touches_the_unseen(hull: NDArray[np.int32], light: LogLight) -> bool:
    """Whether a hull reaches the photo's rim or a card."""
    import cv2

    rim = cv2.polylines(np.zeros(light.wood.shape, np.uint8), [hull], True, 1, 3)
    hidden = (rim > 0) & (light.wood == 0)
    height, width = light.wood.shape
    at_edge = bool((hull < 2).any() or (hull[:, 0] > width - 3).any() or (hull[:, 1] > height - 3).any())
    return at_edge or hidden.sum() > 0.1 * rim.sum()


def _filled(outlines: Sequence[NDArray[np.int32]], shape: tuple[int, ...]) -> NDArray[np.uint8]:
    import cv2

    return np.asarray(cv2.fillPoly(np.zeros(shape, np.uint8), list(outlines), 1), np.uint8) if outlines else np.zeros(shape, np.uint8)


def piece_of(bgr: NDArray[np.uint8], camera: Camera, outline_in: Array, z_in: float, white: Whiteness) -> tuple[Array, Array] | None:
    """(cells (m, 3), texture) of a convex outline (n, 2); None where too little is left within its rim."""
    # A plane copy about the piece; turned once the grain is known.
    reflectance, inside = patch_of(bgr, camera, outline_in, z_in, white, 0.0)
    if inside.sum() < (0.3 * LOOK_PPI) ** 2:
        return None
    turn = grain_turn(reflectance, inside, outline_in)
    turned, within = patch_of(bgr, camera, outline_in, z_in, white, turn)
    box = largest_box(within)
    if box is None:
        return None
    top, bottom, left, right = box
    cells = cells_of(reflectance, inside)
    return cells, turned[top:bottom, left:right]


def patch_of(
    bgr: NDArray[np.uint8], camera: Camera, outline_in: Array, z_in: float, white: Whiteness, turn: float
) -> tuple[Array, NDArray[np.bool_]]:
    """(reflectance (h, w, 3), what lies within the outline's rim (h, w)), LOOK_PPI to the inch, turned so that bearing `turn` is up."""
    import cv2

    up = np.array([np.sin(turn), np.cos(turn)])
    across = np.array([up[1], -up[0]])
    flat = np.stack([outline_in @ across, outline_in @ up], axis=-1)
    low, high = flat.min(axis=0), flat.max(axis=0)
    width, height = (max(2, int(side * LOOK_PPI)) for side in high - low)
    x, y = np.meshgrid(low[0] + (np.arange(width) + 0.5) / LOOK_PPI, high[1] - (np.arange(height) + 0.5) / LOOK_PPI)
    plan = x[..., None] * across + y[..., None] * up
    px = camera.px_from_plane(plan.reshape(-1, 2), z_in).astype(np.float32).reshape(height, width, 2)
    step = max(1, int(camera.px_per_in_at(outline_in.mean(axis=0), z_in) / LOOK_PPI))
    # Averaged to about the cell's size before it is sampled: finer figure would turn into noise.
    flat_px = px.reshape(-1, 2)
    left, top = (max(int(side) - 2, 0) for side in np.floor(flat_px.min(axis=0)))
    right, bottom = (max(int(side) + 3, 1) for side in np.ceil(flat_px.max(axis=0)))
    near = cv2.blur(cv2.LUT(bgr[top:bottom, left:right], SRGB_TO_LINEAR), (step, step))
    u, v = (np.ascontiguousarray(px[..., k] - np.float32(start)) for k, start in enumerate((left, top)))
    light = cv2.remap(near, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[..., ::-1]
    corners = np.stack([(flat[:, 0] - low[0]) * LOOK_PPI - 0.5, (high[1] - flat[:, 1]) * LOOK_PPI - 0.5], axis=-1)
    mask = cv2.fillPoly(np.zeros((height, width), np.uint8), [np.round(corners).astype(np.int32)], 1)
    rim = 2 * int(RIM_IN * LOOK_PPI) + 1
    inside = cv2.erode(mask, np.ones((rim, rim), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0) > 0
    return white.reflectance(light.astype(float), plan), inside


def grain_turn(reflectance: Array, inside: NDArray[np.bool_], outline_in: Array) -> float:
    """The grain's bearing (rad, without a sense): where light changes least (structure tensor); the longer side where there is no grain."""
    import cv2

    light = np.log(np.maximum(reflectance.mean(axis=-1), 1e-3)).astype(np.float32)
    light = cv2.GaussianBlur(light, (0, 0), 1.5)
    right, down = cv2.Scharr(light, cv2.CV_32F, 1, 0)[inside], cv2.Scharr(light, cv2.CV_32F, 0, 1)[inside]
    xx, yy, xy = float((right * right).mean()), float((down * down).mean()), float(-(right * down).mean())  # y is up
    size = xx + yy
    if size > 0 and np.hypot(xx - yy, 2 * xy) / size > LEAST_GRAIN:
        across = 0.5 * np.arctan2(2 * xy, xx - yy)  # from +x, counterclockwise: where light changes most
        return float(-across % np.pi)  # a quarter turn on, as a bearing from +y: 90 - (across + 90)
    middle = outline_in.mean(axis=0)
    axis = np.linalg.svd(outline_in - middle)[2][0]
    return float(np.arctan2(axis[0], axis[1]) % np.pi)


def is_of_two_woods(sample: Sample) -> bool:
    """Whether a straight line parts a piece into a dark and a pale side: samples that touch, or heartwood and sapwood; stripes are many."""
    import cv2

    blur = TWO_WOODS_SMOOTH_IN * LOOK_PPI
    light = cv2.GaussianBlur(np.log(np.maximum(sample.texture, 1e-3)).astype(np.float32), (0, 0), blur)[::STEP, ::STEP]
    height, width = light.shape[:2]
    down, across = np.mgrid[:height, :width]
    places = np.stack([across.ravel(), down.ravel(), np.ones(height * width)], axis=-1)
    values = light.mean(axis=-1).ravel()
    level, _ = cv2.threshold(
        cv2.normalize(values, np.empty_like(values), 0, 255, cv2.NORM_MINMAX).astype(np.uint8), 0, 255, cv2.THRESH_OTSU
    )
    pale = values > values.min() + (level + 0.5) / 255 * np.ptp(values)
    if not TWO_WOODS_SHARE < pale.mean() < 1 - TWO_WOODS_SHARE or values[pale].mean() - values[~pale].mean() < TWO_WOODS_LOG:
        return False
    # The straight line that fits dark and pale best in the sense of least squares, the two weighing alike.
    weight = np.sqrt(np.where(pale, 0.5 / pale.mean(), 0.5 / (1 - pale.mean())))
    line = np.linalg.lstsq(places * weight[:, None], np.where(pale, 1.0, -1.0) * weight, rcond=None)[0]
    return bool(np.mean((places @ line > 0) == pale) > TWO_WOODS_PARTED)


def largest_box(within: NDArray[np.bool_]) -> tuple[int, int, int, int] | None:
    """(top, bottom, left, right) of the largest upright rectangle within, to STEP pixels; None where there is none to speak of."""
    import cv2

    # Every STEP by STEP square counts as one cell, which is in when all of it is.
    coarse = cv2.erode(
        within.astype(np.uint8), np.ones((STEP, STEP), np.uint8), anchor=(0, 0), borderType=cv2.BORDER_CONSTANT, borderValue=0
    )
    within = coarse[::STEP, ::STEP] > 0
    height, width = within.shape
    best, size = None, 0
    depth = np.zeros(width, int)
    for row in range(height):
        depth = np.where(within[row], depth + 1, 0)
        stack: list[int] = []
        for column in range(width + 1):
            here = depth[column] if column < width else 0
            while stack and depth[stack[-1]] >= here:
                tall = int(depth[stack.pop()])
                left = stack[-1] + 1 if stack else 0
                if tall * (column - left) > size:
                    size, best = tall * (column - left), (row - tall + 1, row + 1, left, column)
            stack.append(column)
    if best is None or STEP * min(best[1] - best[0], best[3] - best[2]) < 0.15 * LOOK_PPI:
        return None
    top, bottom, left, right = (STEP * side for side in best)
    return top, bottom, left, right


def cells_of(reflectance: Array, inside: NDArray[np.bool_]) -> Array:
    """(m, 3): the mean of every cell CELL_IN wide that lies inside."""
    each = max(1, round(CELL_IN * LOOK_PPI))
    height, width = inside.shape[0] // each * each, inside.shape[1] // each * each
    blocks = reflectance[:height, :width].reshape(height // each, each, width // each, each, 3).mean(axis=(1, 3))
    whole = inside[:height, :width].reshape(height // each, each, width // each, each).all(axis=(1, 3))
    return np.asarray(blocks[whole])


def _ground(bgr: NDArray[np.uint8], camera: Camera, light: LogLight, pieces: NDArray[np.uint8], white: Whiteness) -> Sample | None:
    """What the samples lie on, number 0 and without a name, from the largest open square of it. pieces (h, w): 1 where a sample lies."""
    import cv2

    ppi = light.view.px_per_in
    clear = (light.wood > 0) & (cv2.dilate(pieces, np.ones((9, 9), np.uint8)) == 0)
    square = _open_square(clear & _like_beside(light, pieces, clear), ppi) or _open_square(clear, ppi)
    if square is None:
        return None
    at, half = square
    middle = light.view.in_of(np.array(at, float))
    corners = middle + half * np.array([[-1, -1], [-1, 1], [1, 1], [1, -1]])
    piece = piece_of(bgr, camera, corners, 0.0, white)
    return None if piece is None else Sample(0, "", camera.px_from_plane(corners), middle, *piece, white.u_log(middle))


def _like_beside(light: LogLight, pieces: NDArray[np.uint8], clear: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(h, w) where it is of the colour that lies close beside the pieces; everywhere where there are none."""
    import cv2

    ppi = light.view.px_per_in
    far = cv2.distanceTransform(1 - pieces, cv2.DIST_L2, 5) / ppi if pieces.any() else np.full(pieces.shape, np.inf)
    beside = clear & (far > BESIDE_IN[0]) & (far < BESIDE_IN[1])
    if not beside.any():
        return np.ones(pieces.shape, bool)
    # Smoothed over what is clear alone, so that dark samples don't shade what lies beside them.
    size = (max(1, round(SMOOTH_IN * ppi)),) * 2
    weight = cv2.blur(clear.astype(np.float32), size)
    smooth = cv2.blur(np.where(clear[..., None], light.channels, 0).astype(np.float32), size) / np.maximum(weight, 1e-6)[..., None]
    middle = np.median(smooth[beside], axis=0)
    spread = 1.4826 * np.median(np.abs(smooth[beside] - middle), axis=0)
    return np.asarray((np.abs(smooth - middle) <= BESIDE_SIGMAS * spread + BESIDE_LOG).all(axis=-1))


def _open_square(open_wood: NDArray[np.bool_], px_per_in: float) -> tuple[tuple[int, int], float] | None:
    """((column, row) of its middle, half a side in inches) of the largest upright square; None where it's too small to tell a wood by."""
    import cv2

    padded = cv2.copyMakeBorder(open_wood.astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    away = cv2.distanceTransform(padded, cv2.DIST_C, 3)[1:-1, 1:-1]
    row, column = np.unravel_index(int(away.argmax()), away.shape)
    half = min(float(away.max()) / px_per_in, 2.5)
    return None if 2 * half < SHORTEST_SIDE_IN else ((int(column), int(row)), half)


def _in_reading_order(outlines_px: Sequence[Array]) -> list[int]:
    """Rows from the top, each from the left."""
    boxes = [(outline.min(axis=0), outline.max(axis=0)) for outline in outlines_px]
    middles = [(low + high) / 2 for low, high in boxes]
    left = sorted(range(len(boxes)), key=lambda k: float(middles[k][1]))
    order: list[int] = []
    while left:
        first = left[0]
        height = float(boxes[first][1][1] - boxes[first][0][1])
        row = [k for k in left if middles[k][1] - middles[first][1] < ROW_SHARE * height]
        order += sorted(row, key=lambda k: float(middles[k][0]))
        left = [k for k in left if k not in row]
    return order
