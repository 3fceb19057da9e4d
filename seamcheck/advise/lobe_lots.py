"""Cut lobes sorted ring by ring against their patterns, and laid out round the top."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto

import numpy as np

from ..kite import HalfShape
from .lobe_order import Order, Place, best_order, too_many
from .lobe_sort import REACH, Limits, Lot, Sorted, sort_lobe
from .loose_set import LooseLobe, rings_by_size, usual_shape, usual_side
from .rose_place import RosePattern

_BEST_FIRST = (Lot.USE, Lot.MEND, Lot.TRY, Lot.CUT_AGAIN, Lot.UNKNOWN)
# A lobe farther than this from every pattern belongs to none (inches, in length and at the shoulder together).
MOST_AWAY_IN = 1 / 4
# Where no pattern was given, root angles may be this far from those that close: of a full turn, of the notch before (rad).
ODD_ANGLE = np.radians(3)


class NoOrder(Enum):
    """Why it can't be said in which order lobes go round the top."""

    NOT_CLOSING = auto()  # no pattern was given, and what the lobes seem to have been cut to makes no rose
    OTHER_ROSE = auto()  # no pattern was given, and the rose that was placed on the top has other rings
    LIKE_NONE = auto()  # none is like the first ring's pattern
    NOT_WHOLE = auto()  # none of the first ring was measured whole
    TOO_MANY = auto()


@dataclass(frozen=True)
class Lots:
    """All lobes, and the best round of those that can be laid."""

    sorted: tuple[Sorted, ...]  # in the lobes' order
    rings: tuple[int | None, ...]  # each lobe's ring; None where it can't be told
    patterns: tuple[HalfShape, ...]  # ring by ring
    told: bool  # whether the patterns were given, or are what the lobes seem to have been cut to
    dark_side: str | None  # of most lobes
    order: Order | NoOrder
    wanted: tuple[int, ...]  # how many lobes each ring takes


def lots(
    lobes: Sequence[LooseLobe],
    patterns: Sequence[HalfShape] | None,
    places: Sequence[Place] | None,
    limits: Limits,
    dark_side: str | None,
    own: Sequence[tuple[int, HalfShape]] = (),
) -> Lots:
    """Sort and order. patterns: ring by ring, None where there are none; places: of the rose's tips, None for an even top.

    own: further patterns, each with its ring; a lobe is held against whichever of its ring's suits it best.
    """
    side = dark_side or usual_side(lobes)
    lobes = [lobe.over() if side is not None and lobe.dark_side not in (None, side) else lobe for lobe in lobes]
    told = patterns is not None
    if patterns is None:
        patterns = supposed_patterns(lobes)
    rings = [ring_of(lobe, patterns) for lobe in lobes]
    results = [
        Sorted(lobe, Lot.UNKNOWN, (), 0.0, (), ()) if ring is None else _best(lobe, _of_ring(ring, patterns, own), limits)
        for lobe, ring in zip(lobes, rings, strict=True)
    ]
    wanted = rings_of(patterns)
    if places is not None and patterns:
        deepest = max([len(patterns), *(place.ring for place in places)])
        wanted = tuple(sum(place.ring == k + 1 for place in places) for k in range(deepest))
    by_ring = [
        [
            one.lobe
            for one, ring in sorted(zip(results, rings, strict=True), key=lambda pair: _how_good(pair[0]))
            if ring == k + 1 and one.lobe.is_whole
        ]
        for k in range(len(patterns))
    ]
    order: Order | NoOrder
    usable = [_usable(ring, many, results) for ring, many in zip(by_ring, wanted, strict=False)]
    if not patterns:
        order = NoOrder.NOT_WHOLE
    elif not told and not closes(patterns):
        order = NoOrder.NOT_CLOSING
    elif not told and places is not None and wanted != rings_of(patterns):
        order = NoOrder.OTHER_ROSE
    elif not by_ring[0]:
        like_none = all(ring != 1 for ring in rings) and any(lobe.is_whole for lobe in lobes)
        order = NoOrder.LIKE_NONE if like_none else NoOrder.NOT_WHOLE
    elif too_many(len(usable[0]), wanted[0]):
        order = NoOrder.TOO_MANY
    else:
        order = best_order(places or even_places(sum(wanted), len(patterns)), usable, patterns)
    return Lots(tuple(results), tuple(rings), tuple(patterns), told, side, order, wanted)


