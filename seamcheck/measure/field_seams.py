"""A bare top's field seams, each along all of its length that shows.

A seam is looked at stretch by stretch, every one as beyond a tip (`seams`): so a card, tape or a stripe costs its own stretch and no more.
The stretches that agree make one straight line; how much they scatter about it is part of what it is uncertain by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..basis.frames import Array, unit_of_bearing, wrap_angle
from ..basis.lines import Line
from ..basis.reasons import Reason
from ..edges import LinearPatch
from ..plane.camera import Camera
from .seam_strip import SKIP_BEYOND_TIP_IN
from .seams import SeamFit, measure_seam
from .tips import centre_of

# Where leaves are wide enough to tell apart, from the centre; and a stretch's length (inches).
INNERMOST_IN, STRETCH_IN = 0.45, 1.9
# A stretch belongs to a line when it lies within so many standard uncertainties of it, and this much for what no model says (inches).
BELONGS, BELONGS_IN = 3.5, 0.003
# The scatter of few stretches is held toward what they claim as if so many more had agreed with their claims.
PRIOR_FREEDOM = 2.0
# A whole seam bows and wanders by so much between its ends where it was planed by hand (standard uncertainty, inches; common practice,
# no source): a straight line can't be surer of its bearing than that over its length.
BOW_IN = 0.0003
# A line that shows in one stretch and not in the next may be a stripe of the wood beside the joint: unless so large a share of the
# stretches show one, it is as unsure as the grain (standard uncertainty, inches).
LINE_SHARE, STRIPE_U_IN = 0.75, 0.002
# A whole seam less certain than this across is as good as not seen (standard uncertainty, inches).
FAINT_U_IN = 0.008
# What passes the others' common centre by more than this, or runs so far from an even turn, is no seam of theirs (inches, rad; common
# practice, no source: a top so far off is not matched).
MOST_OFF_IN, MOST_TURN = 0.125, np.radians(2.0)
# A seam not followed by a line that passes the others' centre by so many times what they do (at least this, inches) is not believed.
# Nor is one that runs so many times as far from an even turn as they do (at least this, rad).
UNLIKE, USUAL_OFF_IN, USUAL_TURN = 4.0, 0.008, np.radians(0.2)


@dataclass(frozen=True)
class FieldSeamFit:
    """A bare top's seam: a line on z = 0, directed outward, and what it was followed by."""

    line: Line
    cue: str  # what most of it was followed by: "line", "step" or "grain"
    stretches: int  # that agreed


def measure_field_seams(
    patch: LinearPatch, camera: Camera, centre_in: Array, bearings: Array, outer_in: float, blocked: Sequence[Array]
) -> list[FieldSeamFit | Reason]:
    """Every seam round a centre (2,), from bearings (n,) rad good to a degree; outer_in: where the field ends, from the centre (inches).

    The lines' uncertainty leaves out the camera's. A Reason in the place of a seam that can't be followed.
    """
    fits = [_measure(patch, camera, centre_in, float(bearing), outer_in, blocked) for bearing in bearings]
    lines = [fit.line for fit in fits if not isinstance(fit, Reason)]
    if len(lines) < 3:
        return fits
    centre = _middle(lines)
    for k, fit in enumerate(fits):
        if isinstance(fit, Reason):
            near = _bearing_between(fits, k, bearings)
            fits[k] = _measure(patch, camera, centre, near, outer_in, blocked)
    return [_or_astray(k, fits, bearings) for k in range(len(fits))]


