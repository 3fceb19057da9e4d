"""What the plan's picture shows in the rose: wedges of wood to take off, arrows for what moves, numbers beside both, none hiding another.

Frame: inches on the top, about the rose's centre, as in `advise/fit`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ..advise.fit import Fit, FitLobe
from ..advise.fit_plan import Ease, Move, Plan
from ..basis.frames import Array, right_of
from ..basis.language import say
from .label_places import Page, Taken, Wish, around, box_at, line_to, place_all, strip_of
from .overlay_canvas import drawable, text_width
from .plan_text import TOLD_MOVE_IN
from .words import decimals

DEEPEST_DRAWN_IN = 0.26  # how deep the deepest taper is drawn, on the top's scale,
DEEPEST_SHARE = 0.22  # and of the shortest edge that is eased: deeper, it fills the lobe
EXAGGERATIONS = (50, 30, 20, 15, 10, 8, 5)
ARROWS_IN = (0.42, 0.34, 0.26, 0.2)  # as long as there is room for; the number says how far it goes
MARGIN_IN = 0.75  # round the tips, for arrows and numbers
# Shares of a lobe's length from its root, the best first: clear of edges and what is drawn along them.
NUMBER_AT = (0.62, 0.56, 0.68, 0.5, 0.74, 0.44)
ROOT_ARROW_AT = (0.23, 0.28, 0.33, 0.38, 0.43, 0.48, 0.18, 0.53, 0.58, 0.13, 0.63)
OUT_ARROW_AT = (0.82, 0.78, 0.74, 0.7, 0.66, 0.86, 0.6, 0.54, 0.48)
OUT_ARROW_ELSE = (0.42, 0.36, 0.3, 1.1, 1.15)  # where the lobe is full
TIP_ARROW_OUT_IN = (0.10, 0.16, 0.22, 0.3)  # beyond the point
ASIDE_IN = (
    0.0,
    0.1,
    -0.1,
    0.2,
    -0.2,
    0.15,
    -0.15,
    0.25,
    -0.25,
    0.3,
    -0.3,
    0.4,
    -0.4,
)  # to the right of the lobe's axis, for what has no room on it
SMALL_PT, NUMBER_PT = 7.0, 13.0  # type
HEAD_PT = 5.0  # an arrow's head across
LINE_HIGH = 1.25  # a line of type, in sizes
GAP_PT, ROOM_PT = 1.2, 4.0  # what stays clear round a number, and what had better
FAR_PT = 13.0  # a number farther from what it names is joined to it by a line
POINTS_PER_IN = 72
MEASURED_PX = 100  # type is measured at this size


@dataclass(frozen=True)
class Arrow:
    """How something moves; its length says nothing."""

    start: Array  # (2,)
    end: Array


@dataclass(frozen=True)
class Note:
    """Words in a box. leader: (2, 2) the line to what it names, where that isn't beside it."""

    words: str
    size_pt: float
    place: Array  # (2,) its middle
    extent: Array  # (2,) width, height
    bold: bool = False
    plate: bool = True  # white behind it
    leader: Array | None = None

    @property
    def box(self) -> Array:
        """(4, 2)"""
        return box_at(self.place, self.extent)


@dataclass(frozen=True)
class Marks:
    """All of it."""

    wedges: tuple[Array, ...]  # (4, 2) each
    arrows: tuple[Arrow, ...]
    notes: tuple[Note, ...]
    head_in: float  # across an arrow's head

    def shapes(self) -> list[Array]:
        """What no note may lie over, convex: (4, 2) each."""
        return [*self.wedges, *(strip_of(arrow.start, arrow.end, self.head_in) for arrow in self.arrows)]


@dataclass
class _Laying:
    """What was laid so far."""

    scale: float  # paper's inches for one on the top
    extent_in: Array  # (2, 2) least and most
    taken: Taken = field(default_factory=Taken)
    wedges: list[Array] = field(default_factory=list)
    arrows: list[Arrow] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    waiting: list[tuple[str, Wish]] = field(default_factory=list)

    def points(self, count: float) -> float:
        """Inches on the top that so many points of the paper stand for."""
        return count / POINTS_PER_IN / self.scale

    def extent(self, words: str, size_pt: float, bold: bool = False) -> Array:
        """(2,) of a line of type."""
        width = text_width(drawable(words), MEASURED_PX, bold) / MEASURED_PX
        return self.points(size_pt) * np.array([width, LINE_HIGH])


