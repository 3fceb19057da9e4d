"""Where to lay a rose on a measured bare top, and which of its lobes need making to suit.

Leaves are never all equal, so a perfect rose's points can't all lie on their seams. In small motions a point's miss is linear in the rose's
shift and turn, so the place with the least largest miss is a linear program (minimax, as after Chebyshev), solved exactly and made
linear again at the answer. Where even that misses by too much, the fewest lobes to make to suit are found.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, bearing_of, right_of, unit_of_bearing, wrap_angle
from ..basis.lines import Line
from ..basis.uncertain import Estimate
from ..measure.tips import Cases, Sight, centre_of, estimates

# The rose moves by no more than this from where the seams meet, nor turns by more from their bearings (inches, rad): more than is needed.
MOST_SHIFT_IN, MOST_TURN = 1.0, 0.2
# Times a program is made linear again: turns are a few thousandths, so the second changes less than a millionth of an inch.
ROUNDS = 3
# A point that misses by this much less than the largest isn't one that holds the rose where it is (inches).
TIGHT_IN = 1e-7
# Sets of lobes to make to suit that are followed further at a time: all of them for usual roses.
MOST_TRIED = 60


@dataclass(frozen=True)
class RosePattern:
    """A perfect rose: even points, of one reach a ring."""

    points: int
    reaches_in: tuple[float, ...]  # ring by ring, the first the largest

    @property
    def rings(self) -> Array:
        """(points,): each point's ring, going round: the last ring has every other point, the one before every other of what is left."""
        rings = np.zeros(self.points, int)
        count = len(self.reaches_in)
        for ring in range(count, 0, -1):
            rings[:: 2 ** (count - ring)] = ring
        return rings


@dataclass(frozen=True)
class Placing:
    """The rose laid on the top. Frame: plane."""

    centre_in: Array  # (2,)
    bearing: float  # rad, of the first point
    seams: tuple[int, ...]  # each point's seam, going round from the first
    misses: tuple[Estimate | None, ...]  # inches, positive: the point lies clockwise of its seam; None: its seam couldn't be had
    suited: tuple[bool, ...]  # made to suit: its own lobe points at its seam, whatever the others do

    @property
    def largest_in(self) -> float:
        """The largest miss of the points that aren't made to suit."""
        known = [abs(miss.value) for miss, suited in zip(self.misses, self.suited, strict=True) if miss is not None and not suited]
        return max(known, default=0.0)


@dataclass(frozen=True)
class SuitedLobe:
    """How a lobe is made for this very top."""

    axis: float  # rad, plane bearing of its own seam, from the rose's centre
    left_angle: float  # rad, from its own seam to the joint on its left, and on its right (first ring: together the root angle)
    right_angle: float
    reach_in: float  # from the rose's centre to its point


def place_rose(sight: Sight, lines: Sequence[Line | None], pattern: RosePattern) -> Placing | None:
    """The least largest miss, over shift, turn and which seam the first point lies on.

    lines: the field seams going round, None where one couldn't be had. None where the points don't fall on the seams (their number
    must divide the seams') or fewer than three seams are known.
    """
    starts = _starts(lines, pattern)
    if not starts:
        return None
    solved = [(_minimax(lines, pattern, seams, (False,) * pattern.points), seams) for seams in starts]
    best, seams = min(solved, key=lambda one: one[0].largest_in)
    return _placing(sight, lines, pattern, seams, best, (False,) * pattern.points)


def fewest_suited(sight: Sight, lines: Sequence[Line | None], pattern: RosePattern, tolerance_in: float) -> Placing | None:
    """Where as few points as can be miss by more than the tolerance: those are to be made to suit; the others' largest miss is least."""
    starts = _starts(lines, pattern)
    found = [(one, seams) for seams in starts if (one := _fewest(lines, pattern, seams, tolerance_in)) is not None]
    if not found:
        return None
    (suited, best), seams = min(found, key=lambda one: (sum(one[0][0]), one[0][1].largest_in))
    return _placing(sight, lines, pattern, seams, best, suited)


