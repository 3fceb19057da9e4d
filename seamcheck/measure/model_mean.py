"""One edge measured under two suppositions about what lies beyond it, made into one.

Which of them holds can't be told from the edge itself. Each one's direction and bow are weighed by what their blocks know of them, and
how far they disagree counts as a source of its own (law of total variance). Short edges need it most: what a wrong shade pushes one
end of them aside by turns them by its angle.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..basis.frames import wrap_angle
from .edge_task import EdgeFit


def of_both(first: EdgeFit, second: EdgeFit | None) -> EdgeFit:
    """The first edge, its direction (turned about its own middle) and bow shared with the second; itself where there is no second."""
    if second is None:
        return first
    turn = float(wrap_angle(second.line.bearing - first.line.bearing))
    turned, turn_variance = _mean(turn, first.line.cov[1, 1], second.line.cov[1, 1])
    bowed, bow_variance = _mean(second.bow_in - first.bow_in, first.u_bow_in**2, second.u_bow_in**2)
    cov = first.line.cov.copy()
    cov[1, 1], cov[0, 1], cov[1, 0] = turn_variance, 0.0, 0.0
    line = replace(first.line, bearing=first.line.bearing + turned, cov=cov)
    return replace(first, line=line, bow_in=first.bow_in + bowed, u_bow_in=float(np.sqrt(bow_variance)))


def _mean(apart: float, first: float, second: float) -> tuple[float, float]:
    """(by how much the mean lies from the first toward the second, its variance) of two numbers, `apart`, of these variances.

    Both come from the same blocks: they stray together, so two are no surer than one.
    """
    total = first + second
    if total <= 0:
        return apart / 2, apart**2 / 4
    share = first / total  # of the second
    return share * apart, (1 - share) * first + share * second + share * (1 - share) * apart**2