def reach_of(fit: Fit) -> float:
    """Half the width of what the picture shows, inches."""
    return max((float(np.hypot(*lobe.tip_in)) for lobe in fit.lobes), default=1.0) + MARGIN_IN


def exaggeration(plan: Plan) -> int:
    """How many times as deep as it is the wood to take off is drawn."""
    deepest = max((max(ease.root_in, ease.shoulder_in) for ease in plan.eases), default=0.0)
    most = min([DEEPEST_DRAWN_IN, *(DEEPEST_SHARE * ease.length_in for ease in plan.eases)])
    return next((times for times in EXAGGERATIONS if times * deepest <= most), EXAGGERATIONS[-1])


def plan_marks(fit: Fit, plan: Plan, scale: float) -> Marks:
    """Laid out for a drawing of so many inches of paper to the inch of the top."""
    reach = reach_of(fit)
    laying = _Laying(scale, np.array([[-reach, -reach], [reach, reach]]))
    times, when = exaggeration(plan), _when(fit, plan)
    for ease in plan.eases:
        _lay_wedge(laying, fit.by_number[ease.lobe], ease, times)
    for move in plan.moves:
        _lay_tip_arrow(laying, fit.by_number[move.lobe], move)
    for lobe in fit.lobes:
        _lay_number(laying, lobe, when[lobe.number])
    _lay_notes(laying)  # beside wedges and points, which have one place each; the arrows in a lobe go where room is left
    for move in plan.moves:
        _lay_arrows(laying, fit.by_number[move.lobe], move)
    _lay_notes(laying)
    return Marks(tuple(laying.wedges), tuple(laying.arrows), tuple(laying.notes), laying.points(HEAD_PT))


def _lay_wedge(laying: _Laying, lobe: FitLobe, ease: Ease, times: int) -> None:
    """The wood to take off, inside the edge; its depth at either end as a number."""
    root, shoulder = lobe.outline_in[0], lobe.outline_in[1 if ease.side == "left" else 3]
    way = (shoulder - root) / np.hypot(*(shoulder - root))
    inward = right_of(way) if ease.side == "left" else -right_of(way)
    # Kept off the very ends, where edges of other lobes meet.
    ends = [root + 0.06 * (shoulder - root), shoulder - 0.03 * (shoulder - root)]
    depths = [ease.root_in, ease.shoulder_in]
    wedge = np.stack([ends[0], ends[1], ends[1] + times * depths[1] * inward, ends[0] + times * depths[0] * inward])
    laying.wedges.append(wedge)
    laying.taken.add(_larger(wedge, laying.points(1.0)))
    for end, depth, along in zip(ends, depths, (0.12, -0.12), strict=True):
        if depth:
            about = end + along * way + times * depth * inward
            _await(laying, decimals(depth, 3), about, [(inward, 0.3)], lobe.outline_in)


def _larger(shape: Array, by: float) -> Array:
    """As much larger as its line is wide."""
    middle = shape.mean(axis=0)
    away = np.hypot(*(shape - middle).T)[:, None]
    return np.asarray(middle + (shape - middle) * (1 + by / np.maximum(away, 1e-9)))


def _await(laying: _Laying, words: str, about: Array, worse: list[tuple[Array, float]], within: Array | None = None) -> None:
    extent = laying.extent(words, SMALL_PT)
    laying.waiting.append((words, around(about, extent, worse, within=within)))


def _lay_tip_arrow(laying: _Laying, lobe: FitLobe, move: Move) -> None:
    """Across the seam, beyond the point."""
    if abs(move.tip_right_in) < TOLD_MOVE_IN:
        return
    across = np.sign(move.tip_right_in) * right_of(lobe.axis)
    middle = _lay_arrow(laying, [lobe.tip_in + by * lobe.axis for by in TIP_ARROW_OUT_IN], across)
    _await(laying, decimals(move.tip_right_in, 3), middle, [(lobe.axis, 0.4)])


