"""Edges measured in linear light: each block's mean profile is compared with a model at every place across the edge.

All edges of one kind are measured together: the arrays' first axis is the edge. Edges differ in how many blocks show them and in how far
their models reach; what an edge doesn't have is not `held`, or weighs nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..basis.frames import Array
from ..basis.order import median, median_where, quantile_where
from ..edges import LIGHT_FLOOR, LinearPatch, Sharpening, tone_of
from ..plane.camera import Camera
from .edge_models import model_px
from .edge_profile import INSIDE_PX, Flush, Half, edge_designs, precisions
from .edge_task import MISS_OF_JUMP, MISS_OF_LIGHT, EdgeTask, bare_rows, block_means, block_rows, outward_strip
from .line_fit import MIN_BLOCKS, LineFit, fit_lines

# Wood and field are looked at this far from a sharp edge, px.
BESIDE_PX = 1.5
FINE_PX = 0.25  # samples of the profiles; places are whole numbers of them
# How often blocks and samples repeat each other when designs are compared. Beside dark wood, and on own seams, a thin dark glue
# line differs from none by less than sharpening's halo does, so next to nothing is learnt there.
REPEATS, HALO_REPEATS = 3.0, 60.0
# A design that fits worse than the best by so much chi squared has no say (less than one part in a thousand).
IDLE_CHI = 14.0
# The sharpening learnt from black on white may be so much milder on wood: phones hold it back where contrast is low.
SHARPENING_DOUBT = 0.6
# A step in luma of fewer times what its model may miss is too faint to place an edge by.
FAINT = 5.0
# Edges are straight to about so much over the outer part of a lobe, inches (common practice, no source).
BOW_IN = 0.0003
# A block whose wood or field differs so much from the edge's other blocks (log light) lies under tape.
TAPE_TONE = 0.3
# Keeps columns that are nearly alike, or zero, from free coefficients: as a share of the strongest column's square.
TINY = 1e-9


@dataclass(frozen=True)
class Refined:
    """One edge's line, outward of the rough one, and what it was measured from."""

    fit: LineFit
    u_model_in: float
    inside_light: Array  # (3,)
    outside_light: Array
    contrast: float
    misfit: float
    glue_chi: Array | None  # (widths,): minus twice the log likelihood of each of GLUE_WIDTHS_IN, a flush edge's

    def ends_in(self, task: EdgeTask) -> tuple[float, float]:
        """How far outward of the rough line the fitted one lies at the task's two ends."""
        first, last = self.fit.place([0.0, task.length_in])
        return float(first), float(last)


@dataclass(frozen=True)
class _Profiles:
    """Block means of several edges, at the same places across; only blocks that count, the first of each row."""

    tasks: Sequence[EdgeTask]
    px_in: Array  # (edges,)
    x_px: Array  # (samples,) outward
    seen: Array  # (edges, samples) bool: within the reach of the edge's model
    beside: Array  # (2, edges, samples) bool: of these, clear of the edge inside it, and beyond it
    along_in: Array  # (edges, blocks)
    count: Array  # (edges,) blocks
    drawn: Array  # (edges, samples, 3) usual light as the photo draws it
    light: Array  # (edges, blocks, samples, channels): luma, or all three where the luma hardly changes; sharpening undone

    @property
    def held(self) -> Array:
        """(edges, blocks) bool"""
        return np.arange(self.along_in.shape[1]) < self.count[:, None]


def refine(
    patch: LinearPatch, camera: Camera, tasks: Sequence[EdgeTask], z_in: float, px_in: Array, search: tuple[float, float]
) -> list[Refined | None]:
    """Measure lines again in linear light, block by block, and fit them robustly; None where too few blocks show the edge.

    Every place is judged by the same samples, from INSIDE_PX inside the rough line (more where the photo is soft) to the model's
    reach beyond it. The tasks' models are of one kind; search: how far to either side of the rough line, and in which steps (px).
    """
    result: list[Refined | None] = [None] * len(tasks)
    for which, profiles in _by_colours(patch, camera, tasks, z_in, px_in):
        for k, refined in zip(which, _refined(profiles, *search), strict=True):
            result[k] = refined
    return result


