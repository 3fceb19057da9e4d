"""A student's rose in a teacher's words: what is good, what is wrong and how to mend it, what to practise. Concrete, kind, short.

How to mend comes from the fit plan where there is one: which edge to ease, how much, toward root or shoulder. What to practise is
common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass, replace
from math import degrees

from ..advise.card_notes import BARS_UNREAD
from ..advise.cautions import PLANE, SAW_AND_KNIFE
from ..advise.class_look import Fault, Good, Group, Kind, Look
from ..advise.fit_plan import Plan, PlanSettings
from ..basis.language import say, say_count, to_say
from ..result import Inspection, Stage, Verdict
from .class_mend import MOST_SHOWN, amount, known, mend, tip_of
from .words import clock_of, limit_words, list_words

MOST_LISTED = 4  # lobes beside what is good

HEADINGS = {
    Kind.TURNED: to_say("Laid the wrong way round"),
    Kind.ANGLES_SUM: to_say("Root angles that don't make a full turn"),
    Kind.ROOT_ANGLE: to_say("Root angles unlike the others"),
    Kind.LENGTH: to_say("Lengths unlike the others"),
    Kind.OWN_SEAM: to_say("Own seams beside their points"),
    Kind.POINT: to_say("Points off their seams"),
    Kind.OVERLAP: to_say("Lobes that overlap"),
    Kind.GAP: to_say("Joints that gape"),
    Kind.REACH: to_say("Points farther out or in than the others"),
}
# One exercise each, on scrap, in the time of a coffee break.
PRACTISE = {
    Kind.TURNED: to_say(
        "Before any tape, lay the whole ring out loose with every dark half on the same hand, and go round it once with a finger."
    ),
    Kind.ANGLES_SUM: to_say(
        "Lay a first ring together loose before any tape: does the last lobe rock (too wide) or gape (too narrow)? Say which "
        "before you plane."
    ),
    Kind.ROOT_ANGLE: to_say(
        "Cut three roots in scrap to the pattern, put them on top of each other, and hold them to the light: no edge should stand out."
    ),
    Kind.LENGTH: to_say(
        "Mark root and point from the pattern with a knife, not a pencil, on three offcuts, and hold them against each other."
    ),
    Kind.OWN_SEAM: to_say(
        "Tape two offcuts dark to light, lay the pattern with its point and its root on the joint, hold it down, and knife "
        "round. Three times, till the joint runs out at the point."
    ),
    Kind.POINT: to_say(
        "Lay one lobe five times: point on the seam first, then the root, a straightedge along both seams, tape only then. "
        "Check it before the next."
    ),
    Kind.OVERLAP: to_say(
        "Press each lobe flat beside the one before with a small block, feel over the joint with a fingertip, and tape only "
        "when it is level."
    ),
    Kind.GAP: to_say(
        "Hold two short edges together against a window, ease one light stroke, look again. Stop when no light shows, and try a "
        "strip of printer paper."
    ),
    Kind.REACH: to_say(
        "Draw the circle that the points should reach with a compass on tape, and lay each point to circle and seam together."
    ),
}
DOUBTFUL = {
    Kind.OWN_SEAM: to_say("Own seams too close to call, by lobe: {lobes}. Hold a straightedge along each."),
    Kind.ROOT_ANGLE: to_say("Root angles too close to call, by lobe: {lobes}. Hold the pattern on each."),
    Kind.LENGTH: to_say("Lengths too close to call, by lobe: {lobes}. Hold the pattern on each."),
}


@dataclass(frozen=True)
class Thing:
    """One thing that matters, in words."""

    kind: Kind
    heading: str
    count: str  # "3 of 8"; "" where there is nothing to count
    found: tuple[str, ...]
    mend: tuple[str, ...]
    practise: str
    lobes: tuple[int | None, ...]  # where the worst of it is


def things_of(seen: Look, plan: Plan | None, settings: PlanSettings) -> tuple[Thing, ...]:
    """The two that matter most."""
    things: list[Thing] = []
    if seen.inspection.stage is Stage.INLAID:  # nothing can be done: each says so
        return tuple(_thing(group, seen, plan, settings) for group in seen.things)
    for group in seen.things:
        thing = _thing(group, seen, plan, settings)
        told = {words for earlier in things for words in earlier.mend}
        fresh = tuple(words for words in thing.mend if words not in told)
        if len(fresh) < len(thing.mend):
            fresh = (say("First do what stands under 1: it helps here too."), *fresh)
        things.append(replace(thing, mend=fresh))
    return tuple(things)


def cautions_of(kinds: Set[Kind], eased: bool) -> tuple[str, ...]:
    """What has to be said beside these faults' mending and practising. eased: an edge is to be eased by the plan."""
    told = [PLANE] if eased or kinds & {Kind.GAP, Kind.ROOT_ANGLE, Kind.ANGLES_SUM} else []
    told += [SAW_AND_KNIFE] if kinds & {Kind.LENGTH, Kind.OWN_SEAM, Kind.ROOT_ANGLE} else []
    return tuple(map(say, told))


