"""The pieces of a rose and the field's seams as they lie, and the numbers that are true of them.

A joint is drawn first, as a line with an opening at either end, and the two edges beside it follow; a tip is put at a known
distance beside its seam. So every number is known before anything is drawn. Edges may bow: outward by `bow_in` at the middle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Array = np.ndarray
OUTER_SHARE = 0.6  # a tip is where lines fitted to this much of the long edges meet


def direction(bearing: float) -> Array:
    return np.array([np.sin(bearing), np.cos(bearing)])


def right(vector: Array) -> Array:
    """A quarter turn clockwise, of vectors (..., 2)."""
    return np.stack([vector[..., 1], -vector[..., 0]], axis=-1)


def along(origin: Array, unit: Array, points: Array) -> Array:
    """How far points (..., 2) lie along a unit vector from an origin, in the points' own precision."""
    return (points[..., 0] - float(origin[0])) * float(unit[0]) + (points[..., 1] - float(origin[1])) * float(unit[1])


@dataclass(frozen=True)
class Edge:
    """From a to b, with the piece on the right-hand side."""

    a: Array
    b: Array
    bow_in: float = 0.0

    def inside(self, points: Array) -> Array:
        """How far points (..., 2) lie inside the edge (negative: outside)."""
        length = float(np.hypot(*(self.b - self.a)))
        dx, dy = (float(d) / length for d in self.b - self.a)
        x, y = points[..., 0] - float(self.a[0]), points[..., 1] - float(self.a[1])  # floats of Python's keep single precision single
        share = np.clip((x * dx + y * dy) * (1 / length), 0, 1)
        return x * dy - y * dx + 4 * self.bow_in * share * (1 - share)

    def fitted(self, from_share: float, to_share: float) -> tuple[Array, Array]:
        """(point, unit direction) of the least-squares line through a stretch of the bowed edge."""
        share = np.linspace(from_share, to_share, 201)
        way = self.b - self.a
        unit = way / np.hypot(*way)
        points = self.a + share[:, None] * way - (self.bow_in * 4 * share * (1 - share))[:, None] * right(unit)
        middle = points.mean(axis=0)
        _, _, axes = np.linalg.svd(points - middle)
        return middle, axes[0] * np.sign(axes[0] @ unit)


def meet(p: Array, u: Array, q: Array, v: Array) -> Array:
    """Where the line through p along u meets the line through q along v."""
    t = np.linalg.solve(np.stack([u, -v], axis=1), q - p)
    return p + t[0] * u


@dataclass(frozen=True)
class Lobe:
    ring: int
    root: Array
    left: Array
    tip: Array  # where the straight long edges were drawn to meet
    right: Array
    bows_in: tuple[float, float, float, float]  # root-left, left-tip, tip-right, right-root
    tip_cut_in: float  # how much of the point is missing
    own_root: Array  # the own seam's ends
    own_tip: Array
    own_line_in: float  # width of the dark glue line on it
    dark_side: str  # "cw" or "ccw", looking from root to tip

    @property
    def edges(self) -> tuple[Edge, Edge, Edge, Edge]:
        corners = (self.root, self.left, self.tip, self.right)
        return tuple(Edge(corners[k], corners[(k + 1) % 4], self.bows_in[k]) for k in range(4))  # type: ignore[return-value]

    @property
    def axis(self) -> Array:
        way = self.tip - self.root
        return way / np.hypot(*way)

    def inside(self, points: Array, grown: tuple[float, float, float, float] = (0, 0, 0, 0)) -> Array:
        """How far points (..., 2) lie inside the piece, its edges moved outward by `grown`."""
        each = [edge.inside(points) + more for edge, more in zip(self.edges, grown, strict=True)]
        if not any(grown):
            each.append(along(self.tip, self.axis, points) * -1 - self.tip_cut_in)
        return np.minimum.reduce(each)

    def side_of_own(self, points: Array) -> Array:
        """How far points lie to the right of the own seam."""
        way = self.own_tip - self.own_root
        return along(self.own_root, right(way / np.hypot(*way)), points)

    @property
    def tip_in(self) -> Array:
        _, to_tip, from_tip, _ = self.edges
        return meet(*to_tip.fitted(1 - OUTER_SHARE, 1), *from_tip.fitted(0, OUTER_SHARE))

    @property
    def own_offset_in(self) -> float:
        return _across(self.own_root, self.own_tip, self.tip_in)

    @property
    def root_in(self) -> Array:
        one, _, _, other = self.edges
        return meet(*one.fitted(0, 1), *other.fitted(0, 1))

    @property
    def root_angle(self) -> float:
        one, _, _, other = self.edges
        cosine = -one.fitted(0, 1)[1] @ other.fitted(0, 1)[1]
        return float(np.arccos(cosine))

    @property
    def length_in(self) -> float:
        return float(np.hypot(*(self.tip_in - self.root_in)))


