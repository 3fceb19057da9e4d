"""From what a maker wishes for to a rose that can be built, or to why it can't and the nearest that can.

A first-ring lobe is fixed by its reach, its root angle (a full turn shared out) and its short edge. A second-ring lobe sits in the
notch between two of them, so its root and its root angle are given, and its reach and short edge are free. A third-ring lobe sits
between a first-ring and a second-ring lobe; it is a kite whose own seam meets the field seam only where the notch is the same on either
side of that seam, so the first two rings reach equally far and the second ring's short edge ends on the third ring's seam.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, cos, degrees, floor, pi, radians, sin

from ..basis.errors import CantBuild
from ..basis.units import lengths
from ..kite import KiteShape
from .rose import Ring, Rose
from .wish import STEP_IN, Wish

FEWEST_POINTS, MOST_POINTS = 3, 64
MOST_RINGS = 3
ANY_POINTS = 48  # may be shared out over any number of rings
FEWEST_FIRST = 3  # two lobes of a half turn each have no points

# Smallest things that are worth cutting (common practice, no source), inches.
LEAST_REACH_IN = 1.0  # of the first ring
LEAST_LENGTH_IN = 1 / 2  # of any lobe, root to tip
LEAST_SHORT_IN = 1 / 8
LEAST_EDGE_LEFT_IN = 1 / 16  # of a long edge beyond the next ring's shoulder, lest three points fall on one spot
MOST_REACH_IN = 60.0  # a larger top is a slip of the unit
LEAST_TOP_REACH_IN = 2.0

# A strip is at least so much wider than the shoulder, for the saw's or knife's run-out (common practice, no source).
SIDE_SPARE_IN = 1 / 32

# A lobe's shoulders lie within this share of its length from the root: past it the point is blunt, no point (common practice, no source).
MOST_SHOULDER_SHARE = 3 / 4
# A wider notch holds nothing: a lobe in it has no root to speak of (common practice, no source).
MOST_NOTCH = radians(172)

# Where nothing is said: a short edge's share of the line beside it (the first ring's reach, a neighbour's long edge), and a later
# ring's reach as a share of the first one's. Taste, no source.
SHORT_SHARE, LATER_REACH_SHARE = 3 / 8, 7 / 8

# How far a root angle that is given may be from the one that closes, since people round: of a full turn, and of a notch.
ROOT_ANGLE_SLACK = radians(0.1)
SHORT_EDGE_SLACK_IN = 1 / 128

SLACK_IN = 1e-9  # what is no more than this past a limit is on it: sums of lengths are rounded
MOST_MENDS = 40  # a dozen is the most that was ever needed


class _Fault(Exception):
    """What can't be built, and the wish with that one thing mended."""

    def __init__(self, why: str, mended: Wish) -> None:
        super().__init__(why)
        self.mended = mended


def draw_up(wish: Wish) -> Rose:
    """The rose with every dimension. Raises CantBuild, which names the nearest that can be built."""
    try:
        return _rose(wish)
    except _Fault as fault:
        raise CantBuild(why=str(fault), options=_nearest(fault.mended).options()) from None


def check_reaches(points: int | None, reaches_in: tuple[float, ...]) -> None:
    """Raises CantBuild for points and reaches that no rose has, whatever else it's made to; points: None where they aren't known yet."""
    asked = Wish(ANY_POINTS if points is None else points, reaches_in, max(len(reaches_in), 1))
    mended, why = asked, ""
    for _ in range(MOST_MENDS):
        try:
            _check_counts(mended)
            _check_room(mended)
        except _Fault as fault:
            mended, why = fault.mended, why or str(fault)
        else:
            break
    if why:
        told = [] if points is None else [f"--points {mended.points}"]
        raise CantBuild(why=why, options=" ".join([*told, *(f"--reach {lengths().option(reach)}" for reach in mended.reaches_in)]))


def in_full(wish: Wish) -> Wish:
    """The wish that names every reach and short edge of the rose that is drawn for one: strips and a top choose nothing any more."""
    rose = draw_up(wish)
    return Wish(
        wish.points,
        tuple(_reach(wish, ring.number - 1) for ring in rose.rings),
        len(rose.rings),
        tuple(ring.shape.short_edge_in for ring in rose.rings),
        dark_side=wish.dark_side,
    )


def nearest(wish: Wish) -> Wish:
    """The wish itself where it can be built, or with as little as possible changed."""
    try:
        _rose(wish)
    except _Fault as fault:
        return _nearest(fault.mended)
    return wish


def _nearest(wish: Wish) -> Wish:
    """Mend one thing after another. Every mend keeps to the limits that others take up, so this ends."""
    for _ in range(MOST_MENDS):
        try:
            _rose(wish)
        except _Fault as fault:
            wish = fault.mended
        else:
            return wish
    raise RuntimeError(f"mending goes round in circles: {wish}")


