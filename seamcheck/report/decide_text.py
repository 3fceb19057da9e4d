"""The page that stands between a dry fit and the knife, in plain words."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from ..advise.cautions import KNIFE_IN, MAKERS_FIRST
from ..advise.fit import Fit
from ..advise.go_no_go import Call, Decision, JointCall, Mark, TipCall
from ..basis.language import say, say_count, to_say
from ..basis.units import lengths
from ..result import Verdict
from .plan_text import lobes_words
from .text import WIDTH
from .words import capital, clock_of, decimals, divided_words, left_open_words, length_words, limit_words, list_words, lower, u95_decimals

FIRST_WORDS = "Go or no go, before knifing in: "  # how a page is known as ours
SAID = {Call.GO: to_say("GO"), Call.NOT_YET: to_say("NOT YET"), Call.CANT_TELL: to_say("CAN'T TELL")}
PAPER_IN = 0.004  # a sheet of printer paper (common practice, no source)
STROKES = {1: to_say("one stroke"), 2: to_say("two strokes"), 3: to_say("three strokes")}


def is_page(data: bytes) -> bool:
    """Whether a file's bytes are such a page."""
    return data.startswith(FIRST_WORDS.encode())


def page_bytes(lines: list[str]) -> bytes:
    """The page as a text file."""
    return ("\n".join(lines) + "\n").encode()


def decide_lines(fit: Fit, decision: Decision, file: str) -> list[str]:
    """The whole page, at most WIDTH wide. file: the result's name, for what to run next."""
    lines = [*_wrapped(f"{FIRST_WORDS}{fit.name}."), "", *_wrapped(f"{say(SAID[decision.call])}: {lower(why_words(fit, decision))}"), ""]
    lines.append(say("Points, going round. A point may lie {limit} off its seam.", limit=limit_words(fit.tolerance_in)))
    for tip in decision.tips:
        lines += _row(say("{clock}, lobe {lobe}", clock=clock_of(tip.lobe.bearing), lobe=tip.lobe.number), tip.call, _tip_why(tip))
    lines += ["", say("Joints. One may open {limit}.", limit=limit_words(fit.gap_tolerance_in))]
    for joint in decision.joints:
        lines += _row(
            say("lobes {first} and {second}", first=joint.joint.lobes[0], second=joint.joint.lobes[1]), joint.call, _joint_why(joint)
        )
    if decision.left_open:
        lines += ["", *_wrapped(left_open_words(decision.left_open))]
    for sentence in on_record(decision):
        lines += ["", *_wrapped(sentence)]
    if decision.call is Call.GO:
        lines += ["", *_marks(decision), "", *_knife(decision)]
    else:
        lines += ["", *_wrapped(_next(fit, decision, file))]
    return [*lines, "", *_wrapped(f"{say(KNIFE_IN)} {say(MAKERS_FIRST)}")]


def _wrapped(words: str, indent: int = 0, start: int = 0) -> list[str]:
    return textwrap.wrap(
        words, WIDTH, initial_indent=" " * start, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False
    )


def _row(name: str, call: Call, why: str) -> list[str]:
    return _wrapped(f"  {name:20} {say(SAID[call]):10}  {why}", 35)


def why_words(fit: Fit, decision: Decision) -> str:
    """Why the call is what it is: "2 points and 1 joint are not as they should be."."""
    if decision.call is Call.GO:
        eye = sum(tip.by_eye for tip in decision.tips) + sum(joint.by_eye for joint in decision.joints)
        checked = say(", {count} of them on your word", count=eye) if eye else ""
        return say(
            "All {points} points and {joints} joints are well{checked}. The cut can't be undone.",
            points=len(decision.tips),
            joints=len(decision.joints),
            checked=checked,
        )
    if decision.odd_lobes:
        return say_count(
            "{lobes} lies the wrong way round, the dark half on the other hand from the rest.",
            "{lobes} lie the wrong way round, the dark half on the other hand from the rest.",
            len(decision.odd_lobes),
            lobes=capital(lobes_words(decision.odd_lobes)),
        )
    if fit.divided:
        return divided_words()
    if not fit.lobes:
        return say("No point was found, so nothing is known of this rose.")
    if not fit.joints:
        return say("No joint was found, so nothing is known of this rose.")
    points = sum(one.call is decision.call for one in decision.tips)
    joints = sum(one.call is decision.call for one in decision.joints)
    counts = [say_count("{count} point", "{count} points", points), say_count("{count} joint", "{count} joints", joints)]
    which = [words for words, number in zip(counts, (points, joints), strict=True) if number]
    if not which and decision.left_open:
        return left_open_words(decision.left_open)
    if not which:
        return say("The photos disagree. {how}", how=" ".join(decision.disagreements))
    if decision.call is Call.NOT_YET:
        return say_count("{which} is not as it should be.", "{which} are not as they should be.", points + joints, which=list_words(which))
    return say_count("{which} is not known well enough.", "{which} are not known well enough.", points + joints, which=list_words(which))