def _across(a: Array, b: Array, point: Array) -> float:
    """How far a point lies to the right of the line from a to b."""
    return float((point - a) @ right((b - a) / np.hypot(*(b - a))))


@dataclass(frozen=True)
class FieldSeam:
    """Runs outward from `point` along `bearing`."""

    point: Array
    bearing: float
    line_in: float  # width of the line on it, 0 for none
    dark: bool

    def offset_of(self, point: Array) -> float:
        """How far a point lies clockwise of the seam."""
        return float((point - self.point) @ right(direction(self.bearing)))

    def at(self, reach: float) -> Array:
        """The seam's point at a distance from the plane's origin, nearly."""
        return self.point + (reach - self.point @ direction(self.bearing)) * direction(self.bearing)


@dataclass(frozen=True)
class Joint:
    lobes: tuple[int, int]
    ends: Array  # (2, 2) inner and outer end
    openings: Array  # (stations,)

    @property
    def max_in(self) -> float:
        return float(np.quantile(self.openings, 0.95))

    @property
    def mean_in(self) -> float:
        return float(self.openings.mean())


@dataclass(frozen=True)
class Rose:
    lobes: tuple[Lobe, ...]
    seam_of: tuple[int, ...]  # each lobe's seam
    joints: tuple[Joint, ...]

    @property
    def centre_in(self) -> Array:
        """The point with the least sum of squared distances to the own seams."""
        normals = np.stack([right((one.own_tip - one.own_root) / np.hypot(*(one.own_tip - one.own_root))) for one in self.lobes])
        places = np.array([n @ one.own_root for n, one in zip(normals, self.lobes, strict=True)])
        return np.linalg.lstsq(normals, places, rcond=None)[0]


@dataclass(frozen=True)
class Care:
    """How well the maker worked: standard deviations, inches and rad."""

    gap_in: float = 0.008  # mean opening of a joint's end
    joint_in: float = 0.004  # joints beside the centre
    joint_turn: float = 0.0025
    tip_in: float = 0.008
    own_in: float = 0.005
    shoulder_in: float = 0.004
    bow_in: float = 0.0012
    chip_in: float = 0.003


