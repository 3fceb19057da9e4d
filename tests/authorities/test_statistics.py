"""Line fits, propagation and coverage against published worked examples."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from seamcheck.basis.lines import Line
from seamcheck.basis.uncertain import COVERAGE_95, Estimate
from seamcheck.measure.line_fit import LineFit, fit_line
from seamcheck.plane.adjust import Adjustment

# JCGM 100:2008, H.3: calibration of a thermometer; readings t (deg C) and corrections b (deg C), reference 20 deg C.
READINGS = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
CORRECTIONS = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
# Our fit counts what neighbouring readings repeat; the worked example takes them as independent, so they're given in an order
# in which neighbours don't.
MIXED = np.array([0, 6, 2, 8, 4, 10, 1, 7, 3, 9, 5])


def plain_fit(x: np.ndarray, y: np.ndarray) -> tuple[LineFit, float, np.ndarray]:
    """Our fit as plain least squares with no prior, the residuals' standard deviation, and the covariance scaled by it.

    A spread far above the residuals makes every biweight weight one, to the digits that are compared.
    """
    wide = 1e6
    fit = fit_line(x, y, np.full(len(x), wide), u_slope=1e6 * wide)
    assert fit is not None
    scatter = float(np.sqrt(np.sum((y - fit.place(x)) ** 2) / (len(x) - 2)))
    return fit, scatter, fit.cov * (scatter / wide) ** 2


def thermometer() -> tuple[LineFit, np.ndarray]:
    fit, scatter, cov = plain_fit(READINGS[MIXED], CORRECTIONS[MIXED])
    assert scatter == pytest.approx(0.0035, abs=5e-5)
    return fit, cov


def test_line_of_gum_h3() -> None:
    """y1 = b(20) = -.1712 (29), y2 = .00218 (67), their correlation -.930."""
    fit, cov = thermometer()
    assert float(fit.place(20.0)) == pytest.approx(-0.1712, abs=5e-5)
    assert fit.slope == pytest.approx(0.00218, abs=5e-6)
    lever = 20 - fit.mean_along
    u_at_20, u_slope = np.sqrt(cov[0, 0] + lever**2 * cov[1, 1]), np.sqrt(cov[1, 1])
    assert u_at_20 == pytest.approx(0.0029, abs=5e-5)
    assert u_slope == pytest.approx(0.00067, abs=5e-6)
    assert lever * cov[1, 1] / (u_at_20 * u_slope) == pytest.approx(-0.930, abs=5e-4)


def test_extrapolation_of_gum_h3_needs_the_lever() -> None:
    """b(30) = -.1494 (41): place and slope belong together, as a seam's do that is carried inward to its tip."""
    fit, cov = thermometer()
    line = Line(np.array([0.0, fit.mean_along]), 0.0, cov, 0.0, 0.0, 2.5)  # runs along y; the right is +x
    at_30 = np.array([0.0, 30.0])
    assert float(fit.place(30.0)) == pytest.approx(-0.1494, abs=5e-5)
    assert line.u_sampling_at(at_30) == pytest.approx(0.0041, abs=5e-5)
    assert replace(line, cov=np.diag([cov[0, 0], 0.0])).u_sampling_at(at_30) < 0.0015


def test_norris() -> None:
    """NIST StRD, linear regression, Norris (www.itl.nist.gov/div898/strd), data as installed with SciPy: certified values."""
    import scipy.stats

    rows = (Path(scipy.stats.__file__).parent / "tests/data/nist_linregress/Norris.dat").read_text().splitlines()[60:96]
    y, x = np.array([[float(word) for word in row.split()] for row in rows]).T
    order = np.argsort(x, kind="stable")  # neighbours in x don't repeat each other
    fit, scatter, cov = plain_fit(x[order], y[order])
    assert fit.slope == pytest.approx(1.00211681802045, rel=1e-10)
    assert float(fit.place(0.0)) == pytest.approx(-0.262323073774029, rel=1e-10)
    assert scatter == pytest.approx(0.884796396144373, rel=1e-10)
    assert np.sqrt(cov[1, 1]) == pytest.approx(0.429796848199937e-3, rel=1e-10)
    assert np.sqrt(cov[0, 0] + fit.mean_along**2 * cov[1, 1]) == pytest.approx(0.232818234301152, rel=1e-10)


