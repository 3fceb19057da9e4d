"""Straight lines on the plane, with what is known of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .frames import Array, bearing_of, right_of, unit_of_bearing


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line measured on the plane z = z_in, seen along its own direction.

    `cov` is the sampling covariance, (2, 2), of (offset to the right, inches; bearing, rad) at
    `point_in`. `u_model_in` is the standard uncertainty of its place from what the model of the edge
    leaves out (bow, shadow, figure): a shift of the whole line, kept apart from sampling.
    """

    point_in: Array  # (2,) middle of the stretch that was seen, plane frame
    bearing: float  # rad, clockwise from +y
    cov: Array  # (2, 2)
    u_model_in: float
    z_in: float  # the height of the face it lies on
    half_span_in: float  # half the length of the stretch that was seen
    seen_fraction: float = 1.0  # of the stretch that was searched, how much was used

    @property
    def direction(self) -> Array:
        """Unit vector, (2,)."""
        return unit_of_bearing(self.bearing)

    @property
    def normal(self) -> Array:
        """Unit vector to the right of the direction, (2,)."""
        return right_of(self.direction)

    @property
    def ends_in(self) -> Array:
        """(2, 2): where the stretch that was seen begins and ends."""
        return self.point_in + np.outer([-self.half_span_in, self.half_span_in], self.direction)

    def offset_of(self, point_in: Array) -> float:
        """How far the point lies to the right of the line, inches."""
        return float((np.asarray(point_in) - self.point_in) @ self.normal)

    def along_of(self, point_in: Array) -> float:
        """How far along the line the point lies from `point_in`, inches."""
        return float((np.asarray(point_in) - self.point_in) @ self.direction)

    def u_sampling_at(self, point_in: Array) -> float:
        """Standard uncertainty of the line's place, across it, at the point's foot (inches)."""
        lever = np.array([1.0, self.along_of(point_in)])
        return float(np.sqrt(lever @ self.cov @ lever))

    def moves(self) -> list[tuple[float, float]]:
        """What sampling may have it off by, (inches to the right at `point_in`, rad): independent moves, one standard uncertainty each."""
        across = float(np.sqrt(max(self.cov[0, 0], 0.0)))
        with_it = float(self.cov[0, 1]) / across if across > 0 else 0.0
        return [(across, with_it), (0.0, float(np.sqrt(max(self.cov[1, 1] - with_it**2, 0.0))))]

    def through(self, a_in: Array, b_in: Array) -> Line:
        """The same line moved to run through two points, its knowledge kept."""
        a_in, b_in = np.asarray(a_in, float), np.asarray(b_in, float)
        return replace(self, point_in=(a_in + b_in) / 2, bearing=float(bearing_of(b_in - a_in)))


def crossing(a: Line, b: Line) -> Array:
    """Where two lines cross, (2,). Parallel lines give infinities."""
    first, second = a.normal, b.normal
    place_a, place_b = first @ a.point_in, second @ b.point_in
    turn = first[0] * second[1] - first[1] * second[0]
    if abs(turn) < 1e-12:
        return np.array([np.inf, np.inf])
    # Cramer's rule: thousands of crossings are asked for in a photo, and a general solver takes ten times as long.
    return np.array([place_a * second[1] - place_b * first[1], first[0] * place_b - second[0] * place_a]) / turn