def lay(
    rng: np.random.Generator,
    seams: tuple[FieldSeam, ...],
    count: int,
    rings: int,
    notch_in: float,
    reach_in: float,
    second_in: tuple[float, float],  # the second ring's short edge and reach
    centre: Array,
    turn: float,
    care: Care,
) -> Rose:
    """A rose of `count` lobes a ring, its first lobe on the first seam, all a little off."""
    half = np.pi / count
    lines = []  # one joint after each lobe: (point, unit, opening at the inner end, at the outer end)
    for k in range(count):
        unit = direction(seams[0].bearing + turn + (2 * k + 1) * half + rng.normal(0, care.joint_turn))
        lines.append((centre + rng.normal(0, care.joint_in, 2), unit, *_openings(rng, care)))

    def beside(k: int, side: int) -> tuple[Array, Array]:
        """(inner point, outer point) of the edge left (-1) or right (+1) of joint k."""
        point, unit, inner, outer = lines[k % count]
        return point + side * right(unit) * inner / 2, point + notch_in * unit + side * right(unit) * outer / 2

    lobes: list[Lobe] = []
    seam_of: list[int] = []
    sides = "ccw" if rng.random() < 0.5 else "cw"
    spacing = len(seams) // (count * rings)
    for k in range(count):
        (a, b), (c, d) = beside(k - 1, 1), beside(k, -1)
        root = meet(a, b - a, c, d - c)
        left = b + rng.normal(0, care.shoulder_in) * (b - a) / np.hypot(*(b - a))
        right_shoulder = d + rng.normal(0, care.shoulder_in) * (d - c) / np.hypot(*(d - c))
        seam = (k * rings * spacing) % len(seams)
        lobes.append(_lobe(rng, 1, root, left, right_shoulder, seams[seam], reach_in, centre, turn, care, sides))
        seam_of.append(seam)
    joints = [_joint(rng, lobes, k, (k + 1) % count, lines[k][0], lines[k][1], notch_in) for k in range(count)]
    if rings == 2:
        for k in range(count):
            first, after = lobes[k], lobes[(k + 1) % count]
            edges = []
            for edge, backward in ((first.edges[2], True), (after.edges[1], False)):
                near, far = (edge.b, edge.a) if backward else (edge.a, edge.b)
                unit = (far - near) / np.hypot(*(far - near))
                outward = -right((edge.b - edge.a) / np.hypot(*(edge.b - edge.a)))
                inner, outer = _openings(rng, care)
                edges.append((near + outward * inner, near + second_in[0] * unit + outward * outer))
            (a, b), (c, d) = edges
            seam = ((2 * k + 1) * spacing) % len(seams)
            root = meet(a, b - a, c, d - c)
            lobes.append(_lobe(rng, 2, root, b, d, seams[seam], second_in[1], centre, turn, care, sides))
            seam_of.append(seam)
        for k in range(count):
            for first, edge, backward in ((k, lobes[k].edges[2], True), ((k + 1) % count, lobes[(k + 1) % count].edges[1], False)):
                near, far = (edge.b, edge.a) if backward else (edge.a, edge.b)
                unit = (far - near) / np.hypot(*(far - near))
                pair = (first, count + k) if backward else (count + k, first)
                joints.append(_joint(rng, lobes, *pair, near, unit, second_in[0]))
    return Rose(tuple(lobes), tuple(seam_of), tuple(joints))


def _openings(rng: np.random.Generator, care: Care) -> tuple[float, float]:
    base = 0.0015 + min(rng.exponential(care.gap_in), 0.04)
    return base, max(0.0015, base + rng.normal(0, 0.35 * care.gap_in))


def _lobe(
    rng: np.random.Generator,
    ring: int,
    root: Array,
    left: Array,
    right_shoulder: Array,
    seam: FieldSeam,
    reach_in: float,
    centre: Array,
    turn: float,
    care: Care,
    side: str,
) -> Lobe:
    outward = direction(seam.bearing)
    spread = care.tip_in if rng.random() < 0.85 else 3.5 * care.tip_in
    askew = turn * reach_in + (centre - seam.at(0.0)) @ right(outward)
    tip = seam.at(reach_in + rng.normal(0, care.tip_in)) + (askew + rng.normal(0, spread)) * right(outward)
    bows = [rng.normal(0, care.bow_in * share) for share in (0.5, 1, 1, 0.5)]
    across = right((tip - root) / np.hypot(*(tip - root)))
    own_root, own_tip = root + rng.normal(0, care.own_in / 2) * across, tip + rng.normal(0, care.own_in) * across
    line_in = 0.0 if rng.random() < 0.3 else rng.uniform(0.0005, 0.004)
    return Lobe(
        ring, root, left, tip, right_shoulder, tuple(bows), min(rng.exponential(care.chip_in), 0.03), own_root, own_tip, line_in, side
    )


def _joint(rng: np.random.Generator, lobes: list[Lobe], a: int, b: int, point: Array, unit: Array, length_in: float) -> Joint:
    """The joint of two lobes along the line from `point`: from where both have an edge to where one of them ends."""
    first, other = lobes[a], lobes[b]
    roots = [(lobe.root - point) @ unit for lobe in (first, other) if abs((lobe.root - point) @ right(unit)) < 0.2]
    start = max([0.0, *[root for root in roots if root < length_in / 2]])
    stop = min(
        length_in, *[max((c - point) @ unit for c in (x.left, x.right) if abs((c - point) @ right(unit)) < 0.2) for x in (first, other)]
    )
    places = point + np.linspace(start + 0.02, stop - 0.02, 60)[:, None] * unit
    nearest = [min((e for e in lobe.edges), key=lambda e: float(np.abs(e.inside(places)).mean())) for lobe in (first, other)]
    openings = -sum(edge.inside(places) for edge in nearest)
    ends = point + np.array([start, stop])[:, None] * unit
    return Joint((a, b), ends, openings)
