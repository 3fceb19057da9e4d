"""Finished joints against a published woodwork standard.

Architectural Woodwork Standards, 1st edition (2009): section 6.1.10, page 331, wood to wood, flat: a gap of no more than .012 in, over no
more than 30 % of the joint; page 202, matched panels: no opening at a veneer joint.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..judge import judge_joint
from ..result import Joint, Verdict

FLAT_GAP_IN = 0.012


@dataclass(frozen=True)
class AgainstStandard:
    """How many measured joints keep to the standard's gap, how many don't, and how many can't be told by their uncertainty."""

    within: int
    beyond: int
    unsure: int


def against_standard(joints: Sequence[Joint]) -> AgainstStandard:
    """Judged as all joints are, with the standard's gap for a tolerance; joints without a number are left aside."""
    verdicts = [judge_joint(joint.max_gap, FLAT_GAP_IN) for joint in joints]
    return AgainstStandard(verdicts.count(Verdict.CLOSED), verdicts.count(Verdict.OPEN), verdicts.count(Verdict.UNSURE))
