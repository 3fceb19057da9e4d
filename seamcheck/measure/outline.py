"""Measured edges as parts of an outline: where they lie in plan at its corners, with all that their place hangs on."""

from __future__ import annotations

import numpy as np

from ..basis.frames import Array
from ..basis.lines import Line
from ..result import OutlineEdge
from .edge_refine import BOW_IN
from .tips import Sight


def outline_edge(sight: Sight, name: str, line: Line, notch_in: Array, tip_in: Array) -> OutlineEdge:
    """The edge from notch to point (2,) each, near the line, whose direction it is; name: the line's among a lobe's `Lines`."""
    along = np.array([line.along_of(end) for end in (notch_in, tip_in)])
    ends = line.point_in + along[:, None] * line.direction
    lever = np.stack([np.ones(2), along], axis=1)
    # A parabola through the stretch that was seen, less the line fitted to it: beyond, it grows with the square.
    bow = BOW_IN * (1 / 3 - (along / line.half_span_in) ** 2)
    otherwise = sight.seen_otherwise(name, line)
    moves = np.stack([-otherwise.offset_of(np.tile(end, (len(otherwise.bearing), 1))) for end in ends], axis=1)
    causes = tuple(source for source, _, _ in sight.alternatives)
    return OutlineEdge(ends, lever @ line.cov @ lever.T + np.outer(bow, bow), line.u_model_in, causes, moves)