def _by_colours(
    patch: LinearPatch, camera: Camera, tasks: Sequence[EdgeTask], z_in: float, px_in: Array
) -> list[tuple[list[int], _Profiles]]:
    """The tasks whose luma tells the edge, and those where it takes colour: their numbers and profiles."""
    soft = np.array([task.softness_px for task in tasks])
    inside = INSIDE_PX + soft
    reach = soft + [task.beyond.reach_px(float(px)) for task, px in zip(tasks, px_in, strict=True)]
    # As far inward as outward: whether a row shows wood is told by what lies deeper inside.
    ends_px = float(max(inside.max(), reach.max())), float(reach.max())
    strips = [outward_strip(patch, camera, task, z_in, float(px), ends_px, (1.0, FINE_PX)) for task, px in zip(tasks, px_in, strict=True)]
    x = strips[0].across_in / px_in[0]
    groups: dict[bool, list[tuple[int, Array, Array, Array]]] = {False: [], True: []}
    for k, (task, strip) in enumerate(zip(tasks, strips, strict=True)):
        bare = bare_rows(strip, task, 2 * float(px_in[k]), float(px_in[k]))
        along, drawn, shown = block_means(strip, bare, block_rows(bare))
        inward, outward = (np.interp(along, task.room[:, 0], task.room[:, side]) for side in (1, 2))
        room = (inward > inside[k] * px_in[k]) & (outward > 0.8 * reach[k] * px_in[k])
        keep = shown & room & np.isfinite(drawn).all(axis=(1, 2))
        if keep.sum() < MIN_BLOCKS:
            continue
        light = task.sharpening.luma_undone(drawn, FINE_PX)[..., None]
        faint = _faint(median(light[shown])[:, 0], x, BESIDE_PX + soft[k])
        if faint:
            # Woods of one lightness differ by colour alone, which the photo draws less sharply.
            light = task.sharpening.undone(drawn, FINE_PX)
        groups[faint].append((k, along[keep], drawn[keep], light[keep]))
    cut = x >= -inside.max() - 1e-9
    result = []
    for group in groups.values():
        if not group:
            continue
        which = [k for k, *_ in group]
        blocks = max(len(along) for _, along, _, _ in group)
        along_in, light = np.zeros((len(group), blocks)), np.zeros((len(group), blocks, int(cut.sum()), group[0][3].shape[2]))
        for row, (_, along, _, one) in enumerate(group):
            along_in[row, : len(along)], light[row, : len(along)] = along, one[:, cut]
        near, samples = (BESIDE_PX + soft[which])[:, None], x[cut]
        seen = (samples >= -inside[which, None] - 1e-9) & (samples <= reach[which, None] + 1e-9)
        result.append(
            (
                which,
                _Profiles(
                    [tasks[k] for k in which],
                    px_in[which],
                    samples,
                    seen,
                    np.array([seen & (samples < -near), seen & (samples > near)]),
                    along_in,
                    np.array([len(along) for _, along, _, _ in group]),
                    np.array([median(drawn[:, cut]) for _, _, drawn, _ in group], float),
                    light,
                ),
            )
        )
    return result


def _faint(luma: Array, x: Array, near_px: float) -> bool:
    """Whether a typical profile's luma hardly changes across the edge, against what its model may miss."""
    far_px = INSIDE_PX - BESIDE_PX + near_px
    inner, outer = median(luma[(x < -near_px) & (x > -far_px)]), median(luma[(x > near_px) & (x < far_px)])
    return bool(abs(outer - inner) < FAINT * (MISS_OF_LIGHT * max(inner, outer) + LIGHT_FLOOR / 2))


@dataclass(frozen=True)
class _Match:
    """How well designs fit at each place, with the blur that suits each edge best."""

    blur: Array  # (edges,) its number
    tables: Array  # (edges, options, blocks, places) misfit
    sums: Array  # (edges, options) the blocks' least misfits, the worst blocks left out