def _of_ring(ring: int, patterns: Sequence[HalfShape], own: Sequence[tuple[int, HalfShape]]) -> list[HalfShape]:
    return [patterns[ring - 1], *(shape for number, shape in own if number == ring)]


def _best(lobe: LooseLobe, patterns: Sequence[HalfShape], limits: Limits) -> Sorted:
    """The lobe against the pattern that suits it best."""
    return min((sort_lobe(lobe, pattern, limits) for pattern in patterns), key=_how_good)


def _how_good(one: Sorted) -> tuple[int, float]:
    return _BEST_FIRST.index(one.lot), max((abs(spare.wood.value) for spare in one.spares if spare.edge != REACH), default=0.0)


def _usable(ring: Sequence[LooseLobe], wanted: int, results: Sequence[Sorted]) -> list[LooseLobe]:
    """A ring's lobes, best first, without those to be cut again as far as there are others."""
    lot = {one.lobe.name: one.lot for one in results}
    good = [lobe for lobe in ring if lot[lobe.name] is not Lot.CUT_AGAIN]
    return good if len(good) >= wanted else list(ring)


def supposed_patterns(lobes: Sequence[LooseLobe]) -> list[HalfShape]:
    """What the lobes seem to have been cut to, ring by ring; the first ring's root angles make a full turn, where they nearly do."""
    shapes = [usual_shape(ring) for ring in rings_by_size(lobes)]
    if shapes:
        first = shapes[0]
        half = np.pi / max(round(2 * np.pi / first.root_angle), 3)
        if abs(2 * half - first.root_angle) <= ODD_ANGLE:
            shapes[0] = HalfShape(first.length_in, half, half, first.left_short_in, first.right_short_in)
    return shapes


def rings_of(patterns: Sequence[HalfShape]) -> tuple[int, ...]:
    """How many lobes each ring takes."""
    if not patterns:
        return ()
    count = round(2 * np.pi / patterns[0].root_angle)
    return (count, *(count * 2 ** max(k - 1, 0) for k in range(1, len(patterns))))


def closes(patterns: Sequence[HalfShape]) -> bool:
    """Whether patterns may be the rings of one rose: their root angles close, on a full turn and in the notches before them."""
    if not 1 <= len(patterns) <= 3:
        return False
    first = patterns[0]
    count = round(2 * np.pi / first.root_angle)
    if count < 3 or abs(2 * np.pi / count - first.root_angle) > ODD_ANGLE:
        return False
    if len(patterns) > 1:
        notch = first.root_angle + sum(first.tips)
        if abs(patterns[1].root_angle - notch) > ODD_ANGLE:
            return False
    return len(patterns) < 3 or abs(patterns[2].root_angle - np.pi / count - sum(first.tips) / 2 - sum(patterns[1].tips) / 2) < ODD_ANGLE


def ring_of(lobe: LooseLobe, patterns: Sequence[HalfShape]) -> int | None:
    """The ring whose pattern a lobe is nearest to, in length and root angle; None where its length isn't known or it is near none."""
    if "length" not in lobe.numbers or not patterns:
        return None

    def away(shape: HalfShape) -> float:
        angle = 0.0 if lobe.root_angle is None else (lobe.root_angle.value - shape.root_angle) * shape.left_short_in
        return float(np.hypot(lobe.value("length") - shape.length_in, angle))

    nearest = min(range(len(patterns)), key=lambda k: away(patterns[k]))
    return nearest + 1 if away(patterns[nearest]) < MOST_AWAY_IN else None


def even_places(points: int, rings: int) -> list[Place]:
    """Of a rose whose seams are even, the first point of the first ring at 12."""
    of = RosePattern(points, tuple(1.0 for _ in range(rings))).rings
    first = next(k for k in range(points) if of[k] == 1)
    return [Place((k - first) % points + 1, int(of[k]), 2 * np.pi * ((k - first) % points) / points) for k in range(points)]
