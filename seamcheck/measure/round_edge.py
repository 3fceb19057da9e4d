"""A round top's edge: its diameter and centre, from the full photo.

Along rays from near its middle, the light is followed outward. The places where it changes most vote for one circle on the plane,
the outermost that enough rays agree on; then every ray's edge is placed to a fraction of a pixel as a blurred step, and a circle fitted on
the plane. (The camera turns a circle into an ellipse, and a lens bends that: on the plane it is a circle again.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, bearing_of, unit_of_bearing
from ..basis.reasons import Reason
from ..edges import LUMA_BGR, LinearPatch, tone_of
from ..plane.camera import Camera

# Rays, and what is looked at along each (inches): no top that a photo of this kind shows is smaller or larger.
RAYS, FROM_IN, TO_IN = 360, 2.0, 14.0
# Each ray's light is the mean over this much of arc (inches): bench and band have grain of their own.
ARC_IN, ARC_SAMPLES = 0.12, 7
COARSE_STEP_IN = 0.02
# Edges along one ray that may be the top's.
MOST_EDGES = 6
# A circle's radius and centre are voted for on this grid (inches), and a ray agrees when an edge of its lies this near.
CENTRE_REACH_IN, CENTRE_STEP_IN, AGREE_IN = 0.35, 0.05, 0.05
# Of the rays that could show the circle, so many must, over at least so much of a turn, or it can't be said to be one.
LEAST_SHARE, LEAST_ARC = 0.45, 0.3
# So many circles are tried, this far apart (inches). An edge is one that this share of the rays places within this spread (inches).
MOST_CIRCLES, APART_IN, LEAST_KEPT, MOST_SPREAD_IN = 5, 0.12, 0.6, 0.012
# An edge this near inside one that rays scatter about by more than that (inches) is the top's, if they do so by less than this share of it.
BESIDE_IN, BLUNT_IN, SHARPER = 0.35, 0.004, 0.5
# A band may run round the field: beyond this share of the top's radius and this wide at least (inches), where the light changes on all rays
# alike, by so many times its spread over them.
BAND_FROM_SHARE, BAND_LEAST_IN, BAND_STRENGTH = 0.8, 0.12, 0.8
# The leaves are followed to this far within the band (inches).
BAND_RIM_IN = 0.06
# The fine profile across the edge: half its length (inches) and where rays are thrown out (times the spread).
HALF_IN, OUTLIER = 0.10, 3.5
# An edge's arris is eased and its side may show: which line of it a person's rule would touch is known to this (standard uncertainty,
# inches on the radius; common practice, no source). One side of the top may lean more: the same across it for the centre, a part of it.
ARRIS_U_IN, ARRIS_SIDE_SHARE = 0.0045, 0.5
SEEN_GAP = 0.15  # rad: an edge isn't seen over stretches longer than this without a place
# Neighbouring rays see the same wood: their errors repeat over about this much of arc (inches).
ALIKE_IN = 0.5


@dataclass(frozen=True)
class RoundEdge:
    """A circle on z = 0."""

    centre_in: Array  # (2,)
    radius_in: float
    cov: Array  # (3, 3) of (x, y, radius), sampling
    u_model_in: float  # of the radius
    places_in: Array  # (n, 2) where the edge was seen
    seen_share: float  # of a full turn


def edge_of_circle(radius_in: float, places_in: Array) -> RoundEdge:
    """The edge that the plane itself was found by: the circle about its origin. But for the arris, the camera carries what it errs by."""
    side = np.diag([(ARRIS_SIDE_SHARE * ARRIS_U_IN) ** 2] * 2 + [0.0])
    turn = np.sort(bearing_of(places_in))
    gaps = np.diff(np.append(turn, turn[0] + 2 * np.pi))
    share = 1 - float(np.sum(gaps[gaps > SEEN_GAP])) / (2 * np.pi)
    return RoundEdge(np.zeros(2), radius_in, side, ARRIS_U_IN, places_in, share)


def _circles(
    patch: LinearPatch, camera: Camera, size_px: tuple[int, int], centre_in: Array, blocked: Sequence[Array]
) -> list[tuple[Array, float]]:
    """(centre, radius) of what may be the top's edge, to a few hundredths, outermost first."""
    rays = unit_of_bearing(np.arange(RAYS) * 2 * np.pi / RAYS)
    reach = np.arange(FROM_IN, TO_IN, COARSE_STEP_IN)
    light, seen = _along_rays(patch, camera, size_px, centre_in, rays, reach, blocked)
    edges = [_edges(tone_of(light[k]), seen[k], reach) for k in range(RAYS)]
    shifts = np.arange(-CENTRE_REACH_IN, CENTRE_REACH_IN + 1e-9, CENTRE_STEP_IN)
    owner = np.concatenate([np.full(len(found), k) for k, found in enumerate(edges)])
    if not len(owner):
        return []
    places = np.concatenate(edges)[:, None] * rays[owner]
    radii = np.arange(FROM_IN, TO_IN, AGREE_IN / 2)
    # A ray is asked about a radius when it shows wood there; cards and the picture's rim excuse it.
    asked = np.array([[bool(s[min(int((r - FROM_IN) / COARSE_STEP_IN), len(s) - 1)]) for r in radii] for s in seen]).sum(axis=0)
    votes = np.zeros((len(shifts), len(shifts), len(radii)))
    for i, dx in enumerate(shifts):
        for j, dy in enumerate(shifts):
            distance = np.hypot(places[:, 0] - dx, places[:, 1] - dy)
            bin_of = np.round((distance - FROM_IN) / (AGREE_IN / 2)).astype(int)
            table = np.zeros((RAYS, len(radii) + 2), bool)
            for step in (-1, 0, 1):
                table[owner, np.clip(bin_of + step, 0, len(radii) + 1)] = True
            votes[i, j] = table[:, : len(radii)].sum(axis=0)
    enough = asked >= LEAST_ARC * RAYS
    share = np.where(enough, votes / np.maximum(asked, 1), 0.0)
    best = share.max(axis=(0, 1))
    circles: list[tuple[Array, float]] = []
    while best.max(initial=0.0) >= LEAST_SHARE and len(circles) < MOST_CIRCLES:
        k = int(np.argmax(best))
        at = np.unravel_index(int(np.argmax(share[:, :, k])), share.shape[:2])
        circles.append((centre_in + np.array([shifts[at[0]], shifts[at[1]]]), float(radii[k])))
        best[np.abs(radii - radii[k]) < APART_IN] = 0.0
    return sorted(circles, key=lambda one: -one[1])