def _refined(profiles: _Profiles, slack_px: float, step_px: float) -> list[Refined | None]:
    tasks, light, held, px_in = profiles.tasks, profiles.light, profiles.held, profiles.px_in
    row, channels = np.arange(len(tasks)), light.shape[3]
    typical = median_where(light, held[..., None, None], axis=1)  # (edges, samples, channels)
    seen = profiles.seen[..., None]
    jump = np.max(typical, axis=1, where=seen, initial=-np.inf) - np.min(typical, axis=1, where=seen, initial=np.inf)
    weight = seen / (MISS_OF_LIGHT * typical + MISS_OF_JUMP * jump[:, None] + LIGHT_FLOOR / 2) ** 2
    levels = np.stack([median_where(typical, side[..., None], axis=1) for side in profiles.beside], axis=1)  # (edges, 2, channels)
    places = np.arange(-slack_px, slack_px + step_px / 2, step_px)
    fit = _Fit(profiles, weight, levels, places, typical)
    best_fit = fit.match()
    best = np.argmin(best_fit.sums, axis=1)
    table = best_fit.tables[row, best]  # (edges, blocks, places)
    reach = (np.sum(profiles.seen, axis=1) - 1) * FINE_PX
    freedom = np.maximum(channels * (reach - 5) - 1, 6)  # independent samples a block, less the unknowns
    scale = np.maximum(table.min(axis=2) * FINE_PX / freedom[:, None], 1e-6)
    usual = median_where(scale, held)
    kind = tasks[0].beyond
    darker = np.mean(np.log(levels[:, 0] + LIGHT_FLOOR) - np.log(levels[:, 1] + LIGHT_FLOOR), axis=1) < 0
    repeats = np.where(isinstance(kind, Half) | darker, HALO_REPEATS, REPEATS)
    chi = (best_fit.sums - best_fit.sums.min(axis=1, keepdims=True)) * FINE_PX / (usual * repeats)[:, None]
    alone = chi
    if isinstance(kind, (Flush, Half)):
        chi = chi + kind.surprise()
        chi -= chi.min(axis=1, keepdims=True)
    untaped = fit.untaped(best_fit, best, places[table.argmin(axis=2)])
    # Designs that fit nearly as well (the glue's width) share the answer.
    share = np.where((chi <= IDLE_CHI) | (np.arange(chi.shape[1]) == best[:, None]), np.exp(-0.5 * chi), 0.0)
    which, option = np.nonzero(share)
    cost = best_fit.tables[which, option] * FINE_PX / np.maximum(scale, 0.3 * usual[:, None])[which, :, None]
    at, spread = _minimum(cost, places)
    px = px_in[which, None]
    u_turn = np.array([task.u_turn for task in tasks])
    found = fit_lines(profiles.along_in[which], at * px, spread * px, u_turn[which], untaped[which], profiles.count[which])
    lines = dict(zip(zip(which.tolist(), option.tolist(), strict=True), found, strict=True))
    middle = np.sum(profiles.along_in, axis=1) / profiles.count
    where = np.zeros_like(share)
    for (edge, number), line in lines.items():
        if line is None:
            share[edge, number] = 0.0
        else:
            where[edge, number] = float(line.place(float(middle[edge])))
    share /= np.maximum(share.sum(axis=1, keepdims=True), 1e-300)
    mean = np.sum(share * where, axis=1)
    apart = np.sum(share * (where - mean[:, None]) ** 2, axis=1)
    at_px = where[row, best] / px_in
    unsure_px = fit.model_px(best_fit.blur, best, at_px, usual)
    contrast = _contrast(profiles, typical, weight, at_px)
    inside, outside = (median_where(profiles.drawn, side[..., None], axis=1) for side in profiles.beside)
    result: list[Refined | None] = []
    for k in row:
        whole = lines[int(k), int(best[k])]
        if whole is None:
            result.append(None)
            continue
        u_model = float(np.sqrt(apart[k] + (unsure_px[k] * px_in[k]) ** 2 + BOW_IN**2))
        line = whole.shifted(float(mean[k] - where[k, best[k]]))
        glue = alone[k] if isinstance(kind, Flush) else None
        result.append(Refined(line, u_model, inside[k], outside[k], float(contrast[k]), float(usual[k]), glue))
    return result


