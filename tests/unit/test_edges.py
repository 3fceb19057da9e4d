"""Edges of lobes on strips that the tests draw: where they lie, and whether the stated uncertainty holds."""

from __future__ import annotations

from dataclasses import replace
from math import comb

import cv2
import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from scipy.special import ndtr

from seamcheck.edges import LinearPatch
from seamcheck.measure.edge_fit import measure_edge
from seamcheck.measure.edge_profile import Beyond, Flush, Half, Plain, Shaded
from seamcheck.measure.edge_task import EdgeTask, Wood
from seamcheck.measure.shade_fit import EdgeShade, learn_shading
from seamcheck.measure.shading import Shading
from seamcheck.plane.camera import Camera

PPI = 190.0
HEIGHT = 0.024


def flat_camera() -> Camera:
    """Straight above the plane, 190 px/in at the face's height, the frame's origin at pixel (400, 400)."""
    down = cv2.Rodrigues(np.diag([1.0, -1.0, -1.0]))[0].ravel()
    return Camera(PPI * (18.0 - HEIGHT), 1.0, 400.0, 400.0, 0, 0, 0, 0, down, np.array([0.0, 0.0, 18.0]))


def scene(profile: np.ndarray, places_in: np.ndarray, rng: np.random.Generator, grain: float = 0.05) -> LinearPatch:
    """A patch whose light depends on x alone (profile at places), with grain along y and noise, blurred by .8 px."""
    # A pixel gathers the light of its whole width.
    x = (np.arange(800)[:, None] - 400 + (np.arange(32) + 0.5) / 32 - 0.5) / PPI
    light = np.interp(x, places_in, profile).mean(axis=1)[None, :] * np.ones((800, 1))
    light = light * np.exp(grain * gaussian_filter(rng.normal(size=(800, 800)), (12, 0.7)) * 6)
    light = cv2.GaussianBlur(light, (0, 0), 0.8) + rng.normal(0, 0.002, light.shape)
    return LinearPatch(np.repeat(np.clip(light, 0, 1)[:, :, None], 3, axis=2).astype(np.float32), 0, 0)


def task(beyond: Beyond, off_in: float = 0.012) -> EdgeTask:
    """An edge from (off, -1.2) to (off, 1.2), the outside to the right (+x)."""
    room = np.array([[0.0, 0.4, 0.5], [2.4, 0.4, 0.5]])
    return EdgeTask(np.array([off_in, -1.2]), np.array([off_in, 1.2]), 1, beyond, room, 0.06, 0.03, 0.02)


X = np.linspace(-2.2, 2.2, 20001)


def test_a_plain_step_is_found_within_u95() -> None:
    fit = measure_edge(scene(np.where(X < 0.004, 0.1, 0.4), X, np.random.default_rng(1)), flat_camera(), task(Plain()), HEIGHT)
    assert fit is not None
    u95 = 1.96 * np.hypot(fit.line.u_model_in, fit.line.u_sampling_at(np.array([0.004, 0.0])))
    assert abs(fit.line.offset_of(np.array([0.004, 0.0]))) < u95 < 1 / PPI


def test_an_edge_under_tape_from_end_to_end_is_not_there() -> None:
    covered = replace(task(Plain()), inside_wood=Wood(np.log(np.array([0.02, 0.05, 0.3])), np.full(3, 0.05)))
    assert measure_edge(scene(np.where(X < 0.004, 0.1, 0.4), X, np.random.default_rng(1)), flat_camera(), covered, HEIGHT) is None


@pytest.mark.parametrize("seed", range(4))
def test_the_last_tenth_of_an_edge_that_tape_leaves_open_says_where_it_lies_there(seed: int) -> None:
    patch = scene(np.where(X < 0.004, 0.1, 0.4), X, np.random.default_rng(seed), grain=0.02)
    open_from_in = 0.95  # of -1.2 to 1.2
    patch.picture[round(400 - open_from_in * PPI) :] = [0.5, 0.2, 0.05]
    wood = Wood(np.log(np.full(3, 0.1)), np.full(3, 0.02))
    fit = measure_edge(patch, flat_camera(), replace(task(Plain()), inside_wood=wood), HEIGHT)
    assert fit is not None
    end = np.array([0.004, 1.2])
    assert abs(fit.line.offset_of(end)) < 1.96 * np.hypot(fit.line.u_model_in, fit.line.u_sampling_at(end)) < 2 / PPI


