"""Lobes shifted and turned as rigid bodies: where edges and points then are, exactly and to first order.

A motion is (3,): out along the lobe's axis, to its right, and how far its tip swings to the right by turning about the root (all
inches, so that one number means about as much as another; the turn is the last one over the length).
"""

from __future__ import annotations

from math import cos, sin

import numpy as np

from ..basis.frames import Array, right_of
from .fit import Fit, FitJoint, FitLobe


def moved(lobe: FitLobe, motion: Array, places_in: Array) -> Array:
    """Where points (..., 2) of the lobe come to lie, exactly."""
    out, across, swing = motion
    angle = swing / lobe.length_in
    arm = places_in - lobe.root_in
    turned = np.cos(angle) * arm + np.sin(angle) * right_of(arm)
    return lobe.root_in + turned + out * lobe.axis + across * right_of(lobe.axis)


def rates(lobe: FitLobe, motion: Array, place_in: Array, way: Array) -> Array:
    """(3,): how fast a point of the lobe moves along a unit vector with each part of the motion, about a motion made already."""
    # Plain numbers: called hundreds of times for a plan, where short arrays would take ten times as long.
    (ax, ay), (wx, wy), length = lobe.axis.tolist(), way.tolist(), lobe.length_in
    x, y = (place_in - lobe.root_in).tolist()
    angle = float(motion[2]) / length
    swing = -sin(angle) * (wx * x + wy * y) + cos(angle) * (wx * y - wy * x)
    return np.array([wx * ax + wy * ay, wx * ay - wy * ax, swing / length])


def opening(fit: Fit, joint: FitJoint, start_in: Array, first: Array, second: Array) -> Array:
    """(2,): the opening at both ends after both lobes' motions, exactly: from the moved first edge square across to the second's ends.

    start_in: (2,) openings as they lie.
    """
    one, other = (fit.by_number[number] for number in joint.lobes)
    normal = fit.normal_of(joint)
    near = moved(one, first, joint.edge_in)
    far = moved(other, second, joint.edge_in + np.asarray(start_in)[:, None] * normal)
    way = near[1] - near[0]
    across = right_of(way / np.hypot(*way))
    across = across if across @ normal > 0 else -across
    return (far - near[0]) @ across


def offset_after(lobe: FitLobe, offset_in: float, motion: Array) -> float:
    """The tip's offset from its seam after the motion."""
    return offset_in + float(right_of(lobe.seam_out) @ (moved(lobe, motion, lobe.tip_in) - lobe.tip_in))
