"""The tone curve, the lens model and the lean of a raised piece against outside values."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seamcheck.edges import SRGB_TO_LINEAR, srgb_decode, srgb_encode
from seamcheck.plane.adjust import FILM_DIAGONAL_MM
from seamcheck.plane.camera import Camera


def test_srgb_of_iec_61966_2_1() -> None:
    assert float(srgb_decode(np.array(0.5))) == pytest.approx(0.21404114, abs=5e-9)
    assert float(srgb_encode(np.array(0.18))) == pytest.approx(0.46135613, abs=5e-9)


def test_the_photos_table_is_the_standards_curve() -> None:
    """IEC 61966-2-1: straight below .04045, a power of 2.4 above; here code by code, as 8-bit photos hold it."""
    for code in (0, 1, 10, 11, 119, 128, 255):
        v = code / 255
        assert float(SRGB_TO_LINEAR[code]) == pytest.approx(v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4, rel=1e-6)


@given(st.floats(0, 1))
def test_encode_undoes_decode(code: float) -> None:
    assert float(srgb_encode(srgb_decode(np.array(code)))) == pytest.approx(code, abs=2e-5)  # the standard's own rounded join


@given(
    st.floats(-0.05, 0.05),
    st.floats(-0.03, 0.03),
    st.floats(-1e-3, 1e-3),
    st.floats(-1e-3, 1e-3),
    st.floats(-0.4, 0.4),
    st.floats(-0.4, 0.4),
)
def test_projection_is_opencvs(k1: float, k2: float, p1: float, p2: float, tilt_x: float, tilt_y: float) -> None:
    down = cv2.Rodrigues(cv2.Rodrigues(np.array([tilt_x, tilt_y, 0.0]))[0] @ np.diag([1.0, -1.0, -1.0]))[0].ravel()
    camera = Camera(3000.0, 1.001, 2010.0, 1500.0, k1, k2, p1, p2, down, np.array([0.3, -0.2, 18.0]))
    points = np.array([[x, y, 0.03] for x in (-5.0, 0.5, 4.0) for y in (-4.0, 1.0, 5.0)])
    matrix = np.array([[3000.0, 0, 2010.0], [0, 3003.0, 1500.0], [0, 0, 1]])
    theirs, _ = cv2.projectPoints(points, down, np.array([0.3, -0.2, 18.0]), matrix, np.array([k1, k2, p1, p2]))
    ours = camera.px_from_plane(points[:, :2], 0.03)
    assert np.abs(ours - theirs[:, 0]).max() < 1e-6
    assert np.abs(camera.plane_from_px(ours, 0.03) - points[:, :2]).max() < 1e-5


def test_published_calibration() -> None:
    """Zhang, technical report 98-71 (PAMI 2000), data page: model point (0, 0) of view 1 falls on 62.482 436.267.

    His skew isn't in our model: it adds .204494 y" to u, and y" is what v is fy times of.
    """
    rotation = np.array([[0.992759, -0.026319, 0.117201], [0.0139247, 0.994339, 0.105341], [-0.11931, -0.102947, 0.987505]])
    vector = cv2.Rodrigues(rotation)[0].ravel()
    camera = Camera(832.50, 832.53 / 832.50, 303.959, 206.585, -0.228601, 0.190353, 0.0, 0.0, vector, np.array([-3.84019, 3.65164, 12.791]))
    u, v = camera.px_from_plane(np.zeros(2))
    skewed_by = 0.204494 * (v - 206.585) / 832.53
    assert (u + skewed_by, v) == pytest.approx((62.482, 436.267), abs=5e-4)


@pytest.mark.parametrize(("radius", "height", "eye", "lean"), [(10.0, 0.024, 24.0, 0.0100), (250.0, 0.6, 600.0, 0.25025)])
def test_lean_of_a_raised_piece(radius: float, height: float, eye: float, lean: float) -> None:
    """Similar triangles: D = R h / (H - h), outward."""
    down = cv2.Rodrigues(np.diag([1.0, -1.0, -1.0]))[0].ravel()
    camera = Camera(3000.0, 1.0, 2000.0, 1500.0, 0, 0, 0, 0, down, np.array([0.0, 0.0, eye]))
    seen_on_field = camera.plane_from_px(camera.px_from_plane(np.array([radius, 0.0]), height))
    assert seen_on_field[0] - radius == pytest.approx(lean, rel=5e-3)


@given(st.floats(-0.4, 0.4), st.floats(-0.4, 0.4), st.floats(-3, 3), st.floats(12, 30), st.floats(0.01, 0.05), st.floats(-6, 6))
def test_lean_is_similar_triangles_from_any_eye(tilt_x: float, tilt_y: float, eye_x: float, eye_z: float, height: float, x: float) -> None:
    """A raised point is seen where the eye's ray through it meets the field: away from the eye's foot by R h / (H - h)."""
    down = cv2.Rodrigues(np.array([tilt_x, tilt_y, 0.0]))[0] @ np.diag([1.0, -1.0, -1.0])
    eye = np.array([eye_x, -0.5 * eye_x, eye_z])
    camera = Camera(3000.0, 1.0, 2000.0, 1500.0, 0.01, -0.005, 0, 0, cv2.Rodrigues(down)[0].ravel(), -down @ eye)
    point = np.array([x, 0.7 * x])
    seen_on_field = camera.plane_from_px(camera.px_from_plane(point, height))
    assert seen_on_field == pytest.approx(point + (point - eye[:2]) * height / (eye_z - height), abs=1e-5)


def test_film_diagonal_behind_a_35_mm_equivalent() -> None:
    """CIPA DC-008: the equivalent refers to a 36 x 24 mm frame's diagonal."""
    assert pytest.approx(np.hypot(36, 24), abs=5e-5) == FILM_DIAGONAL_MM
