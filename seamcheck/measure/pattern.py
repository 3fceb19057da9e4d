"""What a ring's lobes have in common, sawn to one pattern and laid round one centre: half angles, axes, and how far an edge departs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..basis.frames import Array, wrap_angle
from ..basis.lines import Line, crossing
from ..kite import FoundLobe
from .edge_task import EdgeFit

SIDES = (-1, 1)  # left, right
Pair = tuple[EdgeFit | None, EdgeFit | None]  # a lobe's left and right edge
# Lobes of one ring are sawn to one pattern: their half angles at the tip agree to about so much (common practice, no source).
U_PATTERN = np.radians(0.4)
ODD_ANGLE = np.radians(1.2)
# With fewer edges of a ring nobody can say which of them is the odd one.
FEWEST = 4
# Lobes of one ring are laid and cut alike to no better than this, inches; and an edge that lies farther from the pattern than so many
# standard uncertainties contradicts it (common practice, no source).
LEAST_SPREAD_IN, CONTRADICTS = 0.003, 2.5


def departures_in(
    lobes: Sequence[FoundLobe], owns: Sequence[EdgeFit | None], pairs: Sequence[Pair], half_angles: Sequence[float | None]
) -> list[list[float | None]]:
    """Of every lobe's left and right long edge: how far it lies outward (inches, across it) of where the ring's other lobes put theirs.

    An edge meets its lobe's own seam as far from the rose's middle as the ring's other edges meet theirs; where no own seam was measured,
    the line from the middle along which its edges say that the lobe points (half_angles: of each lobe at its tip, rad) stands for it.
    None where that can't be told: loose lobes, neither of these, too few edges.
    """
    middle = np.mean([lobe.kite.root_in for lobe in lobes], axis=0)
    reach: dict[tuple[int, int], tuple[float, float]] = {}  # how far from the middle, and the sine of the angle between edge and seam
    for k, (own, pair, half_angle) in enumerate(zip(owns, pairs, half_angles, strict=True)):
        axis = own.line if own is not None else _ray(middle, axis_of(None, pair, half_angle))
        if axis is None or lobes[k].ring is None:
            continue
        for side, edge in enumerate(pair):
            if edge is not None:
                sine = abs(float(np.sin(wrap_angle(edge.line.bearing - axis.bearing))))
                reach[k, side] = float(np.linalg.norm(crossing(edge.line, axis) - middle)), sine
    result: list[list[float | None]] = [[None, None] for _ in lobes]
    for ring in {lobe.ring for lobe in lobes}:
        of_ring = {place: value for place, value in reach.items() if lobes[place[0]].ring == ring}
        if len(of_ring) >= FEWEST:
            usual = float(np.median([far for far, _ in of_ring.values()]))
            for (k, side), (far, sine) in of_ring.items():
                result[k][side] = (far - usual) * sine
    return result


def outvoted(lobes: Sequence[FoundLobe], pairs: Sequence[Pair], away_in: Sequence[Sequence[float | None]]) -> list[tuple[bool, bool]]:
    """Of every lobe's left and right long edge: whether its ring foretells its place better than it was measured, and elsewhere.

    away_in: as `departures_in` gives them. An edge known better than its ring's edges lie about their pattern may depart as it likes.
    """
    known = {(k, side): away for k, both in enumerate(away_in) for side, away in enumerate(both) if away is not None}

    def is_outvoted(k: int, side: int) -> bool:
        edge, away = pairs[k][side], known.get((k, side))
        others = [one for (j, other), one in known.items() if (j, other) != (k, side) and lobes[j].ring == lobes[k].ring]
        if edge is None or away is None or not others:
            return False
        usual = max(float(np.sqrt(np.mean(np.square(others)))), LEAST_SPREAD_IN)
        u = float(np.hypot(edge.line.u_model_in, np.sqrt(edge.line.cov[0, 0])))
        return u > usual and abs(away) > CONTRADICTS * np.hypot(u, usual)

    return [(is_outvoted(k, 0), is_outvoted(k, 1)) for k in range(len(lobes))]


def _ray(from_in: Array, bearing: float | None) -> Line | None:
    return None if bearing is None else Line(from_in, bearing, np.zeros((2, 2)), 0.0, 0.0, 0.0)


def half_angles_of(lobes: Sequence[FoundLobe], owns: Sequence[EdgeFit | None], pairs: Sequence[Pair]) -> list[float | None]:
    """Each lobe's half angle at the tip (rad), as its ring's lobes agree on it (weighted median)."""
    result: list[float | None] = []
    for lobe in lobes:
        turns, weights = [], []
        for other, own, pair in zip(lobes, owns, pairs, strict=True):
            if not _one_pattern(other, lobe):
                continue
            left, right = pair
            if left is not None and right is not None:
                turns.append(float(wrap_angle(left.line.bearing - right.line.bearing)) / 2)
                weights.append(1 / (U_PATTERN**2 + (left.line.cov[1, 1] + right.line.cov[1, 1]) / 4))
            for side, edge in zip(SIDES, pair, strict=True):
                if edge is not None and own is not None:
                    turns.append(float(-side * wrap_angle(edge.line.bearing - own.line.bearing)))
                    weights.append(1 / (U_PATTERN**2 + edge.line.cov[1, 1]))
        result.append(_weighted_median(turns, weights) if len(turns) >= 3 else None)
    return result


def _one_pattern(a: FoundLobe, b: FoundLobe) -> bool:
    """Whether two lobes were sawn to one pattern: same ring, or (loose) nearly the same length."""
    if a.ring is not None or b.ring is not None:
        return a.ring == b.ring
    return abs(a.kite.length_in / b.kite.length_in - 1) < 0.06


def _weighted_median(values: Sequence[float], weights: Sequence[float]) -> float:
    order = np.argsort(values)
    total = np.cumsum(np.asarray(weights)[order])
    return float(np.asarray(values)[order][int(np.searchsorted(total, total[-1] / 2))])


def fits_pattern(edge: EdgeFit | None, side: int, axis: float | None, half_angle: float | None) -> bool:
    """Whether an edge on a side (-1 left, +1 right) runs as its lobe's axis (rad) and the ring's half angle have it."""
    if edge is None or axis is None or half_angle is None:
        return False
    return abs(float(wrap_angle(axis - side * half_angle - edge.line.bearing))) < ODD_ANGLE


def axis_of(own: EdgeFit | None, pair: Pair, half_angle: float | None) -> float | None:
    """The lobe's axis (bearing, rad): what most of its own seam and its two edges, brought in by the ring's half angle, agree on."""
    if half_angle is None:
        return None if own is None else own.line.bearing
    votes = [edge.line.bearing + side * half_angle for side, edge in zip(SIDES, pair, strict=True) if edge is not None]
    weights = [1.0] * len(votes)
    if own is not None:
        votes.append(own.line.bearing)
        weights.append(1.5)
    if not votes:
        return None
    apart = np.abs(wrap_angle(np.subtract.outer(votes, votes)))
    support = (apart < ODD_ANGLE) @ np.array(weights)
    best = int(np.argmax(support))
    near = apart[best] < ODD_ANGLE
    return float(votes[best] + np.average(wrap_angle(np.array(votes)[near] - votes[best]), weights=np.array(weights)[near]))
