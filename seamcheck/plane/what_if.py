"""How well the camera would be known, had something been done: the bars read, another card laid, the phone held closer.

Only the information matters for that, not what the photo would show: Jacobian and priors as they would be, covariance from them.
"""

from __future__ import annotations

from copy import copy

import numpy as np

from ..basis.frames import Array
from ..cards.detect import SeenCard
from ..cards.geometry import outline_in, saddles_in
from ..cards.print_check import PrintScale
from .camera import Camera
from .solve import PlaneSolve
from .spread import camera_moves, variants

_LOG_HEIGHT, _PRINT = 10, slice(11, 13)  # where they stand among the unknowns


def camera_if(
    solve: PlaneSolve, *, bars: PrintScale | None = None, card_at_in: Array | None = None, closer: float = 1.0
) -> tuple[Camera, tuple[tuple[str, Camera], ...]]:
    """The camera, and the cameras one standard uncertainty away by source, as they would be.

    bars: what the print's scale would be known by; card_at_in: (2,) plane, the middle of one more card; closer: how many times
    nearer the phone would be along the line it looks along.
    """
    problem, unknowns, weight = copy(solve.problem), solve.unknowns.copy(), solve.weight
    if bars is not None:
        problem.u_prior = problem.u_prior.copy()
        problem.u_prior[_PRINT] = bars.u_across, bars.u_along
    if card_at_in is not None:
        drawn = saddles_in()
        unknowns = np.concatenate([unknowns, card_at_in, [0.0]])
        problem.index = np.concatenate([problem.index, np.full(len(drawn), len(problem.cards))])
        problem.drawn = np.concatenate([problem.drawn, drawn])
        problem.seen = np.concatenate([problem.seen, np.zeros_like(drawn)])  # where it would be seen leaves the slopes as they are
        problem.cards = [*problem.cards, SeenCard(0, drawn, drawn, outline_in())]
        weight = np.concatenate([weight, np.full(len(drawn), np.median(weight))])
    unknowns[_LOG_HEIGHT] -= np.log(closer)
    jacobian = problem.jacobian(unknowns)
    saddles = jacobian.T @ (jacobian * np.repeat(weight, 2)[:, None])
    camera = problem.camera(unknowns)
    return camera, variants(camera_moves(saddles, problem.u_prior), unknowns, problem.camera, problem.size_px)
