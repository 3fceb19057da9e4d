"""How a photo draws a sharp edge, learnt from the light side of the rose's own joints.

On the lighter wood nothing but the blur and the phone's sharpening bends the profile, whatever the slit beside it is:
undone rightly, the light side is a plain blurred step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array
from ..basis.order import median
from ..edges import srgb_decode
from .gap_strip import BIN_PX, JointStrip, unsharpened

STRENGTHS = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 1.3, 1.6)  # of an unsharp mask: from none to a phone's harshest. Common practice, no source.
RADII_PX = (1.0, 1.4, 2.0)
BLURS_PX = np.geomspace(0.4, 3.0, 22)
SHIFTS_PX = np.linspace(-0.6, 1.2, 13)
REACH_PX = 12.0  # of the profiles looked at, to either side of the edge
STEEPEST = 0.4  # only the part of the edge above this share of the light wood's level: below it the slit begins
MILD = 0.15  # of the misfit, that a whole unit of strength must save: strong fine and weak coarse sharpening look much alike
LEAST_DROP = 0.5  # joints whose darker side isn't this much darker say little
BLACK = 1e-4  # light below this is none (linear, 1 the photo's white)


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
    falls = _falls(place)
    best, found = np.inf, USUAL_OPTICS
    for strength in STRENGTHS:
        for radius in RADII_PX if strength else RADII_PX[:1]:
            misfit, blur = _plainness(srgb_decode(unsharpened(codes, strength, radius).clip(0)), place, falls)
            total = float(median(misfit)) * (1 + MILD * strength)
            if total < best:
                spread = 1.4826 * float(median(np.abs(np.log(blur) - median(np.log(blur)))))
                best, found = total, Optics(float(median(blur)), float(np.clip(spread, 0.06, 0.3)), strength, radius)
    return found


def _light_side(strip: JointStrip, clear: Array) -> Array | None:
    """Mean luma code across the joint's light edge, light side first, the edge in the middle; None where it isn't plain."""
    luma = strip.luma[clear]
    if len(luma) < 4:
        return None
    half = round(REACH_PX / BIN_PX)
    middle = luma.shape[1] // 2
    if np.median(luma[:, :middle]) < np.median(luma[:, middle:]):
        luma = luma[:, ::-1]
    step = luma[:, :-4] - luma[:, 4:]
    step[:, :half] = step[:, luma.shape[1] - half - 4 :] = 0
    at = np.argmax(step, axis=1) + 2
    inside = (at > half + 2) & (at < luma.shape[1] - half - 2)
    luma, at = luma[inside], at[inside]

    def about(centre: Array, first: int, last: int) -> Array:
        """Each row's bins (n, last - first) about its own centre."""
        bins = centre[:, None] + np.arange(first, last)
        return np.take_along_axis(luma, np.clip(bins, 0, luma.shape[1] - 1), axis=1)

    light = srgb_decode(median(about(at, -half, -(half // 3)), axis=1))
    dark = srgb_decode(about(at, 2, 6).min(axis=1))
    share = srgb_decode(about(at, -6, 7)) / np.maximum(light, BLACK)[:, None]
    i = np.argmax(share < 0.5, axis=1)  # 0 where it never is, or is from the first
    plain = (dark <= (1 - LEAST_DROP) * light) & (i > 0)
    if plain.sum() < 4:
        return None
    luma, at, i, share = luma[plain], at[plain], i[plain], share[plain]
    above, below = (np.take_along_axis(share, k[:, None], axis=1)[:, 0] for k in (i - 1, i))
    part = ((above - 0.5) / (above - below))[:, None]
    lines = about(at - 7 + i, -half, half + 2)
    return median(lines[:, :-1] * (1 - part) + lines[:, 1:] * part)


def _falls(place: Array) -> Array:
    """Blurred steps down (n_bins, n_shifts * n_blurs), blurs fastest, of all shifts and blurs that are tried."""
    from scipy.special import ndtr

    return np.asarray(ndtr((place[:, None, None] - SHIFTS_PX[:, None]) / BLURS_PX).reshape(len(place), -1))


def _plainness(light: Array, place: Array, falls: Array) -> tuple[Array, Array]:
    """For profiles (n, n_bins): rms misfit from a blurred step on the light side, relative, and the blur that fits best."""
    share = light / median(light[:, place < -4], axis=1)[:, None]
    steep = (share < STEEPEST) & (place > -3)
    ends = np.where(steep.any(axis=1), np.argmax(steep, axis=1), len(place))
    ends = np.maximum(ends, np.searchsorted(place, 0.0))
    use = ((place >= -6.0) & (np.arange(len(place)) < ends[:, None])).astype(float)
    # One level and one drop, linear: 2 x 2 normal equations for every profile, shift and blur at once.
    y = share * use
    n, t0, square = (value.sum(axis=1)[:, None] for value in (use, y, y * y))
    s1, s2, t1 = use @ falls, use @ falls**2, y @ falls
    # The dark side lies between nothing and a little over half of the light one.
    drop = np.clip((n * t1 - s1 * t0) / (n * s2 - s1**2 + 1e-12), -1.1, -0.4)
    base = (t0 - drop * s1) / n
    square = (square + drop * (drop * s2 + 2 * base * s1 - 2 * t1) + base * (n * base - 2 * t0)) / n
    best = np.argmin(square, axis=1)
    return np.sqrt(np.maximum(np.take_along_axis(square, best[:, None], axis=1)[:, 0], 0.0)), BLURS_PX[best % len(BLURS_PX)]
