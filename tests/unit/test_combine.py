"""Several photos of one fit: which lobe is which, what comes of their numbers, and what is said where they disagree."""

from __future__ import annotations

from dataclasses import replace
from math import comb, radians

import numpy as np
import pytest

from seamcheck.basis.errors import NotOneFit, WhichPointIsWhich
from seamcheck.basis.reasons import Reason
from seamcheck.basis.uncertain import Estimate
from seamcheck.combine.fit import WRONGLY_DOUBTED, together
from seamcheck.combine.match import match
from seamcheck.combine.numbers import combined, disagreement
from seamcheck.result import Inspection, Verdict
from tests.made_up_fit import Errors, moved, rose, seen

TURNS = (0.0, 20.0, 45.0, 90.0, 137.0, 180.0, 270.0, 300.0)


def truth_of(inspection: object, lobes: list, turn_deg: float, number: int) -> int:
    """Which of the made-up lobes a photo's lobe is, by its bearing and ring."""
    tip = inspection.tips[number - 1]
    gap = [abs((lobe.bearing - radians(turn_deg) - tip.bearing + np.pi) % (2 * np.pi) - np.pi) for lobe in lobes]
    return min((k for k in range(len(lobes)) if lobes[k].ring == tip.ring), key=lambda k: gap[k])


@pytest.mark.parametrize("turn_deg", TURNS)
def test_lobes_are_matched_however_the_phone_was_turned(turn_deg: float) -> None:
    lobes = rose(np.random.default_rng(1))
    first = seen(lobes, "a.jpg", rng=np.random.default_rng(2))
    other = seen(lobes, "b.jpg", radians(turn_deg), rng=np.random.default_rng(3), shift_in=(-0.5, 0.1))
    found = match(first, other)
    assert len(found) == 16
    for number, like in found.items():
        assert truth_of(other, lobes, turn_deg, number) == truth_of(first, lobes, 0.0, like)


@pytest.mark.parametrize("cards", [None, {}])
@pytest.mark.parametrize("which", ["first", "other", "both"])
def test_a_tip_without_a_place_costs_no_other_its_like(cards: dict | None, which: str) -> None:
    """Result files of earlier versions may hold such. By the cards' places, and by the tips' alone."""
    lobes = rose(np.random.default_rng(1))
    first = seen(lobes, "a.jpg", rng=np.random.default_rng(2))
    other = seen(lobes, "b.jpg", radians(45), rng=np.random.default_rng(3))
    if cards is not None:
        other = replace(other, scale=replace(other.scale, card_places_in=cards))
    lost = {"first": (2,), "other": (7,), "both": (2, 7)}[which]

    def without(inspection: Inspection, index: int) -> Inspection:
        tips = tuple(replace(tip, place_in=None) if k == index else tip for k, tip in enumerate(inspection.tips))
        return replace(inspection, tips=tips)

    found = match(without(first, 2) if 2 in lost else first, without(other, 7) if 7 in lost else other)
    whole = match(first, other)
    mine = {number: like for number, like in whole.items() if not (2 in lost and like == first.tips[2].lobe)}
    assert found == {number: like for number, like in mine.items() if not (7 in lost and number == other.tips[7].lobe)}
    assert len(found) >= 14


def test_cards_that_lay_still_tell_a_perfect_roses_turns_apart() -> None:
    lobes = rose(np.random.default_rng(1), scatter_in=0.0)
    first, other = seen(lobes, "a.jpg"), seen(lobes, "b.jpg", radians(90))
    found = match(first, other)
    assert all(truth_of(other, lobes, 90.0, number) == truth_of(first, lobes, 0.0, like) for number, like in found.items())


def test_a_perfect_rose_and_moved_cards_cannot_be_matched() -> None:
    lobes = [replace(lobe, reach_in=4.0 if lobe.ring == 1 else 3.4) for lobe in rose(np.random.default_rng(1), scatter_in=0.0)]
    other = seen(lobes, "b.jpg", radians(90), cards={1: (6.0, 3.0), 2: (5.5, 0.7), 4: (6.1, 5.0)})
    with pytest.raises(WhichPointIsWhich, match=r"b\.jpg.*a\.jpg.*leave the cards"):
        together([seen(lobes, "a.jpg"), other])


