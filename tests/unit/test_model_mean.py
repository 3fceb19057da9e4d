"""An edge measured under two suppositions, and the bow of a line's blocks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from seamcheck.basis.lines import Line
from seamcheck.measure.edge_task import EdgeFit
from seamcheck.measure.line_fit import fit_line
from seamcheck.measure.model_mean import of_both


def _edge(bearing: float, u_turn: float, bow_in: float = 0.0, u_bow_in: float = 1e-4) -> EdgeFit:
    line = Line(np.array([1.0, 2.0]), bearing, np.diag([1e-6, u_turn**2]), 0.001, 0.02, 0.5)
    return EdgeFit(line, 5.0, np.zeros(3), np.ones(3), 0.1, 0.0, bow_in, u_bow_in)


def test_two_that_agree_are_no_surer_than_one_for_they_saw_the_same() -> None:
    edge = of_both(_edge(0.3, 1e-3), _edge(0.3, 1e-3))
    assert edge.line.bearing == pytest.approx(0.3)
    assert edge.line.cov[1, 1] == pytest.approx(1e-6)


def test_where_they_disagree_that_counts() -> None:
    """Equal weights: the mean lies halfway, and half the difference is a standard uncertainty of its own."""
    edge = of_both(_edge(0.30, 1e-3), _edge(0.31, 1e-3))
    assert edge.line.bearing == pytest.approx(0.305)
    assert edge.line.cov[1, 1] == pytest.approx(1e-6 + 0.005**2)
    assert edge.line.point_in == pytest.approx([1.0, 2.0])


def test_against_drawn_mixtures() -> None:
    """Mean and variance are those of drawing from either, as often as their weights say."""
    one, other, u = 0.0, 0.02, np.array([3e-3, 1e-3])
    edge = of_both(_edge(one, u[0]), _edge(other, u[1]))
    rng = np.random.default_rng(5)
    second = rng.random(400_000) < u[0] ** 2 / np.sum(u**2)
    drawn = np.where(second, other, one) + rng.normal(size=400_000) * np.where(second, u[1], u[0])
    assert edge.line.bearing == pytest.approx(drawn.mean(), abs=3e-5)
    assert edge.line.cov[1, 1] == pytest.approx(drawn.var(), rel=0.02)


def test_alone_it_stays_as_it_is() -> None:
    edge = _edge(0.2, 1e-3, 0.004)
    assert of_both(edge, None) is edge
    assert of_both(edge, replace(edge, bow_in=0.006)).bow_in == pytest.approx(0.005)


def test_the_bow_of_a_parabola_and_how_far_it_scatters() -> None:
    """Blocks on a parabola whose middle stands .004 over its ends, slanted; and of straight ones with noise."""
    along = np.linspace(0, 2, 40)
    straight = 0.01 + 0.02 * along
    bowed = straight + 0.004 * (1 - (along - 1) ** 2)
    spread = np.full(40, 2e-4)
    fit = fit_line(along, bowed, np.full(40, 2e-3), 0.1)
    assert fit is not None
    assert fit.bow == pytest.approx(0.004, rel=1e-3)
    rng = np.random.default_rng(1)
    fits = [fit_line(along, straight + rng.normal(0, spread), spread, 0.1) for _ in range(300)]
    bows = np.array([noisy.bow for noisy in fits if noisy is not None])
    known = np.array([noisy.u_bow for noisy in fits if noisy is not None])
    assert np.mean(np.abs(bows) < 1.96 * known) > 0.92
    assert np.std(bows) < known.mean() < 1.5 * np.std(bows)  # what neighbours repeat is never counted below nothing
