"""The camera over a top without cards: from its round edge, from two marks at a known distance, or from both.

Unknowns together: the camera (as in `adjust`), its tilt and height, the circle's centre and radius, and how far out of round it is. The
edge's places in the photo, the marks and where the rose's centre shows are the observations; everything else is a prior. A circle seen
at a slant looks the same from two sides (the two poses of a circle: Safaee-Rad and others, IEEE Trans. Robotics Autom. 8, 1992, from
memory): what tells them apart is that the rose is laid in the middle of the top; where that can't, the other pose counts as uncertainty.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from ..basis.frames import Array
from .adjust import (
    U_ASPECT,
    U_LOG_FOCAL_EXIF,
    U_LOG_FOCAL_UNKNOWN,
    U_PRINCIPAL,
    U_PRINCIPAL_CROPPED,
    U_RADIAL,
    U_RADIAL_WIDE,
    U_TANGENTIAL,
    tilted_down,
    usual_focal_px,
)
from .camera import Camera
from .solve import PlaneSolve
from .spread import FOCAL, KNOWN, LENS, relative_spread

# How well a person knows the top's diameter (both ways across, to a rule's mark) and the marks' distance, inches (common practice, no
# source).
U_DIAMETER_IN, U_MARKS_IN = 1 / 64, 1 / 100
# A top trued by router and trammel, then moved by the seasons: how far the radius goes in and out, two ways, relative; the arris that is
# seen beside the one that is measured, inches; and how far the rose's middle lies from the top's, inches (common practice, no source).
U_OUT_OF_ROUND, U_ARRIS_IN, U_CENTRED_IN = 0.0012, 0.0045, 0.06
# A round edge that may as well be a band's inner edge, the rim having the bench's tone: how far it then lies within the rim, relative
# (bands of 1/2 to 1 1/2 in on tops of 13 to 20 in; common practice, no source).
U_BAND = 0.10
# How far a phone is held from straight above, rad (along either axis), where nothing else tells (common practice, no source).
U_TILT = 0.12
# A mark's place is read off a picture to this, px.
U_MARK_PX = 1.5
# How well a phone's lens repeats from photo to photo, focus and the phone's own correction included: k1, k2 (common practice, no source).
U_LENS_REPEATS = 0.004
# Neighbouring places of the edge err together: so many count as one.
ALIKE = 3.0
MOST_PLACES = 100  # so many are enough, evenly taken: that many fewer count as one
LEAST_EDGE_PX = 0.4  # no place of the edge is known better: its arris is eased, and light and shade move it for long stretches
MAX_STEPS = 60
# The unknowns' order: those of the camera as in `adjust` (0 to 10), then circle x, y, radius, out of round along and across.
_CAMERA, _LENS, _CIRCLE, _RADIUS, _ROUND, _COUNT = 11, slice(4, 6), slice(11, 13), 13, slice(14, 16), 16


class Lens(NamedTuple):
    """What another photo by the same phone told of its lens: k1 and k2 (of `Camera`), and their covariance.

    focal_share: its focal length by EXIF, as a share of the longer side; None where the file doesn't say.
    """

    k1: float
    k2: float
    var_k1: float
    cov_k1_k2: float
    var_k2: float
    focal_share: float | None = None


def lens_of(solve: PlaneSolve, focal_px: float | None) -> Lens:
    """The lens as a photo's cards tell it, for another photo by the same phone: focus may have moved it a little."""
    problem = solve.problem
    jacobian = problem.jacobian(solve.unknowns)
    information = jacobian.T @ (jacobian * np.repeat(solve.weight, 2)[:, None])
    shared = np.arange(len(problem.u_prior))
    information[shared, shared] += problem.u_prior**-2.0
    cov = np.linalg.inv(information)[_LENS, _LENS] + np.eye(2) * U_LENS_REPEATS**2
    share = None if focal_px is None else focal_px / max(problem.size_px)
    return Lens(solve.camera.k1, solve.camera.k2, float(cov[0, 0]), float(cov[0, 1]), float(cov[1, 1]), share)


