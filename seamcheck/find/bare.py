"""Whether a top without a rose is a bare matched top, or carries something else."""

from __future__ import annotations

import numpy as np

from .centre import match_with_turned, peaks
from .light import Floats, LogLight

# A matched round top fits itself when turned by a leaf or two, and its rim by anything: turns (degrees) that are tried together.
TURNS_DEG = (45.0, 60.0, 72.0, 90.0, 120.0)

# The best place then fits this much better than any other that isn't beside it (inches). Measured on rendered pictures, also
# cropped ones: 2.2 to 9 on bare tops, up to 1.4 on benches without a top.
LEAST_MATCH, BESIDE_IN = 1.7, 0.8

# Two woods laid in a pattern have brightnesses in two groups that lie this far apart (logarithmic light); all of one wood, halved at its
# middle, much less. Rendered: 0.67 and more in inlays, up to 0.15 on bare tops.
MOST_TWO_TONED = 0.45

# Places that are compared; values that are enough to tell two groups.
PEAKS, SAMPLES = 12, 4000

# An inlay differs from the wood round it: distributions of the colours within and outside these radii (inches) ...
INNER_IN, OUTER_IN = 1.8, (2.6, 5.0)
# ... differ by at most this on a bare top (Kolmogorov and Smirnov's distance; 0.44 measured at most).
MOST_DIFFERENCE = 0.5


def is_bare_top(light: LogLight) -> bool:
    """True for a matched top with nothing on it but cards. The view should have 10 to 12 px/in."""
    import cv2

    steps = light.limited_steps()
    total = np.zeros_like(light.wood)
    for turn in TURNS_DEG:
        match = match_with_turned(steps[0], np.radians(turn), light.view.px_per_in)
        total += match / (float(match[light.wood > 0].std()) + 1e-12)
    (best, centre), *others = peaks(total, light, PEAKS)
    if any(best < LEAST_MATCH * value for value, place in others if np.hypot(*(place - centre)) > BESIDE_IN):
        return False
    rows, columns = np.mgrid[: light.wood.shape[0], : light.wood.shape[1]]
    column, row = light.view.px_of(centre)
    radius = np.hypot(columns - column, rows - row) / light.view.px_per_in
    wood = light.wood > 0
    smooth = cv2.blur(light.channels, (3, 3))
    inner = smooth[wood & (radius < INNER_IN)]
    outer = smooth[wood & (radius > OUTER_IN[0]) & (radius < OUTER_IN[1])]
    if not len(inner) or not len(outer):
        return False
    return _two_toned(inner[:, 0]) < MOST_TWO_TONED and max(_distance(inner[:, i], outer[:, i]) for i in range(3)) < MOST_DIFFERENCE


def _two_toned(values: Floats) -> float:
    """How far apart the means of the two groups lie into which values (n,) fall best (Otsu's threshold)."""
    values = np.sort(values.astype(float))[:: max(1, len(values) // SAMPLES)]
    below = np.arange(1, len(values))
    total = np.cumsum(values)
    lower, upper = total[:-1] / below, (total[-1] - total[:-1]) / (len(values) - below)
    best = int((below * (len(values) - below) * (upper - lower) ** 2).argmax()) if len(values) > 1 else 0
    return float(upper[best] - lower[best]) if len(values) > 1 else 0.0


def _distance(a: Floats, b: Floats) -> float:
    """The largest difference of two samples' distribution functions."""
    a, b = np.sort(a), np.sort(b)
    everything = np.concatenate([a, b])
    return float(np.abs(np.searchsorted(a, everything, "right") / len(a) - np.searchsorted(b, everything, "right") / len(b)).max())
