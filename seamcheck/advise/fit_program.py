"""The linear program behind the fit plan: lobes' small motions and edges' tapers, priced so that the plan's order of wishes holds.

Unknowns, in thousandths of an inch: motions of the lobes that may move, as gains and losses; tapers at both ends of every joint;
and by how much each opening and offset falls short of being sure, and of being right at all. All are 0 or more, and all that is
wanted is linear in them, so HiGHS (by SciPy) finds the least price exactly. A joint is wide by its 95th percentile, as it is judged; it
binds where an end does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.uncertain import COVERAGE_95
from ..result import Verdict
from .fit import WIDEST_OF_ENDS, Fit, FitJoint, FitLobe
from .fit_motion import offset_after, opening, rates

PLACING_U_IN = 0.002  # standard uncertainty of a lobe pushed to its place by hand and taped; common practice, no source
MOST_EASED_IN = 1 / 32  # past this a lobe is cut again rather than eased; common practice, no source

# Prices per thousandth of an inch. Between those of band, wood and nearness lie factors of a hundred and more, so that the one is had
# before the other. Certainty is bought by moving, and by wood only where a thousandth of wood wins two of it
# or more: made sure of at any price, dry fits lost wood at three times as many edges as truly had to, for an eighth more points
# surely on; wood comes off at the next photo as well, and can't be put back.
PRICE_BAND = 2000.0
PRICE_WOOD = 1.0  # at one end of a joint of usual length
PRICE_UNSURE = 0.5
PRICE_NEAR = 0.02  # within the band, nearer is better: the middle of a seam, a tight joint
PRICE_SLIDE = 0.02  # of one lobe along the other: roots and shoulders are to go on meeting
PRICE_MOVE = 0.001
PRICE_LIFT = 1.0  # of lifting a lobe whose point lies well
PRICE_MOVE_DONE = 3.0  # of a lobe that is finished: rather wood off its neighbour than that
MOST_MOVED_IN = 1 / 8  # in each of its three ways: past this it's no dry fit to be eased, and the numbers don't hold
HAIR_IN = 0.008  # a motion that is hardly worth lifting a lobe for, its three parts together
BENT_IN = 0.0003  # what may be left after two passes of the bends in turning and sliding


class Wood(Enum):
    """For what wood may be taken off."""

    SURE = "sure"  # what must come off even if the photo errs in the wood's favour, as far as its u95
    LIKELY = "likely"  # what must come off if the numbers are right as they stand
    SAFE = "safe"  # so much that everything closes though the photo errs against it


@dataclass(frozen=True)
class Band:
    """What an opening or an offset may come to: sure up to `aim`, tolerated for a small price up to `most`."""

    aim_in: float
    most_in: float


@dataclass(frozen=True)
class Solved:
    """The program's answer."""

    motions: Mapping[int, Array]  # lobe -> (3,), see fit_motion
    tapers: Array  # (joints, 2) inches off at the root end and the shoulder end
    price: float = np.inf  # of the whole; infinite before it was solved


def tip_band(fit: Fit, lobe: FitLobe, keep: frozenset[int], wood: Wood) -> Band:
    """The tolerance less what the place of the tip will be uncertain by, but never less than half of it: below that the photo knows
    too little to aim by."""
    placing_in = 0.0 if lobe.number in keep else COVERAGE_95 * PLACING_U_IN
    guard_in = float(np.hypot(lobe.u95_in or 0.0, placing_in))
    aim_in = fit.tolerance_in - min(guard_in + BENT_IN, fit.tolerance_in / 2)
    return Band(aim_in, {Wood.SURE: fit.tolerance_in + guard_in, Wood.LIKELY: fit.tolerance_in, Wood.SAFE: aim_in}[wood])


def gap_band(fit: Fit, joint: FitJoint, wood: Wood) -> Band:
    """The same of an opening."""
    u95_in = joint.u95_in or 0.0
    aim_in = fit.gap_tolerance_in - min(u95_in, fit.gap_tolerance_in / 2)
    return Band(aim_in, {Wood.SURE: fit.gap_tolerance_in + u95_in, Wood.LIKELY: fit.gap_tolerance_in, Wood.SAFE: aim_in}[wood])


def supposed_gap_in(fit: Fit, joint: FitJoint) -> Array:
    """(2,) the openings as measured; of a joint that isn't, what is assumed: closed, with half the tolerance to spare."""
    return np.full(2, fit.gap_tolerance_in / 2) if joint.gap_in is None else joint.gap_in


