"""Dry fits as exact polygons: lobes cut a little wrong, pushed together until they touch, measured, and eased and moved as a plan says.

The polygons are shapely's, and nothing here uses the planner's own geometry, so that the one can be held against the other.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from shapely import LineString, Point, Polygon
from shapely.affinity import rotate, translate

from seamcheck.advise.fit import Fit, FitJoint, FitLobe, opening_at_ends
from seamcheck.advise.fit_plan import Plan
from seamcheck.basis.uncertain import COVERAGE_95, Estimate
from seamcheck.judge import judge_joint, judge_tip

Array = np.ndarray
SHORT_IN, REACH_IN = 1.55, 3.9
SECOND_SHORT_IN, SECOND_REACH_IN = 0.75, 3.1
TOLERANCE_IN, GAP_TOLERANCE_IN = 1 / 64, 0.010


def out(bearing: float) -> Array:
    """Unit vector of a bearing clockwise from +y."""
    return np.array([np.sin(bearing), np.cos(bearing)])


def right(way: Array) -> Array:
    return np.array([way[1], -way[0]])


@dataclass
class Piece:
    """One lobe: corners root, left, tip, right."""

    ring: int
    seam: float  # bearing of its field seam, which passes through the origin
    corners: Array

    @property
    def polygon(self) -> Polygon:
        return Polygon(self.corners)

    def shifted(self, by: Array, clockwise: float, about: Array) -> Piece:
        """As shapely's affine transformations have it."""
        turned = rotate(self.polygon, -clockwise, origin=Point(about), use_radians=True)
        return Piece(self.ring, self.seam, np.array(translate(turned, *by).exterior.coords)[:4])

    @property
    def offset(self) -> float:
        """Of the tip, clockwise of its seam."""
        return float(self.corners[2] @ right(out(self.seam)))


@dataclass
class Made:
    """Pieces as they lie, and which pairs should close: (first, second), the second clockwise of the first."""

    pieces: list[Piece]
    pairs: list[tuple[int, int]] = field(default_factory=list)


def make(rng: np.random.Generator, points: int = 4, rings: int = 1, angle_error: float = 0.008, lie_in: float = 0.012) -> Made:
    """angle_error: of half a root angle, rad, standard deviation; lie_in: how far a tip is laid off its seam."""
    pieces: list[Piece] = []
    half = np.pi / points
    for k in range(points):
        axis = 2 * k * half + rng.normal(0, lie_in / REACH_IN / 2)
        left, other = (half + rng.normal(0, angle_error) for _ in (0, 1))
        corners = np.stack(
            [
                np.zeros(2),
                SHORT_IN * out(axis - left),
                REACH_IN * out(axis + rng.normal(0, lie_in / REACH_IN / 2)),
                SHORT_IN * out(axis + other),
            ]
        )
        piece = Piece(1, 2 * k * half, corners + rng.normal(0, lie_in / 3, 2))
        pieces.append(_laid(piece, pieces, out(axis)))
    pairs = [(k, (k + 1) % points) for k in range(points)]
    for k in range(points if rings == 2 else 0):
        bearing = (2 * k + 1) * half
        first, after = pieces[k].corners, pieces[(k + 1) % points].corners
        notch = (first[3] + after[1]) / 2
        sides = [(tip - corner) / np.hypot(*(tip - corner)) for corner, tip in ((first[3], first[2]), (after[1], after[2]))]
        turned = [_turned(side, rng.normal(0, angle_error)) for side in sides]
        corners = np.stack(
            [notch, notch + SECOND_SHORT_IN * turned[0], SECOND_REACH_IN * out(bearing), notch + SECOND_SHORT_IN * turned[1]]
        )
        corners[2] += rng.normal(0, lie_in, 2)
        pieces.append(_laid(Piece(2, bearing, corners), pieces, out(bearing)))
        pairs += [(k, points + k), (points + k, (k + 1) % points)]
    return Made(pieces, pairs)


def _turned(way: Array, clockwise: float) -> Array:
    return np.cos(clockwise) * way + np.sin(clockwise) * right(way)


def _laid(piece: Piece, laid: list[Piece], way: Array) -> Piece:
    """Pushed in along `way` from outside until it touches what is laid already."""

    def clear(by: float) -> bool:
        return all(piece.shifted(by * way, 0.0, piece.corners[0]).polygon.intersection(other.polygon).area < 1e-12 for other in laid)

    low, high = 0.0, 0.5
    if not clear(low):
        for _ in range(24):
            middle = (low + high) / 2
            low, high = (low, middle) if clear(middle) else (middle, high)
        return piece.shifted(high * way, 0.0, piece.corners[0])
    return piece


def edges_of(made: Made, pair: tuple[int, int]) -> tuple[Array, Array]:
    """(2, 2) each: the two edges of the joint, inner end to outer end. The joint is as long as a short edge is."""
    first, second = (made.pieces[k] for k in pair)
    if first.ring == second.ring:
        return first.corners[[0, 3]], second.corners[[0, 1]]
    if second.ring > first.ring:
        return first.corners[[3, 2]], second.corners[[0, 1]]
    return first.corners[[0, 3]], second.corners[[1, 2]]


def edge_of(made: Made, pair: tuple[int, int]) -> Array:
    """(2, 2): the joint's nominal edge, a short one: the first piece's, or that of the piece of the later ring."""
    first, second = edges_of(made, pair)
    return second if made.pieces[pair[1]].ring > made.pieces[pair[0]].ring else first


