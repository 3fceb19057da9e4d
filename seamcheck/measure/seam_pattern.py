"""What a matched top's seams have in common, its leaves cut to one angle and laid round one point: it helps where only the grain tells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..basis.frames import Array, wrap_angle
from ..basis.lines import Line
from ..basis.reasons import Reason
from .seams import FAINT_U_IN, SeamFit

# The seams of tops of 4, 6, 8, 12 and 16 leaves all lie on a lattice of so many directions.
LATTICE = 48
# How far leaves usually are from equal (standard deviation of a seam's bearing, rad): 0.2 degrees in rendered tops, 0.5 at most. Common
# practice, no source.
USUAL_U = np.radians(0.25)
# How far a seam passes the point that the others have in common, standard deviation, inches: seams by line of rendered tops .026 and .018.
# Common practice, no source.
U_MEET_IN = 0.03
# Seams up to so uncertain by themselves, inches, are held against the others; beyond, they only say that there is grain.
FAINTEST_U_IN = 0.05
# With fewer other seams nobody can say where they all lie; and with fewer than that which of them is odd.
FEWEST_OTHERS, FEWEST_TO_CONTRADICT = 2, 3
# A seam that departs from the others' directions, or passes their point, by more than so many standard uncertainties is a streak's.
MOST_Z, MOST_PASS_Z = 3.0, 2.5
# Others that are known worse than this where they meet say nothing of that point, nor does a point known worse than that, inches.
MOST_U_IN, MOST_U_MEETING_IN = 0.03, 0.06


def with_the_others(seams: Sequence[SeamFit | Reason | None], tips_in: Sequence[Array]) -> list[SeamFit | Reason | None]:
    """The seams beyond tips (2,), those told by the grain alone drawn to where the others put them, as far as either is certain.

    Without those that contradict the others (ambiguous), and those that stay too uncertain (faint).
    """
    result = list(seams)
    for k, seam in enumerate(seams):
        if not isinstance(seam, SeamFit):
            continue
        if seam.cue == "grain":
            others = [
                other.line for j, other in enumerate(seams) if j != k and isinstance(other, SeamFit) and other.u_at(tips_in[j]) < FAINT_U_IN
            ]
            line = _drawn(seam.line, others)
            if line is None:
                result[k] = Reason.SEAM_AMBIGUOUS
                continue
            seam = result[k] = replace(seam, line=line)
        if seam.u_at(tips_in[k]) >= FAINT_U_IN:
            result[k] = Reason.SEAM_FAINT
    return result


def _drawn(line: Line, others: Sequence[Line]) -> Line | None:
    """A seam's line given the others' directions and the point where they meet; None if it contradicts them."""
    if len(others) < FEWEST_OTHERS:
        return line
    # Each other's departure from this one, on the lattice: about nought if this one lies as they do.
    apart = wrap_angle((np.array([other.bearing for other in others]) - line.bearing) * LATTICE) / LATTICE
    middle = float(np.median(apart))
    spread = 1.4826 * float(np.median(np.abs(apart - middle)))
    u_bearing = max(USUAL_U, spread)
    may_contradict = len(others) >= FEWEST_TO_CONTRADICT
    if may_contradict and abs(middle) > MOST_Z * np.hypot(u_bearing, np.sqrt(line.cov[1, 1])):
        return None
    observations = [(np.array([0.0, 1.0]), middle, u_bearing)]
    met = _meeting(others)
    if met is not None:
        point, cov = met
        u_point = float(np.sqrt(U_MEET_IN**2 + line.normal @ cov @ line.normal + line.u_model_in**2))
        passes = line.offset_of(point)
        if may_contradict and abs(passes) > MOST_PASS_Z * np.hypot(u_point, line.u_sampling_at(point)):
            return None
        observations.append((np.array([1.0, line.along_of(point)]), passes, u_point))
    # Offset and bearing, each observation in turn (the recursion of least squares).
    moved, known = np.zeros(2), line.cov
    for row, seen, u in observations:
        gain = known @ row / (row @ known @ row + u**2)
        moved, known = moved + gain * (seen - row @ moved), known - np.outer(gain, row @ known)
    return replace(line, point_in=line.point_in + moved[0] * line.normal, bearing=line.bearing + float(moved[1]), cov=known)


def _meeting(lines: Sequence[Line]) -> tuple[Array, Array] | None:
    """Where lines have their common point (2,), and its covariance (2, 2); None where too few are certain of it."""
    normal = np.array([line.normal for line in lines])
    place = np.array([line.normal @ line.point_in for line in lines])
    point = np.linalg.lstsq(normal, place, rcond=None)[0]
    u = np.array([np.hypot(line.u_sampling_at(point), line.u_model_in) for line in lines])
    sure = u < MOST_U_IN
    if sure.sum() < FEWEST_OTHERS:
        return None
    normal, place, u = normal[sure], place[sure], np.hypot(u[sure], U_MEET_IN)
    information = (normal / u[:, None] ** 2).T @ normal
    if np.linalg.eigvalsh(information)[0] < 1 / MOST_U_MEETING_IN**2:  # they run too much alike
        return None
    cov = np.linalg.inv(information)
    return cov @ (normal / u[:, None] ** 2).T @ place, cov
