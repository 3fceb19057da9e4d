"""Which cut lobes to use, to mend or to cut again: the pattern is laid back on each, its centre line on the lobe's own seam.

Along that line the pattern is free to slide. How far the lobe's wood reaches past the pattern, at either end of each edge, is linear in the
slide; what is missing beyond the limits counts first, then the wood to take off. Both are convex and piecewise linear, so the best slide
is one of a few places: where an edge's wood is nothing or just missing by its limit, or where two edges miss by the same share of theirs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import combinations

import numpy as np

from ..basis.frames import Array
from ..basis.uncertain import Estimate
from ..kite import HalfShape
from ..result import EDGES
from .loose_set import NUMBERS, LooseLobe, shape_of

# Each edge's ends in the pattern's corners (root, left, tip, right): where it starts and where it stops, left edges first.
_EDGE_CORNERS = ((0, 1), (0, 3), (1, 2), (3, 2))
_END_NAMES = (("root", "shoulder"), ("root", "shoulder"), ("shoulder", "point"), ("shoulder", "point"))
# How much less far a lobe's point may reach than its pattern's (common practice, no source).
MOST_SHORT_REACH_IN = 1 / 32
# What is no more than this past a limit is on it: the best slide often ends on one (inches).
SLACK_IN = 1e-9
# Slides farther than this are no mending (inches).
MOST_SLIDE_IN = 1 / 4


REACH = "reach"


class Lot(Enum):
    """What to do with a lobe."""

    USE = "use"
    MEND = "mend"
    TRY = "try"  # the photo doesn't decide: wood isn't to be taken off, nor the lobe thrown away, for so little
    CUT_AGAIN = "cut again"
    UNKNOWN = "can't tell"


@dataclass(frozen=True)
class Limits:
    """How far a lobe may be from its pattern, inches."""

    full_in: float = 0.005  # wood past the pattern at the ends of edges that close on other lobes: half of what a joint may open
    short_in: float = 0.010  # wood missing there
    tip_in: float = 1 / 64  # either at the point


@dataclass(frozen=True)
class Spare:
    """Wood past the pattern at one end of an edge (negative: missing)."""

    edge: str  # of EDGES, or REACH: along the own seam, past the pattern's point
    end: str  # "root", "shoulder" or "point"
    wood: Estimate  # inches
    full_in: float  # how much past is too much
    short_in: float  # how much missing is too much

    @property
    def too_full(self) -> bool:
        return self.wood.value > self.full_in + SLACK_IN

    @property
    def too_short(self) -> bool:
        return -self.wood.value > self.short_in + SLACK_IN


@dataclass(frozen=True)
class Sorted:
    """A lobe against its pattern."""

    lobe: LooseLobe
    lot: Lot
    spares: tuple[Spare, ...]  # edge by edge, two ends each, then the point's reach; empty where it can't be told
    slide_in: float  # how far from the lobe's root the pattern's root lies, toward the point
    missing: tuple[str, ...]  # what isn't measured
    bent: tuple[str, ...]  # edges that aren't straight enough

    def spare(self, edge: str, end: str) -> Spare:
        return next(one for one in self.spares if one.edge == edge and one.end == end)


def sort_lobe(lobe: LooseLobe, pattern: HalfShape, limits: Limits) -> Sorted:
    """One lobe against its pattern."""
    bent = tuple(edge for edge in EDGES if edge in lobe.bows and abs(lobe.bows[edge].value) > limits.full_in)
    if not lobe.is_whole or lobe.dark_side is None:
        missing = [name for name in NUMBERS if name not in lobe.numbers]
        if lobe.dark_side is None:
            missing.append("dark_side")
        return Sorted(lobe, Lot.UNKNOWN, (), 0.0, tuple(missing), bent)
    numbers = [lobe.value(name) for name in NUMBERS]
    slide = best_slide(numbers, pattern, limits)
    wood = wood_past(numbers, pattern, slide)
    changes = np.zeros((len(NUMBERS), len(wood)))
    for k, name in enumerate(NUMBERS):
        moved = list(numbers)
        moved[k] += lobe.numbers[name].u
        changes[k] = wood_past(moved, pattern, slide) - wood
    u = np.sqrt(np.sum(changes**2, axis=0))
    spares = []
    for k, (edge, ends) in enumerate(zip(EDGES, _END_NAMES, strict=True)):
        for j, end in enumerate(ends):
            full, short = (limits.tip_in, limits.tip_in) if end == "point" else (limits.full_in, limits.short_in)
            spares.append(Spare(edge, end, Estimate(float(wood[2 * k + j]), {"edges": float(u[2 * k + j])}), full, short))
    reach = Estimate(float(wood[-1]), {"edges": float(u[-1])})
    spares.append(Spare(REACH, "point", reach, np.inf, MOST_SHORT_REACH_IN))
    return Sorted(lobe, _lot(lobe, spares, bent), tuple(spares), slide, (), bent)


def _lot(lobe: LooseLobe, spares: Sequence[Spare], bent: tuple[str, ...]) -> Lot:
    """What is surely missing is cut again; what is too full, and full at all even at the near end of its uncertainty, is mended."""
    if any(-spare.wood.value - spare.wood.u95 > spare.short_in for spare in spares):
        return Lot.CUT_AGAIN
    if any(spare.too_short for spare in spares):
        return Lot.TRY
    full = [spare for spare in spares if spare.too_full]
    bows = [lobe.bows[edge] for edge in bent]
    if any(spare.wood.value > spare.wood.u95 for spare in full) or any(abs(bow.value) > bow.u95 for bow in bows):
        return Lot.MEND
    return Lot.TRY if full or bows else Lot.USE


def wood_past(numbers: Sequence[float], pattern: HalfShape, slide_in: float) -> Array:
    """(9,): the lobe's wood past the pattern at both ends of each of its edges, and of its point along the own seam, inches.

    numbers: the lobe's, in NUMBERS' order. The pattern's centre line lies on the lobe's own seam, its root slide_in along that from
    the foot of the lobe's root.
    """
    corners = shape_of(numbers).corners_in
    length, own_root, own_tip = numbers[0], numbers[5], numbers[6]
    start = np.array([-own_root, 0.0])
    way = np.array([-own_tip, length]) - start
    way = way / np.hypot(*way)
    across = np.array([way[1], -way[0]])
    flat = pattern.corners_in
    laid = start + flat[:, :1] * across + (flat[:, 1:] + slide_in) * way
    wood = []
    for k, (a, b) in enumerate(_EDGE_CORNERS):
        edge = corners[b] - corners[a]
        outward = np.array([edge[1], -edge[0]]) / np.hypot(*edge) * (-1 if k % 2 == 0 else 1)
        wood += [float((corners[a] - laid[end]) @ outward) for end in (a, b)]
    return np.array([*wood, float((corners[2] - laid[2]) @ way)])


def best_slide(numbers: Sequence[float], pattern: HalfShape, limits: Limits) -> float:
    """The slide (inches) that leaves the least missing beyond the limits and then the least wood to take off."""
    at_zero = wood_past(numbers, pattern, 0.0)
    slope = wood_past(numbers, pattern, 1.0) - at_zero
    most = np.array([limits.tip_in if end == "point" else limits.short_in for ends in _END_NAMES for end in ends] + [MOST_SHORT_REACH_IN])
    share_zero, share_slope = -at_zero / most, -slope / most
    places = [0.0, -MOST_SLIDE_IN, MOST_SLIDE_IN]
    for j, k in combinations(range(len(most)), 2):
        if abs(share_slope[j] - share_slope[k]) > 1e-9:
            places.append(float((share_zero[k] - share_zero[j]) / (share_slope[j] - share_slope[k])))
    for missing in (np.zeros(len(most)), most):
        places += [float(-(a + b) / c) for a, b, c in zip(at_zero, missing, slope, strict=True) if abs(c) > 1e-9]
    slides = np.array([place for place in places if abs(place) <= MOST_SLIDE_IN])
    wood = at_zero + slides[:, None] * slope
    beyond = np.maximum((-wood / most).max(axis=1) - 1, 0)
    # Missing wood first; of equal ones the least wood to take off; of equal ones the least missing at all.
    order = np.lexsort((np.maximum(-wood, 0).sum(axis=1), np.round(np.maximum(wood[:, :-1], 0).sum(axis=1), 9), np.round(beyond, 9)))
    return float(slides[order[0]])
