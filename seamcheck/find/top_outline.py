"""Where a round top's outline shows in a photo whose camera isn't known yet: coarsely, as an oval about the rose.

Along rays from near the top's middle the light is followed outward; where it changes most may be the outline, or a band's inner edge, or
anything on the bench. An oval r = r0 (1 + a cos + b sin + c cos 2 + d sin 2), which a circle seen at a slant nearly is, is fitted to what
lies near it, from many starts; the outermost that most rays agree on is the top's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array

COPY_PX = 900  # the longer side of the copy that is looked at
RAYS = 240
MOST_EDGES = 7  # along one ray
STEP_PX = 1.0
# Radii that are tried, as shares of the copy's shorter side, and how much each is larger than the one before.
LEAST_RADIUS, MOST_RADIUS, GROWTH = 0.22, 0.95, 1.02
# Starts' centres lie off the given place by up to this share of the radius.
OFF_SHARES = (-0.09, -0.045, 0.0, 0.045, 0.09)
# Round by round, what lies within such a share of the radius counts.
WITHIN = (0.05, 0.03, 0.015, 0.008, 0.006)
# Of the rays whose outline would lie in the picture so many must show it, and so many rays' outlines must.
LEAST_SHARE, LEAST_RAYS = 0.5, 0.3
# An oval that so nearly as many rays agree on as on the best, and that is larger, is the top's: a band's inner edge is often the sharper.
NEARLY_AS_GOOD = 0.75
# A band's inner edge: sizes that are tried, over the outline's (least, most, step); so many of the rays must show it, and so many times as
# many as show the usual oval thereabouts.
BAND_SIZES, BAND_SHARE, BAND_CLEAR, BAND_APART = (0.83, 0.968, 0.005), 0.65, 1.25, 0.02
MOST_OVAL = 0.09  # c, d: a tilt of 30 degrees


@dataclass(frozen=True)
class Outline:
    """A round top's outline in the photo."""

    places_px: Array  # (n, 2)
    is_rim: bool  # a band's inner edge shows within it, so it can't be that itself


