"""The rose as it was drawn: equal lobes in one, two or three rings that fit each other without gaps.

A first-ring lobe is fixed by its reach and its notch (its shoulders lie where neighbours meet). A lobe
of the next ring sits in a notch with its root, its short edges along the neighbours' long edges, so its
short edge's length and its reach fix it. The fit tries all of these on the fold, ring after ring.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TypeGuard

import numpy as np

from ..basis.frames import Array, right_of, unit_of_bearing
from ..kite import FoundLobe, Kite
from .fold import RADIAL_STEP_IN, Fold
from .rays import Rays

# A first-ring lobe's reach (inches) and its notch as a share of the reach: all that a kite can be, with room to spare.
REACH_FROM_IN, REACH_STEP_IN = 1.5, 0.06
NOTCH_SHARES = np.linspace(0.16, 0.62, 30)

# A later lobe reaches at least this far beyond its root (inches), and no farther than this share of the first ring's reach.
LATER_LEAST_IN, LATER_MOST_SHARE = 0.5, 1.08

# A later lobe's short edge (inches); its shoulders lie in the inner half of its length, else it is no kite.
LATER_SHORT_FROM_IN, SHORT_EDGE_STEP_IN = 0.25, 0.06
SHOULDER_MOST_SHARE = 0.55

# A long edge is looked at in this many pieces, each free in colour: what lies beside it changes on the way.
EDGE_PIECES = 4

# Length by which every hypothesis is thought longer (inches a lobe), so that short ones don't win by luck;
# and the least length that must show for a mean step to be trusted.
QUIET_IN, LEAST_SEEN_IN = 0.5, 0.4

# Where the first ring shows no better than this there is no rose, and no later ring is looked for.
HOPELESS_SCORE = 2.5

# A later ring is there if its own seams and long edges together, and its own seams alone, show at least
# this much of the first ring's.
LATER_SHOWS, LATER_OWN_SHOWS = 0.3, 0.1


@dataclass(frozen=True, slots=True)
class NotchRing:
    """Lobes of a later ring, in the frame of their own bearing."""

    turns: tuple[float, ...]  # rad, from a first-ring lobe's bearing to theirs, within one fold
    roots: tuple[Array, ...]  # (2,) each
    short_edges: tuple[tuple[Array, Array], ...]  # unit vectors (2,): along the left and right neighbour's long edge
    short_in: float
    reach_in: float
    own_step: float  # mean step across their own seams, of one lobe
    edge_step: float  # mean step across their long edges


@dataclass(frozen=True, slots=True)
class RoseShape:
    """A rose of equal lobes."""

    centre_in: Array  # (2,)
    bearing: float  # rad, of one first-ring lobe
    count: int
    dark_right: bool
    reach_in: float
    notch_in: float
    own_step: float  # mean step across the first ring's own seams, of one lobe
    joint_step: float  # mean step across its joints, positive when it turns against the own seams
    edge_step: float  # mean step across its long edges
    later: tuple[NotchRing, ...]
    axis: Array  # (3,) unit: the colour step across own seams, clockwise, in limited steps
    score: float  # of the first ring's lines: length that shows over the root of the length looked at

    def lobes(self) -> tuple[FoundLobe, ...]:
        """Every lobe, ring by ring, clockwise from the first bearing."""
        half = np.pi / self.count
        side = self.notch_in * np.sin(half), self.notch_in * np.cos(half)
        first = np.array([[0, 0], [-side[0], side[1]], [0, self.reach_in], [side[0], side[1]]])
        dark = "cw" if self.dark_right else "ccw"
        found = [FoundLobe(1, self._place(first, 2 * half * k), dark) for k in range(self.count)]
        for number, ring in enumerate(self.later, start=2):
            for k in range(self.count):
                for turn, root, (left, right) in zip(ring.turns, ring.roots, ring.short_edges, strict=True):
                    corners = np.array([root, root + ring.short_in * left, [0, ring.reach_in], root + ring.short_in * right])
                    found.append(FoundLobe(number, self._place(corners, turn + 2 * half * k), dark))
        return tuple(found)

    def _place(self, corners: Array, turn: float) -> Kite:
        outward = unit_of_bearing(self.bearing + turn)
        plane = self.centre_in + corners[:, :1] * right_of(outward) + corners[:, 1:] * outward
        return Kite(*plane)


def fit_shape(fold: Fold, rays: Rays, centre_in: Array, bearing: float) -> RoseShape:
    """The rose that explains the fold best, with as many rings as show."""
    sign = -1.0 if rays.dark_right else 1.0
    axis = sign * rays.axis  # own seams step along it
    shape = _fit_first(fold, rays, centre_in, bearing, axis)
    if shape.score < HOPELESS_SCORE:
        return shape
    half = np.pi / fold.count
    tip = np.array([0.0, shape.reach_in])
    left_tip, right_tip = _turned(tip, -half), _turned(tip, half)
    root = np.array([0.0, shape.notch_in])
    second = _fit_later(fold, axis, [half], [root], [(left_tip, right_tip)], shape.reach_in)
    if not _shows(second, shape):
        return shape
    shape = _with(shape, second)
    quarter = half / 2
    second_tip = np.array([0.0, second.reach_in])
    # To the left of a second-ring lobe, and to its right: between a first-ring lobe and it.
    left_root = _turned(second.roots[0] + second.short_in * second.short_edges[0][0], quarter)
    right_root = _turned(second.roots[0] + second.short_in * second.short_edges[0][1], -quarter)
    towards = [(_turned(tip, -quarter), _turned(second_tip, quarter)), (_turned(second_tip, -quarter), _turned(tip, quarter))]
    third = _fit_later(fold, axis, [quarter, 3 * quarter], [left_root, right_root], towards, shape.reach_in)
    return _with(shape, third) if _shows(third, shape) else shape


def _turned(point: Array, turn: float) -> Array:
    """A point of a frame, as seen in a frame at whose bearing it lies `turn` clockwise."""
    cos, sin = np.cos(turn), np.sin(turn)
    return np.array([cos * point[0] + sin * point[1], -sin * point[0] + cos * point[1]])


def _unit(vector: Array) -> Array:
    return vector / float(np.linalg.norm(vector))


def _with(shape: RoseShape, ring: NotchRing) -> RoseShape:
    return replace(shape, later=(*shape.later, ring))


def _shows(ring: NotchRing | None, shape: RoseShape) -> TypeGuard[NotchRing]:
    """Whether a later ring is there, judged by how its lines show beside the first ring's."""
    if ring is None:
        return False
    first = shape.own_step + shape.edge_step
    return ring.own_step + ring.edge_step > LATER_SHOWS * first and ring.own_step > LATER_OWN_SHOWS * shape.own_step