def field_reach(
    patch: LinearPatch, camera: Camera, size_px: tuple[int, int], centre_in: Array, edge: RoundEdge | Reason, blocked: Sequence[Array]
) -> float:
    """How far from a place (2,) the leaves surely go on every side (inches); as far as the photo shows where the edge isn't known."""
    if isinstance(edge, RoundEdge):
        return _leaves_radius(patch, camera, size_px, edge, blocked) - float(np.hypot(*(edge.centre_in - centre_in))) - BAND_RIM_IN
    rim = unit_of_bearing(np.arange(RAYS) * 2 * np.pi / RAYS)
    reach = np.arange(FROM_IN, TO_IN, 0.1)
    px = camera.px_from_plane(centre_in + reach[:, None, None] * rim[None])
    shown = np.all((px >= 0) & (px <= np.array(size_px) - 1), axis=2).mean(axis=1) > 0.5
    return float(reach[shown][-1]) if shown.any() else FROM_IN


def _leaves_radius(patch: LinearPatch, camera: Camera, size_px: tuple[int, int], edge: RoundEdge, blocked: Sequence[Array]) -> float:
    """How far from the edge's centre the leaves go (inches): to the band round them, or to the edge."""
    rays = unit_of_bearing(np.arange(RAYS) * 2 * np.pi / RAYS)
    reach = np.arange(BAND_FROM_SHARE * edge.radius_in, edge.radius_in - BAND_LEAST_IN, COARSE_STEP_IN / 2)
    light, seen = _along_rays(patch, camera, size_px, edge.centre_in, rays, reach, blocked)
    tone = tone_of(light)
    wide = round(0.06 / (COARSE_STEP_IN / 2))
    change = np.zeros((RAYS, len(reach)))
    change[:, wide:-wide] = tone[:, 2 * wide :] - tone[:, : -2 * wide]
    good = seen & np.roll(seen, wide, axis=1) & np.roll(seen, -wide, axis=1)
    count = np.maximum(good.sum(axis=0), 1)
    mean = (change * good).sum(axis=0) / count
    spread = np.sqrt(((change - mean) ** 2 * good).sum(axis=0) / count) + 1e-6
    strength = np.abs(mean) / spread
    tops = [k for k in range(1, len(reach) - 1) if strength[k] >= strength[k - 1 : k + 2].max() and strength[k] > BAND_STRENGTH]
    return float(reach[tops[0]]) if tops else edge.radius_in


