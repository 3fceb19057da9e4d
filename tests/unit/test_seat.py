"""Where a rose lies in its recess and how much room it has there, held against exact polygons and general solvers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog, minimize
from shapely.geometry import LineString, Point, Polygon

from seamcheck.advise.outline import Outline
from seamcheck.advise.seat import NEARLY_IN, Seated, seat, turns_of
from seamcheck.basis.uncertain import COVERAGE_95, Estimate
from seamcheck.judge import judge_point, judge_room
from seamcheck.plane.spread import PRINT
from seamcheck.result import OutlineEdge, Room
from tests.made_up_seat import cut_for, edge, ends, moved, outline, star

THOUSANDTHS = st.floats(-0.006, 0.012)


def rooms_of(found: Seated) -> np.ndarray:
    """(n, 2, 2): point, left and right, at the notch and at the tip."""
    return np.array([[[one.at_notch.value, one.at_tip.value] for one in pair if one] for pair in found.rooms])


def seated(rose: Outline, recess: Outline, shifts: list[int] | None = None, same_cards: bool = False) -> Seated:
    found = seat(rose, recess, [0] if shifts is None else shifts, same_cards)
    assert found is not None
    return found


def drawn(seed: int, points: int = 8, usual_in: float = 0.004, spread_in: float = 0.003) -> tuple[np.ndarray, np.ndarray]:
    """An uneven rose, and how far its recess's edges lie outside."""
    rng = np.random.default_rng(seed)
    corners = star(points, uneven_in=rng.normal(0, 0.01, points))
    return corners, rng.normal(usual_in, spread_in, (points, 2, 2))


def test_an_even_recess_leaves_the_same_room_everywhere():
    corners = star()
    found = seated(outline(moved(corners, (1.0, -2.0), 0.3)), cut_for(corners, np.full((8, 2, 2), 0.005)))
    assert rooms_of(found) == pytest.approx(0.005, abs=1e-9)
    # The corner lies room / sin(half angle) beyond the tip.
    a, b = ends(corners, 0, -1), ends(corners, 0, 1)
    half = np.arccos((a[1] - a[0]) @ (b[1] - b[0]) / np.hypot(*(a[1] - a[0])) / np.hypot(*(b[1] - b[0]))) / 2
    assert [one.value for one in found.beyond if one] == pytest.approx([0.005 / np.sin(half)] * 8, abs=1e-9)
    assert found.pose.turn == pytest.approx(-0.3, abs=1e-9)
    assert found.least_anywhere.value == pytest.approx(0.005, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(THOUSANDTHS, min_size=24, max_size=24), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(-0.2, 0.2), st.integers(0, 10**6)
)
def test_rooms_are_distances_between_exact_polygons(out, x, y, turn, seed):
    """Shapely: a rose's corner lies so far inside the recess's wall; and all of it lies inside where every room is above nothing."""
    corners = star(6, uneven_in=np.random.default_rng(seed).normal(0, 0.01, 6))
    recess = cut_for(corners, np.array(out).reshape(6, 2, 2))
    found = seated(outline(moved(corners, (x, y), turn)), recess)
    placed, hole = found.pose.of(moved(corners, (x, y), turn)), Polygon(recess.corners_in)
    for k in range(6):
        for i, side in enumerate((-1, 1)):
            wall = ends(recess.corners_in, k, side)
            line = LineString([wall[0] - (wall[1] - wall[0]), wall[1] + (wall[1] - wall[0])])
            room = found.rooms[k][i]
            assert room is not None
            for corner, value in zip(ends(placed, k, side), (room.at_notch.value, room.at_tip.value), strict=True):
                assert abs(value) == pytest.approx(line.distance(Point(corner)), abs=1e-9)
    least = rooms_of(found).min()
    if abs(least) > 1e-7:
        assert hole.contains(Polygon(placed)) == (least > 0)


