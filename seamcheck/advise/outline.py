"""The outline of a fitted rose, from its inspection: what is to go into the recess."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, bearing_of, unit_of_bearing
from ..result import Inspection, OutlineEdge, Tip

FEWEST_POINTS = 3
# From point to point it goes round by no more than so much of an even share: points are even, by the trade's way of making them.
WIDEST_STEP = 1.3
# Two outlines may be meant for each other where most of their points reach equally far to within this (inches): half of what parts two
# rings that a maker would tell apart (common practice, no source). A point with an edge that wasn't measured may lie farther off.
REACH_ALIKE_IN = 0.12
# A ring of whose edges fewer are measured is the field's figure, or all tape.
LEAST_OF_RING = 0.3


@dataclass(frozen=True)
class Outline:
    """Points going round clockwise, each with a left and a right edge as seen from the middle; None where an edge wasn't measured."""

    edges: tuple[tuple[OutlineEdge | None, OutlineEdge | None], ...]
    corners_in: Array  # (2 n, 2): tip, notch, ... clockwise; where edges are missing as its likes suggest

    @property
    def count(self) -> int:
        return len(self.edges)

    @property
    def middle_in(self) -> Array:
        return np.asarray(self.corners_in[1::2].mean(axis=0))

    @property
    def fold(self) -> int:
        """In how many turns it fits itself, nearly: its points' reaches and how they stand."""
        tips = self.corners_in[0::2] - self.middle_in
        reach, bearing = np.hypot(*tips.T), np.unwrap(bearing_of(tips))
        for step in range(1, self.count):
            if self.count % step:
                continue
            turned = bearing + 2 * np.pi * step / self.count
            alike = np.median(np.abs(np.roll(reach, -step) - reach)) < REACH_ALIKE_IN
            away = (np.roll(bearing, -step) - turned + np.pi) % (2 * np.pi) - np.pi
            if alike and np.median(np.abs(away * reach)) < REACH_ALIKE_IN:
                return self.count // step
        return 1


def crossing_of_edges(a: OutlineEdge, b: OutlineEdge) -> Array:
    """(2,) where two edges' lines cross."""
    normals = np.stack([a.normal, b.normal])
    return np.asarray(np.linalg.solve(normals, np.sum(normals * np.stack([a.ends_in[0], b.ends_in[0]]), axis=1)))


def rose_outline(inspection: Inspection) -> tuple[Outline, tuple[Tip, ...]] | None:
    """The outline and its lobes' tips, clockwise from the first; None where too few edges were measured to make one."""
    tips = [tip for tip in inspection.tips if tip.edges is not None and tip.place_in is not None]
    shown: dict[int | None, list[bool]] = {}
    for tip in tips:
        shown.setdefault(tip.ring, []).extend(edge is not None for edge in tip.edges or ())
    tips = [tip for tip in tips if np.mean(shown[tip.ring]) >= LEAST_OF_RING]
    if len(tips) < FEWEST_POINTS:
        return None
    tips.sort(key=lambda tip: (tip.bearing - inspection.tips[0].bearing) % (2 * np.pi))
    round_by = np.diff([*(tip.bearing for tip in tips), tips[0].bearing]) % (2 * np.pi)
    if round_by.max() > WIDEST_STEP * 2 * np.pi / len(tips):  # a point between two others wasn't found
        return None
    edges = [tip.edges or (None, None) for tip in tips]
    if sum(edge is not None for pair in edges for edge in pair) < len(tips):
        return None
    return Outline(tuple(edges), _corners(tips, edges)), tuple(tips)


def _corners(tips: list[Tip], edges: list[tuple[OutlineEdge | None, OutlineEdge | None]]) -> Array:
    count = len(tips)
    points: list[Array] = []
    for tip, (left, right) in zip(tips, edges, strict=True):
        assert tip.place_in is not None
        points.append(tip.place_in if left is None or right is None else crossing_of_edges(left, right))
    middle = np.mean([place for tip, place in zip(tips, points, strict=True) if tip.ring == 1] or points, axis=0)
    notches: list[Array | None] = []
    for k in range(count):
        here, after = edges[k][1], edges[(k + 1) % count][0]
        notches.append(None if here is None or after is None else crossing_of_edges(here, after))
    # A notch that wasn't seen lies as its likes do: as far from the middle, and as far round from the point before.
    bearings = [float(bearing_of(place - middle)) for place in points]
    kinds = [(tips[k].ring, tips[(k + 1) % count].ring) for k in range(count)]
    seen: dict[tuple[int | None, int | None], list[tuple[float, float]]] = {}
    for k, notch in enumerate(notches):
        if notch is not None:
            way = (bearings[(k + 1) % count] - bearings[k]) % (2 * np.pi)
            round_share = float((bearing_of(notch - middle) - bearings[k]) % (2 * np.pi)) / way
            seen.setdefault(kinds[k], []).append((float(np.hypot(*(notch - middle))), round_share))
    usual = [one for many in seen.values() for one in many]
    corners = []
    for k, notch in enumerate(notches):
        if notch is None:
            likes = seen.get(kinds[k]) or usual or [(float(np.hypot(*(points[k] - middle))) / 2, 0.5)]
            reach, share = np.median(np.array(likes), axis=0)
            notch = middle + reach * unit_of_bearing(bearings[k] + share * ((bearings[(k + 1) % count] - bearings[k]) % (2 * np.pi)))
        corners += [points[k], notch]
    return np.array(corners)
