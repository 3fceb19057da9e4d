"""A dry fit as the plan and the decision need it: rigid lobes, joints open so much at either end, points beside their seams.

Frame: inches in plan, origin at the rose's centre, x to the right and y up in the photo; bearings clockwise from +y, offsets
positive clockwise, left and right as seen from root to point.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.reasons import Reason
from ..basis.uncertain import COVERAGE_95
from ..judge import left_open
from ..result import Verdict


@dataclass(frozen=True)
class FitLobe:
    """One lobe where it lies."""

    number: int
    ring: int
    bearing: float  # rad
    outline_in: Array  # (4, 2): root, left shoulder, tip, right shoulder
    seam_out: Array  # (2,) unit vector of its field seam, outward
    offset_in: float | None  # of the tip from the seam; None where unmeasured
    u95_in: float | None
    verdict: Verdict
    reason: Reason | None = None  # why unmeasured

    @property
    def root_in(self) -> Array:
        """(2,)"""
        return self.outline_in[0]

    @property
    def tip_in(self) -> Array:
        """(2,)"""
        return self.outline_in[2]

    @cached_property
    def axis(self) -> Array:
        """Unit vector (2,) from root to tip."""
        way = self.outline_in[2] - self.outline_in[0]
        return way / np.hypot(*way)

    @property
    def length_in(self) -> float:
        """Root to tip."""
        return float(np.hypot(*(self.outline_in[2] - self.outline_in[0])))


@dataclass(frozen=True)
class FitJoint:
    """Two lobes' edges that should close on each other."""

    lobes: tuple[int, int]
    edge_in: Array  # (2, 2): root end, shoulder end
    gap_in: Array | None  # (2,) opening at either end, linear between; None where unmeasured
    u95_in: float | None  # of either opening
    verdict: Verdict
    reason: Reason | None = None
    max_in: float | None = None  # the widest gap as measured (95th percentile along the joint)

    @property
    def length_in(self) -> float:
        """Along the edge."""
        return float(np.hypot(*(self.edge_in[1] - self.edge_in[0])))


@dataclass(frozen=True)
class Fit:
    """A dry fit, read from one result."""

    name: str  # the photo's
    tolerance_in: float
    gap_tolerance_in: float
    lobes: tuple[FitLobe, ...]
    joints: tuple[FitJoint, ...]
    odd_lobes: tuple[int, ...] = ()
    disagreements: tuple[str, ...] = ()
    divided: bool = False  # as many dark halves lie on one hand as on the other: no telling which lobes are the odd ones

    @cached_property
    def by_number(self) -> dict[int, FitLobe]:
        """The lobes by their numbers."""
        return {lobe.number: lobe for lobe in self.lobes}

    @cached_property
    def left_open(self) -> tuple[tuple[int, int], ...]:
        """Neighbouring lobes between which no joint is listed, or no lobe lies, where one belongs."""
        return left_open(((lobe.number, lobe.ring, lobe.bearing) for lobe in self.lobes), (joint.lobes for joint in self.joints))

    def is_finished(self, lobe: FitLobe) -> bool:
        """Whether its point is on its seam and all its joints are closed, every one of them measured."""
        joints = [joint.verdict for joint in self.joints if lobe.number in joint.lobes]
        return lobe.verdict is Verdict.ON and bool(joints) and all(verdict is Verdict.CLOSED for verdict in joints)

    def normal_of(self, joint: FitJoint) -> Array:
        """Unit vector (2,) across the joint, from its first lobe to its second."""
        way = joint.edge_in[1] - joint.edge_in[0]
        normal = right_of(way / np.hypot(*way))
        first, second = (self.by_number[number].outline_in.mean(axis=0) for number in joint.lobes)
        return normal if normal @ (second - first) > 0 else -normal

    def side_of(self, joint: FitJoint, number: int) -> str:
        """ "left" or "right": on which side of that lobe the joint lies."""
        lobe = self.by_number[number]
        return "right" if (joint.edge_in.mean(axis=0) - lobe.root_in) @ right_of(lobe.axis) > 0 else "left"

    def short_edged(self, joint: FitJoint) -> tuple[int, ...]:
        """The lobes whose short edge it is: both of one ring, or the one of the later ring, which sits in the notch."""
        rings = [self.by_number[number].ring for number in joint.lobes]
        if rings[0] == rings[1]:
            return joint.lobes
        return (joint.lobes[0] if rings[0] > rings[1] else joint.lobes[1],)


def opening_at_ends(max_in: float, mean_in: float | None, max_at: float | None) -> Array:
    """(2,) opening at the root end and the shoulder end of two straight edges, from what the result holds of a joint.

    max_in: the 95th percentile along the joint, which of a straight slope lies .45 of the whole difference above the mean;
    max_at: where it's widest, 0 at the root end, 1 at the shoulder end. Wood can't stand in wood, so where the widest gap is
    one, the narrow end is none at the least.
    """
    if mean_in is None or max_at is None or max_in <= mean_in:
        return np.array([max_in, max_in])
    half = (max_in - mean_in) / MAX_ABOVE_MEAN / 2 * (1 if max_at > 0.5 else -1)
    return np.maximum(mean_in + half * np.array([-1.0, 1.0]), min(0.0, max_in))


MAX_ABOVE_MEAN = 0.45  # of a uniform spread: its 95th percentile less its middle
# Of a straight slope's openings at its two ends: the 95th percentile along it, were the first end, or the second, the wider one.
WIDEST_OF_ENDS = np.array([[0.5 + MAX_ABOVE_MEAN, 0.5 - MAX_ABOVE_MEAN], [0.5 - MAX_ABOVE_MEAN, 0.5 + MAX_ABOVE_MEAN]])


def widest_of(ends_in: Array) -> float:
    """A joint's widest gap as it is measured and judged (the 95th percentile along it), of (2,) openings at its ends, linear between."""
    return float(np.max(WIDEST_OF_ENDS @ ends_in))


def standard(u95_in: float | None) -> float:
    """The standard uncertainty behind a u95; 0 where there is none."""
    return 0.0 if u95_in is None else u95_in / COVERAGE_95
