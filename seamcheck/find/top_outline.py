"""Where a round top's outline shows in a photo whose camera isn't known yet: coarsely, as an oval about the rose.

Along rays from near the top's middle the light is followed outward; where it changes most may be the outline, or a band's inner edge, or
anything on the bench. An oval r = r0 (1 + a cos + b sin + c cos 2 + d sin 2), which a circle seen at a slant nearly is, is fitted to what
lies near it, from many starts. Then all rings about it are looked for, each the same oval but for its size and a little of its place: a
rim of nearly the bench's tone shows on no ray by itself, but on all of them together at one size. The outermost ring is the top's.
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
CHANGE_PX = 2.2, 1.2  # how far a change of light is smoothed along a ray, for a first oval, and to tell rings from each other
# Radii that are tried, as shares of the copy's shorter side, and how much each is larger than the one before.
LEAST_RADIUS, MOST_RADIUS, GROWTH = 0.22, 0.95, 1.02
# Starts' centres lie off the given place by up to this share of the radius.
OFF_SHARES = (-0.09, -0.045, 0.0, 0.045, 0.09)
# Round by round, what lies within such a share of the radius counts.
WITHIN = (0.05, 0.03, 0.015, 0.008, 0.006)
# Of the rays whose outline would lie in the picture so many must show it, and so many rays' outlines must.
LEAST_SHARE, LEAST_RAYS = 0.5, 0.3
# An oval that so nearly as many rays agree on as on the best, that lies so near to the middle (a share of its size) and so much of whose
# outline is in the picture, is taken before smaller ones.
NEARLY_AS_GOOD, MOST_OFF, LEAST_WHOLE = 0.75, 0.13, 0.5
# Rings about an oval: sizes that are tried (least, most, step), and how far their middles may lie apart, as shares of it: circles one in
# another, seen at a slant, have middles that differ by a hundredth.
RING_SIZES, RING_OFF, RING_OFF_LITTLE = (0.8, 1.3, 0.004), (-0.016, -0.008, 0.0, 0.008, 0.016), (-0.004, 0.0, 0.004)
# How a change of light on a ray stands out of the changes along so much of that ray (px) and this many beside it; more than so many times
# counts as so many.
USUAL_OVER_PX, USUAL_RAYS, MOST_TIMES = 81, 5, 5.0
# A ring is there where it stands out so many times, on the mean of all rays that could show it; on benches of one wood with the band, grain
# and what else lies there come to 2.5 at most. One that shows less within another has to stand out by so much of its surroundings.
RING_TIMES, WITHIN_TIMES, WITHIN_RISE = 3.3, 2.2, 0.7
SAME_RING = 0.015  # rings are farther apart than this share
# A ring's places: a ray's strongest change so near, round by round, as a share of its size, that stands out so many times.
NEAR_RING, PLACE_TIMES = (0.014, 0.009, 0.006), 1.8
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
    light = cv2.GaussianBlur(np.log1p(small.astype(np.float32)), (0, 0), 0.8)
    middle = (np.asarray(near_px, float) + 0.5) / factor - 0.5
    seen = _along_rays(light, middle)
    model = _oval(seen, min(small.shape[:2]))
    if model is None:
        return None
    model, is_rim = _outermost(seen, model)
    angle, place = _places(seen, model)
    spots = middle + place[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return Outline((spots + 0.5) * factor - 0.5, is_rim)


@dataclass(frozen=True)
class _Rays:
    """What the copy shows along rays from near the middle; copy pixels."""

    angles: Array  # (n,) rad
    design: Array  # (n, 5) of the oval
    times: Array  # (n, r) the light's change over what is usual thereabouts, by distance in px; 0 outside the picture
    limits: Array  # (n,) how far each ray stays in the picture
    table: Array  # (n, MOST_EDGES) distances of the strongest changes; infinite where there are fewer


def _along_rays(light: NDArray[np.float32], middle: Array) -> _Rays:
    import cv2
    from scipy.ndimage import gaussian_filter1d, median_filter

    height, width = light.shape[:2]
    angles = np.arange(RAYS) * 2 * np.pi / RAYS
    reach = np.arange(0.0, float(np.hypot(width, height)), STEP_PX)
    way = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    spots = middle + reach[None, :, None] * way[:, None]
    inside = np.all((spots > 3) & (spots < np.array([width, height]) - 4), axis=2)
    limits = np.where(inside.all(axis=1), reach[-1], reach[np.argmin(inside, axis=1)])
    along = cv2.remap(light, spots[..., 0].astype(np.float32), spots[..., 1].astype(np.float32), cv2.INTER_LINEAR)
    # Averaged over three neighbouring rays: bench and leaves have grain of their own.
    along = (along + np.roll(along, 1, axis=0) + np.roll(along, -1, axis=0)) / 3
    coarse, change = (
        np.where(inside, np.sqrt(np.sum(gaussian_filter1d(along, wide, axis=1, order=1) ** 2, axis=2)), 0.0) for wide in CHANGE_PX
    )
    table = np.full((RAYS, MOST_EDGES), np.inf)
    for k in range(RAYS):
        row = coarse[k, : int(limits[k] / STEP_PX) - 4]
        if len(row) < 12:
            continue
        tops = np.flatnonzero((row[1:-1] >= row[:-2]) & (row[1:-1] > row[2:])) + 1
        tops = tops[reach[tops] > LEAST_RADIUS / 2 * min(height, width)]
        best = tops[np.argsort(-row[tops])[:MOST_EDGES]]
        table[k, : len(best)] = reach[best]
    round_and_round = np.pad(change, ((USUAL_RAYS, USUAL_RAYS), (0, 0)), mode="wrap")
    usual = median_filter(round_and_round, size=(USUAL_RAYS, USUAL_OVER_PX), mode="nearest")[USUAL_RAYS:-USUAL_RAYS]
    design = np.stack([np.ones(RAYS), np.cos(angles), np.sin(angles), np.cos(2 * angles), np.sin(2 * angles)], axis=1)
    return _Rays(angles, design, change / (usual + LEAST_CHANGE), limits, table)


def _oval(seen: _Rays, side_px: float) -> Array | None:
    """(5,): the outermost ring that nearly as many rays agree on as on any, or else the oval that most agree on."""
    good: list[tuple[float, int, Array]] = []  # share of the rays, their number, model
    radius = LEAST_RADIUS * side_px
    while radius < MOST_RADIUS * side_px:
        for a in OFF_SHARES:
            for b in OFF_SHARES:
                start = radius * np.array([1.0, a, b, 0.0, 0.0])
                fitted = _fitted(seen.design, seen.table, start)
                if fitted is not None:
                    share = _share(seen.design @ fitted[0], fitted[1], seen.limits)
                    if share >= LEAST_SHARE:
                        good.append((share, int(fitted[1].sum()), fitted[0]))
        radius *= GROWTH
    if not good:
        return None
    most = max(share for share, _, _ in good)
    whole = [m for share, _, m in good if share >= NEARLY_AS_GOOD * most and _is_whole(seen, m)]
    outer = _sharpest(seen, max(whole, key=lambda m: float(m[0]))) if whole else None
    if outer is not None and _is_whole(seen, outer) and _stands_out(seen, np.minimum(seen.times, MOST_TIMES), outer[None])[0] >= RING_TIMES:
        return outer
    return max(good, key=lambda one: one[1])[2]


def _is_whole(seen: _Rays, model: Array) -> bool:
    """Whether an oval lies about the middle, and most of it in the picture."""
    return bool(np.hypot(model[1], model[2]) < MOST_OFF * model[0] and (seen.design @ model < seen.limits - 8).mean() >= LEAST_WHOLE)


def _outermost(seen: _Rays, model: Array) -> tuple[Array, bool]:
    """The oval of the outermost ring about an oval, and whether another ring lies within it, as a band's inner edge does."""
    model = _sharpest(seen, model)
    for _ in range(MOST_RINGS):
        outer = None
        for off, rise in ((RING_OFF_LITTLE, 0.15), (RING_OFF, 0.3)):  # thin bands' edges run into each other where much is left open
            sizes, times, models = _rings(seen, model, off)
            found = [k for k in _peaks(times, rise) if times[k] >= RING_TIMES and sizes[k] > 1 + SAME_RING]
            outer = models[found[-1]] if found else outer
        better = None if outer is None else _drawn_to(seen, outer)
        if better is None:
            break
        model = better
    drawn = _drawn_to(seen, model)
    model = model if drawn is None else drawn
    sizes, times, _ = _rings(seen, model, RING_OFF)
    within = [k for k in _peaks(times, 0.3) if sizes[k] < 1 - SAME_RING and times[k] >= WITHIN_TIMES]
    return model, any(times[k] - _saddle(times, k, int(np.argmin(np.abs(sizes - 1)))) >= WITHIN_RISE for k in within)


