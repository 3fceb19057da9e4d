"""All edges of all lobes: own seams first, then long edges twice, the second time knowing the ring's shape and the shade."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..basis.frames import Array, right_of, unit_of_bearing, wrap_angle
from ..basis.lines import crossing
from ..edges import NO_SHARPENING, LinearPatch, tone_of
from ..kite import FoundLobe
from ..optics import Optics
from ..plane.camera import Camera
from .edge_fit import measure_edges
from .edge_profile import Beyond, Flush, Half, Plain
from .edge_task import EdgeFit, EdgeTask, Wood
from .lobe_context import Context, is_dark, wood_of
from .lobe_room import nearest_on, room_along
from .lobe_shade import learn_shades
from .model_mean import of_both
from .pattern import ODD_ANGLE, SIDES, U_PATTERN, Pair, axis_of, departures_in, fits_pattern, half_angles_of, outvoted
from .shading import Shading

# A tip is where straight lines through the outer 60 % of the long edges meet (the measuring definition).
OUTER_SHARE = 0.6
# Points are chipped, rounded and cut: the last stretch before the tip isn't used, inches.
POINT_LEFT_OUT_IN = 0.08
# Roots and shoulders are rounded: so much of a short edge is left out at either end, inches.
CORNER_LEFT_OUT_IN = 0.06
# How far found edges lie off and turn, at worst and usually.
FOUND_SEARCH_IN, FOUND_U_IN, FOUND_U_TURN = 0.08, 0.035, 0.03
AGAIN_SEARCH_IN, AGAIN_U_IN = 0.05, 0.02
# An own seam's step in tone is at least so much of the usual one's.
OWN_STEP_SHARE = 0.4
# ... and shows over at least so much of the lobe's length.
LEAST_OWN_SPAN = 0.3
# An own seam of which less is seen than this is measured again, the woods known, so that tape can be left out.
WELL_SEEN = 0.7
# Glue lines round an inlaid lobe: mean and standard deviation where nothing is known, and how alike they are at best (common
# practice, no source).
ANY_GLUE_IN, MIN_U_GLUE_IN = (0.005, 0.004), 0.003
# One wood's tone differs from lobe to lobe by no more than this (log light): beyond, tape was taken for wood.
MOST_SPREAD = 0.3
# How often the shade is learnt once more from edges that were measured in it.
MOST_LESSONS = 2
# A fainter step than this, or one whose model leaves more than this share of the step's square unexplained, is tape's or a shadow's.
LEAST_CONTRAST, MOST_UNEXPLAINED = 1.5, 0.1
# An own seam is a plain step: of 285 in rendered pictures none left more than .006 unexplained; a stripe in the wood taken for one did.
OWN_MOST_UNEXPLAINED = 0.012
# One that leaves more than this, and lies farther from the middle between its lobe's edges than MOST_DEPARTURE_IN, is none either.
OWN_DOUBTFUL_UNEXPLAINED = 0.006
# The farther an edge lies from where its ring's pattern puts it, the better its model must explain it, or it is another line: so far off,
# all but this share of the step's square, and steeply with the distance. Half of 553 edges in rendered pictures lie within .007 in of the
# pattern; of those .05 off, the right ones leave less than .003 unexplained.
DOUBTFUL_UNEXPLAINED, MOST_DEPARTURE_IN = 0.03, 0.036
# In a soft photo profiles are so smooth that a right model leaves next to nothing: so much of what it is allowed to.
SOFT_MOST_UNEXPLAINED = 0.5


@dataclass(frozen=True)
class LobeFit:
    """The measured edges of one lobe, root to tip or shoulder to tip; None where an edge can't be had."""

    own: EdgeFit | None
    left: EdgeFit | None
    right: EdgeFit | None
    left_short: EdgeFit | None = None  # root to shoulder; loose lobes only
    right_short: EdgeFit | None = None

    @property
    def tip_in(self) -> Array | None:
        """(2,): where the two long edges meet."""
        if self.left is None or self.right is None:
            return None
        return crossing(self.left.line, self.right.line)


