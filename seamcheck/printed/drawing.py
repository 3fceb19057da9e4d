"""A drawing at true size, before it's known whether it becomes a PDF, an SVG or a DXF.

Frame: inches, x to the right, y up, the origin wherever suits the drawing. Items are drawn in their order.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import Enum
from math import cos, hypot, radians, sin

from ..basis.frames import Array
from ..sheet import text_width_in

Point = tuple[float, float]
Points = Sequence[Sequence[float]] | Array  # (n, 2)


class Layer(Enum):
    """What a thing is, for programs that show, hide or cut by layers; the value is the layer's name in the file."""

    CUT = "cut"  # a pattern's true outline, once
    ROSE = "rose"  # all lobes in their places
    KNIFE = "knife-line"  # round the whole rose
    CENTRE = "centre-line"  # to lay on the seam
    DARK = "dark-half"
    GRAIN = "grain"
    BLANK = "blank"  # the strips before sawing
    SEAM = "field-seam"
    PEN = "pen-line"
    BIT = "bit"
    BAR = "check-bar"
    NOTE = "notes"


# Widths of strokes, inches: what is measured or cut is a hairline.
FINE_IN, PLAIN_IN = 0.004, 0.008
DASHED_IN, CHAIN_IN = (0.10, 0.06), (0.20, 0.05, 0.03, 0.05)  # stroke and space by turns
PLACES_EVERY_IN = 0.05
SMALL_TEXT_IN, TEXT_IN, TITLE_TEXT_IN = 0.105, 0.125, 0.2  # type's size


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points, or an outline."""

    points: tuple[Point, ...]
    layer: Layer
    width_in: float = PLAIN_IN
    closed: bool = False
    grey: float = 0.0
    dash_in: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Circle:
    middle: Point
    radius_in: float
    layer: Layer
    width_in: float = PLAIN_IN
    grey: float = 0.0


@dataclass(frozen=True, slots=True)
class Fill:
    """A filled outline without a border."""

    points: tuple[Point, ...]
    layer: Layer
    grey: float


@dataclass(frozen=True, slots=True)
class Words:
    """Plain words on a base line, turned counter-clockwise about their anchor."""

    text: str
    at: Point
    size_in: float = TEXT_IN
    turned_deg: float = 0.0
    anchor: str = "start"  # "start", "middle" or "end"
    layer: Layer = Layer.NOTE
    grey: float = 0.0

    @property
    def start(self) -> Point:
        """Where the first letter begins."""
        back = {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor] * text_width_in(self.text, self.size_in)
        turn = radians(self.turned_deg)
        return self.at[0] - back * cos(turn), self.at[1] - back * sin(turn)


Item = Stroke | Circle | Fill | Words


@dataclass
class Drawing:
    """Items under a title."""

    title: str
    items: list[Item] = field(default_factory=list)
    from_top: bool = False  # on a page that has room to spare: at its top, as text is, not in its middle

    def line(
        self, start: Point, end: Point, layer: Layer, width_in: float = PLAIN_IN, grey: float = 0.0, dash_in: tuple[float, ...] = ()
    ) -> None:
        self.items.append(Stroke((start, end), layer, width_in, False, grey, dash_in))

    def outline(self, points: Points, layer: Layer, width_in: float = PLAIN_IN, grey: float = 0.0, dash_in: tuple[float, ...] = ()) -> None:
        self.items.append(Stroke(as_points(points), layer, width_in, True, grey, dash_in))

    def fill(self, points: Points, layer: Layer, grey: float) -> None:
        self.items.append(Fill(as_points(points), layer, grey))

    def circle(self, middle: Point, radius_in: float, layer: Layer, width_in: float = PLAIN_IN, grey: float = 0.0) -> None:
        self.items.append(Circle(middle, radius_in, layer, width_in, grey))

    def words(
        self,
        text: str,
        at: Point,
        size_in: float = TEXT_IN,
        turned_deg: float = 0.0,
        anchor: str = "start",
        layer: Layer = Layer.NOTE,
        grey: float = 0.0,
    ) -> None:
        self.items.append(Words(text, at, size_in, turned_deg, anchor, layer, grey))

    def arrow(self, start: Point, end: Point, layer: Layer, width_in: float = PLAIN_IN, head_in: float = 0.12) -> None:
        """A stroke with a head at either end, as grain is marked."""
        self.line(start, end, layer, width_in)
        length = hypot(end[0] - start[0], end[1] - start[1])
        along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
        for tip, sign in ((start, 1), (end, -1)):
            for side in (-1, 1):
                back = (
                    tip[0] + sign * head_in * along[0] - side * head_in / 3 * along[1],
                    tip[1] + sign * head_in * along[1] + side * head_in / 3 * along[0],
                )
                self.line(tip, back, layer, width_in)

    def bounds(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of everything, the words' lengths included."""
        corners = [point for item in self.items for point in _corners(item)]
        xs, ys = [x for x, _ in corners], [y for _, y in corners]
        return min(xs), min(ys), max(xs), max(ys)


def as_points(points: Points) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in points)


def places_on(item: Item) -> Iterator[Point]:
    """Points along an item's lines, close enough together that none crosses a corner of a page unseen."""
    corners = list(_corners(item))
    ends = corners[1:] + corners[:1] if isinstance(item, Fill) or (isinstance(item, Stroke) and item.closed) else corners[1:]
    yield from corners
    for start, end in zip(corners, ends, strict=False):
        steps = int(hypot(end[0] - start[0], end[1] - start[1]) / PLACES_EVERY_IN)
        for k in range(1, steps + 1):
            share = k / (steps + 1)
            yield start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])


def _corners(item: Item) -> Iterator[Point]:
    if isinstance(item, Circle):
        for sign in (-1, 1):
            yield item.middle[0] + sign * item.radius_in, item.middle[1] + sign * item.radius_in
    elif isinstance(item, Words):
        turn, (x, y) = radians(item.turned_deg), item.start
        run, rise = text_width_in(item.text, item.size_in), item.size_in
        for along, up in ((0.0, -0.25 * rise), (run, -0.25 * rise), (0.0, rise), (run, rise)):
            yield x + along * cos(turn) - up * sin(turn), y + along * sin(turn) + up * cos(turn)
    else:
        yield from item.points
