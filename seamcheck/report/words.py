"""Lengths, places and stages in the words of the bench, for every report."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, degrees, pi

from ..basis.clock import clock_of as clock_of  # among the other words of the bench
from ..basis.language import say, to_say
from ..basis.reasons import Reason
from ..basis.units import lengths
from ..judge import left_open
from ..result import Inspection, Joint, Scale, Stage, Tip, Verdict

STAGE_WORDS = {
    Stage.DRY_FIT: to_say("dry fit"),
    Stage.INLAID: to_say("inlaid"),
    Stage.LOOSE: to_say("loose lobes"),
    Stage.BARE: to_say("bare top"),
}
VERDICT_WORDS = {
    Verdict.ON: to_say("on"),
    Verdict.OFF: to_say("off"),
    Verdict.UNSURE: to_say("unsure"),
    Verdict.UNMEASURED: to_say("unmeasured"),
    Verdict.CLOSED: to_say("closed"),
    Verdict.OPEN: to_say("open"),
}


def stage_words(inspection: Inspection) -> str:
    """ "dry fit (as the photo looks)"."""
    stage = say(STAGE_WORDS[inspection.stage])
    return stage if inspection.stage_told else say("{stage} (as the photo looks)", stage=stage)


def length_words(inches: float) -> str:
    """ "3/64 in", or "under 1/128 in" for what is nearer to nothing than to the rule's first mark."""
    return lengths().words(inches)


def limit_words(inches: float) -> str:
    """A tolerance: "1/64 in" where it's a whole number of 64ths, else ".010 in"."""
    return lengths().limit(inches)


def offset_words(offset_in: float) -> str:
    """ "3/64 in clockwise": a signed offset, seen from above. One too small for the rule is given no side."""
    words = length_words(offset_in)
    if lengths().is_under(offset_in):
        return words
    return say("{length} clockwise", length=words) if offset_in > 0 else say("{length} counterclockwise", length=words)


def decimals(inches: float, places: int = 4) -> str:
    """ ".0466": a length without its sign, as a machinist writes it."""
    return lengths().number(inches, places)


def u95_decimals(inches: float, places: int = 4) -> str:
    """The same for an uncertainty, rounded up: none is printed smaller than it is."""
    return lengths().upward(inches, places)


def u95_degrees(angle: float, places: int = 2) -> str:
    """An angle's uncertainty (rad) in degrees, rounded up."""
    step: float = 10.0**places
    return f"{ceil(degrees(angle) * step - 1e-6) / step:.{places}f}"


def joint_words(joint: Joint) -> str:
    """ "lobes 3 and 4", "lobe 3 and the field"."""
    lobes = [lobe for lobe in joint.lobes if lobe is not None]
    if len(lobes) == 2:
        return say("lobes {first} and {second}", first=lobes[0], second=lobes[1])
    return say("lobe {lobe} and the field", lobe=lobes[0]) if lobes else say("the field")


def lost_joints_words(reason: Reason, joints: Sequence[Joint]) -> str:
    """Joints that weren't measured for one reason: "3-4 and 4-1", or "all joints with the field"."""
    if reason is Reason.FIELD_JOINT:
        return say("all joints with the field")
    return list_words(["-".join(say("field") if lobe is None else str(lobe) for lobe in joint.lobes) for joint in joints])


def divided_words() -> str:
    """Of dark halves that lie as often one way as the other."""
    return say(
        "As many dark halves lie to the right as to the left, seen from the roots: there is no telling which lobes are turned round."
    )


def left_open_words(pairs: Sequence[tuple[int, int]]) -> str:
    """Of places where the rose isn't whole (`judge.left_open`)."""
    places = list_words([f"{one}-{other}" for one, other in pairs])
    return say(
        "Nothing was found where lobes {places} should meet, or have another lobe between them: lay or close up what is missing there.",
        places=places,
    )


def left_open_in(inspection: Inspection) -> tuple[tuple[int, int], ...]:
    """The places where a rose isn't whole."""
    lobes = [(tip.lobe, tip.ring, tip.bearing) for tip in inspection.tips if tip.ring is not None]
    joints = [[lobe for lobe in joint.lobes if lobe is not None] for joint in inspection.joints if None not in joint.lobes]
    return left_open(lobes, joints)


def bars_words(scale: Scale) -> str:
    """ ", the check bars not read", to follow what gave the scale; nothing where both were."""
    if scale.bars_read:
        return ""
    return say(", only one check bar read") if scale.one_bar_read else say(", the check bars not read")


def list_words(items: list[str]) -> str:
    """ "2", "2 and 5", "2, 5 and 7"."""
    return items[0] if len(items) == 1 else say("{listed} and {last}", listed=", ".join(items[:-1]), last=items[-1])


def round_the_top(inspection: Inspection) -> list[Tip]:
    """The tips in the order in which one goes round the top, clockwise from the first; loose lobes by number."""
    tips = list(inspection.tips)
    if inspection.stage is Stage.LOOSE or not tips:
        return tips
    first = tips[0].bearing
    return sorted(tips, key=lambda tip: ((tip.bearing - first + 1e-6) % (2 * pi), tip.ring or 0, tip.lobe))


def capital(words: str) -> str:
    """With a capital first letter."""
    return words[:1].upper() + words[1:]


def lower(words: str) -> str:
    """With a small first letter."""
    return words[:1].lower() + words[1:]
