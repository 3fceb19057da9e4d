"""Whether lobes stand on the field or are let into it, by the shade beside them.

A wall of one veneer's thickness takes light from the field well beyond any glue line, halo or pencil mark: of an even sky's, a
tenth at an edge's height and a quarter away (`shading`). A let-in lobe takes none. How deep the shade may be where either holds
is in figures from 99 dry fits and 34 inlays, rendered: medians over the light edges of .78 to .98 and of .97 to 1.17.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..find.halves import chance_raised_by_tape
from .edge_task import EdgeFit
from .shade_fit import EdgeShade

# Where the shade is looked at, and what it's held against, inches from the edge.
SHADE_FROM_IN, SHADE_TO_IN, OPEN_FROM_IN = 0.020, 0.045, 0.090
# The light there over the open field's, and how far it strays: beside lobes that stand, and beside such as don't.
RAISED_LIGHT, RAISED_STRAYS = 0.92, 0.035
FLUSH_LIGHT, FLUSH_STRAYS = 1.00, 0.017
# However clear, this often the field's own figure does the like.
FIGURE_DOES = 0.02
FEWEST_EDGES = 3
# So large a share of their own seams unseen, this much for noise included, is as likely with tape on the lobes as without; twice as much
# four times as likely (`find.halves`); within these bounds, for woods differ.
EVEN_UNSEEN, NOISE_UNSEEN = 0.028, 0.005
LEAST_ODDS, MOST_ODDS = 0.05, 100.0


def chance_raised(teachers: Sequence[EdgeShade], owns: Sequence[EdgeFit | None], tape_odds: float) -> float:
    """How likely it is that the lobes stand on the field, 0..1: by the tape that is seen on them, and the shade beside their edges.

    owns: their own seams, of which tape hides some; tape_odds: `FoundRose`'s.
    """
    seen = [own.line.seen_fraction for own in owns if own is not None]
    if seen:
        tape_odds *= ((1 - float(np.mean(seen)) + NOISE_UNSEEN) / EVEN_UNSEEN) ** 2
    by_tape = chance_raised_by_tape(min(max(tape_odds, LEAST_ODDS), MOST_ODDS))
    light = _light_beside(teachers)
    if light is None:
        return by_tape
    odds = by_tape / (1 - by_tape) * _density(*light, RAISED_LIGHT, RAISED_STRAYS) / _density(*light, FLUSH_LIGHT, FLUSH_STRAYS)
    return float(odds / (1 + odds))


def _light_beside(teachers: Sequence[EdgeShade]) -> tuple[float, float] | None:
    """The edges' median of the field's light near them over that farther out, and its standard uncertainty; None with too few edges."""
    shares = []
    for edge in teachers:
        near, far = (edge.x_in >= SHADE_FROM_IN) & (edge.x_in <= SHADE_TO_IN), edge.x_in > OPEN_FROM_IN
        if near.any() and far.any():
            shares.append(edge.light[near].mean() / edge.light[far].mean())
    if len(shares) < FEWEST_EDGES:
        return None
    middle = float(np.median(shares))
    # Of a median, for normal scatter (1.253), from the median deviation.
    return middle, float(1.253 * 1.4826 * np.median(np.abs(np.array(shares) - middle)) / np.sqrt(len(shares)))


def _density(value: float, u: float, usual: float, strays: float) -> float:
    """Of a value that strays normally about what is usual, or now and then anyhow."""
    spread = np.hypot(strays, u)
    normal = np.exp(-0.5 * ((value - usual) / spread) ** 2) / spread
    return float((1 - FIGURE_DOES) * normal + FIGURE_DOES / 0.5)
