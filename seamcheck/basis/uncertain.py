"""Numbers that carry what they are uncertain by, source by source (JCGM 100:2008, clause 5)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import sqrt

# Half-width of the central 95 % of a normal distribution, in standard deviations (JCGM 100:2008, Table G.1).
COVERAGE_95 = 1.959964


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its standard uncertainties by source, in the value's own unit.

    Sources are taken as independent of each other; what is common to several numbers (the camera,
    the print) is one source. Sampling error and model error have names of their own.
    """

    value: float
    parts: Mapping[str, float]  # source name -> standard uncertainty, >= 0
    # Of sources that are one and the same unknown in every photo of a fit (the print, the veneer): what each of the unknowns, one
    # standard uncertainty larger, does to the value, with its sign; part = root of the sum of their squares.
    shifts: Mapping[str, tuple[float, ...]] = field(default_factory=dict)

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return sqrt(sum(part * part for part in self.parts.values()))

    @property
    def u95(self) -> float:
        """Half-width of the interval that holds the true value 95 times in 100."""
        return COVERAGE_95 * self.u
