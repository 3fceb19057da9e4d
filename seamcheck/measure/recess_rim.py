"""The rim of a recess, edge by edge: a dry fit turned inside out.

What stands raised beside an edge is the field, its face at z = 0, and what lies below in its shade is the floor, one depth down. So the
edges of a recess are measured as those of a raised lobe are (edge_fit): once for anything that lies beyond, then, near where that and the
outline put them, with the shade learnt from the edges that stand out clearly and without. Where the router left wood standing inside the
line, the line that most of the edge shows holds, and the stretch that stands is told by itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.lines import Line
from ..basis.order import median
from ..edges import LinearPatch, sample_strip, tone_of
from ..optics import Optics
from ..plane.camera import Camera
from .edge_fit import measure_edge
from .edge_profile import Plain, Shaded
from .edge_task import EdgeFit, EdgeTask
from .lobe_room import lean_in, room_along
from .lobe_shade import SHADE_FROM_IN, SHADE_SAMPLES, SHADE_TO_IN, TEACHER_CONTRAST, TEACHER_SEEN
from .lobes import LEAST_CONTRAST, MOST_UNEXPLAINED
from .model_mean import of_both
from .pattern import SIDES
from .shade_fit import EdgeShade, learn_shading
from .shading import Shading

# Beside a corner the other wall's shade, chips and a round bit's corner are in the way (inches): at the point, at the notch.
TIP_LEFT_OUT_IN, NOTCH_LEFT_OUT_IN = 0.14, 0.06
SHORTEST_IN = 0.3  # of an edge that can be measured
# How far the laid outline may lie off, and usually does, and how far it turns: found to a few hundredths, cut to some thousandths, and
# 1/16 inside where nothing was pared.
SEARCH_IN, U_PLACE_IN, U_TURN = 0.085, 0.03, 0.02
AGAIN_IN, U_AGAIN_IN = 0.03, 0.01
# An edge where the outline puts it holds if its contrast is so much of that of the edge first seen, and so much of it is seen.
AS_CLEAR, LEAST_SEEN, LEAST_PLACED = 0.5, 0.35, 8
# A stretch that stands inside the line by more than this, inches, wasn't pared; less may be the hand's unsteadiness.
LEAST_STANDING_IN, DEEPEST_IN = 0.02, 0.09
STATION_IN = 0.025  # the rim is looked at in stretches of this length; two that stand are told
# A station's rim lies inside where its profile misses the usual one by so many times what stations usually do (squared), and where moving
# the usual profile inward leaves no more than this share of that.
STANDS_OUT, STANDS_LEFT = 4.0, 0.35
LEAST_LOOKED = 8  # samples across


@dataclass(frozen=True)
class Standing:
    """A stretch of an edge where the field's wood stands inside the line. Inches."""

    from_tip_in: float
    to_in: float  # from the tip, too
    by_in: float  # how far inside the line the rim lies


@dataclass(frozen=True)
class RimEdge:
    """A measured edge of a recess; the line runs from notch to point."""

    fit: EdgeFit
    standing: tuple[Standing, ...] = ()

    @property
    def line(self) -> Line:
        return self.fit.line


