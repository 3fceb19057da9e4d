"""What changed between two photos of one fit: what is claimed, what isn't, and in which words."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from math import comb, pi, radians

import numpy as np
import pytest

from seamcheck.basis.errors import NotOneFit, WhichPointIsWhich
from seamcheck.basis.uncertain import Estimate
from seamcheck.combine.change import NEW_OF_MODEL, WRONGLY_CLAIMED, Comparison, compare, difference
from seamcheck.report.change_text import change_lines
from seamcheck.report.inspection_reading import inspection_of
from seamcheck.report.json_file import result_bytes
from seamcheck.result import Inspection
from tests.made_up_fit import moved, rose, seen

PAIRS = 200


@cache
def pair(seed: int, push_in: float) -> Comparison:
    """Two made-up photos of one fit, the phone turned anyhow, one lobe pushed in between; every error drawn, the model's mostly shared."""
    rng = np.random.default_rng(seed)
    lobes = rose(rng, points=4)
    common = rng.normal(size=(len(lobes), 3))
    shared = rng.normal()
    drawn = {"rng": rng, "repeated": shared, "models": np.sqrt(1 - NEW_OF_MODEL**2) * common, "new": NEW_OF_MODEL}
    after = moved(lobes, seed % len(lobes), push_in)
    photos = [seen(one, name, rng.uniform(0, 2 * pi), **drawn) for name, one in (("a.jpg", lobes), ("b.jpg", after))]
    return compare(*photos)


def plain(lobes: list, name: str) -> Inspection:
    """A photo whose numbers are the truth, the own seam's end told too."""
    return seen(lobes, name, models=np.zeros((len(lobes), 3)))


def binomial_at_least(count: int, total: int, share: float) -> float:
    return sum(comb(total, k) * share**k * (1 - share) ** (total - k) for k in range(count, total + 1))


def test_a_push_of_a_hundredth_is_seen_and_nothing_claimed_where_nothing_moved() -> None:
    """95 in 100 pushes of .010 in; wrong claims in no more pairs than the rule allows (binomial)."""
    seen_pushes = sum(any(tip.across is not None and tip.across.is_real for tip in pair(seed, 0.010).tips) for seed in range(PAIRS))
    assert seen_pushes >= 0.95 * PAIRS
    wrong = sum(any(tip.moved or tip.contradicts for tip in pair(seed, 0.0).tips) for seed in range(PAIRS))
    assert binomial_at_least(wrong, PAIRS, WRONGLY_CLAIMED) > 0.025


def test_the_push_is_told_with_what_it_is_uncertain_by() -> None:
    inside = total = 0
    for seed in range(PAIRS):
        for tip in pair(seed, 0.010).tips:
            if tip.across is not None and tip.across.is_real:
                total += 1
                inside += abs(abs(tip.across.by.value) - 0.010) < tip.across.by.u95
    assert total >= 0.95 * PAIRS
    # The few that were not seen are left out of this, and the veneer's error is common to all: a little looser than the binomial.
    assert inside >= 0.92 * total


def test_what_is_one_unknown_in_both_keeps_its_sign() -> None:
    parts = {"edges": 0.0006, "veneer": 0.004}
    left, same = (Estimate(value, parts, {"veneer": (0.004,)}) for value in (0.0, 0.005))
    assert difference(left, same).u == pytest.approx(0.0006 * 2**0.5)
    assert difference(left, same).parts["veneer"] == pytest.approx(0.0)
    other_side = replace(same, shifts={"veneer": (-0.004,)})
    assert difference(left, other_side).parts["veneer"] == pytest.approx(0.008)


def test_a_models_error_repeats_but_for_its_size_and_a_share() -> None:
    a, b = Estimate(0.0, {"edges model": 0.003}), Estimate(0.0, {"edges model": 0.003})
    assert difference(a, b).u == pytest.approx(NEW_OF_MODEL * 0.003 * 2**0.5)
    assert difference(a, Estimate(0.0, {"edges model": 0.011})).u > 0.008


def test_edges_hard_to_see_are_helped_by_the_own_seam() -> None:
    """A shadow's pull on one photo's edges alone doesn't hide a push that the own seam shows, nor make one."""
    lobes = rose(np.random.default_rng(4))
    before = plain(lobes, "a.jpg")
    for push in (0.0, 0.012):
        after = plain(moved(lobes, 2, push), "b.jpg")
        tip = after.tips[2]
        pulled = Estimate(tip.seam_offset.value + 0.008, {**tip.seam_offset.parts, "edges model": 0.012})
        after = replace(after, tips=(*after.tips[:2], replace(tip, seam_offset=pulled), *after.tips[3:]))
        change = compare(before, after).tips[2].across
        assert change.by.value == pytest.approx(push, abs=0.001)
        assert change.by.u < 0.002
        assert change.is_real == (push > 0)


