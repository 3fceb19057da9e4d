"""Which edges of a raised rose teach its shade, and the field's light beside them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..basis.lines import Line
from ..basis.order import median
from ..edges import NO_SHARPENING, sample_strip, tone_of
from .lobe_context import Context
from .lobe_room import lean_in
from .pattern import SIDES, Pair, fits_pattern
from .shading import EdgeShade, Shading, learn_shading

# An edge teaches the shade with this much contrast, and this much of it seen.
TEACHER_CONTRAST, TEACHER_SEEN = 3.0, 0.5
# Shadowed field sends back about this share of the open field's light; a teacher's wood differs from that by so much (log light),
# and where fewer than FEW_TEACHERS do, the best teach.
SHADED_SHARE, TEACHER_APART, FEW_TEACHERS, ENOUGH_LIGHT = 0.5, 0.6, 6, 6
# A dark edge whose side is seen wider than this teaches nothing.
MOST_SIDE_SEEN_IN = 0.002
# Rows of light that are looked at beside an edge are so far apart along it, px: neighbours nearly repeat each other.
ROW_PX, ACROSS_PX = 2.0, 0.25
SHADE_FROM_IN, SHADE_TO_IN, SHADE_SAMPLES = 0.008, 0.12, 30
# An edge's blur is past at so many of its standard deviations, and its sharpening's halo at so many radii.
CLEAR_BLURS, SHARPENING_REACH = 2.0, 3.0


def learn_shade(
    context: Context, axes: Sequence[float | None], pairs: Sequence[Pair], half_angles: Sequence[float | None], sharpened: bool
) -> Shading | None:
    """Learn the shade from edges that stand out clearly from the field's light and its shadow alike.

    sharpened: whether the phone is supposed to have sharpened the wood's edges as it did the cards'.
    """
    teachers: list[tuple[float, EdgeShade]] = []  # how much lighter than shadowed field, and the shade
    for k, pair in enumerate(pairs):
        for side, edge in zip(SIDES, pair, strict=True):
            if edge is None or edge.contrast < TEACHER_CONTRAST or edge.line.seen_fraction < TEACHER_SEEN:
                continue
            if half_angles[k] is not None and not fits_pattern(edge, side, axes[k], half_angles[k]):
                continue
            shade = _shade_beside(context, k, side, edge.line, sharpened)
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


def _shade_beside(context: Context, k: int, side: int, line: Line, sharpened: bool) -> EdgeShade | None:
    """The field's light beside a measured edge, where the field lies open."""
    start, stop = line.ends_in
    room = context.room(k, side, start, stop, context.kites[k].tip_in)
    px_in = 1 / context.camera.px_per_in_at(line.point_in, context.z_in)
    # Sharpening carries the lobe's light, with its sign turned, over the field beside it: it's undone from some way inside the lobe on.
    far_in, inside_in = SHADE_TO_IN + 2 * px_in, SHARPENING_REACH * context.optics.sharpening.radius_px * px_in
    reach_in = (-inside_in, far_in) if side > 0 else (-far_in, inside_in)
    strip = sample_strip(context.patch, context.camera, start, stop, context.z_in, reach_in, ROW_PX * px_in, ACROSS_PX * px_in)
    across = strip.across_in * side
    open_rows = np.interp(strip.along_in, room[:, 0], room[:, 2]) > SHADE_TO_IN + 0.02
    light = strip.light[open_rows]
    if len(light) < 20 or not np.isfinite(light).all():
        return None
    sharpening = context.optics.sharpening if sharpened else NO_SHARPENING
    profile = sharpening.luma_undone(median(light.astype(float)), ACROSS_PX)  # colour is drawn half as sharply, and spreads
    lean = lean_in(context.camera, line.point_in, side * line.normal, context.z_in)
    # Blur carries it over the field too; in a soft photo farther.
    soft_px = context.optics.softness_px(context.camera.normal_px(start, stop, context.z_in))
    from_in = SHADE_FROM_IN + soft_px * px_in
    x_face = np.linspace(max(from_in, from_in - lean), SHADE_TO_IN, SHADE_SAMPLES)
    order = np.argsort(across)
    u_place = float(np.hypot(line.u_model_in, np.sqrt(line.cov[0, 0])))
    return EdgeShade(side * line.normal, x_face + lean, np.interp(x_face, across[order], profile[order]), u_place)