def test_a_wild_reading_hardly_moves_the_line() -> None:
    """Against numpy's plain fit of the good readings alone."""
    wild = CORRECTIONS.copy()
    wild[3] += 0.5
    fit = fit_line(READINGS, wild, np.full(11, 0.0035), u_slope=1e3)
    assert fit is not None
    good = np.arange(11) != 3
    slope, at_zero = np.polyfit(READINGS[good], CORRECTIONS[good], 1)
    # The biweight still weighs the good ones by their residuals: well inside the fit's own uncertainty.
    assert fit.slope == pytest.approx(slope, abs=0.5 * np.sqrt(fit.cov[1, 1]))
    assert float(fit.place(24.0)) == pytest.approx(at_zero + 24 * slope, abs=0.5 * np.sqrt(fit.cov[0, 0]))


def test_coverage_of_a_normal_distribution() -> None:
    """JCGM 100:2008, Table G.2, infinite degrees of freedom: 1.960; and it holds 95 in 100."""
    assert pytest.approx(1.960, abs=5e-4) == COVERAGE_95
    from scipy.special import ndtr

    assert ndtr(COVERAGE_95) - ndtr(-COVERAGE_95) == pytest.approx(0.95, abs=1e-7)
    assert Estimate(0.0, {"sampling": 0.3, "model": 0.4}).u95 == pytest.approx(0.5 * 1.960, abs=5e-4)


def test_end_gauge_of_gum_h1() -> None:
    """JCGM 100:2008, H.1: terms 25, 9.7, 2.9 and 16.6 nm combine to 32 nm."""
    assert Estimate(50_000_838, {"standard": 25, "difference": 9.7, "expansion": 2.9, "temperature": 16.6}).u == pytest.approx(32, abs=0.5)


# NIST StRD, nonlinear, Misra1a (itl.nist.gov/div898/strd/nls/data/LINKS/DATA/Misra1a.dat): y = b1 (1 - exp(-b2 x)).
MISRA_Y = np.array([10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78])
MISRA_X = np.array([77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0])
MISRA_SCALE = 0.1  # brings the residuals below the size at which our solver takes a point for an outlier


class Misra1a(Adjustment):
    """The published problem in the place of cards and camera: our steps, damping, weights and covariance, without priors."""

    def __init__(self, start: tuple[float, float]) -> None:
        self.start = np.array(start)
        self.each = 3
        self.cards = []
        self.index = np.zeros(len(MISRA_X), int)
        self.prior, self.u_prior = np.zeros(2), np.full(2, np.inf)

    def _start(self) -> np.ndarray:
        return self.start

    def residuals(self, unknowns: np.ndarray) -> np.ndarray:
        miss = unknowns[0] * (1 - np.exp(-unknowns[1] * MISRA_X)) - MISRA_Y
        return MISRA_SCALE * np.stack([miss, np.zeros_like(miss)], axis=-1)

    def jacobian(self, unknowns: np.ndarray) -> np.ndarray:
        fading = np.exp(-unknowns[1] * MISRA_X)
        slopes = np.zeros((len(MISRA_X), 2, 2))
        slopes[:, 0] = MISRA_SCALE * np.stack([1 - fading, unknowns[0] * MISRA_X * fading], axis=-1)
        return slopes.reshape(-1, 2)

    def normal_matrix(self, jacobian: np.ndarray, weight: np.ndarray) -> np.ndarray:
        return jacobian.T @ (jacobian * weight[:, None])


@pytest.mark.parametrize("start", [(500, 1e-4), (250, 5e-4)])
def test_misra1a(start: tuple[float, float]) -> None:
    """b1 238.94212918 (2.7070075241), b2 5.5015643181e-4 (7.2668688436e-6), residual s.d. .10187876330; from both starts given."""
    problem = Misra1a(start)
    found, _ = problem.solve()
    scatter = float(np.sqrt(np.sum((problem.residuals(found) / MISRA_SCALE) ** 2) / (len(MISRA_X) - 2)))
    jacobian = problem.jacobian(found) / MISRA_SCALE
    u = np.sqrt(np.diag(np.linalg.inv(problem.normal_matrix(jacobian, np.full(len(jacobian), scatter**-2.0)))))
    assert scatter == pytest.approx(0.10187876330, rel=1e-6)
    assert found == pytest.approx([238.94212918, 5.5015643181e-4], rel=1e-5)
    assert u == pytest.approx([2.7070075241, 7.2668688436e-6], rel=1e-4)
