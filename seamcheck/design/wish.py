"""What a maker wishes for: a few lengths, the rest left open."""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees

from ..basis.units import lengths

STEP_IN = 1 / 64  # what a rule shows


@dataclass(frozen=True, slots=True)
class Top:
    """The top that the rose goes on, as planned or as measured bare."""

    diameter_in: float
    band_in: float = 0.0  # width of the edge band

    @property
    def most_reach_in(self) -> float:
        return self.diameter_in / 2 - self.band_in


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked for, ring by ring from the first; what is left out is chosen."""

    points: int
    reaches_in: tuple[float, ...]
    rings: int | None = None
    short_edges_in: tuple[float, ...] = ()
    root_angles: tuple[float, ...] = ()  # rad
    strip_in: float | None = None  # the widest strip to be had
    top: Top | None = None
    dark_side: str = "cw"
    taken: tuple[str, ...] = ()  # of "points" and "reach" those that nobody gave: a command takes them as is usual

    @property
    def ring_count(self) -> int:
        if self.rings is not None:
            return self.rings
        told = max(len(self.reaches_in), len(self.short_edges_in), len(self.root_angles))
        return told if told > 1 else usual_rings(self.points)

    @property
    def rings_chosen(self) -> bool:
        """Whether nobody said how many rings there are."""
        return self.rings is None and max(len(self.reaches_in), len(self.short_edges_in), len(self.root_angles)) < 2

    def reach_chosen(self, ring: int) -> bool:
        """Whether nobody said how far a ring (1 the first) reaches; of three rings the second reaches as far as the first in any case."""
        if ring == 1 or (ring == 2 and self.ring_count == 3):
            return "reach" in self.taken
        return ring > len(self.reaches_in)

    def short_edge_chosen(self, ring: int) -> bool:
        """Whether nobody said how long a ring's short edge is, and it doesn't follow from what was said."""
        if ring == 2 and self.ring_count == 3:
            return self.short_edge_chosen(1)
        follows = ring == 1 and len(self.root_angles) > 1
        return ring > len(self.short_edges_in) and not follows

    def options(self) -> str:
        """The wish as it is written on the command line."""
        words = [f"--points {self.points}", f"--rings {self.ring_count}"]
        words += [f"--reach {lengths().option(reach)}" for reach in self.reaches_in]
        words += [f"--short-edge {lengths().option(short)}" for short in self.short_edges_in]
        words += [f"--root-angle {degrees(angle):.6g}" for angle in self.root_angles]
        words += [f"--strip {lengths().option(self.strip_in)}"] if self.strip_in else []
        words += [f"--top {lengths().option(self.top.diameter_in)}"] if self.top else []
        words += [f"--band {lengths().option(self.top.band_in)}"] if self.top and self.top.band_in else []
        words += ["--dark left"] if self.dark_side == "ccw" else []
        return " ".join(words)


def usual_rings(points: int) -> int:
    """How many rings a rose of so many points usually has."""
    for rings, least in ((3, 16), (2, 6)):
        if points >= least and points % 2 ** (rings - 1) == 0:
            return rings
    return 1