@dataclass(frozen=True)
class _Rim:
    """What every edge's measurement needs. Corners: tip, notch, ... clockwise, so the recess lies to the right."""

    patch: LinearPatch
    camera: Camera
    optics: Optics
    corners_in: Array  # (2 n, 2)
    depth_in: float
    u_depth_in: float

    def ends(self, k: int, side: int) -> tuple[Array, Array]:
        """Notch and tip of point k's edge on a side (-1 left, +1 right)."""
        return self.corners_in[(2 * k + side) % len(self.corners_in)], self.corners_in[2 * k]

    def others(self, k: int, side: int) -> Array:
        """The outline without that edge: a polyline from one of its ends round to the other."""
        first = 2 * k if side > 0 else 2 * k - 1  # the edge runs from corner `first` to the next
        return np.roll(self.corners_in, -(first + 1), axis=0)

    def task(self, k: int, side: int) -> EdgeTask | None:
        notch, tip = self.ends(k, side)
        length = float(np.hypot(*(tip - notch)))
        if length < TIP_LEFT_OUT_IN + NOTCH_LEFT_OUT_IN + SHORTEST_IN:
            return None
        along = (tip - notch) / length
        start, stop = notch + NOTCH_LEFT_OUT_IN * along, tip - TIP_LEFT_OUT_IN * along
        # The inside of the model is what stands: the field, outside of the recess.
        others = self.others(k, side)
        room = room_along(start, stop, -side, others, others)
        return EdgeTask(start, stop, -side, Plain(), room, SEARCH_IN, U_PLACE_IN, U_TURN).drawn_by(self.optics, self.camera, 0.0)

    def shaded(self, shading: Shading, at_in: Array, into: Array) -> Shaded:
        """The floor beside an edge that passes a point; into: unit vector (2,) into the recess."""
        lean = lean_in(self.camera, at_in, into, self.depth_in)
        return Shaded(shading, into, lean, abs(lean) * self.u_depth_in / self.depth_in)


def measure_rim(
    patch: LinearPatch, camera: Camera, optics: Optics, corners_in: Array, depth_in: float, u_depth_in: float
) -> list[tuple[RimEdge | None, RimEdge | None]]:
    """Each point's left and right edge, as seen from the middle; None where one can't be had.

    corners_in: (2 n, 2) tip, notch, ... clockwise, where they should be; depth_in: of the floor, standard uncertainty u_depth_in.
    """
    rim = _Rim(patch, camera, optics, corners_in, depth_in, u_depth_in)
    count = len(corners_in) // 2
    tasks = {(k, side): task for k in range(count) for side in SIDES if (task := rim.task(k, side)) is not None}
    first = {key: measure_edge(patch, camera, task, 0.0, finely=False) for key, task in tasks.items()}
    shading = _learn(rim, first)
    placed = replace(rim, corners_in=_placed(rim, first))
    result: dict[tuple[int, int], RimEdge | None] = {}
    for key, task in tasks.items():
        edge = _of_two(_again(rim, placed.task(*key), shading), _again(rim, _about(task, first[key]), shading))
        sound = edge is not None and edge.contrast >= LEAST_CONTRAST and edge.misfit <= MOST_UNEXPLAINED * edge.contrast**2
        result[key] = RimEdge(edge, _standing(placed, *key, edge)) if sound and edge is not None else None
    return [(result.get((k, -1)), result.get((k, 1))) for k in range(count)]


def _placed(rim: _Rim, edges: dict[tuple[int, int], EdgeFit | None]) -> Array:
    """The corners, moved and turned as one to where most edges were found (sum of absolute misses least)."""
    middle = rim.corners_in.mean(axis=0)
    away, rows = [], []
    for (k, side), edge in edges.items():
        if edge is not None:
            for end in rim.ends(k, side):
                away.append(edge.line.offset_of(end))
                rows.append([*edge.line.normal, float(right_of(end - middle) @ edge.line.normal)])
    if len(rows) < LEAST_PLACED:
        return rim.corners_in
    design, miss = np.array(rows), -np.array(away)
    weight = np.ones(len(miss))
    move = np.zeros(3)
    for _ in range(20):
        root = np.sqrt(weight)
        move = np.linalg.lstsq(design * root[:, None], miss * root, rcond=None)[0]
        weight = 1 / (np.abs(miss - design @ move) + 1e-3)
    return rim.corners_in + move[:2] + move[2] * right_of(rim.corners_in - middle)


def _about(task: EdgeTask, edge: EdgeFit | None) -> EdgeTask | None:
    """The same task about the line that was found."""
    if edge is None:
        return None
    line = edge.line
    start, stop = (line.point_in + line.along_of(end) * line.direction for end in (task.from_in, task.to_in))
    offset = float((start - task.from_in) @ task.outward)
    return task.moved(offset, (float((stop - task.to_in) @ task.outward) - offset) / task.length_in)


