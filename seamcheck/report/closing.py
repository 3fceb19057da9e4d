"""The one sentence that a person takes away: go, not yet, or can't tell; and what to look at first."""

from __future__ import annotations

from ..basis.language import say, say_count
from ..judge import evenly_divided
from ..result import Inspection, Joint, Stage, Tip, Verdict
from .words import clock_of, joint_words, left_open_in, left_open_words, length_words, list_words, lower, offset_words, round_the_top


def gaping(inspection: Inspection) -> list[Joint]:
    """The joints judged open, widest first."""
    return sorted((joint for joint in inspection.joints if joint.verdict is Verdict.OPEN), key=lambda joint: -_gap_in(joint))


def closing_sentence(inspection: Inspection) -> str:
    """What the photo's numbers come to, for the stage that it shows."""
    if inspection.stage is Stage.BARE:
        return _bare(inspection)
    if inspection.stage is Stage.LOOSE:
        return _loose(inspection)
    return _rose(inspection)


def _gap_in(joint: Joint) -> float:
    return joint.max_gap.value if joint.max_gap else 0.0


def _place(tip: Tip) -> str:
    return say("lobe {lobe} at {clock}", lobe=tip.lobe, clock=clock_of(tip.bearing))


def _offset_in(tip: Tip) -> float:
    return abs(tip.seam_offset.value) if tip.seam_offset else 0.0


def first_look(inspection: Inspection) -> str:
    """What to look at first, worst first: a lobe the wrong way round, a point off its seam, a gap. Nothing where there is none."""
    tips = round_the_top(inspection)
    if inspection.odd_lobes:
        lobes = list_words([str(lobe) for lobe in inspection.odd_lobes])
        return say_count(
            "Look first at lobe {lobes}, which lies the wrong way round.",
            "Look first at lobes {lobes}, which lie the wrong way round.",
            len(inspection.odd_lobes),
            lobes=lobes,
        )
    if evenly_divided(inspection.tips):
        return say("Look first at the dark halves: as many lie to the right as to the left, seen from the roots.")
    off = sorted((tip for tip in tips if tip.verdict is Verdict.OFF), key=_offset_in, reverse=True)
    if off:
        words = offset_words(off[0].seam_offset.value if off[0].seam_offset else 0.0)
        return say_count(
            "Look first at {lobe}, {offset} off its seam.",
            "Look first at {lobe}, {offset} off its seam, the worst of {count} points off their seams.",
            len(off),
            lobe=_place(off[0]),
            offset=words,
        )
    open_joints = gaping(inspection)
    if open_joints:
        return say_count(
            "Look first at the joint of {lobes}, which gapes by {gap}.",
            "Look first at the joint of {lobes}, which gapes by {gap}, the widest of {count} that do.",
            len(open_joints),
            lobes=joint_words(open_joints[0]),
            gap=length_words(_gap_in(open_joints[0])),
        )
    return ""


def _rose(inspection: Inspection) -> str:
    """The worst, then what can't be told."""
    dry = inspection.stage is Stage.DRY_FIT
    tips = round_the_top(inspection)
    worst = first_look(inspection) if tips else ""
    if worst:
        return say("Not yet: {what}", what=lower(worst)) if dry else worst
    doubtful = [tip for tip in tips if tip.verdict is not Verdict.ON]
    open_places = left_open_in(inspection)
    if tips and not doubtful and open_places:
        nothing = lower(left_open_words(open_places))
        return say("Can't tell yet: {what}", what=nothing) if dry else say("Can't tell: {what}", what=nothing)
    if tips and not doubtful:
        return _all_on(inspection, dry)
    doubt = f"{_doubt(doubtful)}." if tips else say("no point was found, so nothing is known of this rose.")
    return say("Can't tell yet: {what}", what=doubt) if dry else say("Can't tell: {what}", what=doubt)


def _doubt(doubtful: list[Tip]) -> str:
    """The first doubtful point, unmeasured before unsure, and how many more there are."""
    worst = sorted(doubtful, key=lambda tip: tip.verdict is not Verdict.UNMEASURED)[0]
    more = len(doubtful) - 1
    rest = say_count(" (and {count} more point that can't be told)", " (and {count} more points that can't be told)", more) if more else ""
    if worst.verdict is Verdict.UNSURE:
        return say("lay a straightedge along the seam at {lobe}, which is too close to call", lobe=_place(worst)) + rest
    remedy = worst.reason.remedy if worst.reason else say("check it with a straightedge")
    return say("{lobe} is unmeasured, so {remedy}, and take the photo again", lobe=_place(worst), remedy=remedy) + rest


def _all_on(inspection: Inspection, dry: bool) -> str:
    """Every point is on: what is left are the joints, and none of them is judged open."""
    points = say_count("The point lies on its seam", "All {count} points lie on their seams", len(inspection.tips))
    untold = sum(joint.verdict is not Verdict.CLOSED for joint in inspection.joints)
    if inspection.joints and not untold:
        if dry:
            return say("{points} and every joint is closed: it is safe to knife in, as far as the photo shows.", points=points)
        return say("{points} and every joint is closed, as far as the photo shows.", points=points)
    if untold == len(inspection.joints):
        joints = say("no joint could be told")
    else:
        joints = say("{count} of the {all} joints can't be told", count=untold, all=len(inspection.joints))
    if dry:
        return say("{points}, but {joints}: look those over, and if they are tight it is safe to knife in.", points=points, joints=joints)
    return say("{points}, but {joints}.", points=points, joints=joints)


def _loose(inspection: Inspection) -> str:
    measured = [tip for tip in inspection.tips if tip.own_seam_offset is not None]
    if not measured:
        return say("Can't tell: no lobe's own seam could be measured.")
    worst = max(measured, key=lambda tip: abs(tip.own_seam_offset.value) if tip.own_seam_offset else 0.0)
    words = offset_words(worst.own_seam_offset.value) if worst.own_seam_offset else ""
    left = len(inspection.tips) - len(measured)
    rest = say_count("; {count} lobe couldn't be measured", "; {count} lobes couldn't be measured", left) if left else ""
    if len(measured) > 1:
        return say("Lobe {lobe}'s point lies farthest off its own seam, {offset}{rest}.", lobe=worst.lobe, offset=words, rest=rest)
    return say("Lobe {lobe}'s point lies {offset} off its own seam{rest}.", lobe=worst.lobe, offset=words, rest=rest)


def _bare(inspection: Inspection) -> str:
    if not inspection.seams:
        return say("Can't tell: no seam of the top could be followed.")
    if inspection.bare is not None and inspection.bare.leaves is None:
        return say_count(
            "Can't tell how many leaves it has, nor where a rose would lie: {count} seam alone could be followed.",
            "Can't tell how many leaves it has, nor where a rose would lie: {count} seams alone could be followed.",
            len(inspection.seams),
        )
    known = [(seam, seam.off_centre.value) for seam in inspection.seams if seam.off_centre is not None]
    if not known:
        return say_count(
            "{count} seam found: too few to say where all meet.",
            "{count} seams found: too few to say where all meet.",
            len(inspection.seams),
        )
    worst, off_in = max(known, key=lambda one: abs(one[1]))
    return say_count(
        "{count} seam found: the one at {clock} misses the best common centre by most, {length}.",
        "{count} seams found: the one at {clock} misses the best common centre by most, {length}.",
        len(inspection.seams),
        clock=clock_of(worst.bearing),
        length=length_words(off_in),
    )
