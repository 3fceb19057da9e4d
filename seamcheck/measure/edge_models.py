"""What an edge's model leaves its place uncertain by: each alternative's change, as far as it looks like a shift of the edge."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..basis.frames import Array
from .edge_profile import edge_designs
from .edge_task import EdgeTask

# A model that says nothing of an edge's place leaves it this uncertain, px.
MODEL_CEILING_PX = 8.0
# The blur of one edge may be so much more or less than the rose's.
BLUR_DOUBT = 1.2
# As a share of what a model may miss of one block (MISS_OF_LIGHT, MISS_OF_JUMP): what it misses alike in all blocks of an edge.
COMMON_MISS = 0.3
# ... and as a share of the square of what it does miss, block by block, where that is more.
COMMON_SHARE = 0.3
# How far along a profile what a model misses keeps its sign, px.
MISFIT_RUN_PX = 3.0
# What no model explains, halos and the wood's figure, leaves any edge so uncertain, px: figured wood gives 0.04-0.10 px a line.
MODEL_FLOOR_PX = 0.1
# Keeps coefficients of columns that are zero at 0.
TINY = 1e-12


def model_px(
    tasks: Sequence[EdgeTask],
    px_in: Array,
    x_px: Array,
    typical: Array,
    other_typical: Array,
    weight: Array,
    held_back: Array,
    blur_px: float,
    option: Array,
    misfit: Array,
) -> Array:
    """(edges,) standard uncertainty of the edges' places from their models, px.

    First order: what remains of a changed profile, once the linear levels have taken their part, is projected on what a
    shift of the edge would do (JCGM 100:2008, 5.1.3, with the fit as the function). x_px (edges, samples): from each edge;
    typical, other_typical (with the sharpening undone less), weight (edges, samples, channels); held_back (edges, channels, columns).
    """
    step = x_px[0, 1] - x_px[0, 0]
    # One grid for all edges; between its places designs are read linearly.
    grid = np.arange(np.floor(x_px.min() / step) - 2, np.ceil(x_px.max() / step) + 4) * step
    first = np.floor((x_px[:, 0] - grid[0]) / step).astype(int)
    part = ((x_px[:, 0] - grid[0]) / step - first)[:, None, None]
    row, samples = np.arange(len(tasks)), np.arange(x_px.shape[1])

    def read(table: Array, move: int = 0) -> Array:
        """(edges, samples, columns) of a table (edges, columns, grid)."""
        at = (first + move)[:, None] + samples
        low, high = (np.take_along_axis(table, (at + k)[:, None], axis=2) for k in (0, 1))
        return np.swapaxes(low + part * (high - low), 1, 2)

    smears = np.array([task.smear_px for task in tasks])
    models = [task.beyond for task in tasks]
    table = edge_designs(models, grid, blur_px, smears, px_in)[row, option]
    base, ahead, behind = read(table), read(table, -1), read(table, 1)
    others = [read(edge_designs(models, grid, blur_px * BLUR_DOUBT, smears, px_in)[row, option])]
    alternatives = [other for every in zip(*(model.alternatives() for model in models), strict=True) for other in every]
    if alternatives:
        times = len(alternatives) // len(models)
        tables = edge_designs(alternatives, grid, blur_px, np.tile(smears, times), np.tile(px_in, times))[:, 0]
        others += [read(tables[k * len(models) : (k + 1) * len(models)]) for k in range(times)]
    changes = np.stack(others, axis=1) - base[:, None]  # (edges, alternatives, samples, columns)
    columns = base.shape[2]
    along, left, across = np.zeros(len(tasks)), np.zeros(len(tasks)), np.zeros((len(tasks), len(others) + 1))
    for channel in range(typical.shape[2]):
        root = np.sqrt(weight[..., channel])
        rows = base * root[..., None]
        normal = np.swapaxes(rows, 1, 2) @ rows
        normal[:, np.arange(columns), np.arange(columns)] += held_back[:, channel, :columns] + TINY
        shown = typical[..., channel] * root

        def levels_of(profile: Array, rows: Array = rows, normal: Array = normal) -> Array:
            return np.linalg.solve(normal, np.swapaxes(rows, 1, 2) @ profile[..., None])

        coefficients = levels_of(shown)
        shift = root * ((ahead - behind) @ coefficients)[..., 0] / (2 * step)
        shift -= (rows @ levels_of(shift))[..., 0]
        along += np.sum(shift**2, axis=1)
        changed = (changes @ coefficients[:, None])[..., 0] * root[:, None]
        across[:, :-1] += np.sum(shift[:, None] * changed, axis=2)
        across[:, -1] += np.sum(shift * root * (other_typical[..., channel] - typical[..., channel]), axis=1)
        left += np.sum((shown - (rows @ coefficients)[..., 0]) ** 2, axis=1)
    # What no alternative explains runs on over MISFIT_RUN_PX and through all channels alike: noise with that correlation. A model that
    # bends far enough leaves little, and has then bent to what it should have missed: never less than what models usually miss.
    number = np.sum(weight[..., 0] > 0, axis=1)
    unexplained = np.maximum(np.maximum(left / number, COMMON_MISS**2), COMMON_SHARE * misfit) * MISFIT_RUN_PX / step
    with np.errstate(divide="ignore", invalid="ignore"):
        square = np.sum((across / along[:, None]) ** 2, axis=1) + np.maximum(unexplained / along, MODEL_FLOOR_PX**2)
    return np.where(along > 0, np.minimum(np.sqrt(square), MODEL_CEILING_PX), MODEL_CEILING_PX)