def test_a_point_that_moved_against_its_own_seam_is_not_claimed() -> None:
    lobes = rose(np.random.default_rng(4))
    before, after = plain(lobes, "a.jpg"), plain(lobes, "b.jpg")
    tip = after.tips[5]
    planed = Estimate(tip.seam_offset.value + 0.05, tip.seam_offset.parts, tip.seam_offset.shifts)
    found = compare(before, replace(after, tips=(*after.tips[:5], replace(tip, seam_offset=planed), *after.tips[6:])))
    assert [one.lobe for one in found.tips if one.contradicts] == [6]
    assert not any(one.moved for one in found.tips)
    assert "The point of lobe 6 has moved against its own seam, which wood can't" in said(found)


def said(found: Comparison) -> str:
    return " ".join(" ".join(change_lines(found, "a.jpg", "b.jpg")).split())


def test_the_words_are_the_trades() -> None:
    lobes = [replace(lobe, offset_in=0.0) for lobe in rose(np.random.default_rng(7))]
    lobes = moved(lobes, 2, -0.024)
    first = seen(lobes, "a.jpg", radians(100))
    found = compare(first, seen(moved(lobes, 2, 0.022), "b.jpg"))
    words = said(found)
    assert "Lobe 3's point has come .022 in clockwise (nearer to its seam), now on." in words
    assert "15 points have not moved across their seams as far as can be told" in words
    assert "Lobes are numbered as in b.jpg (1 was " in words
    assert "Points now: 16 on (before: 15 on, 1 off)." in words
    assert all(len(line) <= 80 for line in change_lines(found, "a.jpg", "b.jpg"))


def test_what_is_not_told_from_nothing_has_no_direction() -> None:
    found = compare(seen(rose(np.random.default_rng(7)), "a.jpg"), seen(moved(rose(np.random.default_rng(7)), 2, 0.022), "b.jpg"))
    rows = [line.split("  ") for line in change_lines(found, "a.jpg", "b.jpg") if "±" in line]
    moves = [next(cell for cell in row if "±" in cell) for row in rows]
    assert len(moves) == 16
    for move in moves:
        value, u95 = (float(word.lstrip("±")) for word in move.split()[:2])
        assert (move.split()[2:3] in (["cw"], ["ccw"])) == (value > u95)
    assert sum(move.endswith("cw *") for move in moves) == 1


def test_a_joint_that_closed_a_lobe_turned_over_and_one_that_is_new_are_told() -> None:
    lobes = rose(np.random.default_rng(9))
    before = seen(lobes, "a.jpg")
    joint = before.joints[0]
    open_gap = Estimate(0.030, {"opening": 0.002})
    before = replace(before, joints=(replace(joint, max_gap=open_gap), *before.joints[1:]), tips=before.tips[:-1])
    over = [replace(lobe, dark_side="cw") if k == 4 else lobe for k, lobe in enumerate(lobes)]
    found = compare(before, seen(over, "b.jpg"))
    words = said(found)
    assert "The joint of lobes 1 and 2 has closed by .026 in, from .030 to .004 at its widest" in words
    assert "Lobe 5 has the dark half on the other hand now" in words
    assert found.new == (16,)
    assert "Lobe 16 is there only now." in words
    assert compare(seen(over, "b.jpg"), before).gone == (16,)


def test_what_one_photo_does_not_show_is_not_compared() -> None:
    lobes = rose(np.random.default_rng(3))
    found = compare(seen(lobes, "a.jpg", hidden=(1,)), seen(lobes, "b.jpg", hidden=(1, 6)))
    words = said(found)
    assert "Lobe 2 can't be compared: unmeasured in both." in words
    assert "Lobe 7 can't be compared: unmeasured in b.jpg." in words
    assert "Nothing is seen to have moved" in words


def test_another_rose_is_refused() -> None:
    with pytest.raises((NotOneFit, WhichPointIsWhich)):
        compare(seen(rose(np.random.default_rng(1)), "a.jpg"), seen(rose(np.random.default_rng(2), points=6), "b.jpg"))


def read_back(inspection: Inspection) -> Inspection:
    return inspection_of(json.loads(result_bytes(inspection)), "made-up.json")


def test_two_result_files_compare_as_the_inspections_did() -> None:
    lobes = rose(np.random.default_rng(6))
    first = seen(lobes, "a.jpg", rng=np.random.default_rng(1), hidden=(3,))
    later = seen(moved(lobes, 2, 0.012), "b.jpg", 2.0, rng=np.random.default_rng(2))
    direct, read = compare(first, later), compare(read_back(first), read_back(later))
    assert change_lines(read, "a.jpg", "b.jpg") == change_lines(direct, "a.jpg", "b.jpg")
    for one, other in zip(direct.tips, read.tips, strict=True):
        assert (one.across is None) == (other.across is None)
        if one.across is not None:
            assert other.across.by.u == pytest.approx(one.across.by.u, abs=1e-6)
