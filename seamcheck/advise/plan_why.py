"""Why a fit closes or doesn't, in the trade's terms: what the root angles come to, and which lobe is to be cut again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import Enum
from math import atan, degrees, pi, sqrt

import numpy as np

from ..basis.frames import Array
from .fit import Fit, FitJoint
from .fit_motion import moved
from .fit_plan import Plan, PlanSettings, plan_fit
from .fit_program import easable

# A lobe that comes in by more than this past its neighbours shows a step at its shoulders; common practice, no source.
SHOWN_STEP_IN = 1 / 32


class Trouble(Enum):
    """What keeps a joint or a point from coming right."""

    BOTH_STAY_APART = "both lobes stay, and the joint between them is open"
    BOTH_STAY_TIGHT = "both lobes stay, and they bind on each other"
    EDGE_STAYS = "the lobes bind, and the one whose short edge it is stays"
    TOO_LARGE = "more would have to come off the lobe than is worth planing"
    TOO_SMALL = "the joint stays open, for the lobe is too small there"
    TOO_SHORT = "the lobe comes in so far that its shoulders fall short of its neighbours'"
    IN_THE_WAY = "lobes that stay hold what lies beside them, and without that it would close"
    POINT_STAYS = "the lobe stays, and its point is off its seam"
    POINT_HELD = "the joints hold the point off its seam"


@dataclass(frozen=True)
class Why:
    """One trouble. in_in: how much is wrong, inches."""

    trouble: Trouble
    lobe: int
    other: int | None
    end: str | None  # "root" or "shoulder"
    in_in: float


@dataclass(frozen=True)
class RootAngles:
    """What the root angles of the first ring add up to, by its joints."""

    lobes: tuple[int, ...]
    sum_deg: float
    u95_deg: float
    at_shoulder_in: float  # the whole misfit (positive: too much wood) as a width at one shoulder

    @property
    def told(self) -> bool:
        """Whether it differs from a full turn by more than it is uncertain by."""
        return abs(self.sum_deg - 360) > self.u95_deg


def root_angles(fit: Fit) -> RootAngles | None:
    """A full turn less what the first ring's joints open toward the shoulders. None where one of them isn't measured.

    However lobes are shifted and turned, the sum of these openings stays: so it says at once whether the ring can close unplaned.
    """
    ring = tuple(lobe.number for lobe in fit.lobes if lobe.ring == 1)
    joints = [joint for joint in fit.joints if set(joint.lobes) <= set(ring)]
    if len(ring) < 3 or len(joints) != len(ring) or any(joint.gap_in is None or joint.u95_in is None for joint in joints):
        return None
    opened = [atan(_spread(joint.gap_in) / joint.length_in) for joint in joints]
    # Either end is uncertain by u95, so their difference is by the root of two times it.
    u95 = sqrt(sum(2 * ((joint.u95_in or 0.0) / joint.length_in) ** 2 for joint in joints))
    length_in = float(np.mean([joint.length_in for joint in joints]))
    return RootAngles(ring, degrees(2 * pi - sum(opened)), degrees(u95), -sum(opened) * length_in)


def _spread(gap_in: Array | None) -> float:
    return 0.0 if gap_in is None else float(gap_in[1] - gap_in[0])


def troubles(fit: Fit, settings: PlanSettings, plan: Plan) -> tuple[Why, ...]:
    """Everything that the plan can't bring right or can only bring right with a step that shows, worst first."""
    found = [_joint_trouble(fit, settings, fit.joints[j], miss_in) for j, miss_in in plan.gap_misses.items()]
    for number, miss in plan.tip_misses.items():
        found.append(Why(Trouble.POINT_STAYS if number in settings.keep else Trouble.POINT_HELD, number, None, None, miss))
    found.sort(key=lambda why: -abs(why.in_in))
    return tuple(_once(_let_go(fit, settings, found)) + _short(fit, plan))


