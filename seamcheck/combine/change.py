"""What changed between two inspections of one fit: what moved, what closed, and what only seems to have.

A change is told from the two photos' errors by its own uncertainty, for which three kinds of error differ (see `numbers`): what is one
unknown in both photos (the print, the veneer, the cards' thickness) acts on both with its sign, so that what it does to both alike leaves
the change untouched; what the models leave out mostly repeats; everything else is taken not to, so that a change is harder to claim.

Across its seam a lobe's motion is measured twice: by its tip, which the long edges make, and by its own seam. The edges err in their
shadow, the own seam in its glue line; what both share is the field seam. Wood doesn't move within a lobe, so both must say the same, and
their weighted mean is what is told; where they contradict each other by more than they are uncertain, nothing is claimed.

Of all that is looked at in a pair of photos nothing may be claimed wrongly anywhere more often than once in 100 pairs. Each question
gets its share of that by Sidak's rule: most goes to the points' places across their seams, which is what is asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array
from ..basis.uncertain import Estimate
from ..result import Inspection, Joint, Tip
from .match import match
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

    before: Estimate
    after: Estimate
    by: Estimate  # after less before, by all that tells of it
    is_real: bool  # more than the two photos' errors can make of nothing


@dataclass(frozen=True)
class TipChange:
    """One lobe's point, before and after. Numbers are the later photo's."""

    lobe: int
    before: Tip
    after: Tip
    across: Change | None  # seam offset, inches, positive clockwise; None where one photo doesn't have it
    along: Change | None  # reach, inches, positive outward
    contradicts: bool  # its tip has moved against its own seam, which wood can't

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
class Comparison:
    """Two inspections of one fit."""

    first: Inspection
    later: Inspection
    tips: tuple[TipChange, ...]  # in the later photo's order
    joints: tuple[JointChange, ...]
    gone: tuple[int, ...]  # lobes of the first photo, by its numbers, that the later doesn't show
    new: tuple[int, ...]  # lobes of the later photo that the first doesn't show
    number_before: Mapping[int, int]  # the first photo's number of each lobe of the later


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
    return Comparison(
        first,
        later,
        tuple(_tip_change(old, new, limits) for old, new in pairs),
        tuple(JointChange(new.lobes, old, new, _change(old.max_gap, new.max_gap, limits["gap"])) for old, new in joints),
        tuple(tip.lobe for tip in first.tips if tip.lobe not in now),
        tuple(tip.lobe for tip in later.tips if tip.lobe not in shown),
        was,
    )


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


def _tip_change(old: Tip, new: Tip, limits: Mapping[str, float]) -> TipChange:
    across = _change(old.seam_offset, new.seam_offset, limits["across"])
    contradicts = False
    if across is not None and old.own_end_offset is not None and new.own_end_offset is not None:
        by_own = difference(old.own_end_offset, new.own_end_offset)
        by, apart = _both_ways(across.by, by_own)
        contradicts = abs(apart.value) > limits["agree"] * apart.u
        across = Change(across.before, across.after, by, not contradicts and abs(by.value) > limits["across"] * by.u)
    return TipChange(new.lobe, old, new, across, _change(old.reach, new.reach, limits["along"], ()), contradicts)


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
        apart = float(np.hypot(was, now))
        parts[name] = float(np.hypot(NEW_OF_MODEL * apart, now - was)) if name in repeating else apart
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
