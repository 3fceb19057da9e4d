"""How far each long edge departs from its ring's pattern: lobes of one ring are sawn to one shape and laid round one centre."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..basis.frames import wrap_angle
from ..basis.lines import crossing
from ..kite import FoundLobe
from .edge_task import EdgeFit

# With fewer edges of a ring nobody can say which of them is the odd one.
FEWEST = 4


def departures_in(
    lobes: Sequence[FoundLobe], owns: Sequence[EdgeFit | None], pairs: Sequence[Sequence[EdgeFit | None]]
) -> list[list[float | None]]:
    """Of every lobe's left and right long edge: how far it lies outward (inches, across it) of where the ring's other lobes put theirs.

    An edge meets its lobe's own seam as far from the rose's middle as the ring's other edges meet theirs. None where that can't be
    told: loose lobes, no own seam, too few edges.
    """
    middle = np.mean([lobe.kite.root_in for lobe in lobes], axis=0)
    reach: dict[tuple[int, int], tuple[float, float]] = {}  # how far from the middle, and the sine of the angle between edge and seam
    for k, (own, pair) in enumerate(zip(owns, pairs, strict=True)):
        for side, edge in enumerate(pair):
            if own is not None and edge is not None and lobes[k].ring is not None:
                sine = abs(float(np.sin(wrap_angle(edge.line.bearing - own.line.bearing))))
                reach[k, side] = float(np.linalg.norm(crossing(edge.line, own.line) - middle)), sine
    result: list[list[float | None]] = [[None, None] for _ in lobes]
    for ring in {lobe.ring for lobe in lobes}:
        of_ring = {place: value for place, value in reach.items() if lobes[place[0]].ring == ring}
        if len(of_ring) >= FEWEST:
            usual = float(np.median([far for far, _ in of_ring.values()]))
            for (k, side), (far, sine) in of_ring.items():
                result[k][side] = (far - usual) * sine
    return result