def easable(fit: Fit, joint: FitJoint, keep: frozenset[int]) -> tuple[int, ...]:
    """The lobes whose edge on the joint may be planed: short edges of lobes that don't stay. (A long edge makes the point.)"""
    return tuple(number for number in fit.short_edged(joint) if number not in keep)


def solve(fit: Fit, keep: frozenset[int], wood: Wood, most_eased_in: float) -> Solved:
    """The cheapest motions and tapers; but lobes whose points lie well are left lying where that's nearly as cheap: all of them, or
    else those that would move by a hair."""
    if not fit.lobes:
        return Solved({}, np.zeros((0, 2)))
    start = Solved({lobe.number: np.zeros(3) for lobe in fit.lobes}, np.zeros((len(fit.joints), 2)))
    best = _pass(fit, keep, wood, most_eased_in, _pass(fit, keep, wood, most_eased_in, start))
    well = frozenset(lobe.number for lobe in fit.lobes if lobe.verdict is Verdict.ON and best.motions[lobe.number].any()) - keep
    barely = frozenset(number for number in well if np.abs(best.motions[number]).sum() < HAIR_IN)
    for left in (well, barely):
        if not left:
            continue
        about = Solved({number: motion * (number not in left) for number, motion in best.motions.items()}, best.tapers)
        other = _pass(fit, keep | left, wood, most_eased_in, about)
        if other.price <= best.price + PRICE_LIFT * len(left):
            return other
    return best


def _pass(fit: Fit, keep: frozenset[int], wood: Wood, most_eased_in: float, about: Solved) -> Solved:
    from scipy.optimize import linprog
    from scipy.sparse import csr_array

    free = [lobe for lobe in fit.lobes if lobe.number not in keep]
    column = {lobe.number: 3 * k for k, lobe in enumerate(free)}
    gap_rows, gap_now = _gap_rows(fit, column, about.motions)
    tip_rows, tip_now = _tip_rows(fit, column, about.motions)
    slide_rows = _slide_rows(fit, column, about.motions)
    n_motion, n_gap, n_tip, n_slide = 3 * len(free), len(gap_now), len(tip_now), len(slide_rows)
    gap_aims, gap_mosts = _thousandths([gap_band(fit, joint, wood) for joint in fit.joints for _ in (0, 1)])
    tip_aims, tip_mosts = _thousandths([tip_band(fit, lobe, keep, wood) for lobe in fit.lobes])

    # Columns: gains, losses, tapers; openings as far as sure, unsure, too wide, too tight; offsets as far as sure, unsure, off;
    # slides. Rows: each opening from above and from below, each offset to either side, each slide either way.
    gap, tip = np.eye(n_gap), np.eye(n_tip)
    wide = np.kron(np.eye(len(fit.joints)), WIDEST_OF_ENDS)
    slide = np.eye(n_slide)
    no_gap, gap_by_tip, tip_by_gap = np.zeros((n_gap, n_gap)), np.zeros((n_gap, 3 * n_tip + n_slide)), np.zeros((n_tip, 5 * n_gap))
    tip_by_slide, slide_by_all = np.zeros((n_tip, n_slide)), np.zeros((n_slide, 5 * n_gap + 3 * n_tip))
    rows = np.vstack(
        [
            np.hstack([wide @ gap_rows, -wide @ gap_rows, wide, -gap, -gap, -gap, no_gap, gap_by_tip]),
            np.hstack([-gap_rows, gap_rows, -gap, *[no_gap] * 3, -gap, gap_by_tip]),
            np.hstack([tip_rows, -tip_rows, tip_by_gap, -tip, -tip, -tip, tip_by_slide]),
            np.hstack([-tip_rows, tip_rows, tip_by_gap, -tip, -tip, -tip, tip_by_slide]),
            np.hstack([slide_rows, -slide_rows, slide_by_all, -slide]),
            np.hstack([-slide_rows, slide_rows, slide_by_all, -slide]),
        ]
    )
    most = np.concatenate([-wide @ gap_now, gap_now, -tip_now, tip_now, np.zeros(2 * n_slide)])
    moves = np.repeat([PRICE_MOVE_DONE if fit.is_finished(lobe) else PRICE_MOVE for lobe in free], 3)
    depths = np.repeat([1000 * most_eased_in * bool(easable(fit, joint, keep)) for joint in fit.joints], 2)
    blocks: list[tuple[Array, Array | float]] = [  # price and upper bound of each block of columns
        (moves, 1000 * MOST_MOVED_IN),
        (moves, 1000 * MOST_MOVED_IN),
        (PRICE_WOOD * np.repeat(_shares(fit), 2), depths),
        (np.full(n_gap, PRICE_NEAR), gap_aims),
        (np.full(n_gap, PRICE_UNSURE), gap_mosts - gap_aims),
        (np.full(n_gap, PRICE_BAND), np.inf),
        (np.full(n_gap, PRICE_BAND), np.inf),
        (np.full(n_tip, PRICE_NEAR), tip_aims),
        (np.full(n_tip, PRICE_UNSURE), tip_mosts - tip_aims),
        (np.full(n_tip, PRICE_BAND), np.inf),
        (np.full(n_slide, PRICE_SLIDE), np.inf),
    ]
    prices = np.concatenate([price for price, _ in blocks])
    upper = np.concatenate([np.broadcast_to(top, price.shape) for price, top in blocks])
    found = linprog(prices, csr_array(rows), most, bounds=np.column_stack([np.zeros(len(upper)), upper]), method="highs")
    if found.x is None:  # never seen: every band may be missed for a price, so there's always an answer
        return about
    parts = (found.x[:n_motion] - found.x[n_motion : 2 * n_motion]) / 1000
    motions = {lobe.number: np.zeros(3) for lobe in fit.lobes}
    motions.update({number: parts[k : k + 3] for number, k in column.items()})
    return Solved(motions, found.x[2 * n_motion : 2 * n_motion + n_gap].reshape(-1, 2) / 1000, float(found.fun))