@dataclass(frozen=True, eq=False)
class _Fit:
    """Profiles of several edges against their models' designs at every place."""

    profiles: _Profiles
    weight: Array  # (edges, samples, channels)
    levels: Array  # (edges, 2, channels)
    places_px: Array  # (places,)
    typical: Array  # (edges, samples, channels)

    @property
    def grid_px(self) -> Array:
        """All differences of samples and places, and one more at either end."""
        x, places = self.profiles.x_px, self.places_px
        return np.arange(round((x[0] - places[-1]) / FINE_PX) - 1, round((x[-1] - places[0]) / FINE_PX) + 2) * FINE_PX

    def _of_place(self) -> Array:
        """(places, samples): of each sample seen from each place, its number in grid_px."""
        x = np.round(self.profiles.x_px / FINE_PX).astype(int)
        places = np.round(self.places_px / FINE_PX).astype(int)
        return x - places[:, None] - round(self.grid_px[0] / FINE_PX)

    @cached_property
    def designs(self) -> list[Array]:
        """(edges, options, columns, grid) for each blur"""
        tasks = self.profiles.tasks
        models, smears = [task.beyond for task in tasks], np.array([task.smear_px for task in tasks])
        return [edge_designs(models, self.grid_px, blur_px, smears, self.profiles.px_in) for blur_px in tasks[0].blurs_px]

    def held_back(self, columns: int) -> Array:
        """(edges, channels, columns): the models' limits; samples finer than a pixel would count as if each were new."""
        return precisions([task.beyond for task in self.profiles.tasks], self.levels, self.profiles.px_in, columns) / FINE_PX

    def match(self) -> _Match:
        light, held, weight = self.profiles.light, self.profiles.held, self.weight
        total = np.einsum("exc,ebxc->eb", weight, light**2)[:, None, :, None]
        found: _Match | None = None
        for number, designs in enumerate(self.designs):
            design = np.ascontiguousarray(designs[..., self._of_place()].swapaxes(2, 3))  # (edges, options, places, k, samples)
            explained = np.swapaxes(sum(explained_by(*self._products(design, c)) for c in range(light.shape[3])), 2, 3)
            tables = np.maximum(total - explained, 0.0)
            least = np.sort(np.where(held[:, None], tables.min(axis=3), np.inf), axis=2)
            some = np.arange(least.shape[2]) < np.maximum(2, (0.7 * self.profiles.count).astype(int))[:, None, None]
            sums = np.sum(least, axis=2, where=some)
            here = _Match(np.full(len(tables), number), tables, sums)
            if found is not None:
                better = sums.min(axis=1) < found.sums.min(axis=1)
                pairs = ((here.blur, found.blur), (here.tables, found.tables), (here.sums, found.sums))
                here = _Match(*(np.where(better.reshape(-1, *[1] * (new.ndim - 1)), new, old) for new, old in pairs))
            found = here
        assert found is not None
        return found

    def _products(self, design: Array, channel: int) -> tuple[Array, Array]:
        """Normal matrices (edges, options, places, k, k), limits included, and right sides (.., k, blocks) of one channel."""
        weighted = design * self.weight[:, None, None, None, :, channel]
        right = weighted @ np.swapaxes(self.profiles.light[..., channel], 1, 2)[:, None, None]
        normal = weighted @ np.swapaxes(design, -1, -2)
        k = design.shape[3]
        diagonal = np.arange(k)
        largest = normal[..., diagonal, diagonal].max(axis=-1, keepdims=True)
        normal[..., diagonal, diagonal] += TINY * largest + self.held_back(k)[:, None, None, channel]
        return normal, right

    def untaped(self, match: _Match, best: Array, at_px: Array) -> Array:
        """(edges, blocks) whether a block's wood (first column) and field (third column) look like the edge's other blocks'."""
        profiles, row = self.profiles, np.arange(len(best))
        place = np.round((at_px - self.places_px[0]) / (self.places_px[1] - self.places_px[0])).astype(int)
        every = np.stack([designs[row, best] for designs in self.designs])[match.blur, row]  # (edges, k, grid)
        number = self._of_place()[place]  # (edges, blocks, samples)
        design = every[row[:, None, None, None], np.arange(every.shape[1])[:, None], number[:, :, None]]  # (edges, blocks, k, samples)
        tone = np.empty((profiles.light.shape[3], *at_px.shape, 2))
        for channel in range(len(tone)):
            weighted = design * self.weight[:, None, None, :, channel]
            normal = weighted @ np.swapaxes(design, 2, 3)
            diagonal = np.arange(normal.shape[-1])
            normal[..., diagonal, diagonal] += TINY * normal[..., diagonal, diagonal].max(axis=-1, keepdims=True)
            level = np.linalg.solve(normal, weighted @ profiles.light[..., channel, None])[..., 0]
            tone[channel] = tone_of(level[..., [0, 2]])
        held = profiles.held[..., None]
        away = np.abs(tone - median_where(tone, held, axis=2)[:, :, None])
        usual = 1.4826 * median_where(away, held, axis=2)[:, :, None]
        return np.asarray((away < np.maximum(TAPE_TONE, 4 * usual)).all(axis=(0, 3)))

    def model_px(self, blur: Array, best: Array, at_px: Array, misfit: Array) -> Array:
        """(edges,) standard uncertainty of the edges' places from their models, px."""
        profiles = self.profiles
        result = np.zeros(len(best))
        milder = [Sharpening(t.sharpening.strength * SHARPENING_DOUBT, t.sharpening.radius_px) for t in profiles.tasks]
        undo = Sharpening.luma_undone if profiles.light.shape[3] == 1 else Sharpening.undone
        other = np.array([undo(one, drawn, FINE_PX) for one, drawn in zip(milder, profiles.drawn, strict=True)])
        other = other.reshape(self.typical.shape)
        for number, blur_px in enumerate(profiles.tasks[0].blurs_px):
            mine = np.flatnonzero(blur == number)
            if len(mine):
                result[mine] = model_px(
                    [profiles.tasks[int(k)] for k in mine],
                    profiles.px_in[mine],
                    profiles.x_px - at_px[mine, None],
                    self.typical[mine],
                    other[mine],
                    self.weight[mine],
                    self.held_back(6)[mine],
                    blur_px,
                    best[mine],
                    misfit[mine],
                )
        return result


