"""The heart of the tips: one straight edge of a lobe, to a fraction of a pixel.

An edge is searched in a strip of the photo round a rough line. The strip is cut into short blocks along the edge, and
each block's mean profile is compared with a model (edge_profile) at every place across it. The evidence of all blocks
votes for a straight line, so that taped blocks are outvoted; then the line is measured again in linear light, block by
block, and fitted robustly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.lines import Line
from ..edges import NO_SHARPENING, LinearPatch, Sharpening, Strip, sample_strip
from ..plane.camera import Camera
from .edge_profile import GLUE_WIDTHS_IN, INSIDE_PX, Beyond, Flush, Half, Limit
from .line_fit import MIN_BLOCKS, LineFit, fit_line
from .region import region_evidence

# Rows of one block along the edge, photo pixels: long enough to average noise, short enough that tape spoils few of at least
# WANTED_BLOCKS blocks.
MOST_ROWS, LEAST_ROWS, WANTED_BLOCKS = 14, 6, 18
BLUR_PX = (0.6, 0.8, 1.1, 1.5, 2.0)
VOTE_BLUR_PX = 1.0
# Dark noise and quantisation of an 8-bit photo in linear light: keeps logarithms and weights finite in black wood.
LIGHT_FLOOR = 0.004
# Evidence of one block is capped, so that no single block (a tape's edge) outvotes the rest.
EVIDENCE_CAP = 80.0
# Weight of the colours' evidence (neighbouring pixels repeat each other) beside that of the edge's shape.
REGION_WEIGHT = 0.8
# The refined searches look so far to either side of the line so far, in such steps, photo pixels.
WIDE_SEARCH_PX, NARROW_SEARCH_PX = (8.0, 1.0), (3.0, 0.5)
# A model that says nothing of an edge's place leaves it this uncertain, px.
MODEL_CEILING_PX = 8.0
FINE_PX = 0.25  # samples of the refined profiles
# What a profile model misses (halos of sharpening, the wood's figure), as shares of the light and of the jump.
MISS_OF_LIGHT, MISS_OF_JUMP = 0.03, 0.03
# How often blocks and samples repeat each other when designs are compared. Beside dark wood, and on own seams, a thin dark glue
# line differs from none by less than sharpening's halo does, so next to nothing is learnt there.
REPEATS, HALO_REPEATS = 3.0, 60.0
# The blur of one edge may be so much more or less than the rose's.
BLUR_DOUBT = 1.2
# The sharpening learnt from black on white may be so much milder on wood: phones hold it back where contrast is low.
SHARPENING_DOUBT = 0.6
# A step in luma of fewer times what its model may miss is too faint to place an edge by.
FAINT = 5.0
# How far along a profile what a model misses keeps its sign, px.
MISFIT_RUN_PX = 3.0
# Halos of sharpening and the wood's figure leave a well-fitted edge so uncertain, px: figured wood gives 0.04-0.10 px a line.
MODEL_FLOOR_PX = 0.1
# Edges are straight to about so much over the outer part of a lobe, inches (common practice, no source).
BOW_IN = 0.0003
# How far a wood may differ from its usual tone, log light: in lightness by the lighting across the top, and in colour.
WOOD_LIGHTNESS, WOOD_COLOUR = 0.7, 0.2
# A row shows wood where at least so much of what lies well inside looks like it, and a block where so many of its rows do.
WOOD_SHARE = 0.6
# A block whose wood or field differs so much from the edge's other blocks (log light) lies under tape.
TAPE_TONE = 0.3


@dataclass(frozen=True)
class Wood:
    """What a wood of this rose looks like in this photo: log light, B G R."""

    tone: Array  # (3,)
    spread: Array  # (3,) from lobe to lobe

    def is_like(self, tone: Array) -> Array:
        """Whether tones (..., 3) are this wood's in colour, and roughly in lightness."""
        away = tone - self.tone
        lighter = away.mean(axis=-1)
        colour = np.abs(away - lighter[..., None]) < WOOD_COLOUR + 3 * self.spread
        return np.asarray(colour.all(axis=-1) & (np.abs(lighter) < WOOD_LIGHTNESS + 3 * float(self.spread.mean())))


