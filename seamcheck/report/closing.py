"""The one sentence that a person takes away: go, not yet, or can't tell; and what to look at first."""

from __future__ import annotations

from ..result import Inspection, Joint, Stage, Tip, Verdict
from .words import clock_of, count_words, joint_words, length_words, list_words, offset_words, round_the_top


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
    return f"lobe {tip.lobe} at {clock_of(tip.bearing)}"


def _offset_in(tip: Tip) -> float:
    return abs(tip.seam_offset.value) if tip.seam_offset else 0.0


def _rose(inspection: Inspection) -> str:
    """Worst first: a lobe the wrong way round, a point off its seam, a gap, then what can't be told."""
    dry = inspection.stage is Stage.DRY_FIT
    no, unknown = ("Not yet: ", "Can't tell yet: ") if dry else ("", "Can't tell: ")
    tips = round_the_top(inspection)
    if not tips:
        return f"{unknown}no point was found, so nothing is known of this rose."
    if inspection.odd_lobes:
        lobes = list_words([str(lobe) for lobe in inspection.odd_lobes])
        which = f"lobe {lobes}, which lies" if len(inspection.odd_lobes) == 1 else f"lobes {lobes}, which lie"
        return _capital(f"{no}look first at {which} the wrong way round.")
    off = sorted((tip for tip in tips if tip.verdict is Verdict.OFF), key=_offset_in, reverse=True)
    if off:
        worst = off[0]
        words = offset_words(worst.seam_offset.value if worst.seam_offset else 0.0)
        rest = f", the worst of {count_words(len(off), 'point')} off their seams" if len(off) > 1 else ""
        return _capital(f"{no}look first at {_place(worst)}, {words} off its seam{rest}.")
    open_joints = gaping(inspection)
    if open_joints:
        worst_joint = open_joints[0]
        rest = f", the widest of {len(open_joints)} that do" if len(open_joints) > 1 else ""
        gap = length_words(_gap_in(worst_joint))
        return _capital(f"{no}look first at the joint of {joint_words(worst_joint)}, which gapes by {gap}{rest}.")
    doubtful = [tip for tip in tips if tip.verdict is not Verdict.ON]
    if doubtful:
        return f"{unknown}{_doubt(doubtful)}."
    return _all_on(inspection, dry)


def _doubt(doubtful: list[Tip]) -> str:
    """The first doubtful point, unmeasured before unsure, and how many more there are."""
    worst = sorted(doubtful, key=lambda tip: tip.verdict is not Verdict.UNMEASURED)[0]
    rest = f" (and {count_words(len(doubtful) - 1, 'more point')} that can't be told)" if len(doubtful) > 1 else ""
    if worst.verdict is Verdict.UNSURE:
        return f"lay a straightedge along the seam at {_place(worst)}, which is too close to call{rest}"
    remedy = worst.reason.remedy if worst.reason else "check it with a straightedge"
    return f"{_place(worst)} is unmeasured, so {remedy}, and take the photo again{rest}"


def _all_on(inspection: Inspection, dry: bool) -> str:
    """Every point is on: what is left are the joints, and none of them is judged open."""
    points = "The point lies on its seam" if len(inspection.tips) == 1 else f"All {len(inspection.tips)} points lie on their seams"
    untold = sum(joint.verdict is not Verdict.CLOSED for joint in inspection.joints)
    if inspection.joints and not untold:
        return f"{points} and every joint is closed{': it is safe to knife in' if dry else ''}, as far as the photo shows."
    if untold == len(inspection.joints):
        joints = "no joint could be told"
    else:
        joints = f"{untold} of the {len(inspection.joints)} joints can't be told"
    if dry:
        return f"{points}, but {joints}: look those over, and if they are tight it is safe to knife in."
    return f"{points}, but {joints}."


def _loose(inspection: Inspection) -> str:
    measured = [tip for tip in inspection.tips if tip.own_seam_offset is not None]
    if not measured:
        return "Can't tell: no lobe's own seam could be measured."
    worst = max(measured, key=lambda tip: abs(tip.own_seam_offset.value) if tip.own_seam_offset else 0.0)
    words = offset_words(worst.own_seam_offset.value) if worst.own_seam_offset else ""
    worse = "the farthest from its point" if len(measured) > 1 else "off its point"
    left = len(inspection.tips) - len(measured)
    rest = f"; {count_words(left, 'lobe')} couldn't be measured" if left else ""
    return f"Lobe {worst.lobe}'s own seam is {worse}, by {words}{rest}."


def _bare(inspection: Inspection) -> str:
    if not inspection.seams:
        return "Can't tell: no seam of the top could be followed."
    worst = max(inspection.seams, key=lambda seam: abs(seam.off_centre_in))
    count = count_words(len(inspection.seams), "seam")
    return (
        f"{count} found: the one at {clock_of(worst.bearing)} misses the best common centre by most, {length_words(worst.off_centre_in)}."
    )


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