def measure_lobes(
    patch: LinearPatch, camera: Camera, optics: Optics, lobes: Sequence[FoundLobe], z_in: float, raised: bool, u_face_in: float
) -> list[LobeFit]:
    """Measure own seams and long edges (and loose lobes' short ones), in the lobes' order.

    z_in: the height of the lobes' faces, known to u_face_in; raised: whether they stand on the field.
    """
    beyond: Beyond = Plain() if raised else Flush()
    owns = _like_the_others(lobes, measure_edges(patch, camera, [_own_task(lobe, optics, camera, z_in) for lobe in lobes], z_in))
    woods = _woods(lobes, owns)
    badly = [k for k, own in enumerate(owns) if own is None or own.line.seen_fraction <= WELL_SEEN]
    again = measure_edges(patch, camera, [_own_task(lobes[k], optics, camera, z_in, woods) for k in badly], z_in)
    for k, own in zip(badly, again, strict=True):
        owns[k] = own
    owns = _like_the_others(lobes, owns)
    context = Context(patch, camera, lobes, z_in, u_face_in, woods, optics)
    tasks = [_found_task(context, k, side, beyond) for k in range(len(lobes)) for side in SIDES]
    first = _in_pairs(measure_edges(patch, camera, tasks, z_in, finely=False))
    half_angles = half_angles_of(lobes, owns, first)
    axes = [axis_of(own, pair, half) for own, pair, half in zip(owns, first, half_angles, strict=True)]
    owns = [
        own if own is None or axis is None or abs(wrap_angle(own.line.bearing - axis)) < ODD_ANGLE else None
        for own, axis in zip(owns, axes, strict=True)
    ]
    shading = next(iter(learn_shades(context, axes, first, half_angles, [NO_SHARPENING])), None) if raised else None
    if not raised:
        beyond = Flush(_usual_glue(lobes, first))
    pairs = _again(context, owns, first, axes, half_angles, shading, beyond)
    if shading is not None:
        shading, pairs = _in_better_shade(context, axes, half_angles, shading, pairs)
    departures = departures_in(lobes, owns, pairs, half_angles)
    fits = []
    for lobe, own, pair, away, odd in zip(lobes, owns, pairs, departures, outvoted(lobes, pairs, departures), strict=True):
        left, right = (
            None if edge is None or is_odd or not _is_sound(edge, wood_of(woods, lobe, side), optics.is_soft, departure) else edge
            for side, edge, departure, is_odd in zip(SIDES, pair, away, odd, strict=True)
        )
        fits.append(LobeFit(None if own is not None and _is_stripe(own, away) else own, left, right))
    if all(lobe.ring is None for lobe in lobes):
        suppositions = [None] if shading is None else [shading, None]
        each = [
            measure_edges(patch, camera, [_short_task(context, k, side, one) for k in range(len(lobes)) for side in SIDES], z_in)
            for one in suppositions
        ]
        short = [_of_known(edges) for edges in zip(*each, strict=True)]
        fits = [replace(fit, left_short=left, right_short=right) for fit, (left, right) in zip(fits, _in_pairs(short), strict=True)]
    return fits


def _in_pairs(edges: Sequence[EdgeFit | None]) -> list[tuple[EdgeFit | None, EdgeFit | None]]:
    """Left and right of each lobe."""
    return list(zip(edges[::2], edges[1::2], strict=True))


def _of_known(edges: Sequence[EdgeFit | None]) -> EdgeFit | None:
    """One edge of what it is under each supposition, as far as it stands out."""
    known = [edge for edge in edges if edge is not None and edge.contrast > LEAST_CONTRAST]
    return of_both(known[0], known[1] if len(known) > 1 else None) if known else None


