"""The best round of cut lobes, against every round there is, and what its joints come to, against polygons."""

from __future__ import annotations

import tracemalloc
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon

from seamcheck.advise.lobe_lots import even_places
from seamcheck.advise.lobe_order import MOST_LOBES, Place, best_order, joint_cost, notch_assignment, round_of, too_many, turns_between
from seamcheck.advise.loose_set import LooseLobe
from seamcheck.basis.uncertain import Estimate
from seamcheck.kite import HalfShape

PATTERN = HalfShape(3.0, np.pi / 4, np.pi / 4, 13 / 16, 13 / 16)


def lobe(name: str, left_root: float, right_root: float, own_tip: float = 0.0, length: float = 3.0, short: float = 13 / 16) -> LooseLobe:
    shape = HalfShape(length, left_root, right_root, short, short)
    values = {"length": length, "left_root": left_root, "right_root": right_root, "own_root": 0.0, "own_tip": own_tip}
    values |= dict(zip(("left_tip", "right_tip"), shape.tips, strict=True))
    numbers = {key: Estimate(value, {"photo": 0.001}) for key, value in values.items()}
    return LooseLobe(name, 0, numbers, Estimate(left_root + right_root, {"photo": 0.0015}), {}, {}, "cw", np.zeros((4, 2)))


def cost_of(order: tuple[int, ...], turns: np.ndarray, halves: np.ndarray) -> float:
    after = np.roll(order, -1)
    return float(np.sum(joint_cost(turns, halves[list(order), 1], halves[after, 0])))


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 6), st.integers(-4, 1), st.integers(0, 10_000), st.booleans())
def test_no_round_is_better(places: int, spare: int, seed: int, even: bool) -> None:
    """Every choice and order of lobes, tried one by one; more lobes than places too, and fewer: the rest are still to be cut."""
    lobes = max(1, places + spare)
    rng = np.random.default_rng(seed)
    turns = np.full(places, 2 * np.pi / places)
    if not even:
        moved = rng.normal(0, 0.01, places)
        turns = turns + np.roll(moved, -1) - moved
    halves = np.pi / places + rng.normal(0, 0.02, (lobes, 2))
    to_cut = (np.pi / places - 0.002, np.pi / places + 0.003)
    found = round_of(turns, halves, to_cut)
    there = [lobe for lobe in found if lobe < lobes]
    assert len(there) == len(set(there)) == min(places, lobes)
    all_of_them = np.vstack([halves, *[[to_cut]] * max(1, places - lobes)])
    count = max(places, lobes)
    least = min(cost_of(order, turns, all_of_them) for order in permutations(range(count), places))
    assert cost_of(tuple(found), turns, all_of_them) == pytest.approx(least, abs=1e-12)


def test_lobes_that_are_still_to_be_cut_take_no_memory() -> None:
    """Three lobes of a ring of 32: the 29 others are one kind."""
    rng = np.random.default_rng(7)
    places, half = 32, np.pi / 32
    halves = half + rng.normal(0, 0.01, (3, 2))
    tracemalloc.start()
    found = round_of(np.full(places, 2 * half), halves, (half, half))
    assert tracemalloc.get_traced_memory()[1] < 2_000_000
    tracemalloc.stop()
    assert sorted(found)[:4] == [0, 1, 2, 3]
    rows = np.vstack([halves, [(half, half)]])
    for i in range(places):
        for j in range(i):
            other = list(found)
            other[i], other[j] = other[j], other[i]
            assert cost_of(tuple(other), np.full(places, 2 * half), rows) >= cost_of(tuple(found), np.full(places, 2 * half), rows) - 1e-12


