"""A straight line through the blocks' places, robustly, with a covariance that counts what neighbours repeat."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..basis.frames import Array
from ..basis.order import median

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


def fit_line(along: Array, at: Array, spread: Array, u_slope: float, allowed: Array | None = None) -> LineFit | None:
    """Fit blocks' places `at` (n,) with standard uncertainties `spread`, only `allowed` ones; None where too few agree.

    u_slope: how far the slope usually lies from 0, a normal prior.
    """
    n = len(along)
    allowed = np.ones(n, bool) if allowed is None else allowed
    if allowed.sum() < MIN_BLOCKS:
        return None
    floor = max(float(median(spread[allowed])), 1e-5)
    spread = np.maximum(spread, 0.5 * floor)
    kept = _consensus(along, at, spread, floor, u_slope, allowed)
    if kept.sum() < MIN_BLOCKS:
        return None
    weight = kept / spread**2
    scale = 1.0
    before = (np.inf, np.inf)
    for _ in range(MOST_ROUNDS):
        mean = float(np.sum(weight * along) / weight.sum())
        centred = along - mean
        inertia = float(np.sum(weight * centred**2))
        slope = float(np.sum(weight * centred * at)) / (inertia + scale**2 / u_slope**2)
        offset = float(np.sum(weight * at) / weight.sum())
        miss = (at - offset - slope * centred) / spread
        scale = max(1.0, 1.4826 * float(median(np.abs(miss[weight > 0]))))
        weight = allowed * np.clip(1 - (miss / (TUKEY * scale)) ** 2, 0, None) ** 2 / spread**2
        if (weight > 0).sum() < MIN_BLOCKS:
            return None
        if abs(offset - before[0]) < SETTLED_IN and abs(slope - before[1]) * (along[-1] - along[0]) < SETTLED_IN:
            break
        before = offset, slope
    good = weight > 0
    freedom = max(int(good.sum()) - 2, 1)
    variance = max(1.0, float(np.sum(good * miss**2)) / freedom)
    # Neighbouring blocks share the wood's figure: the residuals' correlation from block to block says how many are independent.
    left = np.where(good, miss, 0.0)
    rho = float(np.clip(np.sum(left[1:] * left[:-1]) / max(float(np.sum(left**2)), 1e-12), 0, 0.8))
    variance *= (1 + rho) / (1 - rho)
    cov = np.diag([variance / weight.sum(), 1 / (float(np.sum(weight * centred**2)) / variance + u_slope**-2)])
    seen = along[good]
    half_span = float(seen[-1] - seen[0]) / 2
    bow, bow_variance = _bow(centred / half_span, miss * spread, weight)
    return LineFit(offset, slope, mean, cov, half_span, float(good.mean()), bow, float(np.sqrt(variance * bow_variance)))


def _bow(share: Array, left: Array, weight: Array) -> tuple[float, float]:
    """(bow, variance of it for weights of one over a variance) of what a line has left; share: along, -1 to 1."""
    basis = np.stack([np.ones_like(share), share, 1 - share**2], axis=1)
    cov = np.linalg.pinv((basis.T * weight) @ basis)
    return float((cov @ ((basis.T * weight) @ left))[2]), float(cov[2, 2])


def _consensus(along: Array, at: Array, spread: Array, floor: float, u_slope: float, allowed: Array) -> Array:
    """(n,) blocks that agree with the line through two of them that most information agrees with."""
    i, j = np.triu_indices(len(along), max(2, len(along) // 4))
    slope = (at[j] - at[i]) / (along[j] - along[i])
    both = allowed[i] & allowed[j] & (np.abs(slope) < STEEPEST * u_slope)
    i, j, slope = i[both], j[both], slope[both]
    if not len(i):
        return np.zeros(len(along), bool)
    miss = at[None] - at[i][:, None] - slope[:, None] * (along[None] - along[i][:, None])
    agree = (np.abs(miss) < AGREE * np.maximum(spread, floor)) & allowed
    return agree[int(np.argmax(np.sum(agree / spread**2, axis=1)))]