def _of_two(where_meant: EdgeFit | None, where_found: EdgeFit | None) -> EdgeFit | None:
    """An edge measured about where the outline puts it, and about where the photo first showed one.

    Wood that stands inside draws the first search away; so what is where it should be holds, as long as it's an edge as clear.
    """
    if where_meant is None or where_found is None:
        return where_meant or where_found
    clear = where_meant.contrast >= AS_CLEAR * where_found.contrast and where_meant.line.seen_fraction >= LEAST_SEEN
    return where_meant if clear else where_found


def _again(rim: _Rim, task: EdgeTask | None, shading: Shading | None) -> EdgeFit | None:
    """An edge once more, near a line, with the shade known where it is."""
    if task is None:
        return None
    near = replace(task, search_in=AGAIN_IN, u_place_in=U_AGAIN_IN)
    tasks = [near]
    if shading is not None:
        tasks.insert(0, replace(near, beyond=rim.shaded(shading, (near.from_in + near.to_in) / 2, near.outward)))
    known = [found for one in tasks if (found := measure_edge(rim.patch, rim.camera, one, 0.0)) is not None]
    known = [found for found in known if found.contrast >= LEAST_CONTRAST]
    return _under_both(known[0], known[1] if len(known) > 1 else None) if known else None


def _under_both(first: EdgeFit, second: EdgeFit | None) -> EdgeFit:
    """One edge of two measured under different suppositions of what lies beyond: place and direction shared by what each knows.

    Which supposition holds can't be told, so how far they disagree counts too. For the rest their places are taken as if they erred each by
    itself, though they come of the same pixels: both say less of their place than they know. Of 124 rendered edges 96 in 100 lie inside u95
    so, 99 if two were no surer than one, as directions are in `model_mean`.
    """
    if second is None:
        return first
    turned, at = of_both(first, second), first.line.point_in
    apart = -second.line.offset_of(at)
    ours, other = (float(edge.line.u_sampling_at(at) ** 2 + edge.line.u_model_in**2) for edge in (first, second))
    share = ours / (ours + other)  # of the second
    variance = ours * other / (ours + other) + share * (1 - share) * apart**2
    sampling = (1 - share) * first.line.cov[0, 0] + share * second.line.u_sampling_at(at) ** 2
    cov = turned.line.cov.copy()
    cov[0, 0] = min(sampling, variance)
    u_model = float(np.sqrt(max(variance - cov[0, 0], 0.0)))
    return replace(turned, line=replace(turned.line, point_in=at + share * apart * turned.line.normal, cov=cov, u_model_in=u_model))


def _learn(rim: _Rim, edges: dict[tuple[int, int], EdgeFit | None]) -> Shading | None:
    """The shade on the floor beside the edges that stand out clearly."""
    teachers = []
    for (k, side), edge in edges.items():
        if edge is None or edge.contrast < TEACHER_CONTRAST or edge.line.seen_fraction < TEACHER_SEEN:
            continue
        shade = _shade_beside(rim, k, side, edge.line)
        if shade is not None:
            teachers.append(shade)
    return learn_shading(teachers, rim.depth_in)


def _shade_beside(rim: _Rim, k: int, side: int, line: Line) -> EdgeShade | None:
    start, stop = line.ends_in
    px_in = 1 / rim.camera.px_per_in_at(line.point_in)
    strip = sample_strip(rim.patch, rim.camera, start, stop, 0.0, SHADE_TO_IN + 2 * px_in, px_in)
    others = rim.others(k, side)
    room = room_along(start, stop, -side, others, others)
    open_rows = np.interp(strip.along_in, room[:, 0], room[:, 2]) > SHADE_TO_IN + 0.05
    light = strip.light[open_rows].mean(axis=-1)
    if len(light) < 40 or not np.isfinite(light).all():
        return None
    into = -side * line.normal
    lean = lean_in(rim.camera, line.point_in, into, rim.depth_in)
    from_in = SHADE_FROM_IN + rim.optics.softness_px(rim.camera.normal_px(start, stop)) * px_in
    x_face = np.linspace(max(from_in, from_in - lean), SHADE_TO_IN, SHADE_SAMPLES)
    profile = np.median(light.astype(float), axis=0)
    across = -side * strip.across_in
    order = np.argsort(across)
    shade = EdgeShade(into, x_face + lean, np.interp(x_face, across[order], profile[order]))
    return None if shade.is_black else shade