def _or_astray(k: int, fits: Sequence[FieldSeamFit | Reason], bearings: Array) -> FieldSeamFit | Reason:
    """The seam, unless the others say that something else was followed."""
    fit = fits[k]
    others = [one.line for j, one in enumerate(fits) if j != k and not isinstance(one, Reason)]
    if isinstance(fit, Reason) or len(others) < 3:
        return fit
    turn = abs(float(wrap_angle(fit.line.bearing - _bearing_between(fits, k, bearings))))
    centre = _middle(others)
    off = abs(fit.line.offset_of(centre))
    if turn > MOST_TURN or off > MOST_OFF_IN:
        return Reason.SEAM_AMBIGUOUS
    if fit.cue == "line" and fit.stretches > 1:
        return fit
    # Grain, or a line in one place, is now and then followed beside the joint. How well the maker matched the others says what to expect.
    usual = max(USUAL_OFF_IN, 1.483 * float(np.median([abs(line.offset_of(centre)) for line in others])))
    u = float(np.hypot(np.hypot(fit.line.u_sampling_at(centre), fit.line.u_model_in), usual))
    turns = [abs(float(wrap_angle(one.line.bearing - _bearing_between(fits, j, bearings)))) for j, one in _measured(fits) if j != k]
    usual_turn = max(USUAL_TURN, 1.483 * float(np.median(turns)))
    return Reason.SEAM_AMBIGUOUS if off > UNLIKE * u or turn > UNLIKE * usual_turn else fit


def _measured(fits: Sequence[FieldSeamFit | Reason]) -> list[tuple[int, FieldSeamFit]]:
    return [(k, fit) for k, fit in enumerate(fits) if not isinstance(fit, Reason)]


def _middle(lines: Sequence[Line]) -> Array:
    """(2,): where the lines meet, without the one that misses by most where there are enough."""
    centre = centre_of(lines)
    if len(lines) < 5:
        return centre
    far = int(np.argmax([abs(line.offset_of(centre)) for line in lines]))
    return centre_of([line for k, line in enumerate(lines) if k != far])


def _bearing_between(fits: Sequence[FieldSeamFit | Reason], missing: int, bearings: Array) -> float:
    """Where a missing seam should lie, from the measured ones and even leaves."""
    count = len(fits)
    turns = [
        wrap_angle(fit.line.bearing - bearings[missing] - 2 * np.pi * (k - missing) / count)
        for k, fit in enumerate(fits)
        if k != missing and not isinstance(fit, Reason)
    ]
    return float(bearings[missing] + np.median(turns))


def _measure(
    patch: LinearPatch, camera: Camera, centre_in: Array, bearing: float, outer_in: float, blocked: Sequence[Array]
) -> FieldSeamFit | Reason:
    way = unit_of_bearing(bearing)
    fits: list[SeamFit] = []
    reasons: list[Reason] = []
    start = INNERMOST_IN - SKIP_BEYOND_TIP_IN
    count = max(1, int((outer_in - start) / STRETCH_IN))
    length = (outer_in - start) / count
    for k in range(count):
        found = measure_seam(patch, camera, centre_in + (start + k * length) * way, bearing, length, list(blocked))
        if isinstance(found, Reason):
            reasons.append(found)
        else:
            fits.append(found)
    in_line = sum(fit.cue == "line" for fit in fits)
    open_to_view = len(fits) + sum(reason is not Reason.SEAM_COVERED for reason in reasons)
    if in_line < LINE_SHARE * open_to_view:
        fits = [_doubted(fit) if fit.cue == "line" else fit for fit in fits]
    if not fits:
        return next((reason for reason in reasons if reason is not Reason.SEAM_COVERED), Reason.SEAM_COVERED)
    return _joined(fits, centre_in + 0.5 * outer_in * way, bearing)


def _doubted(fit: SeamFit) -> SeamFit:
    return replace(fit, line=replace(fit.line, u_model_in=float(np.hypot(fit.line.u_model_in, STRIPE_U_IN))))


def _joined(fits: Sequence[SeamFit], pivot_in: Array, bearing: float) -> FieldSeamFit | Reason:
    """One line from the stretches that agree best: least squares about a straight line across `bearing`."""
    observed = [_Stretch.of(fit, pivot_in, bearing) for fit in fits]
    best: tuple[float, list[int]] | None = None
    for start in observed:
        members = list(range(len(observed)))
        shift, cov = _fit([start])
        for _ in range(4):
            new = [k for k, one in enumerate(observed) if one.agrees(shift, cov)]
            if not new or new == members:
                break
            members = new
            shift, cov = _fit([observed[k] for k in members])
        weight = sum(1 / observed[k].cov[0, 0] for k in members)
        if best is None or weight > best[0]:
            best = weight, members
    assert best is not None
    left_out = sum(1 / one.cov[0, 0] for k, one in enumerate(observed) if k not in best[1])
    if left_out > best[0]:
        return Reason.SEAM_AMBIGUOUS
    agreed = [observed[k] for k in best[1]]
    shift, cov = _fit(agreed)
    freedom = 2 * len(agreed) - 2
    chi2 = sum(one.chi2(shift) for one in agreed)
    cov = cov * max(1.0, (chi2 + PRIOR_FREEDOM) / (freedom + PRIOR_FREEDOM))
    joined = _as_fit(agreed, shift, cov, pivot_in, bearing)
    u = float(np.hypot(np.sqrt(joined.line.cov[0, 0]), joined.line.u_model_in))
    # Grain now and then misleads over one stretch, and nothing else there would show it.
    alone = len(agreed) == 1 and joined.cue != "line"
    return joined if u < FAINT_U_IN and not alone else Reason.SEAM_FAINT


