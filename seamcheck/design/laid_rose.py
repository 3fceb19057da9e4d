"""A rose made for one very top: every point on its own seam where the leaves are unequal, every joint closed.

Frame: the rose's centre is the origin, bearings clockwise from +y as on the measured top, inches.

First-ring lobes meet on the line halfway between their seams, so two neighbours share that joint and its shoulder; a second-ring lobe
stands on the shoulder of the two beside it and lies along their long edges, its point on its seam; of three rings the second's short
edges end where the third's own seams cross the first ring's long edges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from string import ascii_uppercase

import numpy as np

from ..basis.frames import Array, unit_of_bearing
from ..kite import HalfShape
from .rose import Rose

# A lobe whose corners all lie within this of the common pattern's is cut to that: half a thin paper (common practice, no source), inches.
SAME_IN = 0.002


@dataclass(frozen=True, slots=True)
class SeamPlace:
    """Where one point goes."""

    seam: int  # number of its field seam
    ring: int
    bearing: float  # rad: of its own seam at the rose's centre


@dataclass(frozen=True, slots=True)
class LaidLobe:
    """A lobe in its place."""

    place: SeamPlace
    corners_in: Array  # (4, 2): root, left shoulder, tip, right shoulder
    pattern: str  # the name of what it is cut to

    @property
    def shape(self) -> HalfShape:
        return HalfShape.of_corners(self.corners_in)


@dataclass(frozen=True, slots=True)
class OwnPattern:
    """A pattern for lobes that the common one doesn't suit."""

    name: str  # "1A": of ring 1
    ring: int
    shape: HalfShape
    seams: tuple[int, ...]  # whose lobes are cut to it


@dataclass(frozen=True, slots=True)
class LaidRose:
    """The perfect rose that most lobes are cut to, and every lobe where it lies."""

    rose: Rose
    lobes: tuple[LaidLobe, ...]  # clockwise
    own: tuple[OwnPattern, ...]

    def outline_in(self) -> Array:
        """(2 n, 2): tip, notch, tip, ... clockwise: the line to knife along."""
        corners: list[Array] = []
        for here, following in pairwise([*self.lobes, self.lobes[0]]):
            corners += [here.corners_in[2], here.corners_in[3] if here.place.ring >= following.place.ring else following.corners_in[1]]
        return np.stack(corners)


def lay_on(rose: Rose, places: Sequence[SeamPlace]) -> LaidRose:
    """The rose's lobes laid to those places, as many of each ring as it has; raises ValueError for other numbers."""
    ordered = sorted(places, key=lambda place: place.bearing % (2 * np.pi))
    if [sum(place.ring == ring.number for place in ordered) for ring in rose.rings] != [ring.count for ring in rose.rings]:
        raise ValueError("these places are another rose's")
    corners: dict[SeamPlace, Array] = {}
    _first_ring(rose, [place for place in ordered if place.ring == 1], corners)
    if len(rose.rings) > 1:
        _second_ring(rose, ordered, corners)
    if len(rose.rings) > 2:
        _third_ring(rose, ordered, corners)
    own: list[OwnPattern] = []
    names = {place: _pattern_of(rose, place, corners[place], own) for place in ordered}
    grouped = tuple(
        OwnPattern(one.name, one.ring, one.shape, tuple(place.seam for place in ordered if names[place] == one.name)) for one in own
    )
    return LaidRose(rose, tuple(LaidLobe(place, corners[place], names[place]) for place in ordered), grouped)


def _halfway(one: SeamPlace, other: SeamPlace) -> float:
    return one.bearing + ((other.bearing - one.bearing) % (2 * np.pi)) / 2


def _first_ring(rose: Rose, mine: list[SeamPlace], corners: dict[SeamPlace, Array]) -> None:
    shape = rose.rings[0].shape
    for k, place in enumerate(mine):
        left, right = _halfway(mine[k - 1], place), _halfway(place, mine[(k + 1) % len(mine)])
        corners[place] = np.stack(
            [
                np.zeros(2),
                shape.short_edge_in * unit_of_bearing(left),
                shape.length_in * unit_of_bearing(place.bearing),
                shape.short_edge_in * unit_of_bearing(right),
            ]
        )


