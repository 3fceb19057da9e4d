"""Lengths as they're written at the bench: read strictly, said in fractions of an inch or in millimetres.

Every length inside the program is inches. `Lengths` is the one place where an inch becomes words; which of its kinds is spoken is
set once, at the edge (`speak`), and asked for by whatever words a length (`lengths()`).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from enum import StrEnum
from math import ceil, floor, gcd

from .errors import BadLength
from .language import say

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

    A number without a unit is of the kind that is spoken; a fraction is always of an inch. Raises BadLength for anything else:
    signs, zero, words, exponents, nan and infinity.
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
    bare = lengths().symbol if match["decimal"] else "in"
    if (match["unit"] or bare).lower() == "mm":
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


class Units(StrEnum):
    """What lengths are said in."""

    IN = "in"
    MM = "mm"


FINEST = 64  # a rule's finest marks: 1/64 in
READ_BACK_IN = 1e-10  # what an option says is off by less: a tenth of what the limits of a rose are held to
TENTHS = 10  # of a millimetre: what an eye tells on a rule


@dataclass(frozen=True, slots=True)
class Lengths:
    """Inches (as everything is inside) put into words of one kind."""

    units: Units = Units.IN

    @property
    def metric(self) -> bool:
        return self.units is Units.MM

    @property
    def symbol(self) -> str:
        return self.units.value

    @property
    def plural(self) -> str:
        return say("millimetres") if self.metric else say("inches")

    @property
    def tick_in(self) -> float:
        """A gauge's ticks stand so far apart (inches): 1/32 in, 1 mm."""
        return 1 / MM_PER_IN if self.metric else 1 / 32

    def plain(self, inches: float) -> str:
        """Just the number and its unit: "6 in", "152.4 mm"."""
        return f"{inches * MM_PER_IN:.5g} mm" if self.metric else f"{inches:.4g} in"

    def rule(self, inches: float, finest: int = FINEST) -> str:
        """To a rule's mark, without a sign: "3/64 in", "1.2 mm"."""
        return f"{abs(inches) * MM_PER_IN:.1f} mm" if self.metric else f"{fraction_words(inches, finest)} in"

    def words(self, inches: float) -> str:
        """The same, but "under 1/128 in" or "under 0.05 mm" for what is nearer to nothing than to the first mark."""
        if not self.is_under(inches):
            return self.rule(inches)
        first = f"{1 / (2 * TENTHS):.2f} mm" if self.metric else f"1/{2 * FINEST} in"
        return say("under {length}", length=first)

    def is_under(self, inches: float) -> bool:
        """Whether a length is nearer to nothing than to the rule's first mark."""
        return not round(abs(inches) * (MM_PER_IN * TENTHS if self.metric else FINEST))

    def on_rule_below(self, inches: float) -> float:
        """Inches of the nearest mark of a rule, 1/32 in or 1 mm, that isn't above."""
        return floor(inches / self.tick_in) * self.tick_in

    def limit(self, inches: float) -> str:
        """A tolerance: "1/64 in" where it's a whole number of 64ths, else ".010 in"; "0.397 mm"."""
        if self.metric:
            return f"{abs(inches) * MM_PER_IN:.3f}".rstrip("0").removesuffix(".") + " mm"
        steps = inches * FINEST
        whole = round(steps) and abs(steps - round(steps)) < 1e-6
        return self.words(inches) if whole else f"{self.number(inches).removesuffix('0')} in"

    def number(self, inches: float, places: int = 4) -> str:
        """A bare number without its sign: ".0466", as a machinist writes it; "1.184". Places are those of inches.

        Millimetres have one place fewer, which is still finer: rounded numbers never gainsay the verdict that was made of them.
        """
        if self.metric:
            return f"{abs(inches) * MM_PER_IN:.{places - 1}f}"
        return f"{abs(inches):.{places}f}".removeprefix("0")

    def upward(self, inches: float, places: int = 4) -> str:
        """The same for an uncertainty, rounded up: none is printed smaller than it is."""
        per, places_shown = (MM_PER_IN, places - 1) if self.metric else (1.0, places)
        step = 10**places_shown
        return self.number(ceil(inches * per * step - 1e-6) / step / per, places)

    def exact(self, inches: float) -> str:
        """A designed length, to the rule and beyond: "2 1/2 in (2.4926)", "63.31 mm"."""
        return f"{inches * MM_PER_IN:.2f} mm" if self.metric else f"{fraction_words(inches)} in ({inches:.4f})"

    def area(self, square_inches: float, places: int = 1) -> str:
        """ "12.3 square inches", "79.4 square centimetres"."""
        number = f"{square_inches * (MM_PER_IN / 10) ** 2 if self.metric else square_inches:.{places}f}"
        return say("{area} square centimetres", area=number) if self.metric else say("{area} square inches", area=number)

    def density(self, per_inch: float) -> str:
        """ "209 pixels to the inch", "8.2 pixels to the millimetre"."""
        if self.metric:
            return say("{count} pixels to the millimetre", count=round(per_inch / MM_PER_IN, 1))
        return say("{count} pixels to the inch", count=round(per_inch))

    def about_an_inch(self) -> str:
        """A distance that nobody measures: "an inch", "25 mm"."""
        return "25 mm" if self.metric else say("an inch")

    def pair(self, first_in: float, second_in: float) -> str:
        """ "36 by 5 in"."""
        return say("{length} by {width}", length=self.rule(first_in).removesuffix(f" {self.symbol}"), width=self.rule(second_in))

    def option(self, inches: float) -> str:
        """As the command line reads it in whatever kind is spoken: "2-1/2", "0.7113", "15.875mm"; the same length, to READ_BACK_IN."""
        on_rule = round(inches * FINEST) / FINEST
        if not self.metric and abs(on_rule - inches) < READ_BACK_IN:
            return fraction_words(inches).replace(" ", "-")
        per, unit = (MM_PER_IN, self.symbol) if self.metric else (1.0, "")
        written = (f"{inches * per:.{digits}g}" for digits in range(6, 16))
        return next(number for number in written if abs(float(number) / per - inches) < READ_BACK_IN) + unit


INCHES = Lengths()
_spoken: ContextVar[Lengths] = ContextVar("lengths", default=INCHES)


def lengths() -> Lengths:
    """The kind of lengths that is spoken here and now."""
    return _spoken.get()


def speak(units: Units | str) -> None:
    """From here on, in this context, lengths are said and read in that kind."""
    _spoken.set(Lengths(Units(units)))


@contextmanager
def spoken(units: Units | str) -> Iterator[Lengths]:
    """The same as long as the block runs."""
    token = _spoken.set(Lengths(Units(units)))
    try:
        yield lengths()
    finally:
        _spoken.reset(token)
