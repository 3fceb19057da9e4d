"""The field's light beside a raised lobe, as a phone that sharpens draws it, on a photo that the test draws."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from seamcheck.basis.lines import Line
from seamcheck.edges import NO_SHARPENING, LinearPatch, Sharpening, srgb_decode, srgb_encode
from seamcheck.kite import FoundLobe, Kite
from seamcheck.measure.face import Face
from seamcheck.measure.lobe_context import Context
from seamcheck.measure.lobe_shade import _shades_beside
from seamcheck.measure.shade_fit import EdgeShade
from seamcheck.measure.shading import Shading
from seamcheck.optics import Optics
from seamcheck.plane.camera import Camera

PPI, HEIGHT = 190.0, 0.024
SHADE = Shading(0.35, np.array([[0.55, 0.035, 0.0, 0.008], [0.10, -0.02, 0.01, 0.012]]), HEIGHT)
RIGHT = np.array([1.0, 0.0])


def camera() -> Camera:
    """Straight above the plane, 190 px/in at the face's height, the frame's origin at pixel (400, 400)."""
    down = cv2.Rodrigues(np.diag([1.0, -1.0, -1.0]))[0].ravel()
    return Camera(PPI * (18.0 - HEIGHT), 1.0, 400.0, 400.0, 0, 0, 0, 0, down, np.array([0.0, 0.0, 18.0]))


def photo(strength: float, radius_px: float) -> LinearPatch:
    """Light wood (left of x = 0) on a darker field in its shade, blurred by .8 px; then sharpened as phones do, in codes."""
    x = (np.arange(800) - 400) / PPI
    light = np.where(x < 0, 0.5, 0.12 * SHADE.at(np.maximum(x, 0), RIGHT))[None, :] * np.ones((800, 1))
    code = srgb_encode(cv2.GaussianBlur(light, (0, 0), 0.8))
    code = code + strength * (code - cv2.GaussianBlur(code, (0, 0), radius_px))
    return LinearPatch(np.repeat(srgb_decode(code)[:, :, None], 3, axis=2).astype(np.float32), 0, 0)


def beside(strength: float, radius_px: float, patch: LinearPatch) -> list[EdgeShade]:
    """What the edge at x = 0 teaches: with nothing undone, and with the sharpening undone."""
    lobe = FoundLobe(1, Kite(np.array([-0.5, -1.6]), np.array([-1.0, -1.2]), np.array([0.0, 1.6]), np.array([0.0, -1.2])), "cw")
    optics = Optics(0.8, Sharpening(strength, radius_px))
    context = Context(patch, camera(), [lobe], Face(HEIGHT, 0.0, True), {}, optics)
    line = Line(np.zeros(2), 0.0, np.zeros((2, 2)), 0.0, HEIGHT, 1.2)
    return _shades_beside(context, 0, 1, line, [NO_SHARPENING, optics.sharpening])


def test_a_field_that_is_blacked_out_teaches_nothing() -> None:
    patch = photo(0.0, 1.0)
    patch.picture[:, 405:] = 0
    assert beside(0.0, 1.0, patch) == []


@pytest.mark.parametrize(("strength", "radius_px"), [(0.5, 2.0), (1.0, 1.0)])
def test_a_sharpened_photo_teaches_the_shade_that_is_there_once_that_is_undone(strength: float, radius_px: float) -> None:
    away: dict[bool, float] = {}
    for undone, seen in zip((False, True), beside(strength, radius_px, photo(strength, radius_px)), strict=True):
        clear = seen.x_in > 2 / PPI  # of the wood's own light, which the blur carries so far
        true = SHADE.at(seen.x_in[clear], RIGHT)
        away[undone] = float(np.abs(seen.light[clear] / seen.light[-1] - true / true[-1]).max())
    assert away[True] < 0.02
    assert away[False] > 2 * away[True]