def _lay_arrows(laying: _Laying, lobe: FitLobe, move: Move) -> None:
    """How far its root goes aside, across the lobe; how far all of it goes, along it."""
    across = right_of(lobe.axis)
    if abs(move.root_right_in) >= TOLD_MOVE_IN:
        middles = [_on(lobe, at) + aside * across for aside in ASIDE_IN for at in ROOT_ARROW_AT]
        middle = _lay_arrow(laying, middles, np.sign(move.root_right_in) * across)
        _await(laying, say("root {by}", by=decimals(move.root_right_in, 3)), middle, [], lobe.outline_in)
    if abs(move.out_in) >= TOLD_MOVE_IN:
        shares = (OUT_ARROW_AT, OUT_ARROW_ELSE)
        middles = [_on(lobe, at) + aside * across for some in shares for aside in ASIDE_IN for at in some]
        middle = _lay_arrow(laying, middles, np.sign(move.out_in) * lobe.axis)
        _await(laying, decimals(move.out_in, 3), middle, [], lobe.outline_in)


def _on(lobe: FitLobe, share: float) -> Array:
    """A place on the lobe's axis."""
    return np.asarray(lobe.root_in + share * lobe.length_in * lobe.axis)


def _lay_arrow(laying: _Laying, middles: Sequence[Array], way: Array) -> Array:
    """At the first of these places that is clear, or else at the first; (2,) where."""
    places = [(middle, length / 2 * way) for length in ARROWS_IN for middle in middles]
    head, gap = laying.points(HEAD_PT), laying.points(GAP_PT)

    def strip(middle: Array, half: Array, wider: float) -> Array:
        return strip_of(middle - half - wider * way, middle + half + wider * way, head + 2 * wider)

    middle, half = next((place for place in places if not laying.taken.hits(strip(*place, gap))), places[0])
    laying.arrows.append(Arrow(middle - half, middle + half))
    laying.taken.add(strip(middle, half, 0.0))
    return middle


def _when(fit: Fit, plan: Plan) -> dict[int, str]:
    """When each lobe is laid, by its number."""
    if plan.waits:
        return {lobe.number: say("to turn") if lobe.number in fit.odd_lobes else "" for lobe in fit.lobes}
    steps = {move.lobe: _ordinal(step) for step, move in enumerate(plan.moves, 1)}
    return {lobe.number: steps.get(lobe.number, say("stays")) for lobe in fit.lobes}


def _lay_number(laying: _Laying, lobe: FitLobe, words: str) -> None:
    """Its number, and words beneath it."""
    number, when = laying.extent(str(lobe.number), NUMBER_PT, bold=True), laying.extent(words, SMALL_PT)
    whole = np.array([max(number[0], when[0]), number[1] + when[1]])
    places = [_on(lobe, at) + aside * right_of(lobe.axis) for aside in ASIDE_IN for at in NUMBER_AT]
    gap = laying.points(GAP_PT)
    place = next((place for place in places if not laying.taken.hits(box_at(place, whole, gap))), places[0])
    top = place + [0, when[1] / 2]
    laying.notes.append(Note(str(lobe.number), NUMBER_PT, top, number, bold=True, plate=False))
    laying.notes.append(Note(words, SMALL_PT, place - [0, number[1] / 2], when, plate=False))
    laying.taken.add(box_at(place, whole))


def _ordinal(number: int) -> str:
    return f"{number}{'th' if 10 < number % 100 < 14 else {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th')}"


def _lay_notes(laying: _Laying) -> None:
    page = Page(laying.extent_in, laying.points(GAP_PT), laying.points(ROOM_PT), laying.points(FAR_PT))
    places = place_all([wish for _, wish in laying.waiting], laying.taken, page)
    for (words, wish), place in zip(laying.waiting, places, strict=True):
        laying.notes.append(Note(words, SMALL_PT, place, wish.size, leader=line_to(wish, place, page)))
    laying.waiting.clear()
