"""How far a recess's point is cleared: along the line that halves it, where the floor begins.

A round bit can't enter a point, and what it leaves is cut by hand. From the corner of the two edges inward, wood as the field's gives way
to floor, which lies in the shade of both walls: on the line between them a trench as wide as it is there sees so much of the sky (view
factor of an infinite trench's middle, closed form). The place of change that suits the profile best is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.lines import Line, crossing
from ..basis.order import median
from ..edges import LinearPatch, tone_of
from ..plane.camera import Camera

REACH_IN, FAR_IN = 0.34, 0.24  # looked at from the corner inward; from the second on the floor teaches its own light
STEP_IN = 0.005
BESIDE_IN = (0.025, 0.07)  # outside of the walls, where the field teaches its own
BOUNCE = 0.3  # of the light that walls hide, so much comes back from them (common practice, no source)
# Log light (root mean square of three channels) by which floor and field must differ, and how much of the field's own scatter that must be.
LEAST_APART, LEAST_OF_SCATTER = 0.15, 1.5
# How much darker (log light) than the sky alone leaves it a lamp's shadow may make the floor of a point (common practice, no source).
SHADOWS = tuple(np.linspace(-0.8, 0.0, 9))
# Where floor is narrower than this its colour is its neighbours' as well.
COLOUR_PX = 8.0
# Nearer to the corner than the place where so many pixels of floor show the photo tells nothing, nor to better than this (inches).
WIDTH_PX, FINEST_IN = 3.0, 0.015
# A point where more than this could hide isn't said to be cleared; half of what the usual bit leaves (inches).
MOST_HIDDEN_IN = 0.065
# Places look like one thing rather than another where they miss it by no more than this share of the other's squares.
CLEARLY = 0.4


@dataclass(frozen=True)
class Cleared:
    """How much stands in a point, from where its edges meet, along the line that halves it. Inches."""

    left_in: float
    u_in: float
    least_in: float  # less than this can't be seen


def measure_point(patch: LinearPatch, camera: Camera, left: Line, right: Line, depth_in: float) -> Cleared | None:
    """left, right: the point's edges, from notch to point, the recess between them. None where floor and field look alike."""
    corner = crossing(left, right)
    if not np.isfinite(corner).all():
        return None
    inward = -(left.direction + right.direction)
    inward /= np.hypot(*inward)
    half = float(np.arccos(np.clip(-inward @ left.direction, -1, 1)))
    if not 0.1 < half < 1.2:
        return None
    px_in = 1 / camera.px_per_in_at(corner)
    x = np.arange(0.0, REACH_IN, STEP_IN)
    across = right_of(inward)
    # A leaning eye sees a strip of a wall as well: the floor shows between the strips' ends.
    eye = camera.eye_in
    lean = depth_in / (eye[2] - depth_in) * (corner - eye[:2])
    aside, outward = float(lean @ across), abs(float(lean @ inward))
    wide = np.maximum(x * np.tan(half) - abs(aside) / 2, 0.0)
    lateral = -aside / 2 * np.minimum(x * np.tan(half) / max(abs(aside), 1e-9), 1.0)
    shares = np.linspace(-0.35, 0.35, 7)
    places = corner + x[:, None, None] * inward + (lateral[:, None] + wide[:, None] * shares)[..., None] * across
    seen = tone_of(patch.at_px(camera.px_from_plane(places))).mean(axis=1)  # (n, 3)
    beside = []
    for line, out in ((left, -left.normal), (right, right.normal)):
        along = np.arange(0.03, 0.25, 0.01)
        spots = corner - along[:, None, None] * line.direction + np.linspace(*BESIDE_IN, 5)[None, :, None] * out
        beside.append(tone_of(patch.at_px(camera.px_from_plane(spots))).reshape(-1, 3))
    if not (np.isfinite(seen).all() and all(np.isfinite(one).all() for one in beside)):
        return None
    field = np.mean([median(one) for one in beside], axis=0)
    scatter = float(np.mean([one.std(axis=0).mean() for one in beside]))
    shade = np.log(_sky(x * np.tan(half), depth_in))[:, None]
    floor = median((seen - shade)[x >= FAR_IN]) + shade
    apart = float(np.sqrt(np.mean((floor[-1] - field) ** 2)))
    if apart < max(LEAST_APART, LEAST_OF_SCATTER * scatter):
        return None
    as_field, as_floor = np.sum((seen - field) ** 2, axis=1), np.sum((seen - floor) ** 2, axis=1)
    change = _change(as_field, as_floor)
    least = (WIDTH_PX / 2 * px_in + abs(aside) / 2) / float(np.tan(half)) + outward + FINEST_IN
    if change <= least:
        # Cleared, if what comes next is floor rather than wood, and little could hide nearer to the corner.
        after = (x >= change) & (x < FAR_IN / 2 + least)
        return Cleared(change, FINEST_IN, least) if least <= MOST_HIDDEN_IN and _clearly(as_floor, as_field, after) else None
    # A lamp's shadow in the point may make floor as dark as the field: then wood is seen only where no shadow looks like it.
    darker = np.min([np.sum((seen - floor - shadow) ** 2, axis=1) for shadow in SHADOWS], axis=0)
    # If it can, only colour parts the two, which a photo keeps at half its resolution.
    tells = (2 * wide > COLOUR_PX * px_in) | (float(np.mean(floor[-1] - field)) < 0)
    stands = _clearly(as_field, as_floor, x < change) and _change(as_field * tells, darker * tells) > least
    return Cleared(change, FINEST_IN, least) if stands else None


def _clearly(one: Array, other: Array, where: Array) -> bool:
    """Whether some places miss by far less as one thing than as the other."""
    return float(one[where].sum()) < CLEARLY * float(other[where].sum())


def _change(before: Array, after: Array) -> float:
    """Where, from the corner inward, one thing gives way to another, by what each place misses as either."""
    cost = np.concatenate([[0.0], np.cumsum(before)]) + np.append(np.cumsum(after[::-1])[::-1], 0.0)
    return float(np.argmin(cost)) * STEP_IN


def _sky(half_width_in: Array, depth_in: float) -> Array:
    """Share of the open light at the middle of a trench's floor."""
    share = half_width_in / np.hypot(half_width_in, depth_in)
    return np.asarray(1 - (1 - share) * (1 - BOUNCE))