def test_the_lobes_own_numbers_tell_the_turn_when_the_cards_were_moved() -> None:
    lobes = rose(np.random.default_rng(5))
    other = seen(lobes, "b.jpg", radians(90), cards={1: (6.0, 3.0), 2: (5.5, 0.7), 4: (6.1, 5.0)})
    found = match(seen(lobes, "a.jpg"), other)
    assert all(truth_of(other, lobes, 90.0, number) == truth_of(seen(lobes, "a.jpg"), lobes, 0.0, like) for number, like in found.items())


def test_another_rose_is_refused() -> None:
    a = seen(rose(np.random.default_rng(1)), "a.jpg")
    for other in (
        seen(rose(np.random.default_rng(2)), "b.jpg", radians(30)),
        seen(rose(np.random.default_rng(2), points=6), "b.jpg"),
        replace(a, photo_name="b.jpg", tips=()),
    ):
        with pytest.raises((NotOneFit, WhichPointIsWhich), match=r"b\.jpg"):
            together([a, other])


def test_a_tip_hidden_in_one_photo_is_measured_by_the_other() -> None:
    lobes = rose(np.random.default_rng(1))
    a, b = seen(lobes, "a.jpg", hidden=(3,)), seen(lobes, "b.jpg", radians(75), hidden=(6,))
    result = together([a, b])
    assert a.tips[3].verdict is Verdict.UNMEASURED
    assert [tip.verdict is Verdict.UNMEASURED for tip in result.tips].count(True) == 0
    tip = result.tips[3]
    assert tip.reason is None
    assert tip.seam_offset is not None
    assert tip.seam_offset.value == pytest.approx(lobes[3].offset_in)
    assert result.warnings == ("Lobe 4 is measured by the other photos alone: a.jpg doesn't show all that is needed there.",)
    # Drawn where the first photo would show it.
    assert np.allclose(tip.tip_px, a.tips[3].tip_px, atol=0.01)
    assert tip.seam_px is not None
    assert np.hypot(*(tip.seam_px[0] - tip.tip_px)) < 0.1
    assert result.together is not None
    assert result.together.disagree == ()


@pytest.mark.parametrize("turn_deg", TURNS)
def test_a_lobe_that_was_moved_is_named_and_not_given_a_number(turn_deg: float) -> None:
    lobes = rose(np.random.default_rng(1))
    a = seen(lobes, "a.jpg", rng=np.random.default_rng(2))
    b = seen(moved(lobes, 2, 0.03), "b.jpg", radians(turn_deg), rng=np.random.default_rng(3))
    result = together([a, b])
    assert [tip.lobe for tip in result.tips if tip.reason is Reason.PHOTOS_DISAGREE] == [3]
    assert result.tips[2].seam_offset is None
    assert result.tips[2].verdict is Verdict.UNMEASURED
    assert result.together is not None
    (sentence,) = result.together.disagree
    assert sentence.startswith("Lobe 3 is ")
    assert "in a.jpg" in sentence
    assert "in b.jpg off its seam: it was moved" in sentence


def test_a_rose_moved_as_a_whole_is_no_one_fit() -> None:
    lobes = rose(np.random.default_rng(1))
    pushed = lobes
    for k in range(len(lobes)):
        pushed = moved(pushed, k, 0.02)
    with pytest.raises(NotOneFit):
        together([seen(lobes, "a.jpg"), seen(pushed, "b.jpg")])


def test_a_lobe_turned_over_in_between_has_no_dark_side() -> None:
    lobes = rose(np.random.default_rng(1))
    over = [replace(lobe, dark_side="cw") if k == 4 else lobe for k, lobe in enumerate(lobes)]
    result = together([seen(lobes, "a.jpg"), seen(over, "b.jpg")])
    assert [tip.lobe for tip in result.tips if tip.dark_side is None] == [5]


def test_what_is_the_same_unknown_does_not_average_out_and_sampling_does() -> None:
    one = Estimate(1.0, {"edges": 0.003, "edges model": 0.001, "print": 0.002}, {"print": (0.002, 0.0)})
    four = combined([one] * 4)
    assert four.parts["edges"] == pytest.approx(0.0015)
    assert four.parts["edges model"] == pytest.approx(0.001)
    assert four.parts["print"] == pytest.approx(0.002)
    assert four.shifts["print"] == pytest.approx((0.002, 0.0))


