"""The numbers that are judged are the numbers that are reported."""

import math

import pytest

from seamcheck.basis.uncertain import Estimate
from seamcheck.judge import judge_joint, judge_tip, reported
from seamcheck.result import Verdict
from tests.made_up import estimate


def test_no_number_is_unmeasured() -> None:
    assert judge_tip(None, 1 / 64) is Verdict.UNMEASURED
    assert judge_joint(None, 0.010) is Verdict.UNMEASURED


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_no_finite_number_is_unmeasured(bad: float) -> None:
    assert judge_tip(Estimate(bad, {"all": 0.001}), 1 / 64) is Verdict.UNMEASURED
    assert judge_tip(Estimate(0.0, {"all": abs(bad)}), 1 / 64) is Verdict.UNMEASURED
    assert judge_joint(Estimate(bad, {"all": 0.001}), 0.010) is Verdict.UNMEASURED


def test_a_reported_u95_is_never_smaller_than_the_real_one() -> None:
    value, u95 = reported(estimate(0.01234567, 0.00123412)) or (0.0, 0.0)
    assert value == 0.012346
    assert u95 == 0.001235


def test_a_whole_number_of_steps_stays_as_it_is() -> None:
    assert reported(estimate(-0.0466, 0.004)) == (-0.0466, 0.004)


def test_zero_bears_no_minus() -> None:
    value, _ = reported(estimate(-1e-9, 0.001)) or (1.0, 0.0)
    assert math.copysign(1, value) == 1
