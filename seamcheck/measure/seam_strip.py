"""The stretch of field beyond a tip: its light, levelled, with what doesn't belong to the field left out.

Frame of a strip: rows along the bearing, `along_in` from the tip's plan place; columns across it,
`across_in` positive to the right of the bearing, both inches on the plane z = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array, right_of, unit_of_bearing
from ..edges import LinearPatch, Strip, sample_strip
from ..plane.camera import Camera

Floats = NDArray[np.float32]
Flags = NDArray[np.bool_]

# The tip's own shadow and the rounded end of the lobe's glue lie within this of the tip (inches).
SKIP_BEYOND_TIP_IN = 0.10
# Half the width that is looked at: the seam is searched to 0.11 in, and each leaf's grain is learnt beside that (inches).
HALF_WIDTH_IN = 0.33
# A finer step than this only repeats what the photo's blur has already spread (inches).
FINEST_STEP_IN = 0.0035
# Filters and windows, in steps, are made for about this blur (standard deviation, photo pixels): a softer photo is looked at more coarsely.
USUAL_BLUR_PX = 1.0
# Weights of blue, green and red in the light that is followed: green has the least noise, blue the most.
WEIGHTS_BGR = np.array([0.2, 0.5, 0.3], np.float32)
# Light is levelled over this length: longer than figure and grain, shorter than most shadows (inches).
LEVEL_LENGTH_IN = 0.6
# A patch of this size is looked at as a whole when tape and shine are told from the field (inches).
CELL_ALONG_IN, CELL_ACROSS_IN = 0.06, 0.08
# A patch is foreign when its colour (log ratio of two channels) leaves the field's by this many
# times the field's own spread, and by this much at least: wood varies by a few hundredths, gummed tape by a tenth.
FOREIGN_SPREADS, FOREIGN_LEAST = 6.0, 0.07
# The same for how light it is, after levelling: paper and dark tape, not figure.
FOREIGN_LIGHT_LEAST = 0.6


@dataclass(frozen=True)
class SeamStrip:
    """The levelled field beyond a tip."""

    log_light: Floats  # (n_along, n_across), natural log of light with the slow changes of lighting taken out
    usable: Flags  # (n_along, n_across): field, in the photo, not covered
    bridged: Flags  # (n_along, n_across): lines that were bridged over; the grain isn't judged there
    along_in: Array  # (n_along,) from the tip
    across_in: Array  # (n_across,) positive to the right
    step_in: float  # across; along it's the same to a part in a hundred
    tip_in: Array  # (2,)
    bearing: float  # rad
    coarser: int = 1  # more than 1: the photo is soft, and this many of its pixels make a step

    @cached_property
    def hidden_before(self) -> NDArray[np.int32]:
        """(n_along, n_across + 1): how many places of the row before each column aren't usable."""
        hidden = np.zeros((self.usable.shape[0], self.usable.shape[1] + 1), np.int32)
        np.cumsum(~self.usable, axis=1, out=hidden[:, 1:])
        return hidden

    def plane_of(self, along_in: float, across_in: float) -> Array:
        """The plane point (2,) at a place of the strip."""
        direction = unit_of_bearing(self.bearing)
        return self.tip_in + along_in * direction + across_in * right_of(direction)


