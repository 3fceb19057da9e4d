"""How far an edge departs from its ring's pattern, on lobes drawn here and moved by hand."""

from dataclasses import replace

import numpy as np
import pytest

from seamcheck.basis.frames import unit_of_bearing
from seamcheck.basis.lines import Line
from seamcheck.kite import FoundLobe, Kite, KiteShape
from seamcheck.measure.edge_task import EdgeFit
from seamcheck.measure.lobe_start import _is_another_line, _like_the_others, _through_the_middle
from seamcheck.measure.lobes import _is_sound, _is_stripe
from seamcheck.measure.pattern import departures_in, outvoted

SHAPE = KiteShape(np.radians(90), 13 / 16, 3.0)
LIGHT = np.array([0.4, 0.4, 0.4])
ALONG, ACROSS = SHAPE.shoulder_in
HALF_ANGLE = float(np.arctan2(ACROSS, SHAPE.length_in - ALONG))


def edge(start, stop, moved_out_in: float = 0.0, side: int = 1, contrast: float = 10.0, misfit: float = 0.1, outside=LIGHT) -> EdgeFit:
    along = np.asarray(stop, float) - start
    bearing = float(np.arctan2(along[0], along[1]))
    out = side * np.array([np.cos(bearing), -np.sin(bearing)])
    point = (np.asarray(start, float) + stop) / 2 + moved_out_in * out
    return EdgeFit(Line(point, bearing, np.eye(2) * 1e-8, 0.001, 0.0, 1.2), contrast, LIGHT, np.asarray(outside), misfit)


def rose(points: int = 8, ring: int | None = 1):
    """Lobes whose roots meet at (2, -1), their own seams and their (left, right) long edges."""
    along, across = SHAPE.shoulder_in
    lobes, owns, pairs = [], [], []
    for k in range(points):
        way = unit_of_bearing(2 * np.pi * k / points)
        right = np.array([way[1], -way[0]])
        root = np.array([2.0, -1.0])
        left_in, right_in, tip = root + along * way - across * right, root + along * way + across * right, root + SHAPE.length_in * way
        lobes.append(FoundLobe(ring, Kite(root, left_in, tip, right_in), "cw"))
        owns.append(edge(root, tip, outside=LIGHT / 4))
        pairs.append([edge(left_in, tip, side=-1), edge(right_in, tip)])
    return lobes, owns, pairs


def test_edges_of_one_pattern_do_not_depart_and_a_moved_one_does_by_as_much():
    lobes, owns, pairs = rose()
    kite = lobes[3].kite
    pairs[3][0] = edge(kite.left_in, kite.tip_in, moved_out_in=0.05, side=-1)
    pairs[5][1] = edge(lobes[5].kite.right_in, lobes[5].kite.tip_in, moved_out_in=-0.02)
    away = departures_in(lobes, owns, pairs, [HALF_ANGLE] * 8)
    assert away[3][0] == pytest.approx(0.05, abs=1e-9)
    assert away[5][1] == pytest.approx(-0.02, abs=1e-9)
    rest = [value for k, pair in enumerate(away) for side, value in enumerate(pair) if (k, side) not in {(3, 0), (5, 1)}]
    assert rest == pytest.approx([0.0] * 14, abs=1e-9)


def test_a_moved_edge_departs_though_its_lobes_own_seam_was_not_measured():
    lobes, owns, pairs = rose()
    pairs[3][0] = edge(lobes[3].kite.left_in, lobes[3].kite.tip_in, moved_out_in=0.05, side=-1)
    away = departures_in(lobes, [None if k == 3 else own for k, own in enumerate(owns)], pairs, [HALF_ANGLE] * 8)
    assert away[3] == pytest.approx([0.05, 0.0], abs=1e-9)


@pytest.mark.parametrize(("moved_in", "u_in", "odd"), [(0.05, 0.015, True), (0.05, 0.002, False), (0.03, 0.015, False)])
def test_an_edge_known_worse_than_its_ring_foretells_it_and_elsewhere_is_outvoted(moved_in, u_in, odd):
    lobes, owns, pairs = rose()
    kite = lobes[3].kite
    moved = edge(kite.left_in, kite.tip_in, moved_out_in=moved_in, side=-1)
    pairs[3][0] = replace(moved, line=replace(moved.line, u_model_in=u_in))
    found = outvoted(lobes, pairs, departures_in(lobes, owns, pairs, [HALF_ANGLE] * 8))
    assert found[3] == (odd, False)
    assert [pair for k, pair in enumerate(found) if k != 3] == [(False, False)] * 7