@dataclass(frozen=True)
class Seen:
    """What is known of the top and what the photo shows of it."""

    size_px: tuple[int, int]
    focal_px: float | None  # by EXIF
    is_whole: bool
    diameter_in: float | None = None
    edge_px: Array | None = None  # (n, 2) places of the round edge
    edge_noise_px: float = LEAST_EDGE_PX
    is_rim: bool = True  # whether the edge can only be the top's rim, and not a band's inner edge
    marks_px: Array | None = None  # (2, 2)
    marks_in: float | None = None  # their distance
    rose_px: Array | None = None  # (2,) the rose's centre, on the field
    lens: Lens | None = None  # where another photo told it


@dataclass(frozen=True)
class KnownSolve:
    """The camera over the plane, in what the rest of the program asks of a solve. The plane's origin is the circle's centre."""

    camera: Camera
    variants: tuple[tuple[str, Camera], ...]
    rms_px: float
    u_scale: float  # standard uncertainty of lengths, relative
    radius_in: float | None  # of the edge as it was used
    is_rim: bool
    edge_px: Array | None
    cards: tuple[int, ...] = ()
    outlines_in: Array = field(default_factory=lambda: np.zeros((0, 4, 2)))
    card_places_in: Mapping[int, Array] = field(default_factory=dict)


def beyond_rim(solve: KnownSolve) -> list[Array]:
    """Outlines (4, 2) on the plane that cover what lies beyond the round edge, its arris too: bench, whose grain is none of the top's."""
    if solve.radius_in is None:
        return []
    turn = np.arange(BENCH_PIECES + 1) * 2 * np.pi / BENCH_PIECES
    way = np.stack([np.sin(turn), np.cos(turn)], axis=1)
    near, far = BENCH_FROM * solve.radius_in / np.cos(np.pi / BENCH_PIECES), BENCH_TO * solve.radius_in
    return [np.array([near * a, far * a, far * b, near * b]) for a, b in pairwise(way)]


BENCH_PIECES, BENCH_FROM, BENCH_TO = 48, 0.985, 3.0  # of the radius


