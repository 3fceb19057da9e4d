"""The recess for a rose: how deep, up to which line the router goes, and what it leaves in each point for knife and chisel.

The router's bit clears everything inside a pen line that runs inside the knife line, at one distance from it: the bit's edge touches
the pen line and never crosses it. A round bit can't enter a point: where the two pen lines that meet there are closer than the
bit is wide, wood is left.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, tan

import numpy as np

from ..basis.errors import CantBuild
from ..basis.frames import Array
from ..basis.units import lengths
from ..basis.veneer import USUAL_VENEER_IN

# Common practice, no source; inches.
USUAL_BIT_IN = 1 / 8
USUAL_INSIDE_IN = 1 / 16  # from the knife line to the pen line
BITS_IN = (1 / 4, 3 / 16, 1 / 8, 3 / 32, 1 / 16, 1 / 32)  # diameters that are sold
INSIDES_IN = (1 / 16, 1 / 32)


@dataclass(frozen=True, slots=True)
class PointLeft:
    """What the bit leaves in one point. Lengths from the true tip, along the line that halves it, inches."""

    tip_in: Array  # (2,)
    tip_angle: float  # rad
    pen_in: float  # to the point of the pen line
    left_in: float  # to the nearest place that the bit clears: the length to be cut by hand
    bit_middle_in: Array  # (2,) the bit's middle when it stands as far in as it goes
    left_area_in2: float  # inside the pen line, not cleared


@dataclass(frozen=True, slots=True)
class Recess:
    """Frame: that of the outline."""

    outline_in: Array  # (2 n, 2) the knife line: tip, notch, tip, notch, ... clockwise
    pen_in: Array  # (2 n, 2) the line to rout to, corner for corner
    depth_in: float
    bit_in: float  # diameter
    inside_in: float
    points: tuple[PointLeft, ...]

    @property
    def area_in2(self) -> float:
        return area_of(self.outline_in)

    @property
    def routed_in2(self) -> float:
        """What the bit clears: all inside the pen line but what stays in the points."""
        return area_of(self.pen_in) - sum(point.left_area_in2 for point in self.points)


def recess(
    outline_in: Array, veneer_in: float = USUAL_VENEER_IN, bit_in: float = USUAL_BIT_IN, inside_in: float = USUAL_INSIDE_IN
) -> Recess:
    """The recess for an outline (2 n, 2: tip, notch, tip, notch, ... clockwise) in veneer of this thickness.

    Raises CantBuild where the bit is too large for a point, or the pen line too far inside.
    """
    outline = np.asarray(outline_in, float)
    if not _fits(outline, bit_in, inside_in):
        why = f"A bit {lengths().rule(bit_in)} wide, kept {lengths().rule(inside_in)} inside the knife line, doesn't enter every point"
        raise CantBuild(why=why, options=_fitting(outline, inside_in))
    pen = inset(outline, inside_in)
    points = tuple(_point_left(corners, bit_in / 2, inside_in) for corners in _tips(outline))
    return Recess(outline, pen, veneer_in, bit_in, inside_in, points)


def _point_left(corners: tuple[Array, Array, Array], radius_in: float, inside_in: float) -> PointLeft:
    tip, _, _ = corners
    half = _half_angle(*corners)
    middle = (inside_in + radius_in) / float(np.sin(half))  # where the bit touches both pen lines, from the true tip
    return PointLeft(
        tip,
        2 * half,
        inside_in / float(np.sin(half)),
        middle - radius_in,
        tip + middle * _halving(*corners),
        radius_in**2 * (1 / tan(half) - (pi / 2 - half)),  # two tangents from the pen line's point, less the sector between them
    )


def _tips(outline: Array) -> list[tuple[Array, Array, Array]]:
    """Every tip with the notches before and after it."""
    return [(outline[k], outline[k - 1], outline[(k + 1) % len(outline)]) for k in range(0, len(outline), 2)]


def _fits(outline: Array, bit_in: float, inside_in: float) -> bool:
    """Whether the bit, touching both pen lines of a point, touches them between that point and its notches."""
    pen = inset(outline, inside_in)
    along = np.sum((np.roll(pen, -1, axis=0) - pen) * (np.roll(outline, -1, axis=0) - outline), axis=1)
    if not np.all(along > 0):  # an edge has shrunk away
        return False
    for tip, before, after in _tips(pen):
        half = _half_angle(tip, before, after)
        if not half > 0 or bit_in / 2 / tan(half) > min(np.hypot(*(before - tip)), np.hypot(*(after - tip))):
            return False
    return True


def _fitting(outline: Array, inside_in: float) -> str:
    for bit in BITS_IN:
        for inside in (inside_in, *INSIDES_IN):
            if inside <= inside_in and _fits(outline, bit, inside):
                return f"--bit {lengths().option(bit)} --inside {lengths().option(inside)}"
    return "a recess cut by knife and chisel alone"


def inset(outline_in: Array, by_in: float) -> Array:
    """(n, 2): the clockwise outline's corners moved inward so that every edge lies by_in inside (straight to the corners)."""
    edges = np.roll(outline_in, -1, axis=0) - outline_in
    directions = edges / np.linalg.norm(edges, axis=1, keepdims=True)
    inward = np.stack([directions[:, 1], -directions[:, 0]], axis=1)  # clockwise: the inside lies to the right
    before, here = np.roll(inward, 1, axis=0), inward
    # The corner's shift s has s . n = by_in for either edge's normal n.
    shift = (before + here) / (1 + np.sum(before * here, axis=1, keepdims=True))
    return outline_in + by_in * shift


def area_of(corners_in: Array) -> float:
    """Of a simple polygon, either way round."""
    x, y = corners_in.T
    return abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))) / 2


def _half_angle(tip: Array, before: Array, after: Array) -> float:
    a, b = before - tip, after - tip
    cross, dot = a[0] * b[1] - a[1] * b[0], float(a @ b)
    return float(np.arctan2(cross, dot)) / 2


def _halving(tip: Array, before: Array, after: Array) -> Array:
    a, b = before - tip, after - tip
    halving = a / np.hypot(*a) + b / np.hypot(*b)
    return halving / np.hypot(*halving)
