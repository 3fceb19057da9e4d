"""Where edges lie, to a pixel: the blocks along each vote for a straight line, so that taped ones are outvoted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..basis.frames import Array
from ..basis.order import median
from ..edges import LIGHT_FLOOR, LinearPatch
from ..plane.camera import Camera
from .edge_profile import INSIDE_PX, edge_designs, precisions
from .edge_task import MISS_OF_JUMP, MISS_OF_LIGHT, EdgeTask, bare_rows, block_means, block_rows, outward_strip
from .line_fit import MIN_BLOCKS
from .region import region_evidence

VOTE_BLUR_PX = 1.0
# Evidence of one block is capped, so that no single block (a tape's edge) outvotes the rest.
EVIDENCE_CAP = 80.0
# Weight of the colours' evidence (neighbouring pixels repeat each other) beside that of the edge's shape.
REGION_WEIGHT = 0.8


@dataclass(frozen=True)
class _Blocks:
    """One edge's blocks, in whole pixels across it from the rough line."""

    along_in: Array  # (blocks,)
    light: Array  # (blocks, across, 3) linear light
    middle: int  # the rough line's place among `across`
    search_px: int
    window_px: tuple[int, int]  # the model's first and last place, from the edge
    usable: Array  # (blocks, places) bool: room for the model; places -search_px to search_px
    colours: Array  # (blocks, places) the colours' evidence
    levels: Array  # (2, 3) usual light well inside and well outside the rough line


def _blocks(patch: LinearPatch, camera: Camera, task: EdgeTask, z_in: float, px_in: float) -> _Blocks:
    inside_px, reach_px = INSIDE_PX + task.softness_px, task.beyond.reach_px(px_in) + task.softness_px
    search, window = int(task.search_in / px_in + 1e-9), (-round(inside_px), round(reach_px))
    half = task.search_in / px_in + max(inside_px, reach_px) + 1
    strip = outward_strip(patch, camera, task, z_in, px_in, (half, half), (1.0, 1.0))
    bare = bare_rows(strip, task, 0.4 * task.search_in, px_in)
    each = block_rows(bare)
    along, light, shown = block_means(strip, bare, each)
    light = task.sharpening.undone(light, 1.0)
    middle = len(strip.across_in) // 2
    first, last = middle - search, middle + search + 1
    places = strip.across_in[first:last]
    inward, outward = (np.interp(along, task.room[:, 0], task.room[:, k]) for k in (1, 2))
    usable = np.asarray((places > -inward[:, None] + 0.8 * inside_px * px_in) & (places < outward[:, None] - 0.8 * reach_px * px_in))
    known = np.asarray(np.isfinite(light).all(axis=2))
    unknown_before = np.pad(np.cumsum(~known, axis=1), ((0, 0), (1, 0)))
    at = np.arange(first, last)
    usable &= (unknown_before[:, at + window[1] + 1] == unknown_before[:, at + window[0]]) & shown[:, None]
    across = strip.across_in
    levels = [median(light[:, side].reshape(-1, 3)) for side in (across < -0.4 * task.search_in, across > 0.6 * task.search_in)]
    light = np.where(known[..., None], light, 0.0)
    colours = region_evidence(strip, each, inward, task.search_in)[:, first:last]
    return _Blocks(along, light, middle, search, window, usable, colours, np.array(levels))


@dataclass(frozen=True)
class Voted:
    """The line that the blocks' evidence supports best."""

    offset_in: float  # outward of the rough line's first point
    slope: float
    evidence: float  # a block's, usually: log likelihood that wood ends there, over that it doesn't


def vote(patch: LinearPatch, camera: Camera, tasks: Sequence[EdgeTask], z_in: float, px_in: Array) -> list[Voted | None]:
    """Where each edge lies, to a pixel; None where too little of it shows. The tasks' models are of one kind; px_in: (tasks,)."""
    result: list[Voted | None] = [None] * len(tasks)
    blocks = [_blocks(patch, camera, task, z_in, float(px)) for task, px in zip(tasks, px_in, strict=True)]
    shown = [k for k, one in enumerate(blocks) if one.usable.any(axis=1).sum() >= MIN_BLOCKS]
    if shown:
        evidence = _shape_evidence([tasks[k] for k in shown], [blocks[k] for k in shown], px_in[shown])
        for k, by_shape in zip(shown, evidence, strict=True):
            one = blocks[k]
            table = by_shape + REGION_WEIGHT * one.colours
            table = np.where(one.usable, table, np.min(table, axis=1, where=one.usable, initial=0.0)[:, None])
            result[k] = _best_line(table, one, tasks[k], float(px_in[k]))
    return result