def suited_lobes(lines: Sequence[Line | None], pattern: RosePattern, placing: Placing) -> list[SuitedLobe | None]:
    """Every point's lobe: its own seam aims at its field seam where it's made to suit, else even; joints halve the turns between."""
    axes: list[float | None] = []
    rings = pattern.rings
    for k, seam in enumerate(placing.seams):
        even = placing.bearing + 2 * np.pi * k / pattern.points
        line = lines[seam]
        if not placing.suited[k]:
            axes.append(even)
        elif line is None:
            axes.append(None)
        else:
            axes.append(float(bearing_of(_on_seam(line, placing.centre_in, pattern.reaches_in[rings[k] - 1]) - placing.centre_in)))
    result: list[SuitedLobe | None] = []
    for k, axis in enumerate(axes):
        mine = [j for j in range(pattern.points) if rings[j] == rings[k]]
        at = mine.index(k)
        before, after = axes[mine[at - 1]], axes[mine[(at + 1) % len(mine)]]
        if axis is None or before is None or after is None:
            result.append(None)
            continue
        left, right = (float((turn % (2 * np.pi)) / 2) for turn in (axis - before, after - axis))
        result.append(SuitedLobe(axis, left, right, pattern.reaches_in[rings[k] - 1]))
    return result


def _on_seam(line: Line, centre_in: Array, reach_in: float) -> Array:
    """(2,): where the seam is crossed by the circle of the points."""
    off = line.offset_of(centre_in)
    return line.point_in + (line.along_of(centre_in) + float(np.sqrt(max(reach_in**2 - off**2, 0.0)))) * line.direction


def _starts(lines: Sequence[Line | None], pattern: RosePattern) -> list[tuple[int, ...]]:
    """Which seams the points may lie on, going round; several ways where a rose has rings or fewer points than there are seams."""
    count, points = len(lines), pattern.points
    if points < 3 or count % points or points % 2 ** (len(pattern.reaches_in) - 1):
        return []
    step = count // points
    period = 2 ** (len(pattern.reaches_in) - 1)
    ways = [tuple((start + step * k) % count for k in range(points)) for start in range(step * min(period, points))]
    return [seams for seams in ways if sum(lines[seam] is not None for seam in seams) >= 3]


def _linear(
    lines: Sequence[Line | None], pattern: RosePattern, seams: Sequence[int], centre_in: Array, bearing: float
) -> tuple[Array, Array]:
    """(misses (m,), their change (m, 3) with x, y and turn) of the points whose seams are known, about a place."""
    misses, slopes = [], []
    rings = pattern.rings
    for k, seam in enumerate(seams):
        line = lines[seam]
        if line is None:
            continue
        way = unit_of_bearing(bearing + 2 * np.pi * k / pattern.points)
        reach = pattern.reaches_in[rings[k] - 1]
        misses.append(line.offset_of(centre_in + reach * way))
        slopes.append([*line.normal, reach * float(right_of(way) @ line.normal)])
    return np.array(misses), np.array(slopes)


def even_place(lines: Sequence[Line | None], pattern: RosePattern, seams: Sequence[int]) -> tuple[Array, float]:
    """Where the seams meet, and the mean turn of an even rose along them."""
    known = [line for line in lines if line is not None]
    mine = [(line.bearing - 2 * np.pi * k / pattern.points) for k, seam in enumerate(seams) if (line := lines[seam]) is not None]
    return centre_of(known), float(mine[0] + np.mean(wrap_angle(np.array(mine) - mine[0])))


@dataclass(frozen=True)
class Solved:
    """A place with the least largest miss."""

    centre_in: Array  # (2,)
    bearing: float
    largest_in: float
    tight: tuple[int, ...]  # the points that miss by as much


