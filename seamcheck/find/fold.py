"""All lobes of a ring laid on each other: the steps round a centre, summed over the turns that repeat.

Tape, figure and shadow differ from lobe to lobe; what is common to all lobes is the rose. Coordinates
within a fold are (x, y) inches from the centre with y along a bearing of the rose and x clockwise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, right_of, unit_of_bearing
from .light import Floats, LogLight, sample

# Sampling of the fold: a little finer than the view it is made from (inches, rad).
RADIAL_STEP_IN, ANGULAR_STEP = 0.04, 0.012

# Inside this radius bearings crowd together and nothing is learnt (inches).
INNERMOST_IN = 0.1


@dataclass(frozen=True)
class Fold:
    """Limited steps round a centre, summed over `count` equal turns."""

    tangential: Floats  # (radii, bearings, 3) step clockwise
    radial: Floats  # (radii, bearings, 3) step outward
    seen: Floats  # (radii, bearings) how many of the turns show wood
    count: int
    outer_in: float

    def _index(self, radius: Array, bearing: Array) -> tuple[Array, Array]:
        i = np.round((radius - INNERMOST_IN) / RADIAL_STEP_IN).astype(int)
        n = self.tangential.shape[1]
        j = np.round(bearing * (self.count * n / (2 * np.pi))).astype(int) % n
        return np.clip(i, 0, self.tangential.shape[0] - 1), j

    def step_sum(self, a: Array, b: Array, turn: float, parts: int, stations: int = 24) -> tuple[Array, Array]:
        """Steps to the right of the segments from a to b (..., 2), in the frame turned clockwise by `turn`.

        Returns the steps' integral over each of `parts` equal pieces, (..., parts, 3), in inches times
        limited step, all lobes together; and the length of the segments that shows, (...,), all lobes together.
        """
        a, b = np.broadcast_arrays(np.asarray(a, float), np.asarray(b, float))
        length = np.hypot(*np.moveaxis(b - a, -1, 0)) + 1e-9
        normal = right_of((b - a) / length[..., None])
        t = (np.arange(stations) + 0.5) / stations
        places = a[..., None, :] + (b - a)[..., None, :] * t[:, None]
        bearing = np.arctan2(places[..., 0], places[..., 1])
        i, j = self._index(np.hypot(places[..., 0], places[..., 1]), bearing + turn)
        cos, sin = np.cos(bearing), np.sin(bearing)
        x, y = normal[..., 0, None], normal[..., 1, None]
        steps = self.tangential[i, j] * (x * cos - y * sin)[..., None] + self.radial[i, j] * (x * sin + y * cos)[..., None]
        steps = steps.reshape(*length.shape, parts, stations // parts, 3).sum(axis=-2)
        return steps * (length / stations)[..., None, None], self.seen[i, j].mean(axis=-1) * length

    def along_ray(self, turn: float, axis: Array) -> tuple[Array, Array, Array]:
        """Radii; running integrals along a ray of the clockwise step, projected on `axis`, and of what shows."""
        _, j = self._index(np.zeros(1), np.array([turn]))
        run: Array = np.cumsum(self.tangential[:, j[0]] @ axis) * RADIAL_STEP_IN
        seen: Array = np.cumsum(self.seen[:, j[0]].astype(float)) * RADIAL_STEP_IN
        radii: Array = INNERMOST_IN + RADIAL_STEP_IN * np.arange(len(run), dtype=float)
        return radii, run, seen


def fold_round(light: LogLight, steps: Floats, centre_in: Array, bearing: float, count: int, outer_in: float) -> Fold:
    """The fold of a rose with `count` first-ring lobes, one of them at `bearing`; `steps` are light.limited_steps()."""
    radii = np.arange(INNERMOST_IN, outer_in, RADIAL_STEP_IN)
    bearings = int(np.ceil(2 * np.pi / count / ANGULAR_STEP))
    within = np.arange(bearings) * (2 * np.pi / count / bearings)
    turns = bearing + 2 * np.pi * np.arange(count)[:, None] / count + within
    outward = unit_of_bearing(turns)  # (count, bearings, 2)
    clockwise = right_of(outward)
    places = centre_in + radii[:, None, None, None] * outward
    tangential = np.empty((len(radii), bearings, 3), np.float32)
    radial = np.empty_like(tangential)
    for i in range(3):
        gradient = sample(steps[i], light.view, places)  # right, down
        tangential[..., i] = (gradient[..., 0] * clockwise[..., 0] - gradient[..., 1] * clockwise[..., 1]).sum(axis=1)
        radial[..., i] = (gradient[..., 0] * outward[..., 0] - gradient[..., 1] * outward[..., 1]).sum(axis=1)
    seen = sample(light.wood, light.view, places).sum(axis=1)
    return Fold(tangential, radial, seen, count, outer_in)
