"""The fit plan in plain words: what to lift, in which order to lay it, what to ease, and what comes of it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from math import ceil

from ..advise.cautions import BY_EYE, MAKERS_FIRST, PLANE
from ..advise.fit import Fit
from ..advise.fit_plan import LEFT_OPEN_IN, Ease, JointAfter, Move, Plan, PlanSettings, TipAfter
from ..advise.plan_why import RootAngles, Trouble, Why, root_angles, troubles
from ..basis.language import say, say_count, to_say
from ..basis.units import lengths
from ..result import Verdict
from .text import MARKS, WIDTH
from .words import (
    VERDICT_WORDS,
    clock_of,
    decimals,
    divided_words,
    left_open_words,
    length_words,
    limit_words,
    list_words,
    lower,
    u95_decimals,
)

TOLD_MOVE_IN = 0.002  # a part of a motion under this isn't worth a word: about as well as a hand places a lobe


def plan_lines(fit: Fit, plan: Plan, settings: PlanSettings) -> list[str]:
    """The whole plan, from the first line to the cautions, at most WIDTH wide."""
    lines = [*_wrapped(_opening(fit, settings)), ""]
    for sentence in first_of_all(fit):
        lines += [*_wrapped(sentence, 6), ""]
    lines += _steps(fit, plan, settings)
    if plan.waits:
        return [*lines, "", *_wrapped(" ".join(map(say, (BY_EYE, MAKERS_FIRST))))]
    lines += ["", *_after(fit, plan)]
    for sentence in [*assumed(fit), *whys(fit, plan, settings)]:
        lines += ["", *_wrapped(sentence, 6)]
    lines += ["", *_wrapped(closing_words(fit, plan))]
    cautions = [PLANE, BY_EYE, MAKERS_FIRST] if plan.eases else [BY_EYE, MAKERS_FIRST]
    return lines + _wrapped(" ".join(map(say, cautions)))


def _wrapped(words: str, indent: int = 0, start: int = 0) -> list[str]:
    return textwrap.wrap(
        words, WIDTH, initial_indent=" " * start, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False
    )


def lobes_words(numbers: tuple[int, ...] | list[int]) -> str:
    """ "lobe 3", "lobes 3 and 4"."""
    return say_count("lobe {lobes}", "lobes {lobes}", len(numbers), lobes=list_words([str(number) for number in sorted(numbers)]))


def _opening(fit: Fit, settings: PlanSettings) -> str:
    opening = say(
        "{photo}: a plan for this dry fit. A point may lie {limit} off its seam, a joint may open {gap}; a light stroke takes {shaving}.",
        photo=fit.name,
        limit=limit_words(fit.tolerance_in),
        gap=limit_words(fit.gap_tolerance_in),
        shaving=limit_words(settings.shaving_in),
    )
    if not settings.keep:
        return opening
    return f"{opening} {say('Kept where they lie: {lobes}.', lobes=lobes_words(list(settings.keep)))}"


def _steps(fit: Fit, plan: Plan, settings: PlanSettings) -> Iterator[str]:
    if not plan.moves:
        yield from _wrapped(nothing_words(fit, plan, settings))
        return
    if not plan.eases:
        yield from _wrapped(no_wood_words(fit, plan))
    lifted = lobes_words([move.lobe for move in plan.moves])
    lift = say("Lift {lobes}.", lobes=lifted)
    if plan.stay:
        lift = say_count(
            "Lift {lobes}; {others} stays.", "Lift {lobes}; {others} stay.", len(plan.stay), lobes=lifted, others=lobes_words(plan.stay)
        )
    how = say(
        "Lay them in this order, each close against what lies already, so that no joint is touched again. Left and right are seen from "
        "root to point; lengths are {inches}.",
        inches=lengths().plural,
    )
    move_first = f" {say('Move first: ease only an edge that still binds.')}" if plan.eases else ""
    yield from _wrapped(f"{lift} {how}{move_first}")
    for step, move in enumerate(plan.moves, 1):
        where = clock_of(fit.by_number[move.lobe].bearing)
        words = say("Lobe {lobe}, at {clock}: {moves}.", lobe=move.lobe, clock=where, moves=move_words(move))
        yield from _wrapped(f"{step:>3}. {words}", 5)
        for ease in plan.eases:
            if ease.lobe == move.lobe:
                yield from _wrapped(ease_words(ease, settings.shaving_in), 7, 5)


def nothing_words(fit: Fit, plan: Plan, settings: PlanSettings) -> str:
    """Of a plan without a step: whether none is needed, or none is allowed."""
    if plan.waits:
        return say(
            "Till then nothing else is planned: a lobe that is turned brings other edges to its neighbours, and each of these is laid "
            "against the next, so what they need hangs on it too."
        )
    if not fit.lobes or not fit.joints:
        return say("No plan can be made of it.")
    if plan.tip_misses or plan.gap_misses:
        if all(lobe.number in settings.keep for lobe in fit.lobes):
            return say("Nothing may be moved or eased, for every lobe is kept, and as they lie it doesn't come right.")
        return say("Nothing that may be moved or eased would mend it: it is held by lobes that are kept.")
    if any(tip.offset is None for tip in plan.tips) or any(joint.widest is None for joint in plan.joints):
        return say("Nothing that was measured asks to be eased or moved.")
    return say("Nothing is to be eased or moved.")


def no_wood_words(fit: Fit, plan: Plan) -> str:
    """Of a plan that eases nothing."""
    if plan.tip_misses or plan.gap_misses:
        return say("No wood has to come off.")
    tips = [abs(tip.offset.value) - fit.tolerance_in for tip in plan.tips if tip.offset is not None]
    joints = [joint.widest.value - fit.gap_tolerance_in for joint in plan.joints if joint.widest is not None]
    if max([*tips, *joints], default=0.0) > LEFT_OPEN_IN:  # only what surely has to come off was asked for
        return say("No wood surely has to come off: move first, and take a new photo before any does.")
    return say("No wood has to come off: it closes by moving alone, as far as the photo shows.")


def move_words(move: Move) -> str:
    """ "its point .014 clockwise, its root .004 counterclockwise, all of it .006 toward the centre"."""
    words = []
    if abs(move.tip_right_in) >= TOLD_MOVE_IN:
        words.append(say("its point {by}", by=_sided(move.tip_right_in)))
    if abs(move.root_right_in) >= TOLD_MOVE_IN:
        words.append(say("its root {by}", by=_sided(move.root_right_in)))
    if abs(move.out_in) >= TOLD_MOVE_IN:
        number = decimals(move.out_in, 3)
        words.append(
            say("all of it {length} away from the centre", length=number)
            if move.out_in > 0
            else say("all of it {length} toward the centre", length=number)
        )
    return ", ".join(words) if words else say("as it lies, to a hair")


def _sided(right_in: float) -> str:
    number = decimals(right_in, 3)
    return say("{length} clockwise", length=number) if right_in > 0 else say("{length} counterclockwise", length=number)


def ease_words(ease: Ease, shaving_in: float) -> str:
    """ "Ease its left edge, against lobe 3: .012 at the shoulder, nothing at the root; about 6 light strokes at the shoulder end."."""
    root = say("{by} at the root", by=decimals(ease.root_in, 3)) if ease.root_in else say("nothing at the root")
    shoulder = say("{by} at the shoulder", by=decimals(ease.shoulder_in, 3)) if ease.shoulder_in else say("nothing at the shoulder")
    at_root = ease.root_in >= ease.shoulder_in  # where more comes off
    amounts = f"{root}, {shoulder}" if at_root else f"{shoulder}, {root}"
    whole, more = ease.strokes(shaving_in)
    parts = [say_count("{count} light stroke along the whole edge", "{count} light strokes along the whole edge", whole)] if whole else []
    if more and whole:
        parts.append(say("{count} more at the root end", count=more) if at_root else say("{count} more at the shoulder end", count=more))
    elif more and at_root:
        parts.append(say_count("{count} light stroke at the root end", "{count} light strokes at the root end", more))
    elif more:
        parts.append(say_count("{count} light stroke at the shoulder end", "{count} light strokes at the shoulder end", more))
    known = say("but the joint isn't measured")
    if ease.u95_in is not None:
        known = say("give or take {u95}", u95=u95_decimals(ease.u95_in, 3))
    edge = {"lobe": ease.against, "amounts": amounts, "known": known, "strokes": list_words(parts)}
    if ease.side == "left":
        return say("Ease its left short edge, against lobe {lobe}: {amounts}, {known}; about {strokes}.", **edge)
    return say("Ease its right short edge, against lobe {lobe}: {amounts}, {known}; about {strokes}.", **edge)


def short_move(move: Move) -> str:
    """The same motion in a line's few words: "point .023 cw, root .027 ccw, .019 toward the centre"."""
    words = []
    for at, right_in in ((say("point"), move.tip_right_in), (say("root"), move.root_right_in)):
        if abs(right_in) >= TOLD_MOVE_IN:
            words.append(f"{at} {decimals(right_in, 3)} {_side(right_in)}")
    if abs(move.out_in) >= TOLD_MOVE_IN:
        number = decimals(move.out_in, 3)
        away = move.out_in > 0
        words.append(say("{length} away from the centre", length=number) if away else say("{length} toward the centre", length=number))
    return ", ".join(words) if words else say("as it lies, to a hair")