def _thousandths(bands: list[Band]) -> tuple[Array, Array]:
    """Aims and mosts."""
    return np.array([1000 * one.aim_in for one in bands]), np.array([1000 * one.most_in for one in bands])


def _shares(fit: Fit) -> Array:
    """(joints,) lengths over their mean: a taper's wood goes with the edge's length."""
    lengths = np.array([joint.length_in for joint in fit.joints])
    return lengths / lengths.mean() if len(lengths) else lengths


def _gap_rows(fit: Fit, column: Mapping[int, int], about: Mapping[int, Array]) -> tuple[Array, Array]:
    """(2 joints, motions) rates and (2 joints,) openings were nothing moved, thousandths, both as they are about the given motions."""
    rows, now = np.zeros((2 * len(fit.joints), 3 * len(column))), np.zeros(2 * len(fit.joints))
    for j, joint in enumerate(fit.joints):
        normal = fit.normal_of(joint)
        now[2 * j : 2 * j + 2] = opening(fit, joint, supposed_gap_in(fit, joint), *(about[number] for number in joint.lobes))
        for number, sign in zip(joint.lobes, (-1, 1), strict=True):
            if number not in column:
                continue
            k, lobe = column[number], fit.by_number[number]
            for end in (0, 1):
                rate = sign * rates(lobe, about[number], joint.edge_in[end], normal)
                rows[2 * j + end, k : k + 3] = rate
                now[2 * j + end] -= rate @ about[number]
    return rows, now * 1000


def _tip_rows(fit: Fit, column: Mapping[int, int], about: Mapping[int, Array]) -> tuple[Array, Array]:
    """The same of the tips' offsets, (lobes, motions) and (lobes,). One that isn't measured is assumed to lie on its seam."""
    rows, now = np.zeros((len(fit.lobes), 3 * len(column))), np.zeros(len(fit.lobes))
    for row, lobe in enumerate(fit.lobes):
        now[row] = offset_after(lobe, supposed_offset_in(lobe), about[lobe.number])
        if lobe.number in column:
            k = column[lobe.number]
            rows[row, k : k + 3] = rates(lobe, about[lobe.number], lobe.tip_in, right_of(lobe.seam_out))
            now[row] -= rows[row, k : k + 3] @ about[lobe.number]
    return rows, now * 1000


def _slide_rows(fit: Fit, column: Mapping[int, int], about: Mapping[int, Array]) -> Array:
    """(joints, motions): how fast the second lobe slides along the first, at the middle of each joint."""
    rows = np.zeros((len(fit.joints), 3 * len(column)))
    for j, joint in enumerate(fit.joints):
        way = (joint.edge_in[1] - joint.edge_in[0]) / joint.length_in
        for number, sign in zip(joint.lobes, (-1, 1), strict=True):
            if number in column:
                k, lobe = column[number], fit.by_number[number]
                rows[j, k : k + 3] = sign * rates(lobe, about[number], joint.edge_in.mean(axis=0), way)
    return rows


def supposed_offset_in(lobe: FitLobe) -> float:
    """The tip's offset; of one that isn't measured what is assumed: it lies on its seam."""
    return 0.0 if lobe.offset_in is None else lobe.offset_in