def explained_by(normal: Array, right: Array) -> Array:
    """(..., n): what each right side (..., k, n) explains, right' normal^-1 right, by Cholesky's factors, all systems side by side."""
    k = normal.shape[-1]
    factor = [[normal[..., i, j] for j in range(i + 1)] for i in range(k)]
    known: list[Array] = []
    result = np.zeros((*right.shape[:-2], right.shape[-1]))
    for i in range(k):
        for j in range(i + 1):
            value = factor[i][j]
            for m in range(j):
                value = value - factor[i][m] * factor[j][m]
            factor[i][j] = np.sqrt(np.maximum(value, 1e-300)) if i == j else value / factor[j][j]
        solved = right[..., i, :]
        for m in range(i):
            solved = solved - factor[i][m][..., None] * known[m]
        known.append(solved / factor[i][i][..., None])
        result += known[-1] ** 2
    return result


def _minimum(cost: Array, places: Array) -> tuple[Array, Array]:
    """Where costs (.., places) are least, and its standard uncertainty from the curvature of cost = chi squared."""
    step = places[1] - places[0]
    lowest = np.argmin(cost, axis=-1)
    k = np.clip(lowest, 1, len(places) - 2)[..., None]
    left, middle, right = (np.take_along_axis(cost, k + move, axis=-1)[..., 0] for move in (-1, 0, 1))
    curve = np.maximum(left - 2 * middle + right, 1e-9)
    shift = np.clip(0.5 * (left - right) / curve, -1, 1)
    at_end = (lowest == 0) | (lowest == len(places) - 1)
    # A minimum at the search's end says little about where the edge is.
    return places[k[..., 0]] + shift * step, np.where(at_end, places[-1], np.sqrt(2 * step**2 / curve))


def _contrast(profiles: _Profiles, typical: Array, weight: Array, at_px: Array) -> Array:
    """(edges,) how far what lies just beyond (a contact shadow too) departs from the wood just inside, over what the model may miss."""
    near = BESIDE_PX + np.array([task.softness_px for task in profiles.tasks])[:, None]
    far = INSIDE_PX - BESIDE_PX + near
    x = profiles.x_px - at_px[:, None]
    inside, beyond = profiles.seen & (x < -near) & (x > -far), profiles.seen & (x > 0.5) & (x < far)
    inner = median_where(typical, inside[..., None], axis=1)
    away = quantile_where(np.abs(typical - inner[:, None]) * np.sqrt(weight), beyond[..., None], 0.75, axis=1).max(axis=1)
    return np.where(inside.any(axis=1) & beyond.any(axis=1), away, 0.0)
