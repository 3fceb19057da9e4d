"""All edges of all lobes: own seams first, then long edges twice, the second time knowing the ring's shape and the shade."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..basis.frames import Array, right_of, unit_of_bearing, wrap_angle
from ..basis.lines import Line, crossing
from ..edges import LinearPatch, sample_strip, tone_of
from ..kite import FoundLobe, Kite
from ..optics import Optics
from ..plane.camera import Camera
from .edge_fit import measure_edge
from .edge_profile import Beyond, Flush, Half, Plain, Shaded
from .edge_task import EdgeFit, EdgeTask, Wood
from .lobe_room import lean_in, nearest_on, other_outlines, room_along
from .model_mean import of_both
from .pattern import ODD_ANGLE, SIDES, U_PATTERN, axis_of, departures_in, fits_pattern, half_angles_of
from .shading import EdgeShade, Shading, learn_shading

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
# A fainter step than this, or one whose model leaves more than this share of the step's square unexplained, is tape's or a shadow's.
LEAST_CONTRAST, MOST_UNEXPLAINED = 1.5, 0.1
# An own seam is a plain step: of 285 in rendered pictures none left more than .006 unexplained; a stripe in the wood taken for one did.
OWN_MOST_UNEXPLAINED = 0.012
# One that leaves more than this, and lies farther from the middle between its lobe's edges than MOST_DEPARTURE_IN, is none either.
OWN_DOUBTFUL_UNEXPLAINED = 0.006
# An edge that its model explains no better than this, and that lies farther than this from where its ring's pattern puts it, is another
# line: half of 553 edges in rendered pictures lie within .007 in of it, and some well explained ones .05 off.
DOUBTFUL_UNEXPLAINED, MOST_DEPARTURE_IN = 0.03, 0.036
# In a soft photo profiles are so smooth that a right model leaves next to nothing: so much of what it is allowed to.
SOFT_MOST_UNEXPLAINED = 0.5
# An edge teaches the shade with this much contrast, and this much of it seen.
TEACHER_CONTRAST, TEACHER_SEEN = 3.0, 0.5
# Shadowed field sends back about this share of the open field's light; a teacher's wood differs from that by so much (log light),
# and where fewer than FEW_TEACHERS do, the best teach.
SHADED_SHARE, TEACHER_APART, FEW_TEACHERS, ENOUGH_LIGHT = 0.5, 0.6, 6, 6
# A dark edge whose side is seen wider than this teaches nothing.
MOST_SIDE_SEEN_IN = 0.002
SHADE_FROM_IN, SHADE_TO_IN, SHADE_SAMPLES = 0.008, 0.12, 30


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
    owns = _like_the_others(lobes, [measure_edge(patch, camera, _own_task(lobe, optics, camera, z_in), z_in) for lobe in lobes])
    woods = _woods(lobes, owns)
    owns = [
        own
        if own is not None and own.line.seen_fraction > WELL_SEEN
        else measure_edge(patch, camera, _own_task(lobe, optics, camera, z_in, woods), z_in)
        for lobe, own in zip(lobes, owns, strict=True)
    ]
    owns = _like_the_others(lobes, owns)
    context = _Context(patch, camera, lobes, z_in, u_face_in, woods, optics)
    first = [
        [measure_edge(patch, camera, _found_task(context, k, side, beyond), z_in, finely=False) for side in SIDES]
        for k in range(len(lobes))
    ]
    half_angles = half_angles_of(lobes, owns, first)
    axes = [axis_of(own, pair, half) for own, pair, half in zip(owns, first, half_angles, strict=True)]
    owns = [
        own if own is None or axis is None or abs(wrap_angle(own.line.bearing - axis)) < ODD_ANGLE else None
        for own, axis in zip(owns, axes, strict=True)
    ]
    shading = _learn(context, axes, first, half_angles) if raised else None
    if not raised:
        beyond = Flush(_usual_glue(lobes, first))
    pairs = [
        [_again(context, k, side, owns[k], first[k], axes[k], half_angles[k], shading, beyond) for side in SIDES] for k in range(len(lobes))
    ]
    fits = []
    for lobe, own, pair, away in zip(lobes, owns, pairs, departures_in(lobes, owns, pairs), strict=True):
        left, right = (
            edge if edge is not None and _is_sound(edge, _wood_of(woods, lobe, side), optics.is_soft, departure) else None
            for side, edge, departure in zip(SIDES, pair, away, strict=True)
        )
        fits.append(LobeFit(None if own is not None and _is_stripe(own, away) else own, left, right))
    if all(lobe.ring is None for lobe in lobes):
        fits = [replace(fit, **_short_edges(context, k, shading)) for k, fit in enumerate(fits)]
    return fits


def _short_edges(context: _Context, k: int, shading: Shading | None) -> dict[str, EdgeFit | None]:
    """The short edges of a loose lobe, root to shoulder, by field name."""
    kite = context.kites[k]
    result: dict[str, EdgeFit | None] = {}
    for side, name, shoulder in ((-1, "left_short", kite.left_in), (1, "right_short", kite.right_in)):
        along = (shoulder - kite.root_in) / np.linalg.norm(shoulder - kite.root_in)
        start, stop = kite.root_in + CORNER_LEFT_OUT_IN * along, shoulder - CORNER_LEFT_OUT_IN * along
        room = context.room(k, side, start, stop, kite.tip_in)
        task = EdgeTask(start, stop, side, Plain(), room, FOUND_SEARCH_IN, FOUND_U_IN, 2 * FOUND_U_TURN, inside_wood=context.wood(k, side))
        task = task.drawn_by(context.optics, context.camera, context.z_in)
        tasks = [task]
        if shading is not None:
            tasks.insert(0, replace(task, beyond=context.shaded(shading, (start + stop) / 2, side * right_of(along))))
        edges = [measure_edge(context.patch, context.camera, one, context.z_in) for one in tasks]
        known = [edge for edge in edges if edge is not None and edge.contrast > LEAST_CONTRAST]
        result[name] = of_both(known[0], known[1] if len(known) > 1 else None) if known else None
    return result


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
    if departure_in is not None and abs(departure_in) > MOST_DEPARTURE_IN and edge.misfit > DOUBTFUL_UNEXPLAINED * edge.contrast**2:
        return False
    if is_soft and edge.misfit > SOFT_MOST_UNEXPLAINED:
        return False
    if edge.contrast < LEAST_CONTRAST or edge.misfit > MOST_UNEXPLAINED * edge.contrast**2:
        return False
    return wood is None or bool(wood.is_like(tone_of(edge.inside_light)))


@dataclass(frozen=True)
class _Context:
    """What every edge's measurement needs."""

    patch: LinearPatch
    camera: Camera
    lobes: Sequence[FoundLobe]
    z_in: float
    u_face_in: float
    woods: dict[bool, Wood]
    optics: Optics

    @cached_property
    def kites(self) -> list[Kite]:
        return [lobe.kite for lobe in self.lobes]

    def shaded(self, shading: Shading, at_in: Array, outward: Array) -> Shaded:
        """What lies beyond an edge of a raised lobe that passes a point, (2,) inches."""
        lean = lean_in(self.camera, at_in, outward, self.z_in)
        return Shaded(shading, outward, lean, lean * self.u_face_in / self.z_in)

    def wood(self, k: int, side: int) -> Wood | None:
        """The wood of lobe k's half on a side (-1 left, +1 right); None where it isn't known."""
        return _wood_of(self.woods, self.lobes[k], side)

    def room(self, k: int, side: int, start: Array, stop: Array, tip_in: Array) -> Array:
        """Room about an edge of lobe k: inward to its own seam, outward to the nearest other lobe."""
        own_seam = np.stack([self.kites[k].root_in, tip_in])
        return room_along(start, stop, side, own_seam, *other_outlines(self.kites, k))


