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
# At most about twice this many places teach a predictor, and the classifier: neighbours are nearly alike.
LEARNING, TRAINING = 6000, 3000
# Of the places, each of so many tells the usual power.
FLOOR_STEP = 8


@dataclass(frozen=True)
class GrainEvidence:
    """Log of p(left leaf) / p(right leaf), place by place; 0 where nothing is known."""

    ratio: Floats  # (n_rows, n_across)
    along_in: Array  # (n_rows,)


def grain_evidence(strip: SeamStrip, guess_in: float, margin_in: float) -> GrainEvidence | None:
    """The evidence of the grain, learnt on the flanks farther than margin_in from guess_in (across, inches)."""
    left, right = strip.across_in < guess_in - margin_in, strip.across_in > guess_in + margin_in
    from_left, from_right = _one_sided_error(strip, 1, left), _one_sided_error(strip, -1, right)
    if from_left is None or from_right is None:
        return None
    known = from_left[1] & from_right[1] & ~strip.bridged[::ROW_STEP]
    weight = known.astype(np.float32)
    pooled_weight = np.maximum(_pooled(weight), np.float32(1e-3))
    own, other = (np.log(_power(error, weight, pooled_weight)) for error in (from_left[0], from_right[0]))
    ratio = _classified((other - own, np.float32(0.5) * (other + own)), known, left, right)
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
    features = np.stack(
        [
            padded[rows.start + shift : rows.stop + shift : ROW_STEP, deep - side * lag : deep - side * lag + n_columns]
            for lag, shifts in LAGS
            for shift in shifts
        ]
    ).reshape(-1, len(rows) * n_columns)
    # Known where the whole neighbourhood that a predictor looks at is usable.
    kernel = np.ones((2 * far // 2 + 1, deep + 1), np.uint8)
    anchor = (deep, kernel.shape[0] // 2) if side == 1 else (0, kernel.shape[0] // 2)
    border = cv2.erode(np.pad(usable, ((0, 0), (deep, deep))).astype(np.uint8), kernel, anchor=anchor)
    known = border[::ROW_STEP, deep : deep + n_columns] > 0
    target = light[::ROW_STEP]
    train = np.flatnonzero(known & flank)
    if len(train) < 20 * len(features):
        return None
    train = train[:: max(1, len(train) // LEARNING)]
    a, b = features.take(train, axis=1), target.take(train)
    gram = (a @ a.T).astype(float)
    if not gram.any():
        return None  # blown out: no grain at all
    gram += RIDGE * np.trace(gram) / len(gram) * np.eye(len(gram))
    weights = np.linalg.solve(gram, (a @ b).astype(float)).astype(np.float32)
    return target - (weights @ features).reshape(target.shape), known


def _pooled(values: Floats) -> Floats:
    """Values (n_rows, n_across), averaged along the seam."""
    import cv2

    reach = 2 * round(4 * POOL_STEPS / ROW_STEP) + 1
    return np.asarray(
        cv2.GaussianBlur(values, (1, reach), sigmaX=1, sigmaY=POOL_STEPS / ROW_STEP, borderType=cv2.BORDER_REFLECT), np.float32
    )


def _power(error: Floats, weight: Floats, pooled_weight: Floats) -> Floats:
    """Squared error where the weight is 1, pooled along the seam, never zero."""
    power = _pooled(error * error * weight) / pooled_weight
    seen = power[weight > 0][::FLOOR_STEP]
    floor = POWER_FLOOR * float(np.median(seen)) if len(seen) else 1.0
    return np.asarray(power + np.float32(max(floor, 1e-12)))


def _classified(features: tuple[Floats, Floats], known: Flags, left: Flags, right: Flags) -> Floats | None:
    """Log-likelihood ratio left over right from two features, by a logistic fit to the flanks."""
    in_left, in_right = np.flatnonzero(known & left), np.flatnonzero(known & right)
    if min(len(in_left), len(in_right)) < 200:
        return None
    picked = np.concatenate([in_left, in_right])
    t = (np.arange(len(picked)) < len(in_left)).astype(float)
    thin = max(1, len(picked) // TRAINING)
    picked, t = picked[::thin], t[::thin]
    x = np.stack([feature.take(picked) for feature in features], axis=1).astype(float)
    mean, spread = x.mean(0), x.std(0) + 1e-9
    x = np.column_stack([(x - mean) / spread, np.ones(len(x))])
    ridge = 1e-3 * len(x) * np.diag([1.0] * (x.shape[1] - 1) + [0.0])
    weights = np.zeros(x.shape[1])
    for _ in range(5):  # Newton steps; the problem is convex and small
        p = 1 / (1 + np.exp(-x @ weights))
        hessian = (x * (p * (1 - p))[:, None]).T @ x + ridge
        weights += np.linalg.solve(hessian, x.T @ (t - p) - ridge @ weights)
    prior = np.log(t.mean() / (1 - t.mean()))
    slopes = weights[:-1] / spread
    ratio = features[0] * np.float32(slopes[0]) + features[1] * np.float32(slopes[1]) + np.float32(weights[-1] - prior - slopes @ mean)
    return np.clip(ratio, -LEAST_DOUBT, LEAST_DOUBT) * known
