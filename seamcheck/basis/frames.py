"""The frames, once.

Plane frame: inches on the top, x to the right, y up, z toward the camera, seen from above with
the photo's up roughly along +y. z = 0 is the face of the field veneer. A bearing is clockwise
from +y, so a unit vector of bearing b is (sin b, cos b), and the right-hand side of a direction
d = (dx, dy) is n = (dy, -dx): clockwise, for a direction that points away from the centre.

Photo frame: pixels of the upright photo, u right, v down, (0, 0) the centre of the top-left pixel.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]  # of float64 unless said otherwise


def pair(first: float | Array, second: float | Array) -> Array:
    """(..., 2) of two coordinates (...) of one shape: np.stack in a fifth of its time, called ten thousand times a photo."""
    result = np.empty((*np.shape(first), 2))
    result[..., 0], result[..., 1] = first, second
    return result


def unit_of_bearing(bearing: float | Array) -> Array:
    """Unit vectors (..., 2) of bearings (rad, clockwise from +y)."""
    return pair(np.sin(bearing), np.cos(bearing))


def bearing_of(vector: Array) -> Array:
    """Bearings (rad, clockwise from +y, in (-pi, pi]) of vectors (..., 2)."""
    vector = np.asarray(vector, float)
    return np.arctan2(vector[..., 0], vector[..., 1])


def right_of(vector: Array) -> Array:
    """The vectors (..., 2) turned a quarter clockwise: the right-hand side of a direction."""
    vector = np.asarray(vector, float)
    return pair(vector[..., 1], -vector[..., 0])


def wrap_angle(angle: float | Array) -> Array:
    """An angle (rad) brought into [-pi, pi)."""
    return (np.asarray(angle, float) + np.pi) % (2 * np.pi) - np.pi