def test_a_lean_to_either_side_cancels() -> None:
    """Stood on the left, then on the right: the veneer's thickness errs one way, then the other."""
    parts = {"edges": 0.001, "veneer": 0.002}
    left, right = Estimate(0.0, parts, {"veneer": (0.002,)}), Estimate(0.0, parts, {"veneer": (-0.002,)})
    assert combined([left, right]).parts["veneer"] == pytest.approx(0.0, abs=1e-12)
    # And a difference of twice the lean is no disagreement, where the same lean would be.
    apart = replace(right, value=0.006)
    assert disagreement([left, apart]) < 2.5
    assert disagreement([left, replace(left, value=0.006)]) > 15


def test_chi_squared_of_two_is_their_difference_over_its_uncertainty() -> None:
    a, b = Estimate(0.010, {"edges": 0.003}), Estimate(0.0, {"edges": 0.004})
    assert disagreement([a, b]) == pytest.approx(4.0)


def test_the_same_photo_twice_shrinks_nothing() -> None:
    photo = seen(rose(np.random.default_rng(1)), "a.jpg", rng=np.random.default_rng(2))
    result = together([photo, replace(photo, photo_name="b.jpg")])
    for tip, one in zip(result.tips, photo.tips, strict=True):
        assert tip.seam_offset is not None
        assert one.seam_offset is not None
        assert tip.seam_offset.value == pytest.approx(one.seam_offset.value)
        assert tip.seam_offset.u95 == pytest.approx(one.seam_offset.u95, rel=1e-3)


def test_photos_with_errors_of_their_own_shrink_u95_and_keep_it_true() -> None:
    """Over 60 sets of three photos: inside u95 as often as the binomial allows, u95 smaller, a false doubt as rare as it is meant to be."""
    errors = Errors(0.002, 0.0, 0.0008)
    inside = total = doubted = 0
    shrunk = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        lobes = rose(rng)
        repeated = rng.normal()
        photos = [seen(lobes, f"{k}.jpg", rng.uniform(0, 6), rng=rng, errors=errors, repeated=repeated) for k in range(3)]
        result = together(photos)
        assert result.together is not None
        doubted += bool(result.together.disagree)
        tip = result.tips[seed % 16]  # one of each set: the veneer's error is common to all
        if tip.seam_offset is not None:
            truth = min(
                lobes, key=lambda lobe: abs(lobe.own_offset_in - tip.own_seam_offset.value) + abs(lobe.offset_in - tip.seam_offset.value)
            )
            inside += abs(tip.seam_offset.value - truth.offset_in) < tip.seam_offset.u95
            shrunk.append(tip.seam_offset.u95 / photos[0].tips[0].seam_offset.u95)
            total += 1
    fewer = sum(comb(total, k) * 0.95**k * 0.05 ** (total - k) for k in range(inside + 1))
    assert fewer > 0.025
    # Sampling by the root of three, the veneer not at all: .0020/.0022 -> .0014/.0022, give or take what the scatter happens to say.
    assert 0.6 < np.median(shrunk) < 0.75
    more = sum(comb(60, k) * WRONGLY_DOUBTED**k * (1 - WRONGLY_DOUBTED) ** (60 - k) for k in range(doubted, 61))
    assert more > 0.025


def test_joints_are_combined_by_their_lobes() -> None:
    lobes = rose(np.random.default_rng(1))
    a, b = seen(lobes, "a.jpg", rng=np.random.default_rng(2)), seen(lobes, "b.jpg", radians(180), rng=np.random.default_rng(3))
    result = together([a, b])
    assert [joint.lobes for joint in result.joints] == [joint.lobes for joint in a.joints]
    both = [(joint, one) for joint, one in zip(result.joints, a.joints, strict=True) if joint.max_gap != one.max_gap]
    assert len(both) >= 12  # the joint at 12 o'clock stands at another end of the made-up list
    for joint, one in both:
        assert joint.max_gap is not None
        assert one.max_gap is not None
        assert abs(joint.max_gap.value - one.max_gap.value) < one.max_gap.u95
        assert joint.max_gap.u95 <= one.max_gap.u95


def test_warnings_of_one_photo_carry_its_name() -> None:
    lobes = rose(np.random.default_rng(1))
    a = replace(seen(lobes, "a.jpg"), warnings=("The bars weren't read.",))
    b = replace(seen(lobes, "b.jpg"), warnings=("The bars weren't read.", "Card 2 is curled."))
    assert together([a, b]).warnings == ("The bars weren't read.", "b.jpg: Card 2 is curled.")
