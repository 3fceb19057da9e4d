"""The rose laid into its recess: where it lies best, and how much room each of its edges has there.

Every edge has two rooms, at the notch and at the point: how far the recess's wall lies outside of the rose's edge. In small moves of the
rose they are linear in its place (x, y, turn), so room = d - A place. The rose is laid where the sum of s log(1 + exp(-room / s)) is least:
far below nothing that counts the wood to be pared, above it the tightest edges alone, so the rose is laid where least has to come off, and
where nothing has, where its tightest edges have most room. The sum is convex and smooth: its answer follows from all edges that are nearly
the tightest, not from the three that happen to be measured so, and what it is uncertain by follows by one more linear step.

At that place the weights w = 1 / (1 + exp(room / s)) balance (A' w = 0). So the mean room by those weights is the same wherever the
rose lies, and no place has a least room larger than it: where that mean is surely below nothing, the rose can't go in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.uncertain import Estimate
from ..plane.spread import PAPER, PRINT
from ..result import OutlineEdge
from .outline import REACH_ALIKE_IN, Outline

# Edges within about so much of the tightest count like it (inches): a light stroke's shaving (common practice, no source).
NEARLY_IN = 0.002
ROUNDS, STEPS, SETTLED_IN = 3, 60, 1e-9
LONGEST_STEP_IN = 0.02
FEWEST_ROWS = 8
# Causes that are one and the same in both photos where they show the same cards.
CARDS_OWN = (PRINT, PAPER)
ROSE, RECESS = "rose", "recess"


@dataclass(frozen=True)
class Pose:
    """Where the rose lies: place = turned (corner - about) + about + shift. Frame: the recess's photo's plane."""

    about_in: Array  # (2,) the rose's middle, in its own photo's plane
    shift_in: Array  # (2,) from there
    turn: float  # rad, clockwise

    def of(self, points_in: Array) -> Array:
        """Points (..., 2) of the rose as they lie in the recess."""
        return self.turned(points_in - self.about_in) + self.about_in + self.shift_in

    def turned(self, vectors: Array) -> Array:
        c, s = np.cos(self.turn), np.sin(self.turn)
        return vectors @ np.array([[c, -s], [s, c]])


@dataclass(frozen=True)
class EdgeRoom:
    """The room of one edge, at the notch and at the point; the recess's wall outside of the rose's edge is positive. Inches."""

    at_notch: Estimate
    at_tip: Estimate


@dataclass(frozen=True)
class Seated:
    """The rose in its recess."""

    pose: Pose
    shift: int  # the rose's point k lies in the recess's point (k + shift) % n
    rooms: tuple[tuple[EdgeRoom | None, EdgeRoom | None], ...]  # of the rose's points, left and right
    beyond: tuple[Estimate | None, ...]  # of the rose's points: from its tip to where the recess's edges meet, along the point
    least_anywhere: Estimate  # no place gives the rose a least room larger than this
    odds: Mapping[int, float]  # of each turn that was tried, by the outlines alone: log likelihood of the likeliest over it

    @property
    def likelier(self) -> float:
        """Log of how much likelier the likeliest turn is than the next."""
        return sorted([*self.odds.values(), np.inf])[1]


def turns_of(rose: Outline, recess: Outline) -> list[int]:
    """Shifts by which the rose's points can lie in the recess's: those in which most points reach equally far."""

    def reaches(outline: Outline) -> Array:
        return np.hypot(*(outline.corners_in[0::2] - outline.middle_in).T)

    mine, theirs = reaches(rose), reaches(recess)
    return [shift for shift in range(rose.count) if np.median(np.abs(np.roll(theirs, -shift) - mine)) < REACH_ALIKE_IN]


def seat(rose: Outline, recess: Outline, shifts: Sequence[int], same_cards: bool) -> Seated | None:
    """Lay the rose in, in the likeliest of some turns; None where too few edges were measured in both."""
    tried = [(shift, rows) for shift in shifts if (rows := _Rows.of(rose, recess, shift)) is not None]
    if not tried:
        return None
    odds = {shift: rows.misfit() for shift, rows in tried}
    best = min(odds, key=lambda shift: odds[shift])
    odds = {shift: one - odds[best] for shift, one in odds.items()}
    rows = dict(tried)[best]
    pose = rows.start
    for _ in range(ROUNDS):
        d, a = rows.linear(pose)
        move = _settle(d, a)
        pose = Pose(pose.about_in, pose.shift_in + move[:2], pose.turn + move[2] / rows.reach_in)
    d, a = rows.linear(pose)
    return _seated(rose, rows, pose, d, a, same_cards, odds)


def _settle(d: Array, a: Array) -> Array:
    """(3,): the move that makes the sum of softened misfits of room = d - a move least (Newton's method, damped)."""
    # From the move that evens the rooms out: then only what is nearly tight is left to look at.
    move = np.linalg.lstsq(np.column_stack([a, np.ones(len(d))]), d, rcond=None)[0][:3]
    cost = _cost(d - a @ move)
    for _ in range(STEPS):
        weight, bend = _weights(d - a @ move)
        step = np.linalg.solve(a.T @ (bend[:, None] * a) + 1e-9 * bend.max() * np.eye(3), -a.T @ weight)
        step *= min(1.0, LONGEST_STEP_IN / max(float(np.abs(step).max()), 1e-30))
        size = 1.0
        while size > 1e-6 and (new := _cost(d - a @ (move + size * step))) > cost:
            size /= 2
        if size <= 1e-6:
            break
        move, cost = move + size * step, new
        if float(np.abs(size * step).max()) < SETTLED_IN:
            break
    return np.asarray(move)


def _cost(room: Array) -> float:
    """Log of the sum of log(1 + exp(-room / s)), in whatever size."""
    least = float(room.min())
    if least > 30 * NEARLY_IN:  # all far from tight: their exponentials alone
        return float(np.log(np.sum(np.exp(-(room - least) / NEARLY_IN))) - least / NEARLY_IN)
    return float(np.log(np.sum(np.logaddexp(0, -room / NEARLY_IN))))


def _weights(room: Array) -> tuple[Array, Array]:
    """(weights, their slopes by minus the room, an inch), both in one free unit."""
    far = -room / NEARLY_IN
    log_weight = -np.logaddexp(0, -far)
    top = float(log_weight.max())
    weight = np.exp(log_weight - top)
    return weight, weight * np.exp(-np.logaddexp(0, far)) / NEARLY_IN


@dataclass(frozen=True)
class _Row:
    """One end of one edge, in rose and recess."""

    point: int  # of the rose
    side: int  # -1 left, +1 right
    at_tip: bool
    corner_in: Array  # (2,) on the rose's edge
    rose: OutlineEdge
    recess: OutlineEdge


@dataclass(frozen=True)
class _Rows:
    rows: tuple[_Row, ...]
    start: Pose
    shift: int
    reach_in: float

    @staticmethod
    def of(rose: Outline, recess: Outline, shift: int) -> _Rows | None:
        rows = []
        for k in range(rose.count):
            there = (k + shift) % rose.count
            for side, mine, wall in zip((-1, 1), rose.edges[k], recess.edges[there], strict=True):
                if mine is None or wall is None:
                    continue
                tip, notch = rose.corners_in[2 * k], rose.corners_in[(2 * k + side) % len(rose.corners_in)]
                for at_tip, corner in ((False, notch), (True, tip)):
                    # The corner's foot on the edge: where a neighbour is missing, corners are only supposed.
                    foot = mine.ends_in.T @ mine.weights_at(corner)
                    rows.append(_Row(k, side, at_tip, foot, mine, wall))
        if len(rows) < FEWEST_ROWS:
            return None
        ours, theirs = rose.corners_in, np.roll(recess.corners_in, -2 * shift, axis=0)
        a, b = ours - ours.mean(axis=0), theirs - theirs.mean(axis=0)
        turn = float(np.arctan2(np.sum(a[:, 1] * b[:, 0] - a[:, 0] * b[:, 1]), np.sum(a * b)))
        start = Pose(ours.mean(axis=0), theirs.mean(axis=0) - ours.mean(axis=0), turn)
        found = _Rows(tuple(rows), start, shift, float(np.hypot(*a.T).max()))
        return found if np.linalg.matrix_rank(found.linear(start)[1], tol=0.1) == 3 else None

    def linear(self, pose: Pose) -> tuple[Array, Array]:
        """(n,) rooms at a pose, and (n, 3) how they lessen with x, y and turn (in inches at the reach)."""
        places = pose.of(np.array([row.corner_in for row in self.rows]))
        outward = np.array([row.side * row.recess.normal for row in self.rows])
        walls = np.array([row.recess.ends_in[0] for row in self.rows])
        d = np.sum((walls - places) * outward, axis=1)
        away = places - (pose.about_in + pose.shift_in)
        return d, np.column_stack([outward, np.sum(right_of(away) * outward, axis=1) / self.reach_in])

    def misfit(self) -> float:
        """Minus the log likelihood of this turn, the scatter of the cut unknown: half the edges' number times the log of what is left."""
        pose = self.start
        for _ in range(2):
            d, a = self.linear(pose)
            design = np.column_stack([a, np.ones(len(d))])
            move = np.linalg.lstsq(design, d, rcond=None)[0]
            pose = Pose(pose.about_in, pose.shift_in + move[:2], pose.turn + move[2] / self.reach_in)
        left = self.linear(pose)[0]
        # Unpared and gross edges count, but not for everything: absolute values, not squares.
        return len(self.rows) / 2 * float(np.log(np.mean(np.abs(left - np.median(left))) + 2e-4))


@dataclass(frozen=True)
class _Spread:
    """How the measured rooms d may be off: independent columns (n, m) of one standard uncertainty each, by source."""

    columns: Mapping[str, Array]

    def estimates(self, values: Array, linear: Array, common: Sequence[str] = ()) -> list[Estimate]:
        """Estimates of linear (k, n) functions of the rooms; sources in `common` are taken to err alike everywhere."""
        parts: list[dict[str, float]] = [{} for _ in values]
        for source, columns in self.columns.items():
            moved = linear @ columns
            each = np.abs(moved).sum(axis=1) if source in common else np.sqrt(np.sum(moved**2, axis=1))
            for one, part in zip(parts, each, strict=True):
                one[source] = float(part)
        return [Estimate(float(value), one) for value, one in zip(values, parts, strict=True)]


EDGES, MODEL = "edges", "edges model"


def _spread(rows: _Rows, same_cards: bool) -> _Spread:
    """Frame: room = the recess's edge outward less the rose's."""
    n = len(rows.rows)
    found: dict[str, list[Array]] = {}
    shared: dict[tuple[str, int], Array] = {}
    for whose in (ROSE, RECESS):
        causes: dict[tuple[str, int], Array] = {}
        for first in range(0, n, 2):  # an edge's two ends follow each other
            pair = rows.rows[first : first + 2]
            edge = pair[0].rose if whose == ROSE else pair[0].recess
            weights = np.stack([edge.weights_at(row.corner_in if whose == ROSE else _foot(rows, row)) for row in pair])
            cov = weights @ edge.cov @ weights.T
            root = np.linalg.cholesky(cov + 1e-16 * np.eye(2))
            for column in root.T:
                placed = np.zeros(n)
                placed[first : first + 2] = column
                found.setdefault(f"{whose}'s {EDGES}", []).append(placed)
            placed = np.zeros(n)
            placed[first : first + 2] = edge.u_model_in
            found.setdefault(f"{whose}'s {MODEL}", []).append(placed)
            sign = pair[0].side * (1 if whose == RECESS else -1)
            order: dict[str, int] = {}
            for cause, move in zip(edge.causes, edge.moves_in, strict=True):
                key = cause, order.setdefault(cause, 0)
                order[cause] += 1
                causes.setdefault(key, np.zeros(n))[first : first + 2] = sign * weights @ move
        for (cause, number), placed in causes.items():
            if same_cards and cause in CARDS_OWN:
                shared[cause, number] = shared.get((cause, number), np.zeros(n)) + placed
            else:
                found.setdefault(f"{whose}'s {cause}", []).append(placed)
    for (cause, _), placed in shared.items():
        found.setdefault(cause, []).append(placed)
    return _Spread({source: np.stack(columns, axis=1) for source, columns in found.items()})


def _foot(rows: _Rows, row: _Row) -> Array:
    """The recess's place that a row's corner faces."""
    return rows.start.of(row.corner_in)


def _seated(rose: Outline, rows: _Rows, pose: Pose, d: Array, a: Array, same_cards: bool, odds: Mapping[int, float]) -> Seated:
    spread = _spread(rows, same_cards)
    weight, bend = _weights(d)
    # The place follows the measured rooms: (A' B A) dplace = A' B dd.
    follow = np.linalg.solve(a.T @ (bend[:, None] * a) + 1e-9 * bend.max() * np.eye(3), a.T * bend)
    linear = np.eye(len(d)) - a @ follow
    rooms = spread.estimates(d, linear)
    share = weight / weight.sum()
    least = spread.estimates(np.array([share @ d]), share[None], common=(f"{ROSE}'s {MODEL}", f"{RECESS}'s {MODEL}"))[0]
    by_end = {(row.point, row.side, row.at_tip): k for k, row in enumerate(rows.rows)}
    pairs: list[tuple[EdgeRoom | None, EdgeRoom | None]] = []
    beyond: list[Estimate | None] = []
    for k in range(rose.count):
        pair = [
            EdgeRoom(rooms[by_end[k, side, False]], rooms[by_end[k, side, True]]) if (k, side, True) in by_end else None for side in (-1, 1)
        ]
        pairs.append((pair[0], pair[1]))
        beyond.append(_beyond(rose, k, by_end, d, linear, spread))
    return Seated(pose, rows.shift, tuple(pairs), tuple(beyond), least, odds)


def _beyond(
    rose: Outline, k: int, by_end: Mapping[tuple[int, int, bool], int], d: Array, linear: Array, spread: _Spread
) -> Estimate | None:
    """From the tip of the rose's point k to where the recess's edges meet, along the line that halves the point."""
    left, right = rose.edges[k]
    if left is None or right is None or (k, -1, True) not in by_end or (k, 1, True) not in by_end:
        return None
    outward = np.stack([-left.normal, right.normal])
    middle = left.ends_in[1] - left.ends_in[0]
    other = right.ends_in[1] - right.ends_in[0]
    axis = middle / np.hypot(*middle) + other / np.hypot(*other)
    axis /= np.hypot(*axis)
    # The vector v from tip to corner has v . n = room for either edge's normal n.
    shares = np.linalg.solve(outward.T, axis)
    both = [by_end[k, -1, True], by_end[k, 1, True]]
    return spread.estimates(np.array([shares @ d[both]]), (shares @ linear[both])[None])[0]