MOST_RINGS = 4
LEAST_CHANGE = 1e-4  # log of light, per px: nothing stands out of less
# Ovals drawn at random about the best so far: how many, how often, how many of them the next are drawn about, and how far off the first
# are, as shares of its size (one standard deviation).
DRAWN, ROUNDS, KEPT, FIRST_OFF = 4000, 8, 60, (0.04, 0.04, 0.04, 0.012, 0.012)


def _sharpest(seen: _Rays, model: Array) -> Array:
    """The oval near another one that stands out most on all rays together: no mixture of two rings' pieces does.

    Cross-entropy search (R. Y. Rubinstein, Methodol. Comput. Appl. Probab. 1, 1999, from memory); the same for the same rays.
    """
    rng = np.random.default_rng(0)
    times = np.minimum(seen.times, MOST_TIMES)
    spread = np.array(FIRST_OFF) * model[0]
    best, best_is = model, -1.0
    middle = model
    for _ in range(ROUNDS):
        tried = np.vstack([middle, rng.normal(middle, spread, (DRAWN, 5))])
        stands = _stands_out(seen, times, tried)
        order = np.argsort(-stands)[:KEPT]
        if stands[order[0]] > best_is:
            best, best_is = tried[order[0]], float(stands[order[0]])
        middle, spread = tried[order].mean(axis=0), tried[order].std(axis=0) + 0.05
    return best


