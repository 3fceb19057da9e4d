"""How likely each opening of a joint is by its colours: a slit's bottom shows the field, whose colour no shadow or stripe has.

A photo keeps colour less sharply than light (a JPEG at half its resolution, and phones smooth it before): it places no
edge, but it tells a slit from a shadow and from a stripe in the wood. The light across the joint is taken as it was
found. At every place it is shared out between both woods and the slit as an opening has it, each share gets the tint of
what it shows, and the colour that this makes is spread as the photo spreads it. How the woods' tints change toward the
joint and the slit's own tint are linear unknowns, integrated out exactly (a linear Gaussian model's evidence: MacKay,
Information Theory, Inference, and Learning Algorithms, 2003, chapter 28).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..basis.frames import Array
from ..basis.order import median
from ..edges import srgb_decode, srgb_encode
from .gap_field import FieldTone
from .gap_model import JointData, blurred_step, doubtful_sum
from .gap_optics import BLACK
from .gap_strip import median_known, slope_of_light

# What colour that no opening explains does to a bin of a mean profile (standard deviation, code 0..1), and how many bins of
# half a pixel carry one bin's worth of knowledge: its blur ties neighbours, and the woods' figure isn't all in their light.
# From .016 to .022 the openings of 790 rendered joints come out alike; from .012 down they are boasted of.
COLOUR_NOISE, DEPENDENCE = 0.020, 6.0
# Relative standard uncertainties of a tint: of a wood's, from block to block and as it changes toward the joint (by so many
# pixels), where the photo shows less; of the field's, for the leaf at hand; of a slit's of which nothing is known, about the
# mean of both woods'. Common practice, no source.
LEVEL_U, CHANGE_U, CHANGE_REACH_PX, FIELD_U, UNKNOWN_U = 0.03, 0.08, 8.0, 0.35, 0.35
# A wood's own tint is taken beyond this share of what is seen of it, from this many pixels on, in this many bins or more.
FAR_SHARE, FAR_FROM_PX, FEWEST_BINS = 0.6, 3.0, 4
LEAST_CODE = 0.5 / 255  # a channel that is black may still be so light
MOST_OVER_WOOD = 1.5  # how much lighter than the lighter wood a slit may be
# The colour blur, by which a step between two woods is spread: tried, and looked for within so far of the edge.
BLURS_PX, SHIFTS_PX, STEP_REACH_PX = np.geomspace(0.6, 7.0, 18), np.linspace(-6.0, 6.0, 25), 13.0
LEAST_STEP = 0.03  # of colour, code: less tells no blur
LEAST_BLUR_PX = 0.5
USUAL_BLUR_PX = 2.0  # where the joints don't tell: half resolution and a phone's usual smoothing. Common practice, no source.


@dataclass(frozen=True, eq=False)
class WoodTint:
    """One of a joint's woods, well away from the joint. A tint is the linear light of blue and of red over that of luma."""

    tint: Array  # (n_blocks, 2)
    light: Array  # (n_blocks,) linear luma
    u_level: float  # relative: of a block's
    u_change: float  # relative: across the wood


@dataclass(frozen=True, eq=False)
class Tints:
    """The colours of a joint's profiles; only where both woods are seen away from the joint."""

    light: Array  # (n_blocks, n_bins) linear luma, BLACK at least
    colour: Array  # (n_blocks, n_bins, 2): code of blue and of red less luma; 0 where unknown
    weight: Array  # (n_blocks, n_bins): 1 / variance; 0 where unknown
    woods: tuple[WoodTint, WoodTint]  # left, right
    spread: Array  # (n_bins, n_bins): profiles times it are blurred as colour is


def tints_of(data: JointData, blur_px: float) -> Tints | None:
    """What a joint's profiles show of colour; None where too little.

    blur_px: by how much the photo blurs colour more than light, standard deviation.
    """
    light = np.maximum(data.light, BLACK).astype(float)
    held = np.isfinite(data.hue[..., 0])
    colour = np.where(held[..., None], data.hue, 0.0)
    tint = srgb_decode(np.clip(colour + srgb_encode(light)[..., None], LEAST_CODE, 1.0)) / light[..., None]
    woods = tuple(_wood(tint, light, held, side * data.across_px) for side in (-1, 1))
    if woods[0] is None or woods[1] is None:
        return None
    across, spacing = data.across_px, np.gradient(data.across_px)
    spread = np.exp(-0.5 * ((across[:, None] - across) / blur_px) ** 2) * spacing[:, None]
    weight = held * np.rint(2 * spacing) / (COLOUR_NOISE**2 * DEPENDENCE)
    return Tints(light, colour, weight, (woods[0], woods[1]), spread / spread.sum(axis=0))


