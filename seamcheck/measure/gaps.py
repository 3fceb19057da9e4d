"""How far each joint gapes: two straight edges and the slit between them, weighed over the whole joint at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.reasons import Reason
from ..basis.uncertain import Estimate
from ..edges import LinearPatch
from ..optics import Optics as CardsOptics
from ..plane.camera import Camera
from .gap_field import FieldTone
from .gap_hue import Tints, colour_blur_px, hue_evidence, tints_of
from .gap_model import JointData, SharedPrior, Weighed, weigh
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
LEAST_PX = 0.1  # an opening that is begun from
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
    begun: list[_Begun | Reason] = []
    for site, strip, clear in zip(sites, strips, clears, strict=True):
        if cards_optics is not None and cards_optics.is_soft:
            # Neither motion nor the wide blur of a slit's two edges shows in the joints alone.
            softest_px = SOFTEST_PX
            blur_px = cards_optics.whole_blur_px(camera.normal_px(site.ends_in[0], site.ends_in[1], z_in))
            optics = Optics(blur_px, U_LOG_SOFT_BLUR, cards_optics.sharpening.strength, cards_optics.sharpening.radius_px)
        if optics.blur_px > softest_px:
            begun.append(Reason.PHOTO_SOFT)
            continue
        if strip is None or clear is None or clear.mean() < LEAST_CLEAR:
            begun.append(_nothing(site))
            continue
        middle, eye = site.ends_in.mean(axis=0), camera.eye_in
        lean_in = veneer_in * float((eye[:2] - middle) @ right_of(site.direction)) / float(eye[2] - z_in)
        begun.append(_begin(Look(strip, clear, optics, lean_in, veneer_in, field), site))
    blur_px = colour_blur_px([joint.data for joint in begun if isinstance(joint, _Begun)])
    return [_measure(joint, blur_px) if isinstance(joint, _Begun) else joint for joint in begun]


def _nothing(site: JointSite) -> Reason:
    # A slit beside the field shows neither a depth nor a shade that tells it from the wood. Measured as the others are, openings of .004
    # (spread .003) came out .006 off, root mean square, and to +-.011 (u95, which held): worse than guessing.
    return Reason.FIELD_JOINT if None in site.lobes else Reason.JOINT_COVERED


@dataclass(frozen=True, eq=False)
class _Begun:
    """A joint and the edges that its photo shows, strongest first, before any opening is weighed."""

    look: Look
    site: JointSite
    edges: list[Reference]
    data: JointData  # coarse profiles on the strongest edge


def _begin(look: Look, site: JointSite) -> _Begun | Reason:
    edges = find_edges(look.strip, look.clear)
    return _Begun(look, site, edges, profiles(look, edges[0], COARSE_GROUP_BLOCKS)) if edges else Reason.EDGE_AMBIGUOUS


@dataclass(frozen=True, eq=False)
class _Seen:
    """A joint's profiles on a reference edge, in light and in colour."""

    look: Look
    site: JointSite
    reference: Reference
    data: JointData
    tints: Tints | None


def _measure(begun: _Begun, colour_px: float) -> GapFit | Reason:
    look, scale = begun.look, begun.look.strip.scale

    def seen(reference: Reference, data: JointData) -> _Seen:
        return _Seen(look, begun.site, reference, data, tints_of(data, colour_px))

    joint = seen(begun.edges[0], begun.data)
    prior = shared_prior(joint.data, look)
    edges = _slit_first(joint, prior, begun.edges)
    if edges[0] is not joint.reference:
        joint = seen(edges[0], profiles(look, edges[0], COARSE_GROUP_BLOCKS))
        prior = shared_prior(joint.data, look)
    coarse = weigh(joint.data, prior, *_nodes(scale, edges))
    for _ in range(2):
        keep = _best(coarse, _likely(joint, coarse))
        reference = moved(joint.reference, coarse.shared[keep[0]])
        joint = seen(reference, profiles(look, reference))
        coarse = weigh(
            joint.data, prior, coarse.inner_px[keep], coarse.outer_px[keep], coarse.slit_left[keep], np.full(len(keep), REFINE_PX)
        )
    likely = _likely(joint, coarse)
    joint = replace(joint, data=with_noise_of(joint.data, coarse.residual[int(np.argmax(likely))]))
    inner, outer, left, cell = _around(coarse, _apart(coarse, likely))
    fine = weigh(joint.data, prior, inner, outer, left)
    return _reported(joint, fine, cell)


def _slit_first(joint: _Seen, prior: SharedPrior, edges: list[Reference]) -> list[Reference]:
    """The edges, first the stronger one of the two that make the likeliest slit: that of a shadow in it may be stronger than both."""
    places = np.array([[edge.inner_px, edge.outer_px] for edge in edges])
    pairs = [(i, j) if places[i].mean() <= places[j].mean() else (j, i) for i, j in combinations(range(len(edges)), 2)]
    pairs = [(i, j) for i, j in pairs if np.abs(places[j] - places[i]).max() < WIDEST_IN * joint.look.strip.scale]
    if not pairs:
        return edges
    first, last = np.array(pairs).T
    width, start = np.maximum(places[last] - places[first], LEAST_PX), places[first] - places[0]
    right = np.zeros(len(pairs), bool)
    weighed = weigh(joint.data, prior, width[:, 0], width[:, 1], right, np.full(len(pairs), REFINE_PX), start)
    reference = edges[min(pairs[int(np.argmax(_likely(joint, weighed, start)))])]
    return [reference, *(edge for edge in edges if edge is not reference)]


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
    other = np.maximum(np.where(apart.mean(axis=1, keepdims=True) < 0, -apart, apart), LEAST_PX)
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


def _likely(joint: _Seen, weighed: Weighed, start_px: Array | None = None) -> Array:
    """Log probabilities (n,) of openings, up to a constant: evidence, the rough places of the edges, and how gaps usually are.

    start_px: as `weigh` took it.
    """
    site, scale = joint.site, joint.look.strip.scale
    start = np.zeros((len(weighed.evidence), 2)) if start_px is None else start_px
    log = weighed.evidence - (weighed.inner_px + weighed.outer_px) / 2 / scale / USUAL_GAP_IN
    log = log + hue_evidence(joint.data, joint.tints, weighed.inner_px, weighed.outer_px, weighed.slit_left, start, joint.look.field)
    normal = right_of(site.direction)
    edges = joint.reference.inner_px, joint.reference.outer_px
    for end, (opening, edge) in enumerate(zip((weighed.inner_px, weighed.outer_px), edges, strict=True)):
        left = (edge + start[:, end] - np.where(weighed.slit_left, opening, 0)) / scale
        for rough, place in ((site.left_edge_in, left), (site.right_edge_in, left + opening / scale)):
            away = place - float((rough[end] - site.ends_in[end]) @ normal)
            log = log - 0.5 * (away / ROUGH_IN) ** 2
    return log


def _reported(joint: _Seen, fine: Weighed, cell: Array) -> GapFit | Reason:
    look, site, scale = joint.look, joint.site, joint.look.strip.scale
    inner, outer = fine.inner_px, fine.outer_px
    log = _likely(joint, fine) + np.log(cell)
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
    edge = joint.reference.at(t) / scale + (opening / 2 if share @ fine.slit_left < 0.5 else -opening / 2)
    place = site.ends_in[0] + t * site.length_in * site.direction + edge * right_of(site.direction)
    return GapFit(top, float(share @ (first + last) / 2), place, estimate(inner_in), estimate(outer_in), float(look.clear.mean()))
