"""How a field seam lies beyond a tip, to a fraction of a pixel, with what it is uncertain by.

Two witnesses: the grain, which changes hands at the seam (seam_grain), and a thin line or step (seam_line). Each gives a
probability over all straight lines near the tip; together they say where, and whether a rival stands.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..basis.frames import Array
from ..basis.lines import Line
from ..basis.reasons import Reason
from ..edges import LinearPatch
from ..plane.camera import Camera
from .seam_grain import grain_evidence
from .seam_line import LineFit, find_lines, fit_line, without_lines
from .seam_search import Blocks, Posterior, along_candidates, coarse_grid, disagreement, fine_grid, gather
from .seam_strip import USUAL_BLUR_PX, Flags, SeamStrip, take_strip

# No more of the seam than this is looked at (inches beyond the tip).
LONGEST_IN = 2.6
# Less open field than this, in all, says nothing (inches).
LEAST_SEEN_IN = 0.35
# Each leaf's grain is learnt farther than this from the tip's bearing (inches).
LEARN_BEYOND_IN = 0.06
# A line stands while the grain speaks against it by no more than this log-likelihood, and this much more for each standard deviation of its
# own signal up to a bound: grain can mislead, and the louder a narrow line, the more it takes to disbelieve it.
GRAIN_AGAINST, GRAIN_AGAINST_PER_SIGNAL, SIGNAL_BOUND = 10.0, 0.1, 100.0
# A line as sure as this is the seam if it stands; a fainter one is weighed against the grain by their uncertainties, and where that has no
# say isn't believed on less than LONG_BLOCKS, .8 in: figure draws as much.
CERTAIN_LINE_SIGNAL, LONG_BLOCKS = 30.0, 8
# A second certain line that stands is a rival when it has at least this share of the first one's signal.
RIVAL_SHARE = 0.4
# A rival of a faint line counts unless the grain speaks against it by so much more (log-likelihood: one part in twenty).
RIVAL_AGAINST = 3.0
# A ridge stronger than this that isn't a seam's line (a pencil line, a scratch, part of one) would pass for a change of grain as well;
# leaves of different lightness give up to 18, wood's own figure 12 (standard deviations of the filter's answers).
RIDGE_UNEXPLAINED = 25.0
# A seam less certain than this at the tip is as good as not seen (standard uncertainty, inches): where grain runs along the seam, what is
# less certain is a streak's edge, three of its u off.
FAINT_U_IN = 0.013
# What a straight line leaves out: a joint planed by hand bows by a hair; a glue line isn't even (standard uncertainty, inches).
LINE_BOW_U_IN = 0.0002
# The grain of two leaves differs in strength, which draws their border to one side within the photo's blur (standard uncertainty, steps).
GRAIN_MODEL_U_STEPS = 0.25
# In a soft photo the fine grain that tells the leaves apart is gone; figure's border wanders by most of the blur.
SOFT_GRAIN_MODEL_U_STEPS = 0.7
# The same for a step in lightness, which figure rounds off. Its width (steps) is the photo's blur to begin with.
STEP_MODEL_U_IN, STEP_WIDTH_STEPS = 0.0005, 1.3
# A step is followed when its height is this many times its uncertainty; below that the grain, which counts it too, does better.
CLEAR_STEP_SIGNAL = 20.0


@dataclass(frozen=True)
class SeamFit:
    """A field seam beyond a tip, on z = 0, directed outward."""

    line: Line
    cue: str  # "line": a thin line was followed; "step": a jump in lightness; "grain": the leaves' grain was told apart
    line_width_in: float | None  # standard deviation of the line's profile across, blur included

    def u_at(self, point_in: Array) -> float:
        """Standard uncertainty of the seam's place, across it, beside a point (2,), inches; the camera's left out."""
        return float(np.hypot(self.line.u_sampling_at(point_in), self.line.u_model_in))


@dataclass(frozen=True)
class Weighed:
    """What the strip says, before deciding."""

    strip: SeamStrip
    seen: Flags  # (n_along,): rows in which the seam isn't hidden
    pivot_in: float  # along
    lines: tuple[tuple[LineFit, float], ...]  # lines, strongest first, and how strongly the grain speaks against each
    strongest_ridge: float  # standard deviations
    grain: Blocks | None
    from_grain: Posterior | None


def measure_seam(
    patch: LinearPatch,
    camera: Camera,
    tip_in: Array,
    bearing: float,
    reach_limit_in: float = LONGEST_IN,
    blocked: list[Array] | None = None,
    blur_px: float = USUAL_BLUR_PX,
    faint_u_in: float = FAINT_U_IN,
) -> SeamFit | Reason:
    """The field seam beyond a tip.

    patch: the photo about the stretch beyond the tip, 0.35 in to either side of it; tip_in: the tip's plan place, (2,) in;
    bearing: from the centre to it (rad); reach_limit_in: how far beyond the tip the field goes (inches; its edge band begins
    there); blocked: polygons (n, 2) on the plane that lie over the field, such as cards; blur_px: the photo's
    across the seam (standard deviation); faint_u_in: a seam less certain than this at the tip can't be had (standard uncertainty). The
    line's uncertainty leaves out the camera's. A Reason when the seam can't be had.
    """
    weighed = weigh_seam(patch, camera, tip_in, bearing, reach_limit_in, blocked, blur_px)
    return Reason.SEAM_COVERED if weighed is None else decide(weighed, faint_u_in)


def weigh_seam(
    patch: LinearPatch,
    camera: Camera,
    tip_in: Array,
    bearing: float,
    reach_limit_in: float = LONGEST_IN,
    blocked: list[Array] | None = None,
    blur_px: float = USUAL_BLUR_PX,
) -> Weighed | None:
    """Gather what lines and grain say (see measure_seam); None if too little of the seam is open to view."""
    strip = take_strip(patch, camera, tip_in, bearing, min(reach_limit_in, LONGEST_IN), blocked or [], blur_px)
    if strip is None:
        return None
    seen = strip.usable[:, np.abs(strip.across_in) < 0.08].mean(axis=1) > 0.5
    if seen.sum() * (strip.along_in[1] - strip.along_in[0]) < LEAST_SEEN_IN:
        return None
    pivot = float(strip.along_in[seen].mean())
    grid = coarse_grid(pivot)
    lines, strongest = find_lines(strip, grid)
    grain = _grain(without_lines(strip, lines, pivot))
    if grain is None:
        return Weighed(strip, seen, pivot, tuple((fit, 0.0) for fit in lines), strongest, None, None)
    told = _told(strip, grain, grid)
    top = float(told.log_p.max())
    against = tuple((fit, top - float(told.log_p[told.index_of(fit.offset_in, fit.slope)])) for fit in lines)
    return Weighed(strip, seen, pivot, against, strongest, grain, told)


def decide(weighed: Weighed, faint_u_in: float = FAINT_U_IN) -> SeamFit | Reason:
    """The seam, or why it can't be had (faint_u_in: see measure_seam)."""
    tip = weighed.strip.tip_in
    standing = [
        fit
        for fit, against in weighed.lines
        if not fit.heavy
        and against < GRAIN_AGAINST + GRAIN_AGAINST_PER_SIGNAL * min(fit.signal, SIGNAL_BOUND)
        and (weighed.from_grain is not None or fit.signal > CERTAIN_LINE_SIGNAL or fit.blocks >= LONG_BLOCKS)
    ]
    by_line = None
    if standing and _unrivalled(weighed, standing[0]):
        by_line = _from_line(weighed, standing[0])
        if standing[0].signal > CERTAIN_LINE_SIGNAL:
            rivals = [fit for fit in standing[1:] if fit.signal > max(CERTAIN_LINE_SIGNAL, RIVAL_SHARE * standing[0].signal)]
            if rivals:
                return Reason.SEAM_AMBIGUOUS
            if standing[0].step_signal > standing[0].signal:
                # Where two leaves' figure meets in a clear step, a thin line on it may be the step's flank: the grain has a say.
                by_line = _doubted(by_line, _from_grain(_unbridged(weighed)), tip)
            return _unless_faint(by_line, tip, faint_u_in)
    if weighed.strongest_ridge > RIDGE_UNEXPLAINED:
        return Reason.SEAM_AMBIGUOUS if by_line is None else _unless_faint(by_line, tip, faint_u_in)
    if by_line is not None and weighed.from_grain is not None:
        # A faint line may be figure, and bridging it has cost the grain its sharpest part.
        weighed = _unbridged(weighed)
    by_grain = _from_grain(weighed)
    if by_line is not None and by_grain is not None:
        return _unless_faint(_surer(by_line, by_grain, tip), tip, faint_u_in)
    one = by_line or by_grain
    if one is None:
        return Reason.SEAM_AMBIGUOUS if standing else Reason.SEAM_COVERED
    return _unless_faint(one, tip, faint_u_in)


