"""The light that falls on the bench, from the cards' white paper, so that samples and photos can be compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array
from ..edges import SRGB_TO_LINEAR
from ..plane.camera import Camera
from ..plane.rectify import flatten

# White printer paper sends back about so much of the light (common practice, no source), known to so much, and is nearly neutral.
PAPER_REFLECTANCE, U_PAPER = 0.83, 0.04
# The brightest of a card is surely paper.
WHITE_SHARE = 0.25
CARD_PPI = 40.0
# The light changes evenly over the bench; how far it departs from that from place to place (log light; common practice, no source).
U_LIGHT = 0.04
# With fewer cards than three the slope isn't known: so much an inch.
U_SLOPE = 0.012
LEAST_CARDS = 3
# Paper that is so bright in any channel has lost its colour.
CLIPPED = 0.985


@dataclass(frozen=True)
class Whiteness:
    """The photo's linear light (R, G, B) of a perfect white, anywhere on the plane."""

    at_in: Array  # (2,) middle of the cards
    log: Array  # (3,) there
    slope: Array  # (2, 3) an inch
    cards: int
    clipped: bool

    def reflectance(self, rgb: Array, xy_in: Array) -> Array:
        """Reflectance (..., 3) of the photo's light (..., 3) at plane points (..., 2)."""
        return np.asarray(rgb / np.exp(self.log + (np.asarray(xy_in) - self.at_in) @ self.slope))

    def u_log(self, xy_in: Array) -> float:
        """Standard uncertainty of log light at a place, apart from what is common to all places."""
        far = float(np.hypot(*(np.asarray(xy_in) - self.at_in)))
        return float(np.hypot(U_LIGHT, 0.0 if self.cards >= LEAST_CARDS else U_SLOPE * far))


def whiteness(bgr: NDArray[np.uint8], camera: Camera, card_outlines_in: Sequence[Array]) -> Whiteness:
    """From the upright photo and its cards' outlines on the plane, (4, 2) each; at least one."""
    places, lights, clipped = [], [], False
    for outline in card_outlines_in:
        view = flatten(bgr, camera, outline.min(axis=0), outline.max(axis=0), 0.0, CARD_PPI)
        light = SRGB_TO_LINEAR[view.picture[_within(view.px_of(outline), view.picture.shape[:2]) & view.seen]][:, ::-1]
        if not len(light):
            continue
        bright = light[light.sum(axis=1) >= np.quantile(light.sum(axis=1), 1 - WHITE_SHARE)]
        paper = np.median(bright, axis=0).astype(float)
        clipped |= bool((paper > CLIPPED).any())
        places.append(outline.mean(axis=0))
        lights.append(np.log(paper / PAPER_REFLECTANCE))
    at = np.mean(places, axis=0)
    if len(places) < LEAST_CARDS:
        return Whiteness(at, np.mean(lights, axis=0), np.zeros((2, 3)), len(places), clipped)
    rows = np.column_stack([np.ones(len(places)), np.array(places) - at])
    # Cards in a row say nothing across it: what isn't known stays level.
    answer = np.linalg.lstsq(rows, np.array(lights), rcond=0.1)[0]
    return Whiteness(at, answer[0], answer[1:], len(places), clipped)


def _within(corners_px: Array, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    import cv2

    return np.asarray(cv2.fillPoly(np.zeros(shape, np.uint8), [np.round(corners_px).astype(np.int32)], 1) > 0)
