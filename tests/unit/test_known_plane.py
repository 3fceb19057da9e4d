"""The plane of a top without cards: scale and tilt from its round edge or from two marks, and what they are uncertain by."""

from __future__ import annotations

from math import comb

import cv2
import numpy as np
import pytest

from seamcheck.advise.known_notes import known_notes
from seamcheck.find.top_outline import find_outline
from seamcheck.plane.camera import Camera
from seamcheck.plane.known import TILT, KnownSolve, Lens, Seen, beyond_rim, solve_known

SIZE_PX = (4000, 3000)


def phone(rng: np.random.Generator, tilt: float, toward: float, height_in: float = 24.0, k1: float = 0.0) -> Camera:
    """Looking down on the plane's origin, leaning by `tilt` toward a bearing."""
    axis = np.array([np.cos(toward), np.sin(toward), 0.0]) * tilt
    rotation = cv2.Rodrigues(axis)[0] @ np.diag([1.0, -1.0, -1.0])
    focal = 3000 * np.exp(rng.normal(0, 0.02))
    return Camera(focal, 1.0, 2000.0, 1500.0, k1, 0, 0, 0, np.ravel(cv2.Rodrigues(rotation)[0]), np.array([0.1, -0.2, height_in]))


def rim(camera: Camera, rng: np.random.Generator, radius_in: float = 8.0, out_of_round: float = 0.0, noise_px: float = 0.3) -> np.ndarray:
    bearing = np.arange(0, 2 * np.pi, 0.02)
    radius = radius_in * (1 + out_of_round * np.cos(2 * bearing + 1))
    px = camera.px_from_plane(radius[:, None] * np.stack([np.sin(bearing), np.cos(bearing)], axis=1))
    return px + rng.normal(0, noise_px, px.shape)


def solved(camera: Camera, rng: np.random.Generator, rose_in: tuple[float, float] | None = (0.0, 0.0), **more: float) -> KnownSolve:
    rose = None if rose_in is None else camera.px_from_plane(np.array(rose_in))
    seen = Seen(SIZE_PX, 3000.0, True, 16.0, rim(camera, rng, **more), 0.3, rose_px=rose)
    return solve_known(seen, 120.0, np.array([2000.0, 1500.0]))


def scale_error(found: KnownSolve, camera: Camera) -> float:
    """Relative, at the circle's centre."""
    return found.camera.px_per_in_at(np.zeros(2)) / camera.px_per_in_at(np.zeros(2)) - 1


@pytest.mark.parametrize("tilt_deg", [0.0, 3.0, 9.0, 20.0])
def test_a_known_diameter_gives_the_scale(tilt_deg: float) -> None:
    rng = np.random.default_rng(int(tilt_deg))
    camera = phone(rng, np.radians(tilt_deg), 1.0)
    found = solved(camera, rng)
    assert abs(scale_error(found, camera)) < 0.005
    true, seen = (one.rotation[:, 2] for one in (camera, found.camera))
    assert np.degrees(np.arccos(min(1.0, true @ seen))) < 1.2


def test_the_scales_uncertainty_holds_the_truth_as_often_as_it_says() -> None:
    """20 scenes with lens, roundness, diameter, focal length and the rose's place drawn from what is supposed of them; binomial."""
    inside = 0
    for seed in range(20):
        rng = np.random.default_rng(100 + seed)
        camera = phone(rng, abs(rng.normal(0, 0.12)), rng.uniform(0, 6.3), k1=rng.normal(0, 0.04))
        middle = tuple(rng.normal(0, 0.06, 2))
        found = solved(camera, rng, middle, radius_in=8 + rng.normal(0, 0.009), out_of_round=rng.normal(0, 0.0012))
        inside += abs(scale_error(found, camera)) < 1.96 * found.u_scale
    fewer = sum(comb(20, k) * 0.95**k * 0.05 ** (20 - k) for k in range(inside + 1))
    assert fewer > 0.025
    assert found.u_scale < 0.01  # nor so wide that nothing could lie outside