def _unrivalled(weighed: Weighed, line: LineFit) -> bool:
    """Whether no other line that the grain speaks for as well comes near a faint one in strength. (Certain ones have their own rule.)"""
    if line.signal > CERTAIN_LINE_SIGNAL:
        return True
    against = {id(fit): worth for fit, worth in weighed.lines}
    return not any(
        fit is not line and not fit.heavy and fit.signal > RIVAL_SHARE * line.signal and worth - against[id(line)] < RIVAL_AGAINST
        for fit, worth in weighed.lines
    )


def _unbridged(weighed: Weighed) -> Weighed:
    """The same with the grain judged as if there were no lines."""
    grain = _grain(weighed.strip)
    told = None if grain is None else _told(weighed.strip, grain, coarse_grid(weighed.pivot_in))
    return replace(weighed, grain=grain, from_grain=told)


def _surer(a: SeamFit, b: SeamFit, tip_in: Array) -> SeamFit:
    """The more certain of two, less certain where they contradict each other."""
    first, second = sorted((a, b), key=lambda fit: fit.line.u_sampling_at(tip_in))
    return _doubted(first, second, tip_in)


def _doubted(fit: SeamFit, other: SeamFit | None, tip_in: Array) -> SeamFit:
    """A seam, less certain where another witness contradicts it."""
    if other is None:
        return fit
    apart = abs(fit.line.offset_of(tip_in) - other.line.offset_of(tip_in))
    if apart < 2 * np.hypot(fit.line.u_sampling_at(tip_in), other.line.u_sampling_at(tip_in)):
        return fit
    return replace(fit, line=replace(fit.line, u_model_in=float(np.hypot(fit.line.u_model_in, apart / 2))))