def _rose(wish: Wish) -> Rose:
    _check_counts(wish)
    _check_room(wish)
    first = _first_ring(wish)
    if wish.ring_count == 1:
        rings = [first]
    elif wish.ring_count == 2:
        rings = [
            first,
            _later_ring(wish, first, _Notch(2, first.count, pi / first.count, first.shape.short_edge_in, first.notch_angle), first),
        ]
    else:
        second = _mirrored(first)
        quarter = pi / (2 * first.count)
        root = _middle_in(first)
        rings = [first, second, _later_ring(wish, first, _Notch(3, 2 * first.count, quarter, root, second.notch_angle), second)]
    _check_given(wish, rings)
    return Rose(tuple(rings), wish.dark_side)


def _check_counts(wish: Wish) -> None:
    points, rings = wish.points, wish.ring_count
    if not FEWEST_POINTS <= points <= MOST_POINTS:
        better = min(max(points, FEWEST_POINTS), MOST_POINTS)
        raise _Fault(f"A rose has {FEWEST_POINTS} to {MOST_POINTS} points, not {points}", _with_rings(replace(wish, points=better), 1))
    if not 1 <= rings <= MOST_RINGS:
        raise _Fault(f"A rose has one to {MOST_RINGS} rings, not {rings}", _with_rings(wish, min(max(rings, 1), MOST_RINGS)))
    share = 2 ** (rings - 1)
    if points % share or points // share < FEWEST_FIRST:
        raise _Fault(
            f"{points} points can't be shared out over {rings} rings (each ring doubles them, and the first has {FEWEST_FIRST} or more)",
            _with_rings(wish, rings - 1),
        )


def _with_rings(wish: Wish, rings: int) -> Wish:
    return replace(
        wish,
        rings=rings,
        reaches_in=wish.reaches_in[:rings],
        short_edges_in=wish.short_edges_in[:rings],
        root_angles=wish.root_angles[:rings],
    )


def _check_room(wish: Wish) -> None:
    """More given than there are rings; top, strip and reaches that nothing fits."""
    told = max(len(wish.reaches_in), len(wish.short_edges_in), len(wish.root_angles))
    if told > wish.ring_count:
        raise _Fault(f"Lengths or angles are given for {told} rings, but there are {wish.ring_count}", _with_rings(wish, wish.ring_count))
    if wish.top and wish.top.most_reach_in < LEAST_TOP_REACH_IN - SLACK_IN:
        larger = replace(wish.top, diameter_in=_up(2 * (LEAST_TOP_REACH_IN + wish.top.band_in)))
        raise _Fault(f"Inside its edge band the top has room for a reach of {_in(wish.top.most_reach_in)}", replace(wish, top=larger))
    if wish.strip_in and wish.strip_in < LEAST_SHORT_IN + SIDE_SPARE_IN:
        raise _Fault(
            f"Strips {_in(wish.strip_in)} wide are too narrow for any lobe", replace(wish, strip_in=LEAST_SHORT_IN + SIDE_SPARE_IN)
        )
    for k, reach in enumerate(wish.reaches_in):
        if k == 0 and reach < LEAST_REACH_IN:
            raise _Fault(f"A first ring that reaches {_in(reach)} is too small to cut", _with_reach(wish, 0, LEAST_REACH_IN))
        if reach > _most_reach(wish) + SLACK_IN:
            edge = "the edge band, which begins" if wish.top else "the largest top's edge,"
            why = f"Ring {k + 1}'s tips at {_in(reach)} would lie past {edge} at {_in(_most_reach(wish))}"
            raise _Fault(why, _with_reach(wish, k, _down(_most_reach(wish))))
    if wish.ring_count == 3 and len(wish.reaches_in) > 1 and wish.reaches_in[1] != wish.reaches_in[0]:
        why = "With three rings the second must reach as far as the first, or the third ring's own seams can't lie on the field seams"
        raise _Fault(why, _with_reach(wish, 1, wish.reaches_in[0]))


def _most_reach(wish: Wish) -> float:
    return min(wish.top.most_reach_in, MOST_REACH_IN) if wish.top else MOST_REACH_IN


def _reach(wish: Wish, k: int) -> float:
    """Of ring k (0 the first), as given or chosen."""
    if k < len(wish.reaches_in):
        return wish.reaches_in[k]
    if wish.ring_count == 3 and k == 1:
        return wish.reaches_in[0]
    return round(LATER_REACH_SHARE * wish.reaches_in[0] * 16) / 16