def short_ease(ease: Ease, shaving_in: float) -> str:
    """ "left short edge, at lobe 3: .012 shoulder, .004 root ±.006; strokes 2 along, 4 more at the shoulder"."""
    depths = [(say("shoulder"), ease.shoulder_in), (say("root"), ease.root_in)]
    amounts = ", ".join(f"{decimals(depth, 3)} {end}" for end, depth in sorted(depths, key=lambda one: -one[1]) if depth)
    known = f" ±{u95_decimals(ease.u95_in, 3)}" if ease.u95_in is not None else f" ({say('joint unmeasured')})"
    whole, more = ease.strokes(shaving_in)
    strokes = [say_count("{count} stroke along", "{count} strokes along", whole)] if whole else []
    if more:
        steeper = say("at the root") if ease.root_in > ease.shoulder_in else say("at the shoulder")
        strokes.append(f"{more} {steeper}" if whole else f"{say_count('{count} stroke', '{count} strokes', more)} {steeper}")
    edge = say("Ease the left short edge, at lobe {lobe}", lobe=ease.against)
    if ease.side == "right":
        edge = say("Ease the right short edge, at lobe {lobe}", lobe=ease.against)
    return f"{edge}: {amounts}{known}; {', '.join(strokes)}."


def _after(fit: Fit, plan: Plan) -> Iterator[str]:
    yield say("What should come of it, where it was measured:")
    yield f"  {'':14} {say('now'):22} {say('then'):22} {say('verdict then')}"
    for tip in plan.tips:
        yield _tip_line(tip)
    for joint in plan.joints:
        yield _joint_line(joint)


