"""Verdicts: what may be said of a number, given its uncertainty and a tolerance.

A guard band of u95 stands on either side of the tolerance, and what falls into it is `unsure` (ILAC-G8:09/2019, 4.2.3: a
band of the expanded uncertainty; its two conditional answers are our one). The numbers are judged as they are reported, so a
reader of the result file who applies the rule comes to the same verdict.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import pairwise
from math import ceil, isfinite, pi
from statistics import median

from .basis.uncertain import COVERAGE_95, Estimate
from .result import Room, Tip, Verdict

# Lobes of a ring stand about equally far apart: where two stand so many times as far as usual, one is missing between them.
WIDE_APART = 1.5
# Reported lengths are rounded to a millionth of an inch: a hundredth of the best u95, so that rounding decides nothing.
REPORTED_DECIMALS = 6


def reported(estimate: Estimate | None, scale: float = 1.0) -> tuple[float, float] | None:
    """(value, u95) times `scale` as the result file gives them: the value rounded, u95 rounded up.

    None for no estimate, and for one that holds an infinity or no number at all.
    """
    if estimate is None:
        return None
    value, u95 = estimate.value * scale, estimate.u95 * scale
    if not (isfinite(value) and isfinite(u95)):
        return None
    step = 10**REPORTED_DECIMALS
    # The 1e-6 of a step keeps a u95 that is a whole number of steps from going up by one more.
    return round(float(value), REPORTED_DECIMALS) + 0.0, ceil(u95 * step - 1e-6) / step


def judge_tip(seam_offset: Estimate | None, tolerance_in: float) -> Verdict:
    """on if |offset| + u95 <= tolerance, off if |offset| - u95 > tolerance, else unsure; unmeasured without an offset."""
    given = reported(seam_offset)
    if given is None:
        return Verdict.UNMEASURED
    offset, u95 = given
    if abs(offset) + u95 <= tolerance_in:
        return Verdict.ON
    return Verdict.OFF if abs(offset) - u95 > tolerance_in else Verdict.UNSURE


def judge_joint(max_gap: Estimate | None, gap_tolerance_in: float) -> Verdict:
    """closed if the widest gap + u95 <= tolerance, open if it - u95 > tolerance, else unsure; unmeasured without a gap.

    An overlap (a negative gap) is closed.
    """
    given = reported(max_gap)
    if given is None:
        return Verdict.UNMEASURED
    gap, u95 = given
    if gap + u95 <= gap_tolerance_in:
        return Verdict.CLOSED
    return Verdict.OPEN if gap - u95 > gap_tolerance_in else Verdict.UNSURE


def judge_room(ends: Sequence[Estimate | None], gap_tolerance_in: float, wood_stands: bool = False) -> Room:
    """Of an edge in its recess, by the room at its two ends.

    tight if room + u95 < 0 at either end, or wood was seen to stand inside; else gapes if room - u95 > tolerance at either end; fits if at
    both ends room - u95 >= 0 and room + u95 <= tolerance; else unsure; unmeasured without a number and nothing seen.
    """
    if wood_stands:
        return Room.TIGHT
    given = [number for end in ends if (number := reported(end)) is not None]
    if len(given) < len(ends):
        return Room.UNMEASURED
    if any(room + u95 < 0 for room, u95 in given):
        return Room.TIGHT
    if any(room - u95 > gap_tolerance_in for room, u95 in given):
        return Room.GAPES
    return Room.FITS if all(room - u95 >= 0 and room + u95 <= gap_tolerance_in for room, u95 in given) else Room.UNSURE


def judge_point(beyond: Estimate | None, uncut: tuple[float, float] | None, is_seen: bool = True) -> Room:
    """Whether a point goes in: the recess's corner surely beyond the tip, and no wood seen to stand before it.

    uncut: wood in the point, from the corner inward, with its standard uncertainty; None where none is seen. is_seen: whether the photo
    tells how far the point is cleared; where it doesn't, none is said to go in.
    """
    given = reported(beyond)
    if given is None:
        return Room.UNMEASURED
    room, u95 = given
    if uncut is not None:
        wood, u = uncut
        room, u95 = room - wood, (u95**2 + (COVERAGE_95 * u) ** 2) ** 0.5
    if room + u95 < 0:
        return Room.TIGHT
    return Room.FITS if is_seen and room - u95 >= 0 else Room.UNSURE


def odd_lobes(tips: Sequence[Tip]) -> tuple[int, ...]:
    """Numbers of the lobes whose dark half lies on the other hand than most lobes'; none where they are evenly divided."""
    sides = [tip.dark_side for tip in tips if tip.dark_side is not None]
    if evenly_divided(tips):
        return ()
    usual = max(("cw", "ccw"), key=sides.count)
    return tuple(tip.lobe for tip in tips if tip.dark_side not in (None, usual))


def evenly_divided(tips: Sequence[Tip]) -> bool:
    """Whether as many lobes' dark halves lie on one hand as on the other, so that nobody can say which lie the wrong way round."""
    sides = [tip.dark_side for tip in tips if tip.dark_side is not None]
    return bool(sides) and sides.count("cw") == sides.count("ccw")


def left_open(lobes: Iterable[tuple[int, int, float]], joints: Iterable[Iterable[int]]) -> tuple[tuple[int, int], ...]:
    """Pairs of neighbouring lobes between which nothing is listed where a joint or a lobe belongs: the rose isn't whole.

    lobes: each one's number, ring and bearing (rad); joints: the numbers of the two lobes of each joint that is listed.

    The first ring's neighbours meet all round; each later lobe meets the two of earlier rings between which it sits; and no ring leaves
    out one of the places that it fills evenly.
    """
    round_the_rose = sorted(lobes, key=lambda lobe: (lobe[2], lobe[0]))
    wanted: list[tuple[int, int]] = []
    wide: list[tuple[int, int]] = []
    for ring in sorted({ring for _, ring, _ in round_the_rose}):
        before = [lobe for lobe in round_the_rose if lobe[1] < ring]
        here = [lobe for lobe in round_the_rose if lobe[1] == ring]
        neighbours = list(pairwise([*here, here[0]])) if len(here) > 1 else []
        apart = [(other[2] - one[2]) % (2 * pi) for one, other in neighbours]
        pairs = [(one[0], other[0]) for one, other in neighbours]
        if before:
            for number, _, bearing in here:
                left = min(before, key=lambda lobe: (bearing - lobe[2]) % (2 * pi))
                right = min(before, key=lambda lobe: (lobe[2] - bearing) % (2 * pi))
                wanted += [(left[0], number), (number, right[0])]
            wide += [pair for pair, angle in zip(pairs, apart, strict=True) if len(here) > 2 and angle > WIDE_APART * median(apart)]
        else:
            wanted += pairs
    listed = Counter(frozenset(joint) for joint in joints)
    missing = []
    for pair in wanted:
        if listed[frozenset(pair)] > 0:
            listed[frozenset(pair)] -= 1
        else:
            missing.append(pair)
    return (*missing, *wide)
