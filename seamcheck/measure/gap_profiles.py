"""From a joint's strip to the few clean profiles that are weighed: tape left out, brought onto the strongest edge, averaged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array
from ..edges import LUMA_BGR, srgb_decode
from .gap_model import N_LEVELS, N_RIM, N_SHAPE, N_WOODS, SHADE_REACH, SIDE, JointData, SharedPrior
from .gap_optics import Optics
from .gap_strip import BIN_PX, JointStrip, empty_is_nan, luma_of, slope_of_light, unsharpened

N_EDGES, EDGE_APART_PX = 4, 2  # looked for, and how far apart at least
FINE_PX = 5.0  # beside the reference edge every half pixel is kept, farther off every whole one
# Tape: a block whose wood differs from the joint's by this share of the contrast of its two woods, or whose hue is no wood's of the rose.
TAPE_AWAY, FOREIGN_HUE = 0.45, 0.3
LEAST_CONTRAST = 0.4  # of the usual one
GROUP_BLOCKS = 6  # of the strip's blocks to a profile
REACH_PX = 7.0  # of wood beside the slit that is fitted; farther in it says nothing of the joint
FINE_FIGURE = 0.03  # of the light: what no smooth change of the wood explains, likewise
CODE_NOISE = 0.01  # standard deviation of a mean profile's bin about its model, in code 0..1, before the photo has told
DEPENDENCE = 10.0  # how many bins carry one bin's worth of knowledge, likewise: blur, compression and figure tie neighbours
EDGE_FREE_PX = 1.0  # how far the reference edge may lie from where the search put it
BOW_IN = 0.0007  # of one edge, standard uncertainty. Common practice, no source.
# Of the lighter wood's light: the open floor of a slit and its standard uncertainty, and how far the walls' shade
# may differ from the usual.
FLOOR, FLOOR_U, BOTH_SHADE_U, EITHER_SHADE_U = 0.35, 0.4, 0.08, 0.3
SLIT_BLOCKS = 0.01  # relative: how the slit's light differs from one place along the joint to the next
USUAL_STRIPE, LEAST_STRIPE = 0.08, 0.02  # relative: wood's figure, and the least that is ever even. Common practice, no source.


@dataclass(frozen=True)
class Reference:
    """The joint's strongest edge: pixels to the right of the nominal edge at its inner and outer end, and its bow."""

    inner_px: float
    outer_px: float
    bow_px: float = 0.0

    def at(self, along: Array | float) -> Array:
        """Its place at 0..1 along the joint."""
        along = np.asarray(along, float)
        return self.inner_px + (self.outer_px - self.inner_px) * along + self.bow_px * 4 * along * (1 - along)


def moved(reference: Reference, shared: Array) -> Reference:
    """The reference edge where a weighing put it."""
    step = np.clip(shared[N_LEVELS : N_LEVELS + 3], -1.5, 1.5)
    return Reference(reference.inner_px + step[0], reference.outer_px + step[1], reference.bow_px + step[2])


@dataclass(frozen=True, eq=False)
class Woods:
    """The rose's woods as its joints show them."""

    hues: Array  # (2, 2): usual hue of the joints' lighter and of their darker side
    contrast: float  # usual log of the lighter side's luma over the darker side's


def joint_woods(strips: Sequence[JointStrip]) -> Woods:
    """Learnt from blocks whose sides differ: tape crosses both."""
    left, right = (np.concatenate(sides) for sides in zip(*(_sides(strip) for strip in strips), strict=True))
    apart = np.abs(left @ LUMA_BGR - right @ LUMA_BGR)
    seen = np.isfinite(apart)
    left, right, apart = left[seen], right[seen], apart[seen]
    telling = apart >= 0.5 * np.percentile(apart, 90) if len(apart) else np.zeros(0, bool)
    lighter = (left @ LUMA_BGR > right @ LUMA_BGR)[:, None]
    pair = np.stack([np.where(lighter, left, right), np.where(lighter, right, left)])[:, telling]
    with empty_is_nan():
        hues = np.asarray(np.nanmedian(_hue(pair), axis=1), float)
    lightness = np.log(pair @ LUMA_BGR + 0.02)
    return Woods(hues, float(np.median(lightness[0] - lightness[1])) if telling.any() else 0.0)


