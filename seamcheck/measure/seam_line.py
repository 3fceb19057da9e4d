"""A seam that shows as a thin dark or pale line: found by a ridge filter, fitted with the step between the leaves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array
from .seam_search import BLOCK_IN, Posterior, along_candidates
from .seam_strip import SeamStrip

# The ridge filter: a seam line is narrower than the photo's blur (steps, about photo pixels).
RIDGE_SIGMA_STEPS = 1.1
# Half-width of the window in which the line is fitted, and lengths of the blocks (steps, inches).
FIT_HALF_STEPS = 9
FIT_BLOCK_IN = 0.10
# A block's ridge counts no more than this many times the usual spread of ridges.
RIDGE_BOUND = 6.0
# Huber's bound for the blocks' places about the straight line, in spreads.
HUBER = 1.5


@dataclass(frozen=True)
class LineFit:
    """A line fitted about a candidate."""

    offset_in: float  # across, at the pivot
    slope: float
    cov: Array  # (2, 2) of (offset, slope)
    height: float  # log light, negative for a dark line
    width_in: float  # standard deviation of its profile, blur included
    signal: float  # height over its own uncertainty
    spread_in: float  # of the blocks' places about the straight line
    blocks: int


def ridge_scores(strip: SeamStrip, grid: Posterior) -> Array:
    """Signed strength of a line along every candidate (n_slopes, n_offsets), in standard deviations of what the wood alone gives."""
    from scipy.ndimage import gaussian_filter1d

    n_rows = max(2, round(BLOCK_IN / strip.step_in))
    n_blocks = max(1, len(strip.along_in) // n_rows)
    cut = slice(0, n_blocks * n_rows)
    weight = strip.usable[cut].reshape(n_blocks, n_rows, -1).sum(axis=1).astype(float)
    light = strip.log_light[cut].reshape(n_blocks, n_rows, -1).sum(axis=1) / np.maximum(weight, 1)
    full = weight > 0.7 * n_rows
    ridge = -gaussian_filter1d(light, RIDGE_SIGMA_STEPS, axis=1, order=2)
    clear = gaussian_filter1d(full.astype(float), 3.0, axis=1) > 0.98
    if clear.sum() < 50:
        return np.zeros_like(grid.log_p)
    spread = 1.483 * np.median(np.abs(ridge[clear])) + 1e-9
    ridge = np.where(clear, np.clip(ridge / spread, -RIDGE_BOUND, RIDGE_BOUND), 0)
    along = strip.along_in[cut].reshape(n_blocks, n_rows).mean(axis=1)
    summed = along_candidates(ridge, along, strip.across_in[0], strip.step_in, grid).sum(axis=2)
    # What the wood alone gives: the spread of the same sums over all candidates, as most of them are beside any line.
    return summed / (1.483 * np.median(np.abs(summed)) + 1e-9)


def fit_line(strip: SeamStrip, offset_in: float, slope: float, pivot_in: float, width_steps: float = 1.1) -> LineFit | None:
    """Background, step and blurred line, fitted in blocks about a candidate; the blocks' places give the straight line."""
    for _ in range(3):
        fit = _fit_once(strip, offset_in, slope, pivot_in, width_steps)
        if fit is None:
            return None
        if abs(fit.offset_in - offset_in) > 6 * strip.step_in:
            return None
        offset_in, slope, width_steps = fit.offset_in, fit.slope, float(np.clip(fit.width_in / strip.step_in, 0.8, 5))
    return fit


def _fit_once(strip: SeamStrip, offset_in: float, slope: float, pivot_in: float, width_steps: float) -> LineFit | None:
    from scipy.special import erf

    step = strip.step_in
    rows = np.arange(len(strip.along_in))
    line = offset_in + slope * (strip.along_in - pivot_in)
    half = FIT_HALF_STEPS
    u = np.arange(-half, half + 1, dtype=float)
    place = (line[:, None] - strip.across_in[0]) / step + u
    low = np.clip(np.floor(place).astype(int), 0, len(strip.across_in) - 2)
    part = place - low
    index = rows[:, None]
    window = strip.log_light[index, low] * (1 - part) + strip.log_light[index, low + 1] * part
    good = (strip.usable[index, low] & strip.usable[index, low + 1]).all(axis=1) & (place[:, 0] >= 0) & (place[:, -1] < len(strip.across_in))
    n_rows = max(3, round(FIT_BLOCK_IN / step))
    n_blocks = len(rows) // n_rows
    if n_blocks < 3:
        return None
    cut = slice(0, n_blocks * n_rows)
    count = good[cut].reshape(n_blocks, n_rows).sum(axis=1)
    keep = count >= 0.5 * n_rows
    if keep.sum() < 3:
        return None
    profile = (window * good[:, None])[cut].reshape(n_blocks, n_rows, -1).sum(axis=1)[keep] / count[keep, None]
    along = strip.along_in[cut].reshape(n_blocks, n_rows).mean(axis=1)[keep]
    w = width_steps
    bell = np.exp(-0.5 * (u / w) ** 2)
    columns = np.stack(
        [np.ones_like(u), u / half, (u / half) ** 2, 0.5 * erf(u / w / np.sqrt(2)), bell, u / w**2 * bell, ((u / w) ** 2 - 1) * bell], axis=1
    )
    # Wood's own changes across the seam grow with distance from it: trust the middle more.
    trust = np.exp(-0.5 * (u / (0.6 * half)) ** 2)
    solver = np.linalg.pinv(columns * trust[:, None]) * trust
    found = profile @ solver.T
    residual = profile - found @ columns.T
    noise = float(np.sqrt(np.mean((residual * trust) ** 2) / np.mean(trust**2))) + 1e-9
    u_height = noise * float(np.linalg.norm(solver[4])) / np.sqrt(len(found))
    height = float(np.median(found[:, 4]))
    if abs(height) < 1e-6:
        return None
    places = found[:, 5] / height * step
    widening = float(np.median(found[:, 6])) / height
    width = float(np.clip(w * (1 + np.clip(widening, -0.3, 0.3)), 0.7, 6.0)) * step
    shift, turn, cov, spread = _robust_straight(along - pivot_in, np.clip(places, -4 * step, 4 * step))
    return LineFit(offset_in + shift, slope + turn, cov, height, width, abs(height) / u_height, spread, len(found))


def _robust_straight(x: Array, y: Array) -> tuple[float, float, Array, float]:
    """Huber's straight line y = a + b x: a, b, covariance (residuals' correlation counted), spread."""
    design = np.column_stack([np.ones_like(x), x])
    weight = np.ones_like(x)
    spread = 1.0
    solution = np.zeros(2)
    for _ in range(8):
        root = np.sqrt(weight)
        solution = np.linalg.lstsq(design * root[:, None], y * root, rcond=None)[0]
        residual = y - design @ solution
        spread = 1.483 * float(np.median(np.abs(residual))) + 1e-6
        weight = np.minimum(1, HUBER * spread / np.maximum(np.abs(residual), 1e-12))
    inner = np.clip(residual, -HUBER * 2 * spread, HUBER * 2 * spread)
    n = len(x)
    variance = float((inner**2).sum()) / max(1, n - 2)
    correlation = float((inner[1:] * inner[:-1]).sum() / max((inner**2).sum(), 1e-18))
    lengthening = (1 + max(0.0, min(correlation, 0.8))) / (1 - max(0.0, min(correlation, 0.8)))
    cov = np.linalg.inv(design.T @ (design * weight[:, None])) * variance * lengthening * (n / max(1, n - 2))
    return float(solution[0]), float(solution[1]), cov, spread
