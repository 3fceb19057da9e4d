"""Inches as they're written at the bench: read strictly, written as fractions."""

from __future__ import annotations

import re
from math import gcd

from .errors import BadLength

MM_PER_IN = 25.4  # exactly, since the agreement of 1959

LONGEST = 40  # letters; no one writes a length longer than that

# A whole number, a decimal, a fraction or a whole number and a fraction, then perhaps a unit.
_LENGTH = re.compile(
    r"""\s*(?:(?P<decimal>\d+(?:\.\d*)?|\.\d+)
          | (?:(?P<whole>\d+)(?:\s+|\s*-\s*))?(?P<top>\d+)\s*/\s*(?P<bottom>\d+))
        \s*(?P<unit>in|inch|inches|"|″|mm)?\s*""",
    re.VERBOSE | re.IGNORECASE | re.ASCII,
)


def parse_length(text: str) -> float:
    """Inches of a length above zero, written 0.0238, 1/42, 2 1/2, 2-1/2, 1/64 in or 0.6mm.

    Raises BadLength for anything else: signs, zero, words, exponents, nan and infinity.
    """
    match = _LENGTH.fullmatch(text) if len(text) <= LONGEST else None
    if not match:
        raise BadLength(text=text)
    if match["decimal"]:
        value = float(match["decimal"])
    elif int(match["bottom"]) == 0:
        raise BadLength(text=text)
    else:
        value = int(match["whole"] or 0) + int(match["top"]) / int(match["bottom"])
    if (match["unit"] or "").lower() == "mm":
        value /= MM_PER_IN
    if not 0 < value < float("inf"):
        raise BadLength(text=text)
    return value


def fraction_words(inches: float, denominator: int = 64) -> str:
    """The nearest fraction, without a sign: 3/64, 2 9/32, 1, or 0 for what is under half a step.

    A length just between two steps goes to the even one, so that rounding leans neither way.
    """
    steps = round(abs(inches) * denominator)
    whole, rest = divmod(steps, denominator)
    if not rest:
        return str(whole)
    common = gcd(rest, denominator)
    fraction = f"{rest // common}/{denominator // common}"
    return f"{whole} {fraction}" if whole else fraction
