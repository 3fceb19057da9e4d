"""Which of the rings that were found are there: those whose lobes can be measured."""

from __future__ import annotations

import numpy as np

from ..kite import FoundLobe
from .lobes import LobeFit

# A ring is there if so many of its lobes' long edges can be measured. Of 332 rendered rings, some under much tape, all show 0.33 and more;
# two that were seen in striped fields 0 and 0.06, though stripes passed for own seams in three quarters of one's lobes.
LEAST_OF_RING = 0.2


def rings_that_show(lobes: list[FoundLobe], fits: list[LobeFit]) -> tuple[list[FoundLobe], list[LobeFit], list[int]]:
    """Without the rings of which next to nothing can be measured, for a field's figure draws such; how many lobes each had.

    Where no ring shows, all stay, for something was found.
    """
    shown: dict[int | None, list[bool]] = {}
    for lobe, fit in zip(lobes, fits, strict=True):
        shown.setdefault(lobe.ring, []).extend(line is not None for line in (fit.left, fit.right))
    there = {ring for ring, lines in shown.items() if np.mean(lines) >= LEAST_OF_RING} or set(shown)
    kept = [k for k, lobe in enumerate(lobes) if lobe.ring in there]
    return [lobes[k] for k in kept], [fits[k] for k in kept], [len(lines) // 2 for ring, lines in shown.items() if ring not in there]