@pytest.mark.parametrize("seed", range(4))
def test_figure_without_a_step_is_no_flush_edge(seed: int) -> None:
    figured = scene(np.where(X < 0, 0.10, 0.102), X, np.random.default_rng(seed), grain=0.1)
    assert measure_edge(figured, flat_camera(), task(Flush()), HEIGHT) is None


def test_a_glue_line_beside_pale_wood_does_not_move_its_edge() -> None:
    profile = np.where(X < 0, 0.5, np.where(X < 0.006, 0.02, 0.25))
    fit = measure_edge(scene(profile, X, np.random.default_rng(2)), flat_camera(), task(Flush(), 0.005), HEIGHT)
    assert fit is not None
    assert abs(fit.line.offset_of(np.zeros(2))) < 2 * fit.line.u_model_in + 0.0005


def test_brown_glue_on_a_dark_field_is_not_taken_for_the_lobe() -> None:
    """Lighter than the field, darker than the wood: the edge is where the wood ends, not the glue."""
    for seed in range(4):
        profile = np.where(X < 0, 0.11, np.where(X < 0.006, 0.05, 0.027))
        fit = measure_edge(scene(profile, X, np.random.default_rng(seed)), flat_camera(), task(Flush(), 0.005), HEIGHT)
        assert fit is not None
        assert abs(fit.line.offset_of(np.zeros(2))) < 2 * np.hypot(fit.line.u_model_in, np.sqrt(fit.line.cov[0, 0]))


def shaded_field(shading: Shading) -> np.ndarray:
    return 0.3 * shading.at(np.maximum(X, 0), np.array([1.0, 0.0]))


@pytest.fixture
def side_lamp() -> Shading:
    return Shading(0.35, np.array([[0.55, 0.035, 0.0, 0.008], [0.10, -0.02, 0.01, 0.012]]), HEIGHT)


def test_dark_wood_in_its_own_shadow(side_lamp: Shading) -> None:
    """The strongest gradient is the shadow's far edge, .035 in out; the wood's edge is where the wood ends."""
    profile = np.where(X < 0, 0.07, shaded_field(side_lamp))
    patch = scene(profile, X, np.random.default_rng(3), grain=0.02)
    fit = measure_edge(patch, flat_camera(), task(Shaded(side_lamp, np.array([1.0, 0.0]), 0.0)), HEIGHT)
    assert fit is not None
    assert abs(fit.line.offset_of(np.zeros(2))) < max(0.002, 2.5 * fit.line.u_model_in)


def test_shade_is_learnt_from_clear_edges(side_lamp: Shading) -> None:
    x = np.linspace(0.008, 0.12, 30)
    rng = np.random.default_rng(4)
    edges = []
    for angle in np.linspace(0, 2 * np.pi, 8, endpoint=False):
        normal = np.array([np.sin(angle), np.cos(angle)])
        edges.append(EdgeShade(normal, x, 0.3 * side_lamp.at(x, normal) * (1 + rng.normal(0, 0.005, 30))))
    learnt = learn_shading(edges, HEIGHT)
    assert learnt is not None
    for angle in (0.4, 1.6, 3.0, 5.1):  # normals between those that taught
        normal = np.array([np.sin(angle), np.cos(angle)])
        assert np.abs(learnt.at(x, normal) - side_lamp.at(x, normal)).max() < 0.05


def test_a_light_overhead_darkens_the_field_at_the_edge_s_foot() -> None:
    """A lamp straight above, as broad as a ceiling's, and a window: the foot of the edge, where nothing was sampled, is foretold."""
    true = Shading(0.2, np.array([[0.4, 0.035, -0.02, 0.015], [0.0, -0.03, 0.0, 0.01], [0.4, 0.0, 0.0, 0.009]]), HEIGHT)
    x, rng = np.linspace(0.010, 0.12, 30), np.random.default_rng(11)
    angles = np.linspace(0.1, 2 * np.pi + 0.1, 8, endpoint=False)
    normals = np.stack([np.sin(angles), np.cos(angles)], axis=1)
    learnt = learn_shading([EdgeShade(n, x, 0.3 * true.at(x, n) * (1 + rng.normal(0, 0.005, 30))) for n in normals], HEIGHT)
    assert learnt is not None
    foot = np.linspace(0.0, 0.010, 6)
    off = np.array([learnt.at(foot, n) - true.at(foot, n) for n in normals])
    assert np.sqrt(np.mean(off**2)) < 0.06  # of a fall from 1 to .3


