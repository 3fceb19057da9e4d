"""The renderer of made-up photos puts things where it says: its truth is only worth what these say."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from tests.scenes.draw import Scene, draw
from tests.scenes.geometry import Care, FieldSeam, direction, lay, right
from tests.scenes.light import PLAN_PPI, Lamp, lamp_lost, sky_lost
from tests.scenes.render import light_of, render
from tests.scenes.view import Phone
from tests.scenes.woods import WOODS, Wood

PLAIN_PHONE = Phone(0.7, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 0.0, 100, False)


def plain_scene(seed: int, stage: str, monkeypatch: pytest.MonkeyPatch) -> Scene:
    """A small scene of woods without figure or glue, through a phone without noise or sharpening."""
    scene = draw(seed, stage, megapixels=(1.2, 1.2))
    for name in (scene.field_wood, scene.dark_wood, scene.light_wood):
        monkeypatch.setitem(WOODS, name, Wood(WOODS[name].colour, 0.0, 0.1, 0.0))
    pockets = tuple((0.0, 0.0, 0.0, 0.0) for _ in scene.rose.lobes)
    leaves = tuple(replace(leaf, lightness=1.0) for leaf in scene.leaves)
    return replace(
        scene, phone=PLAIN_PHONE, pockets_in=pockets, leaves=leaves, tapes=(), lighting=replace(scene.lighting, slope=(0.0, 0.0))
    )


def test_a_card_lies_where_its_truth_says(monkeypatch):
    scene = plain_scene(3, "inlaid", monkeypatch)
    grey = cv2.cvtColor(cv2.imdecode(np.frombuffer(render(scene), np.uint8), cv2.IMREAD_COLOR), cv2.COLOR_BGR2GRAY)
    misses = []
    for card in scene.cards:
        drawn = np.array([[x, y] for y in (0.5, 0.0, -0.5) for x in (-0.75, -0.25, 0.25, 0.75)])
        px = scene.view.px(card.place(drawn * np.array(card.print_scale)), 0.004)
        px = px[np.all((px > 15) & (px < np.array(grey.shape[::-1]) - 16), axis=1)]
        stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 1e-3)
        misses.append(cv2.cornerSubPix(grey, px.astype(np.float32)[:, None].copy(), (5, 5), (-1, -1), stop)[:, 0] - px)
    miss = np.concatenate(misses)
    assert len(miss) > 20
    assert np.abs(miss.mean(axis=0)).max() < 0.01
    assert np.sqrt((miss**2).mean()) < 0.03


def test_a_flush_edge_lies_where_its_truth_says(monkeypatch):
    """By the light summed across it, which no blur moves."""
    scene = plain_scene(3, "inlaid", monkeypatch)
    light = light_of(scene)[..., 1]
    for lobe in scene.rose.lobes:
        for edge, near in ((lobe.edges[1], 0.55), (lobe.edges[2], 0.45)):
            unit = (edge.b - edge.a) / np.hypot(*(edge.b - edge.a))
            middle = edge.a + near * (edge.b - edge.a)
            px_in = 1 / np.hypot(*(scene.view.px(middle + 0.5 * unit) - scene.view.px(middle - 0.5 * unit)))
            across = np.arange(-5, 5.01, 0.25)  # px, outward
            places = middle + np.linspace(-0.2, 0.2, 81)[:, None, None] * unit - (across * px_in)[None, :, None] * right(unit)
            truth = np.mean([edge.inside(place) for place in places[:, across == 0, :]]) / px_in
            px = scene.view.px(places)
            profile = map_coordinates(light, [px[..., 1], px[..., 0]], order=1).mean(axis=0)
            inner, outer = profile[:6].mean(), profile[-6:].mean()
            place = np.sum((profile - outer) / (inner - outer)) * 0.25 - 5.125
            assert place == pytest.approx(truth, abs=0.02)


def test_a_raised_point_leans_as_similar_triangles_say(monkeypatch):
    scene = plain_scene(1, "dry-fit", monkeypatch)
    eye = -scene.view.rotation.T @ scene.view.translation
    lobe = scene.rose.lobes[0]
    seen = scene.view.plan(scene.tip_px(lobe)[None], 0.0)[0]
    expected = lobe.tip_in + (lobe.tip_in - eye[:2]) * scene.height_in / (eye[2] - scene.height_in)
    assert seen == pytest.approx(expected, abs=1e-6)


def test_the_map_of_samples_is_the_camera_s():
    scene = draw(5, megapixels=(1.0, 1.0))
    plan = scene.view.plan_map(0.0, 2)
    rows, columns = np.array([0, 3, 700, scene.view.height * 2 - 1]), np.array([0, 10, 801, scene.view.width * 2 - 1])
    px = scene.view.px(plan[rows, columns].astype(float))
    assert px[:, 0] == pytest.approx((columns + 0.5) / 2 - 0.5, abs=0.01)
    assert px[:, 1] == pytest.approx((rows + 0.5) / 2 - 0.5, abs=0.01)


def test_a_long_wall_hides_half_the_sky_at_its_foot():
    """(1 - d / sqrt(d^2 + t^2)) / 2 at distance d of an endless wall of height t: half the difference of two sines."""
    cover = np.zeros((400, 400), np.float32)
    cover[:, :200] = 1
    height_in = 0.03
    lost = sky_lost(cover, height_in)[200]
    distance = (np.arange(200, 260) - 199.5) / PLAN_PPI
    assert lost[200:260] == pytest.approx((1 - distance / np.hypot(distance, height_in)) / 2, abs=0.01)


def test_a_lamp_throws_a_shadow_of_its_height_away_from_itself():
    cover = np.zeros((300, 300), np.float32)
    cover[:, :150] = 1
    lamp = Lamp(bearing=np.radians(270), height=np.radians(45), size=0.01, share=1.0)
    lost = lamp_lost(cover, 0.04, lamp)[150]
    assert lost[150:].sum() / PLAN_PPI == pytest.approx(0.04, abs=0.002)  # at 45 degrees as long as the wall is high
    away = replace(lamp, bearing=np.radians(90))
    assert lamp_lost(cover, 0.04, away)[150][151:].max() < 0.01


def test_work_without_fault_has_no_offsets():
    seams = tuple(FieldSeam(np.zeros(2), 0.3 + k * np.pi / 4, 0.0, True) for k in range(8))
    perfect = Care(0, 0, 0, 0, 0, 0, 0, 0)
    rose = lay(np.random.default_rng(1), seams, 4, 2, 1.0, 3.0, (0.7, 2.6), np.zeros(2), 0.0, perfect)
    for lobe, seam in zip(rose.lobes, rose.seam_of, strict=True):
        assert seams[seam].offset_of(lobe.tip_in) == pytest.approx(0, abs=1e-9)
        assert lobe.own_offset_in == pytest.approx(0, abs=1e-9)
        assert np.degrees(lobe.root_angle) == pytest.approx(90 if lobe.ring == 1 else np.degrees(rose.lobes[4].root_angle), abs=1e-6)
    assert all(joint.openings == pytest.approx(0.0015, abs=1e-6) for joint in rose.joints)
    assert rose.centre_in == pytest.approx([0, 0], abs=1e-9)


def test_an_offset_is_positive_clockwise():
    seam = FieldSeam(np.zeros(2), np.radians(90), 0.0, True)  # toward +x
    assert seam.offset_of(np.array([3.0, -0.02])) == pytest.approx(0.02)
    assert right(direction(0.0)) == pytest.approx([1, 0])


def test_the_same_seed_gives_the_same_photo():
    first, again, other = (render(draw(7, megapixels=(0.5, 0.5), noise_seed=n)) for n in (0, 0, 1))
    assert first == again
    assert first != other