def _grain(strip: SeamStrip) -> Blocks | None:
    evidence = grain_evidence(strip, 0.0, LEARN_BEYOND_IN)
    return None if evidence is None else gather(strip, evidence, 0.0, LEARN_BEYOND_IN)


def _told(strip: SeamStrip, grain: Blocks, grid: Posterior) -> Posterior:
    gain = along_candidates(grain.running, grain.along_in, grain.border_in[0], strip.step_in, grid)
    return replace(grid, log_p=grid.log_p + gain)


def _unless_faint(fit: SeamFit, tip_in: Array, faint_u_in: float) -> SeamFit | Reason:
    return fit if fit.u_at(tip_in) < faint_u_in else Reason.SEAM_FAINT


def _from_line(weighed: Weighed, fit: LineFit) -> SeamFit:
    place = np.array([fit.offset_in, fit.slope])
    return SeamFit(_line(weighed.strip, place, fit.cov, LINE_BOW_U_IN, weighed.pivot_in, weighed.seen), "line", fit.width_in)


def _from_grain(weighed: Weighed) -> SeamFit | None:
    strip, grain, told, pivot = weighed.strip, weighed.grain, weighed.from_grain, weighed.pivot_in
    if grain is None or told is None:
        return None
    mean, cov = told.moments()
    u_offset, u_slope = np.sqrt(np.diag(cov))
    if u_offset < 0.006 and u_slope < 0.008:
        # The coarse grid is too coarse for a sure seam: look again, close to it.
        fine = fine_grid(pivot, float(mean[0]), float(mean[1]), max(0.004, 5 * u_offset), max(0.005, 5 * u_slope))
        gain = along_candidates(grain.running, grain.along_in, grain.border_in[0], strip.step_in, fine)
        mean, cov = replace(fine, log_p=fine.log_p + gain).moments()
    cov = cov * disagreement(grain, float(mean[0]), float(mean[1]), pivot, strip.step_in)
    grain_u = GRAIN_MODEL_U_STEPS if strip.coarser == 1 else SOFT_GRAIN_MODEL_U_STEPS
    by_grain = SeamFit(_line(strip, mean, cov, grain_u * strip.step_in, pivot, weighed.seen), "grain", None)
    if by_grain.u_at(strip.tip_in) >= FAINT_U_IN:
        # Where the grain can't say where to look, a step found there may be any streak's edge.
        return by_grain
    step = fit_line(strip, float(mean[0]), float(mean[1]), pivot, STEP_WIDTH_STEPS, step_only=True)
    if step is None or step.step_signal < CLEAR_STEP_SIGNAL:
        return by_grain
    place = np.array([step.offset_in, step.slope])
    by_step = SeamFit(_line(strip, place, step.cov, STEP_MODEL_U_IN * strip.coarser, pivot, weighed.seen), "step", None)
    return _surer(by_grain, by_step, strip.tip_in)


def _line(strip: SeamStrip, place: Array, cov: Array, u_model_in: float, pivot: float, seen: Flags) -> Line:
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