def _short_task(context: Context, k: int, side: int, shading: Shading | None) -> EdgeTask:
    """Task for a loose lobe's short edge, root to shoulder."""
    kite = context.kites[k]
    shoulder = kite.left_in if side < 0 else kite.right_in
    along = (shoulder - kite.root_in) / np.linalg.norm(shoulder - kite.root_in)
    start, stop = kite.root_in + CORNER_LEFT_OUT_IN * along, shoulder - CORNER_LEFT_OUT_IN * along
    beyond = Plain() if shading is None else context.shaded(shading, (start + stop) / 2, side * right_of(along))
    room = context.room(k, side, start, stop, kite.tip_in)
    task = EdgeTask(start, stop, side, beyond, room, FOUND_SEARCH_IN, FOUND_U_IN, 2 * FOUND_U_TURN, inside_wood=context.wood(k, side))
    return task.drawn_by(context.optics, context.camera, context.z_in)


def _is_stripe(own: EdgeFit, away_in: Sequence[float | None]) -> bool:
    """Whether an own seam that is explained none too well lies beside its lobe's middle: both edges depart from it, to one side."""
    left, right = away_in
    return (
        left is not None
        and right is not None
        and abs(left - right) / 2 > MOST_DEPARTURE_IN
        and own.misfit > OWN_DOUBTFUL_UNEXPLAINED * own.contrast**2
    )


def _is_sound(edge: EdgeFit, wood: Wood | None, is_soft: bool, departure_in: float | None) -> bool:
    """Whether an edge is a step at all, that its model explains, where it can be, and bounds the wood that it should."""
    apart = 0.0 if departure_in is None else departure_in / MOST_DEPARTURE_IN
    if edge.misfit * apart**4 > DOUBTFUL_UNEXPLAINED * edge.contrast**2:
        return False
    if is_soft and edge.misfit > SOFT_MOST_UNEXPLAINED:
        return False
    if edge.contrast < LEAST_CONTRAST or edge.misfit > MOST_UNEXPLAINED * edge.contrast**2:
        return False
    return wood is None or bool(wood.is_like(tone_of(edge.inside_light)))


def _like_the_others(lobes: Sequence[FoundLobe], owns: Sequence[EdgeFit | None]) -> list[EdgeFit | None]:
    """Own seams whose step from dark to light is like the other lobes'; tape's edges and stripes are left out."""
    steps = [None if own is None else tone_of(own.outside_light) - tone_of(own.inside_light) for own in owns]
    known = [float(np.mean(np.abs(step))) for step in steps if step is not None]
    if len(known) < 3:
        return list(owns)
    usual = float(np.median(known))
    result: list[EdgeFit | None] = []
    for lobe, own, step in zip(lobes, owns, steps, strict=True):
        good = own is not None and step is not None and np.mean(np.abs(step)) > OWN_STEP_SHARE * usual
        good = good and own is not None and own.misfit <= OWN_MOST_UNEXPLAINED * own.contrast**2
        good = good and own is not None and 2 * own.line.half_span_in > LEAST_OWN_SPAN * lobe.kite.length_in
        if good and step is not None and lobe.dark_side is not None:
            good = (np.mean(step) < 0) == (lobe.dark_side == "cw")
        result.append(own if good else None)
    return result


def _woods(lobes: Sequence[FoundLobe], owns: Sequence[EdgeFit | None]) -> dict[bool, Wood]:
    """The dark (True) and the light wood, as the own seams' two sides show them."""
    tones: dict[bool, list[Array]] = {True: [], False: []}
    for lobe, own in zip(lobes, owns, strict=True):
        if own is None or lobe.dark_side is None:
            continue
        tones[is_dark(lobe, -1)].append(tone_of(own.inside_light))
        tones[is_dark(lobe, 1)].append(tone_of(own.outside_light))
    result = {}
    for dark, seen in tones.items():
        if len(seen) >= 3:
            middle = np.median(seen, axis=0)
            spread = 1.4826 * np.median(np.abs(np.array(seen) - middle), axis=0)
            result[dark] = Wood(middle, np.minimum(spread, MOST_SPREAD))
    return result


