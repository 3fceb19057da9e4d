"""Which sentence a photo without a readable card gets."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from seamcheck.basis.errors import NoCardFound, PhotoTooDark, PhotoTooSoft
from seamcheck.cards.unread import why_no_card


def bench(blur_px: float = 1.0, light: float = 1.0) -> np.ndarray:
    """(1200, 1600) grey: squares of light and dark wood with grain and sensor noise."""
    rng = np.random.default_rng(4)
    wood = np.kron(rng.uniform(40, 220, (12, 16)), np.ones((100, 100)))
    wood += cv2.GaussianBlur(rng.normal(0, 60, wood.shape), (0, 0), 3)
    seen = cv2.GaussianBlur(wood, (0, 0), blur_px) * light + rng.normal(0, 2, wood.shape)
    return np.clip(seen, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("blur_px", [0.5, 1.0])
def test_a_sharp_bright_photo_simply_has_no_card(blur_px: float) -> None:
    assert type(why_no_card(bench(blur_px), "a.jpg")) is NoCardFound


@pytest.mark.parametrize("blur_px", [5, 8, 20])
def test_a_blurred_one_is_called_blurred(blur_px: float) -> None:
    error = why_no_card(bench(blur_px), "a.jpg")
    assert type(error) is PhotoTooSoft
    assert str(error).startswith("a.jpg is too blurred to measure:")


@pytest.mark.parametrize("light", [0.0, 0.05, 0.15])
def test_a_nearly_black_one_is_called_dark(light: float) -> None:
    error = why_no_card(bench(light=light), "a.jpg")
    assert type(error) is PhotoTooDark
    assert str(error).startswith("a.jpg is too dark to measure:")


@pytest.mark.parametrize("code", [60, 128, 255])
def test_an_even_grey_or_white_is_neither(code: int) -> None:
    assert type(why_no_card(np.full((1200, 1600), code, np.uint8), "a.jpg")) is NoCardFound