class _Problem:
    """Observations and priors as one least-squares problem."""

    def __init__(self, seen: Seen, alike: float = ALIKE) -> None:
        self.seen, self.alike = seen, alike
        width, height = seen.size_px
        focal = seen.focal_px or usual_focal_px(seen.size_px)
        principal = (U_PRINCIPAL if seen.is_whole else U_PRINCIPAL_CROPPED) * max(width, height)
        radial = U_RADIAL if seen.is_whole else U_RADIAL_WIDE
        known_focal = seen.focal_px is not None and seen.is_whole
        radius = (seen.diameter_in or 0.0) / 2
        u_radius = np.hypot(np.hypot(U_DIAMETER_IN / 2, U_ARRIS_IN), 0.0 if seen.is_rim else U_BAND * radius)
        self.prior = np.array([np.log(focal), 0, (width - 1) / 2, (height - 1) / 2, 0, 0, 0, 0, 0, 0, 0, 0, 0, radius, 0, 0])
        self.u_prior = np.array(
            [U_LOG_FOCAL_EXIF if known_focal else U_LOG_FOCAL_UNKNOWN, U_ASPECT, principal, principal, radial, radial]
            + [U_TANGENTIAL, U_TANGENTIAL, U_TILT, U_TILT, np.inf, np.inf, np.inf]
            + [
                float(u_radius) if seen.diameter_in else np.inf,
                U_OUT_OF_ROUND,
                U_OUT_OF_ROUND,
            ]
        )
        if seen.edge_px is None:  # nothing tells of the circle
            self.u_prior[_CIRCLE], self.u_prior[_RADIUS] = 1.0, 1.0
        # What is known beforehand, each row in standard uncertainties: rows @ (unknowns - prior).
        self.rows = np.diag(1 / self.u_prior)
        if seen.lens is not None:
            self.prior[_LENS] = seen.lens[:2]
            _, _, var_k1, both, var_k2, _ = seen.lens
            self.rows[_LENS, _LENS] = np.linalg.inv(np.linalg.cholesky([[var_k1, both], [both, var_k2]]))
        self.told = np.isfinite(self.u_prior)

    def camera(self, unknowns: Array) -> Camera:
        log_f, aspect, cx, cy, k1, k2, p1, p2, tilt_x, tilt_y, log_h = unknowns[:_CAMERA]
        height = np.array([0.0, 0.0, np.exp(log_h)])
        return Camera(float(np.exp(log_f)), 1 + aspect, cx, cy, k1, k2, p1, p2, tilted_down(tilt_x, tilt_y), height)

    def outward(self, unknowns: Array) -> Array:
        """(n, 2) unit vectors from the circle's centre to each place of the edge; they hardly change in a step."""
        if self.seen.edge_px is None:
            return np.zeros((0, 2))
        away = self.camera(unknowns).plane_from_px(self.seen.edge_px) - unknowns[_CIRCLE]
        return np.asarray(away / np.hypot(away[:, 0], away[:, 1])[:, None])

    def residuals(self, unknowns: Array, out: Array) -> Array:
        """(n,) misses over their standard deviation, priors included. out: `outward` of about these unknowns."""
        seen, camera = self.seen, self.camera(unknowns)
        parts = []
        if seen.edge_px is not None:
            turn = 2 * np.arctan2(out[:, 0], out[:, 1])
            along, across = unknowns[_ROUND]
            radius = unknowns[_RADIUS] * (1 + along * np.cos(turn) + across * np.sin(turn))
            rim = unknowns[_CIRCLE] + radius[:, None] * out
            rim_px = camera.px_from_plane(rim)
            # In pixels: misses in inches would be made small by whatever lens makes the rim larger.
            way = camera.px_from_plane(rim + 0.01 * out) - rim_px
            across_px = np.sum((seen.edge_px - rim_px) * way, axis=1) / np.hypot(way[:, 0], way[:, 1])
            parts.append(across_px / (seen.edge_noise_px * self.alike**0.5))
        if seen.marks_px is not None and seen.marks_in is not None:
            one, other = camera.plane_from_px(seen.marks_px)
            u_in = np.hypot(U_MARKS_IN, 2**0.5 * U_MARK_PX / self._ppi(unknowns))
            parts.append(np.array([(np.hypot(*(other - one)) - seen.marks_in) / u_in]))
        if seen.rose_px is not None and seen.edge_px is not None:
            parts.append((camera.px_from_plane(unknowns[_CIRCLE]) - seen.rose_px) / (U_CENTRED_IN * self._ppi(unknowns)))
        return np.concatenate([*parts, (self.rows @ (unknowns - self.prior))[self.told]])

    def _ppi(self, unknowns: Array) -> float:
        return float(np.exp(unknowns[0] - unknowns[10]))

    def jacobian(self, unknowns: Array, out: Array) -> Array:
        columns = []
        for k in range(_COUNT):
            size = 1e-3 if k in (2, 3) else 1e-6
            ahead, behind = unknowns.copy(), unknowns.copy()
            ahead[k] += size
            behind[k] -= size
            columns.append((self.residuals(ahead, out) - self.residuals(behind, out)) / (2 * size))
        return np.stack(columns, axis=1)

    def solve(self, start: Array, enough: float) -> tuple[Array, float]:
        """The unknowns from a start, till a step gains less than a share `enough`, and their cost (chi-squared)."""
        unknowns, damping = start, 1e-3
        out = self.outward(unknowns)
        missed = self.residuals(unknowns, out)
        cost = float(missed @ missed)
        for _ in range(MAX_STEPS):
            slope = self.jacobian(unknowns, out)
            information, gradient = slope.T @ slope, slope.T @ missed
            while True:
                trial = unknowns - np.linalg.solve(information + damping * np.diag(np.diag(information)), gradient)
                with np.errstate(all="ignore"):
                    new_out = self.outward(trial)
                    new = self.residuals(trial, new_out)
                new_cost = float(new @ new)
                if new_cost <= cost or damping > 1e8:
                    break
                damping *= 10
            if not new_cost <= cost:
                break
            gain, unknowns, out, missed, cost, damping = cost - new_cost, trial, new_out, new, new_cost, max(damping / 10, 1e-9)
            if gain < enough * max(cost, 1.0):
                break
        return unknowns, cost


