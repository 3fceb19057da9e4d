"""How wide the glue lines round an inlaid rose are: learnt where light wood shows them, for the edges of dark wood that don't."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..basis.frames import Array
from .edge_profile import GLUE_WIDTHS_IN

# Mean and standard deviation where nothing is known, and how alike they are at best, the same knife having cut them all (common practice,
# no source).
ANY_GLUE_IN, MIN_U_GLUE_IN = (0.005, 0.004), 0.003
# What is usually so counts for as much as so many edges seen.
USUAL_COUNTS = 2.0
ROUNDS = 30


def glue_chances(seen_chi: Sequence[Array]) -> tuple[float, ...]:
    """How likely each of GLUE_WIDTHS_IN is for an edge that doesn't show its own, from edges that do, (widths,) chi squared each.

    The chances of a discrete mixture with a Dirichlet prior, by expectation and maximisation (Dempster, Laird and Rubin 1977): edges that
    tell nothing leave them as they usually are.
    """
    widths = np.array(GLUE_WIDTHS_IN)
    mean, spread = ANY_GLUE_IN
    usual = np.exp(-0.5 * ((widths - mean) / spread) ** 2)
    usual /= usual.sum()
    chances = usual
    if seen_chi:
        likely = np.exp(-0.5 * np.array(seen_chi))
        for _ in range(ROUNDS):
            share = likely * chances
            share /= share.sum(axis=1, keepdims=True)
            chances = (USUAL_COUNTS * usual + share.sum(axis=0)) / (USUAL_COUNTS + len(likely))
    near = np.exp(-0.5 * ((widths[:, None] - widths) / MIN_U_GLUE_IN) ** 2)
    return tuple(float(one) for one in (near / near.sum(axis=0)) @ chances)