def _thing(group: Group, seen: Look, plan: Plan | None, settings: PlanSettings) -> Thing:
    inspection = seen.inspection
    shown = group.faults[:MOST_SHOWN]
    found = [_found(fault, inspection, seen) for fault in shown]
    more = len(group.faults) - len(shown)
    if more:
        found.append(say_count("And {count} more.", "And {count} more.", more))
    return Thing(
        group.kind,
        say(HEADINGS[group.kind]),
        _count(group, inspection),
        tuple(found),
        tuple(dict.fromkeys(mend(group, shown, seen, plan, settings))),
        say(PRACTISE[group.kind]),
        group.faults[0].lobes,
    )


def _count(group: Group, inspection: Inspection) -> str:
    if group.kind is Kind.ANGLES_SUM:
        return ""
    every = len(inspection.joints) if group.kind in (Kind.GAP, Kind.OVERLAP) else len(inspection.tips)
    if group.measured == every:
        return say("{count} of {all}", count=len(group.faults), all=every)
    return say("{count} of the {measured} that could be measured", count=len(group.faults), measured=group.measured)


def _lobe(inspection: Inspection, lobe: int | None) -> str:
    tip = tip_of(inspection, lobe)
    if inspection.stage is Stage.LOOSE:
        return say("Lobe {lobe}", lobe=tip.lobe)
    return say("Lobe {lobe}, at {clock}", lobe=tip.lobe, clock=clock_of(tip.bearing))


def joint_name(lobes: Sequence[int | None]) -> str:
    """ "lobes 3 and 4", "lobe 3 and the field"."""
    told = [str(lobe) for lobe in lobes if lobe is not None]
    return say("lobes {lobes}", lobes=list_words(told)) if len(told) == 2 else say("lobe {lobe} and the field", lobe=told[0])


def _found(fault: Fault, inspection: Inspection, seen: Look) -> str:
    size = abs(fault.size)
    told = {"size": amount(size), "known": known(fault.u95)}
    if fault.kind is Kind.ANGLES_SUM:
        turn = degrees(size)
        told = {"turn": f"{turn:.1f}°", "known": f"±{degrees(fault.u95) + 0.05:.1f}"}
        if fault.size > 0:
            return say("The first ring's root angles come to {turn} ({known}) more than a full turn: too wide.", **told)
        return say("The first ring's root angles come to {turn} ({known}) less than a full turn: too narrow.", **told)
    if fault.kind in (Kind.GAP, Kind.OVERLAP):
        lobes = joint_name(fault.lobes)
        if fault.kind is Kind.GAP:
            return say("The joint of {lobes} opens {size} {known} at its widest.", lobes=lobes, **told)
        return say("Of {lobes} one lies over the other by {size} {known}.", lobes=lobes, **told)
    told["lobe"] = _lobe(inspection, fault.lobes[0])
    right = fault.size > 0
    if fault.kind is Kind.TURNED:
        return say("{lobe}: its dark half lies on the other hand from the rest.", lobe=told["lobe"])
    if fault.kind is Kind.POINT:
        if right:
            return say("{lobe}: its point lies {size} {known} clockwise of its seam.", **told)
        return say("{lobe}: its point lies {size} {known} counterclockwise of its seam.", **told)
    if fault.kind is Kind.OWN_SEAM:
        if right:
            return say("{lobe}: its own seam passes {size} {known} left of its point, seen from the root.", **told)
        return say("{lobe}: its own seam passes {size} {known} right of its point, seen from the root.", **told)
    if fault.kind is Kind.ROOT_ANGLE:
        told |= {"size": f"{degrees(size):.1f}°", "known": f"±{degrees(fault.u95) + 0.05:.1f}"}
        if right:
            return say("{lobe}: its root is {size} {known} wider than the middle of its ring.", **told)
        return say("{lobe}: its root is {size} {known} narrower than the middle of its ring.", **told)
    if fault.kind is Kind.LENGTH:
        if right:
            return say("{lobe}: it is {size} {known} longer than the middle of its ring.", **told)
        return say("{lobe}: it is {size} {known} shorter than the middle of its ring.", **told)
    if right:
        return say("{lobe}: its point reaches {size} {known} farther than the middle of its ring.", **told)
    return say("{lobe}: its point reaches {size} {known} less far than the middle of its ring.", **told)


