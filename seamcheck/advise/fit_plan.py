"""What to plane and what to move, from one dry fit: the least wood that closes the joints with every point on its seam.

Each lobe is a rigid body that may shift and turn a little; each joint may lose a taper, so much at the root end, so much at the
shoulder end, never less than nothing. Openings and offsets change with these in proportion, very nearly: a linear program
(`fit_program`). Wanted, in this order: every joint closed and every point on its seam; little wood taken off; all of it sure by
more than it is uncertain by; little moved.

Only short edges are planed: a long edge makes the point. Of a joint's two edges it's always that of the lobe which is laid later,
since both do the same to the joint, and a lobe that lies well isn't lifted again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from ..basis.frames import Array
from ..basis.uncertain import Estimate
from ..judge import judge_joint, judge_tip
from ..result import Verdict
from .fit import WIDEST_OF_ENDS, Fit, FitJoint, FitLobe, standard, widest_of
from .fit_motion import offset_after, opening
from .fit_program import MOST_EASED_IN, PLACING_U_IN, Wood, easable, gap_band, solve, supposed_gap_in, supposed_offset_in, tip_band

SHAVING_IN = 0.002  # a light stroke of a fine-set plane on a veneer's edge; common practice, no source
SLIGHT_IN = 0.0005  # a move under this isn't asked for: no hand can do it
LEFT_OPEN_IN = 0.0015  # how far beyond its band anything must stay before it's called not to close


@dataclass(frozen=True)
class PlanSettings:
    """What the person says. keep: lobes that are taped or otherwise stay as they lie, and are never planed."""

    keep: frozenset[int] = frozenset()
    wood: Wood = Wood.LIKELY
    shaving_in: float = SHAVING_IN
    most_eased_in: float = MOST_EASED_IN


@dataclass(frozen=True)
class Ease:
    """Wood to take off one short edge, inches."""

    lobe: int
    side: str  # "left" or "right", from root to tip
    against: int  # the lobe on the other side of the joint
    root_in: float
    shoulder_in: float
    length_in: float  # of the edge
    ends_in: Array  # (2, 2): root end, shoulder end, as it lies
    u95_in: float | None  # what the joint is known to; None where it isn't measured

    def strokes(self, shaving_in: float) -> tuple[int, int]:
        """(strokes over the whole edge, further ones at the end that loses more)."""
        whole = round(min(self.root_in, self.shoulder_in) / shaving_in)
        most = max(1, round(max(self.root_in, self.shoulder_in) / shaving_in))
        return whole, most - whole


@dataclass(frozen=True)
class Move:
    """How one lobe is to lie."""

    lobe: int
    motion: Array  # (3,), see fit_motion: out, to the right, swing of the tip to the right

    @property
    def tip_right_in(self) -> float:
        """How far its tip goes to the right, that is clockwise."""
        return float(self.motion[1] + self.motion[2])

    @property
    def root_right_in(self) -> float:
        """How far its root goes to the right."""
        return float(self.motion[1])

    @property
    def out_in(self) -> float:
        """How far it goes out from the centre."""
        return float(self.motion[0])


@dataclass(frozen=True)
class TipAfter:
    """A tip when the plan is done. offset is None where it wasn't measured."""

    lobe: int
    before_in: float | None
    offset: Estimate | None
    verdict: Verdict


@dataclass(frozen=True)
class JointAfter:
    """A joint when the plan is done. None where it wasn't measured."""

    lobes: tuple[int, int]
    before_in: float | None  # its widest gap as measured
    widest_end: str | None  # "root" or "shoulder": where that is
    widest: Estimate | None  # the same when the plan is done
    verdict: Verdict


@dataclass(frozen=True)
class Plan:
    """What to do, in order, and what comes of it."""

    eases: tuple[Ease, ...]
    moves: tuple[Move, ...]  # of the lobes that are lifted and laid again, in that order
    stay: tuple[int, ...]  # lobes that are neither moved nor planed
    tips: tuple[TipAfter, ...]
    joints: tuple[JointAfter, ...]
    motions: Mapping[int, Array] = field(default_factory=dict)  # of every lobe
    tapers: tuple[Array, ...] = ()  # (2,) of every joint, as the fit has them
    tip_misses: Mapping[int, float] = field(default_factory=dict)  # lobe -> inches beyond its band
    gap_misses: Mapping[int, Array] = field(
        default_factory=dict
    )  # joint's index -> (2,) inches beyond its band at either end, negative: it binds
    waits: bool = False  # for lobes that lie the wrong way round: nothing is planned till they are turned, and nothing is held to be missed


def plan_fit(fit: Fit, settings: PlanSettings = PlanSettings()) -> Plan:
    """The plan. There always is one: what doesn't close is held in `tip_misses` and `gap_misses`.

    A lobe that is turned over brings other edges to its neighbours, and these are laid against theirs: till then nothing is planned.
    """
    if fit.odd_lobes or fit.divided:
        still = {lobe.number: np.zeros(3) for lobe in fit.lobes}
        as_it_lies = _told(fit, settings, still, np.zeros((len(fit.joints), 2)))
        return replace(as_it_lies, tip_misses={}, gap_misses={}, waits=True)
    solved = solve(fit, settings.keep, settings.wood, settings.most_eased_in)
    motions = {number: np.zeros(3) if np.abs(motion).sum() < SLIGHT_IN else motion for number, motion in solved.motions.items()}
    tapers = np.where(solved.tapers < settings.shaving_in / 2, 0.0, solved.tapers)
    return _told(fit, settings, motions, tapers)


