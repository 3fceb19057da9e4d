"""Strips and blanks to cut for a rose, and the leaves that they come from.

A lobe is sawn from a blank: a dark and a light strip with their edges taped to each other, grain along the joint, which becomes
the lobe's own seam. Each strip is as wide as the lobe's half is at its shoulder, and a little more; the blank is as long as the lobe
and a little more at either end.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from ..basis.errors import CantBuild
from ..basis.units import MM_PER_IN, lengths
from .draw_up import SIDE_SPARE_IN
from .rose import Ring, Rose

# Common practice, no source, all of it; inches.
END_SPARE_IN = 1 / 8  # at each end of a blank
SAW_IN = 1 / 32  # between two strips, or two blanks of a strip, for what straightening the edges takes
SPARE_LOBES = 1  # of each ring, for the one that splits
STEP_IN = 1 / 16  # strips and blanks are cut to these

# A leaf as it is often sold, where nothing is said (common practice, no source): along and across the grain, inches.
USUAL_LEAF_IN = (36.0, 5.0)


@dataclass(frozen=True, slots=True)
class Blanks:
    """The blanks of one ring. Each takes one strip of either wood."""

    ring: Ring
    count: int  # spare ones included
    strip_width_in: float
    length_in: float

    @property
    def strip_area_in2(self) -> float:
        """Of one wood, all blanks."""
        return self.count * self.strip_width_in * self.length_in


@dataclass(frozen=True, slots=True)
class CutList:
    """What to cut of each of the two woods: the same of either."""

    blanks: tuple[Blanks, ...]
    leaf_in: tuple[float, float]  # along, across the grain
    leaves: int  # of each wood
    lanes: tuple[tuple[float, float], ...]  # (width, used length) of every full-length strip to slice off, all leaves

    @property
    def rose_area_in2(self) -> float:
        """Of one wood, in the finished rose: half of every lobe."""
        return sum(blank.ring.count * blank.ring.shape.area_in2 for blank in self.blanks) / 2

    @property
    def strip_area_in2(self) -> float:
        """Of one wood."""
        return sum(blank.strip_area_in2 for blank in self.blanks)

    @property
    def leaf_area_in2(self) -> float:
        """Of one wood."""
        return self.leaves * self.leaf_in[0] * self.leaf_in[1]

    @property
    def waste_share(self) -> float:
        """Of the strips' area: what isn't in the finished rose."""
        return 1 - self.rose_area_in2 / self.strip_area_in2


def cut_list(
    rose: Rose, strip_in: float | None = None, leaf_in: tuple[float, float] = USUAL_LEAF_IN, spare_lobes: int = SPARE_LOBES
) -> CutList:
    """Blanks, strips and leaves for a rose. strip_in: the widest strip to be had, where that is a limit.

    Raises CantBuild where a blank is larger than a leaf.
    """
    blanks = tuple(_blanks(ring, strip_in, spare_lobes) for ring in rose.rings)
    longest, widest = max(blank.length_in for blank in blanks), max(blank.strip_width_in for blank in blanks)
    if longest > leaf_in[0] or widest > leaf_in[1]:
        raise CantBuild(
            why=f"A leaf {lengths().pair(*leaf_in)} has no room for a strip {lengths().pair(longest, widest)} (along the grain by across)",
            options=f"--leaf-length {_whole(max(longest, leaf_in[0]))} --leaf-width {_whole(max(widest, leaf_in[1]))}",
        )
    lanes = _lanes(blanks, leaf_in[0])
    return CutList(blanks, leaf_in, _leaves([width for width, _ in lanes], leaf_in[1]), lanes)


def _blanks(ring: Ring, strip_in: float | None, spare_lobes: int) -> Blanks:
    width = ceil((ring.shape.shoulder_in[1] + SIDE_SPARE_IN) / STEP_IN - 1e-9) * STEP_IN
    length = ceil((ring.shape.length_in + 2 * END_SPARE_IN) / STEP_IN - 1e-9) * STEP_IN
    return Blanks(ring, ring.count + spare_lobes, min(width, strip_in) if strip_in else width, length)


def _lanes(blanks: tuple[Blanks, ...], leaf_length_in: float) -> tuple[tuple[float, float], ...]:
    """Full-length strips and what is used of each: widest blanks first, each into the first strip that still has room."""
    lanes: list[list[float]] = []
    for blank in sorted(blanks, key=lambda blank: -blank.strip_width_in):
        for _ in range(blank.count):
            for lane in lanes:
                if lane[1] + SAW_IN + blank.length_in <= leaf_length_in + 1e-9:
                    lane[1] += SAW_IN + blank.length_in
                    break
            else:
                lanes.append([blank.strip_width_in, blank.length_in])
    return tuple((width, used) for width, used in lanes)


def _leaves(widths_in: list[float], leaf_width_in: float) -> int:
    """How many leaves the strips are sliced from: widest first, each from the first leaf that still has room."""
    used: list[float] = []
    for width in widths_in:
        for k, taken in enumerate(used):
            if taken + SAW_IN + width <= leaf_width_in + 1e-9:
                used[k] += SAW_IN + width
                break
        else:
            used.append(width)
    return len(used)


def _whole(length_in: float) -> str:
    return f"{10 * ceil(length_in * MM_PER_IN / 10)}mm" if lengths().metric else str(ceil(length_in))