def test_where_a_ring_is_laid_unevenly_no_edge_is_outvoted_for_it():
    lobes, owns, pairs = rose()
    for k, moved_in in ((1, 0.014), (3, -0.015), (6, 0.017)):
        moved = edge(lobes[k].kite.left_in, lobes[k].kite.tip_in, moved_out_in=moved_in, side=-1)
        pairs[k][0] = replace(moved, line=replace(moved.line, u_model_in=0.0035))
    assert outvoted(lobes, pairs, departures_in(lobes, owns, pairs, [HALF_ANGLE] * 8)) == [(False, False)] * 8


def test_nothing_is_said_of_loose_lobes_few_edges_or_a_lobe_of_which_nothing_tells_where_it_points():
    assert departures_in(*rose(ring=None), [HALF_ANGLE] * 8) == [[None, None]] * 8
    lobes, owns, pairs = rose(4)
    assert departures_in(lobes, [owns[0], None, None, None], pairs, [None] * 4) == [[None, None]] * 4
    assert departures_in(lobes, [None, *owns[1:]], pairs, [None] * 4)[0] == [None, None]


@pytest.mark.parametrize(
    ("misfit", "departure_in", "sound"), [(0.3, 0.05, True), (1.5, 0.05, False), (1.5, 0.03, True), (5.0, 0.01, True), (5.0, None, True)]
)
def test_a_badly_explained_edge_far_off_the_pattern_is_another_line(misfit, departure_in, sound):
    one = edge((0, 0), (0, 2), contrast=10.0, misfit=misfit)  # thousandths of the step's square: 3, 15 and 50
    assert _is_sound(one, None, False, departure_in) is sound


def test_a_stripe_is_no_own_seam():
    lobes, owns, _ = rose(6)
    owns[2] = edge(lobes[2].kite.root_in, lobes[2].kite.tip_in, contrast=10.0, misfit=1.5, outside=LIGHT / 4)
    kept = _like_the_others(lobes, owns)
    assert [own is not None for own in kept] == [True, True, False, True, True, True]


def test_a_doubtful_own_seam_far_from_the_middle_of_its_lobe_is_a_stripe():
    doubtful, clear = (edge((0, 0), (0, 2), contrast=10.0, misfit=misfit, outside=LIGHT / 4) for misfit in (0.8, 0.2))
    assert _is_stripe(doubtful, (0.05, -0.045))
    assert not _is_stripe(clear, (0.05, -0.045))
    assert not _is_stripe(doubtful, (0.05, 0.045))  # a lobe that reaches too far, its own seam in the middle
    assert not _is_stripe(doubtful, (0.05, None))


def test_an_own_seam_that_passes_far_from_where_the_others_meet_is_tape_if_badly_explained():
    lobes, owns, _ = rose()
    kite = lobes[2].kite
    for misfit, stays in ((0.1, True), (3.0, False)):
        askew = edge(
            kite.root_in + 0.25 * kite.tip_in / np.linalg.norm(kite.tip_in) @ np.array([[0, 1], [-1, 0]]), kite.tip_in, misfit=misfit
        )
        found = _through_the_middle(lobes, [*owns[:2], askew, *owns[3:]])
        assert (found[2] is askew) is stays
        assert [one for k, one in enumerate(found) if k != 2] == [one for k, one in enumerate(owns) if k != 2]


@pytest.mark.parametrize(("askew_deg", "misfit", "another"), [(0.5, 2.0, False), (3.0, 0.4, False), (3.0, 2.0, True)])
def test_a_clear_own_seam_stays_though_its_lobe_was_cut_unequally_about_it(askew_deg, misfit, another):
    own = edge((0, 0), (0, 2), contrast=10.0, misfit=misfit)  # thousandths of the step's square: 4 and 20
    assert _is_another_line(own, np.radians(askew_deg)) is another
