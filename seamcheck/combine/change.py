"""What changed between two inspections of one fit: what moved, what closed, and what only seems to have.

A change is told from the two photos' errors by its own uncertainty, for which three kinds of error differ (see `numbers`): what is one
unknown in both photos (the print, the veneer, the cards' thickness) acts on both with its sign, so that what it does to both alike leaves
the change untouched; what the models leave out mostly repeats; everything else is taken not to, so that a change is harder to claim.

Across its seam a lobe's motion is measured twice: by its tip, which the long edges make, and by its own seam. The edges err in their
shadow, the own seam in its glue line. Wood doesn't move within a lobe, so both must say the same; where they contradict each other by
more than they are uncertain, nothing is claimed. What they have moved against is all that lies still, the field's seams and the other
lobes (`laid_over`, `moved`); where a result file doesn't hold what that wants, the lobe's field seam alone.

Of all that is looked at in a pair of photos nothing may be claimed wrongly anywhere more often than once in 100 pairs. Each question
gets its share of that by Sidak's rule: most goes to the points' places across their seams, which is what is asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, bearing_of
from ..basis.uncertain import Estimate
from ..result import Inspection, Joint, Scale, Tip
from .laid_over import Laid, differences
from .match import match
from .moved import Moved, RingMoved, find_moved
from .numbers import shared_shifts, source_names

# Anything at all is wrongly claimed once in so many pairs of photos, and so much of that goes to each kind of question.
WRONGLY_CLAIMED = 1 / 100
ACROSS, ALONG, GAPS, AGREE = 0.7, 0.1, 0.1, 0.1
# What a model leaves out (a shadow's pull, a glue line's width) pulls the same lobe the same way in both photos, but for
# the difference in its size and for so much of it (standard uncertainty, relative): a lamp or a person may have moved. In rendered pairs in
# one light under .3 of it is new (`tests/benchmarks/compare_study.py`).
NEW_OF_MODEL = 0.5
REPEATING = ("edges model", "own seam model")  # a field seam's doesn't: seen from another side it is followed along another streak
# What the tip's and the own seam's own lines are called in a budget: independent of each other.
EDGES, OWN_SEAM = ("edges", "edges model"), ("own seam", "own seam model")


@dataclass(frozen=True)
class Change:
    """One number, before and after."""

    before: Estimate | None  # None where its field seam isn't measured there: the lobe was held against the rest
    after: Estimate | None
    by: Estimate  # after less before, by all that tells of it
    is_real: bool  # more than the two photos' errors can make of nothing


@dataclass(frozen=True)
class TipChange:
    """One lobe's point, before and after. Numbers are the later photo's."""

    lobe: int
    before: Tip
    after: Tip
    across: Change | None  # seam offset, inches, positive clockwise; None where it can't be told
    along: Change | None  # reach, inches, positive outward
    contradicts: bool  # its tip has moved against its own seam, which wood can't
    with_ring: bool = False  # it has moved, but only as its whole ring has

    @property
    def turned_over(self) -> bool:
        """Whether its dark half now lies on the other hand."""
        return None not in (self.before.dark_side, self.after.dark_side) and self.before.dark_side != self.after.dark_side

    @property
    def moved(self) -> bool:
        return any(change is not None and change.is_real for change in (self.across, self.along))


@dataclass(frozen=True)
class JointChange:
    """One joint, before and after; its lobes by the later photo's numbers."""

    lobes: tuple[int | None, int | None]
    before: Joint
    after: Joint
    gap: Change | None  # widest gap, inches


@dataclass(frozen=True)
class RingChange:
    """Lobes that moved all together against the field: a ring, or the whole rose, laid anew."""

    lobes: tuple[int, ...]  # by the later photo's numbers
    turn: Change | None  # inches at their points, positive clockwise; None where it isn't surely turned
    shift: Change | None  # inches; None where it isn't surely shifted
    toward: float  # rad, clockwise from the later photo's up: where it was shifted to


@dataclass(frozen=True)
class Comparison:
    """Two inspections of one fit."""

    first: Inspection
    later: Inspection
    tips: tuple[TipChange, ...]  # in the later photo's order
    joints: tuple[JointChange, ...]
    gone: tuple[int, ...]  # lobes of the first photo, by its numbers, that the later doesn't show
    new: tuple[int, ...]  # lobes of the later photo that the first doesn't show
    number_before: Mapping[int, int]  # the first photo's number of each lobe of the later
    rings: tuple[RingChange, ...] = ()
    by_seams_alone: bool = False  # each lobe was held against its own field seam only: nothing else could be


