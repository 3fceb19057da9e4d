"""Where a straight seam may lie: a probability over all straight lines near the tip, from grain and line together.

A candidate is (offset, slope): across the strip at its pivot (inches), and inches across per inch along.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array
from .seam_grain import GrainEvidence
from .seam_strip import Floats, SeamStrip

# A maker lays the tip on the seam: how far off it, and how far from straight outward, seams lie as a rule (standard deviations,
# inches and radians), and what is not looked at beyond. Offsets seen go to 0.06 in, and the tip's place may be 0.01 in off.
USUAL_OFFSET_IN, USUAL_SLOPE = 0.05, 0.02
LARGEST_OFFSET_IN, LARGEST_SLOPE = 0.13, 0.05
# Evidence is gathered in blocks of this length along the seam (inches).
BLOCK_IN = 0.06
# One block may speak against a candidate by no more than this log-likelihood (tape, a knot or a scratch must not decide).
BLOCK_BOUND = 6.0
# The flanks' evidence is checked in windows of this width (inches; steps at least), about the length over which it is correlated.
WINDOW_IN, WINDOW_STEPS = 0.04, 8
# Evidence that can't tell the flanks apart is scaled down to so little at most.
LEAST_SURE = 1e-3
# A seam is compared with itself in this many segments, each free to lie this far off (inches); the ratio that comes out is held toward 1
# as if this many more segments had agreed.
SEGMENTS, SEGMENT_REACH_IN, PRIOR_FREEDOM = 7, 0.04, 3.0


@dataclass(frozen=True)
class Blocks:
    """Evidence summed over blocks of rows."""

    running: Array  # (n_blocks, n_across + 1): bounded log-likelihood of the seam at each column border
    along_in: Array  # (n_blocks,) middle of each
    border_in: Array  # (n_across + 1,) across
    inflation: float  # how many times too sure the raw evidence was


@dataclass(frozen=True)
class Posterior:
    """Log-probability over candidates, not normalised."""

    log_p: Array  # (n_slopes, n_offsets)
    slopes: Array  # (n_slopes,)
    offsets_in: Array  # (n_offsets,) at the pivot
    pivot_in: float  # along

    @property
    def best(self) -> tuple[float, float]:
        """(offset, slope) of the most probable candidate."""
        i, j = np.unravel_index(int(np.argmax(self.log_p)), self.log_p.shape)
        return float(self.offsets_in[j]), float(self.slopes[i])

    def holds(self, offset_in: float, slope: float) -> bool:
        """Whether a line is one of those that are looked at: as straight outward, and as near to the tip, as seams lie."""
        return abs(slope) <= LARGEST_SLOPE and abs(offset_in - slope * self.pivot_in) <= LARGEST_OFFSET_IN

    def index_of(self, offset_in: float, slope: float) -> tuple[int, int]:
        """The nearest place of the grid."""
        return int(np.argmin(np.abs(self.slopes - slope))), int(np.argmin(np.abs(self.offsets_in - offset_in)))

    def moments(self) -> tuple[Array, Array]:
        """Mean (2,) and covariance (2, 2) of (offset, slope)."""
        p = np.exp(self.log_p - self.log_p.max())
        p /= p.sum()
        offset, slope = self.offsets_in[None, :], self.slopes[:, None]
        mean = np.array([(p * offset).sum(), (p * slope).sum()])
        do, ds = offset - mean[0], slope - mean[1]
        cross = (p * do * ds).sum()
        return mean, np.array([[(p * do * do).sum(), cross], [cross, (p * ds * ds).sum()]])


def gather(strip: SeamStrip, evidence: GrainEvidence, guess_in: float, margin_in: float) -> Blocks:
    """Sum the grain's evidence over blocks, after taking it down to what it is worth.

    Were the places independent and the classifier right, the variance of a sum of log-likelihood ratios would be twice its mean. On the
    flanks, where the leaf is known, the excess says by how much neighbouring places repeat each other.
    """
    across, step = strip.across_in, strip.step_in
    spacing = evidence.along_in[1] - evidence.along_in[0]
    n_rows = max(2, round(BLOCK_IN / spacing))
    n_blocks = max(1, len(evidence.along_in) // n_rows)
    used = evidence.ratio[: n_blocks * n_rows]
    sums = used.reshape(n_blocks, -1, used.shape[1]).sum(axis=1, dtype=float)
    along = evidence.along_in[: n_blocks * n_rows].reshape(n_blocks, -1).mean(axis=1)
    width = max(WINDOW_STEPS, round(WINDOW_IN / step))

    def windows(part: Array) -> Array:
        count = part.shape[1] // width
        return part[:, : count * width].reshape(len(part), count, width).sum(axis=2).ravel()

    known = np.concatenate([windows(sums[:, across < guess_in - margin_in]), -windows(sums[:, across > guess_in + margin_in])])
    known = known[known != 0]
    mean = known.mean() if len(known) else 0.0
    inflation = max(1.0, known.var() / (2 * mean)) if mean > 0 else np.inf
    sums = sums / inflation
    sums = sums * _sureness(sums, across, guess_in, margin_in, width)
    running = np.concatenate([np.zeros((n_blocks, 1)), np.cumsum(sums, axis=1)], axis=1)
    border = np.append(across - step / 2, across[-1] + step / 2)
    near = np.abs(border) <= LARGEST_OFFSET_IN + LARGEST_SLOPE
    running -= running[:, near].max(axis=1, keepdims=True)
    return Blocks(-BLOCK_BOUND * (1 - np.exp(running / BLOCK_BOUND)), along, border, inflation)


def _sureness(sums: Array, across: Array, guess_in: float, margin_in: float, width: int) -> float:
    """What the evidence of a whole seam's length is worth, up to 1.

    A streak along the seam says the same wrong thing in every block. On the flanks the leaf is known: where stretches as wide as a
    window and as long as the seam are taken for the other leaf's, the log-likelihoods are scaled down to what foretells that as
    often as it happens (a logistic calibration: Platt 1999).
    """
    known = []
    for sign, part in ((1, sums[:, across < guess_in - margin_in]), (-1, sums[:, across > guess_in + margin_in])):
        total = np.concatenate([[0.0], np.cumsum(sign * part.sum(axis=0))])
        known.append(total[width :: max(1, width // 2)] - total[: len(total) - width : max(1, width // 2)])
    totals = np.concatenate(known)
    totals = totals[totals != 0]
    if not (totals < 0).any():
        return 1.0
    scales = np.geomspace(LEAST_SURE, 1, 60)
    likely = -np.logaddexp(0, -scales[:, None] * totals).sum(axis=1)
    return float(scales[int(np.argmax(likely))])


def along_candidates(rows: Floats | Array, along_in: Array, first_in: float, step_in: float, posterior: Posterior) -> Array:
    """rows (n, n_across) read along every candidate and summed: (n_slopes, n_offsets), linear between columns."""
    return read_candidates(rows, along_in, first_in, step_in, posterior).sum(axis=2, dtype=float)


def read_candidates(rows: Floats | Array, along_in: Array, first_in: float, step_in: float, posterior: Posterior) -> Floats:
    """rows (n, n_across) read along every candidate: (n_slopes, n_offsets, n), linear between columns."""
    import cv2

    lean = (posterior.slopes[:, None] * (along_in - posterior.pivot_in) / step_in).astype(np.float32)
    offsets = ((posterior.offsets_in - first_in) / step_in).astype(np.float32)
    columns = offsets[None, :, None] + lean[:, None, :]
    shape = columns.shape
    lines = np.broadcast_to(np.arange(len(along_in), dtype=np.float32), shape)
    flat = columns.reshape(shape[0], -1), np.ascontiguousarray(lines).reshape(shape[0], -1)
    return cv2.remap(rows.astype(np.float32), *flat, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).reshape(shape)


def candidates(pivot_in: float, offsets_in: Array, slopes: Array) -> Posterior:
    """All candidates of a grid, with what is usual before looking."""
    at_tip = offsets_in[None, :] - slopes[:, None] * pivot_in
    log_p = -0.5 * (at_tip / USUAL_OFFSET_IN) ** 2 - 0.5 * (slopes[:, None] / USUAL_SLOPE) ** 2
    return Posterior(np.where(np.abs(at_tip) <= LARGEST_OFFSET_IN, log_p, -1e6), slopes, offsets_in, pivot_in)


def coarse_grid(pivot_in: float) -> Posterior:
    """Every line that is looked at."""
    reach = LARGEST_OFFSET_IN + LARGEST_SLOPE * pivot_in
    return candidates(pivot_in, np.arange(-reach, reach, 0.003), np.arange(-LARGEST_SLOPE, LARGEST_SLOPE + 1e-9, 0.0025))


def fine_grid(pivot_in: float, offset_in: float, slope: float, span_in: float, span_slope: float) -> Posterior:
    """Lines close to one."""
    return candidates(pivot_in, offset_in + np.linspace(-span_in, span_in, 41), slope + np.linspace(-span_slope, span_slope, 31))


def disagreement(blocks: Blocks, offset_in: float, slope: float, pivot_in: float, step_in: float) -> float:
    """By how much the segments of a seam differ more than each is uncertain by: at least 1, a ratio of variances.

    Each segment places the seam for itself, at the slope that all of them gave (Birge's ratio, drawn toward 1 as there are few segments).
    """
    n = len(blocks.along_in)
    count = min(SEGMENTS, n // 2)
    if count < 3:
        return 1.0
    offsets = np.linspace(-SEGMENT_REACH_IN, SEGMENT_REACH_IN, 81)
    line = Posterior(np.zeros((1, len(offsets))), np.array([slope]), offset_in + offsets, pivot_in)
    read = read_candidates(blocks.running, blocks.along_in, blocks.border_in[0], step_in, line)[0]
    owner = np.arange(n) * count // n
    log_p = np.stack([read[:, owner == k].sum(axis=1) for k in range(count)])
    p = np.exp(log_p - log_p.max(axis=1, keepdims=True))
    p /= p.sum(axis=1, keepdims=True)
    mean = p @ offsets
    variance = p @ offsets**2 - mean**2 + (offsets[1] - offsets[0]) ** 2
    middle = np.array([blocks.along_in[owner == k].mean() for k in range(count)]) - pivot_in
    design = np.column_stack([np.ones(count), middle]) / np.sqrt(variance)[:, None]
    scaled = mean / np.sqrt(variance)
    residual = scaled - design @ np.linalg.lstsq(design, scaled, rcond=None)[0]
    return max(1.0, (float(residual @ residual) + PRIOR_FREEDOM) / (count - 2 + PRIOR_FREEDOM))
