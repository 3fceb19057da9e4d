"""What the rays of a possible centre say: how many lobes, which way they turn, how far they reach.

Along the bearing of a first-ring lobe its own seam is one step of constant sign from the centre to the
tip. Halfway between two lobes their joint is a step of the opposite sign out to the notch, and from
there the second ring's own seam is a step of the first sign out to its tip. Few other things on a
bench do that, n times round.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, unit_of_bearing
from .centre import FIRST_RING_COUNTS
from .light import Floats, LogLight, sample

# Bearings sampled round a centre: divisible by twice every count.
BEARINGS = 480

# Radii sampled (inches): outside the blur of the points' meeting, out to longer lobes than are made.
RADII_IN = np.arange(0.25, 5.6, 0.12)

# The first ring's notch lies within these radii (inches).
NOTCH_FROM_IN, NOTCH_TO_IN = 0.5, 2.8

# A kite's point lies well beyond its shoulders: without this, joints and own seams could trade places.
NOTCH_SHARE = 0.75


@dataclass(frozen=True, slots=True)
class Rays:
    """A centre with the structure of radial steps that fits it best."""

    centre_in: Array  # (2,)
    count: int  # lobes in the first ring
    bearing: float  # rad, of one first-ring lobe
    dark_right: bool  # the darker half of a lobe lies clockwise of its own seam
    notch_in: float  # where the joints end, very roughly
    score: float  # length of steps that fit, over its expected spread by chance
    axis: Array  # (3,) unit: the colour difference light less dark, in limited steps


def rate_rays(light: LogLight, steps: Floats, centre_in: Array, axis: Array | None = None) -> list[Rays]:
    """For each count, the best bearing and sign round one possible centre. `steps` are light.limited_steps().

    axis: the colour difference (`Rays.axis`) where it's supposed; else that along which the steps round the centre differ most.
    """
    tangential = _tangential(light, steps, centre_in)
    if axis is None:
        near = RADII_IN < NOTCH_TO_IN
        spread = np.einsum("brc,brd->cd", tangential[:, near], tangential[:, near])
        axis = np.linalg.eigh(spread)[1][:, -1]
        axis = axis if axis[0] > 0 else -axis  # light is brighter than dark
    signed = tangential @ axis
    step = RADII_IN[1] - RADII_IN[0]
    may_notch = (RADII_IN > NOTCH_FROM_IN) & (RADII_IN < NOTCH_TO_IN)
    rated = []
    for count in FIRST_RING_COUNTS:
        period = BEARINGS // count
        best: Rays | None = None
        folded = signed.reshape(count, period, -1).sum(axis=0)
        for sign in (1.0, -1.0):
            run = np.cumsum(sign * folded, axis=1)
            lobe, lobe_end = run.max(axis=1), run.argmax(axis=1)
            between = np.roll(run, -(period // 2), axis=0)
            beyond = np.maximum.accumulate(between[:, ::-1], axis=1)[:, ::-1]
            inside = may_notch & (NOTCH_SHARE * RADII_IN[lobe_end][:, None] > RADII_IN)
            joint_then_lobe = np.where(inside, beyond - 2 * between, -np.inf)
            notch = joint_then_lobe.argmax(axis=1)
            total = lobe + joint_then_lobe.max(axis=1)
            length = RADII_IN[lobe_end] + NOTCH_TO_IN
            score = total / np.sqrt(count * length / step)
            k = int(score.argmax())
            if np.isfinite(score[k]) and (best is None or score[k] > best.score):
                bearing = 2 * np.pi * k / BEARINGS
                best = Rays(centre_in, count, bearing, sign < 0, float(RADII_IN[notch[k]]), float(score[k]), axis)
        if best is not None:
            rated.append(best)
    return rated


def _tangential(light: LogLight, steps: Floats, centre_in: Array) -> Floats:
    """(BEARINGS, radii, 3) step to the clockwise side at each place round the centre."""
    bearings = np.linspace(0.0, 2 * np.pi, BEARINGS, endpoint=False)
    outward = unit_of_bearing(bearings)
    places = centre_in + RADII_IN[None, :, None] * outward[:, None, :]
    gradient = np.stack([sample(channel, light.view, places) for channel in steps], axis=-2)  # (b, r, 3, 2)
    clockwise = np.stack([outward[:, 1], outward[:, 0]], axis=-1).astype(np.float32)  # to the right and down in the picture
    return np.einsum("brci,bi->brc", gradient, clockwise)