@pytest.mark.parametrize("seed", range(12))
def test_the_place_is_that_of_a_general_minimiser(seed):
    corners, out = drawn(seed, usual_in=(-0.004, 0.004, 0.03)[seed % 3])
    recess = cut_for(corners, out)
    found = seated(outline(moved(corners, (0.02, -0.01), 0.01)), recess)

    def cost(move: np.ndarray) -> float:
        placed = moved(corners, move[:2], move[2])
        walls = [ends(recess.corners_in, k, side) for k in range(8) for side in (-1, 1)]
        mine = [ends(placed, k, side) for k in range(8) for side in (-1, 1)]
        rooms = []
        for j, (wall, pair) in enumerate(zip(walls, mine, strict=True)):
            way = (wall[1] - wall[0]) / np.hypot(*(wall[1] - wall[0]))
            outward = np.array([way[1], -way[0]]) * (1 if j % 2 else -1)
            rooms += list((wall[0] - pair) @ outward)
        return float(np.log(np.logaddexp(0, -np.array(rooms) / NEARLY_IN).sum()))

    other = minimize(cost, np.zeros(3), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-13, "maxiter": 5000, "maxfev": 5000})
    placed = found.pose.of(moved(corners, (0.02, -0.01), 0.01))
    assert np.abs(placed - moved(corners, other.x[:2], other.x[2])).max() < 2e-5


