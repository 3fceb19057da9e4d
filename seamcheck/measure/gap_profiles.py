"""From a joint's strip to the few clean profiles that are weighed: tape left out, brought onto the strongest edge, averaged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array
from ..basis.order import median
from ..edges import LUMA_BGR, srgb_decode
from .gap_field import FieldTone
from .gap_model import N_LEVELS, N_RIM, N_SHAPE, N_WOODS, SHADE_REACH, SIDE, JointData, SharedPrior
from .gap_optics import BLACK, Optics
from .gap_strip import BIN_PX, JointStrip, interp_rows, median_known, slope_of_light, unsharpened

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
# The floor where the field's light is known: how far, as a share of it, the light inside the rose and the leaf there may differ, and what
# glue, dust or a raised edge may add. Common practice, no source.
FIELD_U, FIELD_FLOOR_U = 0.6, 0.02
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
    left, right = (np.concatenate(sides) for sides in zip(*(strip.sides for strip in strips), strict=True))
    apart = np.abs(left @ LUMA_BGR - right @ LUMA_BGR)
    seen = np.isfinite(apart)
    left, right, apart = left[seen], right[seen], apart[seen]
    telling = apart >= 0.5 * np.percentile(apart, 90) if len(apart) else np.zeros(0, bool)
    lighter = (left @ LUMA_BGR > right @ LUMA_BGR)[:, None]
    pair = np.stack([np.where(lighter, left, right), np.where(lighter, right, left)])[:, telling]
    hues = median_known(_hue(pair), axis=1) if telling.any() else np.full((2, 2), np.nan)
    lightness = np.log(pair @ LUMA_BGR + 0.02)
    return Woods(hues, float(median(lightness[0] - lightness[1])) if telling.any() else 0.0)


def clear_blocks(strip: JointStrip, woods: Woods, alike: bool) -> Array:
    """Blocks (n_blocks,) in which both sides have the joint's usual colours, and these are woods of the rose: no tape.

    Unless the two halves may be alike, their contrast has to be that of the rose's other joints.
    """
    sides = strip.sides
    foreign = np.stack([np.linalg.norm(_hue(side)[:, None] - woods.hues, axis=2).min(axis=1) for side in sides])
    clear = ~np.any(foreign > FOREIGN_HUE, axis=0)
    if not alike:
        left, right = (np.log(side @ LUMA_BGR + 0.02) for side in sides)
        clear &= ~(np.abs(left - right) < LEAST_CONTRAST * woods.contrast)
    if not clear.any():
        return clear
    usual = [median_known(side[clear], axis=0) for side in sides]
    contrast = max(float(np.linalg.norm(usual[1] - usual[0])), 0.1)
    away = np.stack([np.linalg.norm(side - mid, axis=1) for side, mid in zip(sides, usual, strict=True)])
    return np.asarray(clear & ~np.any(away > TAPE_AWAY * contrast, axis=0))


def _hue(code: Array) -> Array:
    """(..., 2): blue and red less luma, over luma, of code values (..., 3)."""
    luma = (code @ LUMA_BGR)[..., None]
    return (code[..., [0, 2]] - luma) / (luma + 0.05)


def find_edges(strip: JointStrip, clear: Array) -> list[Reference]:
    """The strongest straight edges within reach of the rough one, strongest first."""
    luma = strip.luma
    smooth = (luma[:, :-3] + luma[:, 1:-2]) - (luma[:, 2:-1] + luma[:, 3:])
    steepness = np.minimum(np.abs(smooth) / 2, 0.2) * clear[:, None]
    n_bins = steepness.shape[1]
    offsets = np.arange(2, n_bins - 2, 2)
    inner, outer = (grid.ravel() for grid in np.meshgrid(offsets, offsets, indexing="ij"))
    allowed = np.abs(inner - outer) * strip.bin_in < 0.1
    inner, outer = inner[allowed], outer[allowed]
    bins = np.clip(np.rint(inner[:, None] + (outer - inner)[:, None] * strip.along).astype(int), 0, n_bins - 1)
    cells = bins + np.arange(len(strip.along)) * n_bins
    half = (n_bins + 3) * strip.bin_in / 2
    place = (np.stack([inner, outer], axis=1) + 2) * strip.bin_in - half
    rough = np.exp(-0.5 * (place.mean(axis=1) / 0.06) ** 2)
    lines = []
    for _ in range(N_EDGES):
        strength = steepness.take(cells).sum(axis=1) * rough
        best = int(np.argmax(strength))
        if strength[best] <= 0:
            break
        lines.append(Reference(*(place[best] * strip.scale)))
        near = np.abs(np.arange(n_bins) - bins[best][:, None]) <= 2 * EDGE_APART_PX
        steepness = np.where(near, 0, steepness)
    return lines


@dataclass(frozen=True, eq=False)
class Look:
    """What profiles of a joint are made from, wherever its edge turns out to lie."""

    strip: JointStrip
    clear: Array  # (n_blocks,) bool
    optics: Optics
    lean_in: float
    depth_in: float
    field: FieldTone | None = None  # the slit's bottom in the open, where known

    @cached_property
    def code(self) -> Array:
        """(n_blocks, n_bins): luma code with the sharpening undone."""
        return unsharpened(self.strip.luma, self.optics.strength, self.optics.radius_px)

    @cached_property
    def colour(self) -> Array:
        """(2, n_blocks, n_bins): codes of blue and of red less luma."""
        blue_and_red = np.moveaxis(self.strip.code[..., [0, 2]], 2, 0)
        return blue_and_red - self.strip.code @ LUMA_BGR

    def groups(self, group_blocks: int) -> list[Array]:
        """Neighbouring blocks that make up a profile each: the seen and clear ones of every group, groups with none left out."""
        used = self.clear & (self.strip.count.sum(axis=1) > 0)
        groups = np.array_split(np.arange(len(used)), max(2, len(used) // group_blocks))
        return [group[used[group]] for group in groups if used[group].any()]


def profiles(look: Look, reference: Reference, group_blocks: int = GROUP_BLOCKS) -> JointData:
    """Mean profiles of groups of clear blocks, sharpening undone, the reference edge at 0."""
    strip, scale, groups = look.strip, look.strip.scale, look.groups(group_blocks)
    reach = REACH_PX + 0.1 * scale
    far = np.arange(FINE_PX + 1, reach + 1)
    grid = np.concatenate([-far[::-1], np.arange(-FINE_PX, FINE_PX + BIN_PX / 2, BIN_PX), far])
    bins_in = np.where(np.abs(grid) > FINE_PX, 1 / BIN_PX, 1.0)  # how many of the strip's a bin stands for
    used = np.concatenate(groups)
    across = strip.across_in[used] * strip.px_per_in[used, None] - reference.at(strip.along[used])[:, None]
    places, held = np.broadcast_to(grid, (len(used), len(grid))), strip.count[used] > 0
    lines, *hues = interp_rows(places, across, [look.code[used], *look.colour[:, used]], held)
    seen_from, seen_to = np.where(held, across, np.inf).min(axis=1), np.where(held, across, -np.inf).max(axis=1)
    known = (grid >= seen_from[:, None]) & (grid <= seen_to[:, None])
    first = np.cumsum([0, *(len(group) for group in groups[:-1])])
    number = np.add.reduceat(known.astype(int), first)
    mean = np.add.reduceat(lines * known, first) / np.maximum(number, 1)
    hue = np.moveaxis(np.add.reduceat(np.stack(hues) * known, first, axis=1) / np.where(number > 0, number, np.nan), 0, -1)
    along = np.array([strip.along[group].mean() for group in groups])
    length = np.array([strip.along[group[-1]] - strip.along[group[0]] + 1 / len(strip.along) for group in groups])
    light, slope = srgb_decode(mean.clip(0)), slope_of_light(mean)
    woods = np.array([_level(light, number, side) for side in ((grid < -4) & (grid > -14), (grid > 4) & (grid < 14))])
    bright = (grid < -3) & (grid > -10) if woods[0] > woods[1] else (grid > 3) & (grid < 10)
    lit = median_known(np.where(number[:, bright] > 0, light[:, bright], np.nan), axis=1)
    lit = np.where(np.isfinite(lit), lit, woods.max())
    lit = lit / median(lit)
    figures = [_figure(light, number, (grid * side > 0.06 * scale) & (grid * side < 0.12 * scale)) for side in (-1, 1)]
    variance = (CODE_NOISE * slope) ** 2 + (FINE_FIGURE * light) ** 2
    weight = bins_in * number / GROUP_BLOCKS / variance / DEPENDENCE
    stripe = np.array([f.stripe for f in figures])
    changes_mean = np.concatenate([*([level, 0, 0] for level in woods), [0]])
    changes_u = np.empty((len(groups), N_WOODS))
    changes_u[:, -1] = SLIT_BLOCKS
    for start, level, figure, side in ((0, woods[0], figures[0], -1), (SIDE, woods[1], figures[1], 1)):
        # A block with a streak or a knot shows it beyond the slit too: there the wood may change as much.
        own = _own_spread(light, number, grid * side, scale)
        changes_u[:, start] = np.maximum(figure.blocks, own) * level
        changes_u[:, start + 1 : start + SIDE] = np.maximum(figure.spread, 1.5 * own)[:, None] * level
    reach = max(SHADE_REACH * look.depth_in * scale, 1.0)
    lean, blur = look.lean_in * scale, look.optics.blur_px
    return JointData(light, weight, grid, along, length, lit, woods, changes_mean, changes_u, stripe, lean, reach, blur, hue)


def with_noise_of(data: JointData, residual: Array) -> JointData:
    """The same profiles with weights that their own residuals bear out: size, and likeness of neighbours."""
    near = np.abs(data.across_px) < 12
    z = residual[:, near] * np.sqrt(data.weight[:, near] * DEPENDENCE)
    size = max(float(median(np.abs(z[z != 0]))) / 0.6745, 1.0) if (z != 0).any() else 1.0
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
    rows, held = light[:, side], number[:, side] > 0
    count = np.maximum(held.sum(axis=1), 1)
    mean = (rows * held).sum(axis=1) / count
    variance = ((rows - mean[:, None]) ** 2 * held).sum(axis=1) / count
    return np.where(held.sum(axis=1) > 4, np.sqrt(variance) / np.maximum(mean, 1e-9), 0.0)


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
    level = np.maximum(rows.mean(axis=1, keepdims=True), BLACK)
    rows = rows / level - 1
    blocks = 1.4826 * float(median(np.abs(level / median(level) - 1))[0])
    across = rows.mean(axis=0)
    coarse = across[: len(across) // 3 * 3].reshape(-1, 3).mean(axis=1)
    spread = float(np.sqrt((rows * rows).mean()))
    return _Figure(max(1.5 * blocks, 0.02), max(spread, 0.015), max(float(coarse.std()), LEAST_STRIPE))


def shared_prior(data: JointData, look: Look) -> SharedPrior:
    """What is taken to be likely before looking: about the edge found, the photo's blur, the slit's light and the woods' figure."""
    brighter = float(data.wood.max())
    wall = float(data.wood[0] if data.lean_px > 0 else data.wood[1])
    rim = np.repeat(data.stripe, N_RIM // 2)
    floor, u_floor = FLOOR * brighter, FLOOR_U * brighter
    if look.field is not None:
        floor, u_floor = look.field.light, FIELD_U * look.field.light + FIELD_FLOOR_U
    mean = np.array([0.35 * wall, floor, 0, 0, *np.zeros(N_RIM), *np.zeros(N_SHAPE)])
    u = [0.4 * wall + 0.05 * brighter, u_floor, BOTH_SHADE_U * brighter, EITHER_SHADE_U * brighter, *rim]
    u += [EDGE_FREE_PX, EDGE_FREE_PX, BOW_IN * look.strip.scale, look.optics.u_log_blur]
    return SharedPrior(mean, np.array(u))


def _level(light: Array, number: Array, side: NDArray[np.bool_]) -> float:
    held = light[:, side][number[:, side] > 0]
    return max(float(median(held)), BLACK) if len(held) else 0.3
