"""How to mend what is wrong with a student's rose, in the trade's words: from the fit plan where there is one (which edge to ease, how
much, toward root or shoulder), else from what was measured of the lobe.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import tan

import numpy as np

from ..advise.class_look import Fault, Group, Kind, Look
from ..advise.fit_plan import SHAVING_IN, Ease, Move, Plan, PlanSettings
from ..advise.plan_why import troubles
from ..basis.language import say, say_count, to_say
from ..basis.units import lengths
from ..result import Inspection, Stage, Tip
from .plan_text import TOLD_MOVE_IN, why_words
from .words import decimals, length_words, u95_decimals

MOST_SHOWN = 2  # faults of one kind that are told one by one
MOST_WHYS = 1
LEAST_BY_RULE_IN = 1.5 / 64
# What a lobe that is lifted and laid again changes, so that nothing is planed before.
CHANGES_WITH_IT = (Kind.POINT, Kind.GAP, Kind.OVERLAP, Kind.ANGLES_SUM, Kind.REACH)
INLAID_WORDS = to_say("The rose is let in, so this one stays as it is. Keep it in mind for the next.")


def amount(inches: float) -> str:
    """ "3/64 in (.047)", or ".014 in" for what a rule's nearest mark would make a third more or less of."""
    number = decimals(inches, 3)
    by_rule = not lengths().metric and abs(inches) >= LEAST_BY_RULE_IN
    return f"{length_words(inches)} ({number})" if by_rule else f"{number} {lengths().symbol}"


def known(inches: float) -> str:
    """ "±.004": how well it is known."""
    return f"±{u95_decimals(inches, 3)}"


def tip_of(inspection: Inspection, lobe: int | None) -> Tip:
    """The lobe of that number."""
    return next(tip for tip in inspection.tips if tip.lobe == lobe)


def mend(group: Group, shown: Sequence[Fault], seen: Look, plan: Plan | None, settings: PlanSettings) -> Iterable[str]:
    """What to do about the faults that are shown, moves first. What comes of lifting a lobe that lies the wrong way isn't told before."""
    inspection = seen.inspection
    if inspection.stage is Stage.INLAID:
        yield say(INLAID_WORDS)
        return
    turned = seen.groups[0].kind is Kind.TURNED
    if turned and group.kind in CHANGES_WITH_IT:
        yield say("First put 1 right and take a new photo: this changes with it.")
    elif group.kind is Kind.TURNED:
        yield say(
            "Lift it, turn it over or change it for one that is dark on the same hand as the rest, and take a new photo before you plane "
            "anything."
        )
    elif group.kind in (Kind.POINT, Kind.GAP, Kind.ANGLES_SUM) and plan is not None and plan.waits:
        yield say("What to do about it is told by a new photo, once what lies the wrong way round is turned.")
    elif group.kind is Kind.ANGLES_SUM and seen.fit is not None:
        yield from _turn(group.faults[0], seen, plan, settings)
    elif group.kind in (Kind.POINT, Kind.GAP) and seen.fit is not None and plan is not None:
        for fault in shown:
            yield from _by_plan(fault, seen, plan, settings)
    elif group.kind is Kind.OVERLAP:
        yield say("Lift the upper one, lay it beside the other, press both flat, and see which edge binds before you ease any.")
    elif group.kind is Kind.ROOT_ANGLE:
        for fault in shown:
            yield _root(fault, inspection)
    elif group.kind is Kind.LENGTH:
        if any(fault.size > 0 for fault in shown):
            yield say("Too long: lay the pattern on, root on root, and knife the two long edges back to it; the point comes by itself.")
        if any(fault.size < 0 for fault in shown):
            yield say("Too short: wood can't be put back, so cut it again, with the pattern's point and root both on the joint.")
    elif group.kind is Kind.OWN_SEAM:
        yield say(
            "Lay the pattern back on, point and root on the own seam. Where wood stands beyond it, knife to it; where it is short of it, "
            "cut the lobe again."
        )
    elif group.kind is Kind.REACH:
        yield say("See whether its root sits right at the centre, then hold the pattern on it: the length or the root is off.")


def _turn(fault: Fault, seen: Look, plan: Plan | None, settings: PlanSettings) -> Iterable[str]:
    fit = seen.fit
    ring = {lobe.number for lobe in fit.lobes if lobe.ring == 1} if fit else set()
    eases = [ease for ease in plan.eases if {ease.lobe, ease.against} <= ring] if plan else []
    if fault.size > 0:
        yield say(
            "Wood has to come off short edges at the shoulders. Move all lobes to their seams first, and see where the ring still binds."
        )
    else:
        yield say("Angles that are too narrow leave the shoulders open: ease root ends so that lobes come in, or cut one lobe wider.")
    for ease in sorted(eases, key=lambda ease: -max(ease.root_in, ease.shoulder_in))[:MOST_SHOWN]:
        yield ease_sentence(ease, settings.shaving_in)


