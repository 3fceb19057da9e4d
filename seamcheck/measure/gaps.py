"""How far each joint gapes: two straight edges and the slit between them, weighed over the whole joint at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.reasons import Reason
from ..basis.uncertain import Estimate
from ..edges import LinearPatch
from ..optics import Optics as CardsOptics
from ..plane.camera import Camera
from .gap_field import FieldTone
from .gap_model import JointData, Weighed, hue_evidence, weigh
from .gap_optics import Optics, measure_optics
from .gap_profiles import Look, Reference, clear_blocks, find_edges, joint_woods, moved, profiles, shared_prior, with_noise_of
from .gap_sites import JointSite
from .gap_strip import sample_joint

HALF_WIDTH_IN = 0.13  # of the strip: a gap of 0.08 in beside rough places 0.03 in off
LEAST_CLEAR = 0.3  # of a joint's length; less says too little about its widest place
# Of blur, standard deviation, as the cards tell it, and as the joints do, more roughly: beyond it a gap's two edges run into one.
SOFTEST_PX, SOFTEST_BY_JOINTS_PX = 1.6, 2.5
U_LOG_SOFT_BLUR = 0.12  # standard uncertainty of the log of a soft photo's blur: focus and the lens differ across it (a guess)
# Standard uncertainty of the opening at its widest from edges that aren't quite straight, sharp or plumb, and from what a slit's light does
# beyond the model. A guess: with .0005 for bow alone, 83 in 100 joints that were told to under .006 in held true in rendered dry fits.
EDGES_U_IN = 0.0018
STATION_ENDS_IN = (0.04, 0.06)  # the opening counts from and to so far from the nominal edge's ends, where the corners are
USUAL_GAP_IN = 0.03  # the prior on an opening falls off by e over so much: wider ones are rarer. Common practice, no source.
ROUGH_IN = 0.03  # how far a found lobe's edge may lie from the real one, standard uncertainty of what the finder promises
COARSE_PX = np.array([0.3, 1.7, 4.0, 8.0, 14.0])  # openings to begin from, closer where the photo tells them apart
COARSE_GROUP_BLOCKS = 12  # of the strip's blocks to a profile, to begin with: twice as many as later
COARSE_TAPER = 1  # of its steps from end to end: refining finds steeper ones from there
WIDEST_IN = 0.11  # opening that is looked for: the strip ends there
# A wider one isn't told: its far edge lies where the strip ends, and as often it is a stripe in the wood.
MOST_TOLD_IN = 0.1
N_MODES = 6  # likely openings, different from each other, that are refined
APART_PX = 0.7  # openings nearer to each other than this are one
REFINE_PX = 1.5  # how far a refined opening may move at a time, standard deviation
SPREADS_ROUND = 2.5
FINE_STEPS = 5  # of the last grid, along each side, round each likely opening
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


def measure_gap(patch: LinearPatch, camera: Camera, site: JointSite, z_in: float, veneer_in: float) -> GapFit | Reason:
    """The opening of one joint by itself; measure_gaps does better, since a rose's joints share their light and their blur."""
    return measure_gaps(patch, camera, [site], z_in, veneer_in)[0]


def measure_gaps(
    patch: LinearPatch,
    camera: Camera,
    sites: Sequence[JointSite],
    z_in: float,
    veneer_in: float,
    field: FieldTone | None = None,
    cards_optics: CardsOptics | None = None,
) -> list[GapFit | Reason]:
    """The opening of every joint whose face lies at height z_in over a slit of the veneer's depth, in the order of the sites.

    field: how the open field looks that the slits' bottom shows, where that is known (a dry fit's);
    cards_optics: how the photo draws the cards, which is taken for the joints too where it is soft: else they tell by themselves.
    """
    strips = [None if None in site.lobes else sample_joint(patch, camera, site, z_in, HALF_WIDTH_IN) for site in sites]
    shown = [strip for strip in strips if strip is not None]
    if not shown:
        return [_nothing(site) for site in sites]
    woods = joint_woods(shown)
    clears = [None if strip is None else clear_blocks(strip, woods, site.alike) for strip, site in zip(strips, sites, strict=True)]
    optics = measure_optics(shown, [clear for clear in clears if clear is not None])
    softest_px = SOFTEST_BY_JOINTS_PX
    gaps: list[GapFit | Reason] = []
    for site, strip, clear in zip(sites, strips, clears, strict=True):
        if cards_optics is not None and cards_optics.is_soft:
            # Neither motion nor the wide blur of a slit's two edges shows in the joints alone.
            softest_px = SOFTEST_PX
            blur_px = cards_optics.whole_blur_px(camera.normal_px(site.ends_in[0], site.ends_in[1], z_in))
            optics = Optics(blur_px, U_LOG_SOFT_BLUR, cards_optics.sharpening.strength, cards_optics.sharpening.radius_px)
        if optics.blur_px > softest_px:
            gaps.append(Reason.PHOTO_SOFT)
            continue
        if strip is None or clear is None or clear.mean() < LEAST_CLEAR:
            gaps.append(_nothing(site))
            continue
        middle, eye = site.ends_in.mean(axis=0), camera.eye_in
        lean_in = veneer_in * float((eye[:2] - middle) @ right_of(site.direction)) / float(eye[2] - z_in)
        gaps.append(_measure(Look(strip, clear, optics, lean_in, veneer_in, field), site))
    return gaps