def good_words(good: Good, inspection: Inspection) -> str:
    """Only what was measured: "6 of 8 points lie on their seams, within 1/64 in"."""
    point, gap = limit_words(inspection.tolerance_in), limit_words(inspection.gap_tolerance_in)
    told = {"count": _counted(good)}
    match good.kind:
        case Kind.POINT:
            return say("Points on their seams, within {limit}: {count}.", limit=point, **told)
        case Kind.GAP:
            return say("Joints closed, within {limit}: {count}.", limit=gap, **told)
        case Kind.OWN_SEAM:
            return say("Own seams that run out at their points: {count}.", **told)
        case Kind.TURNED:
            return say("Lobes laid the right way round, dark halves on one hand: {count}.", **told)
        case Kind.ANGLES_SUM:
            return say("The first ring's root angles make a full turn, so it can close.")
        case Kind.ROOT_ANGLE:
            return say("Root angles alike within their ring: {count}.", **told)
        case Kind.LENGTH:
            return say("Lengths alike within their ring: {count}.", **told)
        case _:
            return say("Points that reach equally far within their ring: {count}.", **told)


def _counted(good: Good) -> str:
    if good.count == good.all:
        return say("all {count}", count=good.all)
    listed = list_words([str(lobe) for lobe in good.lobes]) if 0 < len(good.lobes) <= MOST_LISTED else ""
    lobes = f" ({say_count('lobe {lobes}', 'lobes {lobes}', len(good.lobes), lobes=listed)})" if listed else ""
    if good.measured == good.all:
        return say("{count} of {all}", count=good.count, all=good.all) + lobes
    return say("{count} of the {measured} that could be measured", count=good.count, measured=good.measured) + lobes


def photo_words(inspection: Inspection) -> tuple[str, ...]:
    """What can be said for a photo in which nothing is amiss but that the check bars weren't read."""
    if any(warning != say(BARS_UNREAD) for warning in inspection.warnings):
        return ()
    scale = inspection.scale
    return (
        say_count(
            "Your photo is a good one to measure by: {count} card read, its corners met to {rms} pixels.",
            "Your photo is a good one to measure by: {count} cards read, their corners met to {rms} pixels.",
            len(scale.cards),
            rms=format(scale.reprojection_rms_px, ".2f"),
        ),
    )


def untold_words(seen: Look) -> tuple[str, ...]:
    """What is neither good nor wrong, since the photo can't tell, and what to do about it."""
    inspection, words = seen.inspection, []
    unsure = [str(tip.lobe) for tip in inspection.tips if tip.verdict is Verdict.UNSURE]
    if unsure:
        words.append(say("Points too close to call, by lobe: {lobes}. Check with a straightedge.", lobes=list_words(unsure)))
    joints = [
        "-".join(say("field") if lobe is None else str(lobe) for lobe in joint.lobes)
        for joint in inspection.joints
        if joint.verdict is Verdict.UNSURE
    ]
    if joints and inspection.stage is Stage.INLAID:  # glue fills them
        words.append(say("Joints too close to call: {joints}. Look at them from near by.", joints=list_words(joints)))
    elif joints:
        words.append(say("Joints too close to call: {joints}. Try a strip of printer paper.", joints=list_words(joints)))
    for kind, message in DOUBTFUL.items():
        doubtful = [str(lobe) for lobe in seen.doubtful.get(kind, ())]
        if doubtful:
            words.append(say(message, lobes=list_words(doubtful)))
    lost = [tip for tip in inspection.tips if tip.verdict is Verdict.UNMEASURED and tip.reason]
    for reason in dict.fromkeys(tip.reason for tip in lost):
        lobes = [str(tip.lobe) for tip in lost if tip.reason is reason]
        if reason is not None:
            words.append(
                say(
                    "Points not measured, by lobe: {lobes}: {why}; {remedy}.",
                    lobes=list_words(lobes),
                    why=reason.sentence,
                    remedy=reason.remedy,
                )
            )
    hidden = [joint for joint in inspection.joints if joint.verdict is Verdict.UNMEASURED]
    if hidden:
        reasons = [joint.reason for joint in hidden if joint.reason]
        why = say(": {why}; {remedy}", why=reasons[0].sentence, remedy=reasons[0].remedy) if len(set(reasons)) == 1 and reasons[0] else ""
        words.append(say("Joints not measured: {count}{why}.", count=len(hidden), why=why))
    return tuple(words)
