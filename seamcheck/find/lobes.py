"""Every lobe set free: its four edges drawn to the wood, its dark half told.

Each edge is looked at in a strip. The colour step across it is reduced to one number a pixel along the
direction that tells the woods on its two sides apart best (Fisher's linear discriminant), and the line
with the most step under it is taken, then drawn tight by a robust least squares. Tape and figure hide
or spoil edges, so a lobe's corners come from its edges and from what its ring is like, weighed by how
well each is known: corners = ring's shape, moved and turned as one, plus a little of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array, right_of
from ..kite import FoundLobe, Kite
from .halves import discriminant, tell_dark_sides
from .light import Floats, LogLight, sample

# Strips: half widths of the passes (inches), spacing across and stations along an edge.
HALF_WIDTHS_IN = (0.16, 0.10, 0.08)
ACROSS_IN = 0.02
STATIONS = 40

# Lobes whose corners still move by more than this in the last pass began too far off: once more. Of 182 rendered roses' last passes half
# moved less than 0.005 in, all but those wrongly begun less than 0.02.
SETTLED_IN, MOST_ROUNDS = 0.03, 5

# The ends of an edge are left out: corners are rounded, and other edges begin (share of its length).
END_SHARE = 0.08

# Blur of the step along its normal (inches): about the photo's own at search resolution.
BLUR_IN = 0.025

# Pixels nearer to the line than this don't teach its colours (inches).
COLOUR_FROM_IN = 0.05

# A lobe lies this far from where its ring has it, and its corners differ by this from the ring's shape (inches, standard
# deviations): common practice, no source; wide for taped-up work.
U_PLACE_IN, U_TURN, U_CORNER_IN = 0.05, 0.02, 0.02

# An edge drawn through wholly clear stations is good to this (inches): glue, shadow, bow.
U_EDGE_IN = 0.008

# A step belongs to a line that is no farther from it than this (inches): where the lines are drawn to.
ON_THE_LINE_IN = 0.045

# Two sides are two woods if their colours lie farther apart (Fisher's distance) than they spread: 1. A distance d is trusted d / (d + 1).
PARTED_TRUST = 0.5

# How far a side's colour may lie from the usual, as a share of the step, before a station loses its say.
ODD_SIDE = 0.6

# Neighbouring stations share figure: so many count as one.
STATIONS_ALIKE = 4

# Edges as pairs of corners (root, left, tip, right), each walked so that the lobe lies on its left.
EDGES = ((0, 3), (3, 2), (2, 1), (1, 0))


@dataclass(frozen=True)
class _Strips:
    """Strips across edges: (edges, stations, across, ...)."""

    colour: Floats
    wood: Floats
    along: Array  # (stations,) share of the edge, 0 to 1
    across_in: Array  # (across,) positive outside the lobe
    length_in: Array  # (edges,)


def refine_lobes(light: LogLight, lobes: Sequence[FoundLobe]) -> tuple[FoundLobe, ...]:
    """The lobes with their corners drawn to the photo's edges and their dark sides told. The view should have 40 px/in or more."""
    lobes = tell_dark_sides(light, lobes)
    corners = np.stack([lobe.kite.corners_in for lobe in lobes])
    rings = np.array([lobe.ring or 0 for lobe in lobes])
    kinds = np.array([_kinds(lobe) for lobe in lobes])
    for _ in range(MOST_ROUNDS):
        for half_width in HALF_WIDTHS_IN:
            before = corners
            moves, information = _edge_moves(light, corners, kinds, half_width)
            corners = _settle(corners, rings, moves, information)
        away = np.linalg.norm(corners - before, axis=2)
        if max(np.median(away[rings == ring], axis=0).max() for ring in np.unique(rings)) < SETTLED_IN:
            break
    return tuple(replace(lobe, kite=Kite(*one)) for lobe, one in zip(lobes, corners, strict=True))


def edge_steps(light: LogLight, lobes: Sequence[FoundLobe]) -> tuple[Array, NDArray[np.bool_]]:
    """The step outward at each lobe's EDGES, 1 where the two woods that the edge's kind parts show fully; and where wood shows.

    Each (lobes, 4, stations): the most step within ON_THE_LINE_IN of the line. A kind of edge whose two sides hardly differ shows none.
    """
    corners = np.stack([lobe.kite.corners_in for lobe in lobes])
    strips = _strips(light, corners, HALF_WIDTHS_IN[1])
    step, trust = _step_across(strips, np.array([_kinds(lobe) for lobe in lobes]).ravel(), False)
    step = np.where(trust[..., None] > PARTED_TRUST, step, 0.0)
    at_line = step[:, :, np.abs(strips.across_in) < ON_THE_LINE_IN].max(axis=2)
    shows = (strips.wood > 0.99).mean(axis=2) > 0.8
    return at_line.reshape(len(lobes), 4, -1), shows.reshape(len(lobes), 4, -1)