def _is_dark(lobe: FoundLobe, side: int) -> bool:
    """Whether a lobe's half on a side (-1 left, +1 right) is the dark one."""
    return (lobe.dark_side == "cw") == (side > 0)


def _wood_of(woods: dict[bool, Wood], lobe: FoundLobe, side: int) -> Wood | None:
    return woods.get(_is_dark(lobe, side)) if lobe.dark_side else None


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
        tones[_is_dark(lobe, -1)].append(tone_of(own.inside_light))
        tones[_is_dark(lobe, 1)].append(tone_of(own.outside_light))
    result = {}
    for dark, seen in tones.items():
        if len(seen) >= 3:
            middle = np.median(seen, axis=0)
            spread = 1.4826 * np.median(np.abs(np.array(seen) - middle), axis=0)
            result[dark] = Wood(middle, np.minimum(spread, MOST_SPREAD))
    return result


def _usual_glue(lobes: Sequence[FoundLobe], pairs: Sequence[Sequence[EdgeFit | None]]) -> tuple[float, float]:
    """Mean and standard deviation (inches) of the glue lines round the rose, as the light halves show them."""
    seen = [
        edge.glue_in
        for lobe, pair in zip(lobes, pairs, strict=True)
        for side, edge in zip(SIDES, pair, strict=True)
        if edge is not None and lobe.dark_side is not None and not _is_dark(lobe, side)
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
    left, right = (_wood_of(woods or {}, lobe, side) for side in SIDES)
    task = EdgeTask(start, stop, 1, Half(), room, FOUND_SEARCH_IN, FOUND_U_IN, FOUND_U_TURN, inside_wood=left, outside_wood=right)
    return task.drawn_by(optics, camera, z_in)


def _found_task(context: _Context, k: int, side: int, beyond: Beyond) -> EdgeTask:
    """Task for the long edge of lobe k on a side (-1 left, +1 right), as found."""
    kite = context.kites[k]
    shoulder = kite.left_in if side < 0 else kite.right_in
    return _edge_task(context, k, side, shoulder, kite.tip_in, beyond, FOUND_SEARCH_IN, FOUND_U_IN, FOUND_U_TURN)


def _edge_task(
    context: _Context, k: int, side: int, shoulder: Array, tip: Array, beyond: Beyond, search_in: float, u_place_in: float, u_turn: float
) -> EdgeTask:
    along = tip - shoulder
    start, stop = tip - OUTER_SHARE * along, tip - POINT_LEFT_OUT_IN * along / np.linalg.norm(along)
    task = EdgeTask(start, stop, side, beyond, context.room(k, side, start, stop, tip), search_in, u_place_in, u_turn)
    return replace(task.drawn_by(context.optics, context.camera, context.z_in), inside_wood=context.wood(k, side))


def _learn(
    context: _Context, axes: Sequence[float | None], pairs: Sequence[Sequence[EdgeFit | None]], half_angles: Sequence[float | None]
) -> Shading | None:
    """Learn the shade from edges that stand out clearly from the field's light and its shadow alike."""
    teachers: list[tuple[float, EdgeShade]] = []  # how much lighter than shadowed field, and the shade
    for k, pair in enumerate(pairs):
        for side, edge in zip(SIDES, pair, strict=True):
            if edge is None or edge.contrast < TEACHER_CONTRAST or edge.line.seen_fraction < TEACHER_SEEN:
                continue
            if half_angles[k] is not None and not fits_pattern(edge, side, axes[k], half_angles[k]):
                continue
            shade = _shade_beside(context, k, side, edge.line)
            if shade is not None:
                lighter = float(np.mean(tone_of(edge.inside_light) - tone_of(edge.outside_light))) - np.log(SHADED_SHARE)
                lean = lean_in(context.camera, edge.line.point_in, side * edge.line.normal, context.z_in)
                # Beside dark wood the veneer's side, dark itself, passes for the face.
                if lighter > 0 or lean > -MOST_SIDE_SEEN_IN:
                    teachers.append((lighter, shade))
    # Wood lighter than the field and its shadow can't be taken for either; dark wood, far darker than both, comes next.
    light = [shade for lighter, shade in teachers if lighter > TEACHER_APART]
    if len(light) >= ENOUGH_LIGHT:
        return learn_shading(light, context.z_in)
    teachers.sort(key=lambda teacher: -abs(teacher[0]))
    clear = [shade for lighter, shade in teachers if abs(lighter) > TEACHER_APART]
    return learn_shading(clear if len(clear) >= FEW_TEACHERS else [shade for _, shade in teachers[:FEW_TEACHERS]], context.z_in)


def _shade_beside(context: _Context, k: int, side: int, line: Line) -> EdgeShade | None:
    """The field's light beside a measured edge, where the field lies open."""
    start, stop = line.ends_in
    room = context.room(k, side, start, stop, context.kites[k].tip_in)
    px_in = 1 / context.camera.px_per_in_at(line.point_in, context.z_in)
    strip = sample_strip(context.patch, context.camera, start, stop, context.z_in, SHADE_TO_IN + 2 * px_in, px_in)
    across = strip.across_in * side
    open_rows = np.interp(strip.along_in, room[:, 0], room[:, 2]) > SHADE_TO_IN + 0.02
    light = strip.light[open_rows].mean(axis=-1)
    if len(light) < 40 or not np.isfinite(light).all():
        return None
    lean = lean_in(context.camera, line.point_in, side * line.normal, context.z_in)
    # In a soft photo the lobe's own light reaches farther over the field.
    from_in = SHADE_FROM_IN + context.optics.softness_px(context.camera.normal_px(start, stop, context.z_in)) * px_in
    x_face = np.linspace(max(from_in, from_in - lean), SHADE_TO_IN, SHADE_SAMPLES)
    profile = np.median(light.astype(float), axis=0)
    order = np.argsort(across)
    return EdgeShade(side * line.normal, x_face + lean, np.interp(x_face, across[order], profile[order]))


def _again(
    context: _Context,
    k: int,
    side: int,
    own: EdgeFit | None,
    pair: Sequence[EdgeFit | None],
    axis: float | None,
    half_angle: float | None,
    shading: Shading | None,
    beyond: Beyond,
) -> EdgeFit | None:
    """The long edge once more: from where it was, or where the ring's pattern puts it, with the shade known."""
    edge, other = pair[(side + 1) // 2], pair[(1 - side) // 2]
    kite = context.kites[k]
    if axis is None or half_angle is None:
        if shading is None or edge is None:
            return edge
        bearing, tip = edge.line.bearing, nearest_on(edge.line, kite.tip_in)
    else:
        bearing = axis - side * half_angle
        direction = unit_of_bearing(bearing)
        if fits_pattern(edge, side, axis, half_angle):
            assert edge is not None
            pivot = edge.line.point_in
            tip = pivot + float((kite.tip_in - pivot) @ direction) * direction
        elif own is not None and fits_pattern(other, -side, axis, half_angle):
            assert other is not None
            tip = crossing(other.line, own.line)
        else:
            tip = kite.tip_in if own is None else nearest_on(own.line, kite.tip_in)
        # Edge and seam cross at a slant: hold on to the found point where the crossing runs away.
        if np.linalg.norm(tip - kite.tip_in) > 3 * FOUND_SEARCH_IN:
            tip = kite.tip_in if own is None else nearest_on(own.line, kite.tip_in)
    shoulder = kite.left_in if side < 0 else kite.right_in
    length = float(np.linalg.norm(kite.tip_in - shoulder))
    direction = unit_of_bearing(bearing)
    if shading is not None:
        beyond = context.shaded(shading, tip - 0.5 * OUTER_SHARE * length * direction, side * right_of(direction))
    task = _edge_task(context, k, side, tip - length * direction, tip, beyond, AGAIN_SEARCH_IN, AGAIN_U_IN, U_PATTERN)
    return measure_edge(context.patch, context.camera, task, context.z_in)
