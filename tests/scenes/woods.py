"""Made-up woods: a colour, and a figure of noise stretched along the grain, as reflectances in linear light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

Array = np.ndarray


@dataclass(frozen=True)
class Wood:
    colour: tuple[float, float, float]  # reflectance B G R
    bands: float = 0.10  # growth rings and stripes: standard deviation of log reflectance
    band_in: float = 0.10  # their usual width
    fibre: float = 0.05  # fine streaks
    pores: float = 0.0  # share of the surface that is pores, short dark dashes
    curl: float = 0.0  # bands across the grain, as light falls on wavy fibres
    tint: float = 0.25  # how much more the figure shows in blue than in red


WOODS = {
    "black": Wood((0.022, 0.025, 0.030), 0.10, 0.06, 0.06),
    "rosewood": Wood((0.028, 0.036, 0.075), 0.30, 0.08, 0.07, 0.01),
    "striped": Wood((0.045, 0.075, 0.135), 0.42, 0.10, 0.06),
    "walnut": Wood((0.060, 0.095, 0.155), 0.16, 0.12, 0.06, 0.02),
    "mahogany": Wood((0.055, 0.105, 0.240), 0.08, 0.15, 0.06, 0.015),
    "cherry": Wood((0.130, 0.240, 0.430), 0.07, 0.15, 0.04),
    "oak": Wood((0.165, 0.290, 0.440), 0.12, 0.06, 0.05, 0.04),
    "teak": Wood((0.120, 0.235, 0.410), 0.22, 0.12, 0.05, 0.015),
    "ash": Wood((0.310, 0.450, 0.580), 0.10, 0.12, 0.04, 0.02),
    "maple": Wood((0.420, 0.560, 0.680), 0.05, 0.20, 0.03),
    "curly": Wood((0.340, 0.490, 0.630), 0.05, 0.20, 0.03, 0.0, 0.07),
    "curly brown": Wood((0.080, 0.130, 0.220), 0.10, 0.15, 0.05, 0.01, 0.10),
}
DARK = ("black", "rosewood", "striped", "walnut", "mahogany")
LIGHT = ("maple", "curly", "ash", "cherry", "oak", "teak")
FIELD = tuple(WOODS)

SHEET_IN = 8.0  # one sheet of veneer, square
SHEET_PPI = 260


def noise(rng: np.random.Generator, along_in: float, across_in: float, size: int = int(SHEET_IN * SHEET_PPI)) -> Array:
    """(size, size) smooth noise of unit variance, with blobs of this length along (columns) and across (rows)."""
    inches = size / SHEET_PPI
    shape = (int(inches / across_in) + 4, int(inches / along_in) + 4)
    coarse = rng.normal(0, 1, shape).astype(np.float32)
    fine = cv2.resize(coarse, (size, size), interpolation=cv2.INTER_CUBIC)
    return fine / fine.std()


def sheet(rng: np.random.Generator, wood: Wood) -> Array:
    """(n, n) log reflectance about the wood's colour, grain along the columns' axis (x), SHEET_PPI pixels an inch."""
    size = int(SHEET_IN * SHEET_PPI)
    # Growth rings: one profile across the grain, bent by slow waves, drawn as noise in one dimension at three widths.
    bend = rng.uniform(0.02, 0.12) * noise(rng, 5.0, 2.5) + 0.03 * noise(rng, 1.2, 0.8)
    bend += wood.curl * 0.15 * noise(rng, 0.25, 1.0)
    rings = np.zeros(2 * size, np.float32)
    for width, share in ((1.0, 0.7), (0.4, 0.6), (2.5, 0.4)):
        knots = rng.normal(0, 1, int(2 * SHEET_IN / (wood.band_in * width)) + 4).astype(np.float32)
        rings += share * cv2.resize(knots[None], (2 * size, 1), interpolation=cv2.INTER_CUBIC)[0]
    rings /= rings.std()
    across = np.arange(size, dtype=np.float32)[:, None] + size / 2 + bend * SHEET_PPI
    banded = cv2.remap(rings[None], across, np.zeros_like(across), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    figure = wood.bands * banded
    figure += wood.fibre * (0.7 * noise(rng, 0.8, 0.009) + 0.7 * noise(rng, 0.25, 0.02))
    if wood.pores:
        dashes = noise(rng, 0.07, 0.008)
        deep = np.quantile(dashes[::7, ::7], 1 - wood.pores)
        figure -= 0.7 * np.clip((dashes - deep) / 0.5, 0, 1)
    if wood.curl:
        figure += wood.curl * (0.8 * noise(rng, 0.16, 0.7) + 0.6 * noise(rng, 0.35, 1.5))
    return figure - figure.mean()


def reflectance(wood: Wood, log_figure: Array) -> Array:
    """(..., 3) of a figure (...): blue follows it a little more than red."""
    share = np.exp(log_figure)
    tinted = np.clip(wood.tint * log_figure, -0.6, 0.6)
    lit = np.empty((*log_figure.shape, 3), np.float32)
    for channel, sign in enumerate((1, 0, -1)):
        lit[..., channel] = share * ((1 + sign * tinted) * wood.colour[channel])
    return lit
