"""What a teacher sees in a student's rose: what is good, and what matters most. From measured numbers alone, each with its u95.

Good is only what lies within its mark by more than it is uncertain; a fault only what lies beyond it by more. What lies between is
neither, and is looked over by eye.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum
from math import hypot, radians
from statistics import median

from ..basis.uncertain import Estimate
from ..judge import evenly_divided, judge_joint, judge_tip, reported
from ..result import Inspection, Joint, Stage, Tip, Verdict
from .class_marks import Marks
from .fit import Fit
from .go_no_go import Call, decide
from .loose_set import RING_STEP
from .plan_why import root_angles

LEAST_TO_COMPARE = 3  # lobes in a ring, for its middle to mean something
MOST_THINGS = 2  # that matter most: more than two are not worked at
MOST_GOOD = 3


class Kind(Enum):
    """What can be good or wrong with a rose, in the order of the work: among equals the earlier is mended first."""

    TURNED = "laid the wrong way round"
    ANGLES_SUM = "root angles that don't make a full turn"
    ROOT_ANGLE = "root angles unlike the others"
    LENGTH = "lengths unlike the others"
    OWN_SEAM = "own seams beside their points"
    POINT = "points off their seams"
    OVERLAP = "lobes that overlap"
    GAP = "joints that gape"
    REACH = "points farther out or in than the others"


ORDER = {kind: place for place, kind in enumerate(Kind)}


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong, beyond its mark by more than it is uncertain."""

    kind: Kind
    lobes: tuple[int | None, ...]  # one; a joint's two, None for the field; none for the whole ring
    size: float  # inches or rad, signed: clockwise, wider, longer, farther out is positive
    u95: float
    mark: float

    @property
    def weight(self) -> float:
        """How many times its mark it is at the least. A lobe laid the wrong way round comes before everything."""
        return float("inf") if self.kind is Kind.TURNED else (abs(self.size) - self.u95) / self.mark


@dataclass(frozen=True)
class Group:
    """All faults of one kind, worst first."""

    kind: Kind
    faults: tuple[Fault, ...]
    measured: int  # of the kind, well, wrong or neither


@dataclass(frozen=True)
class Good:
    """So many of so many are surely well."""

    kind: Kind
    count: int
    measured: int
    all: int  # with those that couldn't be measured
    lobes: tuple[int, ...] = ()  # those that are well, where lobes can be named


@dataclass(frozen=True)
class Look:
    """What was seen. `groups` holds every kind of fault, what matters most first."""

    inspection: Inspection  # judged by the class's marks
    fit: Fit | None  # dry fits
    call: Call | None  # whether it may be knifed in; dry fits
    goods: tuple[Good, ...]
    groups: tuple[Group, ...]
    doubtful: Mapping[Kind, tuple[int, ...]] = field(default_factory=dict)  # lobes that were measured and are neither well nor wrong

    @property
    def things(self) -> tuple[Group, ...]:
        """The two that matter most, or fewer."""
        return self.groups[:MOST_THINGS]


def judged(inspection: Inspection, marks: Marks) -> Inspection:
    """The same numbers, judged by the class's marks. What was unmeasured stays so."""
    tips = tuple(
        tip if tip.verdict in (None, Verdict.UNMEASURED) else replace(tip, verdict=judge_tip(tip.seam_offset, marks.point_off))
        for tip in inspection.tips
    )
    joints = tuple(
        joint if joint.verdict is Verdict.UNMEASURED else replace(joint, verdict=judge_joint(joint.max_gap, marks.gap))
        for joint in inspection.joints
    )
    return replace(inspection, tips=tips, joints=joints, tolerance_in=marks.point_off, gap_tolerance_in=marks.gap)


def look(inspection: Inspection, fit: Fit | None, marks: Marks) -> Look:
    """inspection: `judged` by the same marks; fit: the same as a `Fit`, where it is a dry fit."""
    checks = [*_turned(inspection), *_checks(inspection, fit, marks)]
    groups = [Group(kind, faults, _measured(kind, checks)) for kind in Kind if (faults := _faults(kind, checks))]
    groups.sort(key=lambda group: (-group.faults[0].weight, ORDER[group.kind]))
    return Look(inspection, fit, None if fit is None else decide(fit).call, _goods(checks, marks), tuple(groups), _doubtful(checks))


@dataclass(frozen=True)
class _Check:
    """One number held against its mark. size None: it couldn't be measured."""

    kind: Kind
    lobes: tuple[int | None, ...]
    size: float | None
    u95: float
    mark: float
    one_sided: bool = False  # a gap: less than nothing is none

    @property
    def amiss(self) -> float | None:
        return None if self.size is None else self.size if self.one_sided else abs(self.size)

    @property
    def is_well(self) -> bool:
        return self.amiss is not None and self.amiss + self.u95 <= self.mark

    @property
    def is_wrong(self) -> bool:
        return self.amiss is not None and self.amiss - self.u95 > self.mark


def _faults(kind: Kind, checks: Iterable[_Check]) -> tuple[Fault, ...]:
    found = [
        Fault(kind, check.lobes, check.size, check.u95, check.mark)
        for check in checks
        if check.kind is kind and check.is_wrong and check.size is not None
    ]
    return tuple(sorted(found, key=lambda fault: -fault.weight))


def _measured(kind: Kind, checks: Iterable[_Check]) -> int:
    return sum(check.kind is kind and check.size is not None for check in checks)


