"""Verdicts against published decision rules and their risks."""

from math import erf, sqrt

import numpy as np
import pytest

from seamcheck.basis.uncertain import COVERAGE_95, Estimate
from seamcheck.judge import judge_joint, judge_tip
from seamcheck.result import Verdict


def measured(value: float, u: float) -> Estimate:
    return Estimate(value, {"all": u})


def phi(z: float) -> float:
    return (1 + erf(z / sqrt(2))) / 2


class TestGuardBandsOfILAC:
    """ILAC-G8:09/2019, 4.2.3: guard band w = U; pass below T - w, fail above T + w, and two conditional answers between."""

    TOLERANCE, U95 = 0.015625, 0.004

    @pytest.mark.parametrize("sign", [1, -1])
    @pytest.mark.parametrize(
        ("offset", "verdict"),
        [
            (0.0115, Verdict.ON),  # below T - w: pass
            (0.0117, Verdict.UNSURE),  # T - w to T: conditional pass
            (0.0155, Verdict.UNSURE),
            (0.0158, Verdict.UNSURE),  # T to T + w: conditional fail
            (0.0196, Verdict.UNSURE),
            (0.0197, Verdict.OFF),  # above T + w: fail
        ],
    )
    def test_the_four_zones(self, offset: float, verdict: Verdict, sign: int) -> None:
        assert judge_tip(measured(sign * offset, self.U95 / COVERAGE_95), self.TOLERANCE) is verdict

    def test_the_false_accept_risk_at_the_edge(self) -> None:
        """The document's table: accepted at T - U, the risk of a true value past T is under 2.5 %."""
        u = 0.003
        edge = self.TOLERANCE - COVERAGE_95 * u
        assert judge_tip(measured(edge - 1e-5, u), self.TOLERANCE) is Verdict.ON
        assert 1 - phi((self.TOLERANCE - edge) / u) == pytest.approx(0.025, abs=0.0001)


class TestEdgesWorkedByHand:
    """T = 1/64 in, u = .003 in, u95 = 1.96 u: on up to .009745, off from .021505 (T -+ 1.96 x .003)."""

    @pytest.mark.parametrize("sign", [1, -1])
    @pytest.mark.parametrize(
        ("offset", "verdict"),
        [(0.009744, Verdict.ON), (0.009746, Verdict.UNSURE), (0.0100, Verdict.UNSURE), (0.021504, Verdict.UNSURE), (0.021506, Verdict.OFF)],
    )
    def test_tips(self, offset: float, verdict: Verdict, sign: int) -> None:
        assert judge_tip(measured(sign * offset, 0.003), 1 / 64) is verdict

    def test_an_offset_may_be_likely_on_and_still_unsure(self) -> None:
        """y = .0100: the chance that the true value is within the tolerance is .9696."""
        y, u, tolerance = 0.0100, 0.003, 1 / 64
        assert phi((tolerance - y) / u) - phi((-tolerance - y) / u) == pytest.approx(0.9696, abs=0.0001)
        assert judge_tip(measured(y, u), tolerance) is Verdict.UNSURE


def test_joints_are_judged_on_one_side_only() -> None:
    """JCGM 106:2012, clause 7: a single upper limit. Here .010 in, with u95 = .003 in."""
    u = 0.003 / COVERAGE_95
    cases = [(-0.050, Verdict.CLOSED), (0.0, Verdict.CLOSED), (0.0069, Verdict.CLOSED), (0.0071, Verdict.UNSURE)]
    cases += [(0.0129, Verdict.UNSURE), (0.0131, Verdict.OPEN)]
    assert [judge_joint(measured(gap, u), 0.010) for gap, _ in cases] == [verdict for _, verdict in cases]


def test_false_verdicts_are_as_rare_as_the_rule_promises() -> None:
    """Simulated after JCGM 106:2012, clause 9: true offsets spread over the tolerance, measured with u = .003 in.

    Whatever the true value, a false `on` and a false `off` each come up at most 2.5 times in 100.
    """
    rng = np.random.default_rng(5)
    tolerance, u, n = 1 / 64, 0.003, 4000
    for true_offset, forbidden in [(tolerance + 1e-6, Verdict.ON), (-tolerance - 1e-6, Verdict.ON), (tolerance, Verdict.OFF)]:
        verdicts = [judge_tip(measured(true_offset + u * noise, u), tolerance) for noise in rng.standard_normal(n)]
        share = sum(verdict is forbidden for verdict in verdicts) / n
        assert share == pytest.approx(0.025, abs=3 * sqrt(0.025 * 0.975 / n))
