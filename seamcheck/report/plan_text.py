"""The fit plan in plain words: what to lift, in which order to lay it, what to ease, and what comes of it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from math import ceil

from ..advise.cautions import BY_EYE, MAKERS_FIRST, PLANE
from ..advise.fit import Fit
from ..advise.fit_plan import Ease, JointAfter, Move, Plan, PlanSettings, TipAfter
from ..advise.plan_why import RootAngles, Trouble, Why, root_angles, troubles
from ..basis.language import say, say_count
from ..basis.units import lengths
from ..result import Verdict
from .text import MARKS, WIDTH
from .words import clock_of, count_words, decimals, length_words, limit_words, list_words, u95_decimals

TOLD_MOVE_IN = 0.002  # a part of a motion under this isn't worth a word: about as well as a hand places a lobe


def plan_lines(fit: Fit, plan: Plan, settings: PlanSettings) -> list[str]:
    """The whole plan, from the first line to the cautions, at most WIDTH wide."""
    lines = [*_wrapped(_opening(fit, settings)), ""]
    lines += _steps(fit, plan, settings)
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
    return f"{'lobe' if len(numbers) == 1 else 'lobes'} {list_words([str(number) for number in sorted(numbers)])}"


def _opening(fit: Fit, settings: PlanSettings) -> str:
    kept = f" Kept where they lie: {lobes_words(list(settings.keep))}." if settings.keep else ""
    return (
        f"{fit.name}: a plan for this dry fit. A point may lie {limit_words(fit.tolerance_in)} off its seam, a joint may open "
        f"{limit_words(fit.gap_tolerance_in)}; a light stroke takes {limit_words(settings.shaving_in)}.{kept}"
    )


def _steps(fit: Fit, plan: Plan, settings: PlanSettings) -> Iterator[str]:
    if not plan.moves:
        yield "Nothing is to be eased or moved."
        return
    if not plan.eases:
        yield "No wood has to come off: it closes by moving alone, as far as the photo shows."
    lifted = [move.lobe for move in plan.moves]
    stay = f"; {lobes_words(plan.stay)} {'stays' if len(plan.stay) == 1 else 'stay'}" if plan.stay else ""
    yield from _wrapped(
        f"Lift {lobes_words(lifted)}{stay}. Lay them in this order, each close against what lies already, so that no joint is "
        f"touched again. Left and right are seen from root to point; lengths are {lengths().plural}."
        + (" Move first: ease only an edge that still binds." if plan.eases else "")
    )
    for step, move in enumerate(plan.moves, 1):
        where = clock_of(fit.by_number[move.lobe].bearing)
        yield from _wrapped(f"{step:>3}. Lobe {move.lobe}, at {where}: {move_words(move)}.", 5)
        for ease in plan.eases:
            if ease.lobe == move.lobe:
                yield from _wrapped(ease_words(ease, settings.shaving_in), 7, 5)


def move_words(move: Move) -> str:
    """ "its point 1/64 in clockwise (.014), its root .004 counterclockwise, the whole in by .006"."""
    words = []
    if abs(move.tip_right_in) >= TOLD_MOVE_IN:
        words.append(f"its point {decimals(move.tip_right_in, 3)} {_hand(move.tip_right_in)}")
    if abs(move.root_right_in) >= TOLD_MOVE_IN:
        words.append(f"its root {decimals(move.root_right_in, 3)} {_hand(move.root_right_in)}")
    if abs(move.out_in) >= TOLD_MOVE_IN:
        words.append(f"{'all of it ' if words else ''}{decimals(move.out_in, 3)} {'out' if move.out_in > 0 else 'in'}")
    return ", ".join(words) if words else "as it lies, to a hair"


def _hand(right_in: float) -> str:
    return "clockwise" if right_in > 0 else "counterclockwise"


def ease_words(ease: Ease, shaving_in: float) -> str:
    """ "Ease its left edge, against lobe 3: .012 at the shoulder, nothing at the root; about 6 light strokes at the shoulder end."."""
    ends = sorted([("root", ease.root_in), ("shoulder", ease.shoulder_in)], key=lambda end: -end[1])
    amounts = [f"{decimals(depth, 3)} at the {end}" if depth else f"nothing at the {end}" for end, depth in ends]
    whole, more = ease.strokes(shaving_in)
    parts = []
    if whole:
        parts.append(f"{count_words(whole, 'light stroke')} along the whole edge")
    if more:
        parts.append(f"{more} more at the {ends[0][0]} end" if whole else f"{count_words(more, 'light stroke')} at the {ends[0][0]} end")
    known = f"give or take {u95_decimals(ease.u95_in, 3)}" if ease.u95_in is not None else "but the joint isn't measured"
    return f"Ease its {ease.side} short edge, against lobe {ease.against}: {', '.join(amounts)}, {known}; about {' and '.join(parts)}."


def short_move(move: Move) -> str:
    """The same motion in a line's few words: "point .023 cw, root .027 ccw, in .019"."""
    words = []
    for at, right_in in ((say("point"), move.tip_right_in), (say("root"), move.root_right_in)):
        if abs(right_in) >= TOLD_MOVE_IN:
            words.append(f"{at} {decimals(right_in, 3)} {_side(right_in)}")
    if abs(move.out_in) >= TOLD_MOVE_IN:
        words.append(f"{say('out') if move.out_in > 0 else say('in')} {decimals(move.out_in, 3)}")
    return ", ".join(words) if words else say("as it lies, to a hair")


