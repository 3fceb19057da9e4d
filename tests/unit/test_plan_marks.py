"""Nothing in the plan's picture lies over anything else: by the boxes of its numbers, and by the pixels that they are drawn in."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from seamcheck.advise.fit import Fit
from seamcheck.advise.fit_plan import Plan, PlanSettings, plan_fit
from seamcheck.advise.fit_program import Wood
from seamcheck.report.label_places import box_at, overlap, strip_of
from seamcheck.report.plan_marks import Marks, plan_marks, reach_of
from seamcheck.report.plan_picture import PAGE_IN, ROSE_HIGH_IN, ROSE_LEAST_IN, SIDE_IN
from tests.made_up_lobes import make, measured


def full(seed: int, points: int, rings: int, ends: tuple[float, float]) -> tuple[Fit, Plan]:
    """A fit that binds all round, so that there is much to draw."""
    rng = np.random.default_rng(seed)
    fit = measured(make(rng, points, rings), rng, 0.003, 0.002)
    fit = replace(fit, joints=tuple(replace(joint, gap_in=np.array(ends) + rng.normal(0, 0.004, 2)) for joint in fit.joints))
    return fit, plan_fit(fit, PlanSettings(wood=Wood.SAFE))


def scale_of(fit: Fit, high_in: float) -> float:
    return min(high_in, PAGE_IN[0] - 2 * SIDE_IN) / (2 * reach_of(fit))


def hidden(marks: Marks) -> list[str]:
    """What lies over what, in words."""
    shapes = marks.shapes()
    found = [f"{one.words} over {other.words}" for one, other in combinations(marks.notes, 2) if overlap(one.box, other.box)]
    return found + [f"{note.words} over shape {k}" for note in marks.notes for k, shape in enumerate(shapes) if overlap(note.box, shape)]


@pytest.mark.parametrize("high_in", [ROSE_LEAST_IN, ROSE_HIGH_IN])
@pytest.mark.parametrize(("points", "rings"), [(4, 1), (8, 1), (4, 2), (6, 2), (8, 2)])
def test_no_number_lies_over_another_or_an_arrow_or_a_wedge(points: int, rings: int, high_in: float) -> None:
    for seed, ends in ((1, (0.002, -0.01)), (2, (-0.008, 0.004)), (3, (-0.012, -0.012)), (4, (0.02, 0.01))):
        fit, plan = full(seed, points, rings, ends)
        marks = plan_marks(fit, plan, scale_of(fit, high_in))
        assert hidden(marks) == []
        # Everything that the plan asks for is there.
        assert len(marks.wedges) == len(plan.eases)
        assert len(marks.notes) == 2 * len(fit.lobes) + len(marks.arrows) + sum(bool(e.root_in) + bool(e.shoulder_in) for e in plan.eases)
        reach = reach_of(fit)
        assert all(np.abs(note.box).max() <= reach for note in marks.notes)


def test_the_same_plan_is_laid_out_the_same_every_time() -> None:
    fit, plan = full(3, 6, 2, (0.002, -0.01))
    one, other = (plan_marks(fit, plan, scale_of(fit, ROSE_HIGH_IN)) for _ in (0, 1))
    assert [note.words for note in one.notes] == [note.words for note in other.notes]
    assert all((a.place == b.place).all() for a, b in zip(one.notes, other.notes, strict=True))


def test_convex_shapes_overlap_where_they_have_more_than_an_edge_in_common() -> None:
    box = box_at(np.zeros(2), np.array([2.0, 1.0]))
    assert overlap(box, box)
    assert not overlap(box, box_at(np.array([2.0, 0.0]), np.array([2.0, 1.0])))  # edge on edge
    assert overlap(box, box_at(np.array([1.9, 0.0]), np.array([2.0, 1.0])))
    slanting = strip_of(np.array([1.2, -1.0]), np.array([2.2, 1.0]), 0.1)
    assert not overlap(box, slanting)  # though their upright extents do
    assert overlap(box, strip_of(np.array([0.4, -1.0]), np.array([1.4, 1.0]), 0.1))
    sliver = np.array([[-3.0, 0.0], [3.0, 0.0], [3.0, 0.2], [-3.0, 0.0]])  # a wedge that runs out to nothing
    assert overlap(box, sliver)
    assert not overlap(box + [0, 1], sliver)
