"""How a photo draws a sharp edge: its blur, its sharpening and the phone's motion, learnt from the printed cards.

The outer edges of a card's black squares are straight, plain and strong. With the phone's sharpening undone rightly, each is
a step blurred by a Gaussian, and by as much of the phone's motion while the shutter was open as runs across it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .basis.frames import Array
from .basis.order import median
from .cards.geometry import COLUMNS, PAPER_THICKNESS_IN, ROWS, SQUARE_IN, outline_in, square_is_white
from .edges import LIGHT_FLOOR, LUMA_BGR, LinearPatch, Sharpening, sample_strip, srgb_decode, srgb_encode
from .plane.camera import Camera

# Strengths and radii of an unsharp mask that are tried: from none to a phone's harshest (common practice, no source).
STRENGTHS = (0.0, 0.15, 0.3, 0.45, 0.6, 0.8, 1.0, 1.3, 1.7)
RADII_PX = (1.0, 1.4, 2.0)
BLURS_PX = (0.4, 0.5, 0.62, 0.75, 0.9, 1.1, 1.35, 1.65, 2.0, 2.6)
SHIFTS_PX = tuple(np.arange(-0.6, 0.61, 0.15))
REACH_PX, STEP_PX, USED_PX = 10.0, 0.25, 6.0
# A square's corners are left out, as a share of its side.
CORNER = 0.15
MOST_EDGES = 24
# In a photo that is this soft, motion and more blur are looked for, that far to either side of an edge.
SOFT_PX = 1.25
SOFT_REACH_PX, SOFT_USED_PX = 15.0, 12.0
SOFT_BLURS_PX = (0.62, 0.75, 0.9, 1.1, 1.35, 1.65, 2.0, 2.6, 3.3, 4.2, 5.3)
# Motion across an edge that is tried, its directions, and how far an edge may lie off.
SMEARS_PX = (0.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.5, 11.0, 13.0)
DIRECTIONS = 30
SOFT_SHIFTS_PX = tuple(np.arange(-1.0, 1.01, 0.25))
# A blur softer than the first spreads an edge so many times the excess farther than measurements of edges allow for anyway.
USUAL_REACH_PX, SOFT_REACH = 1.6, 2.5
# Beyond this much blur or motion an edge's model leaves room for any answer.
SOFTEST_PX, FARTHEST_PX = 3.0, 10.0
# White paper sends back about 18 times the light of printed black in a photo with its own tones (20 or 30 on the table, less what
# strays in the lens); never so many times as the second (common practice, no source).
USUAL_RANGE, MOST_RANGE = 18.0, 45.0
# So large a share of the edges counts: some lie in shadow, or are creased.
SOUND_EDGES = 0.85
# Motion is believed where it leaves less than this share of what a round blur leaves, root mean square.
MOTION_SAVES = 0.8


@dataclass(frozen=True)
class Optics:
    """Blur (standard deviation, photo pixels, at the cards), sharpening, and the phone's straight motion during the exposure."""

    blur_px: float
    sharpening: Sharpening
    motion_px: tuple[float, float] = (0.0, 0.0)  # (u, v) in the photo

    @property
    def is_hopeless(self) -> bool:
        """Whether it is softer than any edge can be measured in."""
        return self.blur_px > SOFTEST_PX or float(np.hypot(*self.motion_px)) > FARTHEST_PX

    @property
    def is_soft(self) -> bool:
        """Whether it was moved, or out of focus: more than measurements of edges allow for anyway."""
        return self.blur_px > USUAL_REACH_PX or self.motion_px != (0.0, 0.0)

    def smear_px(self, normal_px: Array) -> float:
        """How far the motion runs across edges whose normal in the photo is given: the width of a box that blurs them."""
        return abs(float(np.dot(self.motion_px, normal_px)))

    def softness_px(self, normal_px: Array) -> float:
        """By how much farther than usual the blur reaches to either side of edges of a normal."""
        return self.smear_px(normal_px) / 2 + SOFT_REACH * max(self.blur_px - USUAL_REACH_PX, 0.0)

    def whole_blur_px(self, normal_px: Array) -> float:
        """Standard deviation of all blur across edges of a normal."""
        return float(np.hypot(self.blur_px, self.smear_px(normal_px) / np.sqrt(12)))


@dataclass(frozen=True)
class CardEdge:
    """One black square's outer edge."""

    profile: Array  # (n, 3) linear light, black to white, SOFT_REACH_PX to either side
    normal_px: Array  # (2,) unit, in the photo
    is_level: bool  # on the card's upper or lower side


def card_edges(bgr: NDArray[np.uint8], camera: Camera, card_outlines_in: Sequence[Array]) -> list[CardEdge]:
    """From the upright photo (h, w, 3) and the cards' outlines on the plane, (4, 2) each."""
    return [edge for outline in card_outlines_in for edge in _edges(bgr, camera, outline)]