def clear_blocks(strip: JointStrip, woods: Woods, alike: bool) -> Array:
    """Blocks (n_blocks,) in which both sides have the joint's usual colours, and these are woods of the rose: no tape.

    Unless the two halves may be alike, their contrast has to be that of the rose's other joints.
    """
    sides = _sides(strip)
    foreign = np.stack([np.linalg.norm(_hue(side)[:, None] - woods.hues, axis=2).min(axis=1) for side in sides])
    clear = ~np.any(foreign > FOREIGN_HUE, axis=0)
    if not alike:
        left, right = (np.log(side @ LUMA_BGR + 0.02) for side in sides)
        clear &= ~(np.abs(left - right) < LEAST_CONTRAST * woods.contrast)
    if not clear.any():
        return clear
    with empty_is_nan():
        usual = [np.nanmedian(side[clear], axis=0) for side in sides]
    contrast = max(float(np.linalg.norm(usual[1] - usual[0])), 0.1)
    away = np.stack([np.linalg.norm(side - mid, axis=1) for side, mid in zip(sides, usual, strict=True)])
    return np.asarray(clear & ~np.any(away > TAPE_AWAY * contrast, axis=0))


def _sides(strip: JointStrip) -> list[Array]:
    """Mean code (n_blocks, 3) of each block's left and right wood, clear of the joint; NaN where none is seen."""
    place = (np.arange(strip.count.shape[1]) + 0.5) / strip.count.shape[1] * 2 - 1
    sides = []
    for side in (-1, 1):
        use = strip.count * ((place * side > 0.35) & (place * side < 0.9))
        total = use.sum(axis=1)
        sides.append(np.where(total[:, None] > 0, (strip.code * use[..., None]).sum(axis=1) / np.maximum(total, 1)[:, None], np.nan))
    return sides


def _hue(code: Array) -> Array:
    """(..., 2): blue and red less luma, over luma, of code values (..., 3)."""
    luma = (code @ LUMA_BGR)[..., None]
    return (code[..., [0, 2]] - luma) / (luma + 0.05)


def find_edges(strip: JointStrip, clear: Array) -> list[Reference]:
    """The strongest straight edges within reach of the rough one, strongest first."""
    luma = luma_of(strip)
    smooth = (luma[:, :-3] + luma[:, 1:-2]) - (luma[:, 2:-1] + luma[:, 3:])
    steepness = np.minimum(np.abs(smooth) / 2, 0.2) * clear[:, None]
    n_bins = steepness.shape[1]
    offsets = np.arange(2, n_bins - 2, 2)
    inner, outer = (grid.ravel() for grid in np.meshgrid(offsets, offsets, indexing="ij"))
    allowed = np.abs(inner - outer) * strip.bin_in < 0.1
    inner, outer = inner[allowed], outer[allowed]
    bins = np.clip(np.rint(inner[:, None] + (outer - inner)[:, None] * strip.along).astype(int), 0, n_bins - 1)
    half = (n_bins + 3) * strip.bin_in / 2
    place = (np.stack([inner, outer], axis=1) + 2) * strip.bin_in - half
    scale = float(np.median(strip.px_per_in))
    rough = np.exp(-0.5 * (place.mean(axis=1) / 0.06) ** 2)
    lines = []
    for _ in range(N_EDGES):
        strength = steepness[np.arange(len(strip.along)), bins].sum(axis=1) * rough
        best = int(np.argmax(strength))
        if strength[best] <= 0:
            break
        lines.append(Reference(*(place[best] * scale)))
        near = np.abs(np.arange(n_bins) - bins[best][:, None]) <= 2 * EDGE_APART_PX
        steepness = np.where(near, 0, steepness)
    return lines