def _kinds(lobe: FoundLobe) -> list[int]:
    """A number for each of the lobe's EDGES: edges with the same number should part the same two woods."""
    right_dark = lobe.dark_side == "cw"
    return [4 * (lobe.ring or 0) + 2 * long + (right == right_dark) for long, right in ((0, 1), (1, 1), (1, 0), (0, 0))]


def _edge_moves(light: LogLight, corners: Array, kinds: Array, half_width: float) -> tuple[Array, Array]:
    """How far each edge's two ends should move outward, (lobes, 4, 2) inches, and the information of that, (lobes, 4, 2, 2)."""
    strips = _strips(light, corners, half_width)
    step, trust = _step_across(strips, kinds.ravel(), half_width < HALF_WIDTHS_IN[0])
    first, last = _best_line(step, strips)
    moves, information = _draw_tight(step, trust, strips, first, last)
    n = len(corners)
    return moves.reshape(n, 4, 2), information.reshape(n, 4, 2, 2)


def _strips(light: LogLight, corners: Array, half_width: float) -> _Strips:
    a = corners[:, [edge[0] for edge in EDGES]].reshape(-1, 2)
    b = corners[:, [edge[1] for edge in EDGES]].reshape(-1, 2)
    length = np.linalg.norm(b - a, axis=1)
    outward = right_of((b - a) / length[:, None])
    along = END_SHARE + (1 - 2 * END_SHARE) * (np.arange(STATIONS, dtype=float) + 0.5) / STATIONS
    count = round(half_width / ACROSS_IN)
    across = np.arange(-count, count + 1, dtype=float) * ACROSS_IN
    places = a[:, None, None] + (b - a)[:, None, None] * along[:, None, None] + across[:, None] * outward[:, None, None]
    return _Strips(sample(light.channels, light.view, places), sample(light.wood, light.view, places), along, across, length)


def _step_across(strips: _Strips, kinds: Array, wary: bool) -> tuple[Array, Array]:
    """The step outward at each place, 1 for the kind's whole step, (e, s, u); and how far a station can be trusted, (e, s).

    `wary`: the line is nearly right, so that a station with odd colours beside it is distrusted.
    """
    from scipy import ndimage

    inside, outside = strips.across_in < -COLOUR_FROM_IN + 1e-9, strips.across_in > COLOUR_FROM_IN - 1e-9
    wood = strips.wood > 0.99
    shows = wood.mean(axis=2) > 0.8
    value = np.zeros(strips.wood.shape)
    trust = np.ones(strips.wood.shape[:2])
    for kind in np.unique(kinds):
        mine = np.nonzero(kinds == kind)[0]
        clear = shows[mine]
        if not clear.any():
            trust[mine] = 0
            continue
        inner = strips.colour[mine][:, :, inside][clear]  # (stations that show, across, 3)
        outer = strips.colour[mine][:, :, outside][clear]
        axis, distance = discriminant(inner.mean(axis=1), outer.mean(axis=1))
        value[mine] = strips.colour[mine] @ axis
        # A station whose sides aren't as the kind's sides usually are shows tape, a shadow, another wood.
        for side, usual in ((inside, inner), (outside, outer)) if wary else ():
            odd = value[mine][:, :, side].mean(axis=2) - np.median(usual.mean(axis=1) @ axis)
            trust[mine] *= np.exp(-((odd / ODD_SIDE) ** 2) / 2)
        trust[mine] *= distance / (distance + 1)
    step = ndimage.gaussian_filter1d(value, BLUR_IN / ACROSS_IN, axis=2, order=1, mode="nearest")
    step = step * (np.sqrt(2 * np.pi) * BLUR_IN / ACROSS_IN)  # one for a step of one that is as sharp as the blur
    usable = shows[..., None] & ndimage.binary_erosion(wood, np.ones((1, 1, 3), bool), border_value=1)
    return np.clip(np.where(usable, step, 0.0), -0.5, 1.0) * trust[..., None], shows * trust


def _best_line(step: Array, strips: _Strips) -> tuple[Array, Array]:
    """For each edge the line with the most step under it: its offsets at the edge's two ends, (e,) each."""
    reach = float(strips.across_in[-1])
    ends = np.arange(-reach, reach + 1e-9, ACROSS_IN)
    first, last = (grid.ravel() for grid in np.meshgrid(ends, ends, indexing="ij"))
    offset = first[:, None] + (last - first)[:, None] * strips.along  # (lines, s)
    column = np.clip(np.round((offset + reach) / ACROSS_IN).astype(int), 0, len(strips.across_in) - 1)
    under = step[:, np.arange(STATIONS)[None, :], column].mean(axis=2)  # (e, lines)
    # Where nothing shows the line stays; a far line needs more step than a near one.
    under = under - 0.15 * (first**2 + last**2) / (2 * reach**2)
    best = under.argmax(axis=1)
    return first[best], last[best]