def _stands_out(seen: _Rays, times: Array, models: Array) -> Array:
    """(k,): how much ovals (k, 5) stand out, on the mean of all rays that could show them."""
    reach = models @ seen.design.T
    shown = reach < seen.limits - 8
    found = times[np.arange(RAYS), np.clip(np.round(reach / STEP_PX).astype(int), 0, times.shape[1] - 1)]
    mean = np.sum(found * shown, axis=1) / np.maximum(shown.sum(axis=1), 1)
    return np.where(shown.mean(axis=1) >= LEAST_RAYS, mean, 0.0)


def _rings(seen: _Rays, model: Array, off: tuple[float, ...]) -> tuple[Array, Array, Array]:
    """Sizes (s,) over an oval's, how a ring of that size stands out (s,), and the oval that does so most (s, 5)."""
    from scipy.ndimage import maximum_filter1d

    spread = maximum_filter1d(np.minimum(seen.times, MOST_TIMES), 3, axis=1)
    sizes = np.arange(*RING_SIZES)
    a, b = (one.ravel() for one in np.meshgrid(off, off))
    times, models = np.zeros(len(sizes)), np.zeros((len(sizes), 5))
    for k, size in enumerate(sizes):
        tried = np.tile(size * model, (len(a), 1))
        tried[:, 1] += a * tried[:, 0]
        tried[:, 2] += b * tried[:, 0]
        stands = _stands_out(seen, spread, tried)
        best = int(np.argmax(stands))
        times[k], models[k] = stands[best], tried[best]
    return sizes, times, models


def _peaks(times: Array, rise: float) -> list[int]:
    """Where rings stand out more than those beside them: the middle of each flat top, inner first."""
    from scipy.signal import find_peaks

    return [int(k) for k in find_peaks(times, prominence=rise)[0]]


def _saddle(times: Array, one: int, other: int) -> float:
    """The least between two rings, or beyond the inner one: what it stands out of."""
    inner, outer = sorted((one, other))
    return float(max(times[inner : outer + 1].min(), times[: inner + 1].min()))


def _places(seen: _Rays, model: Array, within: float = NEAR_RING[-1]) -> tuple[Array, Array]:
    """(angle, distance) of the strongest change near an oval, of the rays that show one."""
    reach = seen.design @ model
    half = max(int(np.ceil(within * model[0] / STEP_PX)), 1)
    column = np.round(reach / STEP_PX).astype(int)[:, None] + np.arange(-half, half + 1)
    inside = (column > 0) & (column < seen.times.shape[1] - 1) & (column * STEP_PX < (seen.limits - 8)[:, None])
    times = np.where(inside, seen.times[np.arange(RAYS)[:, None], np.clip(column, 0, seen.times.shape[1] - 1)], 0.0)
    best = np.argmax(times, axis=1)
    good = times[np.arange(RAYS), best] > PLACE_TIMES
    at = column[np.arange(RAYS), best]
    ahead, here, behind = (seen.times[np.arange(RAYS), np.clip(at + k, 0, seen.times.shape[1] - 1)] for k in (1, 0, -1))
    bend = ahead - 2 * here + behind
    finer = np.where(bend < 0, np.clip((behind - ahead) / (2 * np.where(bend < 0, bend, -1.0)), -0.5, 0.5), 0.0)
    return seen.angles[good], ((at + finer) * STEP_PX)[good]


def _drawn_to(seen: _Rays, model: Array) -> Array | None:
    """An oval fitted to the ring that it lies near; None where too few rays show that."""
    for within in NEAR_RING:
        angle, place = _places(seen, model, within)
        asked = int((seen.design @ model < seen.limits - 8).sum())
        if len(angle) < LEAST_SHARE * max(asked, 1) or asked < LEAST_RAYS * RAYS:
            return None
        design = np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)], axis=1)
        keep = np.ones(len(angle), bool)
        for _ in range(3):
            model = np.linalg.lstsq(design[keep], place[keep], rcond=None)[0]
            away = np.abs(place - design @ model)
            keep = away <= 3 * 1.483 * max(float(np.median(away)), 0.3)
        if np.hypot(model[3], model[4]) > MOST_OVAL * model[0]:
            return None
    return model


def _share(drawn: Array, keep: Array, limits: Array) -> float:
    """Of the rays that could show an oval, how many do; 0 where too few could."""
    asked = drawn < limits - 8
    return float((keep & asked).sum() / asked.sum()) if asked.mean() >= LEAST_RAYS else 0.0


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
