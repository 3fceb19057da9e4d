"""How far each joint gapes: two straight edges and the slit between them, fitted to the whole joint at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.reasons import Reason
from ..basis.uncertain import Estimate
from ..edges import LinearPatch
from ..plane.camera import Camera
from .gap_model import N_SHAPE, N_SLIT, SHADE_REACH, W0, W1, SlitData, SlitFit, SlitPrior, edge_along, fit_slit, opening_along
from .gap_sites import JointSite
from .gap_strip import LUMA_BGR, JointStrip, filled, sample_joint, unsharpened_light

HALF_WIDTH_IN = 0.13  # of the strip: a gap of 0.08 in beside rough places 0.03 in off
BOW_IN = 0.0006  # standard uncertainty of an edge's straightness. Common practice, no source.
# Stations at which the opening counts stand 0.05 in apart, as the contract's joints are read.
STATION_IN = 0.05
CODE_NOISE_FLOOR = 0.004  # one code value of 255
DEPENDENCE = 6.0  # how many bins carry one bin's worth of knowledge: wood's figure is alike over that many


@dataclass(frozen=True, eq=False)
class GapFit:
    """One joint's opening, inches; overlap negative."""

    max: Estimate  # 95th percentile of the opening along the joint
    mean_in: float
    max_at_in: Array  # (2,) plane, at the face's height: middle of the opening where it is widest
    inner: Estimate  # opening at the nominal edge's inner end
    outer: Estimate
    measured_fraction: float  # of the nominal edge's length


@dataclass(frozen=True, eq=False)
class Optics:
    """How the photo draws an edge, shared by all its joints."""

    log_blur: float
    u_log_blur: float
    strength: float  # of the phone's sharpening
    radius_px: float


PLAIN = Optics(np.log(0.8), 0.35, 0.5, 1.3)


def measure_gap(
    patch: LinearPatch, camera: Camera, site: JointSite, z_in: float, raised: bool, veneer_in: float, optics: Optics = PLAIN
) -> GapFit | Reason:
    """The opening of one joint whose face lies at height z_in."""
    seen = look_at_joint(patch, camera, site, z_in)
    if isinstance(seen, Reason):
        return seen
    strip, clear = seen
    depth = veneer_in
    middle = site.ends_in.mean(axis=0)
    lean_in = depth * float((camera.eye_in[:2] - middle) @ right_of(site.direction)) / float(camera.eye_in[2])
    best = _best_fit(strip, clear, optics, lean_in, depth)
    if best is None:
        return Reason.JOINT_COVERED
    return _reported(best, strip, clear, site)


def look_at_joint(patch: LinearPatch, camera: Camera, site: JointSite, z_in: float) -> tuple[JointStrip, Array] | Reason:
    """The joint's strip, which of its blocks show the joint."""
    strip = sample_joint(patch, camera, site, z_in, HALF_WIDTH_IN)
    if strip is None:
        return Reason.JOINT_COVERED
    clear = clear_blocks(strip)
    if clear.mean() < 0.3:
        return Reason.JOINT_COVERED
    return strip, clear


def clear_blocks(strip: JointStrip) -> Array:
    """Blocks (n_blocks,) in which both sides have the joint's usual colours: no tape."""
    place = (np.arange(strip.count.shape[1]) + 0.5) / strip.count.shape[1] * 2 - 1
    sides = []
    for side in (-1, 1):
        use = strip.count * ((place * side > 0.35) & (place * side < 0.9))
        total = use.sum(axis=1)
        mean = (strip.code * use[..., None]).sum(axis=1) / np.maximum(total, 1)[:, None]
        mean[total == 0] = np.nan
        sides.append(mean)
    usual = [np.nanmedian(side, axis=0) for side in sides]
    contrast = max(float(np.linalg.norm(usual[1] - usual[0])), 0.1)
    away = np.stack([np.linalg.norm(side - mid, axis=1) for side, mid in zip(sides, usual, strict=True)])
    return np.nanmax(np.where(np.isfinite(away), away, 0), axis=0) < 0.45 * contrast


def _best_fit(
    strip: JointStrip, clear: Array, optics: Optics, lean_in: float, depth_in: float
) -> tuple[SlitFit, SlitData, SlitPrior] | None:
    light, slope = unsharpened_light(strip, optics.strength, optics.radius_px)
    scale = strip.px_per_in
    across = strip.across_in * scale[:, None]
    luma = strip.code @ LUMA_BGR
    lines = _strong_lines(luma, strip, clear)
    if not lines:
        return None
    mid_scale = float(np.median(scale))
    fits = []
    for start in _starts(lines, optics):
        low = np.minimum(edge_along(start, strip.along), edge_along(start, strip.along) + opening_along(start, strip.along)) - 7
        high = edge_along(start, strip.along) + np.maximum(opening_along(start, strip.along), 0) + 7
        data, prior = _framed(strip, clear, light, slope, across, low, high, lean_in * mid_scale, depth_in * mid_scale, optics)
        fits.append((fit_slit(data, prior, start, 6), data, prior))
    return min(fits, key=lambda item: item[0].cost / max(float((item[1].weight > 0).sum()), 1))


