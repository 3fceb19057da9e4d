"""Line fits and extrapolation against published worked examples."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from seamcheck.basis.lines import Line
from seamcheck.basis.uncertain import COVERAGE_95, Estimate
from seamcheck.measure.line_fit import fit_line

# JCGM 100:2008, H.3: calibration of a thermometer; readings t (deg C) and corrections b, reference 20 deg C.
READINGS = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
CORRECTIONS = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])


def thermometer() -> tuple[float, float, np.ndarray, float]:
    """Offset and slope at the readings' mean, their covariance by the residuals' scatter, and that mean, from our line fit."""
    fit = fit_line(READINGS, CORRECTIONS, np.full(11, 0.0035), u_slope=1e3)
    assert fit is not None
    scatter = np.sqrt(np.sum((CORRECTIONS - fit.place(READINGS)) ** 2) / 9)
    centred = READINGS - fit.mean_along
    return fit.offset, fit.slope, scatter**2 * np.diag([1 / 11, 1 / np.sum(centred**2)]), fit.mean_along


def test_slope_of_gum_h3() -> None:
    # The biweight weighs by the residuals; with none far out it stays close to plain least squares, the printed digits.
    _, slope, cov, _ = thermometer()
    assert slope == pytest.approx(0.00218, abs=0.0003)
    assert np.sqrt(cov[1, 1]) == pytest.approx(0.00067, abs=0.00002)


def test_extrapolation_of_gum_h3_needs_the_lever() -> None:
    """b(30) -.1494, u .0041: with the offset taken at the mean, place and slope don't correlate, and the lever does the rest."""
    offset, slope, cov, mean = thermometer()
    line = Line(np.array([0.0, mean]), 0.0, cov, 0.0, 0.0, 2.5)  # runs along y; the right is +x
    at_30 = np.array([0.0, 30.0])
    assert offset + slope * (30 - mean) == pytest.approx(-0.1494, abs=0.0015)
    assert line.u_sampling_at(at_30) == pytest.approx(0.0041, abs=0.0001)
    without_lever = replace(line, cov=np.diag([cov[0, 0], 0.0]))
    assert without_lever.u_sampling_at(at_30) < 0.0015


def test_norris_with_no_prior_and_no_outlier() -> None:
    """NIST StRD Norris (linear): b1 1.00211681802045, b0 -0.262323073774029, as SciPy carries the data."""
    from pathlib import Path

    import scipy.stats

    rows = (Path(scipy.stats.__file__).parent / "tests/data/nist_linregress/Norris.dat").read_text().splitlines()[60:96]
    y, x = np.array([[float(word) for word in row.split()] for row in rows]).T
    # A spread far above the residuals makes every biweight weight one to eight digits: plain least squares.
    fit = fit_line(x, y, np.full(len(x), 1e4), u_slope=1e9)
    assert fit is not None
    assert fit.slope == pytest.approx(1.00211681802045, rel=1e-7)
    assert float(fit.place(0.0)) == pytest.approx(-0.262323073774029, abs=1e-4)


def test_coverage_of_a_normal_distribution() -> None:
    """JCGM 100:2008, Table G.2, infinite degrees of freedom: 1.960."""
    assert pytest.approx(1.960, abs=5e-4) == COVERAGE_95


def test_end_gauge_of_gum_h1() -> None:
    """JCGM 100:2008, H.1: terms 25, 9.7, 2.9 and 16.6 nm combine to 32 nm."""
    assert Estimate(50_000_838, {"standard": 25, "difference": 9.7, "expansion": 2.9, "temperature": 16.6}).u == pytest.approx(32, abs=0.5)
