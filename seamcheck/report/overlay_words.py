"""The few words that the picture bears: fractions of an inch, captions."""

from __future__ import annotations

from math import pi

from ..basis.language import say
from ..basis.reasons import Reason
from ..basis.uncertain import Estimate
from ..basis.units import lengths
from ..result import Tip, Verdict
from .words import VERDICT_WORDS, clock_of, decimals, length_words, u95_decimals, u95_degrees

UNBROKEN = "\u00a0"  # a space at which no line breaks


def fraction_of(inches: float) -> str:
    """The nearest 64th of a length without its sign; what is nearer to none is "under 1/128". Millimetres are called so."""
    return length_words(inches).removesuffix(" in")


def thousandths(inches: float) -> str:
    """ ".047": a length without its sign to the thousandth."""
    return decimals(inches, 3)


def u95_text(inches: float) -> str:
    """The same for an uncertainty, rounded up."""
    return u95_decimals(inches, 3)


def offset_words(offset: Estimate) -> str:
    """ "3/64 cw  .047 ± .004": breaks, where it must, between fraction and decimals. One too small for the rule has no side."""
    words = fraction_of(offset.value)
    side = "" if lengths().is_under(offset.value) else f" {say('cw')}" if offset.value > 0 else f" {say('ccw')}"
    fraction = f"{words}{side}".replace(" ", UNBROKEN)
    return f"{fraction}{UNBROKEN} {measure_words(offset)}"


def measure_words(value: Estimate) -> str:
    """ ".047 ± .004"."""
    return f"{thousandths(value.value)}{UNBROKEN}±{UNBROKEN}{u95_text(value.u95)}"


def degrees_text(angle: Estimate) -> str:
    """ "90.2° ± .3"."""
    spread = u95_degrees(angle.u95, 1).removeprefix("0")
    return f"{angle.value * 180 / pi:.1f}° ± {spread}"


def offset_shown(tip: Tip) -> Estimate | None:
    """The offset that a tip's inset draws: from its field seam, or for a loose lobe from its own seam."""
    return tip.own_seam_offset if tip.verdict is None else tip.seam_offset


def edges_supposed(tip: Tip) -> bool:
    """Whether the tip's long edges stand only where the rest of the rose says: none of them could be measured."""
    return tip.reason in (Reason.TIP_OUT_OF_FRAME, Reason.TIP_COVERED, Reason.EDGE_AMBIGUOUS, Reason.EDGE_FAINT)


def caption(tip: Tip, odd: bool) -> tuple[str, list[str]]:
    """(headline, lines beneath it) of a tip's inset. `odd`: the lobe lies the wrong way round."""
    offset = offset_shown(tip)
    verdict = tip.verdict
    lines: list[str] = []
    if offset is not None and verdict is not Verdict.UNMEASURED:
        lines.append(offset_words(offset))
    if verdict is None:
        head = f"{tip.lobe}" if offset is not None else f"{tip.lobe}  {say('unmeasured')}"
        if tip.root_angle is not None:
            lines.append(say("root {angle}", angle=degrees_text(tip.root_angle)))
        if tip.dark_side is not None:
            lines.append(say("dark half on the right") if tip.dark_side == "cw" else say("dark half on the left"))
    else:
        head = f"{tip.lobe}  {say(VERDICT_WORDS[verdict]).upper()}"
        clock = clock_of(tip.bearing)
        lines.append(clock if tip.ring is None else say("ring {ring}, {clock}", ring=tip.ring, clock=clock))
    if odd:
        lines.append(say("laid the wrong way round"))
    unmeasured = offset is None or verdict is Verdict.UNMEASURED
    if unmeasured and tip.reason is not None:
        lines.append(tip.reason.sentence)
    return head, lines


def letter_of(index: int) -> str:
    """a, b, ... z, aa, ab ...: the names of joints, so that no one takes them for tips."""
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(ord("a") + rest) + text
    return text