def _let_go(fit: Fit, settings: PlanSettings, found: list[Why]) -> list[Why]:
    """Where it would close if no lobe had to stay, no lobe is called too small: those that stay beside what is missed are named."""
    blamed = [why for why in found if why.trouble in (Trouble.TOO_SMALL, Trouble.POINT_HELD)]
    if not blamed or not settings.keep:
        return found
    free = plan_fit(fit, replace(settings, keep=frozenset()))
    if free.gap_misses or free.tip_misses:
        return found
    rest = [why for why in found if why not in blamed]
    holding: dict[int, float] = {}
    for why in blamed:
        beside = {n for joint in fit.joints if why.lobe in joint.lobes for n in joint.lobes} & settings.keep
        for number in {why.other} & beside or beside or settings.keep:
            if number is not None and free.motions[number].any():
                holding[number] = max(holding.get(number, 0.0), abs(why.in_in))
    return [Why(Trouble.IN_THE_WAY, number, None, None, by) for number, by in sorted(holding.items(), key=lambda item: -item[1])] + rest


def _once(found: list[Why]) -> list[Why]:
    """The first, that is the worst, of each kind for each lobe."""
    first: dict[tuple[Trouble, int], Why] = {}
    for why in found:
        first.setdefault((why.trouble, why.lobe), why)
    return list(first.values())


def _joint_trouble(fit: Fit, settings: PlanSettings, joint: FitJoint, miss_in: Array) -> Why:
    worst = int(np.argmax(np.abs(miss_in)))
    end, by = ("root", "shoulder")[worst], float(miss_in[worst])
    free = [number for number in joint.lobes if number not in settings.keep]
    if not free:
        return Why(Trouble.BOTH_STAY_APART if by > 0 else Trouble.BOTH_STAY_TIGHT, joint.lobes[0], joint.lobes[1], end, by)
    may = easable(fit, joint, settings.keep)
    if by > 0:
        lobe = min(may or free, key=lambda number: root_angle(fit, number))
    elif may:
        lobe = max(may, key=lambda number: root_angle(fit, number))
    else:
        lobe = free[0]
    other = joint.lobes[0] if lobe == joint.lobes[1] else joint.lobes[1]
    trouble = Trouble.TOO_SMALL if by > 0 else Trouble.TOO_LARGE if may else Trouble.EDGE_STAYS
    return Why(trouble, lobe, other, end, by)


def root_angle(fit: Fit, number: int) -> float:
    """Rad, by the outline."""
    root, left, _, right = fit.by_number[number].outline_in
    a, b = left - root, right - root
    return float(np.arccos(np.clip(a @ b / np.hypot(*a) / np.hypot(*b), -1, 1)))


def _short(fit: Fit, plan: Plan) -> list[Why]:
    """Lobes whose shoulders the plan draws in past both neighbours' by more than may show, by the outlines."""
    found = []
    for lobe in fit.lobes:
        joints = [joint for joint in fit.joints if lobe.number in joint.lobes and len(fit.short_edged(joint)) == 2]
        if len(joints) < 2:
            continue
        before, after = (min(_step(fit, joint, lobe.number, motions) for joint in joints) for motions in (None, plan.motions))
        if after > SHOWN_STEP_IN and after > before:
            found.append(Why(Trouble.TOO_SHORT, lobe.number, None, "shoulder", after))
    return found


def _step(fit: Fit, joint: FitJoint, number: int, motions: Mapping[int, Array] | None) -> float:
    """How far along their joint a neighbour's shoulder stands out past the lobe's own, as they lie or after their motions."""
    shoulders = {}
    for each in joint.lobes:
        lobe = fit.by_number[each]
        place = lobe.outline_in[1 if fit.side_of(joint, each) == "left" else 3]
        shoulders[each] = place if motions is None else moved(lobe, motions[each], place)
    (other,) = set(joint.lobes) - {number}
    return float((shoulders[other] - shoulders[number]) @ (joint.edge_in[1] - joint.edge_in[0])) / joint.length_in
