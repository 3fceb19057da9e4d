"""A rose's centre and turn, drawn tight: own seams and joints are lines that should meet in one point."""

from __future__ import annotations

import numpy as np

from ..basis.frames import Array, right_of, unit_of_bearing
from .light import Floats, LogLight, sample
from .rays import Rays

# How far to either side of a ray its step is looked for, first and then (inches), and in what steps.
SEARCH_IN = (0.25, 0.12, 0.12)
ACROSS_STEP_IN = 0.025
STATIONS = 24

# A piece of seam this far from the common centre counts a quarter (inches): lobes laid a little off, or something else.
ODD_IN = 0.03


def align(light: LogLight, steps: Floats, rays: Rays) -> tuple[Array, float]:
    """Centre (2,) inches and bearing (rad) of a first-ring lobe, from pieces of the rays' seams.

    Each piece's step is found across the ray; a robust least squares over all pieces moves the centre
    and turns the rose. `steps` are light.limited_steps() of a view round the rose (20 px/in or more).
    """
    centre, bearing = rays.centre_in, rays.bearing
    for half_width in SEARCH_IN:
        bearings, spans, signs = _pieces(rays, bearing)
        across, strength = _profiles(light, steps, rays.axis, centre, bearings, spans, half_width)
        strength = strength * signs[:, None]
        best = strength.argmax(axis=1)
        offset = across[best]
        weight = np.maximum(strength[np.arange(len(best)), best], 0) * (spans[:, 1] - spans[:, 0]) + 1e-9
        system = np.column_stack([right_of(unit_of_bearing(bearings)), spans.mean(axis=1)])
        move = np.zeros(3)
        for _ in range(6):
            odd = (offset - system @ move) / ODD_IN
            root = np.sqrt(weight) / (1 + odd**2)
            move = np.linalg.lstsq(system * root[:, None], offset * root, rcond=None)[0]
        centre, bearing = centre + move[:2], bearing + move[2]
    return centre, float(bearing)


def _pieces(rays: Rays, bearing: float) -> tuple[Array, Array, Array]:
    """Bearings (n,), spans (n, 2) of radius and signs (n,) of the seams' pieces."""
    own = -1.0 if rays.dark_right else 1.0
    notch = rays.notch_in
    middle = 0.25 + 0.5 * (notch - 0.3)
    lobe = [(0.25, 0.9, own), (0.9, 1.6, own), (1.6, 2.4, own)]
    between = [(0.25, middle, -own), (middle, notch - 0.05, -own), (notch + 0.15, notch + 0.8, own)]
    turns = 2 * np.pi * np.arange(rays.count) / rays.count
    half = np.pi / rays.count
    rows = [(bearing + turn, *piece) for piece in lobe for turn in turns]
    rows += [(bearing + half + turn, *piece) for piece in between for turn in turns]
    table = np.array(rows)
    return table[:, 0], table[:, 1:3], table[:, 3]


def _profiles(
    light: LogLight, steps: Floats, axis: Array, centre: Array, bearings: Array, spans: Array, half_width: float
) -> tuple[Array, Array]:
    """Offsets across (m,), and the mean step (n, m) along each piece shifted by each of them."""
    import cv2

    outward = unit_of_bearing(bearings)
    clockwise = right_of(outward)
    across = np.arange(-half_width, half_width + ACROSS_STEP_IN / 2, ACROSS_STEP_IN)
    radius = spans[:, :1] + (spans[:, 1:] - spans[:, :1]) * (np.arange(STATIONS) + 0.5) / STATIONS
    places = centre + radius[:, :, None, None] * outward[:, None, None] + across[:, None] * clockwise[:, None, None]
    strength = np.zeros((len(bearings), len(across)), np.float32)
    for i in range(3):
        gradient = sample(steps[i], light.view, places)
        step = gradient[..., 0] * clockwise[:, None, None, 0] - gradient[..., 1] * clockwise[:, None, None, 1]
        strength += (axis[i] * step.mean(axis=1)).astype(np.float32)
    return across, cv2.GaussianBlur(strength, (5, 1), 0, borderType=cv2.BORDER_CONSTANT)
