"""Cut lobes against their pattern: what was added to or taken from a perfect lobe is found again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamcheck.advise.lobe_lots import closes, lots, ring_of, supposed_patterns
from seamcheck.advise.lobe_order import Order
from seamcheck.advise.lobe_sort import REACH, Limits, Lot, best_slide, sort_lobe, wood_past
from seamcheck.advise.loose_set import NUMBERS, LooseLobe, usual_side
from seamcheck.basis.uncertain import Estimate
from seamcheck.kite import HalfShape, KiteShape

PATTERN = HalfShape.of_kite(KiteShape(np.pi / 2, 13 / 16, 3.0))
LIMITS = Limits()


def made(past: dict[str, tuple[float, float]], u: float = 1e-5, own: tuple[float, float] = (0.0, 0.0), name: str = "1") -> LooseLobe:
    """A lobe whose edges stand so far past the pattern's (at their ends, from root or shoulder outward); own: its seam's offsets.

    The edges are moved in the pattern's frame and crossed again, which knows nothing of the sorter's arithmetic.
    """
    root, left, tip, right = PATTERN.corners_in
    ends = {"left_short": (root, left), "right_short": (root, right), "left_long": (left, tip), "right_long": (right, tip)}
    lines = {}
    for edge, (a, b) in ends.items():
        way = (b - a) / np.hypot(*(b - a))
        outward = np.array([-way[1], way[0]]) * (1 if edge.startswith("left") else -1)
        first, last = past.get(edge, (0.0, 0.0))
        lines[edge] = (a + first * outward, b + last * outward)
    corners = [
        crossed(lines["left_short"], lines["right_short"]),
        crossed(lines["left_short"], lines["left_long"]),
        crossed(lines["left_long"], lines["right_long"]),
        crossed(lines["right_short"], lines["right_long"]),
    ]
    shape = HalfShape.of_corners(np.stack(corners))
    across = np.array([1.0, 0.0])  # the pattern's centre line, which is the lobe's own seam, runs along y
    offsets = [float((corner @ across) + moved) for corner, moved in zip((corners[0], corners[2]), own, strict=True)]
    values = [shape.length_in, shape.left_root, shape.right_root, *shape.tips, *offsets]
    numbers = {key: Estimate(value, {"photo": u}) for key, value in zip(NUMBERS, values, strict=True)}
    return LooseLobe(name, 0, numbers, Estimate(shape.root_angle, {"photo": u}), {}, {}, "cw", np.zeros((4, 2)))


def crossed(one: tuple[np.ndarray, np.ndarray], other: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    (a, b), (c, d) = one, other
    t = np.linalg.solve(np.stack([b - a, c - d], axis=1), c - a)
    return a + t[0] * (b - a)


def test_a_perfect_lobe_is_used() -> None:
    result = sort_lobe(made({}), PATTERN, LIMITS)
    assert result.lot is Lot.USE
    assert max(abs(spare.wood.value) for spare in result.spares) < 1e-9


def test_a_lobe_that_is_only_shorter_falls_short_with_its_point() -> None:
    """Its short edges planed by .04 each are those of a pattern that lies .057 farther out, and so its point reaches that much less."""
    past = {"left_short": (-0.04, -0.04), "right_short": (-0.04, -0.04)}
    result = sort_lobe(made(past), PATTERN, LIMITS)
    assert result.lot is Lot.CUT_AGAIN
    reach = next(spare for spare in result.spares if spare.edge == REACH)
    ends = [spare.wood.value for spare in result.spares if spare.edge.endswith("short")]
    # What isn't missing in reach is missing along the short edges: sin 45 of it.
    assert -reach.wood.value + -np.mean(ends) / np.sin(np.pi / 4) == pytest.approx(0.04 / np.sin(np.pi / 4), abs=1e-3)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0, 0.03), min_size=8, max_size=8))
def test_wood_that_was_left_on_is_found_edge_by_edge(past: list[float]) -> None:
    """The pattern lies where it was drawn: what stands past it is what was added, to a rounding of angles."""
    names = ("left_short", "right_short", "left_long", "right_long")
    added = {name: (past[2 * k], past[2 * k + 1]) for k, name in enumerate(names)}
    one = made(added)
    # Where the pattern was: its root below the lobe's by as much as the lobe's root lies past it, along the own seam.
    numbers = [one.value(name) for name in NUMBERS]
    slides = np.linspace(-0.06, 0.06, 24001)
    at_zero, at_one = wood_past(numbers, PATTERN, 0.0), wood_past(numbers, PATTERN, 1.0)
    wood = at_zero + slides[:, None] * (at_one - at_zero)
    assert np.abs(wood[:, :8] - np.array(past)).max(axis=1).min() < 1e-3


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(-0.03, 0.03), min_size=8, max_size=8))
def test_no_slide_is_better(past: list[float]) -> None:
    """Against slides tried one by one: less missing beyond the limits, or as little and less to take off."""
    names = ("left_short", "right_short", "left_long", "right_long")
    one = made({name: (past[2 * k], past[2 * k + 1]) for k, name in enumerate(names)})
    numbers = [one.value(name) for name in NUMBERS]
    most = np.array([0.010] * 5 + [1 / 64, 0.010, 1 / 64, 1 / 32])

    def judged(slide: float) -> tuple[float, float]:
        wood = wood_past(numbers, PATTERN, slide)
        return max(0.0, float((-wood / most).max()) - 1), float(np.maximum(wood[:8], 0).sum())

    beyond, off = judged(best_slide(numbers, PATTERN, LIMITS))
    for slide in np.linspace(-0.08, 0.08, 321):
        other_beyond, other_off = judged(float(slide))
        assert other_beyond > beyond - 1e-7
        assert other_beyond > beyond + 1e-7 or other_off > off - 1e-7


def test_which_edge_to_ease_how_much_and_where() -> None:
    result = sort_lobe(made({"left_short": (0.0, 0.012)}), PATTERN, LIMITS)
    assert result.lot is Lot.MEND
    assert result.spare("left_short", "shoulder").wood.value == pytest.approx(0.012, abs=5e-4)
    assert result.spare("left_short", "root").wood.value == pytest.approx(0.0, abs=5e-4)
    assert max(abs(spare.wood.value) for spare in result.spares if spare.edge.startswith("right")) < 5e-4


def test_missing_wood_wants_another_lobe_if_it_is_surely_missing() -> None:
    short = {"right_short": (-0.04, -0.04), "left_short": (0.0, -0.04), "left_long": (-0.02, -0.02)}
    assert sort_lobe(made(short), PATTERN, LIMITS).lot is Lot.CUT_AGAIN
    assert sort_lobe(made(short, u=0.02), PATTERN, LIMITS).lot is Lot.TRY


def test_what_the_photo_hardly_knows_is_not_planed() -> None:
    full = {"left_short": (0.0, 0.012)}
    assert sort_lobe(made(full, u=0.001), PATTERN, LIMITS).lot is Lot.MEND
    assert sort_lobe(made(full, u=0.01), PATTERN, LIMITS).lot is Lot.TRY


def test_a_pattern_that_slipped_shows_as_an_own_seam_beside_the_point() -> None:
    """The own seam misses the point by 1/32: laid on the seam, the pattern lies askew, and one long edge is too full at the point."""
    result = sort_lobe(made({}, own=(0.0, 1 / 32)), PATTERN, LIMITS)
    assert result.lot is not Lot.USE
    assert result.spare("right_long", "point").wood.value > 0.02
    assert result.spare("left_long", "point").wood.value < 0


def test_bent_edges_are_told() -> None:
    bent = replace(made({}), bows={"left_short": Estimate(-0.009, {"edges": 0.001}), "right_short": Estimate(0.002, {"edges": 0.001})})
    result = sort_lobe(bent, PATTERN, LIMITS)
    assert (result.lot, result.bent) == (Lot.MEND, ("left_short",))


def test_without_a_number_it_cant_be_told() -> None:
    one = made({})
    less = replace(one, numbers={key: value for key, value in one.numbers.items() if key != "own_tip"})
    assert sort_lobe(less, PATTERN, LIMITS).missing == ("own_tip",)
    assert sort_lobe(replace(one, dark_side=None), PATTERN, LIMITS).lot is Lot.UNKNOWN


def test_turned_over_it_is_its_own_mirror_image() -> None:
    one = made({"left_short": (0.0, 0.012)}, own=(0.001, 0.002))
    over = one.over()
    assert over.dark_side == "ccw"
    assert over.shape.corners_in[[1, 3]] * [-1, 1] == pytest.approx(one.shape.corners_in[[3, 1]])
    assert over.value("own_tip") == -one.value("own_tip")
    again = over.over()
    assert again.numbers == one.numbers
    assert not again.turned_over
    assert sort_lobe(over, PATTERN, LIMITS).spare("right_short", "shoulder").wood.value == pytest.approx(
        sort_lobe(one, PATTERN, LIMITS).spare("left_short", "shoulder").wood.value
    )


def test_all_together() -> None:
    """Four lobes and a spare: one lies face down, one has too much wood; the spare one that is short stays out."""
    cut = [made({}, name="1"), made({}, name="2").over(), made({"left_short": (0.0, 0.012)}, name="3"), made({}, name="4")]
    cut[1] = replace(cut[1], turned_over=False)
    cut.append(made({"left_short": (-0.04, -0.04), "right_short": (-0.04, -0.04)}, name="5"))
    done = lots(cut, [PATTERN], None, LIMITS, None)
    assert [one.lot for one in done.sorted] == [Lot.USE, Lot.USE, Lot.MEND, Lot.USE, Lot.CUT_AGAIN]
    assert done.dark_side == "cw" == usual_side(cut)
    assert done.sorted[1].lobe.turned_over
    assert isinstance(done.order, Order)
    assert {one.lobe.name for one in done.order.laid if one.lobe is not None} == {"1", "2", "3", "4"}


def test_patterns_that_nobody_gave() -> None:
    found = supposed_patterns([made({}, name=str(k)) for k in range(4)])
    assert len(found) == 1
    assert found[0].root_angle == pytest.approx(np.pi / 2)
    assert closes(found)
    assert not closes([HalfShape(3.0, 0.6, 0.6, 0.8, 0.8)])  # five and a bit to the turn
    assert ring_of(made({}), [HalfShape(2.0, 0.8, 0.8, 0.8, 0.8)]) is None
