"""A seam that shows as a thin dark or pale line: found by a ridge filter, fitted with the step between the leaves."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from ..basis.frames import Array
from ..basis.order import median
from ..basis.uncertain import COVERAGE_95
from .seam_search import BLOCK_IN, Posterior, along_candidates
from .seam_strip import SeamStrip

# The ridge filter: a seam line is narrower than the photo's blur (steps, about photo pixels).
RIDGE_SIGMA_STEPS = 1.1
# Half-width of the window in which the line is fitted, and lengths of the blocks (steps, inches).
FIT_HALF_STEPS = 9
FIT_BLOCK_IN = 0.10
# Above this many times the usual spread, a block's ridge counts by its logarithm only: one scratch isn't a line.
RIDGE_BOUND = 6.0
# Lines that are fitted, and how strong the filter's answer must be to be tried (standard deviations).
MOST_LINES = 4
LINE_STRENGTH = 5.0
# A fitted line weaker than this (height over its uncertainty) isn't taken for one: figure gives up to this.
LEAST_SIGNAL = 12.0
# A step explains as much as a step and a line when it leaves less than this many times what they leave; a step that is surer than
# the line leaves more for other reasons (its width, figure), so more is asked of the line.
FLANK_MISFIT, FLANK_MISFIT_OF_STRONG_STEP = 1.4, 3.0
# Beside a step that is this many times as sure, nothing can be called a line.
OUTSHONE = 2.0
# Ridges that run into a line as sure as this are part of it, and aren't fitted for themselves.
CERTAIN_SIGNAL = 50.0
# Lines that come closer than this somewhere along the strip are one line, followed well and badly (inches).
SAME_LINE_IN = 0.012
# The widest line that a closed seam leaves, taken as wholly black (inches; common practice, no source).
WIDEST_SEAM_IN = 0.0065
# A line is bridged over as far as it still changes the light by this (log light).
NO_LONGER_SEEN = 0.005
# Beside a bridge the grain is judged from the bridge itself, so not for this many steps.
BRIDGE_MARGIN_STEPS = 3
# A profile that changes by less than this where line and step move (log light a step) is flat: blown out, or black.
LEAST_SLOPE = 1e-9
# Huber's bound for the blocks' places about the straight line, in spreads.
HUBER = 1.5


@dataclass(frozen=True)
class LineFit:
    """A line fitted about a candidate."""

    offset_in: float  # across, at the pivot
    slope: float
    cov: Array  # (2, 2) of (offset, slope)
    height: float  # log light, negative for a dark line; 0 where only a step was fitted
    width_in: float  # standard deviation of its profile, blur included
    signal: float  # height over its own uncertainty
    step_signal: float  # the same for the step between the leaves
    misfit: float  # root mean square that the model leaves of the profile averaged over all blocks, log light
    spread_in: float  # of the blocks' places about the straight line
    blocks: int

    @property
    def heavy(self) -> bool:
        """Darker and wider than a closed seam can be: a pencil line, or a gap."""
        depth = 1 - np.exp(min(self.height, 0.0))
        return bool(depth * self.width_in * np.sqrt(2 * np.pi) > WIDEST_SEAM_IN)


def find_lines(strip: SeamStrip, grid: Posterior) -> tuple[list[LineFit], float]:
    """The lines in the strip, strongest first, each apart from the others; and the strength of the strongest ridge but a step's flank."""
    strength = np.abs(ridge_scores(strip, grid))
    span = float(strip.along_in[-1] - strip.along_in[0]) / 2

    def apart(offset: float, slope: float, others: list[LineFit]) -> bool:
        ends = [abs(offset - k.offset_in + turn * (slope - k.slope)) for k in others for turn in (-span, 0, span)]
        return not ends or min(ends) > SAME_LINE_IN

    fits: list[LineFit] = []
    strongest = 0.0
    for i, j in _peaks(strength, grid):
        offset, slope = float(grid.offsets_in[j]), float(grid.slopes[i])
        if apart(offset, slope, [fit for fit in fits if fit.signal > CERTAIN_SIGNAL]):
            fit = fit_line(strip, offset, slope, grid.pivot_in)
            flank = fit is not None and _is_flank(strip, fit, grid.pivot_in)
            if not flank:
                strongest = max(strongest, float(strength[i, j]))
            if fit is not None and fit.signal > LEAST_SIGNAL and not flank and grid.holds(fit.offset_in, fit.slope):
                fits.append(fit)
    kept: list[LineFit] = []
    for fit in sorted(fits, key=lambda fit: -fit.signal):
        if apart(fit.offset_in, fit.slope, kept):
            kept.append(fit)
    return kept, strongest