@dataclass(frozen=True)
class EdgeTask:
    """One edge to be measured."""

    from_in: Array  # (2,) rough line's first point, plane frame at the face's height
    to_in: Array  # (2,)
    outside: int  # +1: the outside lies to the right of from -> to; -1: to the left
    beyond: Beyond
    room: Array  # (k, 3): along, inward and outward room (inches) at places along the rough line
    search_in: float  # how far to either side the edge may lie
    u_place_in: float  # how far it usually lies off, standard deviation
    u_turn: float  # rad, the same of its direction
    blurs_px: tuple[float, ...] = BLUR_PX  # the photo's blur, as far as it is known
    sharpening: Sharpening = NO_SHARPENING  # to be undone in the profiles
    inside_wood: Wood | None = None  # what lies inside, where known: rows that show something else are covered
    outside_wood: Wood | None = None

    @property
    def direction(self) -> Array:
        return (self.to_in - self.from_in) / self.length_in

    @property
    def length_in(self) -> float:
        return float(np.linalg.norm(self.to_in - self.from_in))

    @property
    def outward(self) -> Array:
        return self.outside * right_of(self.direction)

    def moved(self, offset_in: float, slope: float) -> EdgeTask:
        """The same task about another line: offset outward at the first point, slope outward along."""
        first, last = offset_in, offset_in + slope * self.length_in
        room = self.room + np.outer(offset_in + slope * self.room[:, 0], [0, 1, -1])
        return replace(self, from_in=self.from_in + first * self.outward, to_in=self.to_in + last * self.outward, room=room)


@dataclass(frozen=True)
class EdgeFit:
    """A measured edge."""

    line: Line
    blur_px: float
    contrast: float  # the jump over what the model misses
    inside_light: Array  # (3,) linear B, G, R of the wood just inside
    outside_light: Array  # (3,) beyond
    misfit: float  # what the model leaves, over what it is allowed to
    glue_in: float = 0.0  # width of the glue line beyond a flush edge


def measure_edge(patch: LinearPatch, camera: Camera, task: EdgeTask, z_in: float) -> EdgeFit | None:
    """Measure one edge; None where nothing straight can be found in the strip."""
    px_in = 1 / camera.px_per_in_at((task.from_in + task.to_in) / 2, z_in)
    rough = _vote(_Blocks.of(patch, camera, task, z_in, px_in), task, px_in)
    if rough is None:
        return None
    task = task.moved(*rough)
    wide = _refine(patch, camera, task, z_in, px_in, *WIDE_SEARCH_PX)
    if wide is None:
        return None
    first, last = (float(end) for end in wide.fit.place([0.0, task.length_in]))
    task = task.moved(first, (last - first) / task.length_in)
    refined = _refine(patch, camera, task, z_in, px_in, *NARROW_SEARCH_PX)
    return None if refined is None else _edge_of(refined, task, z_in)


def _outward_strip(patch: LinearPatch, camera: Camera, task: EdgeTask, z_in: float, px_in: float, half_px: float, step_px: float) -> Strip:
    """A strip along the rough line whose across axis points outward."""
    strip = sample_strip(patch, camera, task.from_in, task.to_in, z_in, half_px * px_in, px_in, step_px * px_in)
    return strip if task.outside > 0 else Strip(strip.light[:, ::-1], strip.along_in, strip.across_in)


