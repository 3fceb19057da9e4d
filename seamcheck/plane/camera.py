"""The pinhole camera with the lens model of Brown and Conrady, as OpenCV writes it.

x" = x (1 + k1 r2 + k2 r4) + 2 p1 x y + p2 (r2 + 2 x2),  y" = y (1 + k1 r2 + k2 r4) + p1 (r2 + 2 y2) + 2 p2 x y.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..basis.frames import Array, bearing_of, pair

# Steps of the inverse lens model: at phone distortions four are enough, a wide-angle lens takes a dozen.
UNDISTORT_STEPS, UNDISTORT_ENOUGH = 60, 1e-9

PARAMETERS = ("f_px", "aspect", "cx_px", "cy_px", "k1", "k2", "p1", "p2", "rx", "ry", "rz", "tx", "ty", "tz")


def rotation_from_vector(vector: Array) -> Array:
    """(..., 3, 3) rotations of rotation vectors (..., 3) (axis times angle, rad), by Rodrigues' formula."""
    vector = np.asarray(vector, float)
    angle = np.maximum(np.sqrt(np.sum(vector * vector, axis=-1)), 1e-12)
    sine, rest = np.sin(angle) / angle, (1 - np.cos(angle)) / angle**2
    x, y, z = vector[..., 0], vector[..., 1], vector[..., 2]
    result = np.empty((*vector.shape, 3))
    for i, square in enumerate((y * y + z * z, x * x + z * z, x * x + y * y)):
        result[..., i, i] = 1 - rest * square
    for i, j, a, b, c in ((0, 1, x, y, z), (2, 0, z, x, y), (1, 2, y, z, x)):
        result[..., i, j], result[..., j, i] = rest * a * b - sine * c, rest * a * b + sine * c
    return result


Number = float | Array


def shown_px(lens: Sequence[Number], rotation: Array, translation: Sequence[Number] | Array, xy_in: Array, z_in: Number) -> Array:
    """Photo pixels (..., 2) of plane points (..., 2) at height z_in.

    lens: the first eight of PARAMETERS; rotation (3, 3, ...), translation (3, ...): p_cam of p_plane. For many cameras at once each of
    these is an array that broadcasts with the points.
    """
    f_px, aspect, cx_px, cy_px, *distortion = lens
    r, t = rotation, translation
    x, y = xy_in[..., 0], xy_in[..., 1]
    depth = r[2, 0] * x + r[2, 1] * y + (r[2, 2] * z_in + t[2])
    u = (r[0, 0] * x + r[0, 1] * y + (r[0, 2] * z_in + t[0])) / depth
    v = (r[1, 0] * x + r[1, 1] * y + (r[1, 2] * z_in + t[1])) / depth
    u, v = _distorted(distortion, u, v)
    return pair(f_px * u + cx_px, f_px * aspect * v + cy_px)


def _distorted(distortion: Sequence[Number], x: Array, y: Array) -> tuple[Array, Array]:
    """What the lens makes of an undistorted place; distortion: k1, k2, p1, p2."""
    k1, k2, p1, p2 = distortion
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * k2)
    return x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x), y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y


@dataclass(frozen=True)
class Camera:
    """A camera over the plane: p_cam = rotation @ p_plane + translation, p_plane in inches."""

    f_px: float  # focal length along u
    aspect: float  # focal length along v over that along u
    cx_px: float
    cy_px: float
    k1: float
    k2: float
    p1: float
    p2: float
    rotation_vector: Array  # (3,) rad, camera from plane
    translation_in: Array  # (3,)

    @staticmethod
    def from_parameters(vector: Array) -> Camera:
        """From a (14,) vector in the order of PARAMETERS."""
        f_px, aspect, cx_px, cy_px, k1, k2, p1, p2 = (float(value) for value in vector[:8])
        return Camera(f_px, aspect, cx_px, cy_px, k1, k2, p1, p2, np.array(vector[8:11], float), np.array(vector[11:14], float))

    @cached_property
    def parameters(self) -> Array:
        """(14,) in the order of PARAMETERS."""
        head = [self.f_px, self.aspect, self.cx_px, self.cy_px, self.k1, self.k2, self.p1, self.p2]
        return np.concatenate([head, self.rotation_vector, self.translation_in])

    @cached_property
    def rotation(self) -> Array:
        """(3, 3), camera from plane."""
        return rotation_from_vector(self.rotation_vector)

    @cached_property
    def eye_in(self) -> Array:
        """(3,): the camera's centre in the plane frame; its z is the height above the field."""
        return -self.rotation.T @ self.translation_in

    def px_from_plane(self, xy_in: Array, z_in: float | Array = 0.0) -> Array:
        """Photo pixels (..., 2) of plane points (..., 2) at height z_in (a number or (...,))."""
        return shown_px(self._lens, self.rotation, self.translation_in, np.asarray(xy_in, float), z_in)

    def plane_from_px(self, px: Array, z_in: float | Array = 0.0) -> Array:
        """Plane points (..., 2) at height z_in that the photo shows at pixels (..., 2)."""
        px = np.asarray(px, float)
        ud = (px[..., 0] - self.cx_px) / self.f_px
        vd = (px[..., 1] - self.cy_px) / (self.f_px * self.aspect)
        u, v = ud, vd
        with np.errstate(over="ignore", invalid="ignore"):  # where the lens model folds over itself there is no answer
            for _ in range(UNDISTORT_STEPS):
                un, vn = _distorted(self._lens[4:], u, v)
                u, v = u + (ud - un), v + (vd - vn)
                if max(np.max(np.abs(ud - un), initial=0.0), np.max(np.abs(vd - vn), initial=0.0)) < UNDISTORT_ENOUGH:
                    break
        ray = np.stack([u, v, np.ones_like(u)], axis=-1) @ self.rotation
        reach = (z_in - self.eye_in[2]) / ray[..., 2]
        return self.eye_in[:2] + reach[..., None] * ray[..., :2]

    @property
    def _lens(self) -> tuple[float, ...]:
        return self.f_px, self.aspect, self.cx_px, self.cy_px, self.k1, self.k2, self.p1, self.p2

    def up_bearing_at(self, xy_in: Array) -> float:
        """Bearing on the plane (rad) of the photo's up at a plane point (2,)."""
        above, below = self.plane_from_px(self.px_from_plane(xy_in) + np.array([[0.0, -10.0], [0.0, 10.0]]))
        return float(bearing_of(above - below))

    def px_per_in_at(self, xy_in: Array, z_in: float = 0.0) -> float:
        """Photo pixels per inch at a plane point: the square root of the area's scale."""
        step = 0.05
        right, left, above, below = self.px_from_plane(xy_in + step * np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]]), z_in)
        du, dv = right - left, above - below
        return float(np.sqrt(abs(du[0] * dv[1] - du[1] * dv[0])) / (2 * step))

    def normal_px(self, from_in: Array, to_in: Array, z_in: float = 0.0) -> Array:
        """(2,): unit vector in the photo across the line from one plane point to another, at height z_in."""
        from_px, to_px = self.px_from_plane(np.stack([from_in, to_in]), z_in)
        along = (to_px - from_px) / np.linalg.norm(to_px - from_px)
        return np.array([-along[1], along[0]])
