"""The print's scale: what a steel rule reads on the sheet's two check bars, or what printers usually do."""

from __future__ import annotations

from dataclasses import dataclass

from .geometry import BAR_ACROSS_IN, BAR_ALONG_IN

# A person reads a steel rule to about so much either way (half of a 1/64 in division, common practice, no source):
# a uniform distribution of that half-width (JCGM 100:2008, 4.3.7).
U_READING_IN = 0.004 / 3**0.5
# Printers miss 100 % by up to about half a per cent, differently along and across the paper (common practice, no source).
U_UNREAD = 0.005


@dataclass(frozen=True, slots=True)
class PrintScale:
    """How much larger than drawn the cards are, across (the cards' 3 in side) and along, with standard uncertainties."""

    across: float
    u_across: float
    along: float
    u_along: float
    bars_read: int  # how many of the two: one alone leaves the other way to how the cards lie in the photo

    @property
    def read(self) -> bool:
        """Whether both bars were read."""
        return self.bars_read == 2


def print_scale(bar_across_in: float | None, bar_along_in: float | None) -> PrintScale:
    """The print's scale from the bars' readings (inches), either of which may be missing."""
    across, u_across = _one(bar_across_in, BAR_ACROSS_IN)
    along, u_along = _one(bar_along_in, BAR_ALONG_IN)
    return PrintScale(across, u_across, along, u_along, (bar_across_in is not None) + (bar_along_in is not None))


def _one(reading_in: float | None, drawn_in: float) -> tuple[float, float]:
    if reading_in is None:
        return 1.0, U_UNREAD
    return reading_in / drawn_in, U_READING_IN / drawn_in