def light_exponent(edges: Sequence[CardEdge]) -> float:
    """What power of the true light the photo's light is: 1, or more where its dark tones were made darker (an edited photo)."""
    profiles = [edge.profile @ LUMA_BGR for edge in edges]
    if not profiles:
        return 1.0
    ends = len(profiles[0]) // 5
    dark, white = (np.mean(np.array(profiles)[:, side], axis=1) for side in (slice(None, ends), slice(-ends, None)))
    ratio = float(np.median(white / np.maximum(dark, LIGHT_FLOOR / 4)))
    return float(np.log(ratio) / np.log(USUAL_RANGE)) if ratio > MOST_RANGE else 1.0


def straightened(bgr: NDArray[np.uint8], exponent: float) -> NDArray[np.uint8]:
    """The photo with its light brought back to the true one."""
    import cv2

    light = srgb_decode(np.arange(256) / 255) ** (1 / exponent)
    return np.asarray(cv2.LUT(bgr, np.round(255 * srgb_encode(light)).astype(np.uint8)), np.uint8)


# What phones do where the photo can't tell (common practice, no source).
USUAL_OPTICS = Optics(0.9, Sharpening(0.45, 1.4))


def learn_optics(edges: Sequence[CardEdge]) -> Optics:
    """From what `card_edges` found."""
    if not edges:
        return USUAL_OPTICS
    some = [edge for edge in edges if edge.is_level] or edges
    light = np.array([edge.profile for edge in some[:: max(1, len(some) // MOST_EDGES)]])
    light = light[:, _within(light.shape[1], REACH_PX)]
    best, found = np.inf, USUAL_OPTICS
    bases = np.array([_bases(_places(USED_PX), blur, 0.0, SHIFTS_PX) for blur in BLURS_PX])
    for sharpening, luma in _unsharpened(light, USED_PX):
        misfit = np.median(_left(luma, bases), axis=1)  # (blurs,)
        if misfit.min() < best:
            best, found = float(misfit.min()), Optics(BLURS_PX[int(np.argmin(misfit))], sharpening)
    return _learn_motion(edges, found) if _is_soft(edges, found, bases) else found


def _is_soft(edges: Sequence[CardEdge], found: Optics, bases: Array) -> bool:
    """Whether edges along either side of the cards are soft; bases: for each of BLURS_PX."""
    for is_level in (True, False):
        some = [edge.profile for edge in edges if edge.is_level == is_level]
        if some:
            light = found.sharpening.undone(np.array(some), STEP_PX)[:, _within(len(some[0]), USED_PX)]
            if BLURS_PX[int(np.argmin(np.median(_left(_luma(light), bases), axis=1)))] > SOFT_PX:
                return True
    return found.blur_px > SOFT_PX


def _learn_motion(edges: Sequence[CardEdge], round_blur: Optics) -> Optics:
    """Blur, sharpening and motion of a photo that isn't sharp, from edges in several directions."""
    some = edges[:: max(1, len(edges) // (2 * MOST_EDGES))]
    light, normals = np.array([edge.profile for edge in some]), np.array([edge.normal_px for edge in some])
    angles = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    units = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    motions = np.concatenate([np.zeros((1, 2)), *(length * units for length in SMEARS_PX[1:])])
    # Between the smears that are tried, an edge's misfit is read linearly.
    smear = np.interp(np.abs(motions @ normals.T), SMEARS_PX, np.arange(len(SMEARS_PX)))
    low, row = np.minimum(smear.astype(int), len(SMEARS_PX) - 2), np.arange(len(some))
    part = smear - low
    least = {True: np.inf, False: np.inf}
    found = {True: round_blur, False: round_blur}
    place = _places(SOFT_USED_PX)
    bases = {blur: [_bases(place, blur, smear, SOFT_SHIFTS_PX) for smear in SMEARS_PX] for blur in SOFT_BLURS_PX}
    for sharpening, luma in _unsharpened(light, SOFT_USED_PX):
        for blur, by_smear in bases.items():
            left = np.array([_left(luma, basis) for basis in by_smear])  # (smears, edges)
            each = np.sort(np.sqrt(left[low, row] * (1 - part) + left[low + 1, row] * part), axis=1)
            # Not the median: half of the edges may lie along the motion, and say nothing of it.
            misfit = each[:, : max(1, round(SOUND_EDGES * len(some)))].mean(axis=1)
            for moved, k in ((False, 0), (True, 1 + int(np.argmin(misfit[1:])))):
                if misfit[k] < least[moved]:
                    least[moved] = float(misfit[k])
                    found[moved] = Optics(blur, sharpening, (float(motions[k, 0]), float(motions[k, 1])))
    if least[True] < MOTION_SAVES * least[False]:
        return found[True]
    return found[False] if round_blur.blur_px >= BLURS_PX[-1] else round_blur


def _places(used_px: float) -> Array:
    return np.arange(-used_px, used_px + STEP_PX / 2, STEP_PX)


def _within(samples: int, reach_px: float) -> slice:
    """The samples of a profile that lie within a reach of its middle."""
    middle, half = samples // 2, round(reach_px / STEP_PX)
    return slice(middle - half, middle + half + 1)


def _unsharpened(light: Array, used_px: float) -> list[tuple[Sharpening, Array]]:
    """Profiles' luma (edges, n), each of a range 1, near the edge, under each sharpening that is tried."""
    result = []
    for strength in STRENGTHS:
        for radius in RADII_PX if strength else RADII_PX[:1]:
            sharpening = Sharpening(strength, radius)
            result.append((sharpening, _luma(sharpening.undone(light, STEP_PX)[:, _within(light.shape[1], used_px)])))
    return result


def _luma(light: Array) -> Array:
    """Profiles' luma, each of a range 1."""
    luma = light @ LUMA_BGR
    return np.asarray(luma / np.ptp(luma, axis=1, keepdims=True))


def _left(luma: Array, basis: Array) -> Array:
    """(..., edges): what the best of the steps (..., shifts, n, 2) leaves of each profile's sum of squares."""
    return np.asarray(np.min(np.sum(luma**2, axis=1) - np.sum((luma @ basis) ** 2, axis=-1), axis=-2))


def _bases(place: Array, blur: float, smear: float, shifts: Sequence[float]) -> Array:
    """(shifts, n, 2): orthonormal bases of blurred steps at small shifts."""
    from scipy.special import ndtr

    z = (place[None] - np.array(shifts)[:, None]) / blur
    steps = ndtr(z)
    if smear > 0:
        # A step smeared by a box is the difference of two ramps.
        half = smear / blur / 2
        steps = (_ramp(z + half) - _ramp(z - half)) / (2 * half)
    return np.linalg.qr(np.stack([np.ones_like(steps), steps], axis=-1))[0]


def _ramp(z: Array) -> Array:
    """The integral of the normal distribution function."""
    from scipy.special import ndtr

    return np.asarray(z * ndtr(z) + np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi))


def _edges(bgr: NDArray[np.uint8], camera: Camera, outline: Array) -> list[CardEdge]:
    """Mean profiles, black to white, across the outer edges of one card's black squares."""
    nominal = outline_in()
    to_plane = np.linalg.lstsq(np.column_stack([nominal, np.ones(4)]), outline, rcond=None)[0]
    px = camera.px_from_plane(outline, PAPER_THICKNESS_IN)
    size = np.array(bgr.shape[1::-1])
    if np.any(px < 2 * REACH_PX) or np.any(px > size - 1 - 2 * REACH_PX):
        return []
    patch = LinearPatch.cut(bgr, px.min(axis=0), px.max(axis=0))
    px_in = 1 / camera.px_per_in_at(outline.mean(axis=0), PAPER_THICKNESS_IN)
    wanted = round(2 * SOFT_REACH_PX / STEP_PX) + 1
    result = []
    for ends, is_level in _black_sides():
        a, b = np.column_stack([ends, np.ones(2)]) @ to_plane
        strip = sample_strip(patch, camera, a, b, PAPER_THICKNESS_IN, SOFT_REACH_PX * px_in, px_in, STEP_PX * px_in)
        profile = strip.light.mean(axis=0).astype(float)
        first = (len(profile) - wanted) // 2
        profile = profile[first : first + wanted]
        if len(profile) == wanted and np.isfinite(profile).all() and _plain(profile[_within(wanted, REACH_PX)]):
            result.append(CardEdge(profile, camera.normal_px(a, b, PAPER_THICKNESS_IN), is_level))
    return result


def _black_sides() -> list[tuple[Array, bool]]:
    """Outer edges (2, 2) of a card's black squares, white to the right of first -> second; whether on the upper or lower side."""
    right, top = COLUMNS * SQUARE_IN / 2, ROWS * SQUARE_IN / 2
    result = []
    for row, y, outward in ((0, top, 1), (ROWS - 1, -top, -1)):
        for column in range(COLUMNS):
            if not square_is_white(row, column):
                x0, x1 = -right + (column + CORNER) * SQUARE_IN, -right + (column + 1 - CORNER) * SQUARE_IN
                ends = np.array([[x1, y], [x0, y]])
                result.append((ends if outward > 0 else ends[::-1], True))
    for column, x, outward in ((0, -right, -1), (COLUMNS - 1, right, 1)):
        for row in range(ROWS):
            if not square_is_white(row, column):
                y0, y1 = top - (row + 1 - CORNER) * SQUARE_IN, top - (row + CORNER) * SQUARE_IN
                ends = np.array([[x, y0], [x, y1]])
                result.append((ends if outward > 0 else ends[::-1], False))
    return result


def _plain(profile: Array) -> bool:
    """Whether a profile runs from black to white without anything else."""
    luma = profile @ LUMA_BGR
    quarter = len(luma) // 4
    low, high = median(luma[:quarter]), median(luma[-quarter:])
    return bool(high > 2 * low and high - low > 0.05 and np.std(luma[:quarter]) < 0.1 * (high - low))