def test_dark_wood_s_side_is_no_lighter_than_its_face() -> None:
    """The camera sees .010 in of the side in the face, dark too, and the field's foot lies darker than was learnt.

    A side as light as the field would explain that, with the edge .010 in too far out; no such wood is.
    """
    side_in, normal = 0.010, np.array([1.0, 0.0])
    learnt = Shading(0.7, np.array([[0.2, -0.035, 0.0, 0.01], [0.1, 0.0, 0.0, 0.01]]), HEIGHT)
    true = Shading(0.65, np.array([[0.1, -0.035, 0.0, 0.01], [0.25, 0.035, 0.0, 0.006]]), HEIGHT)
    beyond = np.where(side_in > X, 0.04, 0.5 * true.at(np.maximum(X - side_in, 0), normal))
    patch = scene(np.where(X < 0, 0.05, beyond), X, np.random.default_rng(5), grain=0.02)
    fit = measure_edge(patch, flat_camera(), task(Shaded(learnt, normal, -side_in)), HEIGHT)
    assert fit is not None
    assert abs(fit.line.offset_of(np.zeros(2))) < min(0.006, 1.96 * fit.line.u_model_in)


def test_an_edge_known_to_be_doubtful_misleads_the_shade_less(side_lamp: Shading) -> None:
    """Two edges that face the shadow were read .012 in too far out: told so, the others are believed."""
    x, rng = np.linspace(0.008, 0.12, 30), np.random.default_rng(7)

    def learnt(u_place_in: float) -> Shading:
        edges = []
        for angle in np.radians([0, 45, 80, 100, 150, 200, 250, 300]):
            normal = np.array([np.sin(angle), np.cos(angle)])
            odd = 0.012 if 70 < np.degrees(angle) < 110 else 0.0
            light = 0.3 * side_lamp.at(x + odd, normal) * (1 + rng.normal(0, 0.005, 30))
            edges.append(EdgeShade(normal, x, light, u_place_in if odd else 0.0005))
        shading = learn_shading(edges, HEIGHT)
        assert shading is not None
        return shading

    def off(shading: Shading) -> float:
        normal = np.array([1.0, 0.0])
        return float(np.abs(shading.at(x, normal) - side_lamp.at(x, normal)).max())

    assert off(learnt(0.01)) < 0.5 * off(learnt(0.0005))


def test_sky_past_a_wall_is_the_closed_form() -> None:
    """View factor of a half space cut by a wall of height h at distance x: (1 + x / sqrt(x2 + h2)) / 2; half at the wall's foot."""
    only_sky = Shading(1.0, np.array([[0.0, 0.0, 0.0, 0.01], [0.0, 0.0, 0.0, 0.01]]), HEIGHT)
    seen = only_sky.at(np.array([0.0, HEIGHT, 100.0]), np.array([1.0, 0.0]))
    assert seen == pytest.approx([0.5, 0.5 + 0.25 * 2**0.5, 1.0], abs=1e-6)


def test_own_seam_reads_the_middle_of_its_glue_line_within_u() -> None:
    profile = np.where(X < -0.001, 0.4, np.where(X < 0.001, 0.01, 0.06))
    fit = measure_edge(scene(profile, X, np.random.default_rng(5)), flat_camera(), task(Half(), 0.004), HEIGHT)
    assert fit is not None
    assert abs(fit.line.offset_of(np.zeros(2))) < 1.96 * np.hypot(fit.line.u_model_in, np.sqrt(fit.line.cov[0, 0])) + 1e-4


