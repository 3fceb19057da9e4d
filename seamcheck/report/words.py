"""Lengths, places and stages in the words of the bench, for every report."""

from __future__ import annotations

from math import ceil, pi

from ..basis.units import fraction_words
from ..result import Inspection, Joint, Stage, Tip

FINEST = 64  # a rule's finest marks: 1/64 in


STAGE_WORDS = {
    Stage.DRY_FIT: "dry fit",
    Stage.INLAID: "inlaid",
    Stage.LOOSE: "loose lobes",
    Stage.BARE: "bare top",
}


def length_words(inches: float) -> str:
    """ "3/64 in", or "under 1/128 in" for what is nearer to nothing than to the rule's first mark."""
    words = fraction_words(inches, FINEST)
    return f"under 1/{2 * FINEST} in" if words == "0" else f"{words} in"


def limit_words(inches: float) -> str:
    """A tolerance: "1/64 in" where it's a whole number of 64ths, else ".010 in"."""
    steps = inches * FINEST
    return length_words(inches) if round(steps) and abs(steps - round(steps)) < 1e-6 else f"{_trimmed(decimals(inches))} in"


def _trimmed(text: str) -> str:
    """To the thousandth where no more is needed."""
    return text.removesuffix("0")


def offset_words(offset_in: float) -> str:
    """ "3/64 in clockwise": a signed offset, seen from above. One too small for the rule is given no side."""
    words = length_words(offset_in)
    if words.startswith("under"):
        return words
    return f"{words} {'clockwise' if offset_in > 0 else 'counterclockwise'}"


def decimals(inches: float, places: int = 4) -> str:
    """ ".0466": a length without its sign, as a machinist writes it."""
    return f"{abs(inches):.{places}f}".removeprefix("0")


def u95_decimals(inches: float, places: int = 4) -> str:
    """The same for an uncertainty, rounded up: none is printed smaller than it is."""
    return decimals(ceil(inches * 10**places - 1e-6) / 10**places, places)


def joint_words(joint: Joint) -> str:
    """ "lobes 3 and 4", "lobe 3 and the field"."""
    lobes = [lobe for lobe in joint.lobes if lobe is not None]
    if len(lobes) == 2:
        return f"lobes {lobes[0]} and {lobes[1]}"
    return f"lobe {lobes[0]} and the field" if lobes else "the field"


def count_words(count: int, one: str, many: str | None = None) -> str:
    """ "1 point", "3 points"."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def list_words(items: list[str]) -> str:
    """ "2", "2 and 5", "2, 5 and 7"."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def clock_of(bearing: float) -> str:
    """Where a bearing (rad, clockwise from 12) points on a clock's face, to the quarter hour: "12 o'clock", "1:30"."""
    quarters = round((bearing % (2 * pi)) / (2 * pi) * 48) % 48
    hour, minute = quarters // 4 or 12, quarters % 4 * 15
    return f"{hour}:{minute:02d}" if minute else f"{hour} o'clock"


def round_the_top(inspection: Inspection) -> list[Tip]:
    """The tips in the order in which one goes round the top, clockwise from the first; loose lobes by number."""
    tips = list(inspection.tips)
    if inspection.stage is Stage.LOOSE or not tips:
        return tips
    first = tips[0].bearing
    return sorted(tips, key=lambda tip: ((tip.bearing - first + 1e-6) % (2 * pi), tip.ring or 0, tip.lobe))
