"""Which leaf each place belongs to, by the grain.

Within a leaf, a place can be foretold from places deeper in the same leaf, along its own grain; across
the seam it can't. So two predictors are learnt, one from each flank, each looking only deeper into its own leaf; where
the left one's error is small and the right one's large, the place is left of the seam. A small logistic classifier, learnt on
the clear flanks of the same seam, turns the two errors into a log-likelihood ratio, and the seam is where the running sum
of these along each row is largest. (A change point in two autoregressions; the one-sidedness is what keeps the change sharp.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array
from .seam_strip import Flags, Floats, SeamStrip

# How far deeper into the leaf a predictor looks, and how far along the seam at each depth (steps, about photo
# pixels). One step is left out: blur ties neighbours together whatever the leaf.
LAGS = ((2, range(-6, 7)), (4, range(-10, 11, 2)), (8, range(-20, 21, 4)))
# Rows that are classified: every second, as blur makes neighbours nearly alike.
ROW_STEP = 2
# Ridge of the predictors, as a share of the mean power: keeps near-alike lags from cancelling.
RIDGE = 3e-3
# Errors are pooled along the seam over this (steps): it steadies them and costs no sharpness across the seam.
POOL_STEPS = 3.0
# Power below this share of the median says nothing (keeps the logarithm from running off).
POWER_FLOOR = 0.05
# Bound on one place's log-likelihood ratio: no single place decides.
LEAST_DOUBT = 4.0
# At most this many places train the classifier.
TRAINING = 3000


@dataclass(frozen=True)
class GrainEvidence:
    """Log of p(left leaf) / p(right leaf), place by place; 0 where nothing is known."""

    ratio: Floats  # (n_rows, n_across)
    along_in: Array  # (n_rows,)


def grain_evidence(strip: SeamStrip, guess_in: float, margin_in: float) -> GrainEvidence | None:
    """The evidence of the grain, learnt on the flanks farther than margin_in from guess_in (across, inches)."""
    left, right = strip.across_in < guess_in - margin_in, strip.across_in > guess_in + margin_in
    errors = []
    known: Flags | None = None
    for side, flank in ((1, left), (-1, right)):
        found = _one_sided_error(strip, side, flank)
        if found is None:
            return None
        errors.append(found[0])
        known = found[1] if known is None else known & found[1]
    assert known is not None
    known &= ~strip.bridged[::ROW_STEP]
    own, other = (_pooled_power(error, known) for error in errors)
    feature = np.log(other / own)
    mean_level = 0.5 * np.log(other * own)
    ratio = _classified(np.stack([feature, mean_level], axis=-1), known, left, right)
    if ratio is None:
        return None
    return GrainEvidence(ratio, strip.along_in[::ROW_STEP])


def _one_sided_error(strip: SeamStrip, side: int, flank: Flags) -> tuple[Floats, Flags] | None:
    """Error of foretelling each place from places on one side of it (side +1: from the left), and where it is known."""
    import cv2

    light, usable = strip.log_light, strip.usable
    n_rows, n_columns = light.shape
    deep = max(lag for lag, _ in LAGS)
    far = max(abs(shift) for _, shifts in LAGS for shift in (shifts[0], shifts[-1]))
    padded = np.pad(light, ((far, far), (deep, deep)))
    rows = range(far, far + n_rows, ROW_STEP)
    shifted = [
        padded[rows.start + shift : rows.stop + shift : ROW_STEP, deep - side * lag : deep - side * lag + n_columns]
        for lag, shifts in LAGS
        for shift in shifts
    ]
    features = np.stack(shifted)
    # Known where the whole neighbourhood that a predictor looks at is usable.
    kernel = np.ones((2 * far // 2 + 1, deep + 1), np.uint8)
    anchor = (deep, kernel.shape[0] // 2) if side == 1 else (0, kernel.shape[0] // 2)
    border = cv2.erode(np.pad(usable, ((0, 0), (deep, deep))).astype(np.uint8), kernel, anchor=anchor)
    known = border[::ROW_STEP, deep : deep + n_columns] > 0
    target = light[::ROW_STEP]
    train = known & flank
    if train.sum() < 20 * len(features):
        return None
    a, b = features[:, train], target[train]
    gram = (a @ a.T).astype(float)
    gram += RIDGE * np.trace(gram) / len(gram) * np.eye(len(gram))
    weights = np.linalg.solve(gram, (a @ b).astype(float)).astype(np.float32)
    return target - np.tensordot(weights, features, axes=1), known


def _pooled_power(error: Floats, known: Flags) -> Floats:
    """Squared error, pooled along the seam, never zero."""
    from scipy.ndimage import gaussian_filter1d

    weight = known.astype(np.float32)
    sigma = POOL_STEPS / ROW_STEP
    power = gaussian_filter1d(error**2 * weight, sigma, axis=0) / np.maximum(gaussian_filter1d(weight, sigma, axis=0), 1e-3)
    floor = POWER_FLOOR * np.median(power[known]) if known.any() else 1.0
    return (power + max(float(floor), 1e-12)).astype(np.float32)


def _classified(features: Floats, known: Flags, left: Flags, right: Flags) -> Floats | None:
    """Log-likelihood ratio left over right from features (..., k), by a logistic fit to the flanks."""
    in_left, in_right = known & left, known & right
    if min(in_left.sum(), in_right.sum()) < 200:
        return None
    x = np.concatenate([features[in_left], features[in_right]]).astype(float)
    t = np.concatenate([np.ones(in_left.sum()), np.zeros(in_right.sum())])
    thin = max(1, len(x) // TRAINING)
    x, t = x[::thin], t[::thin]
    mean, spread = x.mean(0), x.std(0) + 1e-9
    x = np.column_stack([(x - mean) / spread, np.ones(len(x))])
    ridge = 1e-3 * len(x) * np.diag([1.0] * (x.shape[1] - 1) + [0.0])
    weights = np.zeros(x.shape[1])
    for _ in range(5):  # Newton steps; the problem is convex and small
        p = 1 / (1 + np.exp(-x @ weights))
        hessian = (x * (p * (1 - p))[:, None]).T @ x + ridge
        weights += np.linalg.solve(hessian, x.T @ (t - p) - ridge @ weights)
    prior = np.log(t.mean() / (1 - t.mean()))
    ratio = ((features - mean) / spread) @ weights[:-1] + weights[-1] - prior
    return np.where(known, np.clip(ratio, -LEAST_DOUBT, LEAST_DOUBT), 0).astype(np.float32)
