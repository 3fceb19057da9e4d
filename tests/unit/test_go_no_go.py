"""Go, not yet or can't tell; marks that fit one way only; cuts that go across the rose."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import pi

import numpy as np
import pytest

from seamcheck.advise.fit import Fit, FitJoint, FitLobe
from seamcheck.advise.go_no_go import Call, decide, knife_order, register_marks
from seamcheck.basis.reasons import Reason
from seamcheck.report.decide_text import WIDTH, decide_lines, is_page, page_bytes
from seamcheck.result import Verdict
from tests.made_up_lobes import make, measured

GOOD_TIP = {"offset_in": 0.002, "u95_in": 0.003, "verdict": Verdict.ON, "reason": None}
GOOD_JOINT = {"gap_in": np.array([0.002, 0.003]), "max_in": 0.003, "u95_in": 0.002, "verdict": Verdict.CLOSED, "reason": None}
HIDDEN_TIP = {"offset_in": None, "u95_in": None, "verdict": Verdict.UNMEASURED, "reason": Reason.TIP_COVERED}
HIDDEN_JOINT = {"gap_in": None, "max_in": None, "u95_in": None, "verdict": Verdict.UNMEASURED, "reason": Reason.JOINT_COVERED}


def well(points: int = 4, rings: int = 2) -> Fit:
    """A fit in which all was measured and found well."""
    rng = np.random.default_rng(1)
    fit = measured(make(rng, points, rings), rng, 0.001, 0.001)
    lobes = tuple(replace(lobe, **GOOD_TIP) for lobe in fit.lobes)
    return replace(fit, lobes=lobes, joints=tuple(replace(joint, **GOOD_JOINT) for joint in fit.joints))


def with_tip(fit: Fit, number: int, **change: object) -> Fit:
    def changed(lobe: FitLobe) -> FitLobe:
        return replace(lobe, **change) if lobe.number == number else lobe

    return replace(fit, lobes=tuple(changed(lobe) for lobe in fit.lobes))


def with_joint(fit: Fit, index: int, **change: object) -> Fit:
    def changed(k: int, joint: FitJoint) -> FitJoint:
        return replace(joint, **change) if k == index else joint

    return replace(fit, joints=tuple(changed(k, joint) for k, joint in enumerate(fit.joints)))


def page(fit: Fit, **checked: frozenset[int] | frozenset[frozenset[int]]) -> str:
    lines = decide_lines(fit, decide(fit, **checked), "fit.json")  # type: ignore[arg-type]
    assert max(map(len, lines)) <= WIDTH
    return " ".join(" ".join(lines).split())


def test_all_well_is_a_go_with_marks_and_cuts() -> None:
    words = page(well())
    assert "GO: all 8 points and 12 joints are well. The cut can't be undone." in words
    assert "On record" not in words
    for part in ("Lobe 1: one stroke", "three strokes", "Knife", "the rest stays taped", "the other hand never ahead of the blade"):
        assert part in words


def test_a_place_where_no_joint_is_listed_is_no_go_until_the_person_names_it() -> None:
    whole = well()
    pair = whole.joints[0].lobes
    fit = replace(whole, joints=whole.joints[1:])
    assert decide(fit).call is Call.CANT_TELL
    asked = page(fit)
    assert f"nothing was found where lobes {pair[0]}-{pair[1]} should meet" in asked
    assert f"seamcheck decide fit.json --checked-joints {pair[0]}-{pair[1]}`" in asked
    assert decide(fit, joints_by_eye=frozenset({frozenset(pair)})).call is Call.GO


@pytest.mark.parametrize("gone", range(1, 9))
def test_a_rose_without_one_of_its_lobes_is_no_go(gone: int) -> None:
    whole = well()
    lobes = tuple(lobe for lobe in whole.lobes if lobe.number != gone)
    joints = tuple(joint for joint in whole.joints if gone not in joint.lobes)
    fit = replace(whole, lobes=lobes, joints=joints)
    assert decide(fit).call is Call.CANT_TELL
    assert fit.left_open


@pytest.mark.parametrize(("points", "rings"), [(4, 1), (6, 1), (8, 1), (4, 2), (6, 2), (8, 2)])
def test_a_whole_rose_leaves_nothing_open(points: int, rings: int) -> None:
    assert well(points, rings).left_open == ()


def test_dark_halves_that_lie_as_often_one_way_as_the_other_are_not_yet() -> None:
    fit = replace(well(), divided=True)
    assert decide(fit).call is Call.NOT_YET
    assert "as many dark halves lie to the right as to the left" in page(fit)


def test_an_unmeasured_tip_is_no_go_until_the_person_names_it_and_then_the_record_says_so() -> None:
    fit = with_tip(well(), 3, **HIDDEN_TIP)
    assert decide(fit).call is Call.CANT_TELL
    assert decide(fit, frozenset({2, 4})).call is Call.CANT_TELL
    asked = page(fit)
    assert "seamcheck decide fit.json --checked-tips 3`" in asked
    assert Reason.TIP_COVERED.sentence in asked
    assert "Lobe 1: one stroke" not in asked  # no marks and no cuts before a go
    assert decide(fit, frozenset({3})).call is Call.GO
    told = page(fit, tips_by_eye=frozenset({3}))
    assert "1 of them on your word" in told
    assert "On record: the point of lobe 3 was not settled by the photo, but checked by the person." in told


def test_points_go_round_from_the_first_lobe_as_in_every_other_report() -> None:
    fit = well()
    turned = replace(fit, lobes=tuple(replace(lobe, bearing=(lobe.bearing - 0.1) % (2 * pi)) for lobe in fit.lobes))
    order = [one.lobe.number for one in decide(turned).tips]
    assert order == [one.lobe.number for one in decide(fit).tips]
    assert order[0] == 1


def test_a_joint_that_cant_be_told_needs_a_word_too() -> None:
    fit = with_joint(well(), 1, **HIDDEN_JOINT)
    pair = frozenset(fit.joints[1].lobes)
    assert decide(fit).call is Call.CANT_TELL
    assert decide(fit, joints_by_eye=frozenset({pair})).call is Call.GO
    assert "joint 2-3 was not settled by the photo" in page(fit, joints_by_eye=frozenset({pair}))


def test_no_word_overrides_what_the_photo_shows() -> None:
    everyone = frozenset(range(1, 9))
    every_joint = frozenset(frozenset(joint.lobes) for joint in well().joints)
    off = with_tip(well(), 2, offset_in=0.03, verdict=Verdict.OFF)
    gaping = with_joint(well(), 0, max_in=0.03, verdict=Verdict.OPEN)
    turned = replace(well(), odd_lobes=(5,))
    for fit, what_next in (
        (off, "seamcheck plan fit.json"),
        (gaping, "seamcheck plan fit.json"),
        (turned, "put that right, and take a new photo"),
    ):
        decision = decide(fit, everyone, every_joint)
        assert decision.call is Call.NOT_YET
        assert what_next in page(fit, tips_by_eye=everyone, joints_by_eye=every_joint)
    assert "1/32 in off, clockwise" in page(off)
    assert not decide(off, everyone).tips[2].by_eye  # nor is it on record as checked


@pytest.mark.parametrize(
    "change",
    [{"joints": ()}, {"lobes": (), "joints": ()}, {"disagreements": ("Lobe 3's point lies elsewhere in b.jpg.",)}],
    ids=["no joint", "no lobe", "photos disagree"],
)
def test_too_little_or_disagreeing_is_cant_tell(change: dict[str, tuple[str, ...]]) -> None:
    fit = replace(well(), **change)  # type: ignore[arg-type]
    assert decide(fit).call is Call.CANT_TELL
    assert "CAN'T TELL" in page(fit)


@pytest.mark.parametrize("points", [3, 4, 6, 8])
def test_marks_meet_in_one_turn_of_the_rose_only(points: int) -> None:
    marks = register_marks(well(points, 1))
    at = {mark.lobe - 1: mark.strokes for mark in marks}
    turns = [turn for turn in range(points) if all(at.get((place + turn) % points) == strokes for place, strokes in at.items())]
    assert turns == [0]
    assert len(marks) == 3


@pytest.mark.parametrize(("points", "rings"), [(4, 2), (8, 1), (6, 2)])
def test_cuts_never_go_from_a_lobe_to_its_neighbour_while_another_is_left(points: int, rings: int) -> None:
    fit = well(points, rings)
    order = knife_order(fit)
    assert sorted(order) == sorted(fit.by_number)
    apart = 2 * np.pi / (points * rings)
    for before, after in pairwise(order[: len(order) // 2 + 1]):
        angle = abs(fit.by_number[before].bearing - fit.by_number[after].bearing)
        assert min(angle, 2 * np.pi - angle) > 1.5 * apart


def test_a_page_is_known_as_ours() -> None:
    fit = well()
    assert is_page(page_bytes(decide_lines(fit, decide(fit), "fit.json")))
    assert not is_page(b"my own notes")


@pytest.mark.parametrize("wrong", [{"odd_lobes": (2,)}, {"divided": True}])
def test_no_plan_is_named_next_while_a_lobe_lies_the_wrong_way_round(wrong: dict) -> None:
    rng = np.random.default_rng(2)
    fit = replace(measured(make(rng, 4, 1), rng, 0.001, 0.001), **wrong)
    words = " ".join(" ".join(decide_lines(fit, decide(fit), "fit.json")).split())
    assert "Next: put that right, and take a new photo" in words
    assert "seamcheck plan" not in words