def _tip_line(tip: TipAfter) -> str:
    name = say("point {lobe}", lobe=tip.lobe)
    if tip.offset is None or tip.before_in is None:
        return f"  {name:14} {say('unmeasured'):22} {'':22} {MARKS[Verdict.UNMEASURED]} {say('unmeasured')}"
    now = f"{decimals(tip.before_in)} {_side(tip.before_in)}"
    then = f"{decimals(tip.offset.value)} ±{u95_decimals(tip.offset.u95)} {_side(tip.offset.value)}"
    return f"  {name:14} {now:22} {then:22} {MARKS[tip.verdict]} {say(VERDICT_WORDS[tip.verdict])}"


def _side(offset_in: float) -> str:
    """Nothing that reads as nothing has a side."""
    if float(decimals(offset_in)) == 0:
        return ""
    return say("cw") if offset_in > 0 else say("ccw")


def _joint_line(joint: JointAfter) -> str:
    name = say("joint {lobes}", lobes=f"{joint.lobes[0]}-{joint.lobes[1]}")
    if joint.widest is None or joint.before_in is None:
        return f"  {name:14} {say('unmeasured'):22} {'':22} {MARKS[Verdict.UNMEASURED]} {say('unmeasured')}"
    widest = decimals(max(joint.before_in, 0.0))
    now = say("{by} at the root", by=widest) if joint.widest_end == "root" else say("{by} at the shoulder", by=widest)
    then = f"{decimals(max(joint.widest.value, 0.0))} ±{u95_decimals(joint.widest.u95)}"
    return f"  {name:14} {now:22} {then:22} {MARKS[joint.verdict]} {say(VERDICT_WORDS[joint.verdict])}"


def first_of_all(fit: Fit) -> Iterator[str]:
    """What has to be put right before any of the plan is carried out."""
    if fit.odd_lobes:
        yield say_count(
            "First of all: {lobes} lies the wrong way round. Put that right and take a new photo before planing.",
            "First of all: {lobes} lie the wrong way round. Put that right and take a new photo before planing.",
            len(fit.odd_lobes),
            lobes=lobes_words(fit.odd_lobes),
        )
    if fit.divided:
        yield say("First of all: {what} Put that right and take a new photo before planing.", what=lower(divided_words()))
    if fit.left_open:
        yield say("First of all: {what}", what=lower(left_open_words(fit.left_open)))


def assumed(fit: Fit) -> Iterator[str]:
    """What the plan takes for granted, since nothing else is known of it."""
    tips = [lobe.number for lobe in fit.lobes if lobe.offset_in is None]
    joints = [f"{joint.lobes[0]}-{joint.lobes[1]}" for joint in fit.joints if joint.gap_in is None]
    if tips:
        yield say_count(
            "Not measured, so the plan assumes it: the point of {lobes} lies on its seam. Check by eye first.",
            "Not measured, so the plan assumes it: the points of {lobes} lie on their seams. Check by eye first.",
            len(tips),
            lobes=lobes_words(tips),
        )
    if joints:
        yield say_count(
            "Not measured, so the plan assumes it: joint {joints} is closed, with {half} to spare. Check by feeler or a strip of "
            "paper first.",
            "Not measured, so the plan assumes it: joints {joints} are closed, with {half} to spare. Check by feeler or a strip of paper "
            "first.",
            len(joints),
            joints=list_words(joints),
            half=decimals(fit.gap_tolerance_in / 2, 3),
        )
    for sentence in fit.disagreements:
        yield say("The photos disagree: {what}", what=sentence)