def compare(first: Inspection, later: Inspection) -> Comparison:
    """Compare two inspections of one fit, whichever way the phone was held.

    Raises NotOneFit or WhichPointIsWhich where they can't be laid on each other.
    """
    now = match(later, first)  # the later photo's number of each of the first's lobes
    before = {tip.lobe: tip for tip in first.tips}
    was = {number: lobe for lobe, number in now.items()}
    pairs = [(before[was[tip.lobe]], tip) for tip in later.tips if tip.lobe in was]
    joints = _joint_pairs(first, later, now)
    limits = _limits(pairs, joints)
    shown = set(was)
    odd = frozenset(k for k, (old, new) in enumerate(pairs) if _contradicts(old, new, limits["agree"]))
    found = _moved(pairs, (first.scale, later.scale), odd)
    return Comparison(
        first,
        later,
        tuple(_tip_change(k, old, new, limits, k in odd, found) for k, (old, new) in enumerate(pairs)),
        tuple(JointChange(new.lobes, old, new, _change(old.max_gap, new.max_gap, limits["gap"])) for old, new in joints),
        tuple(tip.lobe for tip in first.tips if tip.lobe not in now),
        tuple(tip.lobe for tip in later.tips if tip.lobe not in shown),
        was,
        () if found is None else tuple(_ring_change(ring, pairs, limits["across"]) for ring in found.rings),
        found is None,
    )


def _moved(pairs: list[tuple[Tip, Tip]], scales: tuple[Scale, Scale], odd: frozenset[int]) -> Moved | None:
    """What moved against all that lies still; None where too little is known of that."""
    seen = differences(pairs, scales, left_of)
    if seen is None:
        return None
    return find_moved(Laid(seen), {k: new.ring for k, (_, new) in enumerate(pairs)}, odd, WRONGLY_CLAIMED * ACROSS)


def _ring_change(ring: RingMoved, pairs: list[tuple[Tip, Tip]], limit: float) -> RingChange:
    """In words' terms: how far its points have turned, and where it has been shifted to as the later photo shows it."""
    own = [(was.at_in, was.bearing, pairs[k][1].bearing) for k in ring.lobes if (was := pairs[k][0].place) is not None]
    places = np.array([place for place, _, _ in own])
    reach = float(np.mean(np.hypot(*(places - places.mean(axis=0)).T)))
    turn = Estimate(ring.turn.value * reach, {source: part * reach for source, part in ring.turn.parts.items()})
    x, y = ring.shift
    far = float(np.hypot(x.value, y.value))
    shift = Estimate(far, x.parts if x.u > y.u else y.parts)
    # The first photo's plane, from the later photo's up: as any lobe's axis lies in both.
    aside = np.array([now - was for _, was, now in own])
    up = float(np.arctan2(np.sin(aside).mean(), np.cos(aside).mean()))
    turned, shifted = (Change(None, None, one, True) if abs(one.value) > limit * one.u else None for one in (turn, shift))
    return RingChange(tuple(pairs[k][1].lobe for k in ring.lobes), turned, shifted, float(bearing_of(np.array([x.value, y.value]))) + up)


def left_of(source: str, was: float, now: float) -> float:
    """Of a source's standard uncertainties in two photos, what is left in the difference."""
    apart = float(np.hypot(was, now))
    return float(np.hypot(NEW_OF_MODEL * apart, now - was)) if source in REPEATING else apart


def _joint_pairs(first: Inspection, later: Inspection, now: Mapping[int, int]) -> list[tuple[Joint, Joint]]:
    """The first photo's joint, and the later's between the same edges."""
    old = {}
    for joint in first.joints:
        if all(lobe is None or lobe in now for lobe in joint.lobes):
            left, right = (None if lobe is None else now[lobe] for lobe in joint.lobes)
            old[left, right] = joint
    return [(old[joint.lobes], joint) for joint in later.joints if joint.lobes in old]


def _limits(tips: list[tuple[Tip, Tip]], joints: list[tuple[Joint, Joint]]) -> dict[str, float]:
    """How many standard uncertainties a change of each kind must exceed to be claimed."""
    from scipy.stats import norm

    counts = {
        "across": (ACROSS, [(old.seam_offset, new.seam_offset) for old, new in tips]),
        "along": (ALONG, [(old.reach, new.reach) for old, new in tips]),
        "gap": (GAPS, [(old.max_gap, new.max_gap) for old, new in joints]),
        "agree": (AGREE, [(old.own_end_offset, new.own_end_offset) for old, new in tips]),
    }
    limits = {}
    for name, (share, values) in counts.items():
        tests = max(sum(old is not None and new is not None for old, new in values), 1)
        limits[name] = float(norm.isf((1 - (1 - WRONGLY_CLAIMED * share) ** (1 / tests)) / 2))
    return limits