def profiles(strip: JointStrip, clear: Array, reference: Reference, optics: Optics, lean_in: float, depth_in: float) -> JointData:
    """Mean profiles of groups of clear blocks, sharpening undone, the reference edge at 0."""
    scale = float(np.median(strip.px_per_in))
    code = unsharpened(luma_of(strip), optics.strength, optics.radius_px)
    across = strip.across_in * strip.px_per_in[:, None] - reference.at(strip.along)[:, None]
    reach = REACH_PX + 0.1 * scale
    far = np.arange(FINE_PX + 1, reach + 1)
    grid = np.concatenate([-far[::-1], np.arange(-FINE_PX, FINE_PX + BIN_PX / 2, BIN_PX), far])
    bins_in = np.where(np.abs(grid) > FINE_PX, 1 / BIN_PX, 1.0)  # how many of the strip's a bin stands for
    colour = strip.code - (strip.code @ LUMA_BGR)[..., None]
    hues = np.full((len(code), len(grid), 2), np.nan)
    lines, known = np.zeros((len(code), len(grid))), np.zeros((len(code), len(grid)), bool)
    for i in np.flatnonzero(clear & (strip.count.sum(axis=1) > 0)):
        lines[i] = np.interp(grid, across[i], code[i])
        held = strip.count[i] > 0
        seen = across[i][held]
        hues[i] = np.stack([np.interp(grid, seen, colour[i, held, channel]) for channel in (0, 2)], axis=-1)
        known[i] = (grid >= seen.min()) & (grid <= seen.max())
    groups = np.array_split(np.arange(len(code)), max(2, len(code) // GROUP_BLOCKS))
    groups = [g for g in groups if known[g].any(axis=1).sum() >= 1]
    number = np.stack([known[g].sum(axis=0) for g in groups])
    mean = np.stack([(lines[g] * known[g]).sum(axis=0) for g in groups]) / np.maximum(number, 1)
    held_groups = [g[known[g].any(axis=1)] for g in groups]
    along = np.array([strip.along[g].mean() for g in held_groups])
    length = np.array([np.ptp(strip.along[g]) + 1 / len(code) for g in held_groups])
    light, slope = srgb_decode(mean.clip(0)), slope_of_light(mean)
    woods = np.array([_level(light, number, side) for side in ((grid < -4) & (grid > -14), (grid > 4) & (grid < 14))])
    bright = (grid < -3) & (grid > -10) if woods[0] > woods[1] else (grid > 3) & (grid < 10)
    lit = np.array(
        [np.median(row[bright & (n > 0)]) if (bright & (n > 0)).any() else woods.max() for row, n in zip(light, number, strict=True)]
    )
    lit = lit / np.median(lit)
    with empty_is_nan():
        hue = np.stack([np.nanmean(np.where(known[g][..., None], hues[g], np.nan), axis=0) for g in held_groups])
    figures = [_figure(light, number, (grid * side > 0.06 * scale) & (grid * side < 0.12 * scale)) for side in (-1, 1)]
    variance = (CODE_NOISE * slope) ** 2 + (FINE_FIGURE * light) ** 2
    weight = bins_in * number / GROUP_BLOCKS / variance / DEPENDENCE
    stripe = np.array([f.stripe for f in figures])
    changes_mean = np.concatenate([*([level, 0, 0] for level in woods), [0]])
    changes_u = np.empty((len(groups), N_WOODS))
    changes_u[:, -1] = SLIT_BLOCKS
    for first, level, figure, side in ((0, woods[0], figures[0], -1), (SIDE, woods[1], figures[1], 1)):
        # A block with a streak or a knot shows it beyond the slit too: there the wood may change as much.
        own = _own_spread(light, number, grid * side, scale)
        changes_u[:, first] = np.maximum(figure.blocks, own) * level
        changes_u[:, first + 1 : first + SIDE] = np.maximum(figure.spread, 1.5 * own)[:, None] * level
    reach = max(SHADE_REACH * depth_in * scale, 1.0)
    return JointData(
        light, weight, grid, along, length, lit, woods, changes_mean, changes_u, stripe, lean_in * scale, reach, optics.blur_px, hue
    )


def with_noise_of(data: JointData, residual: Array) -> JointData:
    """The same profiles with weights that their own residuals bear out: size, and likeness of neighbours."""
    near = np.abs(data.across_px) < 12
    z = residual[:, near] * np.sqrt(data.weight[:, near] * DEPENDENCE)
    size = max(float(np.median(np.abs(z[z != 0]))) / 0.6745, 1.0) if (z != 0).any() else 1.0
    z = np.clip(z / size, -3, 3)
    square = float((z * z).mean())
    tied = 1.0
    for k in range(1, 9):
        likeness = float((z[:, k:] * z[:, :-k]).mean()) / square
        if likeness < 0.05:
            break
        tied += 2 * likeness
    return replace(data, weight=data.weight * DEPENDENCE / max(tied, DEPENDENCE) / size**2)


def _own_spread(light: Array, number: Array, away_px: Array, scale: float) -> Array:
    """Relative spread (n_blocks,) of each profile over the wood on one side, farther off than most slits reach."""
    side = (away_px > 0.035 * scale) & (away_px < 0.12 * scale)
    rows = np.where(number[:, side] > 0, light[:, side], np.nan)
    out = np.zeros(len(light))
    enough = np.isfinite(rows).sum(axis=1) > 4
    out[enough] = np.nanstd(rows[enough], axis=1) / np.nanmean(rows[enough], axis=1)
    return out


@dataclass(frozen=True)
class _Figure:
    """A wood's figure, seen in mean profiles: relative standard deviations."""

    blocks: float  # of a profile's level about the joint's
    spread: float  # of a bin about its profile's level
    stripe: float  # of what runs along the whole joint


def _figure(light: Array, number: Array, side: NDArray[np.bool_]) -> _Figure:
    held = (number[:, side] > 0).all(axis=1)
    rows = light[:, side][held]
    if len(rows) < 2 or rows.shape[1] < 6:
        return _Figure(0.25, USUAL_STRIPE, USUAL_STRIPE)
    level = rows.mean(axis=1, keepdims=True)
    rows = rows / level - 1
    blocks = 1.4826 * float(np.median(np.abs(level / np.median(level) - 1)))
    across = rows.mean(axis=0)
    coarse = across[: len(across) // 3 * 3].reshape(-1, 3).mean(axis=1)
    spread = float(np.sqrt((rows * rows).mean()))
    return _Figure(max(1.5 * blocks, 0.02), max(spread, 0.015), max(float(coarse.std()), LEAST_STRIPE))


def shared_prior(data: JointData, optics: Optics, scale: float) -> SharedPrior:
    """What is taken to be likely before looking: about the edge found, the photo's blur, the slit's light and the woods' figure."""
    brighter = float(data.wood.max())
    wall = float(data.wood[0] if data.lean_px > 0 else data.wood[1])
    rim = np.repeat(data.stripe, N_RIM // 2)
    mean = np.array([0.35 * wall, FLOOR * brighter, 0, 0, *np.zeros(N_RIM), *np.zeros(N_SHAPE)])
    u = [0.4 * wall + 0.05 * brighter, FLOOR_U * brighter, BOTH_SHADE_U * brighter, EITHER_SHADE_U * brighter, *rim]
    u += [EDGE_FREE_PX, EDGE_FREE_PX, BOW_IN * scale, optics.u_log_blur]
    return SharedPrior(mean, np.array(u))


def _level(light: Array, number: Array, side: NDArray[np.bool_]) -> float:
    held = light[:, side][number[:, side] > 0]
    return float(np.median(held)) if len(held) else 0.3