def _doubtful(checks: Iterable[_Check]) -> dict[Kind, tuple[int, ...]]:
    found: dict[Kind, tuple[int, ...]] = {}
    for check in checks:
        lobe = check.lobes[0] if len(check.lobes) == 1 else None
        if lobe is not None and check.size is not None and not check.is_well and not check.is_wrong:
            found[check.kind] = tuple(sorted((*found.get(check.kind, ()), lobe)))
    return found


def _turned(inspection: Inspection) -> list[_Check]:
    """A lobe either lies the way of most or it doesn't: 0 or 1, of a mark of a half."""
    known = [tip for tip in inspection.tips if tip.dark_side is not None]
    if inspection.stage is Stage.LOOSE or len(known) < LEAST_TO_COMPARE or evenly_divided(known):
        return []
    return [
        _Check(Kind.TURNED, (tip.lobe,), None if tip.dark_side is None else float(tip.lobe in inspection.odd_lobes), 0.0, 0.5)
        for tip in inspection.tips
    ]


def _checks(inspection: Inspection, fit: Fit | None, marks: Marks) -> list[_Check]:
    found = []
    for tip in inspection.tips:
        found.append(_check(Kind.OWN_SEAM, tip, tip.own_seam_offset, marks.own_seam_off))
        if tip.verdict is not None:
            offset = None if tip.verdict is Verdict.UNMEASURED else tip.seam_offset
            found.append(_check(Kind.POINT, tip, offset, marks.point_off))
    for ring in _rings(inspection.tips):
        if inspection.stage is Stage.LOOSE:
            found += _alike(Kind.LENGTH, ring, [tip.length for tip in ring], marks.length)
            found += _alike(Kind.ROOT_ANGLE, ring, [tip.root_angle for tip in ring], radians(marks.root_angle))
        else:
            found += _alike(Kind.REACH, ring, [tip.reach for tip in ring], marks.reach)
    for joint in inspection.joints:
        found += _joint(joint, marks)
    angles = None if fit is None else root_angles(fit)
    if angles is not None:
        misfit = radians(angles.sum_deg - 360)
        found.append(_Check(Kind.ANGLES_SUM, (), misfit, radians(angles.u95_deg), radians(marks.root_angles_sum)))
    return found


def _check(kind: Kind, tip: Tip, estimate: Estimate | None, mark: float) -> _Check:
    size, u95 = reported(estimate) or (None, 0.0)
    return _Check(kind, (tip.lobe,), size, u95, mark)


def _joint(joint: Joint, marks: Marks) -> list[_Check]:
    size, u95 = (None if joint.verdict is Verdict.UNMEASURED else reported(joint.max_gap)) or (None, 0.0)
    # The widest gap is less than nothing only where one lobe lies over the other all along.
    gap = _Check(Kind.GAP, joint.lobes, size, u95, marks.gap, one_sided=True)
    if size is None or size >= 0:
        return [gap]
    return [gap, _Check(Kind.OVERLAP, joint.lobes, size, u95, marks.overlap)]


def _rings(tips: Sequence[Tip]) -> list[list[Tip]]:
    """By their rings, or loose lobes by length, parted where it takes a step."""
    by_ring: dict[int, list[Tip]] = {}
    loose: list[tuple[float, Tip]] = []
    for tip in tips:
        if tip.ring is not None:
            by_ring.setdefault(tip.ring, []).append(tip)
        elif tip.length is not None:
            loose.append((tip.length.value, tip))
    rings = list(by_ring.values())
    before = 0.0
    for length, tip in sorted(loose, key=lambda one: -one[0]):
        if before and before / length < RING_STEP:
            rings[-1].append(tip)
        else:
            rings.append([tip])
        before = length
    return rings


def _alike(kind: Kind, ring: Sequence[Tip], estimates: Sequence[Estimate | None], mark: float) -> list[_Check]:
    """Each lobe's difference from the ring's middle, with what both are uncertain by: the middle as much as one of them, at most."""
    told = [one for one in (reported(estimate) for estimate in estimates) if one is not None]
    if len(told) < LEAST_TO_COMPARE:
        return []
    middle, u95_middle = median(value for value, _ in told), median(u95 for _, u95 in told)
    checks = []
    for tip, estimate in zip(ring, estimates, strict=True):
        size, u95 = reported(estimate) or (None, 0.0)
        checks.append(_Check(kind, (tip.lobe,), None if size is None else size - middle, hypot(u95, u95_middle), mark))
    return checks


def _goods(checks: Sequence[_Check], marks: Marks) -> tuple[Good, ...]:
    """What most of its kind are, first; then the best of what fewer lobes are, so long as one is well."""
    goods = []
    for kind in (Kind.POINT, Kind.GAP, Kind.OWN_SEAM, Kind.TURNED, Kind.ANGLES_SUM, Kind.ROOT_ANGLE, Kind.LENGTH, Kind.REACH):
        mine = [check for check in checks if check.kind is kind]
        well = [check for check in mine if check.is_well]
        if well:
            measured = _measured(kind, mine)
            lobes = tuple(sorted(check.lobes[0] for check in well if len(check.lobes) == 1 and check.lobes[0] is not None))
            goods.append(Good(kind, len(well), measured, len(mine), lobes))
    most = [good for good in goods if good.count >= marks.most * good.measured and 2 * good.measured >= good.all]
    few = sorted((good for good in goods if good not in most and good.lobes), key=lambda good: -good.count / good.all)
    return tuple(most[: MOST_GOOD - len(few[:1])] + few[:1])
