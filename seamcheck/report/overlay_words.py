"""The few words that the picture bears: clock places, fractions of an inch, captions."""

from __future__ import annotations

from math import ceil, pi

from ..basis.reasons import Reason
from ..basis.uncertain import Estimate
from ..basis.units import fraction_words
from ..result import Inspection, Stage, Tip, Verdict

UNBROKEN = "\u00a0"  # a space at which no line breaks


def clock_of(bearing: float) -> str:
    """Where a bearing (rad, clockwise from 12) points on a clock's face, to the quarter hour: "12 o'clock", "1:30"."""
    quarters = round((bearing % (2 * pi)) / (2 * pi) * 48) % 48
    hour, minute = quarters // 4 or 12, quarters % 4 * 15
    return f"{hour}:{minute:02d}" if minute else f"{hour} o'clock"


def fraction_of(inches: float) -> str:
    """The nearest 64th of a length without its sign; what is nearer to none is "under 1/128"."""
    words = fraction_words(inches)
    return "under 1/128" if words == "0" else words


def thousandths(inches: float) -> str:
    """ ".047": a length without its sign to the thousandth, as a machinist writes it."""
    text = f"{abs(inches):.3f}"
    return text[1:] if text.startswith("0") else text


def u95_text(inches: float) -> str:
    """The same for an uncertainty: rounded up, so that none is printed as nothing."""
    return thousandths(ceil(inches * 1000 - 1e-6) / 1000)


def offset_words(offset: Estimate) -> str:
    """ "3/64 cw  .047 ± .004": breaks, where it must, between fraction and decimals. One too small for the rule has no side."""
    words = fraction_of(offset.value)
    side = "" if words.startswith("under") else " cw" if offset.value > 0 else " ccw"
    fraction = f"{words}{side}".replace(" ", UNBROKEN)
    return f"{fraction}{UNBROKEN} {measure_words(offset)}"


def measure_words(value: Estimate) -> str:
    """ ".047 ± .004"."""
    return f"{thousandths(value.value)}{UNBROKEN}±{UNBROKEN}{u95_text(value.u95)}"


def degrees_text(angle: Estimate) -> str:
    """ "90.2° ± .3"."""
    spread = f"{ceil(angle.u95 * 1800 / pi - 1e-6) / 10:.1f}".removeprefix("0")
    return f"{angle.value * 180 / pi:.1f}° ± {spread}"


def offset_shown(tip: Tip) -> Estimate | None:
    """The offset that a tip's inset draws: from its field seam, or for a loose lobe from its own seam."""
    return tip.own_seam_offset if tip.verdict is None else tip.seam_offset


def edges_supposed(tip: Tip) -> bool:
    """Whether the tip's long edges stand only where the rest of the rose says: none of them could be measured."""
    return tip.reason in (Reason.TIP_OUT_OF_FRAME, Reason.TIP_COVERED, Reason.EDGE_AMBIGUOUS)


def caption(tip: Tip, odd: bool) -> tuple[str, list[str]]:
    """(headline, lines beneath it) of a tip's inset. `odd`: the lobe lies the wrong way round."""
    offset = offset_shown(tip)
    verdict = tip.verdict
    lines: list[str] = []
    if offset is not None and verdict is not Verdict.UNMEASURED:
        lines.append(offset_words(offset))
    if verdict is None:
        head = f"{tip.lobe}" if offset is not None else f"{tip.lobe}  unmeasured"
        if tip.root_angle is not None:
            lines.append(f"root {degrees_text(tip.root_angle)}")
        if tip.dark_side is not None:
            lines.append(f"dark half on the {'right' if tip.dark_side == 'cw' else 'left'}")
    else:
        head = f"{tip.lobe}  {verdict.value.upper()}"
        ring = "" if tip.ring is None else f"ring {tip.ring}, "
        lines.append(f"{ring}{clock_of(tip.bearing)}")
    if odd:
        lines.append("laid the wrong way round")
    unmeasured = offset is None or verdict is Verdict.UNMEASURED
    if unmeasured and tip.reason is not None:
        lines.append(tip.reason.sentence)
    return head, lines


def round_the_top(inspection: Inspection) -> list[Tip]:
    """The tips in the order in which one goes round the top, clockwise from the first; loose lobes by number."""
    tips = list(inspection.tips)
    if inspection.stage is Stage.LOOSE or not tips:
        return tips
    first = tips[0].bearing
    return sorted(tips, key=lambda tip: ((tip.bearing - first + 1e-6) % (2 * pi), tip.ring or 0, tip.lobe))


def letter_of(index: int) -> str:
    """a, b, ... z, aa, ab ...: the names of joints, so that no one takes them for tips."""
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(ord("a") + rest) + text
    return text


STAGE_WORDS = {
    Stage.DRY_FIT: "dry fit",
    Stage.INLAID: "inlaid",
    Stage.LOOSE: "loose lobes",
    Stage.BARE: "bare top",
}