def _strength(steps: Array) -> Array:
    """Sum over pieces of the length of each piece's colour step, (..., pieces, 3) to (...,)."""
    return np.linalg.norm(steps, axis=-1).sum(axis=-1)


def _along(where: Array, radii: Array, run: Array) -> Array:
    return np.asarray(np.interp(where, radii, run), float)


def _fit_first(fold: Fold, rays: Rays, centre_in: Array, bearing: float, axis: Array) -> RoseShape:
    half = np.pi / fold.count
    reaches = np.arange(REACH_FROM_IN, fold.outer_in - RADIAL_STEP_IN, REACH_STEP_IN)
    reach, notch = np.meshgrid(reaches, NOTCH_SHARES, indexing="ij")
    notch = notch * reach
    tip = np.stack([np.zeros_like(reach), reach], axis=-1)
    edges: Array = np.zeros_like(reach)
    edges_seen: Array = np.zeros_like(reach)
    for side in (-1.0, 1.0):
        shoulder = notch[..., None] * [side * np.sin(half), np.cos(half)]
        steps, seen = fold.step_sum(shoulder, tip, 0.0, EDGE_PIECES)
        edges += _strength(steps)
        edges_seen += seen
    radii, lobe_run, lobe_seen = fold.along_ray(0.0, axis)
    _, between_run, between_seen = fold.along_ray(half, axis)
    own = _along(reach, radii, lobe_run)
    own_seen = _along(reach, radii, lobe_seen)
    joint = -_along(notch, radii, between_run)
    joint_seen = _along(notch, radii, between_seen)
    # Beyond the notch the ray between lobes may follow the next ring's own seams, stepping the other way.
    beyond = np.interp(notch, radii, np.maximum.accumulate(between_run[::-1])[::-1])
    score = (edges + own + 2 * joint + beyond) / np.sqrt(edges_seen + own_seen + joint_seen + fold.count * QUIET_IN)
    k = np.unravel_index(int(score.argmax()), score.shape)
    least = fold.count * LEAST_SEEN_IN
    return RoseShape(
        centre_in,
        bearing,
        fold.count,
        rays.dark_right,
        reach_in=float(reach[k]),
        notch_in=float(notch[k]),
        own_step=float(own[k] / max(own_seen[k], least)),
        joint_step=float(joint[k] / max(joint_seen[k], least)),
        edge_step=float(edges[k] / max(edges_seen[k], least)),
        later=(),
        axis=axis,
        score=float(score[k]),
    )