def _minimax(lines: Sequence[Line | None], pattern: RosePattern, seams: Sequence[int], suited: Sequence[bool]) -> Solved:
    """The place with the least largest miss of the points that aren't made to suit."""
    from scipy.optimize import linprog

    centre, bearing = even_place(lines, pattern, seams)
    known = [k for k, seam in enumerate(seams) if lines[seam] is not None]
    asked = np.array([not suited[k] for k in known])
    largest, tight = 0.0, []
    for _ in range(ROUNDS):
        misses, slopes = _linear(lines, pattern, seams, centre, bearing)
        misses, slopes = misses[asked], slopes[asked]
        if not len(misses):
            break
        ones = np.ones((len(misses), 1))
        rows = np.block([[slopes, -ones], [-slopes, -ones]])
        bounds = [(-MOST_SHIFT_IN, MOST_SHIFT_IN)] * 2 + [(-MOST_TURN, MOST_TURN), (0, None)]
        solved = linprog([0, 0, 0, 1], rows, np.concatenate([-misses, misses]), bounds=bounds, method="highs")
        centre, bearing, largest = centre + solved.x[:2], bearing + float(solved.x[2]), float(solved.x[3])
        at = np.abs(misses + slopes @ solved.x[:3])
        tight = [k for k, miss in zip(np.array(known)[asked], at, strict=True) if miss > largest - TIGHT_IN]
    return Solved(centre, bearing, largest, tuple(int(k) for k in tight))


def _fewest(
    lines: Sequence[Line | None], pattern: RosePattern, seams: Sequence[int], tolerance_in: float
) -> tuple[tuple[bool, ...], Solved] | None:
    """The fewest points to make to suit so that all others lie within the tolerance; None if more than half would have to be.

    Where the least largest miss is too large, the few points that make it so can't all stay: one of them is to be made to suit. Trying
    each of them, and so on, finds the fewest (linear programs with few violated constraints: Matousek 1995).
    """
    lost = frozenset(k for k, seam in enumerate(seams) if lines[seam] is None)
    level = {lost}
    for _ in range(pattern.points // 2 + 1):
        solved = {}
        for suited in level:
            flags = tuple(k in suited for k in range(pattern.points))
            solved[suited] = flags, _minimax(lines, pattern, seams, flags)
        flags, best = min(solved.values(), key=lambda one: one[1].largest_in)
        if best.largest_in <= tolerance_in:
            return flags, best
        further = sorted(solved, key=lambda suited: solved[suited][1].largest_in)[:MOST_TRIED]
        level = {suited | {k} for suited in further for k in solved[suited][1].tight}
    return None


def _placing(
    sight: Sight, lines: Sequence[Line | None], pattern: RosePattern, seams: tuple[int, ...], solved: Solved, suited: Sequence[bool]
) -> Placing:
    centre, bearing = solved.centre_in, solved.bearing
    known = [(k, line) for k, seam in enumerate(seams) if (line := lines[seam]) is not None]
    named = {f"seam{k}": line for k, line in known}
    found = estimates(sight, named, dict.fromkeys(named, "seam"), _misses_of(pattern, [k for k, _ in known], centre, bearing))
    misses: list[Estimate | None] = [None] * pattern.points
    for (k, _), miss in zip(known, found, strict=True):
        misses[k] = miss
    return Placing(centre, bearing, tuple(seams), tuple(misses), tuple(suited))


def _misses_of(pattern: RosePattern, points: Sequence[int], centre_in: Array, bearing: float) -> Callable[[dict[str, Cases]], Array]:
    """What each point would miss by in every case: the rose is laid to the seams as they are there, as it is on the wood."""
    rings = pattern.rings

    def compute(cases: dict[str, Cases]) -> Array:
        lines = list(cases.values())
        meet = centre_of(lines)
        turns = np.stack([wrap_angle(line.bearing - line.bearing[0]) for line in lines], axis=1).mean(axis=1)
        result = []
        for k, line in zip(points, lines, strict=True):
            way = unit_of_bearing(bearing + turns + 2 * np.pi * k / pattern.points)
            tip = centre_in + (meet - meet[:1]) + pattern.reaches_in[rings[k] - 1] * way
            result.append(line.offset_of(tip))
        return np.stack(result, axis=1)

    return compute