def test_a_lens_that_another_photo_told_makes_the_scale_good_to_half_a_per_cent() -> None:
    """12 scenes, the lens told with an error as large as is said: u95 under half a per cent, and the truth inside as often as it says."""
    inside = 0
    for seed in range(12):
        rng = np.random.default_rng(200 + seed)
        k1, u_k1 = rng.normal(0, 0.03), 0.004
        camera = phone(rng, abs(rng.normal(0, 0.1)), rng.uniform(0, 6.3), k1=k1)
        edge = rim(camera, rng, 8 + rng.normal(0, 0.009), rng.normal(0, 0.0012))
        lens = Lens(k1 + rng.normal(0, u_k1), 0.0, u_k1**2, 0.0, 0.004**2)
        rose = camera.px_from_plane(rng.normal(0, 0.06, 2))
        found = solve_known(Seen(SIZE_PX, 3000.0, True, 16.0, edge, 0.3, rose_px=rose, lens=lens), 120.0, np.array([2000.0, 1500.0]))
        assert 1.96 * found.u_scale < 0.005
        inside += abs(scale_error(found, camera)) < 1.96 * found.u_scale
    assert sum(comb(12, k) * 0.95**k * 0.05 ** (12 - k) for k in range(inside + 1)) > 0.025


def test_the_bench_is_covered_and_the_top_is_not() -> None:
    rng = np.random.default_rng(2)
    found = solved(phone(rng, 0.1, 1.0), rng)
    pieces = [piece.astype(np.float32) for piece in beyond_rim(found)]

    def covered(distance: float, bearing: float) -> bool:
        place = (distance * np.sin(bearing), distance * np.cos(bearing))
        return any(cv2.pointPolygonTest(piece, place, False) >= 0 for piece in pieces)

    bearings = np.arange(0, 6.28, 0.1)
    assert not any(covered(7.85, one) for one in bearings)
    assert all(covered(8.05, one) and covered(14.0, one) for one in bearings)


def test_what_tells_the_two_poses_of_a_circle_apart_is_the_rose() -> None:
    rng = np.random.default_rng(3)
    camera = phone(rng, np.radians(11), 2.0)
    with_rose, without = solved(camera, rng), solved(camera, rng, None)

    def tilts(found: KnownSolve) -> int:
        return sum(source == TILT for source, _ in found.variants)

    assert tilts(without) == tilts(with_rose) + 1  # the other pose counts in the uncertainty
    corner = np.array([4.0, 0.0])
    px = camera.px_from_plane(corner)
    assert np.hypot(
        *(with_rose.camera.plane_from_px(px) - with_rose.camera.plane_from_px(camera.px_from_plane(np.zeros(2))))
    ) == pytest.approx(4.0, rel=0.01)


def test_an_edge_that_may_be_a_bands_is_uncertain_by_a_fifth() -> None:
    rng = np.random.default_rng(5)
    camera = phone(rng, 0.1, 1.0)
    edge = rim(camera, rng, 7.2)  # a band 0.8 in wide round it, unseen
    rose = camera.px_from_plane(np.zeros(2))
    found = solve_known(Seen(SIZE_PX, 3000.0, True, 16.0, edge, 0.3, False, rose_px=rose), 120.0, np.array([2000.0, 1500.0]))
    assert 0.05 < abs(scale_error(found, camera)) < 1.96 * found.u_scale
    assert any("may be a band's inner edge" in words for words in known_notes(found, 16.0))


def test_two_marks_alone_give_the_scale_and_leave_the_lean_open() -> None:
    rng = np.random.default_rng(7)
    camera = phone(rng, np.radians(6), 0.5)
    marks = camera.px_from_plane(np.array([[-3.0, 0.5], [3.0, 0.5]]))
    found = solve_known(Seen(SIZE_PX, 3000.0, True, marks_px=marks, marks_in=6.0), 125.0, np.array([2000.0, 1500.0]))
    error = found.camera.px_per_in_at(found.camera.plane_from_px(marks.mean(axis=0))) / camera.px_per_in_at(np.array([0.0, 0.5])) - 1
    assert abs(error) < 1.96 * found.u_scale < 0.08
    assert any("how far the phone leaned" in words for words in known_notes(found, None))