def _nothing(site: JointSite) -> Reason:
    # A slit beside the field shows neither a depth nor a shade that tells it from the wood. Measured as the others are, openings of .004
    # (spread .003) came out .006 off, root mean square, and to +-.011 (u95, which held): worse than guessing.
    return Reason.FIELD_JOINT if None in site.lobes else Reason.JOINT_COVERED


def _measure(look: Look, site: JointSite) -> GapFit | Reason:
    edges = find_edges(look.strip, look.clear)
    if not edges:
        return Reason.EDGE_AMBIGUOUS
    reference, scale = edges[0], look.strip.scale
    data = profiles(look, reference, COARSE_GROUP_BLOCKS)
    prior = shared_prior(data, look.optics, scale, None if look.field is None else look.field.light)
    coarse = weigh(data, prior, *_nodes(scale, edges))
    for _ in range(2):
        keep = _best(coarse, _likely(data, coarse, reference, look, site))
        reference = moved(reference, coarse.shared[keep[0]])
        data = profiles(look, reference)
        coarse = weigh(data, prior, coarse.inner_px[keep], coarse.outer_px[keep], coarse.slit_left[keep], np.full(len(keep), REFINE_PX))
    likely = _likely(data, coarse, reference, look, site)
    data = with_noise_of(data, coarse.residual[int(np.argmax(likely))])
    inner, outer, left, cell = _around(coarse, _apart(coarse, likely))
    fine = weigh(data, prior, inner, outer, left)
    return _reported(data, fine, cell, reference, look, site, scale)


def _nodes(scale: float, edges: list[Reference]) -> tuple[Array, Array, Array, Array]:
    """Openings to begin from: inner and outer end, side of the reference edge, and how far each stands for."""
    widths = COARSE_PX[WIDEST_IN * scale > COARSE_PX]
    inner, outer, left = (axis.ravel() for axis in np.meshgrid(widths, widths, [False, True], indexing="ij"))
    steps = np.abs(np.searchsorted(widths, inner) - np.searchsorted(widths, outer))
    near = steps <= COARSE_TAPER
    inner, outer, left = inner[near], outer[near], left[near]
    cell = 0.35 * np.maximum(np.maximum(inner, outer), 1.0)
    apart = np.array([[e.inner_px - edges[0].inner_px, e.outer_px - edges[0].outer_px] for e in edges[1:]]).reshape(-1, 2)
    apart = apart[np.abs(apart).max(axis=1) < WIDEST_IN * scale]
    other = np.maximum(np.where(apart.mean(axis=1, keepdims=True) < 0, -apart, apart), 0.1)
    inner, outer = np.concatenate([inner, other[:, 0]]), np.concatenate([outer, other[:, 1]])
    return inner, outer, np.concatenate([left, apart.mean(axis=1) < 0]), np.concatenate([cell, np.full(len(apart), REFINE_PX)])


def _best(weighed: Weighed, log: Array) -> Array:
    """The likeliest openings that differ from each other, at most N_MODES."""
    kept: list[int] = []
    left = np.array(log, float)
    while len(kept) < N_MODES and left.max() > -np.inf:
        k = int(np.argmax(left))
        kept.append(k)
        square = (weighed.inner_px - weighed.inner_px[k]) ** 2 + (weighed.outer_px - weighed.outer_px[k]) ** 2
        left[(square < APART_PX**2) & (weighed.slit_left == weighed.slit_left[k])] = -np.inf
    return np.array(kept)


