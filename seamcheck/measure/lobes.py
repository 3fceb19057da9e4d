"""All edges of all lobes: own seams first, then long edges twice, the second time knowing the ring's shape and the shade."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..basis.frames import Array, unit_of_bearing
from ..basis.lines import crossing
from ..basis.reasons import Reason
from ..edges import NO_SHARPENING, tone_of
from .edge_fit import measure_edges
from .edge_profile import Beyond, Flush, Plain
from .edge_task import EdgeFit, EdgeTask, Wood
from .glue import glue_chances
from .lobe_context import Context, is_dark
from .lobe_room import nearest_on
from .lobe_shade import learn_shades
from .lobe_start import OWN_DOUBTFUL_UNEXPLAINED, Begun, in_pairs
from .lobe_tasks import FOUND_SEARCH_IN, short_task, task_along
from .model_mean import of_both
from .pattern import SIDES, Pair, departures_in, fits_pattern, outvoted
from .shade_fit import learn_shading
from .shading import Shading
from .unseen import why_unseen

# How often the shade is learnt once more from edges that were measured in it.
MOST_LESSONS = 2
# A fainter step than this, or one whose model leaves more than this share of the step's square unexplained, is tape's or a shadow's.
LEAST_CONTRAST, MOST_UNEXPLAINED = 1.5, 0.1
# The farther an edge lies from where its ring's pattern puts it, the better its model must explain it, or it is another line: so far off,
# all but this share of the step's square, and steeply with the distance. Half of 553 edges in rendered pictures lie within .007 in of the
# pattern; of those .05 off, the right ones leave less than .003 unexplained.
DOUBTFUL_UNEXPLAINED, MOST_DEPARTURE_IN = 0.03, 0.036
# In a soft photo profiles are so smooth that a right model leaves next to nothing: so much of what it is allowed to, or such a share of the
# step's square, which beside a striped field is more.
SOFT_MOST_UNEXPLAINED, SOFT_MOST_SHARE = 0.5, 0.004


@dataclass(frozen=True)
class LobeFit:
    """The measured edges of one lobe, root to tip or shoulder to tip; None where an edge can't be had."""

    own: EdgeFit | None
    left: EdgeFit | None
    right: EdgeFit | None
    left_short: EdgeFit | None = None  # root to shoulder; loose lobes only
    right_short: EdgeFit | None = None
    unseen: Reason | None = None  # why a long edge is missing

    @property
    def tip_in(self) -> Array | None:
        """(2,): where the two long edges meet."""
        if self.left is None or self.right is None:
            return None
        return crossing(self.left.line, self.right.line)


def measure_lobes(begun: Begun) -> list[LobeFit]:
    """Measure long edges (and loose lobes' short ones), in the lobes' order."""
    context, owns, half_angles, axes = begun.context, begun.owns, begun.half_angles, begun.axes
    lobes = context.lobes
    shading = learn_shading(begun.teachers, context.z_in) if context.face.raised else None
    if context.face.raised:
        pairs = _again(context, owns, begun.first, axes, half_angles, shading, Plain())
    else:
        light = [(k, side) for k, lobe in enumerate(lobes) for side in SIDES if lobe.dark_side is not None and not is_dark(lobe, side)]
        pairs = _again(context, owns, begun.first, axes, half_angles, None, Flush(), light)
        seen = [edge.glue_chi for k, side in light if (edge := pairs[k][(side + 1) // 2]) is not None and edge.glue_chi is not None]
        pairs = _again(context, owns, pairs, axes, half_angles, None, Flush(glue_chances(seen)))
    if shading is not None:
        shading, pairs = _in_better_shade(context, axes, half_angles, shading, pairs)
    departures = departures_in(lobes, owns, pairs, half_angles)
    fits = []
    for k, (own, pair, away, odd) in enumerate(zip(owns, pairs, departures, outvoted(lobes, pairs, departures), strict=True)):
        left, right = (
            None if edge is None or is_odd or not _is_sound(edge, context.wood(k, side), context.optics.is_soft, departure) else edge
            for side, edge, departure, is_odd in zip(SIDES, pair, away, odd, strict=True)
        )
        missing = [side for side, edge in zip(SIDES, (left, right), strict=True) if edge is None]
        unseen = why_unseen(context, k, missing) if missing else None
        fits.append(LobeFit(None if own is not None and _is_stripe(own, away) else own, left, right, unseen=unseen))
    if all(lobe.ring is None for lobe in lobes):
        suppositions = [None] if shading is None else [shading, None]
        asked = [[short_task(context, k, side, one) for k in range(len(lobes)) for side in SIDES] for one in suppositions]
        each = [measure_edges(context.patch, context.camera, tasks, context.z_in) for tasks in asked]
        short = [_of_known(edges) for edges in zip(*each, strict=True)]
        fits = [replace(fit, left_short=left, right_short=right) for fit, (left, right) in zip(fits, in_pairs(short), strict=True)]
    return fits


def _of_known(edges: Sequence[EdgeFit | None]) -> EdgeFit | None:
    """One edge of what it is under each supposition, as far as it stands out."""
    known = [edge for edge in edges if edge is not None and edge.contrast > LEAST_CONTRAST]
    return of_both(known[0], known[1] if len(known) > 1 else None) if known else None


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
    if is_soft and edge.misfit > max(SOFT_MOST_UNEXPLAINED, SOFT_MOST_SHARE * edge.contrast**2):
        return False
    if edge.contrast < LEAST_CONTRAST or edge.misfit > MOST_UNEXPLAINED * edge.contrast**2:
        return False
    return wood is None or bool(wood.is_like(tone_of(edge.inside_light)))


def _again(
    context: Context,
    owns: Sequence[EdgeFit | None],
    first: Sequence[Pair],
    axes: Sequence[float | None],
    half_angles: Sequence[float | None],
    shading: Shading | None,
    beyond: Beyond,
    only: Collection[tuple[int, int]] | None = None,
) -> list[Pair]:
    """The long edges once more: from where they were, or where the ring's pattern puts them, with the shade known.

    only: numbers of lobes and sides whose edges are measured; all if None.
    """
    edges = [edge for pair in first for edge in pair]
    tasks: dict[int, EdgeTask] = {}
    for number in range(len(edges)):
        k, side = number // 2, SIDES[number % 2]
        if only is not None and (k, side) not in only:
            continue
        line = _likely_line(context, k, side, owns[k], first[k], axes[k], half_angles[k], shading is not None)
        if line is None:
            continue
        tasks[number] = task_along(context, k, side, *line, beyond, shading)
    for number, edge in zip(tasks, measure_edges(context.patch, context.camera, list(tasks.values()), context.z_in), strict=True):
        edges[number] = edge
    return in_pairs(edges)


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
            tasks[which, number] = task_along(context, k, side, edge.line.bearing, tip, Plain(), shading)
    every = [list(edges) for _ in shades]
    again = measure_edges(context.patch, context.camera, list(tasks.values()), context.z_in, sought=False)
    for (which, number), edge in zip(tasks, again, strict=True):
        every[which][number] = edge
    return [in_pairs(one) for one in every]


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
