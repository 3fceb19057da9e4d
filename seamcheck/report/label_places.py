"""Where a drawing's labels go, so that none lies over another, nor over anything else that mustn't be hidden. The same every time.

All shapes are convex polygons, (corners, 2), in one frame; the unit is the drawing's own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

import numpy as np

from ..basis.frames import Array

TOUCH = 1e-9  # what shares no more than this, by rounding, only touches
DIRECTIONS = 24  # in which a label may lie from what it names
LINE_WIDE = 0.1  # of its height: a line from a label to what it names
CROWDED = 0.6  # of its height: so much farther a label may lie rather than close to what it doesn't name
CROSSING = 3.0  # the same where its line would cross something
MANY = 60  # of the best places: how many of them are free says how hard a label is to place


@dataclass(frozen=True)
class Wish:
    """A label: how large it is, and where its middle may lie, the best place first."""

    about: Array  # (2,) what it names
    size: Array  # (2,) width, height
    places: Array  # (n, 2)
    ranks: Array  # (n,) how bad each place is, growing


def box_at(place: Array, size: Array, around: float = 0.0) -> Array:
    """(4, 2): an upright box about a middle, larger on all sides by `around`."""
    half = np.asarray(size) / 2 + around
    return np.asarray(place) + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])


def strip_of(start: Array, end: Array, width: float) -> Array:
    """(4, 2): a line with a width."""
    way = _unit(end - start)
    aside = width / 2 * np.array([way[1], -way[0]])
    return np.stack([start - aside, start + aside, end + aside, end - aside])


def overlap(one: Array, other: Array) -> bool:
    """Whether two convex shapes have more than an edge in common: no side of either has all of the other beyond it."""
    for shape in (one, other):
        sides = np.roll(shape, -1, axis=0) - shape
        sides = sides[np.hypot(*sides.T) > 1e-12]
        normals = np.column_stack([-sides[:, 1], sides[:, 0]])
        mine, others = one @ normals.T, other @ normals.T
        if np.any((mine.max(axis=0) <= others.min(axis=0) + TOUCH) | (others.max(axis=0) <= mine.min(axis=0) + TOUCH)):
            return False
    return True


def around(about: Array, size: Array, worse: Sequence[tuple[Array, float]] = (), reach: float = 3.0, within: Array | None = None) -> Wish:
    """A label's places all round a point, the nearest first.

    worse: (unit vector, by how much a place straight against it is worse); within: a polygon (corners, 2), convex or not, that it had
    better lie in; reach: how far it may go.
    """
    angles = 2 * pi * np.arange(DIRECTIONS) / DIRECTIONS
    ways = np.column_stack([np.cos(angles), np.sin(angles)])
    step = size[1] / 4
    far = np.arange(step, reach, step)
    # To the box's border along each direction: so far its middle lies beyond its nearest point.
    border = np.min(np.asarray(size) / 2 / np.maximum(np.abs(ways), 1e-9), axis=1)
    places = about + (far[:, None, None] + border[None, :, None]) * ways
    ranks = np.broadcast_to(far[:, None], places.shape[:2]).copy()
    for way, by in worse:
        ranks += by * (1 - ways @ way) / 2
    places, ranks = places.reshape(-1, 2), ranks.ravel()
    if within is not None:
        ranks = ranks + 2 * size[1] * ~_inside(places, within)
    order = np.argsort(np.round(ranks, 9), kind="stable")
    return Wish(np.asarray(about), np.asarray(size), places[order], ranks[order])


def _inside(places: Array, shape: Array) -> Array:
    """(n,) whether each place lies within a polygon, by counting crossings."""
    x, y = places.T
    inside = np.zeros(len(places), bool)
    for (x0, y0), (x1, y1) in zip(shape, np.roll(shape, -1, axis=0), strict=True):
        crosses = (y0 > y) != (y1 > y)
        with np.errstate(divide="ignore", invalid="ignore"):
            inside ^= crosses & (x < x0 + (y - y0) * (x1 - x0) / (y1 - y0))
    return inside


class Taken:
    """What is drawn already."""

    def __init__(self, shapes: Sequence[Array] = ()) -> None:
        self._shapes: list[Array] = []
        self._extents = np.zeros((0, 2, 2))  # least and most, for a quick first look
        for shape in shapes:
            self.add(shape)

    def add(self, shape: Array) -> None:
        """From now on this is in the way, too."""
        self._shapes.append(shape)
        self._extents = np.concatenate([self._extents, [[shape.min(axis=0), shape.max(axis=0)]]])

    def hits(self, shape: Array) -> bool:
        """Whether a shape would lie over any of it."""
        return any(overlap(shape, other) for other in self._near(shape))

    def _near(self, shape: Array) -> list[Array]:
        near = (self._extents[:, 0] < shape.max(axis=0)).all(axis=1) & (self._extents[:, 1] > shape.min(axis=0)).all(axis=1)
        return [self._shapes[k] for k in np.flatnonzero(near)]


@dataclass(frozen=True)
class Page:
    """What there is to draw on, and how close things may come."""

    extent: Array  # (2, 2) least and most
    gap: float  # stays clear round a label
    room: float  # had better stay clear round it
    far: float  # a label farther from what it names is joined to it by a line


def line_to(wish: Wish, place: Array, page: Page) -> Array | None:
    """(2, 2): from what a label names to the label, where that isn't beside it."""
    nearest = np.clip(wish.about, place - wish.size / 2, place + wish.size / 2)
    return np.stack([wish.about, nearest]) if float(np.hypot(*(nearest - wish.about))) > page.far else None


def place_all(wishes: Sequence[Wish], taken: Taken, page: Page) -> list[Array]:
    """(2,) the middle of each label, clear of all that is taken and of each other; those with least choice choose first.

    A place with room round it is had for a little more way to it. One that nowhere is clear, which no drawing of ours has come to, lies
    where it would lie best.
    """
    hard = sorted(range(len(wishes)), key=lambda k: (_free(wishes[k], taken, page), k))
    found: dict[int, Array] = {}
    for k in hard:
        found[k] = _best(wishes[k], taken, page)
        taken.add(box_at(found[k], wishes[k].size))
        line = line_to(wishes[k], found[k], page)
        if line is not None:
            taken.add(strip_of(line[0], line[1], LINE_WIDE * float(wishes[k].size[1])))
    return [found[k] for k in range(len(wishes))]


def _free(wish: Wish, taken: Taken, page: Page) -> int:
    return sum(not taken.hits(box_at(place, wish.size, page.gap)) for place in wish.places[:MANY])


def _best(wish: Wish, taken: Taken, page: Page) -> Array:
    best, best_rank = wish.places[0], np.inf
    high = float(wish.size[1])
    for place, rank in zip(wish.places, wish.ranks, strict=True):
        if rank >= best_rank:
            break
        box = box_at(place, wish.size)
        if (box < page.extent[0]).any() or (box > page.extent[1]).any() or taken.hits(box_at(place, wish.size, page.gap)):
            continue
        line = line_to(wish, place, page)
        crosses = line is not None and taken.hits(strip_of(line[0] + page.far / 2 * _unit(line[1] - line[0]), line[1], LINE_WIDE * high))
        total = rank + CROSSING * high * crosses + CROWDED * high * taken.hits(box_at(place, wish.size, page.room))
        if total < best_rank:
            best, best_rank = place, total
    return best


def _unit(way: Array) -> Array:
    return np.asarray(way / max(float(np.hypot(*way)), 1e-12))