def _is_flank(strip: SeamStrip, fit: LineFit, pivot_in: float) -> bool:
    """Whether a ridge is no line but the flank of a step: a step fitted beside itself makes one up, yet alone explains as much."""
    if fit.step_signal < LEAST_SIGNAL and fit.signal > CERTAIN_SIGNAL:
        return False
    if fit.step_signal > max(LEAST_SIGNAL, OUTSHONE * fit.signal):
        return True
    alone = fit_line(strip, fit.offset_in, fit.slope, pivot_in, step_only=True)
    limit = FLANK_MISFIT if fit.step_signal < fit.signal else FLANK_MISFIT_OF_STRONG_STEP
    return alone is not None and alone.step_signal > LEAST_SIGNAL and alone.misfit < limit * fit.misfit


def _peaks(strength: Array, grid: Posterior) -> list[tuple[int, int]]:
    """Up to MOST_LINES places of the grid where a line is strongest, each apart from the others all along."""
    from scipy.ndimage import maximum_filter

    allowed = grid.log_p > -1e5
    strength = np.where(allowed, strength, 0)
    found = np.argwhere((strength == maximum_filter(strength, size=(3, 7))) & (strength > LINE_STRENGTH))
    tops = sorted(found.tolist(), key=lambda at: -strength[at[0], at[1]])
    chosen: list[tuple[int, int]] = []
    for i, j in tops:
        apart = [abs(grid.offsets_in[j] - grid.offsets_in[jj]) + abs(grid.slopes[i] - grid.slopes[ii]) * 0.5 for ii, jj in chosen]
        if not apart or min(apart) > SAME_LINE_IN:
            chosen.append((i, j))
        if len(chosen) == MOST_LINES:
            break
    return chosen


def without_lines(strip: SeamStrip, lines: list[LineFit], pivot_in: float) -> SeamStrip:
    """The strip with its lines bridged over, so that the grain beside them can be judged."""
    import cv2

    if not lines:
        return strip
    light, bridged = strip.log_light.copy(), strip.bridged.copy()
    columns = np.arange(len(strip.across_in))
    for fit in lines:
        middle = (fit.offset_in + fit.slope * (strip.along_in - pivot_in) - strip.across_in[0]) / strip.step_in
        tail = np.sqrt(2 * np.log(max(abs(fit.height) / NO_LONGER_SEEN, 4)))
        half = tail * fit.width_in / strip.step_in + 0.5
        low = np.clip(np.floor(middle - half).astype(int), 0, len(columns) - 1)
        high = np.clip(np.ceil(middle + half).astype(int), 0, len(columns) - 1)
        rows = np.arange(len(light))
        reach = int((high - low).max())
        a, b = light[rows, low].copy(), light[rows, high].copy()
        bridged[rows, low] = bridged[rows, high] = True
        for k in range(1, reach):
            at = np.minimum(low + k, high)
            share = (at - low) / np.maximum(high - low, 1)
            light[rows, at] = a + share * (b - a)
            bridged[rows, at] = True
    wider = cv2.dilate(bridged.astype(np.uint8), np.ones((1, 2 * BRIDGE_MARGIN_STEPS + 1), np.uint8)) > 0
    return replace(strip, log_light=light, bridged=wider)


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
    ridge = np.where(clear, RIDGE_BOUND * np.arcsinh(ridge / spread / RIDGE_BOUND), 0)
    along = strip.along_in[cut].reshape(n_blocks, n_rows).mean(axis=1)
    summed = along_candidates(ridge, along, strip.across_in[0], strip.step_in, grid)
    # What the wood alone gives: the spread of the same sums over all candidates, as most of them are beside any line.
    return summed / (1.483 * np.median(np.abs(summed)) + 1e-9)