def _root(fault: Fault, inspection: Inspection) -> str:
    """From the angle and the short edges' length as drawn in the photo, which is good enough for that."""
    tip = tip_of(inspection, fault.lobes[0])
    root, left, _, right = np.asarray(tip.outline_px, float)
    short_in = float(np.hypot(*(left - root)) + np.hypot(*(right - root))) / 2 / inspection.scale.px_per_in
    if fault.size < 0:
        return say(
            "Lobe {lobe} is too narrow, and wood can't be put back: lay it where its neighbours leave least room, or cut it again.",
            lobe=tip.lobe,
        )
    depth = amount(short_in * tan(fault.size))
    return say(
        "Lobe {lobe}: ease its short edges, {depth} in all at the shoulders and nothing at the root. Hold the pattern on it after each "
        "stroke. Leave it if it was made to suit its seam.",
        lobe=tip.lobe,
        depth=depth,
    )


def _by_plan(fault: Fault, seen: Look, plan: Plan, settings: PlanSettings) -> Iterable[str]:
    """What the plan says of a point's lobe, or of a joint's two: moves first."""
    fit, lobes = seen.fit, set(fault.lobes)
    moves = [move for move in plan.moves if move.lobe in lobes]
    eases = [ease for ease in plan.eases if (ease.lobe in lobes if fault.kind is Kind.POINT else {ease.lobe, ease.against} == lobes)]
    told = [words for words in map(move_sentence, moves) if words]
    yield from told
    for ease in eases:
        yield ease_sentence(ease, settings.shaving_in)
    if fit is not None:
        whys = [why for why in troubles(fit, settings, plan) if why.lobe in lobes or why.other in lobes]
        yield from (why_words(why, settings) for why in whys[:MOST_WHYS])
        if not (told or eases or whys):
            if fault.kind is Kind.POINT:
                yield say("Move its point back to the seam; the joints have room.")
            else:
                yield say("It closes when the lobes beside it are laid to their seams.")


def move_sentence(move: Move) -> str:
    """ "Move lobe 3: its point 1/64 in (.014) clockwise, all of it .004 in toward the centre."; "" where it lies well to a hair."""
    parts = []
    if abs(move.tip_right_in) >= TOLD_MOVE_IN:
        length = amount(move.tip_right_in)
        clockwise = move.tip_right_in > 0
        parts.append(
            say("its point {length} clockwise", length=length) if clockwise else say("its point {length} counterclockwise", length=length)
        )
    if abs(move.root_right_in) >= TOLD_MOVE_IN:
        length = amount(move.root_right_in)
        clockwise = move.root_right_in > 0
        parts.append(
            say("its root {length} clockwise", length=length) if clockwise else say("its root {length} counterclockwise", length=length)
        )
    if abs(move.out_in) >= TOLD_MOVE_IN:
        length = amount(move.out_in)
        parts.append(
            say("all of it {length} away from the centre", length=length)
            if move.out_in > 0
            else say("all of it {length} toward the centre", length=length)
        )
    return say("Move lobe {lobe}: {parts}.", lobe=move.lobe, parts=", ".join(parts)) if parts else ""


def ease_sentence(ease: Ease, shaving_in: float = SHAVING_IN) -> str:
    """ "If it still binds then, ease lobe 3's left short edge, against lobe 4: .012 in at the shoulder, nothing at the root ..."."""
    nothing = say("nothing")
    ends = {
        "shoulder": amount(ease.shoulder_in) if ease.shoulder_in else nothing,
        "root": amount(ease.root_in) if ease.root_in else nothing,
    }
    if ease.shoulder_in >= ease.root_in:
        depths = say("{shoulder} at the shoulder, {root} at the root", **ends)
    else:
        depths = say("{root} at the root, {shoulder} at the shoulder", **ends)
    told = say("the joint isn't measured") if ease.u95_in is None else known(ease.u95_in)
    whole, more = ease.strokes(shaving_in)
    strokes = say_count("about {count} light stroke", "about {count} light strokes", whole + more)
    side = (
        say("lobe {lobe}'s left short edge, against lobe {other}", lobe=ease.lobe, other=ease.against)
        if ease.side == "left"
        else say("lobe {lobe}'s right short edge, against lobe {other}", lobe=ease.lobe, other=ease.against)
    )
    return say(
        "If it still binds then, ease {edge}: {depths} ({known}), {strokes}, a test after each.",
        edge=side,
        depths=depths,
        known=told,
        strokes=strokes,
    )
