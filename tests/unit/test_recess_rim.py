"""A recess's rim on a photo that the test draws: edges where they were drawn, and wood that was left standing inside one of them."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from seamcheck.basis.frames import Array, right_of, unit_of_bearing
from seamcheck.basis.uncertain import COVERAGE_95
from seamcheck.edges import NO_SHARPENING, LinearPatch, srgb_decode, srgb_encode
from seamcheck.measure.recess_rim import RimEdge, measure_rim
from seamcheck.optics import Optics
from seamcheck.plane.camera import Camera

POINTS, PX_PER_IN, SIDE_PX, FINER, BLUR_PX, DEPTH_IN = 4, 160.0, 800, 8, 0.8, 1 / 42
# A pixel is a box, and between pixels is read linearly: variances of 1/12 and, on the mean, 1/6 px2 besides.
WHOLE_BLUR_PX = (BLUR_PX**2 + 1 / 12 + 1 / 6) ** 0.5
# Straight above the middle of the picture: u to the right, v down.
CAMERA = Camera(PX_PER_IN * 20, 1.0, (SIDE_PX - 1) / 2, (SIDE_PX - 1) / 2, 0, 0, 0, 0, np.array([np.pi, 0, 0]), np.array([0.0, 0, 20.0]))


def corners(notch_in: float = 0.9, tip_in: float = 2.2) -> Array:
    """(2 n, 2): tip, notch, ... clockwise."""
    turns = np.arange(2 * POINTS) * np.pi / POINTS
    return np.where(np.arange(2 * POINTS) % 2, notch_in, tip_in)[:, None] * unit_of_bearing(turns)


def drawn(floor: int, standing: Array | None = None) -> LinearPatch:
    """Wood of code 150 about a floor; standing: a piece (n, 2) of the wood that was left; sRGB codes with noise, blurred."""
    fine = np.zeros((FINER * SIDE_PX, FINER * SIDE_PX), np.uint8)
    for outline, is_open in ((corners(), 255), (standing, 0)):
        if outline is not None:
            at = ((CAMERA.px_from_plane(outline) + 0.5) * FINER - 0.5) * 256
            cv2.fillPoly(fine, [np.round(at).astype(np.int32)], is_open, shift=8)
    share = cv2.GaussianBlur(cv2.resize(fine, (SIDE_PX, SIDE_PX), interpolation=cv2.INTER_AREA) / 255.0, (0, 0), BLUR_PX)[..., None]
    wood, below = (srgb_decode(np.array(code) / 255) for code in (150, floor))
    code = 255 * srgb_encode(wood * (1 - share) + below * share) * np.ones(3)
    if floor:  # what is blacked out is so without noise
        code += np.random.default_rng(1).normal(0, 2, (SIDE_PX, SIDE_PX, 3))
    return LinearPatch(np.round(code).clip(0, 255).astype(np.uint8), 0, 0)


def measured(patch: LinearPatch) -> list[tuple[RimEdge | None, RimEdge | None]]:
    return measure_rim(patch, CAMERA, Optics(WHOLE_BLUR_PX, NO_SHARPENING), corners(), DEPTH_IN, 0.001)


@pytest.mark.parametrize(("floor", "worst_in"), [(0, 0.002), (40, 0.002), (230, 0.005)])
def test_edges_lie_where_they_were_drawn_whatever_the_floor_even_a_black_one(floor: int, worst_in: float) -> None:
    at = corners()
    for k, pair in enumerate(measured(drawn(floor))):
        for side, edge in zip((-1, 1), pair, strict=True):
            assert edge is not None
            line, tip, notch = edge.line, at[2 * k], at[(2 * k + side) % len(at)]
            assert line.direction @ (tip - notch) > 0
            for end in (tip, notch):
                u = np.hypot(line.u_sampling_at(end), line.u_model_in)
                assert abs(line.offset_of(end)) < min(worst_in, COVERAGE_95 * u)
            assert edge.standing == ()


def test_wood_left_standing_inside_an_edge_is_told_where_it_stands() -> None:
    """Beside the first point's right edge, from .3 to .6 in of it, .06 in wide: the pared rest of the edge says where the line is."""
    at = corners()
    tip, notch = at[0], at[1]
    back = (notch - tip) / np.hypot(*(notch - tip))
    inward = right_of(back)
    piece = np.array([tip + 0.3 * back, tip + 0.6 * back])
    patch = drawn(40, np.concatenate([piece - 0.1 * inward, piece[::-1] + 0.06 * inward]))
    rim = measured(patch)
    (left, right), *others = rim
    assert right is not None
    (standing,) = right.standing
    assert (standing.from_tip_in, standing.to_in) == pytest.approx((0.3, 0.6), abs=0.03)
    assert standing.by_in == pytest.approx(0.06, abs=0.01)
    middle = (tip + notch) / 2
    assert abs(right.line.offset_of(middle)) < COVERAGE_95 * np.hypot(right.line.u_sampling_at(middle), right.line.u_model_in)
    assert left is not None
    assert left.standing == ()
    assert not any(edge.standing for pair in others for edge in pair if edge is not None)
