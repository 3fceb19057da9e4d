"""A rose as designed: equal lobes in rings that close on each other without a gap.

Frame: the rose's centre is the origin, its first point at bearing 0 (clockwise from +y), inches.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..basis.frames import Array, right_of, unit_of_bearing
from ..kite import Kite, KiteShape


@dataclass(frozen=True, slots=True)
class Ring:
    """Equal lobes at equal bearings, their roots all at one distance from the centre."""

    number: int  # 1 the first
    count: int
    shape: KiteShape
    root_in: float  # from the centre
    first_bearing: float  # rad, of one lobe

    @property
    def reach_in(self) -> float:
        """Centre to tip."""
        return self.root_in + self.shape.length_in

    @property
    def notch_angle(self) -> float:
        """The root angle (rad) of whatever sits in the notch that this ring leaves.

        Round a first-ring shoulder lie two lobes' shoulders; round a later one a neighbour's straight edge and one shoulder.
        """
        full = 2 * np.pi if self.number == 1 else np.pi
        return full - (2 if self.number == 1 else 1) * self.shape.shoulder_angle


@dataclass(frozen=True, slots=True)
class Lobe:
    """One lobe in its place."""

    number: int  # 1, 2, ... ring by ring, clockwise
    ring: Ring
    bearing: float  # rad
    kite: Kite


@dataclass(frozen=True, slots=True)
class Rose:
    """All rings, the first one first."""

    rings: tuple[Ring, ...]
    dark_side: str = "cw"  # "cw" (right) or "ccw" (left), looking from root to tip

    @property
    def points(self) -> int:
        return sum(ring.count for ring in self.rings)

    @property
    def reach_in(self) -> float:
        """Of the farthest tip."""
        return max(ring.reach_in for ring in self.rings)

    @property
    def area_in2(self) -> float:
        return sum(ring.count * ring.shape.area_in2 for ring in self.rings)

    def lobes(self) -> tuple[Lobe, ...]:
        """Every lobe, ring by ring, clockwise from the first bearing."""
        lobes: list[Lobe] = []
        for ring in self.rings:
            for k in range(ring.count):
                bearing = ring.first_bearing + 2 * np.pi * k / ring.count
                lobes.append(Lobe(len(lobes) + 1, ring, bearing, placed(ring.shape, ring.root_in, bearing)))
        return tuple(lobes)

    def outline_in(self) -> Array:
        """(2 * points, 2): tip, notch, tip, notch, ... clockwise from the first tip: the line to knife along."""
        lobes = sorted(self.lobes(), key=lambda lobe: lobe.bearing)
        corners: list[Array] = []
        for here, following in pairwise([*lobes, lobes[0]]):
            # Where two neighbours meet, the one of the later ring has its shoulder on the other's long edge.
            corners += [here.kite.tip_in, here.kite.right_in if here.ring.number >= following.ring.number else following.kite.left_in]
        return np.stack(corners)


def placed(shape: KiteShape, root_in: float, bearing: float) -> Kite:
    """A lobe whose root lies root_in from the centre at a bearing, its axis pointing outward."""
    along, across = shape.shoulder_in
    outward = unit_of_bearing(bearing)
    right = right_of(outward)
    root = root_in * outward
    return Kite(root, root + along * outward - across * right, root + shape.length_in * outward, root + along * outward + across * right)
