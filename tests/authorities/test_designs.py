"""Designs of common practice (no source), and values worked out by hand from them."""

from __future__ import annotations

from math import degrees, radians, sqrt

import numpy as np
import pytest

from seamcheck.basis.units import fraction_words
from seamcheck.design.cut_list import cut_list
from seamcheck.design.draw_up import draw_up
from seamcheck.design.recess import area_of, recess
from seamcheck.design.rose import Rose
from seamcheck.design.wish import Wish


@pytest.fixture(scope="module")
def rose() -> Rose:
    """Root 90 degrees, short edge 13/16 in, length 3 in; the second ring in the notches."""
    return draw_up(Wish(points=8, reaches_in=(3.0, 2.5), short_edges_in=(13 / 16, 5 / 8), strip_in=5 / 8))


def test_the_first_ring(rose: Rose) -> None:
    first = rose.rings[0]
    assert (first.count, degrees(first.shape.root_angle)) == (4, 90)
    assert first.shape.long_edge_in == pytest.approx(2.4926, abs=5e-5)
    assert fraction_words(first.shape.long_edge_in) == "2 1/2"


def test_its_notch_for_the_second_ring(rose: Rose) -> None:
    """2 (alpha + beta): half the root angle and half the tip angle, twice."""
    alpha, beta = 45.0, degrees(np.arctan2(0.8125 / sqrt(2), 3 - 0.8125 / sqrt(2)))
    assert degrees(rose.rings[0].notch_angle) == pytest.approx(116.65, abs=5e-3)
    assert degrees(rose.rings[1].shape.root_angle) == pytest.approx(2 * (alpha + beta), abs=1e-9)
    assert rose.rings[1].root_in == 13 / 16


def test_strips_five_eighths_wide_suffice_with_an_eighth_at_each_end(rose: Rose) -> None:
    first, second = cut_list(rose, strip_in=5 / 8, spare_lobes=0).blanks
    assert (first.strip_width_in, first.length_in, first.count) == (5 / 8, 3.25, 4)
    assert second.strip_width_in <= 5 / 8
    assert second.length_in == pytest.approx(2.5 - 13 / 16 + 1 / 4)


def test_a_notch_that_is_asked_for_gives_the_short_edge() -> None:
    rose = draw_up(Wish(points=8, reaches_in=(3.0,), root_angles=(radians(90), radians(116.6521706923))))
    assert rose.rings[0].shape.short_edge_in == pytest.approx(13 / 16, abs=1e-9)


def test_recess_of_a_square_by_hand() -> None:
    """A star of four points whose notches lie straight between them is a square: tips of 90 degrees, sides 4 in.

    Pen line 1/16 in inside: a square of 3 7/8 in. A bit of 1/8 in leaves r^2 (1 - pi / 4) in each corner, and from the tip along the
    diagonal (1/16 + 1/16) sqrt 2 - 1/16 in.
    """
    half = 2.0
    corners = np.array([[-half, half], [0, half], [half, half], [half, 0], [half, -half], [0, -half], [-half, -half], [-half, 0]])
    found = recess(corners, 1 / 42, 1 / 8, 1 / 16)
    assert found.depth_in == pytest.approx(0.0238, abs=5e-5)
    assert area_of(found.pen_in) == pytest.approx(3.875**2)
    assert found.routed_in2 == pytest.approx(3.875**2 - 4 * (1 - np.pi / 4) / 16**2)
    for point in found.points:
        assert point.left_in == pytest.approx(sqrt(2) / 8 - 1 / 16)
        assert point.pen_in == pytest.approx(sqrt(2) / 16)


def test_recess_of_the_first_ring(rose: Rose) -> None:
    """Pen line 1/16 in inside the knife line, bit 1/8 in, depth 1/42 in: in a point of 26.65 degrees (1/16 + 1/16) / sin - 1/16 is left."""
    found = recess(rose.outline_in())
    half = radians(26.6522) / 2
    assert found.points[0].left_in == pytest.approx(1 / 8 / np.sin(half) - 1 / 16, abs=1e-5)
    assert found.points[0].pen_in * np.sin(half) == pytest.approx(1 / 16, abs=1e-6)
    # Where the bit's edge touches the pen line, seen from its point: r / tan.
    assert np.hypot(*(found.points[0].bit_middle_in - found.pen_in[0])) == pytest.approx(1 / 16 / np.sin(half), abs=1e-4)