def _beside(place: SeamPlace, ordered: list[SeamPlace]) -> tuple[SeamPlace, SeamPlace]:
    """The lobes of earlier rings next to a place: counterclockwise and clockwise of it."""
    earlier = [other for other in ordered if other.ring < place.ring]
    away = {other: (other.bearing - place.bearing) % (2 * np.pi) for other in earlier}
    return max(earlier, key=lambda other: away[other]), min(earlier, key=lambda other: away[other])


def _second_ring(rose: Rose, ordered: list[SeamPlace], corners: dict[SeamPlace, Array]) -> None:
    ring = rose.rings[1]
    for place in (place for place in ordered if place.ring == 2):
        before, after = _beside(place, ordered)
        root = corners[before][3]
        shoulders = []
        for other in (before, after):
            tip = corners[other][2]
            if len(rose.rings) > 2:  # where the third ring's own seam crosses this long edge
                third = min((p for p in ordered if p.ring == 3), key=lambda p: _between(p, place, other))
                shoulders.append(_crossed(root, tip, third.bearing))
            else:
                shoulders.append(root + ring.shape.short_edge_in * (tip - root) / np.hypot(*(tip - root)))
        corners[place] = np.stack([root, shoulders[0], ring.reach_in * unit_of_bearing(place.bearing), shoulders[1]])


def _between(third: SeamPlace, one: SeamPlace, other: SeamPlace) -> float:
    """How much farther round it is from one to the other by way of a third: nothing where it lies between."""

    def turn(a: SeamPlace, b: SeamPlace) -> float:
        return abs((b.bearing - a.bearing + np.pi) % (2 * np.pi) - np.pi)

    return turn(one, third) + turn(third, other) - turn(one, other)


def _crossed(start: Array, end: Array, bearing: float) -> Array:
    """(2,): where the line from start to end is crossed by the ray from the centre at a bearing."""
    ray, way = unit_of_bearing(bearing), end - start
    share = np.linalg.solve(np.stack([ray, -way], axis=1), start)[1]
    return np.asarray(start + share * way)


def _third_ring(rose: Rose, ordered: list[SeamPlace], corners: dict[SeamPlace, Array]) -> None:
    ring = rose.rings[2]
    for place in (place for place in ordered if place.ring == 3):
        before, after = _beside(place, ordered)
        # The second ring's shoulder on this side is where it stands.
        root = corners[before][3] if before.ring == 2 else corners[after][1]
        shoulders = []
        for other in (before, after):
            tip = corners[other][2]
            shoulders.append(root + ring.shape.short_edge_in * (tip - root) / np.hypot(*(tip - root)))
        corners[place] = np.stack([root, shoulders[0], ring.reach_in * unit_of_bearing(place.bearing), shoulders[1]])


def _pattern_of(rose: Rose, place: SeamPlace, corners_in: Array, own: list[OwnPattern]) -> str:
    """The name of the pattern that suits, which is added where there is none yet."""
    shape = HalfShape.of_corners(corners_in)
    if _apart_in(shape, HalfShape.of_kite(rose.rings[place.ring - 1].shape)) <= SAME_IN:
        return str(place.ring)
    mine = [one for one in own if one.ring == place.ring]
    for one in mine:
        if _apart_in(shape, one.shape) <= SAME_IN / 2:
            return one.name
    letters = ascii_uppercase[len(mine)] if len(mine) < len(ascii_uppercase) else f"-{len(mine) + 1}"
    own.append(OwnPattern(f"{place.ring}{letters}", place.ring, shape, ()))
    return own[-1].name


def _apart_in(one: HalfShape, other: HalfShape) -> float:
    """The farthest that two lobes' corners lie from each other, root on root and axis on axis, inches."""
    return float(np.hypot(*(one.corners_in - other.corners_in).T).max())
