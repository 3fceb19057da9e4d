"""Bare tops, rendered with exact truth: the pattern found, every seam, the edge; and lines joined from stretches."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from seamcheck.basis.frames import unit_of_bearing, wrap_angle
from seamcheck.basis.lines import Line
from seamcheck.basis.reasons import Reason
from seamcheck.basis.uncertain import COVERAGE_95
from seamcheck.edges import LinearPatch
from seamcheck.find.field import find_field
from seamcheck.measure.bare_numbers import edge_numbers, seam_numbers
from seamcheck.measure.field_seams import _joined, measure_field_seams
from seamcheck.measure.round_edge import RoundEdge, field_reach, measure_round_edge
from seamcheck.measure.seams import SeamFit
from seamcheck.measure.tips import Sight, centre_of
from seamcheck.plane.camera import Camera
from tests.scenes.draw import Scene, draw_bare
from tests.scenes.geometry import direction, right
from tests.scenes.render import render

LINES, GRAIN = 3, 13  # scenes of striped wood: five cards and lines on the seams; three and a change of grain only


def camera_of(scene: Scene) -> Camera:
    view = scene.view
    turn = cv2.Rodrigues(view.rotation)[0].ravel()
    return Camera(view.f_px, 1.0, view.cx, view.cy, view.k1, view.k2, 0.0, 0.0, turn, view.translation)


@cache
def photo(seed: int) -> tuple[Scene, np.ndarray]:
    scene = draw_bare(seed, megapixels=(2.5, 2.5))
    return scene, cv2.imdecode(np.frombuffer(render(scene), np.uint8), cv2.IMREAD_COLOR)


@cache
def measured(seed: int):
    scene, bgr = photo(seed)
    camera, cards = camera_of(scene), [card.outline for card in scene.cards]
    field = find_field(bgr, camera, cards)
    assert field is not None
    patch, size = LinearPatch(bgr, 0, 0), (scene.view.width, scene.view.height)
    edge = measure_round_edge(patch, camera, size, field.centre_in, cards)
    outer = field_reach(patch, camera, size, field.centre_in, edge, cards)
    return scene, field, edge, outer, measure_field_seams(patch, camera, field.centre_in, field.bearings, outer, cards)


@pytest.mark.parametrize("seed", [LINES, GRAIN])
def test_leaves_are_counted_and_placed(seed):
    scene, field, *_ = measured(seed)
    assert len(field.bearings) == len(scene.seams)
    assert np.hypot(*(field.centre_in - scene.seams_centre_in)) < 0.1
    for seam in scene.seams:
        assert np.abs(wrap_angle(field.bearings - seam.bearing)).min() < np.radians(2)


@pytest.mark.parametrize(("seed", "place_in", "bearing_deg"), [(LINES, 0.002, 0.05), (GRAIN, 0.010, 0.25)])
def test_every_seam_lies_where_it_was_drawn(seed, place_in, bearing_deg):
    scene, _, _, _, fits = measured(seed)
    assert not any(isinstance(fit, Reason) for fit in fits)
    for fit in fits:
        line = fit.line
        seam = min(scene.seams, key=lambda one: abs(float(wrap_angle(one.bearing - line.bearing))))
        off, turn = seam.offset_of(line.point_in), float(wrap_angle(line.bearing - seam.bearing))
        assert abs(off) < min(place_in, 2 * COVERAGE_95 * np.hypot(np.sqrt(line.cov[0, 0]), line.u_model_in))
        assert abs(turn) < min(np.radians(bearing_deg), 2 * COVERAGE_95 * np.sqrt(line.cov[1, 1]))


def test_numbers_of_the_whole_top():
    scene, _, edge, _, fits = measured(LINES)
    lines = [fit.line for fit in fits]
    sight = Sight(camera_of(scene), (), 0.0, 0.0)
    assert centre_of(lines) == pytest.approx(scene.seams_centre_in, abs=0.001)
    for line, numbers in zip(lines, seam_numbers(sight, lines, 0), strict=True):
        seam = min(scene.seams, key=lambda one: abs(float(wrap_angle(one.bearing - line.bearing))))
        truth = -seam.offset_of(scene.seams_centre_in)
        assert numbers.off_centre.value == pytest.approx(truth, abs=2 * numbers.off_centre.u95)
        assert numbers.off_centre.u95 < 0.003
    assert isinstance(edge, RoundEdge)
    found = edge_numbers(sight, lines, edge)
    assert found.diameter.value == pytest.approx(2 * scene.top_radius_in, abs=0.006)
    away = np.array(scene.top_centre_in) - scene.seams_centre_in
    assert found.off_centre.value * unit_of_bearing(found.off_bearing) == pytest.approx(away, abs=0.006)


@pytest.mark.parametrize("bearings", [[0.3], [0.3, 1.1], [0.3, 0.3 + np.pi]])
def test_fewer_than_three_seams_make_no_centre(bearings):
    """Any two lines cross, and none passes their crossing by anything; lines that run on into each other cross nowhere."""
    lines = [Line(2 * unit_of_bearing(one), one, np.diag([1e-6, 1e-6]), 0.0005, 0.0, 1.5) for one in bearings]
    numbers = seam_numbers(Sight(camera_of(photo(LINES)[0]), (), 0.0, 0.0), lines, 8 - len(lines))
    assert [one.off_centre for one in numbers] == [None] * len(lines)
    assert [one.turn.value for one in numbers] == pytest.approx(bearings)
    assert all(0 < one.turn.u < 0.01 and one.place.u > 0 for one in numbers)


def test_the_leaves_end_at_the_band():
    scene, field, _, outer, _ = measured(LINES)
    true = scene.top_radius_in - scene.band_in
    assert true - 0.25 < outer + np.hypot(*field.centre_in) < true + 0.05


def test_an_edge_out_of_the_picture_is_unmeasured():
    scene, bgr = photo(LINES)
    narrow = bgr[500:900, 600:1200]
    camera = replace(camera_of(scene), cx_px=scene.view.cx - 600, cy_px=scene.view.cy - 500)
    found = measure_round_edge(LinearPatch(narrow, 0, 0), camera, (600, 400), scene.seams_centre_in, [])
    assert isinstance(found, Reason)


def test_a_bench_without_a_top_has_no_field():
    noise = np.random.default_rng(2).normal(110, 12, (600, 800, 3))
    bench = cv2.GaussianBlur(noise, (31, 5), 0)
    camera = Camera(800.0, 1.0, 399.5, 299.5, 0, 0, 0, 0, np.array([np.pi, 0.0, 0.0]), np.array([0.0, 0.0, 20.0]))
    assert find_field(np.clip(bench * 1.0, 0, 255).astype(np.uint8), camera, []) is None


def stretch(along_in: float, off_in: float, slope: float = 0.0, u_in: float = 0.001) -> SeamFit:
    """Along bearing 0, from the plane's origin."""
    cov = np.diag([u_in**2, (u_in / 0.6) ** 2])
    return SeamFit(Line(np.array([off_in, along_in]), float(np.arctan(slope)), cov, 0.0002, 0.0, 0.9), "line", None)