def find_outline(bgr: NDArray[np.uint8], near_px: Array) -> Outline | None:
    """The outline in the upright photo (h, w, 3), about a place (2,) near the top's middle; None where there is none."""
    import cv2

    factor = max(bgr.shape[:2]) / COPY_PX
    small = cv2.resize(bgr, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(np.log1p(small.astype(np.float32)), (0, 0), 1.2)
    middle = (np.asarray(near_px, float) + 0.5) / factor - 0.5
    angles = np.arange(RAYS) * 2 * np.pi / RAYS
    owner, place, limits = _edges(light, middle, angles)
    found = _oval(angles, owner, place, limits, min(small.shape[:2]))
    if found is None:
        return None
    places, is_rim = found
    spots = middle + places[:, 1:2] * np.stack([np.cos(places[:, 0]), np.sin(places[:, 0])], axis=1)
    return Outline((spots + 0.5) * factor - 0.5, is_rim)


def _edges(light: NDArray[np.float32], middle: Array, angles: Array) -> tuple[Array, Array, Array]:
    """(ray, distance) of the strongest changes along each ray, and how far each ray stays in the picture; copy pixels."""
    import cv2
    from scipy.ndimage import gaussian_filter1d

    height, width = light.shape[:2]
    reach = np.arange(0.0, float(np.hypot(width, height)), STEP_PX)
    way = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    spots = middle + reach[None, :, None] * way[:, None]
    inside = np.all((spots > 3) & (spots < np.array([width, height]) - 4), axis=2)
    limits = np.where(inside.all(axis=1), reach[-1], reach[np.argmin(inside, axis=1)])
    along = cv2.remap(light, spots[..., 0].astype(np.float32), spots[..., 1].astype(np.float32), cv2.INTER_LINEAR)
    # Averaged over three neighbouring rays: bench and leaves have grain of their own.
    along = (along + np.roll(along, 1, axis=0) + np.roll(along, -1, axis=0)) / 3
    change = np.sqrt(np.sum(gaussian_filter1d(along, 2.0, axis=1, order=1) ** 2, axis=2))
    owners, places = [], []
    for k in range(len(angles)):
        end = int(limits[k] / STEP_PX) - 4
        row = change[k, :end]
        if len(row) < 12:
            continue
        tops = np.flatnonzero((row[1:-1] >= row[:-2]) & (row[1:-1] > row[2:])) + 1
        tops = tops[reach[tops] > LEAST_RADIUS / 2 * min(height, width)]
        best = tops[np.argsort(-row[tops])[:MOST_EDGES]]
        owners.append(np.full(len(best), k))
        places.append(reach[best])
    if not owners:
        return np.zeros(0, int), np.zeros(0), limits
    return np.concatenate(owners), np.concatenate(places), limits


def _oval(angles: Array, owner: Array, place: Array, limits: Array, side_px: float) -> tuple[Array, bool] | None:
    """(n, 2): (angle, distance) of the rays that agree on the outermost good oval; and whether another lies within it, as a band's does."""
    design = np.stack([np.ones_like(angles), np.cos(angles), np.sin(angles), np.cos(2 * angles), np.sin(2 * angles)], axis=1)
    table = np.full((len(angles), MOST_EDGES), np.inf)
    for k in range(len(angles)):
        mine = place[owner == k]
        table[k, : len(mine)] = mine
    good: list[tuple[float, Array, Array]] = []  # share of the rays, model, (n, 2)
    radius = LEAST_RADIUS * side_px
    while radius < MOST_RADIUS * side_px:
        for a in OFF_SHARES:
            for b in OFF_SHARES:
                start = radius * np.array([1.0, a, b, 0.0, 0.0])
                fitted = _fitted(design, table, start)
                if fitted is not None:
                    model, keep, nearest = fitted
                    share = _share(design @ model, keep, limits)
                    if share >= LEAST_SHARE:
                        good.append((share, model, np.stack([angles[keep], nearest[keep]], axis=1)))
        radius *= GROWTH
    if not good:
        return None
    best = max(share for share, _, _ in good)
    enough = (one for one in good if one[0] >= NEARLY_AS_GOOD * best)
    _, model, places = max(enough, key=lambda one: (round(float(one[1][0]) / (0.01 * side_px)), one[0]))
    return places, _shows_within(design, table, limits, model)


def _share(drawn: Array, keep: Array, limits: Array) -> float:
    """Of the rays that could show an oval, how many do; 0 where too few could."""
    asked = drawn < limits - 8
    return float((keep & asked).sum() / asked.sum()) if asked.mean() >= LEAST_RAYS else 0.0


def _shows_within(design: Array, table: Array, limits: Array, model: Array) -> bool:
    """Whether a band's inner edge shows within an oval: one that clearly more rays agree on than on others about there."""
    found = []  # (size, share)
    for size in np.arange(*BAND_SIZES):
        fitted = _fitted(design, table, size * model)
        if fitted is not None and BAND_SIZES[0] - 0.01 < fitted[0][0] / model[0] < BAND_SIZES[1] + 0.004:  # not the outline itself
            found.append((float(fitted[0][0] / model[0]), _share(design @ fitted[0], fitted[1], limits)))
    if not found:
        return False
    at, best = max(found, key=lambda one: one[1])
    elsewhere = [share for size, share in found if abs(size - at) > BAND_APART]  # many starts end at one oval
    return best >= BAND_SHARE and best >= BAND_CLEAR * float(np.median(elsewhere or [0.0]))


def _fitted(design: Array, table: Array, start: Array) -> tuple[Array, Array, Array] | None:
    """(model (5,), which rays agree, each ray's nearest change) from a start; None where it runs away."""
    model = start
    keep, nearest = np.zeros(len(design), bool), np.zeros(len(design))
    for within in WITHIN:
        drawn = design @ model
        away = np.abs(table - drawn[:, None])
        column = np.argmin(away, axis=1)
        nearest = table[np.arange(len(table)), column]
        keep = away[np.arange(len(table)), column] < within * model[0]
        if keep.sum() < 0.15 * len(design):
            return None
        model = np.linalg.lstsq(design[keep], nearest[keep], rcond=None)[0]
        if not model[0] > 0 or np.hypot(model[3], model[4]) > MOST_OVAL * model[0]:
            return None
    return model, keep, nearest
