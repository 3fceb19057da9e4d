"""The shape of a loose lobe from several photos."""

from __future__ import annotations

import pytest

from seamcheck.basis.uncertain import Estimate
from seamcheck.combine.numbers import combined
from seamcheck.combine.shapes import shapes_together
from seamcheck.result import LobeShape

SHARE = {"length": 1.0, "root_angle": 1.0, "own_seam_offset": 1.0}


def number(value: float, u: float = 0.003) -> Estimate:
    return Estimate(value, {"edges": u, "edges model": 0.001})


def test_each_number_is_the_mean_of_the_photos_that_have_it() -> None:
    one = LobeShape({"left_short": number(0.810)}, {}, {"left_root": number(0.78), "right_root": number(0.79)}, None)
    other = LobeShape({"left_short": number(0.816)}, {"left_long": number(0.001)}, {"left_root": number(0.79)}, number(0.004))
    both = shapes_together([one, None, other], SHARE)
    assert both is not None
    assert both.lengths["left_short"].value == pytest.approx(0.813)
    assert both.lengths["left_short"].u < one.lengths["left_short"].u
    assert both.lengths["left_short"] == combined([one.lengths["left_short"], other.lengths["left_short"]], 1.0)
    assert both.bows["left_long"].value == 0.001
    assert both.angles["left_root"].value == pytest.approx(0.785)
    assert both.angles["right_root"].value == pytest.approx(0.79)
    assert both.own_root_offset is not None
    assert both.own_root_offset.value == pytest.approx(0.004)


def test_of_photos_without_a_shape_there_is_none() -> None:
    assert shapes_together([None, None], SHARE) is None
    assert shapes_together([], SHARE) is None