def test_stretches_make_one_line():
    joined = _joined([stretch(1.5, 0.010 + 0.015, 0.01), stretch(3.5, 0.045, 0.01), stretch(5.5, 0.065, 0.01)], np.array([0.0, 3.5]), 0.0)
    assert not isinstance(joined, Reason)
    assert joined.line.bearing == pytest.approx(np.arctan(0.01), abs=1e-9)
    assert joined.line.offset_of(np.array([0.010, 0.0])) == pytest.approx(0, abs=1e-9)
    assert joined.line.half_span_in == pytest.approx(2.9, abs=0.01)
    # Three places at least as sure as one, over four inches.
    assert np.sqrt(joined.line.cov[0, 0]) < 0.0011
    assert np.sqrt(joined.line.cov[1, 1]) < 0.0006


def test_a_stretch_that_follows_something_else_is_left_out():
    joined = _joined([stretch(1.5, 0.0), stretch(3.5, 0.05), stretch(5.5, 0.0)], np.array([0.0, 3.5]), 0.0)
    assert not isinstance(joined, Reason)
    assert joined.stretches == 2
    assert joined.line.offset_of(np.zeros(2)) == pytest.approx(0, abs=1e-6)


def test_stretches_that_scatter_make_a_line_less_sure():
    calm = _joined([stretch(1.5, 0.0), stretch(3.5, 0.0), stretch(5.5, 0.0)], np.array([0.0, 3.5]), 0.0)
    wild = _joined([stretch(1.5, 0.003), stretch(3.5, -0.003), stretch(5.5, 0.003)], np.array([0.0, 3.5]), 0.0)
    assert not isinstance(calm, Reason)
    assert not isinstance(wild, Reason)
    assert wild.line.cov[0, 0] > 2 * calm.line.cov[0, 0]


def test_the_renderer_draws_a_bare_top_s_seams_where_it_says(monkeypatch):
    """By where the light of a dark line is missing, on wood without figure."""
    from tests.scenes.render import light_of
    from tests.scenes.woods import WOODS, Wood

    scene = draw_bare(LINES, megapixels=(1.5, 1.5))
    monkeypatch.setitem(WOODS, scene.field_wood, Wood(WOODS[scene.field_wood].colour, 0.0, 0.1, 0.0))
    leaves = tuple(replace(leaf, lightness=1.0) for leaf in scene.leaves)
    seams = tuple(replace(seam, line_in=0.01, dark=True) for seam in scene.seams)
    scene = replace(scene, leaves=leaves, seams=seams, cards=(), lighting=replace(scene.lighting, slope=(0.0, 0.0)))
    light = light_of(scene)[..., 1]
    for seam in scene.seams:
        across = np.arange(-0.08, 0.0801, 0.002)
        places = seam.at(2.0) + np.linspace(-0.3, 0.3, 121)[:, None, None] * direction(seam.bearing)
        places = places + across[None, :, None] * right(direction(seam.bearing))
        px = scene.view.px(places).astype(np.float32)
        missing = 1 - cv2.remap(light, px[..., 0], px[..., 1], cv2.INTER_LINEAR).mean(axis=0) / np.median(light)
        assert np.sum(missing * across) / np.sum(missing) == pytest.approx(0, abs=0.0006)
