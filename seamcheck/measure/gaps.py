"""How far each joint gapes: two straight edges and the slit between them, weighed over the whole joint at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.reasons import Reason
from ..basis.uncertain import Estimate
from ..edges import LinearPatch
from ..plane.camera import Camera
from .gap_model import JointData, Weighed, weigh
from .gap_optics import Optics, measure_optics
from .gap_profiles import Reference, clear_blocks, find_reference, moved, profiles, shared_prior, with_noise_of
from .gap_sites import JointSite
from .gap_strip import JointStrip, sample_joint

HALF_WIDTH_IN = 0.13  # of the strip: a gap of 0.08 in beside rough places 0.03 in off
LEAST_CLEAR = 0.3  # of a joint's length; less says too little about its widest place
BOW_IN = 0.0005  # standard uncertainty of the opening at its widest from edges that aren't quite straight. Common practice, no source.
STATION_ENDS_IN = (0.04, 0.06)  # the opening counts from and to so far from the nominal edge's ends, where the corners are
USUAL_GAP_IN = 0.03  # the prior on an opening falls off by e over so much: wider ones are rarer. Common practice, no source.
ROUGH_IN = 0.03  # how far a found lobe's edge may lie from the real one, standard uncertainty of what the finder promises
COARSE_PX = np.array([0.05, 0.7, 1.5, 2.6, 4.2, 6.5, 9.5, 13.5, 19.0])
FINE_STEPS = 8
# An opening known no better than this isn't worth a number: as wide as anything a maker would leave.
DARK_U_IN = 0.012


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
class _Look:
    strip: JointStrip
    clear: Array  # (n_blocks,) bool
    lean_in: float
    depth_in: float


def measure_gap(patch: LinearPatch, camera: Camera, site: JointSite, z_in: float, veneer_in: float) -> GapFit | Reason:
    """The opening of one joint by itself; measure_gaps does better, since a rose's joints share their light and their blur."""
    return measure_gaps(patch, camera, [site], z_in, veneer_in)[0]


def measure_gaps(patch: LinearPatch, camera: Camera, sites: Sequence[JointSite], z_in: float, veneer_in: float) -> list[GapFit | Reason]:
    """The opening of every joint whose face lies at height z_in over a slit of the veneer's depth, in the order of the sites."""
    looks = [_look(patch, camera, site, z_in, veneer_in) for site in sites]
    seen = [look for look in looks if isinstance(look, _Look)]
    optics = measure_optics([look.strip for look in seen], [look.clear for look in seen])
    return [look if isinstance(look, Reason) else _measure(look, site, optics) for look, site in zip(looks, sites, strict=True)]


def _look(patch: LinearPatch, camera: Camera, site: JointSite, z_in: float, veneer_in: float) -> _Look | Reason:
    if None in site.lobes:
        return Reason.EDGE_AMBIGUOUS  # the slit beside the field shows neither a depth nor a shade that tells it from the wood
    strip = sample_joint(patch, camera, site, z_in, HALF_WIDTH_IN)
    if strip is None:
        return Reason.JOINT_COVERED
    clear = clear_blocks(strip)
    if clear.mean() < LEAST_CLEAR:
        return Reason.JOINT_COVERED
    middle = site.ends_in.mean(axis=0)
    eye = camera.eye_in
    lean_in = veneer_in * float((eye[:2] - middle) @ right_of(site.direction)) / float(eye[2] - z_in)
    return _Look(strip, clear, lean_in, veneer_in)


def _measure(look: _Look, site: JointSite, optics: Optics) -> GapFit | Reason:
    strip = look.strip
    reference = find_reference(strip, look.clear)
    if reference is None:
        return Reason.EDGE_AMBIGUOUS
    scale = float(np.median(strip.px_per_in))
    data = profiles(strip, look.clear, reference, optics, look.lean_in, look.depth_in)
    widths = COARSE_PX[COARSE_PX < 0.11 * scale]
    coarse = _on_grid(data, optics, widths, widths, np.array([False, True]), scale)
    best = int(np.argmax(coarse.evidence))
    reference = moved(reference, coarse.shared[best])
    data = with_noise_of(profiles(strip, look.clear, reference, optics, look.lean_in, look.depth_in), coarse.residual[best])
    share = _shares(coarse, _likely(coarse, reference, site, scale))
    sides = [side for side in (False, True) if share[coarse.slit_left == side].sum() > 0.02]
    fine = [_refined(data, optics, coarse, share, side, scale) for side in sides]
    return _reported(fine, reference, look, site, scale)