def test_an_edge_and_two_marks_need_no_diameter() -> None:
    rng = np.random.default_rng(8)
    camera = phone(rng, np.radians(8), 2.5)
    marks = camera.px_from_plane(np.array([[-4.0, 1.0], [4.0, -1.0]]))
    apart = float(np.hypot(8, 2))
    seen = Seen(SIZE_PX, 3000.0, True, None, rim(camera, rng), 0.3, True, marks, apart, camera.px_from_plane(np.zeros(2)))
    found = solve_known(seen, 120.0, np.array([2000.0, 1500.0]))
    assert found.radius_in == pytest.approx(8.0, rel=0.015)
    assert abs(scale_error(found, camera)) < 0.01


def top_picture(tilt: float, band: bool) -> tuple[np.ndarray, np.ndarray]:
    """A drawn round top on a bench, both with grain; and the rim's places."""
    rng = np.random.default_rng(1)
    rotation = cv2.Rodrigues(np.array([tilt, 0, 0.0]))[0] @ np.diag([1.0, -1, -1])
    camera = Camera(1125.0, 1.0, 599.5, 449.5, 0, 0, 0, 0, np.ravel(cv2.Rodrigues(rotation)[0]), np.array([0.2, 0.1, 24.0]))
    bearing = np.arange(0, 2 * np.pi, 0.01)
    way = np.stack([np.sin(bearing), np.cos(bearing)], axis=1)
    image = np.clip(rng.normal(120, 6, (900, 1200, 3)), 0, 255).astype(np.uint8)
    for radius, tone in ((8.0, (60, 80, 120)), (7.3, (150, 190, 215))) if band else ((8.0, (150, 190, 215)),):
        cv2.fillPoly(image, [np.round(camera.px_from_plane(radius * way)).astype(np.int32)], tone)
    return cv2.GaussianBlur(image, (0, 0), 1.0), camera.px_from_plane(8.0 * way)


@pytest.mark.parametrize("tilt", [0.0, 0.2])
@pytest.mark.parametrize("band", [True, False])
def test_the_outline_is_found_before_any_camera_is_known(tilt: float, band: bool) -> None:
    image, truth = top_picture(tilt, band)
    found = find_outline(image, np.array([610.0, 440.0]))
    assert found is not None
    away = [np.hypot(*(truth - place).T).min() for place in found.places_px]
    assert np.quantile(away, 0.9) < 4.0
    assert found.is_rim == band  # a band within says that it's the rim


def test_no_outline_is_found_where_there_is_none() -> None:
    image = np.clip(np.random.default_rng(2).normal(120, 20, (900, 1200, 3)), 0, 255).astype(np.uint8)
    assert find_outline(image, np.array([600.0, 450.0])) is None


@pytest.mark.parametrize("tilt", [0.0, 0.17])
def test_a_rim_of_nearly_the_benchs_tone_is_found_round_a_band_that_shows_well(tilt: float) -> None:
    """An eighth lighter than the bench, whose grain is a third of that."""
    image, truth = top_picture(tilt, True)
    inside = np.zeros(image.shape[:2], np.uint8)
    cv2.fillPoly(inside, [np.round(truth).astype(np.int32)], 1)
    light = image.mean(axis=2) > 130
    rng = np.random.default_rng(3)
    grain = cv2.GaussianBlur(rng.normal(0, 1, image.shape[:2]), (0, 0), 2.0)
    tone = 120 * (1 + 0.125 * inside + 0.04 * grain / grain.std())
    image = np.where((light & (inside > 0))[..., None], image, np.clip(tone, 0, 255)[..., None]).astype(np.uint8)
    found = find_outline(image, np.array([610.0, 440.0]))
    assert found is not None
    away = [np.hypot(*(truth - place).T).min() for place in found.places_px]
    assert np.median(away) < 3.0
    assert found.is_rim
