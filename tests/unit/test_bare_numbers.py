"""A bare top's numbers and what they are uncertain by, against drawn errors: centre, missing seams, round edge; and a loose lobe's root."""

from __future__ import annotations

import numpy as np
import pytest

from seamcheck.advise.bare_top import bare_top
from seamcheck.advise.rose_place import RosePattern
from seamcheck.basis.frames import Array, right_of, unit_of_bearing
from seamcheck.basis.lines import Line
from seamcheck.basis.reasons import Reason
from seamcheck.measure.bare_numbers import OTHER_SEAMS, centre_cov, edge_numbers, seam_numbers
from seamcheck.measure.field_seams import FieldSeamFit
from seamcheck.measure.lobes import LobeFit
from seamcheck.measure.loose_numbers import lobe_shape
from seamcheck.measure.round_edge import RoundEdge, _circle
from seamcheck.measure.tips import Sight, centre_of
from seamcheck.plane.camera import Camera

SIGHT = Sight(Camera(3000.0, 1.0, 999.5, 999.5, 0, 0, 0, 0, np.array([np.pi, 0, 0]), np.array([0.0, 0, 20.0])), (), 0.0, 0.0)


def seam(bearing: float, across_in: float = 0.0, u_in: float = 0.0, u_turn: float = 0.0, u_model_in: float = 0.0) -> Line:
    way = unit_of_bearing(bearing)
    return Line(3 * way + across_in * right_of(way), bearing, np.diag([u_in**2, u_turn**2]), u_model_in, 0.0, 2.0)


def test_the_centre_scatters_as_its_covariance_says():
    """Seams that lie unevenly, each off by its sampling, its turn and its model: 4,000 tops drawn."""
    rng = np.random.default_rng(3)
    bearings, u, u_turn, u_model = np.array([0.0, 0.7, 1.9, 2.6, 4.0]), np.array([1, 2, 1, 3, 1]) * 1e-3, 4e-4, 2e-3
    lines = [seam(one, 0.0, u_in, u_turn, u_model) for one, u_in in zip(bearings, u, strict=True)]
    drawn = []
    for _ in range(4000):
        across, turn = rng.normal(0, np.hypot(u, u_model)), rng.normal(0, u_turn, len(u))
        moved = [Line(seam(b, a).point_in, b + t, np.zeros((2, 2)), 0.0, 0.0, 2.0) for b, a, t in zip(bearings, across, turn, strict=True)]
        drawn.append(centre_of(moved))
    assert centre_cov(lines) == pytest.approx(np.cov(np.array(drawn).T), rel=0.08, abs=1e-7)


@pytest.mark.parametrize("had", [(0, 2, 4, 6), (0, 1, 3, 4)])
def test_what_seams_that_cannot_be_had_would_do_to_the_centre_is_as_drawn(had):
    """Of eight seams that pass their point by .02 in (standard deviation) four are had: lying evenly, or mostly alike."""
    rng = np.random.default_rng(4)
    bearings = np.arange(8) * np.pi / 4 + 0.2 * np.sin(np.arange(8))
    moved, said = [], []
    for _ in range(600):
        lines = [seam(one, across) for one, across in zip(bearings, rng.normal(0, 0.02, 8), strict=True)]
        known = [lines[k] for k in had]
        moved.append(centre_of(known) - centre_of(lines))
        numbers = seam_numbers(SIGHT, known, 4)
        assert all(one.off_centre is not None for one in numbers)
        said += [one.off_centre.parts[OTHER_SEAMS] ** 2 for one in numbers[:1] if one.off_centre is not None]
    assert np.sqrt(np.mean(said)) == pytest.approx(float(np.sqrt(np.mean(np.square(moved)))), rel=0.1)


def test_a_diameter_is_off_by_twice_what_its_radius_is():
    turns = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    edge = RoundEdge(np.array([0.01, 0.0]), 8.0, np.diag([1e-6, 1e-6, 0.003**2]), 0.004, 8 * unit_of_bearing(turns), 1.0)
    found = edge_numbers(SIGHT, [seam(one) for one in (0.0, 2.0, 4.0)], edge)
    assert found.diameter.value == 16.0
    assert found.diameter.u == pytest.approx(0.010)


def test_a_circle_through_places_that_err_alike_scatters_as_its_covariance_says():
    """Rays in threes that see the same wood; one in twenty sees something else."""
    rng = np.random.default_rng(5)
    turns = np.arange(180) * 2 * np.pi / 180
    design = np.column_stack([unit_of_bearing(turns), np.ones(180)])
    found, said = [], []
    for _ in range(800):
        place = 8 + np.repeat(rng.normal(0, 0.003, 60), 3)
        place[rng.random(180) < 0.05] += 0.1
        result, cov, _ = _circle(design, place, 3.0)
        found.append(result)
        said.append(np.diag(cov))
    assert np.sqrt(np.mean(said, axis=0)) == pytest.approx(np.std(found, axis=0), rel=0.15)
    assert np.mean(found, axis=0) == pytest.approx([0, 0, 8], abs=3e-4)


def test_a_root_to_the_right_of_its_own_seam_is_counted_clockwise():
    """Seen from the root to the tip: short edges that meet at the origin, an own seam that passes .01 in to the left of it."""
    spot: Array = np.array([-0.01, 1.0])
    lines = {
        "left short": Line(unit_of_bearing(-0.4), -0.4, np.zeros((2, 2)), 0.0, 0.0, 0.5),
        "right short": Line(unit_of_bearing(0.4), 0.4, np.zeros((2, 2)), 0.0, 0.0, 0.5),
        "own": Line(spot, 0.0, np.zeros((2, 2)), 0.0, 0.0, 0.9),
    }
    shape = lobe_shape(SIGHT, lines, LobeFit(None, None, None))
    assert shape.own_root_offset is not None
    assert shape.own_root_offset.value == pytest.approx(0.01)


@pytest.mark.parametrize(("followed", "looked_for", "leaves"), [(4, 20, None), (4, 8, None), (5, 8, 8), (8, 8, 8), (0, 8, None)])
def test_a_count_of_leaves_stands_only_where_most_seams_bear_it_out(followed: int, looked_for: int, leaves: int | None) -> None:
    """Half of a pattern's seams are those of half as many leaves just as well."""
    bearings = np.arange(looked_for) * 2 * np.pi / looked_for
    line = [Line(2 * unit_of_bearing(one), float(one), np.diag([1e-6, 1e-6]), 0.0005, 0.0, 1.5) for one in bearings]
    step = max(1, looked_for // max(followed, 1))
    seen = [k * step % looked_for for k in range(followed)]
    fits = [FieldSeamFit(line[k], "line", 3) if k in seen else Reason.SEAM_FAINT for k in range(looked_for)]
    pattern = RosePattern(4, (3.0,))
    seams, top, _ = bare_top(SIGHT, bearings, np.zeros(2), fits, Reason.EDGE_OUT_OF_FRAME, pattern, 1 / 64)
    assert (top.leaves, top.looked_for) == (leaves, looked_for)
    assert len(seams) == len(top.numbers) == followed
    if leaves is None:
        assert top.numbers == tuple(range(1, followed + 1))
        assert top.lost == ()
        assert top.even is top.fewest is None
    else:
        assert len(top.lost) == looked_for - followed