def test_what_is_too_much_to_work_out() -> None:
    assert not any(too_many(lobes, places) for lobes, places in ((1, 64), (13, 64), (MOST_LOBES, 20), (40, MOST_LOBES)))
    assert all(too_many(lobes, places) for lobes, places in ((MOST_LOBES + 1, MOST_LOBES + 1), (MOST_LOBES, 32)))


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 5), st.integers(0, 2), st.integers(0, 10_000))
def test_no_assignment_to_the_notches_is_better(places: int, spare: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    notches, halves = 1.0 + rng.normal(0, 0.02, (places, 2)), 1.0 + rng.normal(0, 0.02, (places + spare, 2))

    def cost(lobes: tuple[int, ...]) -> float:
        return float(sum(joint_cost(notches[:, side], halves[list(lobes), side], 0.0).sum() for side in (0, 1)))

    found = notch_assignment(notches, halves)
    assert cost(tuple(found)) == pytest.approx(min(map(cost, permutations(range(places + spare), places))), abs=1e-12)


def test_a_greedy_round_would_be_worse() -> None:
    """Taking the best neighbour each time runs into a corner: here the wide halves are left to meet each other."""
    rng = np.random.default_rng(2)
    worse = 0
    for _ in range(30):
        turns, halves = np.full(6, np.pi / 3), np.pi / 6 + rng.normal(0, 0.02, (6, 2))
        order, free = [0], set(range(1, 6))
        while free:
            order.append(min(free, key=lambda k: joint_cost(turns[0], halves[order[-1], 1], halves[k, 0])))
            free.remove(order[-1])
        worse += cost_of(tuple(order), turns, halves) > cost_of(tuple(round_of(turns, halves, (0.0, 0.0))), turns, halves) + 1e-9
    assert worse > 20


def test_sixteen_lobes_for_twelve_uneven_places() -> None:
    """As many as a rose of one ring takes, with spares: still exact, told by that no swap of two lobes makes it better."""
    rng = np.random.default_rng(4)
    moved = rng.normal(0, 0.004, 12)
    turns = 2 * np.pi / 12 + np.roll(moved, -1) - moved
    halves = np.pi / 12 + rng.normal(0, 0.01, (14, 2))
    found = round_of(turns, halves, (0.0, 0.0))
    least = cost_of(tuple(found), turns, halves)
    for i in range(12):
        for k in range(14):
            other = list(found)
            if k in found:
                j = found.index(k)
                other[i], other[j] = other[j], other[i]
            else:
                other[i] = k
            assert cost_of(tuple(other), turns, halves) >= least - 1e-12


def test_the_joints_are_those_of_polygons() -> None:
    """Four lobes laid by bearing: where two overlap as polygons they bind, by as much as the overlap is wide."""
    halves = [(0.800, 0.790), (0.770, 0.780), (0.795, 0.785), (0.765, 0.790)]
    order = best_order(even_places(4, 1), [[lobe(str(k), *half) for k, half in enumerate(halves)]], [PATTERN])
    pieces = []
    for one in order.laid:
        turn = one.place.bearing
        matrix = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        pieces.append(Polygon(one.shape.corners_in @ matrix.T))
    for joint in order.joints:
        shared = pieces[joint.lobes[0]].intersection(pieces[joint.lobes[1]]).area
        wedge = joint.binds_in * (13 / 16) / 2  # a thin wedge from the root to the shoulder
        assert shared == pytest.approx(wedge, rel=0.05, abs=1e-6)
        assert sum(joint.share) == pytest.approx(joint.binds_in)
    assert order.planing_in == pytest.approx(sum(joint.binds_in for joint in order.joints))


def test_a_seam_that_lies_off_takes_the_lobe_that_suits_it() -> None:
    """One leaf is narrower than the others: the two narrow halves meet there."""
    places = [Place(1, 1, 0.0), Place(2, 1, np.pi / 2 - 0.03), Place(3, 1, np.pi), Place(4, 1, 3 * np.pi / 2)]
    narrow, even, wide = np.pi / 4 - 0.015, np.pi / 4, np.pi / 4 + 0.015
    lobes = [lobe("a", wide, even), lobe("b", even, narrow), lobe("c", narrow, wide), lobe("d", even, even)]
    order = best_order(places, [lobes], [PATTERN])
    names = {one.place.seam: one.lobe.name for one in order.laid if one.lobe is not None}
    assert (names[1], names[2]) == ("b", "c")
    assert order.planing_in == pytest.approx(0, abs=1e-9)
    assert turns_between(places)[0] == pytest.approx(np.pi / 2 - 0.03)


def test_a_second_ring_in_its_notches() -> None:
    """Perfect lobes fit without a gap; one that is missing is supposed, one too many is left over."""
    second_half = np.pi / 4 + PATTERN.tips[0]
    later = HalfShape(1.9, second_half, second_half, 0.75, 0.75)
    first = [lobe(f"1{k}", np.pi / 4, np.pi / 4) for k in range(4)]
    rest = [lobe(f"2{k}", second_half, second_half, length=1.9, short=0.75) for k in range(3)]
    order = best_order(even_places(8, 2), [first, rest], [PATTERN, later])
    assert len(order.laid) == 8
    assert sum(one.lobe is None for one in order.laid) == 1
    assert max(abs(joint.opening.value) for joint in order.joints) < 1e-9
    assert len(order.joints) == 4 + 8
    assert len(order.measured()) == 4 + 6  # the missing lobe's two joints can't be told of
    more = best_order(even_places(8, 2), [first, [*rest, *rest]], [PATTERN, later])
    assert len(more.left_over) == 2
