"""Colour against published numbers."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from seamcheck.edges import srgb_decode
from seamcheck.woods.colour import DEFICIENCIES, contrast, lab_of, luminance, seen_by

# Sharma, Wu and Dalal, Color Res. Appl. 30(1), 2005, Table 1: L1 a1 b1, L2 a2 b2, CIEDE2000.
SHARMA = [
    (50, 2.6772, -79.7751, 50, 0, -82.7485, 2.0425),
    (50, 2.8361, -74.0200, 50, 0, -82.7485, 3.4412),
    (50, -1.3802, -84.2814, 50, 0, -82.7485, 1.0000),
    (50, 2.4900, -0.0010, 50, -2.4900, 0.0010, 7.1792),
    (50, 2.4900, -0.0010, 50, -2.4900, 0.0011, 7.2195),
    (50, 0, 0, 50, -1, 2, 2.3669),
    (50, 2.5, 0, 50, 0, -2.5, 4.3065),
    (50, 2.5, 0, 73, 25, -18, 27.1492),
    (60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644),
    (22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373),
    (90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441),
    (2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082),
]


@pytest.mark.parametrize("row", SHARMA)
def test_ciede2000(row: tuple[float, ...]) -> None:
    """The formula that differences are computed by, to the digits printed, either way round."""
    from skimage.color import deltaE_ciede2000

    for one, other in ((row[:3], row[3:6]), (row[3:6], row[:3])):
        assert float(deltaE_ciede2000(np.array(one), np.array(other))) == pytest.approx(row[6], abs=6e-5)


def test_ciede2000_on_its_knife_edge() -> None:
    """Pair 14 of the same table turns on a rounding: both answers are right."""
    from skimage.color import deltaE_ciede2000

    found = float(deltaE_ciede2000(np.array([50, -0.001, 2.49]), np.array([50, 0.0010, -2.49])))
    assert min(abs(found - 4.8045), abs(found - 4.7461)) < 6e-5


@pytest.mark.parametrize(
    ("code", "lab"),
    [
        ((255, 0, 0), (53.2329, 80.1053, 67.2228)),
        ((0, 255, 0), (87.7370, -86.1884, 83.1861)),
        ((0, 0, 255), (32.3026, 79.1936, -107.8537)),
        ((0x77, 0x77, 0x77), (50.0344, 0, 0)),
        ((0x80, 0x80, 0x80), (53.5850, 0, 0)),
        ((0x5C, 0x40, 0x33), (29.8649, 10.3247, 12.7933)),
        ((0xE8, 0xD3, 0xA8), (85.2871, 0.8371, 23.9839)),
    ],
)
def test_lab(code: tuple[int, int, int], lab: tuple[float, float, float]) -> None:
    """CIE Lab of sRGB codes (IEC 61966-2-1), white the matrix's own, worked by hand from the two standards' formulas."""
    assert_allclose(lab_of(srgb_decode(np.array(code) / 255)), lab, atol=1e-3)


@pytest.mark.parametrize(
    ("code", "ratio"), [("ffffff", 21.0), ("777777", 4.4781), ("767676", 4.5422), ("ff0000", 3.9985), ("949494", 3.0335)]
)
def test_contrast_on_white_and_black(code: str, ratio: float) -> None:
    """WCAG 2.2's contrast ratio, worked from its formula: on white, white itself on black."""
    colour = srgb_decode(np.array([int(code[k : k + 2], 16) for k in (0, 2, 4)]) / 255)
    other = np.zeros(3) if code == "ffffff" else np.ones(3)
    assert contrast(colour, other) == pytest.approx(ratio, abs=5e-4)
    assert contrast(other, colour) == contrast(colour, other)


def test_colour_blind_eyes_see_grey_as_it_is() -> None:
    """Rows of Machado and others' matrices (2009) sum to one."""
    for name, matrix in DEFICIENCIES.items():
        assert_allclose(matrix.sum(axis=1), 1, atol=2e-6)
        assert_allclose(seen_by(np.full(3, 0.4), name), 0.4, atol=1e-6)
    # Full red-blindness dims red, green-blindness hardly: protan luminance of pure red is far below the deutan one.
    red = np.array([1.0, 0.0, 0.0])
    assert luminance(seen_by(red, "protan")) < 0.6 * luminance(seen_by(red, "deutan"))
