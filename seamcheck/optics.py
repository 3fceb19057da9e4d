"""How a photo draws a sharp edge: its blur and its sharpening, learnt from the printed cards.

The outer edges of a card's black squares are straight, plain and strong. With the phone's sharpening undone rightly, each is
a step blurred by a Gaussian.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .basis.frames import Array
from .cards.geometry import COLUMNS, PAPER_THICKNESS_IN, ROWS, SQUARE_IN, outline_in, square_is_white
from .edges import LUMA_BGR, LinearPatch, Sharpening, sample_strip
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


@dataclass(frozen=True)
class Optics:
    """Blur (standard deviation, photo pixels, at the cards) and sharpening."""

    blur_px: float
    sharpening: Sharpening


# What phones do where the photo can't tell (common practice, no source).
USUAL_OPTICS = Optics(0.9, Sharpening(0.45, 1.4))


def learn_optics(bgr: NDArray[np.uint8], camera: Camera, card_outlines_in: Sequence[Array]) -> Optics:
    """From the upright photo (h, w, 3) and the cards' outlines on the plane, (4, 2) each."""
    profiles = [profile for outline in card_outlines_in for profile in _profiles(bgr, camera, outline)]
    if not profiles:
        return USUAL_OPTICS
    light = np.array(profiles[:: max(1, len(profiles) // MOST_EDGES)])
    place = np.arange(-REACH_PX, REACH_PX + STEP_PX / 2, STEP_PX)
    used = np.abs(place) <= USED_PX
    bases = {blur: _bases(place[used], blur) for blur in BLURS_PX}
    best, found = np.inf, USUAL_OPTICS
    for strength in STRENGTHS:
        for radius in RADII_PX if strength else RADII_PX[:1]:
            sharpening = Sharpening(strength, radius)
            luma = (sharpening.undone(light, STEP_PX) @ LUMA_BGR)[:, used]
            luma = luma / np.ptp(luma, axis=1, keepdims=True)
            total = np.sum(luma**2, axis=1)
            for blur, basis in bases.items():
                left = np.min(total - np.sum((luma @ basis) ** 2, axis=2), axis=0)
                misfit = float(np.median(left))
                if misfit < best:
                    best, found = misfit, Optics(blur, sharpening)
    return found


def _bases(place: Array, blur: float) -> Array:
    """(shifts, n, 2): orthonormal bases of blurred steps at small shifts."""
    from scipy.special import ndtr

    steps = ndtr((place[None] - np.array(SHIFTS_PX)[:, None]) / blur)
    return np.linalg.qr(np.stack([np.ones_like(steps), steps], axis=-1))[0]


def _profiles(bgr: NDArray[np.uint8], camera: Camera, outline: Array) -> list[Array]:
    """Mean profiles (n, 3), black to white, across the outer edges of one card's black squares."""
    nominal = outline_in()
    to_plane = np.linalg.lstsq(np.column_stack([nominal, np.ones(4)]), outline, rcond=None)[0]
    px = camera.px_from_plane(outline, PAPER_THICKNESS_IN)
    size = np.array(bgr.shape[1::-1])
    if np.any(px < 2 * REACH_PX) or np.any(px > size - 1 - 2 * REACH_PX):
        return []
    patch = LinearPatch.cut(bgr, px.min(axis=0), px.max(axis=0))
    px_in = 1 / camera.px_per_in_at(outline.mean(axis=0), PAPER_THICKNESS_IN)
    left, top = -COLUMNS * SQUARE_IN / 2, ROWS * SQUARE_IN / 2
    result = []
    for row, y, outward in ((0, top, 1.0), (ROWS - 1, -top, -1.0)):
        for column in range(COLUMNS):
            if square_is_white(row, column):
                continue
            x0, x1 = left + (column + CORNER) * SQUARE_IN, left + (column + 1 - CORNER) * SQUARE_IN
            # Walk so that the white margin lies to the right.
            ends = np.array([[x1, y, 1.0], [x0, y, 1.0]]) if outward > 0 else np.array([[x0, y, 1.0], [x1, y, 1.0]])
            a, b = ends @ to_plane
            strip = sample_strip(patch, camera, a, b, PAPER_THICKNESS_IN, REACH_PX * px_in, px_in, STEP_PX * px_in)
            profile = strip.light.mean(axis=0).astype(float)
            count = len(profile)
            wanted = round(2 * REACH_PX / STEP_PX) + 1
            profile = profile[(count - wanted) // 2 : (count - wanted) // 2 + wanted]
            if len(profile) == wanted and np.isfinite(profile).all() and _plain(profile):
                result.append(profile)
    return result


def _plain(profile: Array) -> bool:
    """Whether a profile runs from black to white without anything else."""
    luma = profile @ LUMA_BGR
    low, high = np.median(luma[: len(luma) // 4]), np.median(luma[-len(luma) // 4 :])
    return bool(high > 2 * low and high - low > 0.05 and np.std(luma[: len(luma) // 4]) < 0.1 * (high - low))
