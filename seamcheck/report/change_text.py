"""Two inspections of one fit side by side, in plain words: what moved, what closed, and what only seems to have."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence
from math import pi

from ..advise.cautions import BY_EYE
from ..basis.language import say, say_count, to_say
from ..basis.uncertain import Estimate
from ..basis.units import lengths
from ..combine.change import WRONGLY_CLAIMED, Change, Comparison, TipChange
from ..result import Inspection, Verdict
from .text import MARKS, WIDTH
from .words import STAGE_WORDS, VERDICT_WORDS, clock_of, decimals, joint_words, list_words, u95_decimals

TIP_VERDICTS = (Verdict.ON, Verdict.OFF, Verdict.UNSURE, Verdict.UNMEASURED)
JOINT_VERDICTS = (Verdict.CLOSED, Verdict.OPEN, Verdict.UNSURE, Verdict.UNMEASURED)
# Where the verdict's own word says too little.
SAID = {**VERDICT_WORDS, Verdict.UNSURE: to_say("too close to call")}


def change_lines(found: Comparison, first_name: str, later_name: str) -> list[str]:
    """The whole comparison, at most WIDTH wide. The names are what the two inspections are called."""
    lines = _wrapped(_opening(found, first_name, later_name))
    lines += ["", *_table(found)]
    lines.append("")
    told = [*_rings(found), *_moved(found), *_joints(found), *_wood(found), *_contradictions(found)]
    for sentence in told or [say("Nothing is seen to have moved, and no joint to have closed or opened.")]:
        lines += _wrapped(sentence, 2)
    for sentence in (*_rest(found, first_name, later_name), _closing(found)):
        lines += _wrapped(sentence)
    return [*lines, *_wrapped(say(BY_EYE))]


def _wrapped(words: str, indent: int = 0) -> list[str]:
    return textwrap.wrap(words, WIDTH, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False)


def _opening(found: Comparison, first_name: str, later_name: str) -> str:
    other = [(now, was) for now, was in sorted(found.number_before.items()) if now != was]
    numbers = say("Lobes have the same numbers in both.")
    if other:
        few = ", ".join(say("{now} was {before}", now=now, before=was) for now, was in other[:3]) + (", ..." if len(other) > 3 else "")
        numbers = say("Lobes are numbered as in {later} ({few}).", later=later_name, few=few)
    stage = say("{later} after {first}: {stage}.", later=later_name, first=first_name, stage=say(STAGE_WORDS[found.later.stage]))
    rule = say(
        "What is marked * has moved by more than the two photos' errors can make of nothing; in {count} pairs of photos one such claim may "
        "be wrong. A move is told by point and own seam together, so it may differ a little from what the two offsets leave.",
        count=round(1 / WRONGLY_CLAIMED),
    )
    against = say("It is told against everything that lies still: the field's seams, the other lobes, and cards that nobody touched.")
    if found.by_seams_alone:
        against = say(
            "Each lobe is held against its own field seam alone, since one of the results was made of several photos or by an earlier "
            "version, or too little lies still: with one photo each, measured again, smaller moves can be told."
        )
    return f"{stage} {numbers} {rule} {against}"


def _table(found: Comparison) -> Iterator[str]:
    heads = say("lobe"), say("clock"), say("before"), say("now"), say("moved across its seam"), say("verdict")
    yield f"  {heads[0]:4} {heads[1]:>10}  {heads[2]:>10} {heads[3]:>10}  {heads[4]:22}  {heads[5]}"
    first = found.later.tips[0].bearing if found.later.tips else 0.0
    for one in sorted(found.tips, key=lambda one: ((one.after.bearing - first + 1e-6) % (2 * pi), one.lobe)):
        yield _row(one)


def _row(one: TipChange) -> str:
    moved = ""
    if one.across is not None:
        by = one.across.by
        hand = _hand(by.value) if one.across.is_real or abs(by.value) > by.u95 else ""  # else it may have gone either way, or not at all
        star = "*" if one.across.is_real else ""
        moved = " ".join(part for part in (decimals(by.value), f"±{u95_decimals(by.u95)}", hand, star) if part)
    before, now = one.before.verdict or Verdict.UNMEASURED, one.after.verdict or Verdict.UNMEASURED
    verdict = say(VERDICT_WORDS[now])
    if before is not now:
        verdict = say("{now}, was {before}", now=verdict, before=say(VERDICT_WORDS[before]))
    offsets = f"{_offset(one.before.seam_offset):>10} {_offset(one.after.seam_offset):>10}"
    return f"  {one.lobe:>4} {clock_of(one.after.bearing):>10}  {offsets}  {moved:22}  {MARKS[now]} {verdict}"


def _offset(offset: Estimate | None) -> str:
    return "" if offset is None else f"{decimals(offset.value)} {_hand(offset.value)}"


def _hand(value: float) -> str:
    return "" if value == 0 else say("cw") if value > 0 else say("ccw")


def _length(inches: float) -> str:
    """ ".010 in", "0.25 mm"."""
    return f"{decimals(inches, 3)} {lengths().symbol}"


def _rings(found: Comparison) -> Iterator[str]:
    """What moved all together against the field."""
    for ring in found.rings:
        parts = []
        if ring.turn is not None:
            by = _length(ring.turn.by.value)
            clockwise = ring.turn.by.value > 0
            parts.append(
                say("turned clockwise by {length} at the points", length=by)
                if clockwise
                else say("turned counterclockwise by {length} at the points", length=by)
            )
        if ring.shift is not None:
            parts.append(say("shifted by {length} toward {clock}", length=_length(ring.shift.by.value), clock=clock_of(ring.toward)))
        how = list_words(parts) if parts else say("moved")
        if len(ring.lobes) == len(found.tips):
            yield say("The whole rose has {moved} against the field's seams.", moved=how)
        else:
            yield say("Lobes {lobes} together have {moved} against the field's seams.", lobes=_numbers(ring.lobes), moved=how)


def _moved(found: Comparison) -> Iterator[str]:
    """What moved by itself, the farthest first."""
    for one in sorted((one for one in found.tips if one.moved and not one.with_ring), key=lambda one: -_farthest(one)):
        parts = []
        if one.across is not None and one.across.is_real:
            parts.append(_across(one.across))
        if one.along is not None and one.along.is_real:
            by = _length(one.along.by.value)
            out = one.along.by.value > 0
            parts.append(say("{length} away from the centre", length=by) if out else say("{length} toward the centre", length=by))
        verdict = _verdict_words(one.before.verdict, one.after.verdict)
        yield say("Lobe {lobe}'s point has come {moves}, {verdict}.", lobe=one.lobe, moves=list_words(parts), verdict=verdict)


def _across(change: Change) -> str:
    by = _length(change.by.value)
    way = say("{length} clockwise", length=by) if change.by.value > 0 else say("{length} counterclockwise", length=by)
    if change.before is None or change.after is None:
        return way
    nearer = abs(change.after.value) < abs(change.before.value)
    return say("{move} (nearer to its seam)", move=way) if nearer else say("{move} (farther from its seam)", move=way)


def _farthest(one: TipChange) -> float:
    return max(abs(change.by.value) for change in (one.across, one.along) if change is not None and change.is_real)


def _verdict_words(before: Verdict | None, now: Verdict | None) -> str:
    said = say(SAID[now or Verdict.UNMEASURED])
    return say("still {verdict}", verdict=said) if before is now else say("now {verdict}", verdict=said)


def _joints(found: Comparison) -> Iterator[str]:
    real = [(one, one.gap) for one in found.joints if one.gap is not None and one.gap.is_real]
    for one, gap in sorted(real, key=lambda pair: -abs(pair[1].by.value)):
        words = {
            "joint": joint_words(one.after),
            "length": _length(gap.by.value),
            "before": decimals(max(gap.before.value if gap.before else 0.0, 0.0), 3),
            "now": decimals(max(gap.after.value if gap.after else 0.0, 0.0), 3),
            "verdict": _verdict_words(one.before.verdict, one.after.verdict),
        }
        if gap.by.value < 0:
            yield say("The joint of {joint} has closed by {length}, from {before} to {now} at its widest, {verdict}.", **words)
        else:
            yield say("The joint of {joint} has opened by {length}, from {before} to {now} at its widest, {verdict}.", **words)


def _wood(found: Comparison) -> Iterator[str]:
    over = [one.lobe for one in found.tips if one.turned_over]
    if over:
        yield say_count(
            "Lobe {lobes} has the dark half on the other hand now: turned over, or another piece.",
            "Lobes {lobes} have the dark half on the other hand now: turned over, or other pieces.",
            len(over),
            lobes=_numbers(over),
        )
    if found.new:
        yield say_count("Lobe {lobes} is there only now.", "Lobes {lobes} are there only now.", len(found.new), lobes=_numbers(found.new))
    if found.gone:
        yield say_count(
            "Lobe {lobes}, as the earlier photo numbers it, is not there now.",
            "Lobes {lobes}, as the earlier photo numbers them, are not there now.",
            len(found.gone),
            lobes=_numbers(found.gone),
        )


def _numbers(lobes: Sequence[int]) -> str:
    return list_words([str(lobe) for lobe in sorted(lobes)])


def _contradictions(found: Comparison) -> Iterator[str]:
    odd = [one.lobe for one in found.tips if one.contradicts]
    if odd:
        yield say_count(
            "The point of lobe {lobes} has moved against its own seam, which wood can't: it was planed or chipped there, it's another "
            "piece, or one photo misleads. So nothing is claimed of it.",
            "The points of lobes {lobes} have moved against their own seams, which wood can't: they were planed or chipped there, they are "
            "other pieces, or one photo misleads. So nothing is claimed of them.",
            len(odd),
            lobes=_numbers(odd),
        )


def _rest(found: Comparison, first_name: str, later_name: str) -> Iterator[str]:
    """What hasn't moved, how far it could have without being seen, and what can't be told."""
    still = [one.across for one in found.tips if one.across is not None and not one.moved and not one.contradicts]
    if still:
        hidden = f"{u95_decimals(max(abs(change.by.value) + change.by.u95 for change in still), 3)} {lengths().symbol}"
        yield say_count(
            "{count} point has not moved across its seam as far as can be told: it can't have by more than {length}.",
            "{count} points have not moved across their seams as far as can be told: none of them can have by more than {length}.",
            len(still),
            length=hidden,
        )
    lost: dict[str, list[int]] = {}
    for one in (one for one in found.tips if one.across is None):
        missing = [name for name, tip in ((first_name, one.before), (later_name, one.after)) if tip.seam_offset is None]
        if missing:
            lost.setdefault(say("both") if len(missing) == 2 else missing[0], []).append(one.lobe)
    for where, lobes in lost.items():
        yield say_count(
            "Lobe {lobes} can't be compared: unmeasured in {where}.",
            "Lobes {lobes} can't be compared: unmeasured in {where}.",
            len(lobes),
            lobes=_numbers(lobes),
            where=where,
        )


def _closing(found: Comparison) -> str:
    tips = _counts(found.later, TIP_VERDICTS), _counts(found.first, TIP_VERDICTS)
    words = say("Points now: {now} (before: {before}).", now=tips[0], before=tips[1])
    if not found.later.joints:
        return words
    joints = _counts(found.later, JOINT_VERDICTS), _counts(found.first, JOINT_VERDICTS)
    return f"{words} {say('Joints now: {now} (before: {before}).', now=joints[0], before=joints[1])}"


def _counts(inspection: Inspection, verdicts: Sequence[Verdict]) -> str:
    them = inspection.tips if verdicts is TIP_VERDICTS else inspection.joints
    counted = Counter(one.verdict for one in them)
    return ", ".join(f"{counted[verdict]} {say(VERDICT_WORDS[verdict])}" for verdict in verdicts if counted[verdict]) or say("none")