def measure_round_edge(
    patch: LinearPatch, camera: Camera, size_px: tuple[int, int], centre_in: Array, blocked: Sequence[Array]
) -> RoundEdge | Reason:
    """The top's edge round a place (2,) near its middle: the outermost circle that is sharp all along.

    patch: the whole upright photo; blocked: outlines (n, 2) on the plane that lie over it, such as cards. The uncertainty leaves out
    the camera's.
    """
    reason = Reason.ROUND_EDGE_UNCLEAR
    best: tuple[RoundEdge, float] | None = None
    for circle in _circles(patch, camera, size_px, centre_in, blocked):
        found = sharp_circle(patch, camera, size_px, circle, blocked)
        if isinstance(found, Reason):
            reason = found
        elif best is None or (best[1] > BLUNT_IN and best[0].radius_in - found[0].radius_in < BESIDE_IN and found[1] < SHARPER * best[1]):
            # A circle that lies askew beside the edge finds pieces of it, of its shadow and of the bench, but none of them all round.
            best = found
    return reason if best is None else best[0]


def sharp_circle(
    patch: LinearPatch, camera: Camera, size_px: tuple[int, int], found: tuple[Array, float], blocked: Sequence[Array]
) -> tuple[RoundEdge, float] | Reason:
    """The circle near a found one, to a fraction of a pixel, and the rays' spread about it (inches); a Reason where it's no sharp one."""
    centre, radius = found
    count = int(2 * np.pi * radius / (ALIKE_IN / 3))
    rays = unit_of_bearing(np.arange(count) * 2 * np.pi / count)
    step = 0.5 / camera.px_per_in_at(centre)
    moved, cov, keep, spots, spread = np.zeros(3), np.eye(3), np.zeros(0, bool), np.zeros((0, 2)), 0.0
    for half in (2 * HALF_IN, HALF_IN):
        reach = radius + np.arange(-half, half + step / 2, step)
        light, seen = _along_rays(patch, camera, size_px, centre, rays, reach, blocked)
        place = np.array([_step_at(light[k], reach) if seen[k].all() else np.nan for k in range(count)])
        known = np.isfinite(place)
        if known.sum() < LEAST_ARC * count:
            return Reason.EDGE_OUT_OF_FRAME if seen.all(axis=1).mean() < LEAST_ARC else Reason.ROUND_EDGE_UNCLEAR
        spots = rays[known] * place[known, None]
        design = np.column_stack([rays[known], np.ones(int(known.sum()))])
        moved, cov, keep = _circle(design, place[known], ALIKE_IN / (2 * np.pi * radius / count))
        centre, radius = centre + moved[:2], float(moved[2])
        spread = float(np.sqrt(np.mean((place[known] - design @ moved)[keep] ** 2)))
        if keep.mean() < LEAST_KEPT or (half == HALF_IN and spread > MOST_SPREAD_IN):
            return Reason.ROUND_EDGE_UNCLEAR
        spots = centre - moved[:2] + spots
    share = float(keep.sum() / count)
    if share < LEAST_ARC:
        return Reason.EDGE_OUT_OF_FRAME
    side = np.diag([(ARRIS_SIDE_SHARE * ARRIS_U_IN) ** 2] * 2 + [0.0])
    return RoundEdge(centre, radius, cov + side, ARRIS_U_IN, spots[keep], share), spread


