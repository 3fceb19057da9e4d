"""How a field seam lies beyond a tip, to a fraction of a pixel, with what it is uncertain by.

Two witnesses: the grain, which changes hands at the seam (seam_grain), and a thin line or step (seam_line). Each gives a
probability over all straight lines near the tip; together they say where, and whether a rival stands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array
from ..basis.lines import Line
from ..basis.reasons import Reason
from ..edges import LinearPatch
from ..plane.camera import Camera
from .seam_grain import grain_evidence
from .seam_line import LineFit, find_lines, without_lines
from .seam_search import Blocks, Posterior, along_candidates, coarse_grid, disagreement, fine_grid, gather
from .seam_strip import SeamStrip, take_strip

# No more of the seam than this is looked at (inches beyond the tip).
LONGEST_IN = 2.6
# Less open field than this, in all, says nothing (inches).
LEAST_SEEN_IN = 0.35
# Each leaf's grain is learnt farther than this from where the seam may lie: first at the tip's bearing, then about a first find.
FIRST_MARGIN_IN, SECOND_MARGIN_IN = 0.06, 0.03
# A line speaks with the square of its strength, but no louder than this: a pencil line is stronger than any seam.
LINE_SAYS_AT_MOST = 12.0
# The grain speaks against a line by more than this log-likelihood: the line isn't the seam, or the grain misleads.
GRAIN_AGAINST, GRAIN_AGAINST_PER_SIGNAL = 10.0, 0.1
# A ridge stronger than this that isn't a seam's line (a pencil line, a scratch, part of one) would pass for a change of grain as well;
# leaves of different lightness give up to 18, wood's own figure 12 (standard deviations of the filter's answers).
RIDGE_UNEXPLAINED = 25.0
# A seam less certain than this at the tip is as good as not seen (standard uncertainty, inches).
FAINT_U_IN = 0.013
# What a straight line leaves out: a joint planed by hand bows by a hair; a glue line isn't even (standard uncertainty, inches).
LINE_BOW_U_IN = 0.0002
# The grain of two leaves differs in strength, which draws their border a little to one side (standard uncertainty, inches).
GRAIN_MODEL_U_IN = 0.001


@dataclass(frozen=True)
class SeamFit:
    """A field seam beyond a tip, on z = 0, directed outward."""

    line: Line
    cue: str  # "line", "step" or "grain"
    line_width_in: float | None  # apparent standard deviation of the line's profile, blur included
    rivals: int  # other places that were weighed


def measure_seam(
    patch: LinearPatch,
    camera: Camera,
    tip_in: Array,
    bearing: float,
    reach_limit_in: float = LONGEST_IN,
    blocked: list[Array] | None = None,
) -> SeamFit | Reason:
    """The field seam beyond a tip.

    tip_in: the tip's plan place, (2,) in; bearing: from the centre to it (rad); reach_limit_in: how far beyond the tip
    the field goes (inches; its edge band begins there); blocked: polygons (n, 2) on the plane that lie over the field.
    """
    strip = take_strip(patch, camera, tip_in, bearing, min(reach_limit_in, LONGEST_IN), blocked or [])
    if strip is None:
        return Reason.SEAM_COVERED
    seen = strip.usable[:, np.abs(strip.across_in) < 0.08].mean(axis=1) > 0.5
    spacing = float(strip.along_in[1] - strip.along_in[0])
    if seen.sum() * spacing < LEAST_SEEN_IN:
        return Reason.SEAM_COVERED
    pivot = float(strip.along_in[seen].mean())
    before = coarse_grid(pivot)
    lines, strongest = find_lines(strip, before)
    grain = _grain(without_lines(strip, lines, pivot), 0.0, FIRST_MARGIN_IN)
    if grain is None:
        return Reason.SEAM_COVERED
    from_grain = along_candidates(grain.running, grain.along_in, grain.border_in[0], strip.step_in, before).sum(axis=2)
    so_far = before.log_p + from_grain
    weighed = []
    for fit in lines:
        at = before.index_of(fit.offset_in, fit.slope)
        weighed.append((float(so_far.max() - so_far[at]), fit))
    if DEBUG is not None:
        DEBUG.update(lines=weighed, before=before, so_far=so_far, strip=strip, grain=grain)
    good = [(against, fit) for against, fit in weighed if against < GRAIN_AGAINST + GRAIN_AGAINST_PER_SIGNAL * min(fit.signal, 100.0) and not fit.heavy]
    if good:
        best = max(good, key=lambda line: LINE_SAYS_AT_MOST * np.log1p(0.5 * line[1].signal ** 2 / LINE_SAYS_AT_MOST) - line[0])
        return _from_line(strip, best[1], pivot, seen)
    if strongest > RIDGE_UNEXPLAINED:
        return Reason.SEAM_AMBIGUOUS
    alone = Posterior(so_far, before.slopes, before.offsets_in, pivot)
    return _from_grain(strip, grain, alone, seen)


DEBUG = None


def _grain(strip: SeamStrip, guess_in: float, margin_in: float) -> Blocks | None:
    evidence = grain_evidence(strip, guess_in, margin_in)
    return None if evidence is None else gather(strip, evidence, guess_in, margin_in)


def _from_line(strip: SeamStrip, fit: LineFit, pivot: float, seen: Array) -> SeamFit | Reason:
    return SeamFit(_line(strip, np.array([fit.offset_in, fit.slope]), fit.cov, LINE_BOW_U_IN, pivot, seen), "line", fit.width_in, 0)


def _from_grain(strip: SeamStrip, grain: Blocks, posterior: Posterior, seen: Array) -> SeamFit | Reason:
    pivot = posterior.pivot_in
    mean, cov = posterior.moments()
    u_offset, u_slope = np.sqrt(np.diag(cov))
    if u_offset < 0.006 and u_slope < 0.008:
        fine = fine_grid(pivot, mean[0], mean[1], max(0.004, 5 * u_offset), max(0.005, 5 * u_slope))
        gain = along_candidates(grain.running, grain.along_in, grain.border_in[0], strip.step_in, fine).sum(axis=2)
        mean, cov = Posterior(fine.log_p + gain, fine.slopes, fine.offsets_in, pivot).moments()
    ratio = disagreement(grain, float(mean[0]), float(mean[1]), pivot, strip.step_in)
    if DEBUG is not None:
        DEBUG.update(ratio=ratio)
    line = _line(strip, mean, cov * ratio, GRAIN_MODEL_U_IN, pivot, seen)
    if line.u_sampling_at(strip.tip_in) > FAINT_U_IN:
        return Reason.SEAM_FAINT
    return SeamFit(line, "grain", None, 0)


def _line(strip: SeamStrip, place: Array, cov: Array, u_model_in: float, pivot: float, seen: Array) -> Line:
    """A line of the plane from (offset, slope) at the pivot."""
    ends = strip.along_in[seen][[0, -1]]
    middle = float(ends.mean())
    move = np.array([[1, middle - pivot], [0, 1]])
    cov = move @ cov @ move.T
    across = place[0] + place[1] * (middle - pivot)
    # Across the strip and along the line's own normal differ by the cosine of a few degrees; a bearing grows with the slope.
    cosine = 1 / np.hypot(1, place[1])
    scale = np.diag([cosine, cosine**2])
    return Line(
        strip.plane_of(middle, across),
        strip.bearing + float(np.arctan(place[1])),
        scale @ cov @ scale,
        u_model_in,
        0.0,
        float(ends[1] - ends[0]) / 2 / cosine,
        float(seen.mean()),
    )
