"""The outline of a rose as a photo showed it, from a result file.

A result file gives tips on the plane (reach and bearing) and in the photo, but the lobes' corners in the photo only. The plane is laid
on the photo by the tips: a homography, least squares over all of them. It knows nothing of the lens, so it says how well the tips agree.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import radians
from typing import Any

import numpy as np

from ..basis.errors import NoOutline
from ..basis.frames import Array, unit_of_bearing

FEWEST_PLACES = 5  # four fix a homography; one more shows whether they agree
MOST_MISFIT_IN = 1 / 32  # half of what is left between pen line and knife line
# On 38 rendered photos with exact truth half of the corners came within .007 in, 19 in 20 within .04.
GOOD_TO_IN = 1 / 32  # what the outline is mostly good to


@dataclass(frozen=True, slots=True)
class MeasuredOutline:
    """Frame: the rose's centre at the origin, the photo's up along +y."""

    outline_in: Array  # (2 n, 2): tip, notch, ... clockwise
    lobes: tuple[int, ...]  # (n,) the tips' lobes, as numbered in the result file
    misfit_in: float  # of the tips, at most


def measured_outline(result: Mapping[str, Any], name: str) -> MeasuredOutline:
    """result: a result file's document; name: the file's, for the refusal. Raises NoOutline."""
    try:
        tips = [tip for tip in result["tips"] if tip["ring"] is not None]
        tips.sort(key=lambda tip: tip["bearing_deg"] % 360)
        known = [tip for tip in tips if tip["reach_in"] is not None]
        plane = [tip["reach_in"] * unit_of_bearing(radians(tip["bearing_deg"])) for tip in known]
        photo = [tip["tip_px"] for tip in known]
        if result["centre_px"] is not None:
            plane.append(np.zeros(2))
            photo.append(result["centre_px"])
        corners_px = np.array([tip["outline_px"] for tip in tips], float).reshape(-1, 4, 2)
        rings = [int(tip["ring"]) for tip in tips]
        lobes = tuple(int(tip["lobe"]) for tip in tips)
        if not np.isfinite(corners_px).all() or not np.isfinite(np.array([*plane, *photo], float)).all():
            raise ValueError
    except (KeyError, TypeError, ValueError):
        raise NoOutline(file=name, why="it isn't one that `seamcheck inspect --json` wrote of a rose") from None
    if len(plane) < FEWEST_PLACES or len(tips) < 3:
        raise NoOutline(file=name, why="too few of its tips were measured")
    plane_of_photo = _homography(np.array(photo, float), np.array(plane))
    misfit = float(np.linalg.norm(_mapped(plane_of_photo, np.array(photo, float)) - np.array(plane), axis=1).max())
    if not misfit <= MOST_MISFIT_IN:
        raise NoOutline(file=name, why=f"its tips disagree by {misfit:.3f} in about how the photo lies on the top")
    corners = _mapped(plane_of_photo, corners_px.reshape(-1, 2)).reshape(-1, 4, 2)
    return MeasuredOutline(_outline(corners, rings), lobes, misfit)


def _outline(corners_in: Array, rings: list[int]) -> Array:
    """Tip, notch, ... of lobes (n, 4, 2: root, left shoulder, tip, right shoulder) that are in clockwise order."""
    outline = []
    for k, (ring, corners) in enumerate(zip(rings, corners_in, strict=True)):
        following = (k + 1) % len(rings)
        own, other = corners[3], corners_in[following][1]
        # The later ring's shoulder lies on the other's long edge; shoulders of one ring lie on each other.
        notch = own if ring > rings[following] else other if ring < rings[following] else (own + other) / 2
        outline += [corners[2], notch]
    return np.array(outline)


def _homography(start: Array, end: Array) -> Array:
    """(3, 3) that takes points (n, 2) to points (n, 2), by the direct linear transform on scaled points (Hartley 1997)."""
    scale_start, scale_end = _scaling(start), _scaling(end)
    u, x = _mapped(scale_start, start), _mapped(scale_end, end)
    ones, zeros = np.ones((len(u), 1)), np.zeros((len(u), 3))
    point = np.hstack([u, ones])
    rows = np.vstack([np.hstack([point, zeros, -x[:, :1] * point]), np.hstack([zeros, point, -x[:, 1:] * point])])
    scaled = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    return np.linalg.inv(scale_end) @ scaled @ scale_start


def _scaling(points: Array) -> Array:
    """(3, 3) that brings points to their middle and to a mean distance of 1."""
    middle = points.mean(axis=0)
    size = float(np.linalg.norm(points - middle, axis=1).mean()) or 1.0
    return np.array([[1 / size, 0, -middle[0] / size], [0, 1 / size, -middle[1] / size], [0, 0, 1]])


def _mapped(homography: Array, points: Array) -> Array:
    homogeneous = np.hstack([points, np.ones((len(points), 1))]) @ homography.T
    with np.errstate(divide="ignore", invalid="ignore"):  # places that lie nowhere disagree with all others, and are refused
        return homogeneous[:, :2] / homogeneous[:, 2:]
