"""The heart of the tips: one straight edge of a lobe, to a fraction of a pixel.

An edge is searched in a strip of the photo round a rough line (edge_vote), then measured again in linear light: each short
block's mean profile along it is compared with a model (edge_profile) at every place across it, all places judged by the same
samples, and the blocks' places are fitted with a straight line, robustly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array
from ..basis.lines import Line
from ..basis.order import median
from ..edges import LIGHT_FLOOR, LinearPatch, Sharpening, tone_of
from ..plane.camera import Camera
from .edge_profile import GLUE_WIDTHS_IN, INSIDE_PX, Beyond, Flush, Half, Limit, ridge_rows, smeared_designs
from .edge_task import MISS_OF_JUMP, MISS_OF_LIGHT, EdgeFit, EdgeTask, bare_rows, block_means, outward_strip
from .edge_vote import vote
from .line_fit import MIN_BLOCKS, LineFit, fit_line

# The refined searches look so far to either side of the line so far, in such steps, photo pixels.
WIDE, NARROW = (8.0, 1.0), (3.0, 0.5)
# A line that the narrow search moves by less than this was near enough for it.
NEAR_ENOUGH_PX = 1.0
# Wood and field are looked at this far from a sharp edge, px.
BESIDE_PX = 1.5
# A model that says nothing of an edge's place leaves it this uncertain, px.
MODEL_CEILING_PX = 8.0
FINE_PX = 0.25  # samples of the refined profiles
# How often blocks and samples repeat each other when designs are compared. Beside dark wood, and on own seams, a thin dark glue
# line differs from none by less than sharpening's halo does, so next to nothing is learnt there.
REPEATS, HALO_REPEATS = 3.0, 60.0
# A design that fits worse than the best by so much chi squared has no say (less than one part in a thousand).
IDLE_CHI = 14.0
# The blur of one edge may be so much more or less than the rose's.
BLUR_DOUBT = 1.2
# The sharpening learnt from black on white may be so much milder on wood: phones hold it back where contrast is low.
SHARPENING_DOUBT = 0.6
# A flush edge throws no shadow: with less evidence than this (nats a block) it's as likely the wood's figure. Rendered inlays, whose edges
# are measured rightly, show 2.8 and more, most of them 9; dark halves on a striped field of their own tone, measured wrongly, 0 to 2.
FLUSH_SHOWS = 2.5
# A step in luma of fewer times what its model may miss is too faint to place an edge by.
FAINT = 5.0
# As a share of what a model may miss of one block (MISS_OF_LIGHT, MISS_OF_JUMP): what it misses alike in all blocks of an edge.
COMMON_MISS = 0.3
# ... and as a share of the square of what it does miss, block by block, where that is more.
COMMON_SHARE = 0.3
# How far along a profile what a model misses keeps its sign, px.
MISFIT_RUN_PX = 3.0
# Halos of sharpening and the wood's figure leave a well-fitted edge so uncertain, px: figured wood gives 0.04-0.10 px a line.
MODEL_FLOOR_PX = 0.1
# Edges are straight to about so much over the outer part of a lobe, inches (common practice, no source).
BOW_IN = 0.0003
# A block whose wood or field differs so much from the edge's other blocks (log light) lies under tape.
TAPE_TONE = 0.3


def measure_edge(patch: LinearPatch, camera: Camera, task: EdgeTask, z_in: float, finely: bool = True) -> EdgeFit | None:
    """Measure one edge; None where nothing straight can be found in the strip. Not finely: to a few tenths of a pixel, in half the time."""
    px_in = 1 / camera.px_per_in_at((task.from_in + task.to_in) / 2, z_in)
    rough = vote(patch, camera, task, z_in, px_in)
    if rough is None or (isinstance(task.beyond, Flush) and rough.evidence < FLUSH_SHOWS):
        return None
    task = task.moved(rough.offset_in, rough.slope)
    if finely:
        near = _refine(patch, camera, task, z_in, px_in, NARROW)
        if near is not None and max(np.abs(near.ends_in(task))) < NEAR_ENOUGH_PX * px_in:
            return _edge_of(near, task, z_in)
    wide = _refine(patch, camera, task, z_in, px_in, WIDE)
    if wide is None or not finely:
        return None if wide is None else _edge_of(wide, task, z_in)
    first, last = wide.ends_in(task)
    task = task.moved(first, (last - first) / task.length_in)
    near = _refine(patch, camera, task, z_in, px_in, NARROW)
    return None if near is None else _edge_of(near, task, z_in)


@dataclass(frozen=True)
class _Refined:
    fit: LineFit
    u_model_in: float
    inside_light: Array
    outside_light: Array
    contrast: float
    misfit: float
    glue_in: float

    def ends_in(self, task: EdgeTask) -> tuple[float, float]:
        """How far outward of the rough line the fitted one lies at the task's two ends."""
        first, last = self.fit.place([0.0, task.length_in])
        return float(first), float(last)