def _block_rows(strip: Strip) -> int:
    return int(np.clip(len(strip.along_in) // WANTED_BLOCKS, LEAST_ROWS, MOST_ROWS))


def _block_means(strip: Strip, bare: Array) -> tuple[Array, Array, Array]:
    """(middle along (blocks,), mean light of bare rows (blocks, across, 3), which blocks are bare enough (blocks,))."""
    each = _block_rows(strip)
    count = max(1, len(strip.along_in) // each)
    rows = count * each
    weight = bare[:rows].reshape(count, each).astype(np.float32)
    shown = weight.mean(axis=1) >= WOOD_SHARE
    weight[~shown] = 1.0
    weight /= weight.sum(axis=1, keepdims=True)
    light = np.einsum("br,brxc->bxc", weight, strip.light[:rows].reshape(count, each, -1, 3))
    return strip.along_in[:rows].reshape(count, each).mean(axis=1), light, shown


def _bare_rows(strip: Strip, task: EdgeTask, doubt_in: float) -> Array:
    """(rows,) whether a row shows wood inside (and, for an own seam, beyond) and not tape; the edge lies within doubt_in."""
    bare = np.ones(len(strip.along_in), bool)
    for wood, side, column in ((task.inside_wood, -1, 1), (task.outside_wood, 1, 2)):
        if wood is None:
            continue
        room = np.interp(strip.along_in, task.room[:, 0], task.room[:, column])[:, None]
        depth = side * strip.across_in[None, :]
        near = np.minimum(0.3 * room, doubt_in)
        looked = (depth > near) & (depth < np.maximum(np.minimum(0.85 * room, near + 0.06), near + 0.004))
        like = wood.is_like(np.log(np.maximum(strip.light, LIGHT_FLOOR)))
        count = looked.sum(axis=1)
        bare &= (np.sum(like & looked, axis=1) >= WOOD_SHARE * count) & (count > 0)
    return bare


@dataclass(frozen=True)
class _Blocks:
    """The strip's blocks, their windows at every place across, and which of them have room for the model."""

    along_in: Array  # (blocks,)
    windows: Array  # (blocks, places, 3, window) linear light
    places_in: Array  # (places,) outward
    window_px: Array  # (window,)
    usable: Array  # (blocks, places) bool
    strip: Strip
    inward_in: Array  # (blocks,) room

    @staticmethod
    def of(patch: LinearPatch, camera: Camera, task: EdgeTask, z_in: float, px_in: float) -> _Blocks:
        reach_px = task.beyond.reach_px(px_in)
        window = np.arange(-round(INSIDE_PX), round(reach_px) + 1, dtype=float)
        half = task.search_in / px_in + max(INSIDE_PX, reach_px) + 1
        strip = _outward_strip(patch, camera, task, z_in, px_in, half, 1.0)
        middle, light, shown = _block_means(strip, _bare_rows(strip, task, 0.4 * task.search_in))
        light = task.sharpening.undone(light, 1.0)
        windows = np.lib.stride_tricks.sliding_window_view(light, len(window), axis=1)
        places = strip.across_in[: windows.shape[1]] - window[0] * px_in
        inward, outward = (np.interp(middle, task.room[:, 0], task.room[:, k]) for k in (1, 2))
        near = np.abs(places) <= task.search_in + 1e-9
        usable = (places > -inward[:, None] + 0.8 * INSIDE_PX * px_in) & (places < outward[:, None] - 0.8 * reach_px * px_in)
        usable &= np.isfinite(windows).all(axis=(2, 3)) & near & shown[:, None]
        return _Blocks(middle, windows, places, window, usable, strip, inward)


def _vote(blocks: _Blocks, task: EdgeTask, px_in: float) -> tuple[float, float] | None:
    """(offset at the first point, slope) of the line that the blocks' evidence supports best; inches outward."""
    if blocks.usable.any(axis=1).sum() < MIN_BLOCKS:
        return None
    window = blocks.window_px
    windows = blocks.windows.astype(float)
    root = _weights(blocks, task)
    weighted = windows * root
    total = np.sum(weighted**2, axis=(-1, -2))
    level = np.stack([np.ones_like(window), window], axis=-1)
    without = np.maximum(total - _window_explained(weighted, level, root), 0)
    levels = _levels(blocks.strip, task)
    designs = task.beyond.designs(window, VOTE_BLUR_PX, px_in)
    with_edge = np.min([total - _window_explained(weighted, design, root, task.beyond.limits(px_in), levels) for design in designs], axis=0)
    # A likelihood ratio with the scale of the misfit unknown: an edge in figured wood fits badly, but far better than none.
    samples = 3 * len(window)
    evidence = np.minimum(0.5 * len(window) * np.log((without + samples) / (with_edge + samples)), EVIDENCE_CAP)
    first = round(-window[0])
    colours = region_evidence(blocks.strip, _block_rows(blocks.strip), blocks.inward_in, task.search_in, LIGHT_FLOOR)
    evidence = evidence + REGION_WEIGHT * colours[:, first : first + evidence.shape[1]]
    evidence = np.where(blocks.usable, evidence, np.min(evidence, axis=1, where=blocks.usable, initial=0.0)[:, None])
    return _best_line(evidence, blocks.along_in, blocks.places_in, task)


def _weights(blocks: _Blocks, task: EdgeTask) -> Array:
    """(3, window): one over what the model may miss, from the levels well inside and well outside the rough line."""
    inner, outer = _levels(blocks.strip, task)
    allowed = np.stack([MISS_OF_LIGHT * inner, MISS_OF_LIGHT * outer]) + LIGHT_FLOOR / 2 + MISS_OF_JUMP * np.abs(outer - inner)
    return np.where(blocks.window_px < 0, 1 / allowed[0][:, None], 1 / allowed[1][:, None])


def _levels(strip: Strip, task: EdgeTask) -> tuple[Array, Array]:
    """Usual light (3,) well inside and well outside the rough line."""
    across = strip.across_in
    inner = np.median(strip.light[:, across < -0.4 * task.search_in], axis=(0, 1))
    return inner, np.median(strip.light[:, across > 0.6 * task.search_in], axis=(0, 1))


def _window_explained(
    weighted: Array, design: Array, root: Array, limits: Sequence[Limit] = (), levels: tuple[Array, Array] | None = None
) -> Array:
    """(blocks, places): what a design (window, k) explains of each window (blocks, places, 3, window), channels together."""
    result = np.zeros(weighted.shape[:2])
    for channel in range(3):
        rows = design * root[channel][:, None]
        if levels is not None:
            rows = np.vstack([rows, _ridge(limits, [level[channel] for level in levels], design.shape[1])])
        # Ridge rows aim at 0: only the samples' part of the basis sees data.
        basis = np.linalg.qr(rows)[0][: len(design)]
        result += np.sum((weighted[:, :, channel] @ basis) ** 2, axis=-1)
    return result


def _ridge(limits: Sequence[Limit], levels: Sequence[float], columns: int) -> Array:
    """(limits, columns): rows that hold limited coefficients near 0, in units of their standard deviation."""
    held = [limit for limit in limits if limit[0] < columns]
    rows = np.zeros((len(held), columns))
    for row, (column, share, side) in zip(rows, held, strict=True):
        row[column] = 1 / (share * (float(levels[side]) + LIGHT_FLOOR))
    return rows


def _best_line(evidence: Array, along: Array, places: Array, task: EdgeTask) -> tuple[float, float] | None:
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
    return float(first[i, j] - slope * along[0]), float(slope)


@dataclass(frozen=True)
class _Refined:
    fit: LineFit
    blur_px: float
    u_model_in: float
    inside_light: Array
    outside_light: Array
    contrast: float
    misfit: float
    glue_in: float


def _refine(
    patch: LinearPatch, camera: Camera, task: EdgeTask, z_in: float, px_in: float, slack_px: float, step_px: float
) -> _Refined | None:
    """Measure the line again in linear light, block by block, and fit it robustly.

    Every place is judged by the same samples, from INSIDE_PX inside the rough line to the model's reach beyond it.
    """
    reach_px = task.beyond.reach_px(px_in)
    strip = _outward_strip(patch, camera, task, z_in, px_in, max(INSIDE_PX, reach_px), FINE_PX)
    along, drawn, shown = _block_means(strip, _bare_rows(strip, task, 2 * px_in))
    light = task.sharpening.luma_undone(drawn, FINE_PX)[..., None]
    if _faint(np.median(light[shown], axis=0)[:, 0], strip.across_in / px_in):
        # Woods of one lightness differ by colour alone, which the photo draws less sharply.
        light = task.sharpening.undone(drawn, FINE_PX)
    x = strip.across_in / px_in
    seen = (x >= -INSIDE_PX) & (x <= reach_px)
    x, light = x[seen], light[:, seen]
    inward, outward = (np.interp(along, task.room[:, 0], task.room[:, k]) for k in (1, 2))
    keep = shown & (inward > INSIDE_PX * px_in) & (outward > 0.8 * reach_px * px_in) & np.isfinite(light).all(axis=(1, 2))
    if keep.sum() < MIN_BLOCKS:
        return None
    drawn = np.median(drawn[keep], axis=0).astype(float)
    along, light = along[keep], light[keep].astype(float)
    typical = np.median(light, axis=0)  # (samples, 1)
    jump = typical.max(axis=0) - typical.min(axis=0)
    weight = 1 / (MISS_OF_LIGHT * typical + MISS_OF_JUMP * jump + LIGHT_FLOOR / 2) ** 2
    places = np.arange(-slack_px, slack_px + step_px / 2, step_px)
    offsets = x[None, :] - places[:, None]
    total = np.einsum("xc,bxc->b", weight, light**2)[:, None]
    inner, outer = np.median(typical[x < -1.5], axis=0), np.median(typical[x > 1.5], axis=0)
    # The weights count samples finer than a pixel as if each were new.
    ridge = [_Ridge(task.beyond.limits(px_in), (inner[c], outer[c]), FINE_PX) for c in range(light.shape[2])]
    chosen: tuple[float, float, list[Array]] | None = None
    for blur in task.blurs_px:
        tables = [np.maximum(total - _explained(light, design, weight, ridge), 0.0) for design in task.beyond.designs(offsets, blur, px_in)]
        least = min(_trimmed(table) for table in tables)
        if chosen is None or least < chosen[0]:
            chosen = least, blur, tables
    assert chosen is not None
    _, blur, tables = chosen
    sums = np.array([_trimmed(table) for table in tables])
    best = int(np.argmin(sums))
    freedom = max(light.shape[2] * (INSIDE_PX + reach_px - 5) - 1, 6)  # independent samples a block, less the unknowns
    scale = np.maximum(tables[best].min(axis=1) * FINE_PX / freedom, 1e-6)
    usual = float(np.median(scale))
    fits = []
    for table, design in zip(tables, task.beyond.designs(offsets, blur, px_in), strict=True):
        at, spread = _minimum(table * FINE_PX / np.maximum(scale, 0.3 * usual)[:, None], places)
        same = _untaped(light, design, weight, at, places)
        fits.append(fit_line(along, at * px_in, spread * px_in, task.u_turn, same))
    whole = fits[best]
    if whole is None:
        return None
    # Designs that fit nearly as well (the glue's width) share the answer.
    halo_decides = isinstance(task.beyond, Half) or float(np.mean(np.log(inner + LIGHT_FLOOR) - np.log(outer + LIGHT_FLOOR))) < 0
    chi = (sums - sums[best]) * FINE_PX / usual / (HALO_REPEATS if halo_decides else REPEATS)
    if isinstance(task.beyond, (Flush, Half)):
        chi = chi + task.beyond.surprise()
        chi -= chi.min()
    share = np.array([0.0 if fit is None else float(np.exp(-0.5 * c)) for c, fit in zip(chi, fits, strict=True)])
    share /= share.sum()
    middle = float(np.mean(along))
    where = np.array([0.0 if fit is None else float(fit.place(middle)) for fit in fits])
    mean = float(share @ where)
    milder = Sharpening(task.sharpening.strength * SHARPENING_DOUBT, task.sharpening.radius_px)
    other = milder.luma_undone(drawn, FINE_PX)[seen, None] if light.shape[2] == 1 else milder.undone(drawn, FINE_PX)[seen]
    model_px = _model_px(x - float(where[best]) / px_in, typical, other, weight, ridge, task.beyond, blur, px_in, best)
    return _Refined(
        whole.shifted(mean - where[best]),
        blur,
        float(np.sqrt(share @ (where - mean) ** 2 + (model_px * px_in) ** 2 + BOW_IN**2)),
        np.median(drawn[seen][x < -1.5], axis=0),
        np.median(drawn[seen][x > 1.5], axis=0),
        _contrast(x - float(where[best]) / px_in, typical, weight),
        usual,
        float(share @ np.array(GLUE_WIDTHS_IN)) if isinstance(task.beyond, Flush) else 0.0,
    )


def _contrast(x: Array, typical: Array, weight: Array) -> float:
    """How far what lies just beyond the edge (a contact shadow too) departs from the wood just inside, over what the model may miss."""
    inside, beyond = (x < -1.5) & (x > -INSIDE_PX), (x > 0.5) & (x < INSIDE_PX)
    if not inside.any() or not beyond.any():
        return 0.0
    inner = np.median(typical[inside], axis=0)
    return float(np.max(np.quantile(np.abs(typical[beyond] - inner) * np.sqrt(weight[beyond]), 0.75, axis=0)))


def _faint(luma: Array, x: Array) -> bool:
    """Whether a typical profile's luma hardly changes across the edge, against what its model may miss."""
    inner, outer = np.median(luma[(x < -1.5) & (x > -INSIDE_PX)]), np.median(luma[(x > 1.5) & (x < INSIDE_PX)])
    return bool(abs(outer - inner) < FAINT * (MISS_OF_LIGHT * max(inner, outer) + LIGHT_FLOOR / 2))


def _model_px(
    x: Array,
    typical: Array,
    other_typical: Array,
    weight: Array,
    ridge: Sequence[_Ridge],
    beyond: Beyond,
    blur: float,
    px_in: float,
    option: int,
) -> float:
    """Standard uncertainty (px) of the edge's place from the model: each alternative's change, as far as it looks like a shift.

    First order: what remains of a changed profile, once the linear levels have taken their part, is projected on what a
    shift of the edge would do (JCGM 100:2008, 5.1.3, with the fit as the function).
    """
    step = 0.25

    def design(model: Beyond, place: float, width: float) -> Array:
        return model.designs(x - place, width, px_in)[option]

    base = design(beyond, 0.0, blur)
    ahead, behind = design(beyond, step, blur), design(beyond, -step, blur)
    others = [design(beyond, 0.0, blur * BLUR_DOUBT)]
    for model in beyond.alternatives():
        other = model.designs(x, blur, px_in)[0]
        if other.shape == base.shape:
            others.append(other)
    along = left = 0.0
    across = np.zeros(len(others) + 1)
    for channel in range(typical.shape[1]):
        root = np.sqrt(weight[:, channel])
        held = np.linalg.cholesky(ridge[channel].information(base.shape[1]) + 1e-12 * np.eye(base.shape[1])).T
        rows = np.vstack([base * root[:, None], held])
        basis = np.linalg.qr(rows)[0][: len(base)]
        coefficients = np.linalg.lstsq(rows, np.append(typical[:, channel] * root, np.zeros(len(held))), rcond=None)[0]
        shift = root * ((ahead - behind) @ coefficients) / (2 * step)
        shift -= basis @ (basis.T @ shift)
        along += float(shift @ shift)
        for k, other in enumerate(others):
            across[k] += float(shift @ (root * ((other - base) @ coefficients)))
        across[-1] += float(shift @ (root * (other_typical[:, channel] - typical[:, channel])))
        residual = root * typical[:, channel]
        residual = residual - basis @ (basis.T @ residual)
        left += float(residual @ residual)
    if along <= 0:
        return MODEL_CEILING_PX
    # What no alternative explains runs on over MISFIT_RUN_PX and through all channels alike: noise with that correlation.
    unexplained = left / len(x) * MISFIT_RUN_PX / FINE_PX / along
    return float(min(np.sqrt(MODEL_FLOOR_PX**2 + np.sum((across / along) ** 2) + unexplained), MODEL_CEILING_PX))


def _trimmed(table: Array) -> float:
    """The sum over blocks of the least misfit, the worst third left out."""
    return float(np.sum(np.sort(table.min(axis=1))[: max(2, int(0.7 * len(table)))]))


@dataclass(frozen=True)
class _Ridge:
    limits: Sequence[Limit]
    levels: tuple[float, float]
    step_px: float

    def information(self, columns: int) -> Array:
        """(columns, columns)"""
        rows = _ridge(self.limits, self.levels, columns)
        return rows.T @ rows / self.step_px


def _explained(light: Array, design: Array, weight: Array, ridge: Sequence[_Ridge]) -> Array:
    """(blocks, places): the weighted sum of squares of light (blocks, samples, 3) that a design (places, samples, k) explains."""
    result = np.zeros((len(light), len(design)))
    for channel in range(light.shape[2]):
        weighted = design * weight[:, channel][:, None]
        right = np.swapaxes(weighted, 1, 2) @ light[:, :, channel].T  # (places, k, blocks)
        normal = np.swapaxes(weighted, 1, 2) @ design
        diagonal = np.einsum("pkk->pk", normal)
        normal = normal + 1e-9 * diagonal.max(axis=1)[:, None, None] * np.eye(design.shape[2]) + ridge[channel].information(design.shape[2])
        result += np.sum(right * np.linalg.solve(normal, right), axis=1).T
    return result


def _untaped(light: Array, design: Array, weight: Array, at_px: Array, places_px: Array) -> Array:
    """(blocks,) whether a block's wood (first column) and field (third column) look like the other blocks'."""
    index = np.clip(np.round((at_px - places_px[0]) / (places_px[1] - places_px[0])).astype(int), 0, len(places_px) - 1)
    tone = np.empty((light.shape[2], len(light), 2))
    for channel in range(light.shape[2]):
        root = np.sqrt(weight[:, channel])
        solve = np.linalg.pinv(design * root[:, None])[index]  # (blocks, k, samples)
        level = np.einsum("bks,bs->bk", solve, light[:, :, channel] * root)
        tone[channel] = np.log(np.maximum(level[:, [0, 2]], LIGHT_FLOOR))
    away = np.abs(tone - np.median(tone, axis=1, keepdims=True))
    usual = 1.4826 * np.median(away, axis=1, keepdims=True)
    return np.asarray((away < np.maximum(TAPE_TONE, 4 * usual)).all(axis=(0, 2)))


def _minimum(cost: Array, places: Array) -> tuple[Array, Array]:
    """Where each row of a cost table (rows, places) is least, and its standard uncertainty from the curvature of cost = chi squared."""
    step = places[1] - places[0]
    lowest = np.argmin(cost, axis=1)
    k = np.clip(lowest, 1, len(places) - 2)
    row = np.arange(len(cost))
    left, middle, right = cost[row, k - 1], cost[row, k], cost[row, k + 1]
    curve = np.maximum(left - 2 * middle + right, 1e-9)
    shift = np.clip(0.5 * (left - right) / curve, -1, 1)
    at_end = (lowest == 0) | (lowest == len(places) - 1)
    # A minimum at the search's end says little about where the edge is.
    return places[k] + shift * step, np.where(at_end, places[-1], np.sqrt(2 * step**2 / curve))


def _edge_of(refined: _Refined, task: EdgeTask, z_in: float) -> EdgeFit:
    """The fit as a line on the plane, direction from -> to, offsets to the right."""
    fit = refined.fit
    point = task.from_in + fit.mean_along * task.direction + fit.offset * task.outward
    turned = task.direction + fit.slope * task.outward
    line = Line(
        point,
        float(np.arctan2(turned[0], turned[1])),
        fit.cov,  # offset and turn change sign together with the side, so the covariance stays
        refined.u_model_in,
        z_in,
        fit.half_span,
        fit.seen_fraction,
    )
    return EdgeFit(line, refined.blur_px, refined.contrast, refined.inside_light, refined.outside_light, refined.misfit, refined.glue_in)