def openings(made: Made, pair: tuple[int, int], stations: int = 21) -> tuple[Array, Array]:
    """(stations,) how far along the nominal edge, and the opening square across it, from the one polygon's outline to the other's;
    negative where they overlap. Stations stand where both edges are, clear of their ends."""
    edge = edge_of(made, pair)
    length = np.hypot(*(edge[1] - edge[0]))
    way = (edge[1] - edge[0]) / length
    across = right(way)
    if across @ (made.pieces[pair[1]].corners.mean(axis=0) - made.pieces[pair[0]].corners.mean(axis=0)) < 0:
        across = -across
    shares = np.array([(side - edge[0]) @ way / length for side in edges_of(made, pair)])
    found = []
    places = np.linspace(max(shares[:, 0]) + 0.02, min(shares[:, 1]) - 0.02, stations)
    for share in places:
        place = edge[0] + share * length * way
        line = LineString([place - 0.3 * across, place + 0.3 * across])
        near, far = (line.intersection(made.pieces[k].polygon) for k in pair)
        found.append(min((np.array(p) - place) @ across for p in far.coords) - max((np.array(p) - place) @ across for p in near.coords))
    return places, np.array(found)


def widest(made: Made, pair: tuple[int, int]) -> float:
    """The 95th percentile along the joint."""
    return float(np.quantile(openings(made, pair)[1], 0.95))


def measured(
    made: Made,
    rng: np.random.Generator,
    u_gap_in: float,
    u_tip_in: float,
    hidden_tips: tuple[int, ...] = (),
    hidden_joints: tuple[int, ...] = (),
) -> Fit:
    """What a photo would say of it: every number with an error drawn from its known uncertainty. Lobe numbers are indices + 1."""
    lobes = []
    for k, piece in enumerate(made.pieces):
        offset = Estimate(piece.offset + rng.normal(0, u_tip_in), {"photo": u_tip_in})
        told = k not in hidden_tips
        lobes.append(
            FitLobe(
                k + 1,
                piece.ring,
                piece.seam,
                piece.corners + rng.normal(0, 0.005, (4, 2)),
                out(piece.seam),
                offset.value if told else None,
                COVERAGE_95 * u_tip_in if told else None,
                judge_tip(offset if told else None, TOLERANCE_IN),
            )
        )
    joints = []
    for j, pair in enumerate(made.pairs):
        edge = edge_of(made, pair)
        numbers = (pair[0] + 1, pair[1] + 1)
        if j in hidden_joints:
            joints.append(FitJoint(numbers, edge, None, None, judge_joint(None, GAP_TOLERANCE_IN)))
            continue
        slope, middle_in = np.polyfit(*_about_middle(*openings(made, pair)), 1)
        slope, mean_in = slope + rng.normal(0, u_gap_in), middle_in + rng.normal(0, u_gap_in)
        max_in = mean_in + 0.45 * abs(slope)
        ends = opening_at_ends(max_in, mean_in, 1.0 if slope > 0 else 0.0)
        gap = Estimate(max_in, {"photo": u_gap_in})
        joints.append(FitJoint(numbers, edge, ends, gap.u95, judge_joint(gap, GAP_TOLERANCE_IN), None, max_in))
    return Fit("made-up.jpg", TOLERANCE_IN, GAP_TOLERANCE_IN, tuple(lobes), tuple(joints))


def _about_middle(places: Array, gaps: Array) -> tuple[Array, Array]:
    return places - 0.5, gaps


def carried_out(
    made: Made, fit: Fit, plan: Plan, rng: np.random.Generator | None = None, u_placing_in: float = 0.0, u_planing_in: float = 0.0
) -> Made:
    """Every taper cut off its polygon and every lobe shifted and turned, with a hand's errors where they're given."""
    pieces = list(made.pieces)
    for ease in plan.eases:
        slip = rng.normal(0, u_planing_in) if rng is not None else 0.0
        pieces[ease.lobe - 1] = _eased(pieces[ease.lobe - 1], ease.side, ease.root_in + slip, ease.shoulder_in + slip)
    for move in plan.moves:
        lobe, old = fit.by_number[move.lobe], pieces[move.lobe - 1]
        # A hand errs out, across and by swinging, so that a tip errs by u_placing_in sideways.
        slip = rng.normal(0, u_placing_in / np.sqrt(2), 3) if rng is not None and move.motion.any() else np.zeros(3)
        outward, across, swing = move.motion + slip
        pieces[move.lobe - 1] = old.shifted(outward * lobe.axis + across * right(lobe.axis), swing / lobe.length_in, lobe.root_in)
    return Made(pieces, made.pairs)


def _eased(piece: Piece, side: str, root_in: float, shoulder_in: float) -> Piece:
    """The short edge on that side moved inward by so much at its ends; what lies outside is cut off."""
    root, shoulder = piece.corners[0], piece.corners[1 if side == "left" else 3]
    way = (shoulder - root) / np.hypot(*(shoulder - root))
    inward = right(way) if side == "left" else -right(way)
    new_root, new_shoulder = root + root_in * inward, shoulder + shoulder_in * inward
    line = new_shoulder - new_root
    before, after = new_root - line, new_shoulder + line
    rest = piece.polygon.difference(Polygon([before, after, after - 0.2 * inward, before - 0.2 * inward]))
    corners = np.array(rest.exterior.coords)[:-1]
    # The four corners that are left, in the old order: each the nearest to what it was.
    nearest = [
        corners[np.argmin(np.hypot(*(corners - corner).T))] for corner in (new_root, piece.corners[1], piece.corners[2], piece.corners[3])
    ]
    return Piece(piece.ring, piece.seam, np.stack(nearest))