def _refine(patch: LinearPatch, camera: Camera, task: EdgeTask, z_in: float, px_in: float, search: tuple[float, float]) -> _Refined | None:
    """Measure the line again in linear light, block by block, and fit it robustly.

    Every place is judged by the same samples, from INSIDE_PX inside the rough line (more where the photo is soft) to the model's
    reach beyond it.
    """
    slack_px, step_px = search
    near_px = BESIDE_PX + task.softness_px
    inside_px = INSIDE_PX + task.softness_px
    reach_px = task.beyond.reach_px(px_in) + task.softness_px
    strip = outward_strip(patch, camera, task, z_in, px_in, max(inside_px, reach_px), FINE_PX)
    along, drawn, shown = block_means(strip, bare_rows(strip, task, 2 * px_in))
    if shown.sum() < MIN_BLOCKS:
        return None
    light = task.sharpening.luma_undone(drawn, FINE_PX)[..., None]
    if _faint(median(light[shown])[:, 0], strip.across_in / px_in, near_px):
        # Woods of one lightness differ by colour alone, which the photo draws less sharply.
        light = task.sharpening.undone(drawn, FINE_PX)
    x = strip.across_in / px_in
    seen = (x >= -inside_px) & (x <= reach_px)
    x, light = x[seen], light[:, seen]
    inward, outward = (np.interp(along, task.room[:, 0], task.room[:, k]) for k in (1, 2))
    keep = shown & (inward > inside_px * px_in) & (outward > 0.8 * reach_px * px_in) & np.isfinite(light).all(axis=(1, 2))
    if keep.sum() < MIN_BLOCKS:
        return None
    drawn = median(drawn[keep]).astype(float)
    along, light = along[keep], light[keep].astype(float)
    typical = median(light)  # (samples, 1)
    jump = typical.max(axis=0) - typical.min(axis=0)
    weight = 1 / (MISS_OF_LIGHT * typical + MISS_OF_JUMP * jump + LIGHT_FLOOR / 2) ** 2
    places = np.arange(-slack_px, slack_px + step_px / 2, step_px)
    offsets = x[None, :] - places[:, None]
    total = np.einsum("xc,bxc->b", weight, light**2)[:, None]
    inner, outer = median(typical[x < -near_px]), median(typical[x > near_px])
    # The weights count samples finer than a pixel as if each were new.
    ridge = [_Ridge(task.beyond.limits(px_in), (inner[c], outer[c]), FINE_PX) for c in range(light.shape[2])]
    chosen: _Chosen | None = None
    for blur in task.blurs_px:
        designs = smeared_designs(task.beyond, offsets, blur, task.smear_px, px_in)
        tables = [np.maximum(total - _explained(light, design, weight, ridge), 0.0) for design in designs]
        sums = np.array([_trimmed(table) for table in tables])
        if chosen is None or sums.min() < chosen.sums.min():
            chosen = _Chosen(blur, designs, tables, sums)
    assert chosen is not None
    blur, designs, tables, sums = chosen.blur_px, chosen.designs, chosen.tables, chosen.sums
    best = int(np.argmin(sums))
    freedom = max(light.shape[2] * (inside_px + reach_px - 5) - 1, 6)  # independent samples a block, less the unknowns
    scale = np.maximum(tables[best].min(axis=1) * FINE_PX / freedom, 1e-6)
    usual = float(median(scale))
    halo_decides = isinstance(task.beyond, Half) or float(np.mean(np.log(inner + LIGHT_FLOOR) - np.log(outer + LIGHT_FLOOR))) < 0
    chi = (sums - sums[best]) * FINE_PX / usual / (HALO_REPEATS if halo_decides else REPEATS)
    if isinstance(task.beyond, (Flush, Half)):
        chi = chi + task.beyond.surprise()
        chi -= chi.min()
    same = _untaped(light, designs[best], weight, places[tables[best].argmin(axis=1)], places)
    fits: list[LineFit | None] = []
    for k, table in enumerate(tables):
        if chi[k] > IDLE_CHI and k != best:
            fits.append(None)
            continue
        at, spread = _minimum(table * FINE_PX / np.maximum(scale, 0.3 * usual)[:, None], places)
        fits.append(fit_line(along, at * px_in, spread * px_in, task.u_turn, same))
    whole = fits[best]
    if whole is None:
        return None
    # Designs that fit nearly as well (the glue's width) share the answer.
    share = np.array([0.0 if fit is None else float(np.exp(-0.5 * c)) for c, fit in zip(chi, fits, strict=True)])
    share /= share.sum()
    middle = float(np.mean(along))
    where = np.array([0.0 if fit is None else float(fit.place(middle)) for fit in fits])
    mean = float(share @ where)
    milder = Sharpening(task.sharpening.strength * SHARPENING_DOUBT, task.sharpening.radius_px)
    other = milder.luma_undone(drawn, FINE_PX)[seen, None] if light.shape[2] == 1 else milder.undone(drawn, FINE_PX)[seen]
    model_px = _model_px(x - float(where[best]) / px_in, typical, other, weight, ridge, task, blur, px_in, best, usual)
    return _Refined(
        whole.shifted(mean - where[best]),
        float(np.sqrt(share @ (where - mean) ** 2 + (model_px * px_in) ** 2 + BOW_IN**2)),
        median(drawn[seen][x < -near_px]),
        median(drawn[seen][x > near_px]),
        _contrast(x - float(where[best]) / px_in, typical, weight, near_px),
        usual,
        float(share @ np.array(GLUE_WIDTHS_IN)) if isinstance(task.beyond, Flush) else 0.0,
    )