def _framed(
    strip: JointStrip,
    clear: Array,
    light: Array,
    slope: Array,
    across: Array,
    low: Array,
    high: Array,
    lean: float,
    depth: float,
    optics: Optics,
) -> tuple[SlitData, SlitPrior]:
    """The part of the strip between two lines (pixels), with priors from its own woods."""
    known = (strip.count > 0) & clear[:, None]
    left = known & (across > low[:, None] - 8) & (across < low[:, None] + 4)
    right = known & (across < high[:, None] + 8) & (across > high[:, None] - 4)
    woods = np.array([np.median(light[side]) if side.any() else 0.3 for side in (left, right)])
    brighter = float(woods.max())
    window = known & (across > low[:, None]) & (across < high[:, None])
    noise = 0.012 * slope
    columns = np.flatnonzero(window.any(axis=0))
    cut = slice(columns[0], columns[-1] + 1) if len(columns) else slice(0, 1)
    weight = np.where(window, strip.count / 4 / noise**2 / DEPENDENCE, 0)
    data = SlitData(light[:, cut], weight[:, cut], across[:, cut], strip.along, lean, max(SHADE_REACH * depth, 1.0))
    wall = woods[0] if lean > 0 else woods[1]
    floor = 0.3 * brighter
    prior = SlitPrior(
        np.array([0, 0, 4, 4, 0, optics.log_blur]),
        np.array([30, 30, 8, 8, BOW_IN * float(np.median(strip.px_per_in)), optics.u_log_blur]),
        np.array([0.35 * wall, floor, 0.4 * floor, 0.4 * floor]),
        np.array([0.3 * wall + 0.02 * brighter, 0.8 * floor, 0.4 * floor, 0.4 * floor]),
        woods,
        0.25 * woods + 0.01,
    )
    return data, prior


def _strong_lines(luma: Array, strip: JointStrip, clear: Array) -> list[Array]:
    """The two strongest straight edges: places (2,) in pixels at the inner and outer end, strongest first."""
    full = filled(luma, strip.count)
    smooth = (full[:, :-3] + full[:, 1:-2]) - (full[:, 2:-1] + full[:, 3:])
    steepness = np.minimum(np.abs(smooth) / 2, 0.2) * clear[:, None]
    n_bins = steepness.shape[1]
    offsets = np.arange(2, n_bins - 2, 2)
    inner, outer = np.meshgrid(offsets, offsets, indexing="ij")
    allowed = np.abs(inner - outer) * strip.bin_in < 0.1
    inner, outer = inner[allowed], outer[allowed]
    bins = np.clip(np.rint(inner[:, None] + (outer - inner)[:, None] * strip.along).astype(int), 0, n_bins - 1)
    rows = np.arange(len(strip.along))
    half = (n_bins + 3) * strip.bin_in / 2
    place = np.stack([inner, outer], axis=1) * strip.bin_in + 2 * strip.bin_in - half
    lines: list[Array] = []
    for _ in range(2):
        strength = steepness[rows, bins].sum(axis=1) * np.exp(-0.5 * (place.mean(axis=1) / 0.06) ** 2)
        best = int(np.argmax(strength))
        if strength[best] <= 0:
            break
        lines.append(place[best] * float(np.median(strip.px_per_in)))
        near = np.abs(np.arange(n_bins)[None, :] - bins[best][:, None]) <= 4
        steepness = np.where(near, 0, steepness)
    return lines


def _starts(lines: list[Array], optics: Optics) -> list[Array]:
    first = lines[0]
    starts = [np.array([*first - 0.0, 1.0, 1.0, 0, optics.log_blur]), np.array([*first - 1.0, 1.0, 1.0, 0, optics.log_blur])]
    if len(lines) > 1:
        left, right = np.minimum(lines[0], lines[1]), np.maximum(lines[0], lines[1])
        starts.append(np.array([*left, *np.maximum(right - left, 0.5), 0, optics.log_blur]))
    return starts


def _reported(best: tuple[SlitFit, SlitData, SlitPrior], strip: JointStrip, clear: Array, site: JointSite) -> GapFit:
    fit, data, _ = best
    inverse = np.linalg.inv(fit.precision)
    scores = fit.scores - fit.scores.mean(axis=0)
    pulled = scores.T @ scores + scores[1:].T @ scores[:-1] + scores[:-1].T @ scores[1:]
    sampling = inverse @ pulled @ inverse
    model = inverse @ np.diag(fit.prior_precision) @ inverse
    stations = np.arange(0.04, site.length_in - 0.06, STATION_IN) / site.length_in
    scale = np.interp(stations, strip.along, strip.px_per_in)
    opening = opening_along(fit.shape, stations) / scale
    top = float(np.percentile(opening, 95))
    at = stations[int(np.argmin(np.abs(opening - top)))]
    lever = np.zeros(N_SHAPE + N_SLIT)

    def estimate(value: float, t: float) -> Estimate:
        lever[:] = 0
        lever[[W0, W1]] = (1 - t), t
        per_px = 1 / float(np.interp(t, strip.along, strip.px_per_in))
        return Estimate(
            value,
            {
                "sampling": float(np.sqrt(max(lever @ sampling @ lever, 0))) * per_px,
                "slit": float(np.sqrt(max(lever @ model @ lever, 0))) * per_px,
            },
        )

    place_px = float(edge_along(fit.shape, np.array([at]))[0] + opening_along(fit.shape, np.array([at]))[0] / 2)
    place = (
        site.ends_in[0]
        + at * site.length_in * site.direction
        + place_px / float(np.interp(at, strip.along, strip.px_per_in)) * right_of(site.direction)
    )
    ends = opening_along(fit.shape, np.array([0.0, 1.0])) / np.interp([0, 1], strip.along, strip.px_per_in)
    return GapFit(
        estimate(top, float(at)),
        float(opening.mean()),
        place,
        estimate(float(ends[0]), 0.0),
        estimate(float(ends[1]), 1.0),
        float(clear.mean()),
    )
