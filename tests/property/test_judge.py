"""A reader of the result file who applies the rule comes to the same verdict, wherever the rounding falls."""

import json

from hypothesis import given
from hypothesis import strategies as st

from seamcheck.judge import judge_joint, judge_tip
from seamcheck.report.json_file import result_bytes
from seamcheck.result import Verdict
from tests import made_up

offsets = st.floats(-0.05, 0.05)
spreads = st.floats(1e-5, 0.03)
tolerances = st.sampled_from([1 / 64, 1 / 128, 0.010, 0.4 / 25.4])


def written(offset: float, u95: float, tolerance: float) -> dict:
    from dataclasses import replace

    number = made_up.estimate(offset, u95)
    tip = made_up.tip(1, 0, number, judge_tip(number, tolerance))
    joint = made_up.joint(1, 2, 45, number, judge_joint(number, tolerance))
    inspection = replace(made_up.DRY_FIT, tips=(tip,), joints=(joint,), odd_lobes=(), tolerance_in=tolerance, gap_tolerance_in=tolerance)
    return json.loads(result_bytes(inspection))


@given(offsets, spreads, tolerances)
def test_the_verdict_follows_from_the_written_numbers(offset: float, u95: float, tolerance: float) -> None:
    document = written(offset, u95, tolerance)
    tip, joint = document["tips"][0], document["joints"][0]
    limit = document["tolerance_in"]
    low, high = abs(tip["seam_offset_in"]) - tip["seam_offset_u95_in"], abs(tip["seam_offset_in"]) + tip["seam_offset_u95_in"]
    assert tip["verdict"] == ("on" if high <= limit else "off" if low > limit else "unsure")
    low, high = joint["max_in"] - joint["u95_in"], joint["max_in"] + joint["u95_in"]
    assert joint["verdict"] == ("closed" if high <= limit else "open" if low > limit else "unsure")


@given(offsets, spreads, tolerances)
def test_either_hand_is_judged_alike(offset: float, u95: float, tolerance: float) -> None:
    there, back = made_up.estimate(offset, u95), made_up.estimate(-offset, u95)
    assert judge_tip(there, tolerance) is judge_tip(back, tolerance)


@given(offsets, spreads, tolerances, st.floats(1.0, 5.0))
def test_less_knowledge_never_decides_what_more_left_open(offset: float, u95: float, tolerance: float, wider: float) -> None:
    if judge_tip(made_up.estimate(offset, u95), tolerance) is Verdict.UNSURE:
        assert judge_tip(made_up.estimate(offset, wider * u95), tolerance) is Verdict.UNSURE