@dataclass(frozen=True)
class _Chosen:
    """The blur that suits best, its designs, their misfit tables (blocks, places) and each design's least misfit in all."""

    blur_px: float
    designs: list[Array]
    tables: list[Array]
    sums: Array


def _contrast(x: Array, typical: Array, weight: Array, near_px: float) -> float:
    """How far what lies just beyond the edge (a contact shadow too) departs from the wood just inside, over what the model may miss."""
    far_px = INSIDE_PX - BESIDE_PX + near_px
    inside, beyond = (x < -near_px) & (x > -far_px), (x > 0.5) & (x < far_px)
    if not inside.any() or not beyond.any():
        return 0.0
    inner = median(typical[inside])
    return float(np.max(np.quantile(np.abs(typical[beyond] - inner) * np.sqrt(weight[beyond]), 0.75, axis=0)))


def _faint(luma: Array, x: Array, near_px: float) -> bool:
    """Whether a typical profile's luma hardly changes across the edge, against what its model may miss."""
    far_px = INSIDE_PX - BESIDE_PX + near_px
    inner, outer = median(luma[(x < -near_px) & (x > -far_px)]), median(luma[(x > near_px) & (x < far_px)])
    return bool(abs(outer - inner) < FAINT * (MISS_OF_LIGHT * max(inner, outer) + LIGHT_FLOOR / 2))


def _model_px(
    x: Array,
    typical: Array,
    other_typical: Array,
    weight: Array,
    ridge: Sequence[_Ridge],
    task: EdgeTask,
    blur: float,
    px_in: float,
    option: int,
    misfit: float,
) -> float:
    """Standard uncertainty (px) of the edge's place from the model: each alternative's change, as far as it looks like a shift.

    First order: what remains of a changed profile, once the linear levels have taken their part, is projected on what a
    shift of the edge would do (JCGM 100:2008, 5.1.3, with the fit as the function).
    """
    step = 0.25

    def design(model: Beyond, place: float, width: float) -> Array:
        return smeared_designs(model, x - place, width, task.smear_px, px_in)[option]

    beyond = task.beyond
    base = design(beyond, 0.0, blur)
    ahead, behind = design(beyond, step, blur), design(beyond, -step, blur)
    others = [design(beyond, 0.0, blur * BLUR_DOUBT)]
    for model in beyond.alternatives():
        other = smeared_designs(model, x, blur, task.smear_px, px_in)[0]
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
    # What no alternative explains runs on over MISFIT_RUN_PX and through all channels alike: noise with that correlation. A model that
    # bends far enough leaves little, and has then bent to what it should have missed: never less than what models usually miss.
    unexplained = max(left / len(x), COMMON_MISS**2, COMMON_SHARE * misfit) * MISFIT_RUN_PX / FINE_PX / along
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
        rows = ridge_rows(self.limits, self.levels, columns)
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
        tone[channel] = tone_of(level[:, [0, 2]])
    away = np.abs(tone - median(tone, axis=1)[:, None])
    usual = 1.4826 * median(away, axis=1)[:, None]
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
    lights = refined.inside_light, refined.outside_light
    return EdgeFit(line, refined.contrast, *lights, refined.misfit, refined.glue_in, fit.bow, fit.u_bow)
