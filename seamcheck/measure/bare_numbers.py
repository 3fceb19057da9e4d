"""A bare top's lines and edge as numbers, each with what it is uncertain by: bearings, misses, centre, diameter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, right_of, unit_of_bearing, wrap_angle
from ..basis.lines import Line
from ..basis.uncertain import Estimate
from .round_edge import RoundEdge
from .tips import SAME_IN_EVERY_PHOTO, Cases, Sight, centre_of, centre_scatter, estimates

# What the parts are called in a budget.
SEAM, EDGE, EDGE_MODEL, OTHER_SEAMS = "seam", "edge", "edge model", "seams that can't be had"
# Fewer seams than this make no common centre: two meet somewhere however they lie.
LEAST_SEAMS = 3


@dataclass(frozen=True)
class SeamNumbers:
    """One seam among all."""

    turn: Estimate  # rad: its bearing, the uncertainty against the pattern of all seams as a whole (the photo's up is only a name)
    off_centre: Estimate | None  # inches, positive: it passes clockwise of the common centre; None where too few make one
    place: Estimate  # inches across it, at the middle of the stretch seen; the value is 0


def seam_numbers(sight: Sight, lines: Sequence[Line], missing: int) -> list[SeamNumbers]:
    """All seams' numbers. missing: how many seams of the pattern couldn't be had, which the centre does without."""
    if len(lines) < LEAST_SEAMS:
        return [SeamNumbers(Estimate(one.bearing, {SEAM: float(np.sqrt(one.cov[1, 1]))}), None, _place(one)) for one in lines]
    named = {f"seam{k}": line for k, line in enumerate(lines)}
    count = len(lines)

    def compute(cases: dict[str, Cases]) -> Array:
        all_of = list(cases.values())
        bearing = np.stack([one.bearing for one in all_of], axis=1)
        change = wrap_angle(bearing - bearing[:1])
        turns = bearing[:1] + change - change.mean(axis=1, keepdims=True)
        centre = centre_of(all_of)
        off = -np.stack([one.offset_of(centre) for one in all_of], axis=1)
        return np.concatenate([turns, off], axis=1)

    found = estimates(sight, named, dict.fromkeys(named, SEAM), compute)
    extra = centre_scatter(lines, missing)
    result = []
    for k, line in enumerate(lines):
        off = found[count + k]
        if extra > 0:
            off = Estimate(off.value, {**off.parts, OTHER_SEAMS: extra}, off.shifts)
        result.append(SeamNumbers(found[k], off, _place(line)))
    return result


def _place(line: Line) -> Estimate:
    return Estimate(0.0, {SEAM: float(np.sqrt(line.cov[0, 0])), f"{SEAM} model": line.u_model_in})


def centre_cov(lines: Sequence[Line]) -> Array:
    """(2, 2) covariance of the point with the least sum of squared distances to the lines, from the lines alone."""
    centre = centre_of(lines)
    normals = right_of(unit_of_bearing(np.array([line.bearing for line in lines])))
    variance = np.array([line.u_sampling_at(centre) ** 2 + line.u_model_in**2 for line in lines])
    inverse = np.linalg.inv(normals.T @ normals)
    return inverse @ (normals.T * variance) @ normals @ inverse


@dataclass(frozen=True)
class EdgeNumbers:
    """The round edge beside the seams."""

    diameter: Estimate  # inches
    off_centre: Estimate  # inches: how far the edge's centre lies from the seams' (never negative)
    off_bearing: float  # rad, plane: which way


def edge_numbers(sight: Sight, lines: Sequence[Line], edge: RoundEdge, missing: int = 0) -> EdgeNumbers:
    """Diameter and centre, with the camera's share. The distance's uncertainty is that along it, so small ones are roughly right."""
    centre = centre_of(lines)
    away = edge.centre_in - centre
    distance = float(np.hypot(*away))
    along = away / distance if distance > 0 else np.array([0.0, 1.0])
    cov = edge.cov[:2, :2]
    off_parts = {EDGE: float(np.sqrt(along @ cov @ along)), SEAM: float(np.sqrt(along @ centre_cov(lines) @ along))}
    if missing:
        off_parts[OTHER_SEAMS] = centre_scatter(lines, missing)
    diameter_parts = {EDGE: 2 * float(np.sqrt(edge.cov[2, 2])), EDGE_MODEL: 2 * edge.u_model_in}
    moves: dict[str, list[tuple[float, float]]] = {}
    named = {f"seam{k}": line for k, line in enumerate(lines)}
    sight.look_at([named])
    seen = [sight.seen_otherwise(name, line) for name, line in named.items()]
    px = sight.camera.px_from_plane(edge.places_in)
    own, own_radius = _circle_of(edge.places_in)
    for k, (source, camera, _) in enumerate(sight.alternatives):
        middle, radius = _circle_of(camera.plane_from_px(px))
        other = centre_of([Cases(case.point_in[k : k + 1], case.bearing[k : k + 1]) for case in seen])[0]
        moves.setdefault(source, []).append((2 * (radius - own_radius), float(((middle - other) - (own - centre)) @ along)))
    for source, changes in moves.items():
        diameter_parts[source] = float(np.sqrt(sum(change**2 for change, _ in changes)))
        off_parts[source] = float(np.sqrt(sum(change**2 for _, change in changes)))
    shifts = {source: tuple(change for change, _ in moves[source]) for source in SAME_IN_EVERY_PHOTO if source in moves}
    bearing = float(np.arctan2(along[0], along[1]))
    return EdgeNumbers(Estimate(2 * edge.radius_in, diameter_parts, shifts), Estimate(distance, off_parts), bearing)


def _circle_of(places: Array) -> tuple[Array, float]:
    """Centre and radius of the circle nearest to points (n, 2): x^2 + y^2 linear in its unknowns (Kasa 1976), enough for small changes."""
    middle = places.mean(axis=0)
    away = places - middle
    found = np.linalg.lstsq(np.column_stack([2 * away, np.ones(len(away))]), (away**2).sum(axis=1), rcond=None)[0]
    return middle + found[:2], float(np.sqrt(found[2] + found[:2] @ found[:2]))