def _usual_glue(lobes: Sequence[FoundLobe], pairs: Sequence[Pair]) -> tuple[float, float]:
    """Mean and standard deviation (inches) of the glue lines round the rose, as the light halves show them."""
    seen = [
        edge.glue_in
        for lobe, pair in zip(lobes, pairs, strict=True)
        for side, edge in zip(SIDES, pair, strict=True)
        if edge is not None and lobe.dark_side is not None and not is_dark(lobe, side)
    ]
    if len(seen) < 3:
        return ANY_GLUE_IN
    return float(np.mean(seen)), float(np.hypot(np.std(seen, ddof=1), MIN_U_GLUE_IN))


def _own_task(lobe: FoundLobe, optics: Optics, camera: Camera, z_in: float, woods: dict[bool, Wood] | None = None) -> EdgeTask:
    """Task for the own seam, root to tip; its left half is the inside."""
    kite = lobe.kite
    along = kite.tip_in - kite.root_in
    start, stop = kite.root_in + 0.06 * along, kite.tip_in - POINT_LEFT_OUT_IN * along / np.linalg.norm(along)
    room = room_along(start, stop, 1, kite.corners_in[:3], kite.corners_in[[2, 3, 0]])
    left, right = (wood_of(woods or {}, lobe, side) for side in SIDES)
    task = EdgeTask(start, stop, 1, Half(), room, FOUND_SEARCH_IN, FOUND_U_IN, FOUND_U_TURN, inside_wood=left, outside_wood=right)
    return task.drawn_by(optics, camera, z_in)


def _found_task(context: Context, k: int, side: int, beyond: Beyond) -> EdgeTask:
    """Task for the long edge of lobe k on a side (-1 left, +1 right), as found."""
    kite = context.kites[k]
    shoulder = kite.left_in if side < 0 else kite.right_in
    return _edge_task(context, k, side, shoulder, kite.tip_in, beyond, FOUND_SEARCH_IN, FOUND_U_IN, FOUND_U_TURN)


def _edge_task(
    context: Context, k: int, side: int, shoulder: Array, tip: Array, beyond: Beyond, search_in: float, u_place_in: float, u_turn: float
) -> EdgeTask:
    along = tip - shoulder
    start, stop = tip - OUTER_SHARE * along, tip - POINT_LEFT_OUT_IN * along / np.linalg.norm(along)
    task = EdgeTask(start, stop, side, beyond, context.room(k, side, start, stop, tip), search_in, u_place_in, u_turn)
    return replace(task.drawn_by(context.optics, context.camera, context.z_in), inside_wood=context.wood(k, side))


def _task_along(context: Context, k: int, side: int, bearing: float, tip: Array, beyond: Beyond, shading: Shading | None) -> EdgeTask:
    """Task for a long edge of lobe k that was seen before, about the line of a bearing to a tip; beyond it the shade, where it's known."""
    kite = context.kites[k]
    length = float(np.linalg.norm(kite.tip_in - (kite.left_in if side < 0 else kite.right_in)))
    direction = unit_of_bearing(bearing)
    if shading is not None:
        beyond = context.shaded(shading, tip - 0.5 * OUTER_SHARE * length * direction, side * right_of(direction))
    return _edge_task(context, k, side, tip - length * direction, tip, beyond, AGAIN_SEARCH_IN, AGAIN_U_IN, U_PATTERN)


def _again(
    context: Context,
    owns: Sequence[EdgeFit | None],
    first: Sequence[Pair],
    axes: Sequence[float | None],
    half_angles: Sequence[float | None],
    shading: Shading | None,
    beyond: Beyond,
) -> list[Pair]:
    """The long edges once more: from where they were, or where the ring's pattern puts them, with the shade known."""
    edges = [edge for pair in first for edge in pair]
    tasks: dict[int, EdgeTask] = {}
    for number in range(len(edges)):
        k, side = number // 2, SIDES[number % 2]
        line = _likely_line(context, k, side, owns[k], first[k], axes[k], half_angles[k], shading is not None)
        if line is None:
            continue
        tasks[number] = _task_along(context, k, side, *line, beyond, shading)
    for number, edge in zip(tasks, measure_edges(context.patch, context.camera, list(tasks.values()), context.z_in), strict=True):
        edges[number] = edge
    return _in_pairs(edges)