def _on_grid(data: JointData, optics: Optics, inner: Array, outer: Array, sides: Array, scale: float) -> Weighed:
    grid = np.meshgrid(inner, outer, sides, indexing="ij")
    return weigh(data, shared_prior(data, optics, scale), *(axis.ravel() for axis in grid))


def _likely(weighed: Weighed, reference: Reference, site: JointSite, scale: float) -> Array:
    """Log probabilities (n,) of openings, up to a constant: evidence, the rough places of the edges, and how gaps usually are."""
    log = weighed.evidence - (weighed.inner_px + weighed.outer_px) / 2 / scale / USUAL_GAP_IN
    normal = right_of(site.direction)
    for end, (opening, edge) in enumerate(((weighed.inner_px, reference.inner_px), (weighed.outer_px, reference.outer_px))):
        left = edge / scale - np.where(weighed.slit_left, opening, 0) / scale
        for rough, place in ((site.left_edge_in, left), (site.right_edge_in, left + opening / scale)):
            away = place - float((rough[end] - site.ends_in[end]) @ normal)
            log = log - 0.5 * (away / ROUGH_IN) ** 2
    return log


def _shares(weighed: Weighed, log: Array) -> Array:
    """Probabilities (n,) of the openings on a grid."""
    for side in (weighed.inner_px, weighed.outer_px):
        nodes = np.unique(side)
        cells = np.gradient(nodes) if len(nodes) > 1 else np.ones(1)
        log = log + np.log(cells[np.searchsorted(nodes, side)])
    share = np.exp(log - log.max())
    return share / share.sum()


def _refined(data: JointData, optics: Optics, coarse: Weighed, share: Array, side: bool, scale: float) -> Weighed:
    here = coarse.slit_left == side
    axes = []
    for opening in (coarse.inner_px, coarse.outer_px):
        nodes = np.unique(opening)
        mass = np.array([share[here & (opening == node)].sum() for node in nodes])
        mass = mass / mass.sum()
        kept = np.flatnonzero(mass > 0.01)
        low, high = max(kept[0] - 1, 0), min(kept[-1] + 1, len(nodes) - 1)
        axes.append(np.linspace(nodes[low], nodes[high], FINE_STEPS))
    return _on_grid(data, optics, axes[0], axes[1], np.array([side]), scale)


def _reported(fine: list[Weighed], reference: Reference, look: _Look, site: JointSite, scale: float) -> GapFit | Reason:
    inner = np.concatenate([part.inner_px for part in fine])
    outer = np.concatenate([part.outer_px for part in fine])
    log = np.concatenate([_likely(part, reference, site, scale) for part in fine])
    cell = np.concatenate([np.full(len(part.inner_px), np.ptp(part.inner_px) * np.ptp(part.outer_px) + 1e-9) for part in fine])
    log = log + np.log(cell)
    share = np.exp(log - log.max())
    share /= share.sum()
    ends = np.array([STATION_ENDS_IN[0], site.length_in - STATION_ENDS_IN[1]]) / site.length_in
    per_px = 1 / np.interp([0, 1], look.strip.along, look.strip.px_per_in)
    inner_in, outer_in = inner * per_px[0], outer * per_px[1]
    first, last = (inner_in + (outer_in - inner_in) * t for t in ends)
    widest = np.minimum(first, last) + 0.95 * np.abs(last - first)

    def estimate(value: Array) -> Estimate:
        mean = float(share @ value)
        return Estimate(mean, {"slit": float(np.sqrt(share @ (value - mean) ** 2)), "bow": BOW_IN})

    top = estimate(widest)
    if top.u > DARK_U_IN:
        return Reason.JOINT_DARK
    t = ends[1] if share @ last > share @ first else ends[0]
    opening = float(share @ (inner_in + (outer_in - inner_in) * t))
    left = np.concatenate([part.slit_left for part in fine])
    edge = reference.at(t) / scale + (opening / 2 if share @ left < 0.5 else -opening / 2)
    place = site.ends_in[0] + t * site.length_in * site.direction + edge * right_of(site.direction)
    return GapFit(top, float(share @ (first + last) / 2), place, estimate(inner_in), estimate(outer_in), float(look.clear.mean()))