@pytest.mark.parametrize("seed", range(20))
def test_no_place_gives_more_room_than_is_said(seed):
    """Linear programming gives the exact least room of the best place."""
    corners, out = drawn(seed, points=(4, 6, 8)[seed % 3], usual_in=0.001)
    recess = cut_for(corners, out)
    found = seated(outline(corners), recess)
    d, a = [], []
    for k in range(len(corners) // 2):
        for side in (-1, 1):
            wall, mine = ends(recess.corners_in, k, side), ends(corners, k, side)
            way = (wall[1] - wall[0]) / np.hypot(*(wall[1] - wall[0]))
            outward = side * np.array([way[1], -way[0]])
            for corner in mine:
                d.append((wall[0] - corner) @ outward)
                a.append([*outward, corner[1] * outward[0] - corner[0] * outward[1]])
    most = -linprog([0, 0, 0, -1], np.column_stack([np.array(a), np.ones(len(d))]), d, bounds=[(None, None)] * 4).fun
    assert rooms_of(found).min() <= most + 1e-5
    assert most <= found.least_anywhere.value + 1e-5
    # Nearly the tightest count as well, so the bound isn't quite the least room: by no more than a few of NEARLY_IN.
    assert found.least_anywhere.value < most + 2.5 * NEARLY_IN


def test_what_is_said_to_be_uncertain_is_what_noise_makes_of_it():
    """Edges drawn anew by their own covariance, and laid in again: rooms scatter by what was said."""
    rng = np.random.default_rng(5)
    corners, out = drawn(3)
    u, u_model = 0.0008, 0.0006
    first = seated(outline(corners, u, u_model), cut_for(corners, out, u, u_model))
    said = np.array([[[one.at_notch.u, one.at_tip.u] for one in pair if one] for pair in first.rooms])

    def shaken(made: Outline) -> Outline:
        pairs = []
        for pair in made.edges:
            new = []
            for one in pair:
                assert one is not None
                across = rng.normal(0, u, 2) + rng.normal(0, u_model)
                new.append(OutlineEdge(one.ends_in + across[:, None] * one.normal, one.cov, one.u_model_in, (), np.zeros((0, 2))))
            pairs.append((new[0], new[1]))
        return Outline(tuple(pairs), made.corners_in)

    rose, recess = outline(corners, u, u_model), cut_for(corners, out, u, u_model)
    many = np.array([rooms_of(seated(shaken(rose), shaken(recess))) for _ in range(300)])
    assert many.std(axis=0) == pytest.approx(said, rel=0.25)
    assert np.mean(np.abs(many - rooms_of(first)) <= COVERAGE_95 * said) == pytest.approx(0.95, abs=0.02)


def test_a_print_that_is_the_same_in_both_photos_cancels():
    """Both grow alike with the print, so no room is uncertain by it; two sheets' errors add up."""
    corners = star()

    def grown(made: Outline) -> Outline:
        pairs = [
            tuple(
                OutlineEdge(one.ends_in, one.cov, 0.0, (PRINT,), 0.005 * (one.ends_in @ one.normal)[None])
                for one in pair
                if one is not None
            )
            for pair in made.edges
        ]
        return Outline(tuple((pair[0], pair[1]) for pair in pairs), made.corners_in)

    rose, recess = grown(outline(corners)), grown(cut_for(corners, np.full((8, 2, 2), 0.004)))
    same, other = seated(rose, recess, same_cards=True), seated(rose, recess)
    a, b = same.rooms[0][0], other.rooms[0][0]
    assert a is not None
    assert b is not None
    assert a.at_tip.parts[PRINT] < 0.005 * 0.01
    distance = abs(float(ends(corners, 0, -1)[1] @ edge(ends(corners, 0, -1)).normal))
    apart = np.hypot(b.at_tip.parts[f"rose's {PRINT}"], b.at_tip.parts[f"recess's {PRINT}"])
    assert apart == pytest.approx(0.005 * np.sqrt(2) * distance, rel=0.05)


def test_an_uneven_rose_tells_its_turn_and_an_even_one_does_not():
    rng = np.random.default_rng(2)
    corners = star(uneven_in=rng.normal(0, 0.015, 8))
    recess = cut_for(np.roll(corners, 6, axis=0), np.full((8, 2, 2), 0.004))  # the rose's first point is the recess's fourth
    shifts = turns_of(outline(corners), recess)
    assert len(shifts) == 8
    found = seated(outline(corners), recess, shifts)
    assert found.shift == 3
    assert found.likelier > np.log(1e4)
    even = seated(outline(star()), cut_for(star(), np.random.default_rng(1).normal(0.004, 0.003, (8, 2, 2))), list(range(8)))
    assert even.likelier < np.log(1e4)


def test_edges_that_were_not_measured_are_left_out_and_too_few_give_nothing():
    corners = star(4, notch_in=0.9)
    whole, recess = outline(corners), cut_for(corners, np.full((4, 2, 2), 0.003))
    some = Outline(((None, whole.edges[0][1]), *whole.edges[1:]), corners)
    found = seated(some, recess)
    assert found.rooms[0][0] is None
    assert found.beyond[0] is None
    assert found.rooms[0][1] is not None
    few = Outline((whole.edges[0], *((None, None),) * 3), corners)
    assert seat(few, recess, [0], False) is None


@pytest.mark.parametrize(
    ("notch", "tip", "verdict"),
    [
        ((0.004, 0.003), (0.005, 0.003), Room.FITS),
        ((0.004, 0.005), (0.005, 0.003), Room.UNSURE),
        ((-0.004, 0.003), (0.02, 0.003), Room.TIGHT),
        ((0.004, 0.003), (0.014, 0.003), Room.GAPES),
        ((0.004, 0.003), (0.012, 0.003), Room.UNSURE),
        ((0.0, 0.0), (0.010, 0.0), Room.FITS),
    ],
)
def test_verdicts_on_an_edge(notch, tip, verdict):
    pair = [Estimate(value, {"edges": u95 / COVERAGE_95}) for value, u95 in (notch, tip)]
    assert judge_room(pair, 0.010) is verdict
    assert judge_room(pair, 0.010, wood_stands=True) is Room.TIGHT


def test_verdicts_on_a_point():
    far = Estimate(0.02, {"edges": 0.002})
    assert judge_point(far, None) is Room.FITS
    assert judge_point(far, None, is_seen=False) is Room.UNSURE
    assert judge_point(far, (0.08, 0.015)) is Room.TIGHT
    assert judge_point(far, (0.03, 0.015)) is Room.UNSURE
    assert judge_point(Estimate(-0.02, {"edges": 0.002}), None) is Room.TIGHT
    assert judge_point(None, None) is Room.UNMEASURED
    assert judge_room([None, None], 0.010) is Room.UNMEASURED
