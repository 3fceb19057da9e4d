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
        return np.zeros((count, len(strip.across_in)))
    far = strip.across_in > 0.6 * search_in
    ends, spread = zip(*(_ends_and_spread(part) for part in (feature[:, wood], feature[:, :, far].reshape(3, -1))), strict=True)
    cell = np.maximum(0.5 * np.minimum(*spread), MIN_CELL)
    low, high = np.min(ends, axis=0)[:, 0] - 3 * cell, np.max(ends, axis=0)[:, 1] + 3 * cell
    low[0] = min(low[0], ends[1][0, 0] + SHADES[-1] - 3 * cell[0])
    shape = np.clip(np.ceil((high - low) / cell).astype(int) + 1, 4, MAX_CELLS)
    cell = np.maximum(cell, (high - low) / (shape - 1))
    number = np.zeros(tone.shape[:2], np.int32)
    for axis in range(3):
        place = ((feature[axis] - np.float32(low[axis])) * np.float32(1 / cell[axis])).astype(np.int32)
        number = number * np.int32(shape[axis]) + np.clip(place, 0, np.int32(shape[axis] - 1))
    seen = number[wood], number[:, far].ravel()
    tables = np.array([np.bincount(cells, minlength=int(np.prod(shape))) / len(cells) for cells in seen], np.float32).reshape(2, *shape)
    shade = np.mean([_blur(int(shape[0]), darker / cell[0]) for darker in SHADES], axis=0)
    by_lightness = np.stack([_blur(int(shape[0])), shade]) @ tables.reshape(2, shape[0], -1)
    density = (_blur(int(shape[1])) @ by_lightness.reshape(2, *shape) @ _blur(int(shape[2])).T).reshape(2, -1)
    ratio = np.log((density[0] + np.float32(RARE)) / (density[1] + np.float32(RARE)))[number]
    ratio = np.clip(ratio, -CAP, CAP).reshape(count, block_rows, -1).mean(axis=1)
    inward = np.cumsum(np.where(across > -0.95 * inward_in[:, None], ratio, 0.0), axis=1)
    return inward - inward.max(axis=1, keepdims=True)


def _blur(count: int, shift: float = 0.0) -> Array:
    """(count, count): cells, a column, after it are blurred by a Gaussian of one cell, standard deviation, and moved by `shift` cells."""
    cells = np.arange(count, dtype=np.float32)
    weight = np.exp(-0.5 * (cells[:, None] - cells - np.float32(shift)) ** 2) + np.float32(1e-30)
    return weight / weight.sum(axis=0)


def _ends_and_spread(values: Array) -> tuple[Array, Array]:
    """Of features (3, n): ends, (3, 2), a thousandth left out at either, and standard deviations by their middle halves, (3,)."""
    ordered = np.sort(values[:, ::7], axis=1)
    n = ordered.shape[1]
    out = n // 1000
    return ordered[:, [out, n - 1 - out]], 0.7413 * (ordered[:, 3 * n // 4] - ordered[:, n // 4])