def _along_rays(
    patch: LinearPatch, camera: Camera, size_px: tuple[int, int], centre_in: Array, rays: Array, reach: Array, blocked: Sequence[Array]
) -> tuple[Array, Array]:
    """Light, linear (rays, reach), averaged over a little arc, and whether all of it shows (rays, reach)."""
    across = np.stack([rays[:, 1], -rays[:, 0]], axis=1)
    arc = np.linspace(-ARC_IN / 2, ARC_IN / 2, ARC_SAMPLES)
    mean = np.empty((len(rays), len(reach)))
    seen = np.empty((len(rays), len(reach)), bool)
    for k in range(len(rays)):
        places = centre_in + reach[:, None, None] * rays[k] + arc[None, :, None] * across[k]
        px = camera.px_from_plane(places)
        inside = np.all((px >= 1) & (px <= np.array(size_px) - 2), axis=(1, 2))
        light = np.where(inside[:, None, None], np.nan_to_num(patch.at_px(np.clip(px, 0, np.array(size_px) - 1.0))), 1.0)
        mean[k] = (light @ LUMA_BGR).mean(axis=1)
        seen[k] = inside
    points = centre_in + reach[None, :, None] * rays[:, None]
    for outline in blocked:
        seen &= ~_within(points, outline)
    return mean, seen


def _within(points: Array, outline: Array) -> Array:
    """Which points (..., 2) lie in a card's outline (4, 2), its rim and shadow counted."""
    middle = outline.mean(axis=0)
    grown = middle + (outline - middle) * 1.12
    sides = []
    for a, b in zip(grown, np.roll(grown, -1, axis=0), strict=True):
        sides.append((b[0] - a[0]) * (points[..., 1] - a[1]) - (b[1] - a[1]) * (points[..., 0] - a[0]))
    signs = np.stack(sides)
    return np.all(signs > 0, axis=0) | np.all(signs < 0, axis=0)


def _edges(tone: Array, seen: Array, reach: Array) -> Array:
    """Where along a ray the light changes most, strongest first."""
    from scipy.ndimage import gaussian_filter1d

    change = np.abs(gaussian_filter1d(tone, 2.0, order=1))
    clear = np.convolve(seen, np.ones(9), mode="same") > 8.5
    change = np.where(clear, change, 0.0)
    tops = np.flatnonzero((change[1:-1] >= change[:-2]) & (change[1:-1] > change[2:])) + 1
    tops = tops[change[tops] > 3 * np.median(change[clear])] if clear.any() else tops[:0]
    return reach[tops[np.argsort(-change[tops])[:MOST_EDGES]]]


def _step_at(light: Array, reach: Array) -> float:
    """Where a profile of linear light is steepest, by the centroid of its slope about the peak; nan where it has none."""
    from scipy.ndimage import gaussian_filter1d

    slope = gaussian_filter1d(light, 2.0, order=1)
    top = int(np.argmax(np.abs(slope)))
    if not 4 <= top < len(slope) - 4:
        return float("nan")
    near = np.arange(top - 4, top + 5)
    weight = np.maximum(slope[near] * np.sign(slope[top]), 0.0)
    return float(reach[near] @ weight / weight.sum())


def _circle(design: Array, place: Array, alike: float) -> tuple[Array, Array, Array]:
    """(dx, dy, radius) by least squares without outliers, its covariance, and which rays were kept. `alike`: rays that count as one."""
    keep = np.ones(len(place), bool)
    result, spread = np.zeros(3), 0.0
    for _ in range(8):
        result = np.linalg.lstsq(design[keep], place[keep], rcond=None)[0]
        residual = place - design @ result
        spread = 1.483 * float(np.median(np.abs(residual[keep]))) + 1e-5
        new = np.abs(residual) < OUTLIER * spread
        if (new == keep).all() or new.sum() < 8:
            break
        keep = new
    cov = np.linalg.inv(design[keep].T @ design[keep]) * spread**2 * max(1.0, alike)
    return result, cov, keep
