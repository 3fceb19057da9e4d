"""Whether lobes stand on the field, by the shade beside their edges."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seamcheck.basis.lines import Line
from seamcheck.find.halves import chance_raised_by_tape
from seamcheck.measure.edge_task import EdgeFit
from seamcheck.measure.shade_fit import EdgeShade
from seamcheck.measure.shading import Shading
from seamcheck.measure.standing import chance_raised

X = np.linspace(0.010, 0.12, 30)
SKY_AND_WINDOW = Shading(0.7, np.array([[0.3, 0.03, -0.02, 0.02]]), 1 / 42)


def beside(shading: Shading | None, noise: float, seed: int, edges: int = 8) -> list[EdgeShade]:
    """The field's light beside edges all round: in a shade, or in none; figured by so much."""
    rng = np.random.default_rng(seed)
    result = []
    for angle in np.linspace(0, 2 * np.pi, edges, endpoint=False):
        normal = np.array([np.sin(angle), np.cos(angle)])
        lit = np.ones(len(X)) if shading is None else shading.at(X, normal)
        figure = 1 + noise * np.cumsum(rng.normal(0, 1, len(X))) / np.sqrt(len(X))
        result.append(EdgeShade(normal, X, 0.3 * lit * figure))
    return result


def owns(seen: float, lobes: int = 8) -> list[EdgeFit | None]:
    """Own seams of which so much is seen."""
    line = Line(np.zeros(2), 0.0, np.eye(2) * 1e-6, 0.0, 0.0, 1.0, seen)
    return [EdgeFit(line, 9.0, np.ones(3), np.zeros(3), 0.1)] * lobes


@pytest.mark.parametrize(("seen", "tape_odds"), [(0.99, 0.4), (0.93, 3.0), (0.9, 100.0)])
@pytest.mark.parametrize("seed", range(6))
def test_shade_says_that_lobes_stand_whether_or_not_tape_does(seed: int, seen: float, tape_odds: float) -> None:
    assert chance_raised(beside(SKY_AND_WINDOW, 0.03, seed), owns(seen), tape_odds) > 0.8


@pytest.mark.parametrize("seed", range(6))
def test_a_field_without_shade_says_that_they_are_let_in(seed: int) -> None:
    assert chance_raised(beside(None, 0.03, seed), owns(0.99), 0.4) < 0.1
    # Tape on what throws no shade: one of them misleads.
    assert 0.1 < chance_raised(beside(None, 0.03, seed), owns(0.93), 100.0) < 0.97


def test_figure_that_hides_little_of_the_own_seams_is_no_tape() -> None:
    """Stations that show no step may be figure; own seams seen whole say that they are."""
    teachers = beside(None, 0.03, 1)
    figured, taped = (chance_raised(teachers, owns(seen), 3.0) for seen in (0.99, 0.93))
    assert figured < 0.1 < taped


def test_a_dark_glue_line_or_a_halo_is_no_shade() -> None:
    """Within .02 in of an edge nothing counts."""
    flat = beside(None, 0.0, 0)
    lined = [EdgeShade(edge.normal, X, np.where(X < 0.019, 0.4, 1.0) * edge.light) for edge in flat]
    assert chance_raised(lined, [], 0.4) == pytest.approx(chance_raised(flat, [], 0.4))


def test_a_streaked_field_leaves_it_to_the_tape() -> None:
    rng = np.random.default_rng(3)
    streaked = [EdgeShade(np.array([1.0, 0.0]), X, np.exp(rng.normal(0, 0.5, len(X)))) for _ in range(8)]
    assert 0.02 < chance_raised(streaked, [], 0.4) < 0.8
    assert chance_raised([], [None], 0.4) == pytest.approx(chance_raised_by_tape(0.4))


def test_tape_that_is_as_likely_as_none_says_nothing_and_no_tape_rules_no_dry_fit_out() -> None:
    assert chance_raised_by_tape(1.0) == pytest.approx(0.5)
    assert 0.2 < chance_raised_by_tape(0.0) < 0.3
    assert 0.95 < chance_raised_by_tape(100.0) < 0.97


@given(st.floats(0.05, 40), st.floats(0.85, 0.999), st.floats(0.0, 0.05), st.integers(0, 50))
def test_the_chance_is_one_and_rises_with_the_tape_s(tape_odds: float, seen: float, noise: float, seed: int) -> None:
    teachers = beside(SKY_AND_WINDOW if seed % 2 else None, noise, seed)
    chance = chance_raised(teachers, owns(seen), tape_odds)
    assert 0 < chance < 1
    assert chance_raised(teachers, owns(seen), 1.1 * tape_odds) >= chance
    assert chance_raised(teachers, owns(seen - 0.01), tape_odds) >= chance