def _apart(weighed: Weighed, log: Array) -> Array:
    kept = _best(weighed, log)
    return kept[log[kept] > log[kept[0]] - 6][:4]


def _around(weighed: Weighed, modes: Array) -> tuple[Array, Array, Array, Array]:
    """Openings (inner, outer, side) round each of the modes, and the area each stands for; where grids overlap, the likelier mode's."""
    parts: list[tuple[Array, Array, Array, Array]] = []
    boxes: list[tuple[bool, Array, Array]] = []
    for k in modes:
        centre = np.array([weighed.inner_px[k], weighed.outer_px[k]])
        reach = np.clip(SPREADS_ROUND * weighed.spread_px[k], 0.4, 5.0)
        low, high = np.maximum(centre - reach, 0.02), np.maximum(centre, 0.02) + reach
        step = (high - low) / (FINE_STEPS - 1)
        ends = low + np.indices((FINE_STEPS, FINE_STEPS)).reshape(2, -1).T * step
        left = bool(weighed.slit_left[k])
        for other_left, first, last in boxes:
            if other_left == left:
                ends = ends[np.any((ends < first) | (ends > last), axis=1)]
        boxes.append((left, low - step / 2, high + step / 2))
        parts.append((ends[:, 0], ends[:, 1], np.full(len(ends), left), np.full(len(ends), step[0] * step[1])))
    inner, outer, slit_left, cell = (np.concatenate(axis) for axis in zip(*parts, strict=True))
    return inner, outer, slit_left, cell


def _likely(data: JointData, weighed: Weighed, reference: Reference, look: Look, site: JointSite) -> Array:
    """Log probabilities (n,) of openings, up to a constant: evidence, the rough places of the edges, and how gaps usually are."""
    scale = look.strip.scale
    log = weighed.evidence - (weighed.inner_px + weighed.outer_px) / 2 / scale / USUAL_GAP_IN
    log = log + hue_evidence(data, weighed.inner_px, weighed.outer_px, weighed.slit_left, None if look.field is None else look.field.hue)
    normal = right_of(site.direction)
    for end, (opening, edge) in enumerate(((weighed.inner_px, reference.inner_px), (weighed.outer_px, reference.outer_px))):
        left = edge / scale - np.where(weighed.slit_left, opening, 0) / scale
        for rough, place in ((site.left_edge_in, left), (site.right_edge_in, left + opening / scale)):
            away = place - float((rough[end] - site.ends_in[end]) @ normal)
            log = log - 0.5 * (away / ROUGH_IN) ** 2
    return log


def _reported(
    data: JointData, fine: Weighed, cell: Array, reference: Reference, look: Look, site: JointSite, scale: float
) -> GapFit | Reason:
    inner, outer = fine.inner_px, fine.outer_px
    log = _likely(data, fine, reference, look, site) + np.log(cell)
    share = np.exp(log - log.max())
    share /= share.sum()
    ends = np.array([STATION_ENDS_IN[0], site.length_in - STATION_ENDS_IN[1]]) / site.length_in
    per_px = 1 / np.interp([0, 1], look.strip.along, look.strip.px_per_in)
    inner_in, outer_in = inner * per_px[0], outer * per_px[1]
    first, last = (inner_in + (outer_in - inner_in) * t for t in ends)
    widest = np.minimum(first, last) + 0.95 * np.abs(last - first)

    def estimate(value: Array) -> Estimate:
        mean = float(share @ value)
        return Estimate(mean, {"opening": float(np.sqrt(share @ (value - mean) ** 2)), "edges model": EDGES_U_IN})

    top = estimate(widest)
    if top.u > DARK_U_IN:
        return Reason.JOINT_DARK
    if top.value > MOST_TOLD_IN:
        return Reason.EDGE_AMBIGUOUS
    t = ends[1] if share @ last > share @ first else ends[0]
    opening = float(share @ (inner_in + (outer_in - inner_in) * t))
    edge = reference.at(t) / scale + (opening / 2 if share @ fine.slit_left < 0.5 else -opening / 2)
    place = site.ends_in[0] + t * site.length_in * site.direction + edge * right_of(site.direction)
    return GapFit(top, float(share @ (first + last) / 2), place, estimate(inner_in), estimate(outer_in), float(look.clear.mean()))
