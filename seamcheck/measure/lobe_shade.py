"""Which edges of a raised rose teach its shade, and the field's light beside them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..basis.lines import Line
from ..basis.order import median
from ..edges import Sharpening, sample_strip, tone_of
from .lobe_context import Context
from .pattern import SIDES, Pair, fits_pattern
from .shade_fit import EdgeShade, learn_shading
from .shading import Shading

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
FEWEST_ROWS = 20
# A sharpened edge's halo is past at so many radii.
SHARPENING_REACH = 3.0


def learn_shades(
    context: Context,
    axes: Sequence[float | None],
    pairs: Sequence[Pair],
    half_angles: Sequence[float | None],
    undone: Sequence[Sharpening],
) -> list[Shading]:
    """Learn the shade from the clear edges: once for each sharpening that the phone may have laid on the wood; none with too few edges."""
    clear = clear_shades(context, axes, pairs, half_angles, undone)
    learnt = [learn_shading(every, context.z_in) for every in zip(*clear, strict=True)]
    return [shading for shading in learnt if shading is not None]


def clear_shades(
    context: Context,
    axes: Sequence[float | None],
    pairs: Sequence[Pair],
    half_angles: Sequence[float | None],
    undone: Sequence[Sharpening],
) -> list[list[EdgeShade]]:
    """The field's light beside edges that stand out clearly from it and its shadow alike, with each of these undone."""
    teachers: list[tuple[float, list[EdgeShade]]] = []  # how much lighter than shadowed field, and the shade
    for k, pair in enumerate(pairs):
        for side, edge in zip(SIDES, pair, strict=True):
            if edge is None or edge.contrast < TEACHER_CONTRAST or edge.line.seen_fraction < TEACHER_SEEN:
                continue
            if half_angles[k] is not None and not fits_pattern(edge, side, axes[k], half_angles[k]):
                continue
            shades = _shades_beside(context, k, side, edge.line, undone)
            if shades:
                lighter = float(np.mean(tone_of(edge.inside_light) - tone_of(edge.outside_light))) - np.log(SHADED_SHARE)
                lean = context.lean_in(edge.line.point_in, side * edge.line.normal)
                # Beside dark wood the veneer's side, dark itself, passes for the face.
                if lighter > 0 or lean > -MOST_SIDE_SEEN_IN:
                    teachers.append((lighter, shades))
    return _best_of(teachers)


def _best_of(teachers: list[tuple[float, list[EdgeShade]]]) -> list[list[EdgeShade]]:
    """The shades to learn from: wood lighter than the field and its shadow can't be taken for either; dark wood, far darker, comes next."""
    light = [shades for lighter, shades in teachers if lighter > TEACHER_APART]
    if len(light) >= ENOUGH_LIGHT:
        return light
    ordered = sorted(teachers, key=lambda teacher: -abs(teacher[0]))
    clear = [shades for lighter, shades in ordered if abs(lighter) > TEACHER_APART]
    return clear if len(clear) >= FEW_TEACHERS else [shades for _, shades in ordered[:FEW_TEACHERS]]


def _shades_beside(context: Context, k: int, side: int, line: Line, undone: Sequence[Sharpening]) -> list[EdgeShade]:
    """The field's light beside a measured edge, with each of these undone; none where the field doesn't lie open."""
    start, stop = line.ends_in
    room = context.room(k, side, start, stop, context.kites[k].tip_in)
    px_in = 1 / context.camera.px_per_in_at(line.point_in, context.z_in)
    # Sharpening carries the lobe's light, with its sign turned, over the field beside it: it's undone from some way inside the lobe on.
    far_in, inside_in = SHADE_TO_IN + 2 * px_in, SHARPENING_REACH * context.optics.sharpening.radius_px * px_in
    reach_in = (-inside_in, far_in) if side > 0 else (-far_in, inside_in)
    strip = sample_strip(context.patch, context.camera, start, stop, context.z_in, reach_in, ROW_PX * px_in, ACROSS_PX * px_in)
    open_rows = np.interp(strip.along_in, room[:, 0], room[:, 2]) > SHADE_TO_IN + 0.02
    light = strip.light[open_rows]
    if len(light) < FEWEST_ROWS or not np.isfinite(light).all():
        return []
    profile = median(light).astype(float)
    lean = context.lean_in(line.point_in, side * line.normal)
    # In a soft photo the lobe's own light reaches farther over the field.
    from_in = SHADE_FROM_IN + context.optics.softness_px(context.camera.normal_px(start, stop, context.z_in)) * px_in
    x_face = np.linspace(max(from_in, from_in - lean), SHADE_TO_IN, SHADE_SAMPLES)
    across = strip.across_in * side
    order = np.argsort(across)
    u_place = float(np.hypot(line.u_model_in, np.sqrt(line.cov[0, 0])))
    # Colour is drawn half as sharply as luma, and spreads.
    drawn = [one.luma_undone(profile, ACROSS_PX) for one in undone]
    beside = [EdgeShade(side * line.normal, x_face + lean, np.interp(x_face, across[order], luma[order]), u_place) for luma in drawn]
    return [] if any(one.is_black for one in beside) else beside
