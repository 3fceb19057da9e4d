"""What is told when one photo of a fit is laid over another: lobes that moved against all that lies still, and rings that moved whole."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import comb, pi

import numpy as np
import pytest

from seamcheck.basis.uncertain import Estimate
from seamcheck.combine.change import NEW_OF_MODEL, Comparison, TipChange, compare
from seamcheck.combine.laid_over import EDGES, OWN_SEAM, SEAM, differences
from seamcheck.report.change_text import change_lines
from seamcheck.report.inspection_reading import inspection_of
from seamcheck.report.json_file import result_bytes
from seamcheck.result import Inspection, Tip
from tests.made_up_fit import CARDS, LINES, Errors, Lobe, moved, rose, seen

PAIRS = 20
PUSH_IN = 0.010
# Of 24 rendered dry fits' lobes whose seams show by their grain: standard uncertainties (inches), sampling and model, medians.
GRAIN = {"edges": (0.0005, 0.0019), "own seam": (0.0003, 0.0014), "seam": (0.0017, 0.0015)}


@dataclass(frozen=True)
class Pair:
    """Two photos of a fit."""

    first: Inspection
    later: Inspection
    lobes: tuple[int, ...]  # the later photo's number of each lobe

    @property
    def found(self) -> Comparison:
        return compare(self.first, self.later)

    def tip(self, found: Comparison, lobe: int) -> TipChange:
        return next(tip for tip in found.tips if tip.lobe == self.lobes[lobe])


def one_ring(rng: np.random.Generator, points: int) -> list[Lobe]:
    return [lobe for lobe in rose(rng, points) if lobe.ring == 1]


def photos(
    rng: np.random.Generator, before: Sequence[Lobe], after: Sequence[Lobe], lines: dict = GRAIN, cards: tuple[dict, dict] = (CARDS, CARDS)
) -> Pair:
    """The phone turned anyhow; every error drawn, the edges' and own seams' models mostly shared, the field seams' not.

    cards: where they lie in either photo.
    """
    common, shared = rng.normal(size=(len(before), 3)), rng.normal()
    share = np.array([1, 1, 0]) * NEW_OF_MODEL + [0, 0, 1]
    made, turn = [], 0.0
    for name, lobes, lie in (("a.jpg", before, cards[0]), ("b.jpg", after, cards[1])):
        models = np.sqrt(1 - share**2) * common + share * rng.normal(size=common.shape)
        turn = rng.uniform(0, 2 * pi)
        made.append(seen(list(lobes), name, turn, rng=rng, repeated=shared, models=models, lines=lines, placed=True, cards=lie))
    bearings = np.array([tip.bearing for tip in made[1].tips])
    numbers = []
    for lobe in after:
        away = np.abs(np.angle(np.exp(1j * (bearings - (lobe.bearing - turn)))))
        away[[tip.ring != lobe.ring for tip in made[1].tips]] = np.inf
        numbers.append(made[1].tips[int(np.argmin(away))].lobe)
    return Pair(*made, tuple(numbers))


RELAID = {card: (distance + 0.3, bearing + 0.4 + 0.1 * card) for card, (distance, bearing) in CARDS.items()}
# Where the cards lie in either photo.
LEFT, ONE_KICKED, LAID_ANEW = (CARDS, CARDS), (CARDS, {**CARDS, 2: (6.02, 1.92)}), (CARDS, RELAID)


@cache
def pushed(points: int, seed: int, push_in: float, cards: str = "left") -> tuple[Pair, Comparison, int]:
    """One ring; and which lobe was pushed."""
    rng = np.random.default_rng([points, seed])
    lobes, which = one_ring(rng, points), seed % points
    lie = {"left": LEFT, "one kicked": ONE_KICKED, "laid anew": LAID_ANEW}[cards]
    both = photos(rng, lobes, moved(lobes, which, push_in), cards=lie)
    return both, both.found, which


def at_least(count: int, total: int, share: float) -> float:
    return sum(comb(total, k) * share**k * (1 - share) ** (total - k) for k in range(count, total + 1))


@pytest.mark.parametrize(("points", "cards"), [(4, "left"), (6, "one kicked"), (8, "left"), (8, "laid anew")])
def test_a_push_is_seen_though_seams_show_by_grain_alone(points: int, cards: str) -> None:
    """95 in 100 pushes of .010 in are (binomial); held against its own field seam alone, fewer than 90."""
    told = [(both.tip(found, which), found) for both, found, which in (pushed(points, seed, PUSH_IN, cards) for seed in range(PAIRS))]
    right = sum(tip.across is not None and tip.across.is_real and tip.across.by.value > 0 for tip, _ in told)
    assert 1 - at_least(right + 1, PAIRS, 0.95) > 0.025
    inside = sum(tip.across is not None and abs(tip.across.by.value - PUSH_IN) < tip.across.by.u95 for tip, _ in told)
    assert 1 - at_least(inside + 1, PAIRS, 0.95) > 0.025


def test_hardly_anything_is_claimed_of_what_lay_still() -> None:
    """Neither where nothing moved, nor of another lobe than the pushed: in no more pairs than one in 100 (binomial)."""
    wrong = total = 0
    for points, cards in ((4, "left"), (4, "laid anew"), (6, "one kicked"), (8, "laid anew")):
        for seed in range(PAIRS):
            for push_in in (0.0, PUSH_IN):
                both, found, which = pushed(points, seed, push_in, cards)
                mine = both.tip(found, which).lobe if push_in else None
                wrong += bool(found.rings) or any(tip.across is not None and tip.across.is_real for tip in found.tips if tip.lobe != mine)
                total += 1
    assert at_least(wrong, total, 0.01) > 0.025


def test_two_lobes_that_were_pushed_are_both_told() -> None:
    rng = np.random.default_rng(5)
    lobes = one_ring(rng, 8)
    both = photos(rng, lobes, moved(moved(lobes, 2, 0.015), 5, -0.012), LINES)
    found = both.found
    told = {tip.lobe: tip.across.by.value for tip in found.tips if tip.across is not None and tip.across.is_real}
    assert sorted(told) == sorted([both.lobes[2], both.lobes[5]])
    assert told[both.lobes[2]] == pytest.approx(0.015, abs=0.004)
    assert told[both.lobes[5]] == pytest.approx(-0.012, abs=0.004)


@pytest.mark.parametrize("ring", [1, 2, None])
def test_a_ring_that_was_turned_whole_is_told_from_the_seams(ring: int | None) -> None:
    """By .008 in at 4 in from the centre: the lobes lie as they lay to each other, so only the field tells."""
    rng = np.random.default_rng(6)
    before = rose(rng, 6)
    angle = -0.008 / 4
    after = [
        replace(one, bearing=one.bearing + angle, offset_in=one.offset_in + angle * one.reach_in) if ring in (None, one.ring) else one
        for one in before
    ]
    both = photos(rng, before, after, LINES)
    found = both.found
    assert [sorted(one.lobes) for one in found.rings] == [
        sorted(number for number, lobe in zip(both.lobes, before, strict=True) if ring in (None, lobe.ring))
    ]
    turn = found.rings[0].turn
    assert turn is not None
    reach = np.mean([lobe.reach_in for lobe in before if ring in (None, lobe.ring)])
    assert abs(turn.by.value - angle * reach) < 2 * turn.by.u95
    words = " ".join(" ".join(change_lines(found, "a.jpg", "b.jpg")).split())
    assert "turned counterclockwise by .00" in words
    assert ("The whole rose has turned" in words) == (ring is None)
    assert "'s point has come" not in words


def test_a_rose_that_was_shifted_is_told_with_where_to() -> None:
    rng = np.random.default_rng(8)
    before = one_ring(rng, 8)
    shift = np.array([0.012, 0.0])  # toward bearing 90 degrees
    after = []
    for lobe in before:
        across = float(shift @ [np.cos(lobe.bearing), -np.sin(lobe.bearing)])
        out = float(shift @ [np.sin(lobe.bearing), np.cos(lobe.bearing)])
        after.append(
            replace(lobe, bearing=lobe.bearing + across / lobe.reach_in, reach_in=lobe.reach_in + out, offset_in=lobe.offset_in + across)
        )
    both = photos(rng, before, after, LINES)
    found = both.found
    assert len(found.rings) == 1
    assert found.rings[0].shift is not None
    assert found.rings[0].shift.by.value == pytest.approx(0.012, abs=0.004)
    # The photo's up is what the lobe at bearing 0 has moved from.
    east = both.later.tips[both.lobes[2] - 1].bearing  # of 8 lobes the third lies at 90 degrees
    assert abs(np.angle(np.exp(1j * (found.rings[0].toward - east)))) < 0.35


def test_lobes_that_nothing_tells_apart_are_not_named() -> None:
    """Four lobes and hardly a seam: any of them may have moved, or the three others."""
    rng = np.random.default_rng(9)
    blind = {"edges": (0.0005, 0.001), "own seam": (0.0003, 0.001), "seam": (0.02, 0.05)}
    lobes = one_ring(rng, 4)
    found = photos(rng, lobes, moved(lobes, 1, 0.012), blind, ({}, {})).found
    assert not any(tip.moved for tip in found.tips)
    eight = one_ring(rng, 8)
    both = photos(rng, eight, moved(eight, 1, 0.012), blind, LAID_ANEW)
    assert [tip.lobe for tip in both.found.tips if tip.moved] == [both.lobes[1]]  # eight hold each other


def test_a_lobe_whose_seam_is_not_seen_is_held_against_the_others() -> None:
    rng = np.random.default_rng(10)
    lobes = one_ring(rng, 8)
    both = photos(rng, lobes, moved(lobes, 3, 0.012), LINES)
    mine = both.lobes[3]
    tips = tuple(replace(tip, seam_offset=None, own_end_offset=None) if tip.lobe == mine else tip for tip in both.later.tips)
    found = compare(both.first, replace(both.later, tips=tips))
    tip = next(tip for tip in found.tips if tip.lobe == mine)
    assert tip.across is not None
    assert tip.across.is_real
    words = " ".join(" ".join(change_lines(found, "a.jpg", "b.jpg")).split())
    assert f"Lobe {mine}'s point has come .01" in words
    assert "can't be compared" not in words


def test_result_files_tell_the_same_and_those_of_earlier_versions_fall_back() -> None:
    rng = np.random.default_rng(11)
    lobes = one_ring(rng, 8)
    both = photos(rng, lobes, moved(lobes, 3, 0.012))
    documents = [json.loads(result_bytes(one)) for one in (both.first, both.later)]
    read = compare(*(inspection_of(document, "made-up.json") for document in documents))
    for one, other in zip(both.found.tips, read.tips, strict=True):
        assert one.across is not None
        assert other.across is not None
        assert other.across.by.value == pytest.approx(one.across.by.value, abs=1e-6)
        assert other.across.by.u == pytest.approx(one.across.by.u, abs=1e-6)
    assert "It is told against everything that lies still" in " ".join(change_lines(read, "a", "b")).replace("\n", " ")
    for tip in documents[0]["working"]["tips"]:
        del tip["place"]
    older = compare(*(inspection_of(document, "made-up.json") for document in documents))
    assert older.by_seams_alone
    assert "against its own field seam alone" in " ".join(" ".join(change_lines(older, "a", "b")).split())
    mine = next(tip for tip in older.tips if tip.lobe == both.lobes[3])
    assert mine.across is not None
    assert mine.across.by.u > 1.2 * next(tip for tip in both.found.tips if tip.lobe == mine.lobe).across.by.u  # type: ignore[union-attr]


def test_a_point_that_went_against_its_own_seam_pulls_nothing_else() -> None:
    rng = np.random.default_rng(12)
    lobes = one_ring(rng, 8)
    planed = [
        replace(lobe, own_offset_in=lobe.own_offset_in + 0.05, offset_in=lobe.offset_in + 0.05) if k == 4 else lobe
        for k, lobe in enumerate(lobes)
    ]
    planed[4] = replace(planed[4], bearing=lobes[4].bearing + 0.05 / lobes[4].reach_in)
    both = photos(rng, lobes, planed, LINES)
    found = both.found
    assert [tip.lobe for tip in found.tips if tip.contradicts] == [both.lobes[4]]
    assert not any(tip.moved for tip in found.tips)


def test_what_leans_a_lobe_leaves_the_fields_seam_where_it_lies() -> None:
    """One unknown of both photos, the veneer's thickness, leans lobes clockwise in the first and counterclockwise in the later."""
    rng = np.random.default_rng(11)
    lobes = one_ring(rng, 8)
    both = photos(rng, lobes, lobes)

    def the_other_way(estimate: Estimate | None) -> Estimate | None:
        return estimate and replace(estimate, shifts={name: tuple(-one for one in shift) for name, shift in estimate.shifts.items()})

    def seen_from_the_other_side(tip: Tip) -> Tip:
        assert tip.place is not None
        moves = {**tip.place.moves, "veneer": -tip.place.moves["veneer"]}
        place = replace(tip.place, moves=moves)
        return replace(tip, place=place, seam_offset=the_other_way(tip.seam_offset), own_seam_offset=the_other_way(tip.own_seam_offset))

    tips = {tip.lobe: seen_from_the_other_side(tip) for tip in both.later.tips}
    pairs = [(tip, tips[number]) for tip, number in zip(both.first.tips, both.lobes, strict=True)]
    seen = differences(pairs, (both.first.scale, both.later.scale), lambda _, first, later: float(np.hypot(first, later)))
    assert seen is not None
    veneer = seen.shared[:, [source == "veneer" for source in seen.sources]]
    kinds = np.array(seen.kind)
    leans = veneer[kinds == EDGES].ravel()
    assert np.abs(leans) == pytest.approx(np.full(8, 2 * Errors().veneer), rel=1e-3)
    assert veneer[kinds == OWN_SEAM].ravel() == pytest.approx(leans)
    assert veneer[kinds == SEAM].ravel() == pytest.approx(np.zeros(8), abs=1e-6)
