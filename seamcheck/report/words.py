"""Lengths and places in the words of the bench, for the text and the table."""

from __future__ import annotations

from math import ceil

from ..basis.units import fraction_words
from ..result import Joint

FINEST = 64  # a rule's finest marks: 1/64 in


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


def decimals(inches: float) -> str:
    """ ".0466": a length without its sign, to a ten-thousandth, as a machinist writes it."""
    return f"{abs(inches):.4f}".removeprefix("0")


def u95_decimals(inches: float) -> str:
    """The same for an uncertainty, rounded up: none is printed smaller than it is."""
    return decimals(ceil(inches * 1e4 - 1e-6) / 1e4)


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
