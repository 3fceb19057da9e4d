"""Whether a seam fits the others: bearings made here."""

import numpy as np
import pytest

from seamcheck.basis.lines import Line
from seamcheck.basis.reasons import Reason
from seamcheck.measure.seam_pattern import without_odd
from seamcheck.measure.seams import SeamFit

# Leaves that are equal to about a fifth of a degree.
UNEQUAL_DEG = (0.2, -0.25, 0.1, 0.0, -0.15, 0.3, -0.1, 0.05)


def seam(bearing_deg: float, cue: str = "grain", u_deg: float = 0.05) -> SeamFit:
    cov = np.diag([1e-6, np.radians(u_deg) ** 2])
    return SeamFit(Line(np.zeros(2), np.radians(bearing_deg), cov, 0.001, 0.0, 1.0), cue, None)


def round_top(leaves: int, turned_deg: float = 171.3) -> list[SeamFit | Reason | None]:
    return [seam(turned_deg + k * 360 / leaves + UNEQUAL_DEG[k % 8]) for k in range(leaves)]


@pytest.mark.parametrize("leaves", [4, 6, 8, 12, 16])
def test_leaves_that_are_nearly_equal_all_stay(leaves):
    seams = round_top(leaves)
    assert without_odd(seams) == seams


@pytest.mark.parametrize("leaves", [4, 8, 16])
def test_a_seam_by_grain_a_degree_off_is_ambiguous_and_a_line_is_not(leaves):
    for cue, gone in (("grain", True), ("line", False), ("step", False)):
        seams = round_top(leaves)
        seams[2] = seam(171.3 + 2 * 360 / leaves + 1.2, cue)
        left = without_odd(seams)
        assert (left[2] is Reason.SEAM_AMBIGUOUS) is gone
        assert [one for k, one in enumerate(left) if k != 2] == [one for k, one in enumerate(seams) if k != 2]


def test_a_seam_that_is_vague_or_one_of_few_stays():
    seams = round_top(8)
    seams[2] = seam(171.3 + 90 + 1.2, u_deg=0.6)
    assert without_odd(seams) == seams
    few: list[SeamFit | Reason | None] = [seam(0.0), seam(91.2), seam(180.0), None, Reason.SEAM_COVERED]
    assert without_odd(few) == few


def test_leaves_that_are_all_unequal_stay():
    seams: list[SeamFit | Reason | None] = [seam(k * 45 + off) for k, off in enumerate((0.0, 1.0, -0.8, 1.5, -1.2, 0.6, -1.0, 1.1))]
    assert without_odd(seams) == seams
