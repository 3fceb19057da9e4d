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
from seamcheck.report.plan_picture import plan_picture
from tests.made_up_lobes import make, measured


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
    rose = slice(60, 1150)
    black = [int((picture[rose] < 60).all(axis=-1).sum()) for picture in (with_wood, without)]
    assert black[0] > black[1] + 500


def test_lobes_that_stay_are_grey(fit: Fit) -> None:
    plan = plan_fit(fit, PlanSettings(frozenset({1, 2})))
    grey = [int((drawn(fit, one) == 204).all(axis=-1).sum()) for one in (plan, plan_fit(fit))]
    assert grey[0] > grey[1] + 50_000


def test_a_jpeg_where_it_is_asked_for(fit: Fit) -> None:
    assert drawn(fit, plan_fit(fit), ".jpg").shape == (1650, 1275, 3)
