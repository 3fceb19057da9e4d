"""What is asked of each edge of a lobe: where it runs, how far it may lie off, what lies beyond."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..basis.frames import Array, right_of, unit_of_bearing
from ..kite import FoundLobe
from ..optics import Optics
from ..plane.camera import Camera
from .edge_profile import Beyond, Half, Plain
from .edge_task import EdgeTask, Wood
from .lobe_context import Context, wood_of
from .lobe_room import room_along
from .pattern import SIDES, U_PATTERN
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


def short_task(context: Context, k: int, side: int, shading: Shading | None) -> EdgeTask:
    """Task for a loose lobe's short edge, root to shoulder."""
    kite = context.kites[k]
    shoulder = kite.left_in if side < 0 else kite.right_in
    along = (shoulder - kite.root_in) / np.linalg.norm(shoulder - kite.root_in)
    start, stop = kite.root_in + CORNER_LEFT_OUT_IN * along, shoulder - CORNER_LEFT_OUT_IN * along
    beyond = Plain() if shading is None else context.shaded(shading, (start + stop) / 2, side * right_of(along))
    room = context.room(k, side, start, stop, kite.tip_in)
    task = EdgeTask(start, stop, side, beyond, room, FOUND_SEARCH_IN, FOUND_U_IN, 2 * FOUND_U_TURN, inside_wood=context.wood(k, side))
    return task.drawn_by(context.optics, context.camera, context.z_in)


def own_task(lobe: FoundLobe, optics: Optics, camera: Camera, z_in: float, woods: dict[bool, Wood] | None = None) -> EdgeTask:
    """Task for the own seam, root to tip; its left half is the inside."""
    kite = lobe.kite
    along = kite.tip_in - kite.root_in
    start, stop = kite.root_in + 0.06 * along, kite.tip_in - POINT_LEFT_OUT_IN * along / np.linalg.norm(along)
    room = room_along(start, stop, 1, kite.corners_in[:3], kite.corners_in[[2, 3, 0]])
    left, right = (wood_of(woods or {}, lobe, side) for side in SIDES)
    task = EdgeTask(start, stop, 1, Half(), room, FOUND_SEARCH_IN, FOUND_U_IN, FOUND_U_TURN, inside_wood=left, outside_wood=right)
    return task.drawn_by(optics, camera, z_in)


def found_task(context: Context, k: int, side: int, beyond: Beyond) -> EdgeTask:
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


def task_along(context: Context, k: int, side: int, bearing: float, tip: Array, beyond: Beyond, shading: Shading | None) -> EdgeTask:
    """Task for a long edge of lobe k that was seen before, about the line of a bearing to a tip; beyond it the shade, where it's known."""
    kite = context.kites[k]
    length = float(np.linalg.norm(kite.tip_in - (kite.left_in if side < 0 else kite.right_in)))
    direction = unit_of_bearing(bearing)
    if shading is not None:
        beyond = context.shaded(shading, tip - 0.5 * OUTER_SHARE * length * direction, side * right_of(direction))
    return _edge_task(context, k, side, tip - length * direction, tip, beyond, AGAIN_SEARCH_IN, AGAIN_U_IN, U_PATTERN)
