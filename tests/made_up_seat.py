"""A made-up rose and its recess as outlines of straight edges: every room is known exactly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from seamcheck.advise.outline import Outline
from seamcheck.basis.frames import Array, bearing_of, right_of, unit_of_bearing
from seamcheck.result import Inspection, OutlineEdge, Verdict
from tests import made_up

U_IN = 0.001


def star(points: int = 8, reach_in: float = 2.6, notch_in: float = 1.2, first: float = 0.0, uneven_in: Array | None = None) -> Array:
    """(2 n, 2): tip, notch, ... clockwise; uneven_in: (n,) how much farther each point reaches."""
    bearings = first + np.arange(2 * points) * np.pi / points
    reaches = np.where(np.arange(2 * points) % 2, notch_in, reach_in)
    if uneven_in is not None:
        reaches[0::2] += uneven_in
    return reaches[:, None] * unit_of_bearing(bearings)


def ends(corners_in: Array, k: int, side: int) -> Array:
    """(2, 2): notch and tip of point k's edge on a side (-1 left, +1 right)."""
    return np.stack([corners_in[(2 * k + side) % len(corners_in)], corners_in[2 * k]])


def edge(
    ends_in: Array, u_in: float = U_IN, u_model_in: float = 0.0, causes: tuple[str, ...] = (), moves_in: Array | None = None
) -> OutlineEdge:
    return OutlineEdge(ends_in, np.eye(2) * u_in**2, u_model_in, causes, np.zeros((0, 2)) if moves_in is None else moves_in)


def outline(corners_in: Array, u_in: float = U_IN, u_model_in: float = 0.0) -> Outline:
    count = len(corners_in) // 2
    return Outline(
        tuple((edge(ends(corners_in, k, -1), u_in, u_model_in), edge(ends(corners_in, k, 1), u_in, u_model_in)) for k in range(count)),
        corners_in,
    )


def cut_for(corners_in: Array, out_in: Array, u_in: float = U_IN, u_model_in: float = 0.0) -> Outline:
    """The recess whose edges lie outside of a rose's by out_in (n, 2 sides, 2: at the notch, at the tip)."""
    count = len(corners_in) // 2
    lines = []
    for k in range(count):
        for i, side in enumerate((-1, 1)):
            pair = ends(corners_in, k, side)
            way = (pair[1] - pair[0]) / np.hypot(*(pair[1] - pair[0]))
            lines.append(pair + out_in[k, i][:, None] * side * right_of(way))
    corners = []
    for k in range(count):
        left, right, after = lines[2 * k], lines[2 * k + 1], lines[(2 * k + 2) % len(lines)]
        corners += [meeting(left, right), meeting(right, after)]
    return outline(np.array(corners), u_in, u_model_in)


def meeting(a: Array, b: Array) -> Array:
    """Where the lines through two pairs of points cross."""
    t = np.linalg.solve(np.stack([a[1] - a[0], b[0] - b[1]], axis=1), b[0] - a[0])
    return a[0] + t[0] * (a[1] - a[0])


def moved(corners_in: Array, shift_in: tuple[float, float], turn: float) -> Array:
    """Turned clockwise about the origin, then moved."""
    c, s = np.cos(turn), np.sin(turn)
    return corners_in @ np.array([[c, -s], [s, c]]) + np.array(shift_in)


def inspection(corners_in: Array, rings: tuple[int, ...] | None = None, covered: frozenset[tuple[int, int]] = frozenset()) -> Inspection:
    """A dry fit of that outline, about the plane's origin; covered: (point, side) of edges that weren't measured."""
    made = outline(corners_in)
    tips = []
    for k, pair in enumerate(made.edges):
        bearing = float(bearing_of(corners_in[2 * k]) % (2 * np.pi))
        left, right = (None if (k, side) in covered else one for side, one in zip((-1, 1), pair, strict=True))
        about = made_up.tip(k + 1, float(np.degrees(bearing)), made_up.estimate(0.001, 0.003), Verdict.ON)
        tips.append(replace(about, ring=rings[k] if rings else 1, bearing=bearing, place_in=corners_in[2 * k], edges=(left, right)))
    return replace(made_up.DRY_FIT, tips=tuple(tips), joints=())
