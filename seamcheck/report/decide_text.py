"""The page that stands between a dry fit and the knife, in plain words."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from ..advise.cautions import KNIFE_IN, MAKERS_FIRST
from ..advise.fit import Fit
from ..advise.go_no_go import Call, Decision, JointCall, TipCall
from ..basis.language import say
from ..basis.units import lengths
from ..result import Verdict
from .plan_text import lobes_words
from .text import WIDTH
from .words import clock_of, count_words, decimals, length_words, limit_words, list_words, u95_decimals

FIRST_WORDS = "Go or no go, before knifing in: "  # how a page is known as ours
SAID = {Call.GO: "GO", Call.NOT_YET: "NOT YET", Call.CANT_TELL: "CAN'T TELL"}
PAPER_IN = 0.004  # a sheet of printer paper (common practice, no source)
STROKES = {1: "one stroke", 2: "two strokes", 3: "three strokes"}


def is_page(data: bytes) -> bool:
    """Whether a file's bytes are such a page."""
    return data.startswith(FIRST_WORDS.encode())


def page_bytes(lines: list[str]) -> bytes:
    """The page as a text file."""
    return ("\n".join(lines) + "\n").encode()


def decide_lines(fit: Fit, decision: Decision, file: str) -> list[str]:
    """The whole page, at most WIDTH wide. file: the result's name, for what to run next."""
    lines = [*_wrapped(f"{FIRST_WORDS}{fit.name}."), "", *_wrapped(_verdict(fit, decision)), ""]
    lines.append(f"Points, going round. A point may lie {limit_words(fit.tolerance_in)} off its seam.")
    for tip in decision.tips:
        lines += _row(f"{clock_of(tip.lobe.bearing)}, lobe {tip.lobe.number}", tip.call, _tip_why(tip))
    lines += ["", f"Joints. One may open {limit_words(fit.gap_tolerance_in)}."]
    for joint in decision.joints:
        lines += _row(f"lobes {joint.joint.lobes[0]} and {joint.joint.lobes[1]}", joint.call, _joint_why(joint))
    lines += _by_eye(decision)
    if decision.call is Call.GO:
        lines += ["", *_marks(decision), "", *_knife(decision)]
    else:
        lines += ["", *_wrapped(_next(decision, file))]
    return [*lines, "", *_wrapped(f"{say(KNIFE_IN)} {say(MAKERS_FIRST)}")]


def _wrapped(words: str, indent: int = 0, start: int = 0) -> list[str]:
    return textwrap.wrap(
        words, WIDTH, initial_indent=" " * start, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False
    )


def _row(name: str, call: Call, why: str) -> list[str]:
    return _wrapped(f"  {name:20} {SAID[call]:10}  {why}", 35)


def _verdict(fit: Fit, decision: Decision) -> str:
    said = SAID[decision.call]
    if decision.call is Call.GO:
        eye = sum(tip.by_eye for tip in decision.tips) + sum(joint.by_eye for joint in decision.joints)
        checked = f", {count_words(eye, 'of them', 'of them')} on your word" if eye else ""
        return f"{said}: all {len(decision.tips)} points and {len(decision.joints)} joints are well{checked}. The cut can't be undone."
    if decision.odd_lobes:
        lie = "lies" if len(decision.odd_lobes) == 1 else "lie"
        return f"{said}: {lobes_words(decision.odd_lobes)} {lie} the wrong way round, the dark half on the other hand from the rest."
    if not fit.lobes or not fit.joints:
        return f"{said}: no {'point' if not fit.lobes else 'joint'} was found, so nothing is known of this rose."
    counts = [
        (sum(one.call is decision.call for one in decision.tips), "point"),
        (sum(one.call is decision.call for one in decision.joints), "joint"),
    ]
    which = [count_words(number, one) for number, one in counts if number]
    if not which:
        return f"{said}: the photos disagree. {' '.join(decision.disagreements)}"
    wrong = "not as they should be" if decision.call is Call.NOT_YET else "not known well enough"
    total = sum(number for number, _ in counts)
    return f"{said}: {list_words(which)} {'is' if total == 1 else 'are'} {wrong if total > 1 else wrong.replace('they', 'it')}; see below."


