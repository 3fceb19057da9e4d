"""A lobe's geometry: values derived by hand (trigonometry), and check values of common practice (no source)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seamcheck.kite import KiteShape


def test_first_ring_lobe_of_common_practice() -> None:
    """A 90 degree root, short edge 13/16 in, length 3 in: shoulders .5745 in along and across, long edges 2.4926 in."""
    shape = KiteShape(np.radians(90), 13 / 16, 3.0)
    assert shape.shoulder_in == pytest.approx((0.5745, 0.5745), abs=5e-5)
    assert shape.long_edge_in == pytest.approx(2.4926, abs=5e-5)


@pytest.mark.parametrize(
    ("root_deg", "shoulder", "long_edge", "area"),
    [
        (90, (0.530330, 0.530330), 2.282145, 1.458408),
        (45, (0.692910, 0.287013), 2.077016, 0.789285),
        (60, (0.649519, 0.375000), 2.133693, 1.031250),
    ],
)
def test_short_edge_three_quarters_length_two_and_three_quarters(
    root_deg: float, shoulder: tuple[float, float], long_edge: float, area: float
) -> None:
    shape = KiteShape(np.radians(root_deg), 0.75, 2.75)
    assert shape.shoulder_in == pytest.approx(shoulder, abs=5e-7)
    assert shape.long_edge_in == pytest.approx(long_edge, abs=5e-7)
    assert shape.area_in2 == pytest.approx(area, abs=5e-7)


def test_angles_of_the_right_angled_lobe() -> None:
    shape = KiteShape(np.radians(90), 0.75, 2.75)
    assert np.degrees(shape.tip_angle) == pytest.approx(26.8747, abs=5e-5)
    assert np.degrees(shape.shoulder_angle) == pytest.approx(121.5626, abs=1e-4)


def test_notches_of_four_right_angled_lobes() -> None:
    """Four of them close a turn and leave notches of 116.8747 deg between one's long edge and the next one's.

    Measured on the lobes' corners as they lie, not from the angles.
    """
    shape = KiteShape(np.radians(90), 0.75, 2.75)
    along, across = shape.shoulder_in
    first_tip, second_tip = np.array([shape.length_in, 0.0]), np.array([0.0, shape.length_in])
    shared = np.array([along, across])  # the first lobe's left shoulder, and the second's right one
    assert shared == pytest.approx([across, along])  # so the two short edges lie on each other
    legs = [(tip - shared) / np.linalg.norm(tip - shared) for tip in (first_tip, second_tip)]
    assert np.degrees(np.arccos(legs[0] @ legs[1])) == pytest.approx(116.8747, abs=1e-4)


@given(st.floats(20, 140), st.floats(0.3, 2.0), st.floats(1.1, 4.0))
def test_angles_make_a_full_turn(root_deg: float, short: float, times: float) -> None:
    shape = KiteShape(np.radians(root_deg), short, short * times + short)
    assert np.degrees(shape.root_angle + shape.tip_angle + 2 * shape.shoulder_angle) == pytest.approx(360)
