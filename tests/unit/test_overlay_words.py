"""Words on the picture: places, sizes and order."""

from __future__ import annotations

from dataclasses import replace
from math import pi, radians

import numpy as np
import pytest

from seamcheck.basis.reasons import Reason
from seamcheck.basis.uncertain import Estimate
from seamcheck.report.overlay_canvas import text_width, wrapped
from seamcheck.report.overlay_words import caption, fraction_of, letter_of, offset_words, thousandths, u95_text
from seamcheck.report.words import clock_of
from seamcheck.result import Tip, Verdict

TIP = Tip(
    lobe=3,
    ring=1,
    bearing=0.0,
    tip_px=np.zeros(2),
    outline_px=np.zeros((4, 2)),
    own_seam_px=None,
    reach=None,
    seam_offset=Estimate(0.047, {"sampling": 0.0018}),
    seam_px=None,
    seam_cue=None,
    verdict=Verdict.OFF,
    reason=None,
    own_seam_offset=None,
    length=None,
    root_angle=None,
    dark_side=None,
)


def plain(text):
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("degrees", "place"),
    [(0, "12 o'clock"), (-1, "12 o'clock"), (359.9, "12 o'clock"), (45, "1:30"), (90, "3 o'clock"), (180, "6 o'clock"), (352.5, "11:45")],
)
def test_clock_place(degrees, place):
    assert clock_of(radians(degrees)) == place


@pytest.mark.parametrize(
    ("inches", "words"), [(3 / 64, "3/64"), (-0.031, "1/32"), (0.007, "under 1/128"), (0.0, "under 1/128"), (1.5, "1 1/2"), (0.999, "1")]
)
def test_fraction(inches, words):
    assert fraction_of(inches) == words


def test_thousandths_carry_no_sign_and_no_leading_nought():
    assert thousandths(-0.0474) == ".047"
    assert thousandths(1.2) == "1.200"


def test_an_uncertainty_is_rounded_up_and_never_printed_as_nothing():
    assert u95_text(0.0002) == ".001"
    assert u95_text(0.0041) == ".005"
    assert u95_text(0.004) == ".004"


@pytest.mark.parametrize(("value", "side"), [(0.047, "cw"), (-0.047, "ccw")])
def test_offset_names_its_side(value, side):
    assert plain(offset_words(Estimate(value, {"sampling": 0.0018}))) == f"3/64 {side}  .047 ± .004"


def test_an_offset_too_small_for_the_rule_is_given_no_side():
    assert plain(offset_words(Estimate(-0.003, {"sampling": 0.0018}))) == "under 1/128  .003 ± .004"


def test_caption_of_a_measured_tip():
    head, lines = caption(TIP, odd=False)
    assert head == "3  OFF"
    assert [plain(line) for line in lines] == ["3/64 cw  .047 ± .004", "ring 1, 12 o'clock"]


def test_caption_of_an_unmeasured_tip_says_why_and_gives_no_number():
    tip = replace(TIP, verdict=Verdict.UNMEASURED, reason=Reason.SEAM_FAINT)
    head, lines = caption(tip, odd=False)
    assert head == "3  UNMEASURED"
    assert lines == ["ring 1, 12 o'clock", Reason.SEAM_FAINT.sentence]


def test_caption_of_a_reversed_lobe_says_so():
    assert "laid the wrong way round" in caption(TIP, odd=True)[1]


def test_caption_of_a_loose_lobe_gives_its_own_seam():
    own = Estimate(-0.012, {"sampling": 0.001})
    tip = replace(
        TIP, ring=None, verdict=None, seam_offset=None, own_seam_offset=own, root_angle=Estimate(pi / 2, {"s": 0.002}), dark_side="ccw"
    )
    head, lines = caption(tip, odd=False)
    assert head == "3"
    assert [plain(line) for line in lines] == ["1/64 ccw  .012 ± .002", "root 90.0° ± .3", "dark half on the left"]


def test_joint_letters_go_on_after_z():
    assert [letter_of(index) for index in (0, 25, 26, 51, 52)] == ["a", "z", "aa", "az", "ba"]


def test_wrapping_keeps_every_letter_and_every_line_fits():
    text = "the lobe's edge can't be told from its shadow " + "x" * 90
    lines = wrapped(text, 40, 500)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert max(text_width(line, 40) for line in lines) <= 500


def test_wrapping_makes_line_ends_and_broken_letters_drawable():
    assert wrapped("a\nb\udcff", 40, 500) == ["a?b?"]