def short_ease(ease: Ease, shaving_in: float) -> str:
    """ "left short edge, at lobe 3: .012 shoulder, .004 root ±.006; strokes 2 along, 4 more at the shoulder"."""
    depths = [(say("shoulder"), ease.shoulder_in), (say("root"), ease.root_in)]
    amounts = ", ".join(f"{decimals(depth, 3)} {end}" for end, depth in sorted(depths, key=lambda one: -one[1]) if depth)
    known = f" ±{u95_decimals(ease.u95_in, 3)}" if ease.u95_in is not None else ""
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
    yield "What should come of it, where it was measured:"
    yield f"  {'':14} {'now':22} {'then':22} verdict then"
    for tip in plan.tips:
        yield _tip_line(tip)
    for joint in plan.joints:
        yield _joint_line(joint)


def _tip_line(tip: TipAfter) -> str:
    name = f"point {tip.lobe}"
    if tip.offset is None or tip.before_in is None:
        return f"  {name:14} {'unmeasured':22} {'':22} {MARKS[Verdict.UNMEASURED]} unmeasured"
    now = f"{decimals(tip.before_in)} {_side(tip.before_in)}"
    then = f"{decimals(tip.offset.value)} ±{u95_decimals(tip.offset.u95)} {_side(tip.offset.value)}"
    return f"  {name:14} {now:22} {then:22} {MARKS[tip.verdict]} {tip.verdict.value}"


def _side(offset_in: float) -> str:
    return say("cw") if offset_in > 0 else say("ccw")


def _joint_line(joint: JointAfter) -> str:
    name = f"joint {joint.lobes[0]}-{joint.lobes[1]}"
    if joint.widest is None or joint.before_in is None:
        return f"  {name:14} {'unmeasured':22} {'':22} {MARKS[Verdict.UNMEASURED]} unmeasured"
    now = f"{decimals(max(joint.before_in))} at the {'root' if joint.before_in[0] > joint.before_in[1] else 'shoulder'}"
    then = f"{decimals(max(joint.widest.value, 0.0))} ±{u95_decimals(joint.widest.u95)}"
    return f"  {name:14} {now:22} {then:22} {MARKS[joint.verdict]} {joint.verdict.value}"


def assumed(fit: Fit) -> Iterator[str]:
    """What the plan takes for granted, since nothing else is known of it."""
    tips = [lobe.number for lobe in fit.lobes if lobe.offset_in is None]
    joints = [f"{joint.lobes[0]}-{joint.lobes[1]}" for joint in fit.joints if joint.gap_in is None]
    if tips:
        points = (
            f"the points of {lobes_words(tips)} lie on their seams" if len(tips) > 1 else f"the point of lobe {tips[0]} lies on its seam"
        )
        yield f"Not measured, so the plan assumes it: {points}. Check by eye first."
    if joints:
        which = f"joint {joints[0]} is" if len(joints) == 1 else f"joints {list_words(joints)} are"
        half = decimals(fit.gap_tolerance_in / 2, 3)
        yield f"Not measured, so the plan assumes it: {which} closed, with {half} to spare. Check by feeler or a strip of paper first."
    if fit.odd_lobes:
        lie = "lies" if len(fit.odd_lobes) == 1 else "lie"
        yield f"First of all: {lobes_words(fit.odd_lobes)} {lie} the wrong way round. Put that right and take a new photo before planing."
    for sentence in fit.disagreements:
        yield f"The photos disagree: {sentence}"