def _tip_why(tip: TipCall) -> str:
    lobe = tip.lobe
    checked = say("you have checked it by eye")
    if lobe.offset_in is None or lobe.u95_in is None:
        hidden = say("unmeasured: {why}", why=lobe.reason.sentence) if lobe.reason else say("unmeasured")
        remedy = lobe.reason.remedy if lobe.reason else say("lay a straightedge")
        return f"{hidden}; {checked if tip.by_eye else remedy}"
    measured = f"{decimals(lobe.offset_in)} ±{u95_decimals(lobe.u95_in)}"
    if lobe.verdict is Verdict.ON:
        return say("{measured}: on its seam", measured=measured)
    if lobe.verdict is Verdict.OFF:
        by = length_words(lobe.offset_in)
        if lobe.offset_in > 0:
            return say("{measured}: {by} off, clockwise", measured=measured, by=by)
        return say("{measured}: {by} off, counterclockwise", measured=measured, by=by)
    return say("{measured}: unsure; {remedy}", measured=measured, remedy=checked if tip.by_eye else say("lay a straightedge"))


def _joint_why(joint: JointCall) -> str:
    one = joint.joint
    checked = say("you have checked it")
    if one.max_in is None or one.u95_in is None:
        hidden = say("unmeasured: {why}", why=one.reason.sentence) if one.reason else say("unmeasured")
        remedy = one.reason.remedy if one.reason else say("try a strip of paper")
        return f"{hidden}; {checked if joint.by_eye else remedy}"
    measured = f"{decimals(max(one.max_in, 0.0))} ±{u95_decimals(one.u95_in)}"
    if one.verdict is Verdict.CLOSED:
        return say("{measured}: closed", measured=measured)
    if one.verdict is Verdict.OPEN:
        return say("{measured}: it gapes", measured=measured)
    return say("{measured}: unsure; {remedy}", measured=measured, remedy=checked if joint.by_eye else say("try a strip of paper"))


def on_record(decision: Decision) -> Iterator[str]:
    """What the record rests on beside the photo."""
    tips = [one.lobe.number for one in decision.tips if one.by_eye]
    joints = [f"{one.joint.lobes[0]}-{one.joint.lobes[1]}" for one in decision.joints if one.by_eye]
    if not tips and not joints:
        return
    parts = []
    if tips:
        parts.append(say_count("the point of {lobes}", "the points of {lobes}", len(tips), lobes=lobes_words(tips)))
    if joints:
        parts.append(say_count("joint {joints}", "joints {joints}", len(joints), joints=list_words(joints)))
    yield say_count(
        "On record: {which} was not settled by the photo, but checked by the person.",
        "On record: {which} were not settled by the photo, but checked by the person.",
        len(tips) + len(joints),
        which=list_words(parts),
    )


def _next(fit: Fit, decision: Decision, file: str) -> str:
    later = say("Register marks and the order of cuts come with a go.")
    if decision.call is Call.NOT_YET and (decision.odd_lobes or fit.divided):
        return f"{say('Next: put that right, and take a new photo; what to ease and what to move is planned from that.')} {later}"
    if decision.call is Call.NOT_YET:
        plan = say(
            "Next: `seamcheck plan {file}` says what to ease and what to move; then take a new photo. No word overrides what the photo "
            "shows to be off or open.",
            file=file,
        )
        return f"{plan} {later}"
    tips = [str(one.lobe.number) for one in decision.tips if one.call is Call.CANT_TELL]
    pairs = [one.joint.lobes for one in decision.joints if one.call is Call.CANT_TELL] + list(decision.left_open)
    joints = ["-".join(str(number) for number in pair) for pair in pairs]
    options = (f" --checked-tips {','.join(tips)}" if tips else "") + (f" --checked-joints {','.join(joints)}" if joints else "")
    if not options:
        return f"{say('Next: take a new photo without touching anything in between.')} {later}"
    command = f"seamcheck decide {file}{options}"
    check = say(
        "Next: do what stands beside each, and take a new photo. Or check each with a straightedge and a strip of printer paper "
        "({paper}), and if all are well, say so: `{command}`.",
        paper=lengths().limit(PAPER_IN),
        command=command,
    )
    return f"{check} {later}"


def _marks(decision: Decision) -> Iterator[str]:
    yield say("Marks, so that the rose goes back the same way (common practice):")
    yield from _item(
        say("On tape, never on bare wood. Number every lobe; draw an arrow to 12 o'clock on the rose, and another beside it on the field.")
    )
    for mark in decision.marks:
        yield from _item(mark_words(mark))
    yield from _item(say("Keep a photo of it all with this page. Back in its recess, every stroke must run on unbroken."))


def mark_words(mark: Mark) -> str:
    """Where to put one lobe's register mark."""
    return say(
        "Lobe {lobe}: {strokes} across its right long edge (as seen from the root), {an_inch} from the point, from rose to field.",
        lobe=mark.lobe,
        strokes=say(STROKES[mark.strokes]),
        an_inch=lengths().about_an_inch(),
    )


def _knife(decision: Decision) -> Iterator[str]:
    order = ", ".join(str(number) for number in decision.knife_order)
    yield say("Knife (common practice):")
    yield from _item(
        say(
            "Go across the rose, not from neighbour to neighbour: lobes {order}. Lift only the tape over the edges of the lobe in hand; "
            "the rest stays taped. Tape it again across its cut before you go on.",
            order=order,
        )
    )
    yield from _item(
        say(
            "First all round with the weight of the knife alone, then again, deeper, in the same order, till you are through the veneer. "
            "The flat of the blade tight against the lobe's edge."
        )
    )
    yield from _item(
        say(
            "Begin every stroke at the point and draw it toward the notch, so that none runs past a point into the field that stays. "
            "Where the grain would lead the blade away, shorter and lighter strokes."
        )
    )
    yield from _item(say("When all is cut, lift the rose as one piece, taped, and lay it face down on a flat board."))


def _item(words: str) -> list[str]:
    return _wrapped(f"- {words}", 4, 2)
