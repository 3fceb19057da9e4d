"""Why no card could be read in a photo: so that the person is told what to do about it, and not only that it failed."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray

from ..basis.errors import CardNotFlat, CardsDisagree, NoCardFound, PhotoError, PhotoTooDark, PhotoTooSoft

# White paper in a photo that shows it at all is brighter than this sRGB code (2 % of full light).
DARK_CODE = 40
# An edge blurred by more than this share of the long side (4 px of 4000) swallows a marker's modules at the usual distance.
SOFT_SHARE = 0.001
# In small photos too a good lens, the sensor's mosaic and the JPEG together blur an edge by up to 2 px.
SOFT_LEAST_PX = 3.0
# Below this spread of codes there is nothing in the photo whose sharpness could be judged.
LEAST_SPREAD = 10.0


def why_no_card(grey: NDArray[np.uint8], photo_name: str) -> PhotoError:
    """The error to raise for an upright grey photo (h, w) in which no card was read."""
    low, high = np.percentile(grey[::8, ::8], [1, 99])
    if high < DARK_CODE:
        return PhotoTooDark(photo=photo_name)
    sharp_px = max(SOFT_LEAST_PX, SOFT_SHARE * max(grey.shape))
    if high - low > LEAST_SPREAD and _edge_blur_px(grey, float(high - low)) > sharp_px:
        return PhotoTooSoft(photo=photo_name)
    return NoCardFound(photo=photo_name)


def why_cards_fail(grey: NDArray[np.uint8], count: int, photo_name: str) -> PhotoError:
    """The error to raise for an upright grey photo (h, w) whose cards, so many of them, fit no camera over one flat top."""
    error = why_no_card(grey, photo_name)
    if not isinstance(error, NoCardFound):
        return error
    return (CardsDisagree if count > 1 else CardNotFlat)(photo=photo_name)


def _edge_blur_px(grey: NDArray[np.uint8], spread: float) -> float:
    """The Gaussian blur (standard deviation, px) of a step of this height as steep as the photo's steepest edges."""
    import cv2

    # Over three pixels, so that noise from one to the next doesn't pass for an edge.
    smooth = cv2.GaussianBlur(grey, (0, 0), 1.0).astype(np.float32)
    steepest = float(np.percentile(np.abs(np.diff(smooth, axis=1)), 99.9))
    return spread / (max(steepest, 1e-6) * sqrt(2 * pi))
