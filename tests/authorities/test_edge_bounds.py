"""Straight edges against what can be known of one at best, and against the tone curve's pull.

Sources: a blurred step's place in noisy samples can't be known better than var = 2 sqrt(pi) s sigma^2 / A^2 px^2 a row (step A,
Gaussian blur s px, noise sigma: the Cramer-Rao bound; for discrete samples: Gatherer, Stanford CSL-TR-93-560, 1993); sRGB's
tone curve: IEC 61966-2-1.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.special import ndtr

from seamcheck.edges import LinearPatch, srgb_decode, srgb_encode
from seamcheck.measure.edge_fit import measure_edge
from seamcheck.measure.edge_profile import Plain
from seamcheck.measure.edge_task import EdgeFit, EdgeTask
from seamcheck.plane.camera import Camera

PPI = 200.0
SIZE_PX, MIDDLE_PX = 400, 200
ROWS = 180


def camera() -> Camera:
    """Straight above the plane, 200 px/in, the frame's origin at pixel (200, 200)."""
    down = cv2.Rodrigues(np.diag([1.0, -1.0, -1.0]))[0].ravel()
    return Camera(PPI * 18.0, 1.0, MIDDLE_PX, MIDDLE_PX, 0, 0, 0, 0, down, np.array([0.0, 0.0, 18.0]))


def step(at_px: float, dark: float, light: float, blur_px: float) -> np.ndarray:
    """(h, w) linear light: dark left of a vertical edge at_px right of the origin, light right of it, blurred."""
    across = ndtr((np.arange(SIZE_PX) - MIDDLE_PX - at_px) / blur_px)
    return np.broadcast_to(dark + (light - dark) * across, (SIZE_PX, SIZE_PX))


def measured(light: np.ndarray, blur_px: float) -> EdgeFit:
    """With the photo's blur known, as the cards teach it: reading between two pixels adds a sixth of a pixel squared on average."""
    half = ROWS / PPI / 2
    room = np.array([[0.0, 0.3, 0.3], [2 * half, 0.3, 0.3]])
    task = EdgeTask(
        np.array([0.004, -half]), np.array([0.004, half]), 1, Plain(), room, 0.04, 0.02, 0.02, (float(np.hypot(blur_px, 6**-0.5)),)
    )
    patch = LinearPatch(np.repeat(light[:, :, None], 3, axis=2).astype(np.float32), 0, 0)
    fit = measure_edge(patch, camera(), task, 0.0)
    assert fit is not None
    return fit


def off_px(fit: EdgeFit, at_px: float) -> float:
    return -PPI * fit.line.offset_of(np.array([at_px / PPI, 0.0]))


@pytest.mark.parametrize(("dark", "light", "pull"), [(0.05, 0.5, 0.392), (0.1, 0.4, 0.247), (0.02, 0.8, 0.570)])
def test_an_edge_is_placed_in_linear_light(dark: float, light: float, pull: float) -> None:
    """Half way in code values lies toward the dark side by `pull` blurs; half way in light doesn't."""
    blur = 1.2
    fine = np.linspace(-3, 3, 60001)
    coded = srgb_encode(dark + (light - dark) * ndtr(fine))
    half_way = (srgb_encode(np.array(dark)) + srgb_encode(np.array(light))) / 2
    assert fine[int(np.argmin(np.abs(coded - half_way)))] == pytest.approx(-pull, abs=5e-4)
    # An 8-bit photo of that edge, measured: within what it's uncertain by, which is less than the pull.
    photo = np.round(255 * srgb_encode(step(0.3, dark, light, blur))) / 255
    fit = measured(srgb_decode(photo), blur)
    assert abs(off_px(fit, 0.3)) < min(0.5 * pull * blur, 2 * PPI * fit.line.u_model_in)


def test_no_edge_is_claimed_better_than_can_be() -> None:
    step_size, sigma, blur = 0.3, 0.006, 1.0
    bound_px = np.sqrt(2 * np.sqrt(np.pi) * blur) * sigma / step_size / np.sqrt(ROWS)
    assert bound_px == pytest.approx(0.0028, abs=5e-5)  # as with A 100, sigma 2, blur 1, 180 rows
    rng = np.random.default_rng(11)
    places = rng.uniform(-0.5, 0.5, 12)
    fits = [measured(step(at, 0.1, 0.4, blur) + rng.normal(0, sigma, (SIZE_PX, SIZE_PX)), blur) for at in places]
    errors = np.array([off_px(fit, at) for fit, at in zip(fits, places, strict=True)])
    for fit in fits:
        assert PPI * np.sqrt(fit.line.cov[0, 0]) > bound_px
        assert PPI * fit.line.u_model_in < 0.5
    # Noise alone scatters them, by no less than the bound: twelve tell a spread to a fifth, and 60 % of it is two fifths off.
    assert 0.6 * bound_px < errors.std(ddof=1) < 0.1
    assert np.abs(errors).max() < 0.3
