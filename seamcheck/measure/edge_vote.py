"""Where an edge lies, to a pixel: the blocks along it vote for a straight line, so that taped ones are outvoted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array
from ..basis.order import median
from ..edges import LIGHT_FLOOR, LinearPatch, Strip
from ..plane.camera import Camera
from .edge_profile import INSIDE_PX, Limit, ridge_rows, smeared_designs
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
    """The strip's blocks, their windows at every place across, and which of them have room for the model."""

    along_in: Array  # (blocks,)
    light: Array  # (blocks, across, 3) linear light
    windows: Array  # (blocks, places, 3, window) linear light
    places_in: Array  # (places,) outward
    window_px: Array  # (window,)
    usable: Array  # (blocks, places) bool
    strip: Strip
    inward_in: Array  # (blocks,) room

    @staticmethod
    def of(patch: LinearPatch, camera: Camera, task: EdgeTask, z_in: float, px_in: float) -> _Blocks:
        inside_px, reach_px = INSIDE_PX + task.softness_px, task.beyond.reach_px(px_in) + task.softness_px
        window = np.arange(-round(inside_px), round(reach_px) + 1, dtype=float)
        half = task.search_in / px_in + max(inside_px, reach_px) + 1
        strip = outward_strip(patch, camera, task, z_in, px_in, half, 1.0)
        middle, light, shown = block_means(strip, bare_rows(strip, task, 0.4 * task.search_in))
        light = task.sharpening.undone(light, 1.0)
        windows = np.lib.stride_tricks.sliding_window_view(light, len(window), axis=1)
        places = strip.across_in[: windows.shape[1]] - window[0] * px_in
        inward, outward = (np.interp(middle, task.room[:, 0], task.room[:, k]) for k in (1, 2))
        near = np.abs(places) <= task.search_in + 1e-9
        usable = (places > -inward[:, None] + 0.8 * inside_px * px_in) & (places < outward[:, None] - 0.8 * reach_px * px_in)
        usable &= np.isfinite(windows).all(axis=(2, 3)) & near & shown[:, None]
        return _Blocks(middle, light, windows, places, window, usable, strip, inward)


@dataclass(frozen=True)
class Voted:
    """The line that the blocks' evidence supports best."""

    offset_in: float  # outward of the rough line's first point
    slope: float
    evidence: float  # a block's, usually: log likelihood that wood ends there, over that it doesn't


def vote(patch: LinearPatch, camera: Camera, task: EdgeTask, z_in: float, px_in: float) -> Voted | None:
    """Where the edge lies, to a pixel; None where too little of it shows."""
    blocks = _Blocks.of(patch, camera, task, z_in, px_in)
    if blocks.usable.any(axis=1).sum() < MIN_BLOCKS:
        return None
    window = blocks.window_px
    windows = blocks.windows.astype(float)
    levels = _levels(blocks, task)
    root = _weights(window, levels)
    weighted = windows * root
    total = np.sum(weighted**2, axis=(-1, -2))
    level = np.stack([np.ones_like(window), window], axis=-1)
    without = np.maximum(total - _window_explained(weighted, level, root), 0)
    designs = smeared_designs(task.beyond, window, max(VOTE_BLUR_PX, min(task.blurs_px)), task.smear_px, px_in)
    with_edge = np.min([total - _window_explained(weighted, design, root, task.beyond.limits(px_in), levels) for design in designs], axis=0)
    # A likelihood ratio with the scale of the misfit unknown: an edge in figured wood fits badly, but far better than none.
    samples = 3 * len(window)
    evidence = np.minimum(0.5 * len(window) * np.log((without + samples) / (with_edge + samples)), EVIDENCE_CAP)
    first = round(-window[0])
    colours = region_evidence(blocks.strip, block_rows(blocks.strip), blocks.inward_in, task.search_in)
    evidence = evidence + REGION_WEIGHT * colours[:, first : first + evidence.shape[1]]
    evidence = np.where(blocks.usable, evidence, np.min(evidence, axis=1, where=blocks.usable, initial=0.0)[:, None])
    return _best_line(evidence, blocks.along_in, blocks.places_in, task)


def _weights(window_px: Array, levels: tuple[Array, Array]) -> Array:
    """(3, window): one over what the model may miss, from the levels well inside and well outside the rough line."""
    inner, outer = levels
    allowed = np.stack([MISS_OF_LIGHT * inner, MISS_OF_LIGHT * outer]) + LIGHT_FLOOR / 2 + MISS_OF_JUMP * np.abs(outer - inner)
    return np.where(window_px < 0, 1 / allowed[0][:, None], 1 / allowed[1][:, None])


def _levels(blocks: _Blocks, task: EdgeTask) -> tuple[Array, Array]:
    """Usual light (3,) well inside and well outside the rough line."""
    across = blocks.strip.across_in
    inner, outer = blocks.light[:, across < -0.4 * task.search_in], blocks.light[:, across > 0.6 * task.search_in]
    return median(inner.reshape(-1, 3)), median(outer.reshape(-1, 3))


def _window_explained(
    weighted: Array, design: Array, root: Array, limits: Sequence[Limit] = (), levels: tuple[Array, Array] | None = None
) -> Array:
    """(blocks, places): what a design (window, k) explains of each window (blocks, places, 3, window), channels together."""
    result = np.zeros(weighted.shape[:2])
    for channel in range(3):
        rows = design * root[channel][:, None]
        if levels is not None:
            rows = np.vstack([rows, ridge_rows(limits, [level[channel] for level in levels], design.shape[1])])
        # Ridge rows aim at 0: only the samples' part of the basis sees data.
        basis = np.linalg.qr(rows)[0][: len(design)]
        result += np.sum((weighted[:, :, channel] @ basis) ** 2, axis=-1)
    return result


def _best_line(evidence: Array, along: Array, places: Array, task: EdgeTask) -> Voted:
    """The straight line through an evidence table (blocks, places) with the largest sum, the rough line a weak prior."""
    length = along[-1] - along[0]
    step = places[1] - places[0]
    ends = np.arange(-task.search_in, task.search_in + step / 2, step)
    first, last = np.meshgrid(ends, ends, indexing="ij")
    share = (along - along[0]) / length
    index = np.clip((first[..., None] * (1 - share) + last[..., None] * share - places[0]) / step, 0, len(places) - 1.001)
    low = index.astype(int)
    part = index - low
    block = np.arange(len(along))
    score = (evidence[block, low] * (1 - part) + evidence[block, low + 1] * part).sum(axis=-1)
    # Blocks repeat each other's evidence through the wood's figure; the prior stands against about one block in four.
    score -= 0.5 * 4 * (((first + last) / 2 / task.u_place_in) ** 2 + ((last - first) / (length * task.u_turn)) ** 2)
    i, j = np.unravel_index(int(np.argmax(score)), score.shape)
    slope = (last[i, j] - first[i, j]) / length
    return Voted(float(first[i, j] - slope * along[0]), float(slope), float(score[i, j]) / len(along))
