"""The best order of cut lobes round the top: which beside which, so that joints close with the least planing and tips meet their seams.

Every lobe lies with its tip on its seam and its root where the rose's centre (or its notch) is. Where two lobes' halves together are
wider than the turn between their seams, they bind, and the overlap has to be planed off.

First ring: what a joint costs depends on both lobes beside it, so places and lobes don't separate. The best round is found exactly by
dynamic programming over the sets of lobes laid so far (Bellman 1962; Held and Karp 1962), which of more lobes than places also
says which to leave out. Lobes that are still to be cut are all one to it: of them it's only counted how many are laid. Later rings:
each lobe lies in a notch that the rings before it leave, so the costs separate, and a linear assignment is exact (SciPy's
linear_sum_assignment, after Crouse 2016). Ring after ring, as they are laid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, wrap_angle
from ..basis.uncertain import Estimate
from ..kite import HalfShape
from .loose_set import LooseLobe

# Of equal planing the round with the evener joints is the better: a square of an angle (rad) counts so much beside an overlap.
EVENNESS = 1e-3
# Sets of more lobes than this are too many to go through; those farthest from their pattern stay out, where places are no more.
MOST_LOBES = 17
# Sets of lobes, times the numbers of lobes still to be cut that may lie among them: some ten seconds and 120 MB.
MOST_SETS = 1 << 19


@dataclass(frozen=True)
class Place:
    """Where a lobe goes."""

    seam: int  # number of its field seam
    ring: int
    bearing: float  # rad, clockwise, about the rose's centre: of its tip when on its seam


@dataclass(frozen=True)
class LaidLobe:
    """A lobe in its place; None where there is none for it."""

    place: Place
    lobe: LooseLobe | None
    shape: HalfShape  # the lobe's, or its pattern's where there is none


@dataclass(frozen=True)
class LaidJoint:
    """What the joint of two lobes comes to when both tips lie on their seams."""

    lobes: tuple[int, int]  # indices into the order's `laid`, the second clockwise of the first
    opening: Estimate  # inches at the shoulder: positive gapes there, negative binds by so much
    share: tuple[float, float]  # of a binding joint: how much to ease off the first's edge and off the second's, inches

    @property
    def binds_in(self) -> float:
        return max(0.0, -self.opening.value)


@dataclass(frozen=True)
class Order:
    """The round."""

    laid: tuple[LaidLobe, ...]  # ring by ring, clockwise
    joints: tuple[LaidJoint, ...]
    left_over: tuple[LooseLobe, ...]

    def measured(self) -> list[LaidJoint]:
        """The joints of lobes that are there; one that is still to be cut is cut to suit."""
        return [joint for joint in self.joints if all(self.laid[k].lobe is not None for k in joint.lobes)]

    @property
    def planing_in(self) -> float:
        """All that is to come off at the shoulders, inches."""
        return sum(joint.binds_in for joint in self.measured())


def best_order(places: Sequence[Place], rings: Sequence[Sequence[LooseLobe]], patterns: Sequence[HalfShape]) -> Order:
    """places: of all rings, in any order; rings: each ring's whole lobes, best first (of the first not `too_many`); patterns: each's."""
    laid: list[LaidLobe] = []
    joints: list[LaidJoint] = []
    left_over: list[LooseLobe] = []
    for number, (lobes, pattern) in enumerate(zip(rings, patterns, strict=True), 1):
        mine = sorted((place for place in places if place.ring == number), key=lambda place: place.bearing % (2 * np.pi))
        most = MOST_LOBES if number == 1 else len(lobes)
        left_over += lobes[most:]
        lobes = list(lobes[:most])
        first = len(laid)
        if number == 1:
            chosen = round_of(turns_between(mine), _halves(lobes, pattern, 0), (pattern.left_root, pattern.right_root))
        else:
            chosen = notch_assignment(_notches(mine, laid), _halves(lobes, pattern, len(mine)))
        used = [lobes[k] if k < len(lobes) else None for k in chosen]
        laid += [LaidLobe(place, lobe, pattern if lobe is None else lobe.shape) for place, lobe in zip(mine, used, strict=True)]
        left_over += [lobe for k, lobe in enumerate(lobes) if k not in chosen]
        joints += _first_joints(laid) if number == 1 else _notch_joints(laid, first)
    return Order(tuple(laid), tuple(joints), tuple(left_over))


def too_many(lobes: int, places: int) -> bool:
    """Whether the best round of so many lobes for so many places is too much to work out."""
    known = min(lobes, MOST_LOBES)
    return min(lobes, places) > MOST_LOBES or (max(0, places - known) + 1) << known > MOST_SETS


def _halves(lobes: Sequence[LooseLobe], pattern: HalfShape, places: int) -> Array:
    """(lobes or places, 2): half angles at the root; a lobe that is missing is taken to be as its pattern."""
    rows = [(lobe.value("left_root"), lobe.value("right_root")) for lobe in lobes]
    rows += [(pattern.left_root, pattern.right_root)] * max(0, places - len(lobes))
    return np.array(rows)


def turns_between(places: Sequence[Place]) -> Array:
    """(n,): from each place to the next, going round, rad."""
    bearings = np.array([place.bearing for place in places])
    return np.asarray((np.roll(bearings, -1) - bearings) % (2 * np.pi))


def joint_cost(turn: Array | float, right: Array | float, left: Array | float) -> Array:
    """What a joint costs (rad): the overlap, and next to nothing for being uneven."""
    open_by = np.asarray(turn) - right - left
    return np.maximum(-open_by, 0) + EVENNESS * open_by**2


def round_of(turns: Array, halves: Array, to_cut: tuple[float, float]) -> list[int]:
    """Which lobe lies at each of n places, at the least sum of all joints' costs; exact. m where it's one that is still to be cut.

    turns (n,): between the places; halves (m, 2): each lobe's half angles at the root, left and right; to_cut: those of a lobe that is
    still to be cut, of which there are n - m where m is less than n.
    """
    n, m = len(turns), len(halves)
    missing = max(0, n - m)
    if n == 1:
        return [0]
    rows = np.vstack([halves, [to_cut]]) if missing else halves
    firsts = range(len(rows))
    if np.ptp(turns) < 1e-12 and m <= n:  # round an even top it doesn't matter where one begins
        firsts = range(m, m + 1) if missing else range(1)
    best: tuple[float, list[int]] | None = None
    for first in firsts:
        cost, order = _from(first, turns, rows, missing)
        if best is None or cost < best[0] - 1e-15:
            best = cost, order
    assert best is not None
    return best[1]


def _from(first: int, turns: Array, rows: Array, missing: int) -> tuple[float, list[int]]:
    """The best round that begins with a lobe. rows (m, 2), or (m + 1, 2) with the half angles of the missing ones as the last."""
    n, kinds = len(turns), len(rows)
    m = kinds - (missing > 0)
    left, right = rows.T
    masks = np.arange(1 << m)
    size = _bits(masks)
    begun = 0 if first == m else 1 << first
    mine = masks & begun == begun
    cost = np.full((1 << m, kinds), np.inf)  # by the set of lobes laid and the last of them, of as many places as are filled
    before = np.full((n, 1 << m, kinds), -1, np.int8)
    cost[begun, first] = 0.0
    for laid in range(1, n):
        these = masks[mine & (size <= laid) & (size >= laid - missing)]
        step = joint_cost(turns[laid - 1], right[:, None], left[None, :])  # (from, to)
        further = np.full_like(cost, np.inf)
        for lobe in range(kinds):
            bit = 1 << lobe if lobe < m else 0
            free = these[these & bit == 0] if bit else these[size[these] > laid - missing]
            if not len(free):
                continue
            total = cost[free] + step[:, lobe]
            chosen = total.argmin(axis=1)
            further[free | bit, lobe] = total[np.arange(len(free)), chosen]
            before[laid, free | bit, lobe] = chosen
        cost = further
    ends = masks[mine & (size == n - missing)]
    closed = cost[ends] + joint_cost(turns[-1], right, left[first])
    row, last = (int(k) for k in np.unravel_index(int(closed.argmin()), closed.shape))
    order, mask = [last], int(ends[row])
    for laid in range(n - 1, 0, -1):
        previous = int(before[laid, mask, order[-1]])
        mask &= ~(1 << order[-1]) if order[-1] < m else -1
        order.append(previous)
    return float(closed[row, last]), order[::-1]


def _bits(masks: Array) -> Array:
    count = np.zeros(len(masks), np.int8)
    left = masks.copy()
    while left.any():
        count += (left & 1).astype(np.int8)
        left >>= 1
    return count


def _notches(places: Sequence[Place], laid: Sequence[LaidLobe]) -> Array:
    """(n, 2): how wide a notch is on either side of its seam, rad, by the long edges beside it."""
    notches = []
    for place in places:
        before, after = neighbours(place, laid)
        left = float((place.bearing - laid[before].place.bearing) % (2 * np.pi)) + laid[before].shape.tips[1]
        right = float((laid[after].place.bearing - place.bearing) % (2 * np.pi)) + laid[after].shape.tips[0]
        notches.append((left, right))
    return np.array(notches)


def neighbours(place: Place, laid: Sequence[LaidLobe]) -> tuple[int, int]:
    """The lobes of earlier rings that lie next to a place, counterclockwise and clockwise of it: indices."""
    earlier = [k for k, one in enumerate(laid) if one.place.ring < place.ring]
    away = {k: float(wrap_angle(laid[k].place.bearing - place.bearing)) % (2 * np.pi) for k in earlier}
    return max(earlier, key=lambda k: away[k]), min(earlier, key=lambda k: away[k])


def notch_assignment(notches: Array, halves: Array) -> list[int]:
    """Which lobe lies in each notch at the least sum of costs, either side counted. notches (n, 2), halves (m, 2), m >= n."""
    from scipy.optimize import linear_sum_assignment

    cost = sum(joint_cost(notches[:, None, side], halves[None, :, side], 0.0) for side in (0, 1))
    _, lobes = linear_sum_assignment(cost)
    return [int(lobe) for lobe in lobes]


def _first_joints(laid: Sequence[LaidLobe]) -> list[LaidJoint]:
    turns = turns_between([one.place for one in laid])
    joints = []
    for k, turn in enumerate(turns):
        after = (k + 1) % len(laid)
        one, other = laid[k], laid[after]
        reach = min(one.shape.right_short_in, other.shape.left_short_in)
        open_by = float(turn) - one.shape.right_root - other.shape.left_root
        u = float(np.hypot(_u(one.lobe, "right_root"), _u(other.lobe, "left_root")))
        opening = Estimate(open_by * reach, {"edges": u * reach})
        # The wider half, beside half the turn between the seams, gives the more.
        past = np.array([one.shape.right_root, other.shape.left_root]) - turn / 2
        joints.append(LaidJoint((k, after), opening, _shared(max(0.0, -open_by) * reach, past)))
    return joints


def _shared(overlap_in: float, past: Array) -> tuple[float, float]:
    """An overlap shared out over two edges as they lie past their half; all of it to the one where only one does."""
    past = np.maximum(past, 0)
    total = float(past.sum())
    return (overlap_in * float(past[0]) / total, overlap_in * float(past[1]) / total) if total > 0 else (overlap_in / 2, overlap_in / 2)


def _notch_joints(laid: Sequence[LaidLobe], first: int) -> list[LaidJoint]:
    joints = []
    for k in range(first, len(laid)):
        one = laid[k]
        before, after = neighbours(one.place, laid)
        for side, (other, half, tip) in enumerate(((before, "left_root", "right_tip"), (after, "right_root", "left_tip"))):
            notch = _notches([one.place], laid)[0, side]
            reach = one.shape.left_short_in if side == 0 else one.shape.right_short_in
            open_by = notch - (one.shape.left_root if side == 0 else one.shape.right_root)
            u = float(np.hypot(_u(one.lobe, half), _u(laid[other].lobe, tip)))
            opening = Estimate(float(open_by) * reach, {"edges": u * reach})
            # Long edges are never planed: they make the point. So it's the lobe in the notch that gives.
            over = max(0.0, -opening.value)
            joints.append(LaidJoint((other, k) if side == 0 else (k, other), opening, (0.0, over) if side == 0 else (over, 0.0)))
    return joints


def _u(lobe: LooseLobe | None, name: str) -> float:
    return 0.0 if lobe is None else lobe.numbers[name].u
