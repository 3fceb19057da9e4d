"""What seams make of each other: lines made here, round a point."""

from dataclasses import replace

import numpy as np
import pytest

from seamcheck.basis.frames import unit_of_bearing
from seamcheck.basis.lines import Line
from seamcheck.basis.reasons import Reason
from seamcheck.measure.seam_pattern import U_MEET_IN, USUAL_U, with_the_others
from seamcheck.measure.seams import SeamFit

# Leaves that are equal to about a fifth of a degree.
UNEQUAL_DEG = (0.2, -0.25, 0.1, 0.0, -0.15, 0.3, -0.1, 0.05)
MIDDLE = np.array([0.4, -0.3])
TIP_IN, SEEN_IN = 3.0, 4.2  # from the middle: the tip, and the middle of what is seen of the seam


def seam(bearing_deg: float, cue: str = "grain", u_deg: float = 0.05, u_in: float = 1e-3, passes_in: float = 0.0) -> SeamFit:
    """From the middle outward; passes_in: how far to the right of the middle it runs."""
    bearing = float(np.radians(bearing_deg))
    way = unit_of_bearing(bearing)
    point = MIDDLE + SEEN_IN * way + passes_in * np.array([way[1], -way[0]])
    return SeamFit(Line(point, bearing, np.diag([u_in**2, np.radians(u_deg) ** 2]), 0.001, 0.0, 1.0), cue, None)


def tips(seams: list) -> list[np.ndarray]:
    return [MIDDLE + TIP_IN * one.line.direction if isinstance(one, SeamFit) else MIDDLE for one in seams]


def told(seams: list) -> list:
    return with_the_others(seams, tips(seams))


def round_top(leaves: int, turned_deg: float = 171.3) -> list:
    return [seam(turned_deg + k * 360 / leaves + UNEQUAL_DEG[k % 8]) for k in range(leaves)]


@pytest.mark.parametrize("leaves", [4, 6, 8, 12, 16])
def test_leaves_that_are_nearly_equal_all_stay(leaves):
    for one, before in zip(told(round_top(leaves)), round_top(leaves), strict=True):
        assert isinstance(one, SeamFit)
        assert abs(one.line.bearing - before.line.bearing) < np.radians(0.05)


@pytest.mark.parametrize("leaves", [4, 8, 16])
def test_a_seam_by_grain_a_degree_off_is_ambiguous_and_a_line_is_not(leaves):
    for cue, gone in (("grain", True), ("line", False), ("step", False)):
        seams = round_top(leaves)
        seams[2] = seam(171.3 + 2 * 360 / leaves + 1.2, cue)
        left = told(seams)
        assert (left[2] is Reason.SEAM_AMBIGUOUS) is gone
        assert all(isinstance(one, SeamFit) for k, one in enumerate(left) if k != 2)


def test_a_seam_by_grain_that_passes_the_point_where_all_meet_is_a_streaks():
    seams = round_top(8)
    seams[5] = seam(171.3 + 5 * 45, passes_in=0.12)
    assert told(seams)[5] is Reason.SEAM_AMBIGUOUS
    seams[5] = replace(seams[5], cue="line")
    assert told(seams)[5] == seams[5]


def test_a_vague_seam_is_drawn_to_the_others_and_one_of_few_is_not():
    """By the textbook's weighted mean, observation by observation, and no further."""
    seams = round_top(8)
    seams[2] = seam(171.3 + 90 + 0.8, u_deg=0.6)
    drawn = told(seams)[2]
    assert isinstance(drawn, SeamFit)
    assert drawn.line.cov[1, 1] < USUAL_U**2
    lever, u = SEEN_IN, np.radians(0.6)
    by_point = 1 / (1 / u**2 + lever**2 / (U_MEET_IN**2 + 2e-6))  # variance of the bearing, the meeting point taken as sure
    assert drawn.line.cov[1, 1] == pytest.approx(1 / (1 / by_point + 1 / USUAL_U**2), rel=0.25)
    assert drawn.u_at(tips(seams)[2]) < 0.7 * seams[2].u_at(tips(seams)[2])
    few = [seam(0.0), seam(91.2), None, Reason.SEAM_COVERED]
    assert told(few) == few


def test_two_others_draw_a_vague_seam_but_never_contradict_it():
    seams = [seam(0.0), seam(60.0), seam(121.5, u_deg=0.3), Reason.SEAM_COVERED]
    drawn = told(seams)[2]
    assert isinstance(drawn, SeamFit)
    assert np.radians(120.4) < drawn.line.bearing < np.radians(121.5)
    assert drawn.line.cov[1, 1] < seams[2].line.cov[1, 1]


def test_a_seam_that_stays_faint_is_told_to_be():
    seams = [seam(0.0, u_deg=0.9), seam(90.0), None]
    left = with_the_others(seams, tips(seams))
    assert left[0] is Reason.SEAM_FAINT
    assert left[1:] == seams[1:]


def test_how_often_the_truth_lies_inside_what_is_said():
    """Seams laid as tops are: bearings by .2 degrees, past the middle by .02 in, known as they say; offsets at the tip."""
    rng = np.random.default_rng(3)
    inside = []
    for _ in range(300):
        seams, true = [], []
        for k in range(8):
            u_deg, u_in = rng.uniform(0.05, 0.5), rng.uniform(0.001, 0.004)
            real = seam(40 + 45 * k + rng.normal(0, 0.2), passes_in=rng.normal(0, 0.02), u_deg=u_deg, u_in=u_in)
            line = real.line
            off, turn = rng.normal(0, np.hypot(u_in, 0.001)), rng.normal(0, np.radians(u_deg))
            seams.append(replace(real, line=replace(line, point_in=line.point_in + off * line.normal, bearing=line.bearing + turn)))
            true.append(real)
        places = tips(true)
        for one, real, tip in zip(with_the_others(seams, places), true, places, strict=True):
            if isinstance(one, SeamFit):
                inside.append(abs(one.line.offset_of(tip) - real.line.offset_of(tip)) < 1.96 * one.u_at(tip))
    assert len(inside) > 2200
    assert 0.945 < np.mean(inside) < 0.985


def test_leaves_that_are_all_unequal_stay():
    seams = [seam(k * 45 + off) for k, off in enumerate((0.0, 1.0, -0.8, 1.5, -1.2, 0.6, -1.0, 1.1))]
    assert all(isinstance(one, SeamFit) for one in told(seams))
