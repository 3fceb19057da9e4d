"""Whether a dry fit may be knifed in: go, not yet or can't tell, for every point and joint; where to mark it, and how to go round it.

Go is said only of what was measured and found well, or of what the person says to have checked where the photo can't tell. What the
photo shows to be off or open no word overrides: a new photo does.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from math import pi

from ..result import Verdict
from .fit import Fit, FitJoint, FitLobe


class Call(Enum):
    """What is said of a point, a joint or the whole."""

    GO = "go"
    NOT_YET = "not yet"
    CANT_TELL = "can't tell"


_CALLS = {
    Verdict.ON: Call.GO,
    Verdict.CLOSED: Call.GO,
    Verdict.OFF: Call.NOT_YET,
    Verdict.OPEN: Call.NOT_YET,
    Verdict.UNSURE: Call.CANT_TELL,
    Verdict.UNMEASURED: Call.CANT_TELL,
}


@dataclass(frozen=True)
class TipCall:
    """One point."""

    lobe: FitLobe
    call: Call
    by_eye: bool  # the person's word stands for the photo's


@dataclass(frozen=True)
class JointCall:
    """One joint."""

    joint: FitJoint
    call: Call
    by_eye: bool


@dataclass(frozen=True)
class Mark:
    """A register mark: so many short strokes across the right long edge of a lobe."""

    lobe: int
    strokes: int


@dataclass(frozen=True)
class Decision:
    """The whole page's content."""

    call: Call
    tips: tuple[TipCall, ...]  # going round
    joints: tuple[JointCall, ...]
    odd_lobes: tuple[int, ...]
    disagreements: tuple[str, ...]
    left_open: tuple[tuple[int, int], ...]  # where a joint or a lobe is wanting, and the person hasn't said that they have checked it
    marks: tuple[Mark, ...]
    knife_order: tuple[int, ...]  # lobes


def decide(fit: Fit, tips_by_eye: frozenset[int] = frozenset(), joints_by_eye: frozenset[frozenset[int]] = frozenset()) -> Decision:
    """tips_by_eye: lobes whose points the person has checked; joints_by_eye: the lobes of each joint, or open place, that they have."""
    tips = []
    first = min(fit.lobes, key=lambda lobe: lobe.number).bearing if fit.lobes else 0.0  # as every other report goes round
    for lobe in sorted(fit.lobes, key=lambda lobe: (lobe.bearing - first + 1e-6) % (2 * pi)):
        call = _CALLS[lobe.verdict]
        by_eye = call is Call.CANT_TELL and lobe.number in tips_by_eye
        tips.append(TipCall(lobe, Call.GO if by_eye else call, by_eye))
    joints = []
    for joint in fit.joints:
        call = _CALLS[joint.verdict]
        by_eye = call is Call.CANT_TELL and frozenset(joint.lobes) in joints_by_eye
        joints.append(JointCall(joint, Call.GO if by_eye else call, by_eye))
    calls = [one.call for one in tips] + [one.call for one in joints]
    left_open = tuple(pair for pair in fit.left_open if frozenset(pair) not in joints_by_eye)
    return Decision(
        _whole(calls, fit, bool(left_open)),
        tuple(tips),
        tuple(joints),
        fit.odd_lobes,
        fit.disagreements,
        left_open,
        register_marks(fit),
        knife_order(fit),
    )


def _whole(calls: Iterable[Call], fit: Fit, left_open: bool) -> Call:
    calls = set(calls)
    if Call.NOT_YET in calls or fit.odd_lobes or fit.divided:
        return Call.NOT_YET
    if Call.CANT_TELL in calls or fit.disagreements or len(fit.lobes) < 2 or not fit.joints or left_open:
        return Call.CANT_TELL
    return Call.GO


def register_marks(fit: Fit) -> tuple[Mark, ...]:
    """One, two and three strokes at three places a third of the way round, on the first ring: no turn of the rose brings them together."""
    ring = sorted((lobe for lobe in fit.lobes if lobe.ring == 1), key=lambda lobe: lobe.number)  # clockwise
    places = sorted({round(share * len(ring) / 3) for share in range(3)}) if ring else []
    return tuple(Mark(ring[place].number, strokes) for strokes, place in enumerate(places, 1))


def knife_order(fit: Fit) -> tuple[int, ...]:
    """From lobe to lobe across the rose, as wheel nuts are tightened: each the farthest round from those that were freed before it.

    So what lies beside a freed lobe is always taped on both sides, until few are left.
    """
    left = sorted(fit.lobes, key=lambda lobe: (lobe.ring, lobe.number))
    order: list[FitLobe] = []
    while left:
        # Far from the last one above all, and then from the one before it.
        best = max(left, key=lambda lobe: (sum(_round(lobe, done) / 3**age for age, done in enumerate(reversed(order[-3:]))), -lobe.number))
        order.append(best)
        left.remove(best)
    return tuple(lobe.number for lobe in order)


def _round(one: FitLobe, other: FitLobe) -> float:
    """The angle between two lobes about the centre, rad, 0 to pi; rounded, so that equal ones don't differ by a hair."""
    apart = abs(one.bearing - other.bearing) % (2 * pi)
    return round(min(apart, 2 * pi - apart), 1)