def _tip_why(tip: TipCall) -> str:
    lobe = tip.lobe
    if lobe.offset_in is None or lobe.u95_in is None:
        hidden = f"unmeasured: {lobe.reason.sentence}" if lobe.reason else "unmeasured"
        remedy = lobe.reason.remedy if lobe.reason else "lay a straightedge"
        return f"{hidden}; {'you have checked it by eye' if tip.by_eye else remedy}"
    measured = f"{decimals(lobe.offset_in)} ±{u95_decimals(lobe.u95_in)}"
    if lobe.verdict is Verdict.ON:
        return f"{measured}: on its seam"
    if lobe.verdict is Verdict.OFF:
        return f"{measured}: {length_words(lobe.offset_in)} off, {'clockwise' if lobe.offset_in > 0 else 'counterclockwise'}"
    return f"{measured}: unsure; {'you have checked it by eye' if tip.by_eye else 'lay a straightedge'}"


def _joint_why(joint: JointCall) -> str:
    one = joint.joint
    if one.max_in is None or one.u95_in is None:
        hidden = f"unmeasured: {one.reason.sentence}" if one.reason else "unmeasured"
        remedy = one.reason.remedy if one.reason else "try a strip of paper"
        return f"{hidden}; {'you have checked it' if joint.by_eye else remedy}"
    measured = f"{decimals(max(one.max_in, 0.0))} ±{u95_decimals(one.u95_in)}"
    if one.verdict is Verdict.CLOSED:
        return f"{measured}: closed"
    if one.verdict is Verdict.OPEN:
        return f"{measured}: it gapes"
    return f"{measured}: unsure; {'you have checked it' if joint.by_eye else 'try a strip of paper'}"


def _by_eye(decision: Decision) -> Iterator[str]:
    """What the record rests on beside the photo."""
    tips = [one.lobe.number for one in decision.tips if one.by_eye]
    joints = [f"{one.joint.lobes[0]}-{one.joint.lobes[1]}" for one in decision.joints if one.by_eye]
    if not tips and not joints:
        return
    parts = []
    if tips:
        parts.append(f"the {'point' if len(tips) == 1 else 'points'} of {lobes_words(tips)}")
    if joints:
        parts.append(f"joint {joints[0]}" if len(joints) == 1 else f"joints {list_words(joints)}")
    was = "was" if len(tips) + len(joints) == 1 else "were"
    yield ""
    yield from _wrapped(f"On record: {' and '.join(parts)} {was} not settled by the photo, but checked by the person.")


def _next(decision: Decision, file: str) -> str:
    later = "Register marks and the order of cuts come with a go."
    if decision.call is Call.NOT_YET:
        return (
            f"Next: `seamcheck plan {file}` says what to ease and what to move; then take a new photo. No word overrides what the photo "
            f"shows to be off or open. {later}"
        )
    tips = [str(one.lobe.number) for one in decision.tips if one.call is Call.CANT_TELL]
    joints = ["-".join(str(number) for number in one.joint.lobes) for one in decision.joints if one.call is Call.CANT_TELL]
    options = (f" --checked-tips {','.join(tips)}" if tips else "") + (f" --checked-joints {','.join(joints)}" if joints else "")
    if not options:
        return f"Next: take a new photo without touching anything in between. {later}"
    return (
        "Next: do what stands beside each, and take a new photo. Or check each with a straightedge and a strip of printer paper "
        f"({lengths().limit(PAPER_IN)}), "
        f"and if all are well, say so: `seamcheck decide {file}{options}`. {later}"
    )


def _marks(decision: Decision) -> Iterator[str]:
    yield "Marks, so that the rose goes back the same way (common practice):"
    yield from _item(
        "On tape, never on bare wood. Number every lobe; draw an arrow to 12 o'clock on the rose, and another beside it on the field."
    )
    for mark in decision.marks:
        yield from _item(
            f"Lobe {mark.lobe}: {STROKES[mark.strokes]} across its right long edge (as seen from the root), "
            f"{lengths().about_an_inch()} from the point, from rose to field."
        )
    yield from _item("Keep a photo of it all with this page. Back in its recess, every stroke must run on unbroken.")


def _knife(decision: Decision) -> Iterator[str]:
    order = ", ".join(str(number) for number in decision.knife_order)
    yield "Knife (common practice):"
    yield from _item(
        f"Go across the rose, not from neighbour to neighbour: lobes {order}. Lift only the tape over the edges of the lobe in hand; the "
        "rest stays taped. Tape it again across its cut before you go on."
    )
    yield from _item(
        "First all round with the weight of the knife alone, then again, deeper, in the same order, till you are through the veneer. The "
        "flat of the blade tight against the lobe's edge."
    )
    yield from _item(
        "Begin every stroke at the point and draw it toward the notch, so that none runs past a point into the field that stays. Where the "
        "grain would lead the blade away, shorter and lighter strokes."
    )
    yield from _item("When all is cut, lift the rose as one piece, taped, and lay it face down on a flat board.")


def _item(words: str) -> list[str]:
    return _wrapped(f"- {words}", 4, 2)