def _fit_later(
    fold: Fold, axis: Array, turns: list[float], roots: list[Array], towards: list[tuple[Array, Array]], first_reach_in: float
) -> NotchRing | None:
    """Lobes with their roots in notches whose two sides run towards the given points."""
    sides = [(_unit(left - root), _unit(right - root)) for root, (left, right) in zip(roots, towards, strict=True)]
    longest = min(float(np.linalg.norm(end - root)) for root, ends in zip(roots, towards, strict=True) for end in ends)
    root_reach = float(np.linalg.norm(roots[0]))
    shorts = np.arange(LATER_SHORT_FROM_IN, 0.95 * longest, SHORT_EDGE_STEP_IN)
    reaches = np.arange(root_reach + LATER_LEAST_IN, LATER_MOST_SHARE * first_reach_in, REACH_STEP_IN)
    if not len(shorts) or not len(reaches):
        return None
    short, reach = np.meshgrid(shorts, reaches, indexing="ij")
    tip = np.stack([np.zeros_like(reach), reach], axis=-1)
    edges, own, edges_seen, own_seen = (np.zeros_like(reach) for _ in range(4))
    beside = np.zeros_like(shorts)
    for turn, root, ends in zip(turns, roots, sides, strict=True):
        for side in ends:
            shoulders = root + shorts[:, None] * side
            steps, seen = fold.step_sum(shoulders[:, None], tip, turn, EDGE_PIECES)
            edges += _strength(steps)
            edges_seen += seen
            # Up to the shoulder the neighbour's long edge is a joint that steps against the own seams: any other step
            # there speaks against it.
            joint, _ = fold.step_sum(np.broadcast_to(root, shoulders.shape), shoulders, turn, 2)
            beside -= (joint @ axis).sum(axis=-1) + _strength(joint)
        radii, run, seen_run = fold.along_ray(turn, axis)
        own += np.interp(reach, radii, run) - np.interp(root_reach, radii, run)
        own_seen += np.interp(reach, radii, seen_run) - np.interp(root_reach, radii, seen_run)
    quiet = fold.count * len(turns)
    score = (edges + own + beside[:, None]) / np.sqrt(edges_seen + own_seen + quiet * QUIET_IN)
    flattest = max(float(side[1]) for ends in sides for side in ends)  # how fast a short edge runs outward
    score[short * flattest > SHOULDER_MOST_SHARE * (reach - root_reach)] = -np.inf
    k = np.unravel_index(int(score.argmax()), score.shape)
    if not np.isfinite(score[k]):
        return None
    least = quiet * LEAST_SEEN_IN
    return NotchRing(
        tuple(turns),
        tuple(roots),
        tuple(sides),
        short_in=float(short[k]),
        reach_in=float(reach[k]),
        own_step=float(own[k] / max(own_seen[k], least)),
        edge_step=float(edges[k] / max(edges_seen[k], least)),
    )
