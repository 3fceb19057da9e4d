"""A strip shows the photo where the camera says, whatever the line, the tilt and the lens."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from seamcheck.basis.frames import right_of, unit_of_bearing
from seamcheck.basis.order import median
from seamcheck.edges import sample_strip
from seamcheck.plane.camera import Camera

MOST_OFF_PX = 0.005


@given(
    tilt=st.tuples(st.floats(-0.35, 0.35), st.floats(-0.35, 0.35)),
    lens=st.tuples(st.floats(-0.15, 0.15), st.floats(-0.05, 0.05), st.floats(-0.002, 0.002), st.floats(-0.002, 0.002)),
    start=st.tuples(st.floats(-5, 5), st.floats(-4, 4)),
    bearing=st.floats(0, 6.28),
    length=st.floats(0.3, 4),
    half=st.floats(0.02, 0.4),
)
def test_a_strips_places_are_the_cameras(tilt, lens, start, bearing, length, half) -> None:
    camera = Camera(3000.0, 1.0, 2000.0, 1500.0, *lens, np.array([np.pi + tilt[0], tilt[1], 0.0]), np.array([0.3, -0.2, 20.0]))
    seen: list[np.ndarray] = []
    patch = SimpleNamespace(at_px=lambda px: seen.append(px) or px)
    start, direction = np.array(start), unit_of_bearing(bearing)
    strip = sample_strip(patch, camera, start, start + length * direction, 0.02, half, 0.05)
    xy = start + strip.along_in[:, None, None] * direction + strip.across_in[None, :, None] * right_of(direction)
    assert np.abs(seen[0] - camera.px_from_plane(xy, 0.02)).max() < MOST_OFF_PX


@given(values=arrays(float, st.tuples(st.integers(1, 9), st.integers(1, 4)), elements=st.floats(-1e6, 1e6)), axis=st.sampled_from([0, 1]))
def test_the_median_is_numpys(values, axis) -> None:
    np.testing.assert_array_equal(median(values, axis), np.median(values, axis=axis))


def test_the_median_of_nothing_is_not_a_number() -> None:
    assert np.isnan(median(np.empty((0, 3)))).tolist() == [True, True, True]
