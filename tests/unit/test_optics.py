"""What the cards tell of a photo's blur, its sharpening and the phone's motion, on cards that the tests draw."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from seamcheck.advise.photo_notes import COPY_LONG_PX, COPY_PX_PER_IN, copy_notes, photo_notes
from seamcheck.basis.frames import right_of, unit_of_bearing
from seamcheck.cards.geometry import CARD_HEIGHT_IN, CARD_WIDTH_IN, COLUMNS, PAPER_THICKNESS_IN, ROWS, SQUARE_IN, outline_in
from seamcheck.edges import Sharpening, srgb_encode
from seamcheck.optics import Optics, card_edges, learn_optics, light_exponent, straightened
from seamcheck.plane.camera import Camera

PPI, FINE = 100.0, 4  # pixels to the inch, and the drawing's samples to a pixel
SIDE_PX = 1300
DOWN = cv2.Rodrigues(np.diag([1.0, -1.0, -1.0]))[0].ravel()
HEIGHT_IN = 20.0
MIDDLE_PX = (SIDE_PX - 1) / 2
CAMERA = Camera(PPI * (HEIGHT_IN - PAPER_THICKNESS_IN), 1.0, MIDDLE_PX, MIDDLE_PX, 0, 0, 0, 0, DOWN, np.array([0.0, 0.0, HEIGHT_IN]))
# Middles and bearings of four cards, inches and rad.
LAID = (((-3.5, 3.5), 0.2), ((3.5, 3.5), 1.1), ((3.5, -3.5), -0.6), ((-3.5, -3.5), 2.6))


def motion_kernel(motion_px: tuple[float, float], fine: int) -> NDArray[np.float32]:
    """A straight line of motion as a filter, on a grid of `fine` samples to a pixel."""
    half = int(np.ceil(np.hypot(*motion_px) * fine / 2)) + 1
    kernel = np.zeros((2 * half + 1, 2 * half + 1), np.float32)
    for share in np.linspace(-0.5, 0.5, 400):
        u, v = half + share * motion_px[0] * fine, half + share * motion_px[1] * fine
        kernel[round(v), round(u)] += 1
    return kernel / kernel.sum()


def photo(blur_px: float, motion_px: tuple[float, float] = (0.0, 0.0), strength: float = 0.0) -> tuple[NDArray[np.uint8], list[np.ndarray]]:
    """Four cards' squares on a brown top, sRGB codes, and the cards' outlines on the plane."""
    samples = (np.arange(SIDE_PX * FINE) + 0.5) / FINE - 0.5 - MIDDLE_PX
    x, y = np.meshgrid(samples / PPI, -samples / PPI)
    light = np.full(x.shape, 0.15, np.float32)
    outlines = []
    for middle, bearing in LAID:
        up = unit_of_bearing(bearing)
        across, along = ((x - middle[0]) * axis[0] + (y - middle[1]) * axis[1] for axis in (right_of(up), up))
        light[(np.abs(across) < CARD_WIDTH_IN / 2) & (np.abs(along) < CARD_HEIGHT_IN / 2)] = 0.8
        column, row = np.floor(across / SQUARE_IN + COLUMNS / 2), np.floor(ROWS / 2 - along / SQUARE_IN)
        black = (column >= 0) & (column < COLUMNS) & (row >= 0) & (row < ROWS) & ((column + row) % 2 == 0)
        light[black] = 0.04
        outlines.append(np.array(middle) + outline_in() @ np.stack([right_of(up), up]))
    light = cv2.GaussianBlur(light, (0, 0), blur_px * FINE)
    if any(motion_px):
        light = cv2.filter2D(light, -1, motion_kernel(motion_px, FINE))
    light = cv2.resize(light, (SIDE_PX, SIDE_PX), interpolation=cv2.INTER_AREA)
    light = light + np.random.default_rng(1).normal(0, 0.003, light.shape).astype(np.float32)
    code = srgb_encode(np.clip(light, 0, 1))
    code = code + strength * (code - cv2.GaussianBlur(code, (0, 0), 1.4))
    grey = np.clip(np.round(255 * code), 0, 255).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=2), outlines


def learnt(blur_px: float, motion_px: tuple[float, float] = (0.0, 0.0), strength: float = 0.0) -> Optics:
    bgr, outlines = photo(blur_px, motion_px, strength)
    return learn_optics(card_edges(bgr, CAMERA, outlines))


@pytest.mark.parametrize("strength", [0.0, 0.6])
def test_a_photo_held_still_has_no_motion(strength: float) -> None:
    optics = learnt(0.9, strength=strength)
    assert optics.motion_px == (0.0, 0.0)
    assert not optics.is_soft
    # The pixel's own width and reading between pixels count as blur.
    assert 0.85 < optics.blur_px < 1.2
    assert abs(optics.sharpening.strength - strength) < 0.3


@pytest.mark.parametrize(("length_px", "turn_deg"), [(5.0, 20.0), (8.0, 75.0), (8.0, 140.0)])
def test_motion_is_read_off_edges_in_several_directions(length_px: float, turn_deg: float) -> None:
    turn = np.radians(turn_deg)
    motion = length_px * np.array([np.cos(turn), np.sin(turn)])
    optics = learnt(0.9, (float(motion[0]), float(motion[1])), strength=0.4)
    found = np.array(optics.motion_px) * np.sign(np.dot(optics.motion_px, motion))
    assert np.linalg.norm(found - motion) < 1.1
    assert optics.blur_px < 1.5
    assert optics.smear_px(np.array([-np.sin(turn), np.cos(turn)])) < 1.1
    assert optics.smear_px(np.array([np.cos(turn), np.sin(turn)])) == pytest.approx(length_px, abs=1.0)
    # A box of that width has the variance of its square over 12.
    assert optics.whole_blur_px(np.array([np.cos(turn), np.sin(turn)])) == pytest.approx(np.hypot(1.0, length_px / np.sqrt(12)), rel=0.15)


def test_a_photo_out_of_focus_is_soft_all_round() -> None:
    optics = learnt(3.2)
    assert optics.is_soft
    for turn in np.linspace(0, np.pi, 7):
        assert optics.whole_blur_px(np.array([np.cos(turn), np.sin(turn)])) == pytest.approx(3.2, rel=0.15)


def test_edges_along_one_pair_of_the_cards_sides_teach_as_well() -> None:
    bgr, outlines = photo(0.9, strength=0.4)
    upright = [one for one in card_edges(bgr, CAMERA, outlines) if not one.is_level]
    assert learn_optics(upright).blur_px == pytest.approx(learnt(0.9, strength=0.4).blur_px, abs=0.2)


def test_a_photo_without_cards_is_taken_to_be_usual() -> None:
    assert learn_optics([]).motion_px == (0.0, 0.0)


def test_a_photo_softer_than_any_model_is_hopeless() -> None:
    assert Optics(3.3, Sharpening(0.0, 1.0)).is_hopeless
    assert Optics(0.9, Sharpening(0.0, 1.0), (9.0, 7.0)).is_hopeless
    assert not Optics(2.0, Sharpening(0.0, 1.0), (6.0, 5.0)).is_hopeless


def test_dark_tones_made_darker_are_noticed_and_brought_back() -> None:
    bgr, outlines = photo(0.9)
    assert light_exponent(card_edges(bgr, CAMERA, outlines)) == 1.0
    edited = np.round(255 * (bgr / 255) ** 1.7).astype(np.uint8)
    exponent = light_exponent(card_edges(edited, CAMERA, outlines))
    # Of the drawn cards white sends back 20 times the light of black: about what is supposed.
    assert exponent == pytest.approx(1.7, rel=0.12)
    back = straightened(edited, exponent).astype(float)
    assert np.abs(np.median(back - bgr)) < 0.3 * np.abs(np.median(edited.astype(float) - bgr))
    assert any("unedited" in note for note in photo_notes(learn_optics(card_edges(bgr, CAMERA, outlines)), exponent))
    assert photo_notes(learn_optics(card_edges(bgr, CAMERA, outlines))) == ()


def test_what_to_do_about_motion_and_focus_is_said() -> None:
    (moved,) = photo_notes(Optics(0.9, Sharpening(0.4, 1.4), (6.0, 5.3)))
    assert "8 pixels" in moved
    assert "hold it still" in moved
    (soft,) = photo_notes(Optics(2.2, Sharpening(0.4, 1.4)))
    assert "focus" in soft


def test_only_a_small_coarse_photo_without_camera_data_is_taken_for_a_copy() -> None:
    assert len(copy_notes((1600, 1200), False, 67.0)) == 1
    assert len(copy_notes((1200, 1600), False, 67.0)) == 1
    assert copy_notes((1600, 1200), True, 67.0) == ()
    assert copy_notes((COPY_LONG_PX + 1, 1200), False, 67.0) == ()
    assert copy_notes((1600, 1200), False, COPY_PX_PER_IN) == ()
