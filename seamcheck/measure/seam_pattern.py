"""Whether a seam that only the grain tells fits the others: a matched top's leaves are cut to one angle."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..basis.frames import wrap_angle
from ..basis.reasons import Reason
from .seams import SeamFit

# The seams of tops of 4, 6, 8, 12 and 16 leaves all lie on a lattice of so many directions.
LATTICE = 48
# How far leaves usually are from equal (standard deviation of a seam's bearing, rad): 0.2 degrees in rendered tops, 0.5 at most. Common
# practice, no source.
USUAL_U = np.radians(0.25)
# With fewer other seams nobody can say where they all lie.
FEWEST_OTHERS = 3
# A seam that departs by more than so many standard uncertainties is a streak's.
MOST_Z = 3.0


def without_odd(seams: Sequence[SeamFit | Reason | None]) -> list[SeamFit | Reason | None]:
    """The seams, those told by the grain alone left out (as ambiguous) that depart from the directions of all others."""
    result = list(seams)
    for k, seam in enumerate(seams):
        if not isinstance(seam, SeamFit) or seam.cue != "grain":
            continue
        others = np.array([other.line.bearing for j, other in enumerate(seams) if j != k and isinstance(other, SeamFit)])
        if len(others) < FEWEST_OTHERS:
            continue
        # Each other's departure from this one, on the lattice: about nought if this one lies as they do.
        apart = wrap_angle((others - seam.line.bearing) * LATTICE) / LATTICE
        middle = float(np.median(apart))
        spread = 1.4826 * float(np.median(np.abs(apart - middle)))
        u = np.hypot(max(USUAL_U, spread), np.sqrt(seam.line.cov[1, 1]))
        if abs(middle) > MOST_Z * u:
            result[k] = Reason.SEAM_AMBIGUOUS
    return result
