"""A lobe's shape: a kite from root to tip, with a shoulder on either side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .basis.frames import Array, bearing_of


@dataclass(frozen=True, slots=True)
class Kite:
    """A lobe's outline on the plane (inches). Left and right are as seen from the root looking to the tip."""

    root_in: Array  # (2,)
    left_in: Array  # (2,) shoulder, counter-clockwise side
    tip_in: Array  # (2,)
    right_in: Array  # (2,) shoulder, clockwise side

    @property
    def bearing(self) -> float:
        """Of the axis, root to tip, rad clockwise from +y."""
        return float(bearing_of(self.tip_in - self.root_in))

    @property
    def length_in(self) -> float:
        """Root to tip."""
        return float(np.hypot(*(self.tip_in - self.root_in)))

    @property
    def corners_in(self) -> Array:
        """(4, 2): root, left shoulder, tip, right shoulder."""
        return np.stack([self.root_in, self.left_in, self.tip_in, self.right_in])


@dataclass(frozen=True, slots=True)
class KiteShape:
    """A symmetric lobe as drawn on paper: what a pattern is made to."""

    root_angle: float  # rad
    short_edge_in: float
    length_in: float

    @property
    def shoulder_in(self) -> tuple[float, float]:
        """(along, across) of a shoulder from the root, inches."""
        half = self.root_angle / 2
        return self.short_edge_in * float(np.cos(half)), self.short_edge_in * float(np.sin(half))

    @property
    def long_edge_in(self) -> float:
        """Shoulder to tip."""
        along, across = self.shoulder_in
        return float(np.hypot(self.length_in - along, across))

    @property
    def tip_angle(self) -> float:
        """Rad."""
        along, across = self.shoulder_in
        return 2 * float(np.arctan2(across, self.length_in - along))

    @property
    def shoulder_angle(self) -> float:
        """Rad: what is left of a full turn, shared by the two shoulders."""
        return (2 * np.pi - self.root_angle - self.tip_angle) / 2

    @property
    def area_in2(self) -> float:
        """Half the product of the diagonals."""
        return self.length_in * self.shoulder_in[1]


@dataclass(frozen=True, slots=True)
class HalfShape:
    """A lobe whose halves need not be alike. Frame: its root at the origin, its tip at (0, length), left at negative x."""

    length_in: float
    left_root: float  # rad, between the line from root to tip and the short edge
    right_root: float
    left_short_in: float
    right_short_in: float

    @staticmethod
    def of_angles(length_in: float, roots: tuple[float, float], tips: tuple[float, float]) -> HalfShape:
        """From its half angles at root and tip (rad; left, right): law of sines in each half."""
        shorts = [length_in * float(np.sin(tip) / np.sin(root + tip)) for root, tip in zip(roots, tips, strict=True)]
        return HalfShape(length_in, roots[0], roots[1], shorts[0], shorts[1])

    @staticmethod
    def of_kite(shape: KiteShape) -> HalfShape:
        half = shape.root_angle / 2
        return HalfShape(shape.length_in, half, half, shape.short_edge_in, shape.short_edge_in)

    @staticmethod
    def of_corners(corners_in: Array) -> HalfShape:
        """From its corners (4, 2) wherever they lie: root, left, tip, right."""
        root, left, tip, right = np.asarray(corners_in, float)
        axis = bearing_of(tip - root)
        turns = [float((bearing_of(shoulder - root) - axis + np.pi) % (2 * np.pi) - np.pi) for shoulder in (left, right)]
        return HalfShape(
            float(np.hypot(*(tip - root))), -turns[0], turns[1], float(np.hypot(*(left - root))), float(np.hypot(*(right - root)))
        )

    @property
    def corners_in(self) -> Array:
        """(4, 2): root, left shoulder, tip, right shoulder."""
        left = self.left_short_in * np.array([-np.sin(self.left_root), np.cos(self.left_root)])
        right = self.right_short_in * np.array([np.sin(self.right_root), np.cos(self.right_root)])
        return np.stack([np.zeros(2), left, np.array([0.0, self.length_in]), right])

    @property
    def root_angle(self) -> float:
        """Rad."""
        return self.left_root + self.right_root

    @property
    def tips(self) -> tuple[float, float]:
        """Half angles at the tip (rad): left, right."""
        _, left, tip, right = self.corners_in
        return float(np.arctan2(-left[0], tip[1] - left[1])), float(np.arctan2(right[0], tip[1] - right[1]))

    @property
    def mirrored(self) -> HalfShape:
        """Turned over."""
        return HalfShape(self.length_in, self.right_root, self.left_root, self.right_short_in, self.left_short_in)


@dataclass(frozen=True, slots=True)
class FoundLobe:
    """One lobe as found: good enough to measure from, not a measurement."""

    ring: int | None  # 1 the first (large) ring; None for loose lobes
    kite: Kite
    dark_side: str | None  # "cw" (right) or "ccw" (left), looking from root to tip


@dataclass(frozen=True, slots=True)
class FoundRose:
    """What the photo shows, as found on the plane (frame: the face's height, veneer above the field in a dry fit)."""

    centre_in: Array | None  # (2,); None for loose lobes
    lobes: tuple[FoundLobe, ...]  # ring by ring, clockwise
    raised: float  # 0..1, how likely it is that the rose stands on the field (dry fit) rather than in it (inlaid)
    # How many times likelier what the finder sees of the lobes is with tape on them than without; None where tape has no say.
    tape_odds: float | None = None
