"""The room about an edge: how far the wood reaches in, the open field out, and how the camera sees over it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.lines import Line
from ..kite import Kite
from ..plane.camera import Camera

ROOM_CAP_IN = 0.6
ROOM_PLACES = 24


def room_along(start: Array, stop: Array, outside: int, inner: Array, *outer: Array) -> Array:
    """(places, 3): along, and how far inward to a polyline (n, 2) and outward to the nearest of others."""
    length = float(np.linalg.norm(stop - start))
    direction = (stop - start) / length
    outward = outside * right_of(direction)
    along = np.linspace(0, length, ROOM_PLACES)
    points = start + along[:, None] * direction
    inward = reach_of(points, -outward, inner)
    return np.stack([along, inward, reach_of(points, outward, *outer)], axis=-1)


def reach_of(points: Array, ray: Array, *lines: Array) -> Array:
    """(n,): how far rays from points (n, 2) run until they meet any of the polylines (m, 2); ROOM_CAP_IN at most."""
    if not lines:
        return np.full(len(points), ROOM_CAP_IN)
    a = np.concatenate([line[:-1] for line in lines])
    edge = np.concatenate([line[1:] for line in lines]) - a
    cross = ray[0] * edge[:, 1] - ray[1] * edge[:, 0]
    cross = np.where(np.abs(cross) < 1e-12, 1e-12, cross)
    gap = a[None] - points[:, None]
    distance = (gap[..., 0] * edge[:, 1] - gap[..., 1] * edge[:, 0]) / cross
    share = (gap[..., 0] * ray[1] - gap[..., 1] * ray[0]) / cross
    hit = (distance > 0) & (share >= 0) & (share <= 1)
    return np.min(np.where(hit, np.minimum(distance, ROOM_CAP_IN), ROOM_CAP_IN), axis=1)


def other_outlines(kites: Sequence[Kite], k: int) -> list[Array]:
    """The other lobes' closed outlines, (5, 2) each."""
    return [kites[j].corners_in[[0, 1, 2, 3, 0]] for j in range(len(kites)) if j != k]


def lean_in(camera: Camera, point_in: Array, outward: Array, z_in: float) -> float:
    """How far outward a point of the field seems to lie less than one of the face, seen over an edge: h / (H - h) (p - eye) . n."""
    eye = camera.eye_in
    return float(z_in / (eye[2] - z_in) * ((point_in - eye[:2]) @ outward))


def nearest_on(line: Line, point_in: Array) -> Array:
    return line.point_in + line.along_of(point_in) * line.direction