def _told(fit: Fit, settings: PlanSettings, motions: dict[int, Array], tapers: Array) -> Plan:
    order = laying_order(fit, settings.keep, motions, tapers)
    eases = _eases(fit, settings, tapers, order)
    lifted = {ease.lobe for ease in eases} | {number for number, motion in motions.items() if motion.any()}
    tips, tip_misses = [], {}
    for lobe in fit.lobes:
        after, miss = _tip_after(fit, settings, lobe, motions[lobe.number])
        tips.append(after)
        if miss > LEFT_OPEN_IN:
            tip_misses[lobe.number] = miss
    joints, gap_misses = [], {}
    for j, joint in enumerate(fit.joints):
        moved = any(motions[number].any() for number in joint.lobes)
        after_in = opening(fit, joint, supposed_gap_in(fit, joint), *(motions[number] for number in joint.lobes)) + tapers[j]
        joints.append(_joint_after(fit, settings, joint, after_in, moved, bool(tapers[j].any())))
        most_in = gap_band(fit, joint, settings.wood).most_in
        miss_in = np.maximum(WIDEST_OF_ENDS @ after_in - most_in, 0) + np.minimum(after_in, 0)
        if np.abs(miss_in).max() > LEFT_OPEN_IN:
            gap_misses[j] = miss_in
    moves = tuple(Move(number, motions[number]) for number in order if number in lifted)
    stay = tuple(lobe.number for lobe in fit.lobes if lobe.number not in lifted)
    return Plan(tuple(eases), moves, stay, tuple(tips), tuple(joints), motions, tuple(tapers), tip_misses, gap_misses)


def laying_order(fit: Fit, keep: frozenset[int], motions: Mapping[int, Array], tapers: Array) -> list[int]:
    """The order in which lobes come to lie: those that stay; then the first ring, clockwise from one that stays, each against the
    one before, so that a lobe once laid isn't touched again; then the next ring, which sits in its notches."""
    lifted = {number for number, motion in motions.items() if motion.any()}
    for j, joint in enumerate(fit.joints):
        may = easable(fit, joint, keep)
        if tapers[j].any() and not lifted.intersection(may):
            lifted.add(max(may))  # it goes back where it lay, but can't be planed there
    order: list[int] = [lobe.number for lobe in fit.lobes if lobe.number not in lifted]
    for ring in sorted({lobe.ring for lobe in fit.lobes}):
        round_it = sorted((lobe for lobe in fit.lobes if lobe.ring == ring), key=lambda lobe: lobe.bearing)
        start = next((k for k, lobe in enumerate(round_it) if lobe.number in order), 0)
        order += [lobe.number for lobe in round_it[start:] + round_it[:start] if lobe.number not in order]
    return order


def _eases(fit: Fit, settings: PlanSettings, tapers: Array, order: list[int]) -> list[Ease]:
    """Of a joint's two edges the one of the lobe that's laid later: the lobe in the hand is eased to the one that lies."""
    eases = []
    for j, joint in enumerate(fit.joints):
        if not tapers[j].any():
            continue
        may = easable(fit, joint, settings.keep)
        lobe = max(may, key=order.index)
        against = joint.lobes[0] if lobe == joint.lobes[1] else joint.lobes[1]
        root_in, shoulder_in = (float(depth) for depth in tapers[j])
        eases.append(Ease(lobe, fit.side_of(joint, lobe), against, root_in, shoulder_in, joint.length_in, joint.edge_in, joint.u95_in))
    return sorted(eases, key=lambda ease: (order.index(ease.lobe), ease.side))


def _tip_after(fit: Fit, settings: PlanSettings, lobe: FitLobe, motion: Array) -> tuple[TipAfter, float]:
    """And by how much it misses its band."""
    offset_in = offset_after(lobe, supposed_offset_in(lobe), motion)
    miss = max(0.0, abs(offset_in) - tip_band(fit, lobe, settings.keep, settings.wood).most_in)
    if lobe.offset_in is None:
        return TipAfter(lobe.number, None, None, Verdict.UNMEASURED), miss
    parts = {"measured": standard(lobe.u95_in)}
    if motion.any():
        parts["placing"] = PLACING_U_IN
    estimate = Estimate(offset_in, parts)
    return TipAfter(lobe.number, lobe.offset_in, estimate, judge_tip(estimate, fit.tolerance_in)), miss


def _joint_after(fit: Fit, settings: PlanSettings, joint: FitJoint, after_in: Array, moved: bool, planed: bool) -> JointAfter:
    if joint.gap_in is None or joint.max_in is None:
        return JointAfter(joint.lobes, None, None, None, Verdict.UNMEASURED)
    parts = {"measured": standard(joint.u95_in)}
    if moved:
        parts["placing"] = PLACING_U_IN
    if planed:
        parts["planing"] = settings.shaving_in / 2  # a stroke more or less, as likely as not
    # What nobody touches stays as it was measured.
    widest = Estimate(widest_of(after_in) if moved or planed else joint.max_in, parts)
    end = "root" if joint.gap_in[0] > joint.gap_in[1] else "shoulder"
    return JointAfter(joint.lobes, joint.max_in, end, widest, judge_joint(widest, fit.gap_tolerance_in))