def _in_better_shade(
    context: Context, axes: Sequence[float | None], half_angles: Sequence[float | None], shading: Shading, pairs: list[Pair]
) -> tuple[Shading, list[Pair]]:
    """The shade learnt once more, from edges measured in it, and the edges measured in that: as long as both are explained better."""
    undone = [NO_SHARPENING, context.optics.sharpening]
    for _ in range(MOST_LESSONS):
        shades = learn_shades(context, axes, pairs, half_angles, undone)
        every = _in_these_shades(context, pairs, shades)
        left = [np.log(one.misfit / shading.misfit) + _left_over(closer, pairs) for one, closer in zip(shades, every, strict=True)]
        if min(left, default=0.0) >= 0:
            break
        best = int(np.argmin(left))
        shading, pairs, undone = shades[best], every[best], [undone[best]]
    return shading, pairs


def _in_these_shades(context: Context, pairs: Sequence[Pair], shades: Sequence[Shading]) -> list[list[Pair]]:
    """The long edges that were found, measured once more about where they lie, in each of the shades."""
    edges = [edge for pair in pairs for edge in pair]
    tasks: dict[tuple[int, int], EdgeTask] = {}
    for number, edge in enumerate(edges):
        if edge is None:
            continue
        k, side = number // 2, SIDES[number % 2]
        tip = nearest_on(edge.line, context.kites[k].tip_in)
        for which, shading in enumerate(shades):
            tasks[which, number] = _task_along(context, k, side, edge.line.bearing, tip, Plain(), shading)
    every = [list(edges) for _ in shades]
    again = measure_edges(context.patch, context.camera, list(tasks.values()), context.z_in, sought=False)
    for (which, number), edge in zip(tasks, again, strict=True):
        every[which][number] = edge
    return [_in_pairs(one) for one in every]


def _left_over(pairs: Sequence[Pair], before: Sequence[Pair]) -> float:
    """What the models of edges leave unexplained over what was left when they were measured before: log of the usual ratio."""
    both = [(one, other) for pair, old in zip(pairs, before, strict=True) for one, other in zip(pair, old, strict=True) if one and other]
    return float(np.mean([np.log(one.misfit / other.misfit) for one, other in both])) if both else 0.0


def _likely_line(
    context: Context,
    k: int,
    side: int,
    own: EdgeFit | None,
    pair: Pair,
    axis: float | None,
    half_angle: float | None,
    shade_known: bool,
) -> tuple[float, Array] | None:
    """Bearing and tip of a long edge, to begin from; None where there's nothing to be had from measuring it again."""
    edge, other = pair[(side + 1) // 2], pair[(1 - side) // 2]
    kite = context.kites[k]
    if axis is None or half_angle is None:
        return None if edge is None or not shade_known else (edge.line.bearing, nearest_on(edge.line, kite.tip_in))
    bearing = axis - side * half_angle
    direction = unit_of_bearing(bearing)
    if fits_pattern(edge, side, axis, half_angle):
        assert edge is not None
        pivot = edge.line.point_in
        tip: Array = pivot + float((kite.tip_in - pivot) @ direction) * direction
    elif own is not None and fits_pattern(other, -side, axis, half_angle):
        assert other is not None
        tip = crossing(other.line, own.line)
    else:
        tip = kite.tip_in if own is None else nearest_on(own.line, kite.tip_in)
    # Edge and seam cross at a slant: hold on to the found point where the crossing runs away.
    if np.linalg.norm(tip - kite.tip_in) > 3 * FOUND_SEARCH_IN:
        tip = kite.tip_in if own is None else nearest_on(own.line, kite.tip_in)
    return bearing, tip
