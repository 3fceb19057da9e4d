"""How a photo draws a sharp edge, learnt from the light side of the rose's own joints.

On the lighter wood nothing but the blur and the phone's sharpening bends the profile, whatever the slit beside it is:
undone rightly, the light side is a plain blurred step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array
from ..edges import srgb_decode
from .gap_strip import BIN_PX, JointStrip, luma_of, unsharpened

STRENGTHS = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 1.3, 1.6)  # of an unsharp mask: from none to a phone's harshest. Common practice, no source.
RADII_PX = (1.0, 1.4, 2.0)
BLURS_PX = np.geomspace(0.4, 3.0, 22)
REACH_PX = 12.0  # of the profiles looked at, to either side of the edge
STEEPEST = 0.4  # only the part of the edge above this share of the light wood's level: below it the slit begins
MILD = 0.15  # of the misfit, that a whole unit of strength must save: strong fine and weak coarse sharpening look much alike
LEAST_DROP = 0.5  # joints whose darker side isn't this much darker say little


@dataclass(frozen=True)
class Optics:
    """The blur of the lens and the sensor, and the sharpening after it, in photo pixels."""

    blur_px: float  # standard deviation
    u_log_blur: float  # standard uncertainty of its logarithm, from joint to joint
    strength: float  # of the sharpening: code + strength (code - code blurred by radius_px)
    radius_px: float


# What phones do where the photo can't tell. Common practice, no source.
USUAL_OPTICS = Optics(0.9, 0.25, 0.6, 1.4)


def measure_optics(strips: Sequence[JointStrip], clears: Sequence[Array]) -> Optics:
    """The photo's blur and sharpening from its joints' strips and their clear blocks."""
    profiles = [p for strip, clear in zip(strips, clears, strict=True) if (p := _light_side(strip, clear)) is not None]
    if len(profiles) < 3:
        return USUAL_OPTICS
    codes = np.stack(profiles)
    place = (np.arange(codes.shape[1]) - (codes.shape[1] - 1) / 2) * BIN_PX
    best, found = np.inf, USUAL_OPTICS
    for strength in STRENGTHS:
        for radius in RADII_PX if strength else RADII_PX[:1]:
            misfit, blur = _plainness(srgb_decode(unsharpened(codes, strength, radius).clip(0)), place)
            total = float(np.median(misfit)) * (1 + MILD * strength)
            if total < best:
                spread = 1.4826 * float(np.median(np.abs(np.log(blur) - np.median(np.log(blur)))))
                best, found = total, Optics(float(np.median(blur)), float(np.clip(spread, 0.06, 0.3)), strength, radius)
    return found


def _light_side(strip: JointStrip, clear: Array) -> Array | None:
    """Mean luma code across the joint's light edge, light side first, the edge in the middle; None where it isn't plain."""
    luma = luma_of(strip)[clear]
    if len(luma) < 4:
        return None
    half = round(REACH_PX / BIN_PX)
    middle = luma.shape[1] // 2
    if np.median(luma[:, :middle]) < np.median(luma[:, middle:]):
        luma = luma[:, ::-1]
    step = luma[:, :-4] - luma[:, 4:]
    step[:, :half] = step[:, luma.shape[1] - half - 4 :] = 0
    at = np.argmax(step, axis=1) + 2
    rows = []
    for row, centre in zip(luma, at, strict=True):
        if not half + 2 < centre < len(row) - half - 2:
            continue
        light = np.median(row[centre - half : centre - half // 3])
        dark = row[centre + 2 : centre + 6].min()
        level = srgb_decode(np.array([light, dark]))
        if level[1] > (1 - LEAST_DROP) * level[0]:
            continue
        share = srgb_decode(row[centre - 6 : centre + 7]) / level[0]
        below = np.flatnonzero(share < 0.5)
        if not len(below) or below[0] == 0:
            continue
        i = below[0]
        edge = centre - 6 + i - 1 + (share[i - 1] - 0.5) / (share[i - 1] - share[i])
        rows.append(np.interp(edge + np.arange(-half, half + 1), np.arange(len(row)), row))
    return np.median(rows, axis=0) if len(rows) >= 4 else None


def _plainness(light: Array, place: Array) -> tuple[Array, Array]:
    """For profiles (n, n_bins): rms misfit from a blurred step on the light side, relative, and the blur that fits best."""
    from scipy.special import ndtr

    shifts = np.linspace(-0.6, 1.2, 13)
    falls = ndtr((place[:, None, None] - shifts[:, None]) / BLURS_PX)  # place, shift, blur
    level = np.median(light[:, (place < -4)], axis=1, keepdims=True)
    share = light / level
    misfit, blurs = np.empty(len(share)), np.empty(len(share))
    for i, row in enumerate(share):
        above = np.flatnonzero((row < STEEPEST) & (place > -3))
        last = above[0] if len(above) else len(row)
        use = slice(int(np.searchsorted(place, -6.0)), max(int(last), int(np.searchsorted(place, 0.0))))
        fall = falls[use]
        # One level and one drop, linear: 2 x 2 normal equations for every shift and blur at once.
        y = row[use]
        n, s1, s2 = len(y), fall.sum(0), (fall**2).sum(0)
        t0, t1 = y.sum(), np.tensordot(y, fall, 1)
        det = n * s2 - s1**2 + 1e-12
        drop = (n * t1 - s1 * t0) / det
        # The dark side lies between nothing and a little over half of the light one.
        drop = np.clip(drop, -1.1, -0.4)
        base = (t0 - drop * s1) / n
        square = (y @ y + drop * (drop * s2 + 2 * base * s1 - 2 * t1) + base * (n * base - 2 * t0)) / n
        best = np.unravel_index(int(np.argmin(square)), square.shape)
        misfit[i], blurs[i] = float(np.sqrt(max(square[best], 0.0))), BLURS_PX[best[1]]
    return misfit, blurs