def _standing(rim: _Rim, k: int, side: int, edge: EdgeFit) -> tuple[Standing, ...]:
    """Stretches where the field goes on inside the line.

    Each station's profile is held against that which the whole edge usually shows, moved inward by more and more.
    """
    notch, tip = rim.ends(k, side)
    line = edge.line
    ends = [line.along_of(end) for end in (notch, tip)]
    start, stop = (line.point_in + along * line.direction for along in (ends[0] + NOTCH_LEFT_OUT_IN, ends[1] - TIP_LEFT_OUT_IN))
    px_in = 1 / rim.camera.px_per_in_at(line.point_in)
    strip = sample_strip(rim.patch, rim.camera, start, stop, 0.0, DEEPEST_IN + 0.05, px_in)
    across = -side * strip.across_in  # into the recess
    order = np.argsort(across)
    across, light = across[order], tone_of(strip.light[:, order])
    each = max(2, round(STATION_IN / (strip.along_in[1] - strip.along_in[0])))
    count = len(light) // each
    if count < 4 or not np.isfinite(light).all():
        return ()
    stations = light[: count * each].reshape(count, each, len(across), 3).mean(axis=1)
    others = rim.others(k, side)
    room = room_along(start, stop, -side, others, others)
    middle = strip.along_in[: count * each].reshape(count, each).mean(axis=1)
    depth = np.interp(middle, room[:, 0], room[:, 2])
    by = _stand_by(stations, across, depth)
    to_tip = float(np.hypot(*(stop - start))) + TIP_LEFT_OUT_IN
    return tuple(
        Standing(to_tip - middle[last] - STATION_IN / 2, to_tip - middle[first] + STATION_IN / 2, float(np.median(by[first : last + 1])))
        for first, last in _runs(by >= LEAST_STANDING_IN)
    )[::-1]


def _stand_by(stations: Array, across: Array, room_in: Array) -> Array:
    """(stations,): how far inside the line each station's rim lies; 0 where it lies on it. stations: (n, across, 3) log light."""
    usual = median(stations)
    step = across[1] - across[0]
    moves = np.arange(int(DEEPEST_IN / step) + 1)
    # The usual profile moved inward: what is the field's goes on.
    moved = usual[np.clip(np.arange(len(across)) - moves[:, None], 0, len(across) - 1)]  # (moves, across, 3)
    miss = np.full((len(stations), len(moves)), np.inf)
    for k, (station, reach) in enumerate(zip(stations, room_in, strict=True)):
        # Where the other wall is near, nothing can be told of what lies beyond it.
        looked = (across > -0.03) & (across < min(DEEPEST_IN + 0.02, 0.6 * reach))
        if looked.sum() >= LEAST_LOOKED:
            difference = station[looked] - moved[:, looked]
            difference -= 0.5 * np.median(difference, axis=1, keepdims=True)  # light and wood differ along an edge
            miss[k] = np.mean(difference**2, axis=(1, 2))
    known = np.isfinite(miss[:, 0])
    if not known.any():
        return np.zeros(len(stations))
    best = miss.argmin(axis=1)
    least = miss.min(axis=1)
    # The wood's figure leaves something everywhere: what stands out has to be far beyond that, and nearly all of it explained.
    stands = known & (miss[:, 0] > STANDS_OUT * median(miss[known, 0])) & (least < STANDS_LEFT * miss[:, 0])
    return np.where(stands, best * step, 0.0)


def _runs(is_so: Array) -> list[tuple[int, int]]:
    """First and last of every run of two and more, a single gap within them bridged."""
    filled = is_so.copy()
    filled[1:-1] |= is_so[:-2] & is_so[2:]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], filled.astype(int), [0]])))
    return [(int(first), int(after) - 1) for first, after in zip(edges[::2], edges[1::2], strict=True) if after - first > 1]