def whys(fit: Fit, plan: Plan, settings: PlanSettings) -> Iterator[str]:
    """Why it doesn't close, where it doesn't."""
    if plan.waits:
        return
    angles = root_angles(fit)
    if angles is not None and angles.told:
        yield _angle_words(angles, settings)
    for why in troubles(fit, settings, plan):
        yield why_words(why, settings)


def _angle_words(angles: RootAngles, settings: PlanSettings) -> str:
    free = [number for number in angles.lobes if number not in settings.keep]
    which = say("one of them, but all stay")
    if free:
        which = say("lobe {lobes}", lobes=say(" or ").join(str(number) for number in free))
    gaps = {
        "count": len(angles.lobes),
        "sum": format(angles.sum_deg, ".1f"),
        "u95": format(ceil(angles.u95_deg * 10) / 10, ".1f"),
        "degrees": format(abs(angles.sum_deg - 360), ".1f"),
        "wood": decimals(angles.at_shoulder_in, 3),
        "which": which,
    }
    if angles.at_shoulder_in > 0:
        return say(
            "These {count} root angles sum to {sum}° ±{u95}, {degrees}° more than a full turn, so they can't close however they are "
            "turned: {wood} in all has to come off at the shoulders, of {which}.",
            **gaps,
        )
    return say(
        "These {count} root angles sum to {sum}° ±{u95}, {degrees}° less than a full turn: what gapes at the shoulders is closed by "
        "easing root ends, {wood} in all, of {which}, so that lobes come in, or by a wider lobe.",
        **gaps,
    )


# Each trouble as a sentence, with what to do.
TROUBLES = {
    Trouble.BOTH_STAY_APART: to_say("Lobes {lobe} and {other} both stay, and their joint is {by} too open {at}: let one of them move."),
    Trouble.BOTH_STAY_TIGHT: to_say("Lobes {lobe} and {other} both stay, and they bind by {by} {at}: let one of them move."),
    Trouble.EDGE_STAYS: to_say(
        "Lobe {lobe} binds on lobe {other} by {by} {at}, and only lobe {other}'s short edge could be eased: don't keep lobe {other}."
    ),
    Trouble.TOO_LARGE: to_say(
        "Lobe {lobe} is too large {at}, against lobe {other}: {by} more would have to come off than the {most} that is worth planing. "
        "Cut it again, to the pattern."
    ),
    Trouble.TOO_SMALL: to_say(
        "Lobe {lobe} is too small: its joint with lobe {other} stays {by} too open {at}. Cut it again, {size} wider {at}, "
        "or let a lobe beside it move."
    ),
    Trouble.TOO_SHORT: to_say(
        "Lobe {lobe} comes in so far that its shoulders fall {size} short of its neighbours'. If that shows, it is too small: "
        "cut it again, {size} longer in the short edge."
    ),
    Trouble.IN_THE_WAY: to_say(
        "Lobe {lobe} stays, and holds what lies beside it {by} away from where it would close: don't keep it, if you can."
    ),
    Trouble.POINT_STAYS: to_say("Lobe {lobe} stays, and its point lies {by} beyond what it may: let it move."),
    Trouble.POINT_HELD: to_say("Lobe {lobe}'s point stays {by} beyond what it may: the joints hold it there."),
}


def why_words(why: Why, settings: PlanSettings) -> str:
    """One trouble as a sentence, with what to do."""
    return say(
        TROUBLES[why.trouble],
        lobe=why.lobe,
        other=why.other,
        at=say("at the root") if why.end == "root" else say("at the shoulder"),
        by=decimals(why.in_in, 3),
        size=length_words(why.in_in),
        most=limit_words(settings.most_eased_in),
    )


def closing_words(fit: Fit, plan: Plan, table: bool = True) -> str:
    """What to do when all of it is done. table: whether what comes of each point and joint is listed above."""
    if not fit.lobes or not fit.joints:
        return say("Too little was measured for a plan: take the photo again.")
    if plan.tip_misses or plan.gap_misses:
        return say("It doesn't all come right this way: see above what holds it, mend that, and take a new photo.")
    sure = all(tip.verdict is Verdict.ON for tip in plan.tips) and all(joint.verdict is Verdict.CLOSED for joint in plan.joints)
    if not sure and table:
        return say("Then take a new photo: what is called unsure or unmeasured there may still be off or open.")
    if not sure:
        return say("Then take a new photo: what can't be told beforehand may still be off or open.")
    return say("Then take a new photo before you knife in.")