def _wood(tint: Array, light: Array, held: Array, away_px: Array) -> WoodTint | None:
    mine = (away_px > 0) & held.any(axis=0)
    if not mine.any():
        return None
    far = mine & (away_px > max(FAR_SHARE * away_px[mine].max(), FAR_FROM_PX))
    held = held[:, far]
    count = np.maximum(held.sum(axis=1), 1)
    seen = held.sum(axis=1) >= FEWEST_BINS
    if not seen.any():
        return None
    own = np.where(held[..., None], tint[:, far], 0.0).sum(axis=1) / count[:, None]
    level = np.where(held, light[:, far], 0.0).sum(axis=1) / count
    usual = median_known(np.where(seen[:, None], own, np.nan), axis=0)
    own = np.where(seen[:, None], own, usual)
    within = np.where(held[..., None], tint[:, far] - own[:, None], 0.0) / usual
    u_level = float(np.sqrt(np.mean((own[seen] / usual - 1) ** 2)))
    u_change = float(np.sqrt((within**2).sum() / max(2 * held.sum(), 1)))
    level = np.where(seen, level, median(level[seen]))
    return WoodTint(own, level, max(u_level, LEVEL_U), max(u_change, CHANGE_U))


def hue_evidence(
    data: JointData, tints: Tints | None, inner_px: Array, outer_px: Array, slit_left: Array, start_px: Array, field: FieldTone | None
) -> Array:
    """Log evidence (n,) of openings from colour, up to a constant; they are told as `gap_model.weigh` takes them."""
    if tints is None:
        return np.zeros(len(inner_px))
    along = data.along
    width = inner_px[:, None] * (1 - along) + outer_px[:, None] * along
    start = start_px[:, :1] * (1 - along) + start_px[:, 1:] * along
    left = start - np.where(slit_left[:, None], width, 0.0)
    right = left + width
    # A slit shows one wall, of its wood's tint, and the floor beyond.
    wall = np.minimum(abs(data.lean_px), width)
    across, blur = data.across_px, data.blur_px
    on_left = blurred_step(((left + (wall if data.lean_px > 0 else 0.0))[..., None] - across) / blur)
    on_right = blurred_step((across - (right - (0.0 if data.lean_px > 0 else wall))[..., None]) / blur)
    lights = [wood.light[:, None] for wood in tints.woods]
    shares = [lights[0] * on_left, lights[1] * on_right]
    most = MOST_OVER_WOOD * np.maximum(1 - on_left - on_right, 0.0) * np.maximum(*lights)
    shares.append(np.clip(tints.light - shares[0] - shares[1], 0.0, most))
    scale = tints.light / (shares[0] + shares[1] + shares[2] + BLACK)
    shares = [share * scale for share in shares]
    toward = [np.exp(np.minimum(side, 0.0) / CHANGE_REACH_PX) for side in (across - left[..., None], right[..., None] - across)]
    by_block, together = np.zeros(width.shape), np.zeros(len(width))
    for channel in range(2):
        woods = [wood.tint[:, channel, None] for wood in tints.woods]
        floor, u_floor = _floor_tint(tints, channel, field)
        light = np.clip(shares[0] * woods[0] + shares[1] * woods[1] + shares[2] * floor, BLACK, 1.0)
        code = srgb_encode(light)
        slope = 1 / slope_of_light(code)
        missing = tints.colour[..., channel] - (code - srgb_encode(tints.light)) @ tints.spread
        columns, u = [], []
        for share, tint, change, wood in zip(shares[:2], woods, toward, tints.woods, strict=True):
            columns += [share * tint * slope, share * tint * change * slope]
            u += [wood.u_level, wood.u_change]
        basis = np.stack([*columns, shares[2] * slope], axis=2) @ tints.spread
        each, shared = _evidence(basis, missing, tints.weight, np.array(u), u_floor)
        by_block, together = by_block + each, together + shared
    return together + doubtful_sum(by_block)


