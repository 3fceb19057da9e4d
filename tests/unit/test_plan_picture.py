"""The plan's page: one page, black and white, and something on it for all that the plan asks for."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from seamcheck.advise.fit import Fit
from seamcheck.advise.fit_plan import Plan, PlanSettings, plan_fit
from seamcheck.report.picture_file import is_picture
from seamcheck.report.plan_marks import plan_marks
from seamcheck.report.plan_picture import ROSE_LEAST_IN, plan_picture, plan_sheet
from seamcheck.report.plan_text import assumed, closing_words, first_of_all, plan_lines, whys
from seamcheck.result import Verdict
from tests.made_up_lobes import make, measured

AS_USUAL = PlanSettings()


@pytest.fixture(scope="module")
def fit() -> Fit:
    rng = np.random.default_rng(2)
    made = measured(make(rng, 4, 2), rng, 0.001, 0.001, hidden_joints=(3,))
    # Lobes that bind at their shoulders, so that wood has to come off.
    joints = tuple(joint if joint.gap_in is None else replace(joint, gap_in=np.array([0.002, -0.01])) for joint in made.joints)
    return replace(made, joints=joints)


def drawn(fit: Fit, plan: Plan, suffix: str = ".png") -> np.ndarray:
    data = plan_picture(fit, plan, PlanSettings(), suffix)
    assert is_picture(data)
    return np.asarray(Image.open(BytesIO(data)).convert("RGB")).astype(int)


def test_it_is_one_upright_page_in_black_and_white(fit: Fit) -> None:
    picture = drawn(fit, plan_fit(fit))
    assert picture.shape == (1650, 1275, 3)
    assert (picture == picture[..., :1]).all()
    # Nothing runs over the page's edge.
    for border in (picture[:20], picture[-20:], picture[:, :20], picture[:, -20:]):
        assert (border == 255).all()


def test_wood_to_take_off_is_black_inside_the_lobe_and_its_absence_is_not(fit: Fit) -> None:
    plan = plan_fit(fit)
    assert plan.eases
    with_wood, without = drawn(fit, plan), drawn(fit, replace(plan, eases=()))
    rose = slice(75, 1180)
    black = [int((picture[rose] < 60).all(axis=-1).sum()) for picture in (with_wood, without)]
    assert black[0] > black[1] + 500


def test_lobes_that_stay_are_grey(fit: Fit) -> None:
    plan = plan_fit(fit, PlanSettings(frozenset({1, 2})))
    grey = [int((drawn(fit, one) == 204).all(axis=-1).sum()) for one in (plan, plan_fit(fit))]
    assert grey[0] > grey[1] + 50_000


def printed(fit: Fit, settings: PlanSettings = AS_USUAL) -> tuple[str, str]:
    """The words above the rose, and those below it."""
    sheet = plan_sheet(fit, plan_fit(fit, settings), settings)
    assert sheet.rose_in >= ROSE_LEAST_IN
    below = [block for row in sheet.below for block in row] + [sheet.foot]
    return tuple(" ".join(" ".join(line for block in blocks for line in block.lines).split()) for blocks in (sheet.above, below))  # type: ignore[return-value]


def test_what_comes_first_stands_above_the_rose(fit: Fit) -> None:
    for wrong in ({"odd_lobes": (3,)}, {"divided": True}, {"joints": tuple(joint for joint in fit.joints if joint.lobes != (1, 2))}):
        one = replace(fit, **wrong)
        (first,) = first_of_all(one)
        assert first.startswith("First of all: ")
        assert first in printed(one)[0]
        lines = " ".join(" ".join(plan_lines(one, plan_fit(one), PlanSettings())).split())
        assert lines.index(first) < lines.index("Till then nothing else is planned" if plan_fit(one).waits else "Lift lobe")
    assert "First of all" not in printed(fit)[0]


def test_what_is_assumed_and_what_does_not_close_is_on_the_page() -> None:
    rng = np.random.default_rng(4)
    one = measured(make(rng, 4, 2), rng, 0.001, 0.001, hidden_tips=(1, 5), hidden_joints=(2,))
    wide = tuple(replace(joint, gap_in=np.array([0.05, 0.05]), max_in=0.05) if joint.lobes == (1, 2) else joint for joint in one.joints)
    one = replace(one, joints=wide)
    settings = PlanSettings(frozenset({1, 2}))
    held = [*assumed(one), *whys(one, plan_fit(one, settings), settings)]
    assert len(held) >= 3
    below = printed(one, settings)[1]
    assert all(words in below for words in held)
    assert "It doesn't all come right this way" in below


def test_a_plan_that_asks_for_nothing_says_so() -> None:
    rng = np.random.default_rng(4)
    one = measured(make(rng, 4), rng, 0.001, 0.001)
    calm = replace(
        one,
        lobes=tuple(replace(lobe, offset_in=0.001, u95_in=0.001) for lobe in one.lobes),
        joints=tuple(replace(joint, gap_in=np.array([0.004, 0.004]), max_in=0.004) for joint in one.joints),
    )
    stay = PlanSettings(frozenset(one.by_number))
    assert "Nothing is to be eased or moved." in printed(calm, stay)[1]
    unseen = replace(calm, lobes=(replace(calm.lobes[0], offset_in=None, u95_in=None), *calm.lobes[1:]))
    assert "Nothing that was measured asks to be eased or moved." in printed(unseen, stay)[1]


def test_where_nothing_may_be_touched_the_first_sentence_says_so_and_not_that_nothing_need_be() -> None:
    rng = np.random.default_rng(4)
    one = measured(make(rng, 4), rng, 0.001, 0.001)
    every = PlanSettings(frozenset(one.by_number))
    plan = plan_fit(one, every)
    assert plan.tip_misses or plan.gap_misses
    held = "Nothing may be moved or eased, for every lobe is kept, and as they lie it doesn't come right."
    text = " ".join(" ".join(plan_lines(one, plan, every)).split())
    for words in (text, printed(one, every)[1]):
        assert held in words
        assert "Nothing is to be eased" not in words


def test_a_page_without_the_table_does_not_point_to_one(fit: Fit) -> None:
    plan = plan_fit(fit)
    assert any(tip.verdict is not Verdict.ON for tip in plan.tips) or any(joint.verdict is not Verdict.CLOSED for joint in plan.joints)
    assert not plan.tip_misses
    assert not plan.gap_misses
    assert "there" in closing_words(fit, plan).split(":")[1].split()
    assert closing_words(fit, plan, table=False) == "Then take a new photo: what can't be told beforehand may still be off or open."


def test_what_reads_as_nothing_has_no_side() -> None:
    rng = np.random.default_rng(4)
    one = measured(make(rng, 4), rng, 0.001, 0.001)
    still = replace(one, lobes=(replace(one.lobes[0], offset_in=-0.00004), *one.lobes[1:]))
    every = PlanSettings(frozenset(one.by_number))
    (line,) = [line for line in plan_lines(still, plan_fit(still, every), every) if line.startswith("  point 1 ")]
    assert ".0000" in line
    assert "cw" not in line


def test_a_name_of_any_length_and_letters_is_only_a_name(fit: Fit) -> None:
    named = replace(fit, name="$x^2$ " + "a very long name " * 20 + ".jpg")
    picture = drawn(named, plan_fit(named))
    assert (picture[:, -20:] == 255).all()


def test_a_jpeg_where_it_is_asked_for(fit: Fit) -> None:
    assert drawn(fit, plan_fit(fit), ".jpg").shape == (1650, 1275, 3)


def test_on_a_page_that_waits_no_lobe_is_said_to_stay(fit: Fit) -> None:
    """The one that has to be turned least of all."""
    turned = replace(fit, odd_lobes=(3,))
    notes = [note.words for note in plan_marks(turned, plan_fit(turned), 1.0).notes]
    assert "to turn" in notes
    assert "stays" not in notes
    assert "What lies the wrong way round is white." in printed(turned)[1]
