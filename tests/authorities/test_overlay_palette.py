"""The picture's colours against published models of colour vision and contrast.

Sources:
- Machado, Oliveira, Fernandes, "A physiologically-based model for simulation of color vision deficiency", IEEE
  Trans. Vis. Comput. Graph. 15(6), 2009: the matrices of severity 1.0, applied to linear RGB.
- Web Content Accessibility Guidelines 2.2: relative luminance and contrast ratio (definitions), 3:1 for graphical
  objects (success criterion 1.4.11), 4.5:1 and 7:1 for text (1.4.3, 1.4.6).
- Sharma, Wu, Dalal, Color Res. Appl. 30(1), 2005, Table 1: pairs for CIEDE2000.
- That more than about 5 units are two colours for anyone: Mahy and others, Color Res. Appl. 19(2), 1994, as quoted
  in the documentation of the colour-science library.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from seamcheck.report.overlay_canvas import Canvas
from seamcheck.report.overlay_palette import FAINT_INK, INK, LINE_COLOURS, MARK_COLOURS, MARK_SHAPES, NO_VERDICT, PAPER, colour_of_hex

SIGHT = {
    "normal": [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}
TWO_COLOURS = 5.0
# What is read by its colour at a glance gets three times what two colours need.
AT_A_GLANCE = 15.0
# Loose lobes have no verdicts and no joints, so their mark never stands beside these.
JUDGED = {kind: colour for kind, colour in MARK_COLOURS.items() if kind != NO_VERDICT}


def linear(colour):
    v = np.array(colour) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def contrast(a, b):
    la, lb = (float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (a, b))
    return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)


def difference(a, b, sight):
    from skimage.color import deltaE_ciede2000, rgb2lab

    seen = np.clip(np.stack([linear(a), linear(b)]) @ np.array(SIGHT[sight]).T, 0, 1)
    coded = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)
    lab = rgb2lab(coded[None])[0]
    return float(deltaE_ciede2000(lab[0], lab[1]))


def test_a_grey_stays_grey_to_every_eye():
    # Rows of the published matrices sum to 1 within the digits printed.
    for matrix in SIGHT.values():
        np.testing.assert_allclose(np.sum(matrix, axis=1), 1, atol=2e-6)


@pytest.mark.parametrize(
    ("colour", "ground", "ratio"),
    [("#000000", "#ffffff", 21.0), ("#777777", "#ffffff", 4.4781), ("#767676", "#ffffff", 4.5422), ("#ff0000", "#ffffff", 3.9985)],
)
def test_contrast_is_that_of_the_guidelines(colour, ground, ratio):
    assert contrast(colour_of_hex(colour), colour_of_hex(ground)) == pytest.approx(ratio, abs=5e-5)


@pytest.mark.parametrize(
    ("a", "b", "printed"),
    [
        ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
        ((50, 2.5, 0), (73, 25, -18), 27.1492),
        ((22.7233, 20.0904, -46.6940), (23.0331, 14.9730, -42.5619), 2.0373),
        ((50, 2.4900, -0.0010), (50, -2.4900, 0.0011), 7.2195),
    ],
)
def test_colour_difference_is_that_of_the_published_pairs(a, b, printed):
    from skimage.color import deltaE_ciede2000

    assert float(deltaE_ciede2000(a, b)) == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize("sight", SIGHT)
def test_marks_can_be_told_apart_by_colour_alone(sight):
    for (one, a), (other, b) in combinations(JUDGED.items(), 2):
        assert difference(a, b, sight) > AT_A_GLANCE, (one, other)


@pytest.mark.parametrize("sight", SIGHT)
def test_lines_can_be_told_apart_and_from_marks(sight):
    assert difference(LINE_COLOURS["outline"], LINE_COLOURS["seam"], sight) > AT_A_GLANCE
    for kind, mark in MARK_COLOURS.items():
        for name, line in LINE_COLOURS.items():
            assert difference(mark, line, sight) > TWO_COLOURS, (kind, name)


@pytest.mark.parametrize("kind", MARK_COLOURS)
def test_a_mark_stands_out_from_its_ink_edge(kind):
    assert contrast(MARK_COLOURS[kind], INK) > 3


@pytest.mark.parametrize("name", LINE_COLOURS)
def test_a_line_and_its_casing_differ_enough_that_one_shows_on_any_wood(name):
    # On a ground of any lightness one of the two keeps sqrt(ratio) : 1 at least; 9:1 gives both sides 3:1.
    assert contrast(LINE_COLOURS[name], INK) > 9


def test_text_can_be_read():
    assert contrast(INK, PAPER) > 7
    assert contrast(FAINT_INK, PAPER) > 7


def silhouette(kind):
    canvas = Canvas.blank(81, 81)
    shape = MARK_SHAPES[kind]
    angles = np.linspace(0, 2 * np.pi, 73)[:-1]
    corners = np.stack([np.sin(angles), np.cos(angles)], axis=-1) if shape is None else np.array(shape)
    canvas.polygon(40 + 30 * corners, INK)
    return canvas.pixels[:, :, 0] < 128


def test_marks_can_be_told_apart_by_shape_alone():
    # The unmeasured square is told from the disc by the stroke through it as well.
    for one, other in combinations(MARK_SHAPES, 2):
        a, b = silhouette(one), silhouette(other)
        assert np.count_nonzero(a & b) / np.count_nonzero(a | b) < 0.85, (one, other)