def fit_line(
    strip: SeamStrip, offset_in: float, slope: float, pivot_in: float, width_steps: float = 1.1, step_only: bool = False
) -> LineFit | None:
    """Background, step and (unless step_only) blurred line, fitted in blocks about a candidate; the blocks give the straight line."""
    for _ in range(4):
        fit = _fit_once(strip, offset_in, slope, pivot_in, width_steps, step_only)
        if fit is None:
            return None
        moved = abs(fit.offset_in - offset_in)
        if moved > 6 * strip.step_in:
            return None
        width = float(np.clip(fit.width_in / strip.step_in, 0.8, 5))
        settled = moved < 0.03 * strip.step_in and abs(width - width_steps) < 0.05 * width
        offset_in, slope, width_steps = fit.offset_in, fit.slope, width
        if settled:
            break
    return fit


def _fit_once(strip: SeamStrip, offset_in: float, slope: float, pivot_in: float, width_steps: float, step_only: bool) -> LineFit | None:
    blocks = _blocks_about(strip, offset_in + slope * (strip.along_in - pivot_in))
    if blocks is None:
        return None
    profile, along = blocks
    w, half, step = width_steps, FIT_HALF_STEPS, strip.step_in
    u = np.arange(-half, half + 1, dtype=float)
    # Wood's own changes across the seam grow with distance from it: trust the middle more.
    trust = np.exp(-0.5 * (u / (0.6 * half)) ** 2)
    bell, edge = _bell_and_edge(u / w)
    background = [np.ones_like(u), u / half, (u / half) ** 2]
    shape = np.stack([*background, edge] if step_only else [*background, edge, bell], axis=1)
    solver = _solver(shape, trust)
    first = profile @ solver.T
    residual = (profile - first @ shape.T) * trust
    noise = float(np.sqrt((residual**2).sum() / len(profile) / (trust**2).sum())) + 1e-9
    u_step, *u_line = noise * np.sqrt((solver[3:] ** 2).sum(axis=1) / len(first))
    step_height, height, u_height = float(median(first[:, 3])), 0.0, 0.0
    if not step_only:
        height, u_height = float(median(first[:, 4])), float(u_line[0])
    # How the profile changes when line and step move together to the right, and when the line widens.
    moved = (height * u / w**2 - step_height / (w * np.sqrt(2 * np.pi))) * bell
    scale = float(np.abs(moved).max())
    if scale < LEAST_SLOPE:
        return None
    changes = [moved / scale] if step_only else [moved / scale, (u / w) ** 2 * bell / w]
    try:
        solver = _solver(np.column_stack([shape, *changes]), trust)[shape.shape[1] :]
    except np.linalg.LinAlgError:
        return None  # a step alone, with no line at all on it: where that would lie makes no difference
    places = profile @ solver[0] * (step / scale)
    widening = float(median(profile @ solver[1])) / height if abs(height) > u_height * 4 else 0.0
    width = min(max(w + min(max(widening, -0.3 * w), 0.3 * w), 0.7), 6.0) * step
    shift, turn, cov, spread = _robust_straight(along - pivot_in, np.clip(places, -4 * step, 4 * step))
    return LineFit(
        offset_in + shift,
        slope + turn,
        cov,
        height,
        width,
        abs(height) / (u_height + 1e-12),
        abs(step_height) / (float(u_step) + 1e-12),
        float(np.sqrt((residual.mean(axis=0) ** 2).mean())),
        spread,
        len(places),
    )