def test_mirrored_scene_gives_the_mirrored_edge() -> None:
    rng = np.random.default_rng(6)
    patch = scene(np.where(X < 0.007, 0.12, 0.3), X, rng)
    mirrored = LinearPatch(np.ascontiguousarray(patch.picture[:, ::-1]), 0, 0)
    right = measure_edge(patch, flat_camera(), task(Plain(), 0.0), HEIGHT)
    room = np.array([[0.0, 0.4, 0.5], [2.4, 0.4, 0.5]])
    left_task = EdgeTask(np.array([-1 / PPI, -1.2]), np.array([-1 / PPI, 1.2]), -1, Plain(), room, 0.06, 0.03, 0.02)
    left = measure_edge(mirrored, flat_camera(), left_task, HEIGHT)
    assert right is not None
    assert left is not None
    # The mirror's axis lies half a pixel off the frame's origin (800 columns, origin at 400).
    assert left.line.point_in[0] == pytest.approx(-right.line.point_in[0] - 1 / PPI, abs=2e-4)


def test_stated_uncertainty_holds_19_times_in_20() -> None:
    """Steps of random place, contrast and blur in grained wood: beyond u95 no more often than the binomial allows (5 %)."""
    rng = np.random.default_rng(7)
    trials, inside = 40, 0
    for _ in range(trials):
        at, inner, outer = rng.uniform(-0.02, 0.02), rng.uniform(0.05, 0.5), rng.uniform(0.05, 0.5)
        if abs(np.log(inner / outer)) < 0.5:
            outer = inner * 2 if inner < 0.25 else inner / 2
        profile = inner + (outer - inner) * ndtr((X - at) * PPI / rng.uniform(0.1, 0.8))
        fit = measure_edge(scene(profile, X, rng), flat_camera(), task(Plain(), rng.uniform(-0.02, 0.02)), HEIGHT)
        assert fit is not None
        u = np.hypot(np.sqrt(fit.line.cov[0, 0]), fit.line.u_model_in)
        inside += abs(fit.line.offset_of(np.array([at, 0.0]))) < 1.96 * u
    chance_of_fewer = sum(comb(trials, k) * 0.95**k * 0.05 ** (trials - k) for k in range(inside + 1))
    assert chance_of_fewer > 0.05


def test_an_own_seam_s_glue_lies_evenly_on_both_halves() -> None:
    """Seen from the other half, each design is its own mirror image: the slit is centred on the seam."""
    x = np.linspace(-6, 6, 49)
    for design in Half.designs([Half()], x, 0.9, np.array([1 / PPI]))[0]:
        mirrored = design[:, ::-1]  # the places run the other way
        assert design[0] == pytest.approx(mirrored[2], abs=1e-12)
    widths = [float(np.trapezoid(1 - design[0] - design[2], x)) / PPI for design in Half.designs([Half()], x, 0.9, np.array([1 / PPI]))[0]]
    assert widths == pytest.approx([0.0, 0.0015, 0.003, 0.005], abs=1e-6)


def test_an_edge_smeared_by_the_phone_s_motion_is_found_within_u95() -> None:
    """Moved 8 px across it: as a box, known from elsewhere, it costs sharpness and moves nothing."""
    errors, u95 = [], []
    for seed in range(12):
        place = 0.001 * (seed - 6)
        sharp = scene(np.where(place > X, 0.35, 0.08), X, np.random.default_rng(300 + seed))
        smeared = LinearPatch(cv2.blur(np.asarray(sharp.picture), (8, 1), anchor=(3, 0)), 0, 0)
        moved = replace(task(Plain()), blurs_px=(0.7, 0.85, 1.1), smear_px=8.0, softness_px=4.0)
        fit = measure_edge(smeared, flat_camera(), moved, HEIGHT)
        assert fit is not None
        # The filter's middle lies half a pixel to the right of the pixel that it's written to.
        errors.append(float(fit.line.offset_of(np.array([place - 0.5 / PPI, 0.0]))))
        u95.append(1.96 * float(np.hypot(fit.line.u_model_in, fit.line.u_sampling_at(np.array([place, 0.0])))))
    inside = int((np.abs(errors) <= np.array(u95)).sum())
    assert inside >= 10  # of 12, each with 95 in 100: fewer once in 50 tries
    assert np.mean(u95) < 2 / PPI
    assert abs(np.mean(errors)) < 0.3 / PPI