def take_strip(
    patch: LinearPatch,
    camera: Camera,
    tip_in: Array,
    bearing: float,
    reach_limit_in: float,
    blocked: list[Array],
    blur_px: float = USUAL_BLUR_PX,
) -> SeamStrip | None:
    """The strip from just beyond the tip to reach_limit_in (inches from the tip); None if hardly anything is left.

    `blocked`: polygons (n, 2) on the plane that hide the field (cards, other lobes); `blur_px`: the photo's across the seam.
    """
    import cv2

    tip_in = np.asarray(tip_in, float)
    direction = unit_of_bearing(bearing)
    if reach_limit_in < SKIP_BEYOND_TIP_IN + 4 * CELL_ALONG_IN:
        return None
    step = max(1 / camera.px_per_in_at(tip_in + 0.5 * reach_limit_in * direction), FINEST_STEP_IN)
    begin, end = tip_in + SKIP_BEYOND_TIP_IN * direction, tip_in + reach_limit_in * direction
    raw = sample_strip(patch, camera, begin, end, 0.0, HALF_WIDTH_IN, step)
    coarser = min(max(round(blur_px / USUAL_BLUR_PX), 1), len(raw.along_in) // 4)
    if coarser > 1:
        raw, step = _coarser(raw, coarser), coarser * step
    usable = np.isfinite(raw.light[..., 0])  # outside the photo all three are missing
    along = raw.along_in + SKIP_BEYOND_TIP_IN
    usable &= ~_inside(blocked, tip_in, direction, along, raw.across_in)
    if usable.mean() < 0.02:
        return None
    usable &= ~_foreign(raw.light, usable, step)
    light = np.log(np.maximum(cv2.transform(raw.light, WEIGHTS_BGR[None]), np.float32(1e-4)))
    light = np.where(usable, light, np.float32(0))
    levelled = np.where(usable, light - _level(light, usable, raw.across_in, step), np.float32(0))
    return SeamStrip(levelled, usable, np.zeros_like(usable), along, raw.across_in, step, tip_in, bearing, coarser)


def _coarser(strip: Strip, times: int) -> Strip:
    """Means over so many rows and columns: in a soft photo a line looks as it does in a sharp one taken from farther away."""
    rows, columns = (len(axis) // times for axis in (strip.along_in, strip.across_in))
    light = strip.light[: rows * times, : columns * times].reshape(rows, times, columns, times, 3).mean(axis=(1, 3))
    along, across = strip.along_in[: rows * times].reshape(rows, times), strip.across_in[: columns * times].reshape(columns, times)
    return Strip(light, along.mean(axis=1), across.mean(axis=1))


def _inside(polygons: list[Array], tip_in: Array, direction: Array, along: Array, across: Array) -> Flags:
    """Which places of the strip lie in any of the polygons."""
    import cv2

    mask = np.zeros((len(along), len(across)), np.uint8)
    for polygon in polygons:
        local = np.asarray(polygon, float) - tip_in
        rows = (local @ direction - along[0]) / (along[1] - along[0])
        columns = (local @ right_of(direction) - across[0]) / (across[1] - across[0])
        corners = np.clip(np.stack([columns, rows], axis=1), -30000, 30000)
        cv2.fillPoly(mask, [np.round(corners).astype(np.int32)], 1)
    if mask.any():
        # A card's own shadow and its blurred rim reach a little beyond its outline.
        mask = cv2.dilate(mask, np.ones((7, 7), np.uint8))
    return mask > 0


def _foreign(light: Floats, usable: Flags, step: float) -> Flags:
    """What differs in colour or lightness from most of the strip: tape, paper, off-cuts."""
    import cv2

    height, width = usable.shape
    size = tuple(max(2, round(n * step / cell)) for n, cell in ((width, CELL_ACROSS_IN / 2), (height, CELL_ALONG_IN / 2)))

    def cells_of(image: Floats) -> Floats:
        return cv2.resize(image, size, interpolation=cv2.INTER_AREA)

    weight = usable.astype(np.float32)
    share = cells_of(weight)
    means = cells_of(np.where(usable[..., None], light, 0)) / np.maximum(share, 1e-3)[..., None]
    b, g, r = np.moveaxis(np.log(np.maximum(means, 1e-4)), 2, 0)
    cells = np.stack([b - g, r - g, g], axis=-1)
    seen = cells[share > 0.5]
    if len(seen) < 4:
        return np.zeros_like(usable)
    middle = np.median(seen, axis=0)
    spread = 1.483 * np.median(np.abs(seen - middle), axis=0)
    limit = np.maximum(FOREIGN_SPREADS * spread, [FOREIGN_LEAST, FOREIGN_LEAST, FOREIGN_LIGHT_LEAST])
    odd = ((np.abs(cells - middle) > limit).any(axis=2) & (share > 0.2)).astype(np.uint8)
    # A figure or a line is narrower than tape or paper.
    odd = cv2.morphologyEx(odd, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8), borderType=cv2.BORDER_REPLICATE)
    # The patch beside a foreign one holds its rim.
    return cv2.resize(cv2.dilate(odd, np.ones((3, 3), np.uint8)), (width, height), interpolation=cv2.INTER_NEAREST) > 0


def _level(light: Floats, usable: Flags, across: Array, step: float) -> Floats:
    """The slow course of lighting: along the strip, a level and a slope across it."""
    from scipy.ndimage import uniform_filter1d

    lever = (across / np.abs(across).max()).astype(np.float32)
    weight = usable.astype(np.float32)
    window = max(3, round(LEVEL_LENGTH_IN / step))
    moments = np.stack(
        [weight.sum(1), weight @ lever, weight @ lever**2, (light * weight).sum(1), (light * weight) @ lever], axis=1
    ).astype(float)
    s0, s1, s2, t0, t1 = uniform_filter1d(moments, window, axis=0, mode="nearest").T
    s2 = s2 + 1e-3 * s0 + 1e-6
    determinant = np.maximum(s0 * s2 - s1**2, 1e-9)
    level = (s2 * t0 - s1 * t1) / determinant
    slope = (s0 * t1 - s1 * t0) / determinant
    return (level[:, None] + slope[:, None] * lever).astype(np.float32)