def whys(fit: Fit, plan: Plan, settings: PlanSettings) -> Iterator[str]:
    """Why it doesn't close, where it doesn't."""
    angles = root_angles(fit)
    if angles is not None and angles.told:
        yield _angle_words(angles, settings)
    for why in troubles(fit, settings, plan):
        yield why_words(why, settings)


def _angle_words(angles: RootAngles, settings: PlanSettings) -> str:
    many = abs(angles.sum_deg - 360)
    count = len(angles.lobes)
    first = f"These {count} root angles sum to {angles.sum_deg:.1f}° ±{ceil(angles.u95_deg * 10) / 10:.1f}"
    free = [number for number in angles.lobes if number not in settings.keep]
    which = f"lobe {' or '.join(str(number) for number in free)}" if free else "one of them, but all stay"
    if angles.at_shoulder_in > 0:
        return (
            f"{first}, {many:.1f}° more than a full turn, so they can't close however they are turned: "
            f"{decimals(angles.at_shoulder_in, 3)} in all has to come off at the shoulders, of {which}."
        )
    return (
        f"{first}, {many:.1f}° less than a full turn: what gapes at the shoulders is closed by easing root ends, "
        f"{decimals(angles.at_shoulder_in, 3)} in all, of {which}, so that lobes come in, or by a wider lobe."
    )


def why_words(why: Why, settings: PlanSettings) -> str:
    """One trouble as a sentence, with what to do."""
    lobe, other, at = f"Lobe {why.lobe}", f"lobe {why.other}", f"at the {why.end}"
    by, size, most = decimals(why.in_in, 3), length_words(why.in_in), limit_words(settings.most_eased_in)
    both = f"Lobes {why.lobe} and {why.other} both stay"
    return {
        Trouble.BOTH_STAY_APART: f"{both}, and their joint is {by} too open {at}: let one of them move.",
        Trouble.BOTH_STAY_TIGHT: f"{both}, and they bind by {by} {at}: let one of them move.",
        Trouble.EDGE_STAYS: f"{lobe} binds on {other} by {by} {at}, and only {other}'s short edge could be eased: don't keep {other}.",
        Trouble.TOO_LARGE: (
            f"{lobe} is too large {at}, against {other}: {by} more would have to come off than the {most} that is worth planing. "
            "Cut it again, to the pattern."
        ),
        Trouble.TOO_SMALL: (
            f"{lobe} is too small: its joint with {other} stays {by} too open {at}. Cut it again, {size} wider {at}, "
            "or let a lobe beside it move."
        ),
        Trouble.TOO_SHORT: (
            f"{lobe} comes in so far that its shoulders fall {size} short of its neighbours'. If that shows, it is too small: "
            f"cut it again, {size} longer in the short edge."
        ),
        Trouble.IN_THE_WAY: f"{lobe} stays, and holds what lies beside it {by} away from where it would close: don't keep it, if you can.",
        Trouble.POINT_STAYS: f"{lobe} stays, and its point lies {by} beyond what it may: let it move.",
        Trouble.POINT_HELD: f"{lobe}'s point stays {by} beyond what it may: the joints hold it there.",
    }[why.trouble]


def closing_words(fit: Fit, plan: Plan) -> str:
    """What to do when all of it is done."""
    if not fit.lobes or not fit.joints:
        return "Too little was measured for a plan: take the photo again."
    if plan.tip_misses or plan.gap_misses:
        return "It doesn't all come right this way: see above what holds it, mend that, and take a new photo."
    sure = all(tip.verdict is Verdict.ON for tip in plan.tips) and all(joint.verdict is Verdict.CLOSED for joint in plan.joints)
    if not sure:
        return "Then take a new photo: what is called unsure or unmeasured there may still be off or open."
    return "Then take a new photo before you knife in."
