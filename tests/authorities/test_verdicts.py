"""Verdicts against published decision rules and their risks."""

from math import erf, sqrt
from statistics import NormalDist

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


class TestConformanceProbabilities:
    """JCGM 106:2012, clause 7: the probability that what was measured conforms, from the normal distribution about the result.

    Our rule says `closed` (one limit) exactly where that probability is 97.5 % or more.
    """

    def test_one_upper_limit_zener_diode(self) -> None:
        """y = -5.47 V, u = .05 V, upper limit -5.40 V: p_c = .919, so not accepted."""
        assert phi((-5.40 + 5.47) / 0.05) == pytest.approx(0.919, abs=0.0005)
        assert judge_joint(measured(-5.47, 0.05), -5.40) is Verdict.UNSURE

    def test_one_lower_limit_container(self) -> None:
        """y = 507 kPa, u = 8.6 kPa, lower limit 490 kPa: p_c = .976, so accepted, by a hair."""
        assert phi((507 - 490) / 8.6) == pytest.approx(0.976, abs=0.0005)
        assert judge_joint(measured(-507, 8.6), -490) is Verdict.CLOSED
        assert judge_joint(measured(-506.8, 8.6), -490) is Verdict.UNSURE

    def test_two_limits_motor_oil(self) -> None:
        """y = 13.6, u = 1.8, limits 12.5 and 16.3: p_c = .663, so neither accepted nor rejected."""
        assert phi((16.3 - 13.6) / 1.8) - phi((12.5 - 13.6) / 1.8) == pytest.approx(0.663, abs=0.0005)
        assert judge_tip(measured(13.6 - 14.4, 1.8), 1.9) is Verdict.UNSURE

    @pytest.mark.parametrize("probability", [0.90, 0.95, 0.974, 0.976, 0.99])
    def test_closed_where_the_probability_is_enough(self, probability: float) -> None:
        z = NormalDist().inv_cdf(probability)
        verdict = judge_joint(measured(10.0 - z * 3.0, 3.0), 10.0)
        assert verdict is (Verdict.CLOSED if probability > 0.975 else Verdict.UNSURE)


@pytest.mark.parametrize(("guard", "consumer", "producer"), [(0.0, 0.0189, 0.0372), (0.02, 0.0099, 0.0690)])
def test_global_risks_of_a_process(guard: float, consumer: float, producer: float) -> None:
    """JCGM 106:2012, clause 9: resistors of 1500 ohm spread by .12, measured with u = .04, limits +-.2.

    Accepted up to the limits, 1.89 in 100 are accepted wrongly and 3.72 rejected wrongly; with a guard band of .02, .99 and 6.90.
    """
    rng = np.random.default_rng(11)
    n, limit = 40_000, 0.2
    true = rng.normal(0, 0.12, n)
    seen = true + rng.normal(0, 0.04, n)
    accepted = np.array([judge_tip(measured(value, guard / COVERAGE_95), limit) is Verdict.ON for value in seen])
    conforms = np.abs(true) <= limit
    for share, expected in ((np.mean(accepted & ~conforms), consumer), (np.mean(~accepted & conforms), producer)):
        assert share == pytest.approx(expected, abs=3 * sqrt(expected * (1 - expected) / n))