def _contradicts(old: Tip, new: Tip, limit: float) -> bool:
    """Whether a lobe's point has moved against its own seam."""
    if old.own_seam_offset is None or new.own_seam_offset is None:
        return False
    if old.seam_offset is None or new.seam_offset is None or old.own_end_offset is None or new.own_end_offset is None:
        apart = difference(old.own_seam_offset, new.own_seam_offset)
    else:
        _, apart = _both_ways(difference(old.seam_offset, new.seam_offset), difference(old.own_end_offset, new.own_end_offset))
    return abs(apart.value) > limit * apart.u


def _tip_change(k: int, old: Tip, new: Tip, limits: Mapping[str, float], contradicts: bool, found: Moved | None) -> TipChange:
    across = None
    if found is not None and k in found.by:
        across = Change(old.seam_offset, new.seam_offset, found.by[k], k in found.real)
    elif old.seam_offset is not None and new.seam_offset is not None:
        by = difference(old.seam_offset, new.seam_offset)
        if old.own_end_offset is not None and new.own_end_offset is not None:
            by, _ = _both_ways(by, difference(old.own_end_offset, new.own_end_offset))
        across = Change(old.seam_offset, new.seam_offset, by, not contradicts and abs(by.value) > limits["across"] * by.u)
    with_ring = found is not None and k in found.real - found.alone
    return TipChange(new.lobe, old, new, across, _change(old.reach, new.reach, limits["along"], ()), contradicts, with_ring)


def _change(old: Estimate | None, new: Estimate | None, limit: float, repeating: tuple[str, ...] = REPEATING) -> Change | None:
    if old is None or new is None:
        return None
    by = difference(old, new, repeating)
    return Change(old, new, by, abs(by.value) > limit * by.u)


def difference(old: Estimate, new: Estimate, repeating: tuple[str, ...] = REPEATING) -> Estimate:
    """New less old. What is one unknown in both acts on both with its sign, what a model leaves out mostly repeats, the rest doesn't.

    Along a lobe nothing is taken to repeat: a long edge that is followed otherwise moves the point in or out four times as far as
    aside, and no own seam is there to gainsay it.
    """
    parts: dict[str, float] = {}
    shifts: dict[str, tuple[float, ...]] = {}
    for name in source_names([old, new]):
        signed = shared_shifts([old, new], name)
        if signed is not None:
            moved = signed[1] - signed[0]
            parts[name], shifts[name] = float(np.sqrt(moved @ moved)), tuple(float(move) for move in moved)
            continue
        was, now = old.parts.get(name, 0.0), new.parts.get(name, 0.0)
        parts[name] = left_of(name, was, now) if name in repeating else float(np.hypot(was, now))
    return Estimate(new.value - old.value, parts, shifts)


def _both_ways(by_tip: Estimate, by_own: Estimate) -> tuple[Estimate, Estimate]:
    """The weighted mean of one motion measured by tip and by own seam, and how far they differ.

    Their own lines' errors are independent; of what has one name in both (the field seam, the camera) it's taken for the mean that
    they err together, which makes it no surer than it is with any weights from 0 to 1.
    """
    names = source_names([by_tip, by_own])
    tip, own = (_columns(one, names) for one in (by_tip, by_own))
    common = sum(float(a @ b) for name, (a, b) in zip(names, zip(tip, own, strict=True), strict=True) if name not in (*EDGES, *OWN_SEAM))
    var_tip, var_own = (sum(float(column @ column) for column in one) for one in (tip, own))
    spread = var_tip + var_own - 2 * common
    weight = float(np.clip((var_own - common) / spread, 0, 1)) if spread > 0 else 0.5
    parts: dict[str, float] = {}
    for name, a, b in zip(names, tip, own, strict=True):
        if name in (*EDGES, *OWN_SEAM):
            parts[name] = float(np.hypot(weight * np.hypot(*a), (1 - weight) * np.hypot(*b)))
        else:
            parts[name] = float(np.linalg.norm(weight * a + (1 - weight) * b))
    mean = Estimate(weight * by_tip.value + (1 - weight) * by_own.value, parts)
    # They err together in part at least, so a difference this large says more than this u admits.
    own_lines = {name: float(np.sqrt(a @ a + b @ b)) for name, a, b in zip(names, tip, own, strict=True) if name in (*EDGES, *OWN_SEAM)}
    rest = {name: float(np.linalg.norm(a - b)) for name, a, b in zip(names, tip, own, strict=True) if name not in own_lines}
    return mean, Estimate(by_tip.value - by_own.value, {**own_lines, **rest})


def _columns(estimate: Estimate, names: list[str]) -> list[Array]:
    """Each source's effects as a vector, with signs where they are known; padded to two."""
    columns = []
    for name in names:
        known = estimate.shifts.get(name) or (estimate.parts.get(name, 0.0),)
        columns.append(np.array([*known, *[0.0] * (2 - len(known))], float))
    return columns