def _floor_tint(tints: Tints, channel: int, field: FieldTone | None) -> tuple[float, float]:
    """Of a slit's floor, and its standard uncertainty."""
    if field is None:
        mean = float(np.mean([wood.tint[:, channel].mean() for wood in tints.woods]))
        return mean, UNKNOWN_U * mean
    light = max(field.light, BLACK)
    code = srgb_encode(np.array(light)) * (1 + field.hue[channel])
    mean = float(srgb_decode(np.clip(code, LEAST_CODE, 1.0)) / light)
    return mean, FIELD_U * mean


def _evidence(basis: Array, missing: Array, weight: Array, u: Array, u_shared: float) -> tuple[Array, Array]:
    """Log evidence (n, n_blocks) of each block, and (n,) of the unknown that they share.

    basis: (n, n_blocks, k + 1, n_bins), the shared unknown's last; missing: (n, n_blocks, n_bins) to be explained; u: (k,)
    standard deviations of each block's own unknowns, and of the shared one, about 0.
    """
    k = len(u)
    weighted = basis * weight[:, None]
    gram, moment = weighted @ np.swapaxes(basis, 2, 3), (weighted @ missing[..., None])[..., 0]
    system = gram[..., :k, :k] + np.eye(k) / u**2
    solved = np.linalg.solve(system, np.stack([moment[..., :k], gram[..., :k, k]], axis=-1))
    square = (weight * missing**2).sum(axis=2) - (moment[..., :k] * solved[..., 0]).sum(axis=2)
    pull = moment[..., k] - (gram[..., :k, k] * solved[..., 0]).sum(axis=2)
    known = gram[..., k, k] - (gram[..., :k, k] * solved[..., 1]).sum(axis=2)
    precision = known.sum(axis=1) + 1 / u_shared**2
    value = pull.sum(axis=1) / precision
    by_block = -0.5 * (square - 2 * value[:, None] * pull + value[:, None] ** 2 * known)
    by_block -= 0.5 * np.linalg.slogdet(system)[1] + np.log(u).sum()
    return by_block, -0.5 * (value / u_shared) ** 2 - 0.5 * np.log(precision * u_shared**2)


def colour_blur_px(joints: Sequence[JointData]) -> float:
    """By how much a photo blurs colour more than light (standard deviation, pixels), as the steps from wood to wood at its joints show.

    A slit only widens the step, and most are narrow: the middle one of a rose's joints.
    """
    found = [blur for data in joints if (blur := _step_blur(data)) is not None]
    if len(found) < 2:
        return USUAL_BLUR_PX
    return float(np.sqrt(max(float(median(np.array(found))) ** 2 - joints[0].blur_px ** 2, LEAST_BLUR_PX**2)))


def _step_blur(data: JointData) -> float | None:
    """The blur of the step that fits a joint's mean colour best; None where its woods are too much of one colour."""
    near = np.abs(data.across_px) <= STEP_REACH_PX
    held = np.isfinite(data.hue[:, near, 0])
    seen = held.any(axis=0)
    across = data.across_px[near][seen]
    if len(across) < len(SHIFTS_PX):
        return None
    colour = np.where(held[..., None], data.hue[:, near], 0.0).sum(axis=0)[seen] / held.sum(axis=0)[seen][:, None]
    steps, share = _steps(tuple(across))
    away = colour - share @ colour
    square = (share[:, None] * steps**2).sum(axis=0)
    size = (share[:, None] * away).T @ steps / square  # (2, n)
    left = -(size**2 * square).sum(axis=0)
    best = int(np.argmin(left))
    return float(BLURS_PX[best % len(BLURS_PX)]) if np.hypot(*size[:, best]) > LEAST_STEP else None


@lru_cache(maxsize=16)
def _steps(across_px: tuple[float, ...]) -> tuple[Array, Array]:
    """Blurred steps (n_bins, n_shifts * n_blurs) about their means, blurs fastest, and each bin's share of the whole (n_bins,)."""
    across = np.array(across_px)
    share = np.gradient(across) / np.gradient(across).sum()
    steps = blurred_step((across[:, None, None] - SHIFTS_PX[:, None]) / BLURS_PX).reshape(len(across), -1)
    return steps - share @ steps, share
