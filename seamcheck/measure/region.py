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
    light = strip.light[: count * block_rows]
    tone = tone_of(light)
    feature = np.stack([tone.mean(axis=-1), tone[..., 2] - tone[..., 1], tone[..., 0] - tone[..., 1]], axis=-1)
    across = strip.across_in[None, :]
    row_room = np.repeat(inward_in, block_rows)[:, None]
    wood = (across < -0.5 * search_in) & (across > -0.85 * row_room)
    if wood.sum() < 200:
        wood = (across < -0.25 * search_in) & (across > -0.85 * row_room)
    beyond = np.broadcast_to(across > 0.6 * search_in, wood.shape)
    if wood.sum() < 50 or not np.isfinite(feature).all():
        return np.zeros((count, light.shape[1]))
    inner, outer = feature[wood], feature[beyond]
    outer = np.concatenate([outer + [shade, 0, 0] for shade in SHADES])
    cell = np.maximum(0.5 * np.minimum(_spread(inner), _spread(outer[: len(outer) // len(SHADES)])), MIN_CELL)
    both = np.concatenate([inner, outer])
    low = np.quantile(both[::7], 0.001, axis=0) - 3 * cell
    high = np.quantile(both[::7], 0.999, axis=0) + 3 * cell
    shape = np.clip(np.ceil((high - low) / cell).astype(int) + 1, 4, MAX_CELLS)
    cell = np.maximum(cell, (high - low) / (shape - 1))
    strides = np.array([shape[1] * shape[2], shape[2], 1])

    def cells(values: Array) -> Array:
        return np.clip(((values - low) / cell).astype(int), 0, shape - 1) @ strides

    def density(values: Array) -> Array:
        table = np.bincount(cells(values), minlength=int(np.prod(shape))).reshape(shape) / len(values)
        return gaussian_filter(table, 1.0).ravel()

    ratio = np.log((density(inner) + RARE) / (density(outer) + RARE))[cells(feature)]
    ratio = np.clip(ratio, -CAP, CAP).reshape(count, block_rows, -1).mean(axis=1)
    inward = np.cumsum(np.where(across > -0.95 * inward_in[:, None], ratio, 0.0), axis=1)
    return inward - inward.max(axis=1, keepdims=True)


def _spread(values: Array) -> Array:
    low, high = np.quantile(values[::7], [0.25, 0.75], axis=0)
    return 0.7413 * (high - low)
