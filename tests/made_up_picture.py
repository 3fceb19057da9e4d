"""A plain picture of the size that a made-up inspection speaks of: grain, and nothing on it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamcheck.result import Inspection


def picture_of(inspection: Inspection) -> NDArray[np.uint8]:
    """uint8 (h, w, 3), blue first."""
    width, height = inspection.size_px
    grain = 110 + 14 * np.sin(np.arange(width) / 9.0) + np.zeros((height, 1))
    return np.clip(grain[..., None] * np.array([0.6, 0.85, 1.1]), 0, 255).astype(np.uint8)
