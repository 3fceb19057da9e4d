"""How wide an inlay's glue lines are taken to be where dark wood hides them, from what light wood shows."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seamcheck.measure.edge_profile import GLUE_WIDTHS_IN, Flush
from seamcheck.measure.glue import ANY_GLUE_IN, MIN_U_GLUE_IN, glue_chances

WIDTHS = np.array(GLUE_WIDTHS_IN)


def moments(chances):
    mean = float(np.dot(chances, WIDTHS))
    return mean, float(np.sqrt(np.dot(chances, (WIDTHS - mean) ** 2)))


def clear(width_in, u_in=0.0005):
    return ((WIDTHS - width_in) / u_in) ** 2


def test_where_no_edge_tells_it_is_taken_to_be_as_it_usually_is():
    for seen in ([], [np.zeros(len(WIDTHS))] * 12):
        mean, spread = moments(glue_chances(seen))
        assert mean == pytest.approx(ANY_GLUE_IN[0], abs=0.001)
        assert spread == pytest.approx(ANY_GLUE_IN[1], abs=0.001)


@pytest.mark.parametrize("width_in", GLUE_WIDTHS_IN)
def test_edges_that_show_it_clearly_are_followed(width_in):
    mean, spread = moments(glue_chances([clear(width_in)] * 16))
    # The next edge may differ by as much as edges do, and thin lines are likelier; at a thin line by half of that, for none is thinner.
    assert abs(mean - width_in) < 0.8 * MIN_U_GLUE_IN
    assert 0.5 * MIN_U_GLUE_IN < spread < 1.2 * MIN_U_GLUE_IN


def test_edges_that_differ_leave_both_widths_likely():
    chances = glue_chances([clear(0.0)] * 8 + [clear(0.009)] * 8)
    assert chances[0] > 0.1
    assert chances[4] > 0.1
    assert moments(chances)[1] > MIN_U_GLUE_IN


chi = st.lists(st.floats(0, 60), min_size=len(GLUE_WIDTHS_IN), max_size=len(GLUE_WIDTHS_IN)).map(lambda one: np.array(one) - min(one))


@given(st.lists(chi, max_size=10), st.randoms(use_true_random=False))
def test_chances_add_up_and_hang_on_no_order(seen, random):
    chances = glue_chances(seen)
    assert sum(chances) == pytest.approx(1)
    assert min(chances) > 0
    random.shuffle(seen)
    assert glue_chances(seen) == pytest.approx(chances)


def test_what_is_unlikely_surprises_a_flush_edge():
    surprise = Flush(glue_chances([clear(0.003)] * 8)).surprise()
    assert int(np.argmin(surprise)) == GLUE_WIDTHS_IN.index(0.003)
    assert surprise.min() == 0
    assert surprise[-1] > 4
    assert not Flush().surprise().any()