def _draw_tight(step: Array, trust: Array, strips: _Strips, first: Array, last: Array) -> tuple[Array, Array]:
    """The lines drawn through the steps near them: moves of both ends (e, 2) and their information (e, 2, 2)."""
    along = strips.along
    design = np.stack([1 - along, along], axis=-1)  # (s, 2)
    ends = np.stack([first, last], axis=-1)
    for _ in range(3):
        away = strips.across_in - (ends @ design.T)[..., None]  # (e, s, u)
        weight = np.maximum(step, 0) * np.maximum(1 - (away / ON_THE_LINE_IN) ** 2, 0)
        mass = weight.sum(axis=2)
        place = (weight * strips.across_in).sum(axis=2) / np.maximum(mass, 1e-9)
        strength = np.clip(step.max(axis=2), 0, 1) * (mass > 0.15) * trust
        residual = np.where(strength > 0, place - ends @ design.T, 0.0)
        scale = np.maximum(1.5 * np.sqrt((strength * residual**2).sum(axis=1) / np.maximum(strength.sum(axis=1), 1e-9)), 0.006)
        strength = strength / (1 + (residual / scale[:, None]) ** 2) ** 2
        normal = np.einsum("es,si,sj->eij", strength, design, design)
        target = np.einsum("es,si,es->ei", strength, design, np.where(strength > 0, place, 0.0))
        ends = np.linalg.solve(normal + 1e-3 * np.eye(2), target[..., None] + 1e-3 * ends[..., None])[..., 0]
    variance = U_EDGE_IN**2 + scale**2 * STATIONS_ALIKE
    return ends, normal / variance[:, None, None] / STATIONS_ALIKE


def _settle(corners: Array, rings: Array, moves: Array, information: Array) -> Array:
    """The corners (lobes, 4, 2) that suit the edges' moves and what each ring is like."""
    new = corners.copy()
    outward = np.stack([right_of(corners[:, q] - corners[:, p]) for p, q in EDGES], axis=1)
    outward /= np.linalg.norm(outward, axis=-1, keepdims=True)
    normal = np.zeros((len(corners), 8, 8))
    target = np.zeros((len(corners), 8))
    for e, (p, q) in enumerate(EDGES):
        ends = np.zeros((len(corners), 2, 8))
        ends[:, 0, 2 * p : 2 * p + 2] = outward[:, e]
        ends[:, 1, 2 * q : 2 * q + 2] = outward[:, e]
        weighed = np.einsum("nij,nik->njk", information[:, e], ends)
        normal += np.einsum("nji,njk->nik", ends, weighed)
        target += np.einsum("njk,nj->nk", weighed, moves[:, e])
    for ring in np.unique(rings):
        mine = np.nonzero(rings == ring)[0]
        frames = np.stack([_frame(corners[i]) for i in mine])  # (m, 2, 2): rows right, outward
        common = np.zeros(8)  # the ring's own change of shape, in the lobe's frame
        for _ in range(3):
            answers = []
            for i, frame in zip(mine, frames, strict=True):
                prior, cov = _prior(corners[i], frame, common)
                weight = np.linalg.inv(cov)
                move = np.linalg.solve(normal[i] + weight, target[i] + weight @ prior)
                answers.append(move)
            local = np.stack([(move.reshape(4, 2) @ frame.T).ravel() for move, frame in zip(answers, frames, strict=True)])
            middle = np.median(local, axis=0).reshape(4, 2)
            mirrored = middle[[0, 3, 2, 1]] * [-1.0, 1.0]
            common = ((middle + mirrored) / 2).ravel()  # a ring's lobes are drawn symmetric
        for i, move in zip(mine, answers, strict=True):
            new[i] = corners[i] + move.reshape(4, 2)
    return new


def _frame(corners: Array) -> Array:
    axis = corners[2] - corners[0]
    axis = axis / np.linalg.norm(axis)
    return np.stack([right_of(axis), axis])


def _prior(corners: Array, frame: Array, common: Array) -> tuple[Array, Array]:
    """Expected move (8,) of the corners and its covariance (8, 8)."""
    mean = (common.reshape(4, 2) @ frame).ravel()
    middle = corners.mean(axis=0)
    shift = np.tile(np.eye(2), (4, 1))
    turn = right_of(corners - middle).ravel()
    cov = U_PLACE_IN**2 * shift @ shift.T + U_TURN**2 * np.outer(turn, turn) + U_CORNER_IN**2 * np.eye(8)
    return mean, cov