def _first_ring(wish: Wish) -> Ring:
    count = wish.points // 2 ** (wish.ring_count - 1)
    root_angle, reach = 2 * pi / count, wish.reaches_in[0]
    if wish.root_angles and abs(wish.root_angles[0] - root_angle) > ROOT_ANGLE_SLACK:
        given = degrees(wish.root_angles[0])
        why = f"{count} root angles of {given:g} degrees come to {count * given:g}, not to a full turn of 360"
        raise _Fault(why, replace(wish, root_angles=(root_angle, *wish.root_angles[1:])))
    limits = [_point_limit(root_angle, reach), _strip_limit(wish, root_angle)]
    if wish.ring_count > 1:
        widest = short_edge_for(root_angle, reach, MOST_NOTCH - root_angle)
        limits.append((widest, "the notches beside it would be too wide open to hold the next ring"))
        most = min(limit for limit, _ in limits)
        limits.append((_roomy(wish, count, most), "the next rings wouldn't fit between it and the edge, or on the strips"))
    asked = wish.short_edges_in[0] if wish.short_edges_in else None
    if asked is None and len(wish.root_angles) > 1:
        asked = _short_edge_for_notch(wish, root_angle, reach, limits)
    short = _short_edge(wish, 0, asked, SHORT_SHARE * reach, limits)
    return Ring(1, count, KiteShape(root_angle, short, reach), 0.0, 0.0)


def short_edge_for(root_angle: float, length_in: float, tip_angle: float) -> float:
    """The short edge (inches) of a kite with these angles (rad): law of sines in the half kite root, shoulder, tip."""
    return length_in * sin(tip_angle / 2) / sin((root_angle + tip_angle) / 2)


def _short_edge_for_notch(wish: Wish, root_angle: float, reach: float, limits: list[tuple[float, str]]) -> float:
    """The first ring's short edge (inches) that leaves the notch that the second ring's root angle asks for."""
    tip_angle = wish.root_angles[1] - root_angle
    if tip_angle > 0 and wish.root_angles[1] < MOST_NOTCH:
        short = short_edge_for(root_angle, reach, tip_angle)
        if LEAST_SHORT_IN <= short <= min(limit for limit, _ in limits):
            return short
    why = f"No first ring that can be built leaves a notch of {degrees(wish.root_angles[1]):g} degrees"
    raise _Fault(why, replace(wish, root_angles=wish.root_angles[:1]))


def _roomy(wish: Wish, count: int, most_in: float) -> float:
    """The longest short edge of the first ring, no longer than most_in, that leaves room for the next rings.

    Found by stepping down the rule: a third ring's needs have no closed form, and the steps are few.
    """
    root_angle, reach = 2 * pi / count, wish.reaches_in[0]
    tried = most_in
    while tried > LEAST_SHORT_IN and not _has_room(wish, Ring(1, count, KiteShape(root_angle, tried, reach), 0.0, 0.0)):
        tried = ceil(tried / STEP_IN - 1) * STEP_IN
    return max(tried, LEAST_SHORT_IN)


def _has_room(wish: Wish, first: Ring) -> bool:
    # What is mended goes up or down to the next step of the rule, so the room is counted between steps.
    most_reach = _down(_most_reach(wish))
    if wish.ring_count == 2:
        return first.shape.short_edge_in + LEAST_LENGTH_IN <= most_reach
    second = _mirrored(first).shape
    longest, _ = _point_limit(second.root_angle, second.length_in)
    widest, _ = _strip_limit(wish, second.root_angle)
    return (
        _middle_in(first) + LEAST_LENGTH_IN <= min(most_reach, _reach(wish, 2) if len(wish.reaches_in) < 3 else MOST_REACH_IN)
        and second.long_edge_in >= LEAST_SHORT_IN + LEAST_EDGE_LEFT_IN
        and second.short_edge_in <= min(longest, widest)
    )


@dataclass(frozen=True, slots=True)
class _Notch:
    """Where a later ring sits."""

    number: int
    count: int
    first_bearing: float  # rad
    root_in: float  # from the centre
    angle: float  # rad


def _later_ring(wish: Wish, first: Ring, notch: _Notch, before: Ring) -> Ring:
    """The last ring, in the notch that the ring before it leaves."""
    k = notch.number - 1
    reach = _reach(wish, k)
    if reach < notch.root_in + LEAST_LENGTH_IN - SLACK_IN:
        why = f"Rings overlap: ring {notch.number} starts {_in(notch.root_in)} from the centre, too far out to reach only {_in(reach)}"
        reaches = tuple(_reach(wish, j) for j in range(k)) + (_up(notch.root_in + LEAST_LENGTH_IN),)
        raise _Fault(why, replace(wish, reaches_in=reaches))
    length = reach - notch.root_in
    beside = before.shape.long_edge_in  # in three rings the shorter of the two neighbours' edges that are left, for they are equal
    limits = [
        _point_limit(notch.angle, length),
        _strip_limit(wish, notch.angle),
        (beside - LEAST_EDGE_LEFT_IN, f"the edge that it lies along is only {_in(beside)} long: the rings would overlap"),
    ]
    asked = wish.short_edges_in[k] if k < len(wish.short_edges_in) else None
    short = _short_edge(wish, k, asked, SHORT_SHARE * beside, limits)
    return Ring(notch.number, notch.count, KiteShape(notch.angle, short, length), notch.root_in, notch.first_bearing)


