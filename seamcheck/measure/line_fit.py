"""A straight line through the blocks' places, robustly, with a covariance that counts what neighbours repeat."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..basis.frames import Array
from ..basis.order import median_where

MIN_BLOCKS = 4
# Tukey's biweight: 95 % efficient for normal errors (Huber, Robust Statistics, from memory).
TUKEY = 4.685
# Consensus: blocks within so many standard uncertainties of a line through two blocks agree with it.
AGREE = 2.5
# Reweighting ends when the line's ends move by less than this, inches, or after so many rounds.
SETTLED_IN, MOST_ROUNDS = 1e-6, 8
# Lines steeper than so many times the usual slope are another edge's.
STEEPEST = 3.0


@dataclass(frozen=True)
class LineFit:
    """place = offset + slope (along - mean_along); cov (2, 2) of (offset, slope)."""

    offset: float
    slope: float
    mean_along: float
    cov: Array
    half_span: float
    seen_fraction: float
    bow: float = 0.0  # how far the middle of the stretch lies above the line through its ends, by a parabola through the blocks
    u_bow: float = 0.0

    def place(self, along: Array | list[float] | float) -> Array:
        """Where the line lies across, at places along."""
        return self.offset + self.slope * (np.asarray(along, float) - self.mean_along)

    def shifted(self, by: float) -> LineFit:
        return replace(self, offset=self.offset + by)


def fit_line(along: Array, at: Array, spread: Array, u_slope: float) -> LineFit | None:
    """Fit places `at` (n,) of blocks with standard uncertainties `spread`; None where too few agree."""
    return fit_lines(along[None], at[None], spread[None], np.array([u_slope]), np.ones((1, len(along)), bool), np.array([len(along)]))[0]


def fit_lines(along: Array, at: Array, spread: Array, u_slope: Array, allowed: Array, count: Array) -> list[LineFit | None]:
    """Fit lines, each through its first `count` (lines,) blocks' places `at` (lines, n) with standard uncertainties `spread`.

    Only `allowed` blocks (lines, n) count; None where too few of them agree. u_slope: (lines,) how far the slope usually lies from 0,
    a normal prior.
    """
    allowed = allowed & (np.arange(along.shape[1]) < count[:, None])
    floor = np.maximum(np.nan_to_num(median_where(spread, allowed)), 1e-5)[:, None]
    spread = np.maximum(spread, 0.5 * floor)
    kept = _consensus(along, at, spread, floor, u_slope, allowed, count)
    u_slope = u_slope[:, None]
    weight = kept / spread**2
    alive = np.sum(kept, axis=1) >= MIN_BLOCKS
    fitting = alive.copy()
    mean, offset, slope, scale, miss = (np.zeros(shape) for shape in (*[(len(at), 1)] * 3, (len(at), 1), at.shape))
    scale += 1.0
    length = (np.take_along_axis(along, count[:, None] - 1, axis=1) - along[:, :1])[:, 0]
    for turn in range(MOST_ROUNDS):
        rows = np.flatnonzero(fitting)
        if not len(rows):
            break
        x, y, w, held = along[rows], at[rows], weight[rows], allowed[rows]
        total = w.sum(axis=1, keepdims=True)
        middle = np.sum(w * x, axis=1, keepdims=True) / total
        centred = x - middle
        inertia = np.sum(w * centred**2, axis=1, keepdims=True)
        new_slope = np.sum(w * centred * y, axis=1, keepdims=True) / (inertia + scale[rows] ** 2 / u_slope[rows] ** 2)
        new_offset = np.sum(w * y, axis=1, keepdims=True) / total
        away = (y - new_offset - new_slope * centred) / spread[rows]
        usual = np.maximum(1.0, 1.4826 * median_where(np.abs(away), w > 0)[:, None])
        w = held * np.clip(1 - (away / (TUKEY * usual)) ** 2, 0, None) ** 2 / spread[rows] ** 2
        moved = np.maximum(np.abs(new_offset - offset[rows]), np.abs(new_slope - slope[rows]) * length[rows, None])[:, 0]
        mean[rows], offset[rows], slope[rows], scale[rows], miss[rows], weight[rows] = middle, new_offset, new_slope, usual, away, w
        enough = np.sum(w > 0, axis=1) >= MIN_BLOCKS
        alive[rows] = enough
        fitting[rows] = enough & ((moved >= SETTLED_IN) | (turn == 0))
    good = weight > 0
    number = np.maximum(good.sum(axis=1), 1)
    left = np.where(good, miss, 0.0)
    square = np.sum(left**2, axis=1)
    variance = np.maximum(1.0, square / np.maximum(number - 2, 1))
    # Neighbouring blocks share the wood's figure: the residuals' correlation from block to block says how many are independent.
    rho = np.clip(np.sum(left[:, 1:] * left[:, :-1], axis=1) / np.maximum(square, 1e-12), 0, 0.8)
    variance *= (1 + rho) / (1 - rho)
    total = np.where(alive, weight.sum(axis=1), 1.0)
    inertia = np.sum(weight * (along - mean) ** 2, axis=1)
    u_offset, u_turn = variance / total, 1 / (inertia / variance + u_slope[:, 0] ** -2)
    first, last = np.argmax(good, axis=1), good.shape[1] - 1 - np.argmax(good[:, ::-1], axis=1)
    row = np.arange(len(at))
    half_span = (along[row, last] - along[row, first]) / 2
    bow, bow_variance = _bow((along - mean) / np.maximum(half_span, 1e-9)[:, None], miss * spread, weight)
    u_bow = np.sqrt(variance * bow_variance)
    result: list[LineFit | None] = [None] * len(at)
    for k in np.flatnonzero(alive):
        place = float(offset[k, 0]), float(slope[k, 0]), float(mean[k, 0])
        cov = np.diag([u_offset[k], u_turn[k]])
        result[k] = LineFit(*place, cov, float(half_span[k]), float(number[k] / count[k]), float(bow[k]), float(u_bow[k]))
    return result


def _bow(share: Array, left: Array, weight: Array) -> tuple[Array, Array]:
    """(lines,) bow, and its variance for weights of one over a variance, of what lines (lines, n) have left; share: along, -1 to 1."""
    basis = np.stack([np.ones_like(share), share, 1 - share**2], axis=1)
    weighted = basis * weight[:, None]
    cov = np.linalg.pinv(weighted @ np.swapaxes(basis, 1, 2))
    return (cov @ (weighted @ left[..., None]))[:, 2, 0], cov[:, 2, 2]


def _consensus(along: Array, at: Array, spread: Array, floor: Array, u_slope: Array, allowed: Array, count: Array) -> Array:
    """(lines, n) blocks that agree with the line through two of them that most information agrees with."""
    n = along.shape[1]
    i, j = np.triu_indices(n, 2)
    with np.errstate(invalid="ignore", divide="ignore"):  # blocks beyond the count
        slope = (at[:, j] - at[:, i]) / (along[:, j] - along[:, i])
    both = allowed[:, i] & allowed[:, j] & (j - i >= np.maximum(2, count // 4)[:, None]) & (np.abs(slope) < STEEPEST * u_slope[:, None])
    result = np.zeros(at.shape, bool)
    for k in np.flatnonzero(both.any(axis=1)):
        first, tilt = i[both[k]], slope[k, both[k]]
        miss = at[k] - at[k, first][:, None] - tilt[:, None] * (along[k] - along[k, first][:, None])
        agree = (np.abs(miss) < AGREE * np.maximum(spread[k], floor[k])) & allowed[k]
        result[k] = agree[int(np.argmax(np.sum(agree / spread[k] ** 2, axis=1)))]
    return result
