"""Whether lobes stand on the field, by the shade beside their edges."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

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


@pytest.mark.parametrize("by_tape", [0.25, 0.97])
@pytest.mark.parametrize("seed", range(6))
def test_shade_says_that_lobes_stand_whether_or_not_tape_does(seed: int, by_tape: float) -> None:
    assert chance_raised(beside(SKY_AND_WINDOW, 0.03, seed), by_tape) > 0.8


@pytest.mark.parametrize("seed", range(6))
def test_a_field_without_shade_says_that_they_are_let_in(seed: int) -> None:
    assert chance_raised(beside(None, 0.03, seed), 0.25) < 0.1
    # Tape on what throws no shade: one of them misleads.
    assert 0.1 < chance_raised(beside(None, 0.03, seed), 0.97) < 0.97


def test_a_dark_glue_line_or_a_halo_is_no_shade() -> None:
    """Within .02 in of an edge nothing counts."""
    flat = beside(None, 0.0, 0)
    lined = [EdgeShade(edge.normal, X, np.where(X < 0.019, 0.4, 1.0) * edge.light) for edge in flat]
    assert chance_raised(lined, 0.25) == pytest.approx(chance_raised(flat, 0.25))


def test_a_streaked_field_leaves_it_to_the_tape() -> None:
    rng = np.random.default_rng(3)
    streaked = [EdgeShade(np.array([1.0, 0.0]), X, np.exp(rng.normal(0, 0.5, len(X)))) for _ in range(8)]
    assert 0.02 < chance_raised(streaked, 0.25) < 0.8
    assert chance_raised([], 0.25) == 0.25


@given(st.floats(0.01, 0.99), st.floats(0.0, 0.05), st.integers(0, 50))
def test_the_chance_is_one_and_rises_with_the_tape_s(by_tape: float, noise: float, seed: int) -> None:
    teachers = beside(SKY_AND_WINDOW if seed % 2 else None, noise, seed)
    chance = chance_raised(teachers, by_tape)
    assert 0 < chance < 1
    assert chance_raised(teachers, min(by_tape + 0.005, 0.999)) > chance