def _mirrored(first: Ring) -> Ring:
    """The second of three rings: the first one's image in the third one's own seam, less what lies inside the first.

    Its long edges are what its short edges leave of the first ring's, and its tips those of the first.
    """
    notch = first.shape.short_edge_in
    short = _along_to_middle_in(first)
    return Ring(2, first.count, KiteShape(first.notch_angle, short, first.reach_in - notch), notch, pi / first.count)


def _middle_in(first: Ring) -> float:
    """From the centre to where the first ring's long edge crosses the third ring's own seam, inches.

    In the triangle of centre, tip and that place, by the law of sines.
    """
    half_tip, bearing = first.shape.tip_angle / 2, pi / (2 * first.count)
    return first.reach_in * sin(half_tip) / sin(half_tip + bearing)


def _along_to_middle_in(first: Ring) -> float:
    """From the first ring's shoulder to that place, along the long edge, inches."""
    half_tip, bearing = first.shape.tip_angle / 2, pi / (2 * first.count)
    from_tip = first.reach_in * sin(bearing) / sin(half_tip + bearing)
    return first.shape.long_edge_in - from_tip


def _point_limit(root_angle: float, length_in: float) -> tuple[float, str]:
    return MOST_SHOULDER_SHARE * length_in / max(cos(root_angle / 2), 1e-9), "its shoulders would lie so near its tip that it had no point"


def _strip_limit(wish: Wish, root_angle: float) -> tuple[float, str]:
    if wish.strip_in is None:
        return MOST_REACH_IN, ""
    return (wish.strip_in - SIDE_SPARE_IN) / sin(root_angle / 2), f"strips {_in(wish.strip_in)} wide are too narrow for its shoulder"


def _short_edge(wish: Wish, k: int, asked_in: float | None, usual_in: float, limits: list[tuple[float, str]]) -> float:
    """The short edge that was asked for, if it's within all limits; else the usual one, made as short as they want it."""
    most, why = min(limits)
    if asked_in is None:
        rounded = round(usual_in * 32) / 32
        return max(rounded if rounded <= most else _down(most), LEAST_SHORT_IN)
    if asked_in > most + SLACK_IN:
        raise _Fault(
            f"Ring {k + 1}'s short edge can't be {_in(asked_in)}, since {why}", _with_short(wish, k, max(_down(most), LEAST_SHORT_IN))
        )
    if asked_in < LEAST_SHORT_IN:
        raise _Fault(f"A short edge of {_in(asked_in)} is too small to cut", _with_short(wish, k, LEAST_SHORT_IN))
    return asked_in


def _check_given(wish: Wish, rings: list[Ring]) -> None:
    """Root angles and, of three rings, the second one's short edge follow from the rest: what is given must agree."""
    for k, (angle, ring) in enumerate(zip(wish.root_angles, rings, strict=False)):
        if abs(angle - ring.shape.root_angle) > ROOT_ANGLE_SLACK:
            why = (
                f"Ring {k + 1}'s notch is {degrees(ring.shape.root_angle):.2f} degrees wide, so no root of {degrees(angle):g} closes in it"
            )
            raise _Fault(why, replace(wish, root_angles=wish.root_angles[:k]))
    if len(rings) == 3 and len(wish.short_edges_in) > 1:
        short = rings[1].shape.short_edge_in
        if abs(short - wish.short_edges_in[1]) > SHORT_EDGE_SLACK_IN:
            must = f"{lengths().number(short)} {lengths().symbol}"
            why = f"With three rings the second one's short edge must be {must}, to end where the third ring's own seam runs"
            raise _Fault(why, _with_short(wish, 1, round(short, 4)))


def _with_reach(wish: Wish, k: int, reach_in: float) -> Wish:
    return replace(wish, reaches_in=(*wish.reaches_in[:k], reach_in, *wish.reaches_in[k + 1 :]))


def _with_short(wish: Wish, k: int, short_in: float) -> Wish:
    return replace(wish, short_edges_in=(*wish.short_edges_in[:k], short_in, *wish.short_edges_in[k + 1 :]))


def _down(length_in: float) -> float:
    return floor((length_in + SLACK_IN / 2) / STEP_IN) * STEP_IN


def _up(length_in: float) -> float:
    return ceil((length_in - SLACK_IN / 2) / STEP_IN) * STEP_IN


def _in(length_in: float) -> str:
    return lengths().rule(length_in)
