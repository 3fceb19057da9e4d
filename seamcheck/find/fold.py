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

    def _index(self, radius: Array, bearing: Array) -> Array:
        """Numbers of places in the flattened fold."""
        n = self.tangential.shape[1]
        i = np.clip(np.round((radius - INNERMOST_IN) / RADIAL_STEP_IN).astype(int), 0, self.tangential.shape[0] - 1)
        return np.asarray(i * n + np.round(bearing * (self.count * n / (2 * np.pi))).astype(int) % n)

    def step_sum(self, a: Array, b: Array, turn: float, parts: int, stations: int = 24) -> tuple[Array, Array]:
        """Steps to the right of the segments from a to b (..., 2), in the frame turned clockwise by `turn`.

        Returns the steps' integral over each of `parts` equal pieces, (..., parts, 3), in inches times
        limited step, all lobes together; and the length of the segments that shows, (...,), all lobes together.
        """
        a, b = np.broadcast_arrays(np.asarray(a, float), np.asarray(b, float))
        length = np.hypot(*np.moveaxis(b - a, -1, 0)) + 1e-9
        normal = right_of((b - a) / length[..., None]).astype(np.float32)
        t = (np.arange(stations) + 0.5) / stations
        x, y = (a[..., k, None] + (b - a)[..., k, None] * t for k in (0, 1))
        radius = np.sqrt(x * x + y * y)
        at = self._index(radius, np.arctan2(x, y) + turn)
        sin, cos = ((part / np.maximum(radius, 1e-9)).astype(np.float32) for part in (x, y))
        right, outward = normal[..., 0, None], normal[..., 1, None]
        clockwise, away = (picture.reshape(-1, 3).take(at, axis=0) for picture in (self.tangential, self.radial))
        steps = clockwise * (right * cos - outward * sin)[..., None] + away * (right * sin + outward * cos)[..., None]
        steps = steps.reshape(*length.shape, parts, stations // parts, 3).sum(axis=-2)
        return steps * (length / stations)[..., None, None], self.seen.ravel().take(at).mean(axis=-1) * length

    def along_ray(self, turn: float, axis: Array) -> tuple[Array, Array, Array]:
        """Radii; running integrals along a ray of the clockwise step, projected on `axis`, and of what shows."""
        ray = int(self._index(np.zeros(1), np.array([turn]))[0])  # in the innermost row
        run: Array = np.cumsum(self.tangential[:, ray] @ axis) * RADIAL_STEP_IN
        seen: Array = np.cumsum(self.seen[:, ray].astype(float)) * RADIAL_STEP_IN
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
