"""Which side of a line is wood, by colour: learnt a little way inside and outside of a rough edge."""

from __future__ import annotations

import numpy as np

from ..basis.frames import Array
from ..edges import Strip, tone_of

# How much darker a lobe's own shadow may make what lies beyond, log light.
SHADES = (0.0, -0.25, -0.5, -0.8, -1.2)
# The smallest cells of the colour table: lightness, and two differences of log channels.
MIN_CELL = (0.06, 0.03, 0.04)
MAX_CELLS = 48
# A colour seen in neither place counts for nothing; its share of a table is then below this.
RARE = 2e-4
CAP = 2.5


def region_evidence(strip: Strip, block_rows: int, inward_in: Array, search_in: float) -> Array:
    """(blocks, across): how well "wood up to here, something else beyond" agrees with the colours, log likelihood, at most 0.

    Darkened copies of what lies outside are learnt with it, as a shadow would show them.
    """
    from scipy.ndimage import gaussian_filter

    count = len(inward_in)
    tone = tone_of(strip.light[: count * block_rows])
    blue, green, red = tone[..., 0], tone[..., 1], tone[..., 2]
    feature = np.stack([(blue + green + red) / 3, red - green, blue - green])  # (3, rows, across)
    across = strip.across_in[None, :]
    row_room = np.repeat(inward_in, block_rows)[:, None]
    wood = (across < -0.5 * search_in) & (across > -0.85 * row_room)
    if wood.sum() < 200:
        wood = (across < -0.25 * search_in) & (across > -0.85 * row_room)
    if wood.sum() < 50 or not np.isfinite(feature).all():
        return np.zeros((count, tone.shape[1]))
    inner = feature[:, wood]
    outer = feature[:, :, strip.across_in > 0.6 * search_in].reshape(3, -1)
    spread_inner, spread_outer = _spread(inner), _spread(outer)
    outer = (outer[:, None] + np.array([SHADES, [0.0] * len(SHADES), [0.0] * len(SHADES)], np.float32)[:, :, None]).reshape(3, -1)
    cell = np.maximum(0.5 * np.minimum(spread_inner, spread_outer), MIN_CELL)
    few = np.sort(np.concatenate([inner, outer], axis=1)[:, ::7], axis=1)
    out = few.shape[1] // 1000
    low, high = few[:, out] - 3 * cell, few[:, -1 - out] + 3 * cell
    shape = np.clip(np.ceil((high - low) / cell).astype(int) + 1, 4, MAX_CELLS)
    cell = np.maximum(cell, (high - low) / (shape - 1))

    def cells(values: Array) -> Array:
        """(n,) cell numbers of features (3, n)."""
        number = np.zeros(values.shape[1:], np.int32)
        for axis in range(3):
            place = ((values[axis] - np.float32(low[axis])) * np.float32(1 / cell[axis])).astype(np.int32)
            number = number * np.int32(shape[axis]) + np.clip(place, 0, np.int32(shape[axis] - 1))
        return number

    def density(values: Array) -> Array:
        table = np.bincount(cells(values), minlength=int(np.prod(shape))).reshape(shape).astype(np.float32) / values.shape[1]
        return np.asarray(gaussian_filter(table, 1.0, truncate=3.0)).ravel()

    ratio = np.log((density(inner) + RARE) / (density(outer) + RARE))[cells(feature)]
    ratio = np.clip(ratio, -CAP, CAP).reshape(count, block_rows, -1).mean(axis=1)
    inward = np.cumsum(np.where(across > -0.95 * inward_in[:, None], ratio, 0.0), axis=1)
    return inward - inward.max(axis=1, keepdims=True)


def _spread(values: Array) -> Array:
    """(3,) standard deviations of features (3, n), from their middle halves."""
    ordered = np.sort(values[:, ::7], axis=1)
    n = ordered.shape[1]
    return 0.7413 * (ordered[:, 3 * n // 4] - ordered[:, n // 4])