def _blocks_about(strip: SeamStrip, line_in: Array) -> tuple[Array, Array] | None:
    """Mean profiles (n, 2 FIT_HALF_STEPS + 1) across a line at line_in (n_along,), block by block, and where along (n,) these lie."""
    half = FIT_HALF_STEPS
    n_columns = len(strip.across_in)
    n_rows = max(3, round(FIT_BLOCK_IN / strip.step_in))
    n_blocks = len(line_in) // n_rows
    if n_blocks < 3:
        return None
    used = slice(0, n_blocks * n_rows)
    middle = (line_in[used] - strip.across_in[0]) / strip.step_in
    first_column = np.floor(middle).astype(int) - half
    part = (middle - half - first_column).astype(np.float32)[:, None]
    whole = (middle >= half) & (middle + half < n_columns)
    first_column = np.clip(first_column, 0, n_columns - 2 * half - 2)
    row = np.arange(len(middle))
    hidden = strip.hidden_before[row, first_column + 2 * half + 2] - strip.hidden_before[row, first_column]
    good = whole & (hidden == 0)
    light = strip.log_light.take((row * n_columns + first_column)[:, None] + np.arange(2 * half + 2))
    window = (light[:, :-1] + (light[:, 1:] - light[:, :-1]) * part) * good[:, None]
    count = good.reshape(n_blocks, n_rows).sum(axis=1)
    keep = count >= 0.5 * n_rows
    if keep.sum() < 3:
        return None
    profile = window.reshape(n_blocks, n_rows, -1).sum(axis=1, dtype=float)[keep] / count[keep, None]
    return profile, strip.along_in[used].reshape(n_blocks, n_rows).mean(axis=1)[keep]


def _bell_and_edge(z: Array) -> tuple[Array, Array]:
    """A blurred line of height 1 and a blurred step of height 1 about 0, at z blurs."""
    from scipy.special import erf

    return np.exp(-0.5 * z**2), 0.5 * erf(z / np.sqrt(2))


def _solver(shape: Array, trust: Array) -> Array:
    """(k, n): times a profile (n,), the factors of the shapes (n, k) that fit it best, by weighted least squares."""
    weighted = shape.T * trust**2
    return np.linalg.solve(weighted @ shape, weighted)


def _robust_straight(x: Array, y: Array) -> tuple[float, float, Array, float]:
    """Huber's straight line y = a + b x: a, b, covariance (residuals' correlation and their small number counted), spread."""
    weight = np.ones_like(x)
    powers = np.stack([np.ones_like(x), x, x * x, y, x * y])
    for _ in range(6):
        s0, s1, s2, t0, t1 = (powers @ weight).tolist()
        determinant = s0 * s2 - s1 * s1
        a, b = (s2 * t0 - s1 * t1) / determinant, (s0 * t1 - s1 * t0) / determinant
        residual = y - a - b * x
        size = np.abs(residual)
        spread = 1.483 * float(median(size)) + 1e-6
        weight = np.minimum(1, HUBER * spread / np.maximum(size, 1e-12))
    inner = np.clip(residual, -HUBER * 2 * spread, HUBER * 2 * spread)
    square = float(inner @ inner)
    variance = square / max(1, len(x) - 2)
    correlation = max(0.0, min(float(inner[1:] @ inner[:-1]) / max(square, 1e-18), 0.8))
    lengthening = (1 + correlation) / (1 - correlation)
    cov = np.array([[s2, -s1], [-s1, s0]]) / determinant * variance * lengthening * _of_few(len(x) - 2)
    return a, b, cov, spread


@lru_cache(maxsize=256)
def _of_few(freedom: int) -> float:
    """By what a variance learnt from so few residuals grows, so that u95 holds 95 in 100 all the same (Student's t: JCGM 100:2008, G.3)."""
    from scipy.special import stdtrit

    return float((stdtrit(max(freedom, 1), 0.975) / COVERAGE_95) ** 2)
