"""Where a rose lies best on unequal leaves: against hand-worked cases, and against every other place that is tried."""

from __future__ import annotations

import numpy as np
import pytest

from seamcheck.advise.rose_place import RosePattern, fewest_suited, place_rose, suited_lobes
from seamcheck.basis.frames import right_of, unit_of_bearing
from seamcheck.basis.lines import Line
from seamcheck.measure.tips import Sight
from tests.made_up_tops import camera_above

SIGHT = Sight(camera_above(), (), 0.0, 0.0)
COV = np.diag([0.001**2, 0.0002**2])


def seam(bearing: float, off_in: float = 0.0, centre: tuple[float, float] = (0.0, 0.0), u_model: float = 0.0) -> Line:
    """A seam that passes a centre at a distance, clockwise of it."""
    way = unit_of_bearing(bearing)
    return Line(np.array(centre) + 3.0 * way + off_in * right_of(way), bearing, COV, u_model, 0.0, 2.5)


def even_seams(count: int, off_in: dict[int, float] | None = None, **more) -> list[Line | None]:
    return [seam(0.3 + 2 * np.pi * k / count, (off_in or {}).get(k, 0.0), **more) for k in range(count)]


def test_even_seams_take_a_rose_without_a_miss():
    placed = place_rose(SIGHT, even_seams(8, centre=(0.4, -0.2)), RosePattern(8, (3.0,)))
    assert placed is not None
    assert placed.centre_in == pytest.approx([0.4, -0.2], abs=1e-9)
    assert placed.largest_in == pytest.approx(0, abs=1e-9)
    assert not any(placed.suited)


def test_one_seam_of_four_beside_the_centre_costs_every_point_a_quarter_of_it():
    """Shift and turn can't change the first miss less the second plus the third less the fourth: it is shared by four."""
    placed = place_rose(SIGHT, even_seams(4, {1: 0.02}), RosePattern(4, (3.0,)))
    assert placed is not None
    assert [abs(miss.value) for miss in placed.misses if miss] == pytest.approx([0.005] * 4, abs=1e-6)
    assert placed.misses[0] is not None
    assert placed.misses[1] is not None
    assert placed.misses[1].value == pytest.approx(-0.005, abs=1e-6)  # the point lies counter-clockwise of the seam that lies clockwise
    assert placed.misses[0].value == pytest.approx(0.005, abs=1e-6)


@pytest.mark.parametrize("pattern", [RosePattern(8, (3.2,)), RosePattern(8, (4.0, 3.1)), RosePattern(4, (3.5,))])
def test_no_other_place_has_a_smaller_largest_miss(pattern):
    rng = np.random.default_rng(4)
    lines = [seam(0.3 + 2 * np.pi * k / 8 + rng.normal(0, 0.004), rng.normal(0, 0.015)) for k in range(8)]
    placed = place_rose(SIGHT, lines, pattern)
    assert placed is not None

    def largest(centre, bearing, seams):
        tips = [
            centre + pattern.reaches_in[ring - 1] * unit_of_bearing(bearing + 2 * np.pi * k / pattern.points)
            for k, ring in enumerate(pattern.rings)
        ]
        return max(abs(lines[s].offset_of(tip)) for s, tip in zip(seams, tips, strict=True))

    assert largest(placed.centre_in, placed.bearing, placed.seams) == pytest.approx(placed.largest_in, abs=1e-6)
    step = 8 // pattern.points
    for size in (0.0003, 0.003, 0.02):
        for _ in range(400):
            start = int(rng.integers(8))
            seams = [(start + step * k) % 8 for k in range(pattern.points)]
            begin = placed.bearing + (lines[start].bearing - lines[placed.seams[0]].bearing)
            near = largest(placed.centre_in + rng.normal(0, size, 2), begin + rng.normal(0, size / 3), seams)
            assert near >= placed.largest_in - 1e-6


def test_the_fewest_lobes_are_made_to_suit():
    lines = even_seams(8, {2: 0.12, 5: -0.10})
    pattern = RosePattern(8, (3.0,))
    least = place_rose(SIGHT, lines, pattern)
    placed = fewest_suited(SIGHT, lines, pattern, 1 / 64)
    assert least is not None
    assert placed is not None
    assert least.largest_in > 1 / 64
    assert [placed.seams[k] for k in range(8) if placed.suited[k]] in ([2, 5], [5, 2])
    assert placed.largest_in < 1e-6
    lobes = dict(zip(placed.seams, suited_lobes(lines, pattern, placed), strict=True))
    # Its point stands where the seam crosses the circle of the points: the own seam turns by asin(.12 / 3), the joints by half of that.
    turned = np.arcsin(0.12 / 3.0)
    assert lobes[2].left_angle == pytest.approx(np.pi / 8 + turned / 2, abs=1e-6)
    assert lobes[2].right_angle == pytest.approx(np.pi / 8 - turned / 2, abs=1e-6)
    assert lobes[1].right_angle == pytest.approx(lobes[2].left_angle, abs=1e-9)
    assert sum(one.left_angle + one.right_angle for one in lobes.values()) == pytest.approx(2 * np.pi, abs=1e-9)


def test_a_seam_that_could_not_be_had_is_left_out():
    lines = even_seams(8, {3: 0.01})
    lines[3] = None
    placed = place_rose(SIGHT, lines, RosePattern(8, (3.0,)))
    assert placed is not None
    assert placed.largest_in == pytest.approx(0, abs=1e-9)
    assert [seam for seam, miss in zip(placed.seams, placed.misses, strict=True) if miss is None] == [3]


@pytest.mark.parametrize("pattern", [RosePattern(6, (3.0,)), RosePattern(16, (3.0,)), RosePattern(8, (3.0, 2.5, 2.0, 1.5, 1.0))])
def test_points_that_fall_between_seams_are_not_placed(pattern):
    assert place_rose(SIGHT, even_seams(8), pattern) is None


def test_rings_fill_the_gaps():
    assert RosePattern(8, (4.0,)).rings.tolist() == [1] * 8
    assert RosePattern(8, (4.0, 3.0)).rings.tolist() == [1, 2] * 4
    assert RosePattern(16, (4.0, 3.5, 3.0)).rings.tolist() == [1, 3, 2, 3] * 4


def test_what_a_point_would_miss_by_is_as_sure_as_its_seam():
    """The rose is laid to where the seams meet on the wood: a quarter of one seam's own variance goes into that, of eight."""
    placed = place_rose(SIGHT, even_seams(8, u_model=0.003), RosePattern(8, (3.0,)))
    assert placed is not None
    for miss in placed.misses:
        assert miss is not None
        assert miss.parts["seam model"] == pytest.approx(0.003 * np.sqrt(1 - 2 / 8), rel=1e-3)