def solve_known(seen: Seen, px_per_in: float, centre_px: Array) -> KnownSolve:
    """The camera from what is seen. px_per_in, centre_px: a first guess of the scale, and of where the top's middle shows."""
    places_px = seen.edge_px
    every = 1 if places_px is None else max(1, len(places_px) // MOST_PLACES)
    if places_px is not None and every > 1:
        seen = replace(seen, edge_px=places_px[::every])
    problem = _Problem(seen, max(1.0, ALIKE / every))
    best, cost, other, other_cost = _both_poses(problem, px_per_in, centre_px)
    out = problem.outward(best)
    slope = problem.jacobian(best, out)
    information = slope.T @ slope
    edge = 0 if seen.edge_px is None else len(seen.edge_px)
    missed = problem.residuals(best, out)[:edge] * seen.edge_noise_px * problem.alike**0.5
    rms_px = float(np.sqrt(np.mean(missed**2))) if edge else 0.0
    camera = _about_circle(problem, best)
    moved = [(source, _about_circle(problem, best + move)) for source, move in _moves(information, problem.rows, problem.told)]
    share = float(np.exp(-min((other_cost - cost) / 2, 50.0)))
    if share > 1e-4:  # the other pose, as likely as it is
        moved.append((TILT, _about_circle(problem, best + np.sqrt(share) / (1 + share) * (other - best))))
    u_scale = relative_spread(camera, [one for _, one in moved], seen.size_px)
    return KnownSolve(camera, tuple(moved), rms_px, u_scale, float(best[_RADIUS]) if edge else None, seen.is_rim, places_px)


TILT = "tilt"


def _both_poses(problem: _Problem, px_per_in: float, centre_px: Array) -> tuple[Array, float, Array, float]:
    """The best answer and the other pose of the circle, each with its cost."""
    answers = []
    level = problem.prior.copy()
    level[10] = level[0] - np.log(px_per_in)
    for tilt in TILTS:
        start = level.copy()
        start[8:10] = tilt
        start[_CIRCLE] = problem.camera(start).plane_from_px(centre_px)
        if problem.seen.edge_px is not None:
            away = problem.camera(start).plane_from_px(problem.seen.edge_px) - start[_CIRCLE]
            radius = float(np.median(np.hypot(away[:, 0], away[:, 1])))
            if problem.seen.diameter_in is None:
                start[_RADIUS] = radius
            else:  # as high up as makes it that large
                start[10] += np.log(start[_RADIUS] / radius)
                start[_CIRCLE] = problem.camera(start).plane_from_px(centre_px)
        answers.append(problem.solve(start, ROUGHLY))
    best = problem.solve(min(answers, key=lambda one: one[1])[0], FINELY)
    apart = [one for one in answers if np.hypot(*(one[0][8:10] - best[0][8:10])) > SAME_TILT]
    other = min(apart, key=lambda one: one[1], default=best)
    return *best, *((other[0], other[1]) if apart else (best[0], np.inf))


TILTS = tuple((0.17 * np.cos(a), 0.17 * np.sin(a)) for a in np.arange(4) * np.pi / 2 + 0.4)
ROUGHLY, FINELY = 1e-2, 1e-10
SAME_TILT = 0.02  # rad: answers nearer than this are one


def _about_circle(problem: _Problem, unknowns: Array) -> Camera:
    """The camera with the plane's origin at the circle's centre."""
    camera = problem.camera(unknowns)
    if problem.seen.edge_px is None:
        return camera
    x, y = unknowns[_CIRCLE]
    moved = camera.rotation @ np.array([x, y, 0.0]) + camera.translation_in
    return Camera(
        camera.f_px, camera.aspect, camera.cx_px, camera.cy_px, camera.k1, camera.k2, camera.p1, camera.p2, camera.rotation_vector, moved
    )


def _moves(information: Array, rows: Array, told: Array) -> list[tuple[str, Array]]:
    """(source, (16,) move one standard uncertainty long), independent of each other; told apart as in `spread`."""
    covariance = np.linalg.inv(information)
    sources = (FOCAL, LENS, LENS, LENS, LENS, LENS, LENS, LENS, TILT, TILT, None, None, None, KNOWN, ROUNDNESS, ROUNDNESS)
    moves = []
    rest = covariance.copy()
    for k, source in enumerate(sources):
        if source is not None and told[k]:
            move = covariance @ rows[k]
            moves.append((source, move))
            rest -= np.outer(move, move)
    scale = np.sqrt(np.maximum(np.diag(covariance), 1e-300))
    values, vectors = np.linalg.eigh(rest / np.outer(scale, scale))
    moves += [(ROUND_EDGE, scale * vector * np.sqrt(value)) for value, vector in zip(values, vectors.T, strict=True) if value > 1e-9]
    return moves


ROUNDNESS, ROUND_EDGE = "roundness", "round edge"
