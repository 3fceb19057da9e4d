"""What the photo shows, and where: the one door into the finder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..basis.errors import NoRoseFound
from ..basis.frames import Array
from ..kite import FoundRose
from ..plane.camera import Camera
from ..plane.rectify import flatten, reduced, seen_box
from ..result import Stage
from .align import align
from .centre import centre_candidates
from .fold import fold_round
from .light import LogLight, log_light
from .lobes import refine_lobes
from .rays import Rays, rate_rays
from .shape import RoseShape, fit_shape

# Resolutions of the flattened copies (px/in): to find the centre, to fit the rose's shape, to draw its edges.
SEARCH_PPI, SHAPE_PPI, EDGE_PPI = 12.0, 24.0, 48.0

# Room beyond the longest lobe in the finest copy (inches).
EDGE_ROOM_IN = 0.3

# How far from the middle of the photo the plane is searched (inches): the longest bench that matters.
SEARCH_LIMIT_IN = 14.0

# The largest rose (inches from its centre to a tip).
LARGEST_REACH_IN = 6.2

# Candidates that may get a full fit; two of the same count nearer than this are one (inches).
FULL_FITS, FITS_APART_IN = 5, 0.4

# A rose: its first ring's lines show this much over chance, its own seams and long edges step by this much together
# (in limited steps: 2 is as strong as steps can be), its notch lies where a kite's can, and its joints don't step with its own seams.
# Measured on rendered roses under tape: 4.0, 1.5 and a notch of 0.34 or more at the least; on bare tops 3.5 and 0.8 at the most.
LEAST_SCORE, LEAST_STEPS, LEAST_NOTCH_SHARE, LEAST_JOINT = 3.0, 1.1, 0.2, -0.1

# So clear a rose that no other candidate need be looked at.
CLEAR_SCORE, CLEAR_STEPS = 6.0, 1.6


def find_rose(bgr: NDArray[np.uint8], camera: Camera, card_outlines_in: Sequence[Array], z_in: float) -> FoundRose:
    """The rose of a dry fit or an inlay, its face at height z_in; raises NoRoseFound."""
    source = _Source(bgr, camera, card_outlines_in, z_in)
    shape = _best_shape(source)
    if shape is None:
        raise NoRoseFound(photo="the photo")
    reach = max(shape.reach_in, *(ring.reach_in for ring in shape.later), 0.0) + EDGE_ROOM_IN
    light = source.look(shape.centre_in - reach, shape.centre_in + reach, EDGE_PPI)
    return FoundRose(shape.centre_in, refine_lobes(light, shape.lobes()), 0.5)


@dataclass(frozen=True)
class _Source:
    """The photo with the way to look at pieces of it."""

    bgr: NDArray[np.uint8]
    camera: Camera
    cards: Sequence[Array]
    z_in: float

    def look(self, low_in: Array, high_in: Array, px_per_in: float) -> LogLight:
        """A box of the plane in logarithmic light, made from a copy reduced to suit."""
        density = self.camera.px_per_in_at((low_in + high_in) / 2, self.z_in)
        factor = max(1, int(density / (1.25 * px_per_in)))
        view = flatten(reduced(self.bgr, factor), self.camera, low_in, high_in, self.z_in, px_per_in, factor)
        return log_light(view, self.cards)

    def look_round(self, centre_in: Array, px_per_in: float) -> LogLight:
        return self.look(centre_in - LARGEST_REACH_IN, centre_in + LARGEST_REACH_IN, px_per_in)


def _best_shape(source: _Source) -> RoseShape | None:
    """The rose that shows best, or None."""
    low, high = seen_box(source.camera, (source.bgr.shape[1], source.bgr.shape[0]), source.z_in, SEARCH_LIMIT_IN)
    shapes = []
    for rays in _likeliest(source.look(low, high, SEARCH_PPI)):
        shape = _fit(source, rays)
        if _is_rose(shape):
            shapes.append(shape)
            if shape.score > CLEAR_SCORE and shape.own_step + shape.edge_step > CLEAR_STEPS:
                break
    return max(shapes, key=lambda shape: shape.score, default=None)


def _likeliest(light: LogLight) -> list[Rays]:
    steps = light.limited_steps()
    rated = [rays for place in centre_candidates(light) for rays in rate_rays(light, steps, place)]
    kept: list[Rays] = []
    for rays in sorted(rated, key=lambda one: -one.score):
        if all(rays.count != other.count or np.hypot(*(rays.centre_in - other.centre_in)) > FITS_APART_IN for other in kept):
            kept.append(rays)
    return kept[:FULL_FITS]


def _fit(source: _Source, rays: Rays) -> RoseShape:
    light = source.look_round(rays.centre_in, SHAPE_PPI)
    steps = light.limited_steps()
    centre, bearing = align(light, steps, rays)
    fold = fold_round(light, steps, centre, bearing, rays.count, LARGEST_REACH_IN - 0.2)
    return fit_shape(fold, rays, centre, bearing)


def _is_rose(shape: RoseShape) -> bool:
    strong = shape.score > LEAST_SCORE and shape.own_step + shape.edge_step > LEAST_STEPS
    return strong and shape.notch_in > LEAST_NOTCH_SHARE * shape.reach_in and shape.joint_step > LEAST_JOINT


def find_all(
    bgr: NDArray[np.uint8], camera: Camera, card_outlines_in: Sequence[Array], stage: Stage | None, z_in: float
) -> tuple[Stage, FoundRose]:
    """The stage, as told or as the photo shows it, and what was found. Raises NoRoseFound."""
    rose = find_rose(bgr, camera, card_outlines_in, z_in)
    return (stage or (Stage.DRY_FIT if rose.raised >= 0.5 else Stage.INLAID)), rose