def _shape_evidence(tasks: Sequence[EdgeTask], blocks: Sequence[_Blocks], px_in: Array) -> list[Array]:
    """Each edge's (blocks, places): how much better a block is explained by wood that ends there than by one level and slope."""
    search = max(one.search_px for one in blocks)
    low, high = min(one.window_px[0] for one in blocks), max(one.window_px[1] for one in blocks)
    window = np.arange(low, high + 1)
    held = np.array([(window >= one.window_px[0]) & (window <= one.window_px[1]) for one in blocks])
    # All edges' light beside each other, the rough line in one column.
    light = np.zeros((len(blocks), 3, max(len(one.along_in) for one in blocks), 2 * search + len(window)))
    for row, one in zip(light, blocks, strict=True):
        begin = one.middle - search + low
        part = one.light[:, max(begin, 0) : begin + light.shape[3]]
        row[:, : len(part), max(-begin, 0) : max(-begin, 0) + part.shape[1]] = np.moveaxis(part, 2, 0)
    levels = np.array([one.levels for one in blocks])  # (edges, 2, 3)
    allowed = MISS_OF_LIGHT * levels + LIGHT_FLOOR / 2 + MISS_OF_JUMP * np.abs(levels[:, 1] - levels[:, 0])[:, None]
    root = np.where(window < 0, 1 / allowed[:, 0, :, None], 1 / allowed[:, 1, :, None]) * held[:, None]  # (edges, 3, window)
    total = _squares(light**2, (root**2)[..., None]).sum(axis=1)
    level = np.stack([np.ones(len(window)), window], axis=-1) * root[..., None]
    without = np.maximum(total - _explained(light, root, level), 0)
    models = [task.beyond for task in tasks]
    blur = max(VOTE_BLUR_PX, min(tasks[0].blurs_px))
    designs = np.swapaxes(edge_designs(models, window.astype(float), blur, np.array([task.smear_px for task in tasks]), px_in), 2, 3)
    ridge = np.sqrt(precisions(models, levels, px_in, designs.shape[3]))  # (edges, 3, columns)
    unused = ~np.asarray(designs.any(axis=2))  # (edges, options, columns): held at 0, or they'd pass for free directions
    with_edge = np.full_like(total, np.inf)
    for option in range(designs.shape[1]):
        held_back = (ridge + unused[:, None, option])[..., None] * np.eye(designs.shape[3])
        rows = np.concatenate([designs[:, None, option] * root[..., None], held_back], axis=2)
        with_edge = np.minimum(with_edge, total - _explained(light, root, rows))
    # A likelihood ratio with the scale of the misfit unknown: an edge in figured wood fits badly, but far better than none.
    number = held.sum(axis=1)[:, None, None]
    evidence = np.minimum(0.5 * number * np.log((without + 3 * number) / (with_edge + 3 * number)), EVIDENCE_CAP)
    cut = [search - one.search_px for one in blocks]
    return [table[: len(one.along_in), c : table.shape[1] - c] for table, one, c in zip(evidence, blocks, cut, strict=True)]


def _explained(light: Array, root: Array, rows: Array) -> Array:
    """(edges, blocks, places): what weighted designs (edges, 3, rows, k) explain of the light (edges, 3, blocks, across) in each window.

    Rows beyond the window's are a ridge that aims at 0: only the samples' part of the basis sees data.
    """
    basis = np.linalg.qr(rows)[0][..., : root.shape[2], :]
    return np.asarray((_squares(light, root[..., None] * basis, 2)).sum(axis=1))


def _squares(light: Array, filters: Array, power: int = 1) -> Array:
    """(edges, 3, blocks, places): light (edges, 3, blocks, across) through filters (edges, 3, window, k), to a power, over all k."""
    *lead, window, k = filters.shape
    across = light.shape[-1]
    places = across - window + 1
    # One band matrix for all places at once.
    band = np.zeros((*lead, places, across, k))
    for at in range(window):
        band[..., np.arange(places), np.arange(places) + at, :] = filters[..., at, None, :]
    answers = light @ np.swapaxes(band, -3, -2).reshape(*lead, across, places * k)
    return np.asarray((answers.reshape(*light.shape[:-1], places, k) ** power).sum(axis=-1))


def _best_line(evidence: Array, blocks: _Blocks, task: EdgeTask, px_in: float) -> Voted:
    """The straight line through an evidence table (blocks, places) with the largest sum, the rough line a weak prior."""
    count, search, along = len(evidence), blocks.search_px, blocks.along_in
    length = along[-1] - along[0]
    low, part = _lines(count, search)
    first, last = (ends * px_in for ends in np.mgrid[-search : search + 1, -search : search + 1])
    flat = np.append(evidence.ravel(), 0.0)
    below = flat.take(low)
    score = (below + (flat.take(low + 1) - below) * part).sum(axis=-1)
    # Blocks repeat each other's evidence through the wood's figure; the prior stands against about one block in four.
    score -= 0.5 * 4 * (((first + last) / 2 / task.u_place_in) ** 2 + ((last - first) / (length * task.u_turn)) ** 2)
    i, j = np.unravel_index(int(np.argmax(score)), score.shape)
    slope = (last[i, j] - first[i, j]) / length
    return Voted(float(first[i, j] - slope * along[0]), float(slope), float(score[i, j]) / count)


@lru_cache(maxsize=32)
def _lines(count: int, search: int) -> tuple[Array, Array]:
    """Where lines between any two ends, (2 search + 1)^2, cross the blocks of an evidence table: (.., .., blocks) flat places and parts."""
    ends = np.arange(2 * search + 1)
    share = np.arange(count) / (count - 1)
    place = ends[:, None, None] * (1 - share) + ends[:, None] * share
    low = np.minimum(place.astype(int), 2 * search)
    return low + np.arange(count) * (2 * search + 1), place - low