@dataclass(frozen=True)
class _Stretch:
    """One stretch's line as (offset, slope) across a common bearing at its own place along it."""

    along_in: float
    place: Array  # (2,) offset, inches; slope
    cov: Array
    fit: SeamFit

    @staticmethod
    def of(fit: SeamFit, pivot_in: Array, bearing: float) -> _Stretch:
        line = fit.line
        way = unit_of_bearing(bearing)
        across = np.array([way[1], -way[0]])
        away = line.point_in - pivot_in
        slope = float(np.tan(wrap_angle(line.bearing - bearing)))
        # What the model leaves out differs from stretch to stretch too, and within one: as a shift and as a turn.
        own = np.diag([line.u_model_in**2, 3 * (line.u_model_in / line.half_span_in) ** 2])
        return _Stretch(float(away @ way), np.array([away @ across, slope]), line.cov + own, fit)

    def agrees(self, shift: Array, cov: Array) -> bool:
        lever = np.array([1.0, self.along_in])
        miss = abs(self.place[0] - lever @ shift)
        u = np.sqrt(self.cov[0, 0] + min(float(lever @ cov @ lever), 0.02**2))
        return bool(miss < BELONGS * u + BELONGS_IN)

    def chi2(self, shift: Array) -> float:
        miss = self.place - np.array([shift[0] + shift[1] * self.along_in, shift[1]])
        return float(miss @ np.linalg.solve(self.cov, miss))


def _fit(stretches: Sequence[_Stretch]) -> tuple[Array, Array]:
    """(offset at the pivot, slope) and its covariance (2, 2), from each stretch's own two numbers."""
    information, right = np.zeros((2, 2)), np.zeros(2)
    for one in stretches:
        design = np.array([[1.0, one.along_in], [0.0, 1.0]])
        weight = np.linalg.inv(one.cov)
        information += design.T @ weight @ design
        right += design.T @ weight @ one.place
    cov = np.linalg.inv(information)
    return cov @ right, cov


def _as_fit(members: Sequence[_Stretch], shift: Array, cov: Array, pivot_in: Array, bearing: float) -> FieldSeamFit:
    way = unit_of_bearing(bearing)
    across = np.array([way[1], -way[0]])
    ends = np.array([[one.along_in - one.fit.line.half_span_in, one.along_in + one.fit.line.half_span_in] for one in members])
    low, high = float(ends.min()), float(ends.max())
    middle, half = (low + high) / 2, (high - low) / 2
    move = np.array([[1.0, middle], [0.0, 1.0]])
    cov = move @ cov @ move.T + np.diag([0.0, (BOW_IN / half) ** 2])
    weights = np.array([1 / one.cov[0, 0] for one in members])
    model = float(np.sqrt(np.average([one.fit.line.u_model_in**2 for one in members], weights=weights)))
    cues: dict[str, float] = {}
    for one, weight in zip(members, weights, strict=True):
        cues[one.fit.cue] = cues.get(one.fit.cue, 0.0) + float(weight)
    seen = sum(2 * one.fit.line.half_span_in * one.fit.line.seen_fraction for one in members) / (2 * half)
    point = pivot_in + middle * way + (shift[0] + shift[1] * middle) * across
    line = Line(point, bearing + float(np.arctan(shift[1])), cov, model, 0.0, half, min(1.0, seen))
    return FieldSeamFit(line, max(cues, key=lambda cue: cues[cue]), len(members))
