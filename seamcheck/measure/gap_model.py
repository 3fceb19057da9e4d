"""A slit between two straight edges as a photo shows it, and how likely each opening is, given a joint's profiles.

The light across a joint is that of the left wood, of the slit and of the right wood, each blurred. The slit shows the
wall of one piece as far as the camera's lean reveals it, and beyond it the field, darker near both walls. Both woods'
levels are free in every block along the joint; the slit's are shared along it and have priors, since a slit narrower
than the blur shows only the product of its width and its darkness. What is left, the opening at both ends, is weighed on
a grid: every other unknown is linear, or nearly so about the edge already found, and is integrated out exactly (a linear
Gaussian model's evidence: MacKay, Information Theory, Inference, and Learning Algorithms, 2003, chapter 28).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..basis.frames import Array

# Unknowns shared along the joint: the slit's wall, its open floor, the floor's shade by both walls alike and by the left one
# rather than the right; how the left and the right wood differ beside the joint from farther in (a stripe along the edge), by
# two reaches; place of the reference edge at the inner and outer end, its bow, the log of the blur.
N_SLIT, N_RIM, N_SHAPE = 4, 4, 4
N_LEVELS = N_SLIT + N_RIM
N_SHARED = N_LEVELS + N_SHAPE
# How far the shade beside a wall reaches over the floor, in heights of the wall: at one it hides a sixth of the sky. Geometry.
SHADE_REACH = 1.0
# Of the open floor's light, what a wall takes at its foot: half the sky's, none or all of a lamp's. Common practice, no source.
WALL_SHADE = 0.4
# Of the full charge for an unknown that had to be just so: the priors on a slit's light are guesses to a factor of several, so
# a slit that happens to look like the dark wood beside it isn't ruled out by their width. Common practice, no source.
OCCAM = 0.75
STEP_PX = 0.05  # for a difference quotient
BLOCK_SAYS = 5.0  # nats, beyond which a block's say counts by its logarithm only. Common practice, no source.
RIM_REACHES_PX = (1.5, 5.0)
# Each block's wood: a level, and how it changes toward the joint, by two reaches.
WOOD_REACHES_PX = (4.0, 14.0)
SIDE = 1 + len(WOOD_REACHES_PX)
N_WOODS = 2 * SIDE + 1  # left wood, right wood, and how the slit's light differs from block to block
ZONE_LEVELS = (0, SIDE, *range(N_WOODS, N_WOODS + N_SLIT))  # where each zone's level is among the unknowns
AT_ONCE = 128  # openings weighed at a time, times the profiles: what they need stays in the processor's cache
STEP_ENDS = 5.0  # blurs, beyond which a blurred step is flat
STEP_POLYNOMIAL = (0.79786971, 0.0363922864, -8.78266863e-05, -3.66934179e-05, 1.42500405e-06)


@dataclass(frozen=True, eq=False)
class JointData:
    """Profiles across a joint, brought to lie on the reference edge at 0. Lengths in photo pixels across the joint."""

    light: Array  # (n_blocks, n_bins) linear light
    weight: Array  # (n_blocks, n_bins) 1 / variance, 0 where nothing is known
    across_px: Array  # (n_bins,), positive to the right
    along: Array  # (n_blocks,) 0..1 from the inner end
    length: Array  # (n_blocks,) of each block, as a share of the joint
    lit: Array  # (n_blocks,) how much light falls there, about 1: the slit's levels go with it
    wood: Array  # (2,) usual light of the left and the right wood
    woods_mean: Array  # (N_WOODS,) of a block's levels and changes: left wood's, right wood's, the slit's
    woods_u: Array  # (n_blocks, N_WOODS); the slit's relative to its light
    stripe: Array  # (2,) relative spread of lines along the joint in each wood
    lean_px: float  # how far the floor is seen displaced to the right: > 0 shows the left wall
    reach_px: float  # of the shade beside a wall
    blur_px: float
    hue: Array  # (n_blocks, n_bins, 2) code of blue and of red less luma; NaN where nothing is known


@dataclass(frozen=True, eq=False)
class SharedPrior:
    """Means and standard deviations (N_SHARED,) of what the joint's blocks share; shape unknowns about the data's own edge and blur."""

    mean: Array
    u: Array


@dataclass(frozen=True, eq=False)
class Weighed:
    """Openings and how well each explains the profiles."""

    inner_px: Array  # (n,)
    outer_px: Array  # (n,)
    slit_left: Array  # (n,) bool: the slit lies to the left of the reference edge
    evidence: Array  # (n,) log, up to a constant
    shared: Array  # (n, N_SHARED): most likely values
    spread_px: Array  # (n, 2): what was found likely about the opening's ends, where they were free
    residual: Array  # (n, n_blocks, n_bins)


def zones(u: Array, width: Array, blur: Array, far_blur: Array, lean: float, reach: float) -> Array:
    """Shares (6, ...) of left wood, right wood, wall, floor, left shade, right shade at u pixels from the slit's left edge."""
    seen_wall = np.minimum(np.abs(lean), width)
    left = blurred_step(-u / blur)
    right = blurred_step((u - width) / far_blur)
    first, last = (seen_wall, width) if lean > 0 else (np.zeros_like(width), width - seen_wall)
    before_floor = left if lean <= 0 else blurred_step((first - u) / blur)
    after_floor = right if lean > 0 else blurred_step((u - last) / far_blur)
    floor = 1 - before_floor - after_floor
    near = np.clip(u, first - 6 * blur, last + 6 * blur)
    pull = blur * blur / reach
    ease = 0.5 * pull / reach
    start, end = (first - near) / blur, (last - near) / blur
    pull = pull / blur
    by_left = np.exp((lean - near) / reach + ease) * (blurred_step(end + pull) - blurred_step(start + pull))
    by_right = np.exp((near - width - lean) / reach + ease) * (blurred_step(end - pull) - blurred_step(start - pull))
    return np.stack([left, right, 1 - left - right - floor, floor, -by_left, -by_right])


def blurred_step(z: Array) -> Array:
    """The normal distribution function to 2e-6: a hyperbolic tangent, whose argument is an odd polynomial fitted to it here."""
    z = np.clip(z, -STEP_ENDS, STEP_ENDS)
    square = z * z
    argument = square * STEP_POLYNOMIAL[-1]
    for coefficient in STEP_POLYNOMIAL[-2:0:-1]:
        argument = (argument + coefficient) * square
    return np.asarray(0.5 + 0.5 * np.tanh((argument + STEP_POLYNOMIAL[0]) * z))


@lru_cache(maxsize=16)
def _differences(across_px: tuple[float, ...]) -> Array:
    """(n_bins, n_bins): profiles (..., n_bins) times it are their slopes."""
    return _single(np.asarray(np.gradient(np.eye(len(across_px)), np.array(across_px), axis=1)))


def weigh(
    data: JointData,
    prior: SharedPrior,
    inner_px: Array,
    outer_px: Array,
    slit_left: Array,
    free_px: Array | None = None,
    start_px: Array | None = None,
) -> Weighed:
    """How likely each opening (n,) is, with everything else integrated out.

    With free_px (n,) each stands for a cell of openings of that standard deviation, and is returned moved to where its cell
    is likeliest. start_px (n, 2): how far to the right of the reference edge the slit's near edge lies at both ends, where it isn't
    that edge.
    """
    size = max(AT_ONCE // len(data.along), 1)
    few = [slice(k, k + size) for k in range(0, len(inner_px), size)]
    start_px = np.zeros((len(inner_px), 2)) if start_px is None else start_px
    parts = [_weigh(data, prior, inner_px[k], outer_px[k], slit_left[k], None if free_px is None else free_px[k], start_px[k]) for k in few]
    inner_px, outer_px, by_block, together, shared, spread_px, residual = (np.concatenate(value) for value in zip(*parts, strict=True))
    return Weighed(inner_px, outer_px, slit_left, together + doubtful_sum(by_block), shared, spread_px, residual)


def doubtful_sum(by_block: Array) -> Array:
    """Log evidence (n,) of all blocks' (n, n_blocks), up to a constant.

    A block with a knot, a streak or a scrap of tape may be unlike any opening: none may outvote the others.
    """
    behind = by_block.max(axis=0) - by_block
    return np.asarray(-BLOCK_SAYS * np.log1p(behind / BLOCK_SAYS).sum(axis=1))


def _weigh(
    data: JointData, prior: SharedPrior, inner_px: Array, outer_px: Array, slit_left: Array, free_px: Array | None, start_px: Array
) -> tuple[Array, ...]:
    """The openings, their log evidence by block and of what blocks share, that itself, the spread of their ends, residuals."""
    along, u0 = data.along, data.across_px
    u0 = u0 - (start_px[:, :1] * (1 - along) + start_px[:, 1:] * along)[..., None]
    width = inner_px[:, None] * (1 - along) + outer_px[:, None] * along
    # Within a block the far edge runs askew to the reference edge, which blurs it.
    skew = (outer_px - inner_px)[:, None] * data.length
    far_blur = np.sqrt(data.blur_px**2 + skew**2 / 12)[..., None]
    left_blur = np.where(slit_left[:, None, None], far_blur, data.blur_px)
    right_blur = np.where(slit_left[:, None, None], data.blur_px, far_blur)

    def shares(width: Array) -> tuple[Array, Array]:
        u = u0 + np.where(slit_left[:, None, None], width[..., None], 0.0)
        of_slit = _single(width[..., None]), _single(left_blur), _single(right_blur)
        share = zones(_single(u), *of_slit, float(data.lean_px), float(data.reach_px))
        _shade(share, data)
        return _single(u), share

    u, share = shares(width)
    n, n_blocks, n_bins = len(inner_px), len(along), len(data.across_px)
    n_shared = N_SHARED + (2 if free_px is not None else 0)
    basis = np.empty((n, n_blocks, N_WOODS + n_shared, n_bins), np.float32)
    basis[:, :, N_WOODS : N_WOODS + N_SLIT] = np.moveaxis(share[2:], 0, 2)
    wood = _single(data.wood)
    for side, inside in enumerate((np.minimum(u, 0), np.minimum(_single(width[..., None]) - u, 0))):
        first = side * SIDE
        basis[:, :, first] = share[side]
        for k, reach in enumerate(WOOD_REACHES_PX):
            basis[:, :, first + 1 + k] = share[side] * np.exp(inside * (1 / reach))
        first = N_WOODS + N_SLIT + side * len(RIM_REACHES_PX)
        usual = share[side] * wood[side]
        for k, reach in enumerate(RIM_REACHES_PX):
            basis[:, :, first + k] = usual * np.exp(inside * (1 / reach))
    held = basis[:, :, 2 * SIDE] = 1 - share[0] - share[1]
    prior_mean, prior_u = prior.mean[None], prior.u[None]
    if free_px is not None:
        prior_mean = np.concatenate([prior_mean, np.zeros((1, 2))], axis=1)
        prior_u = np.concatenate([np.repeat(prior_u, n, axis=0), np.stack([free_px, free_px], axis=1)], axis=1)
    woods_u = np.tile(data.woods_u, (n, 1, 1))
    woods_u[..., -1] = 1e-4
    # Levels first, with the edge as found; then the edge's own unknowns, by the slopes of that model.
    shape = N_WOODS + N_LEVELS
    light, weight = _single(data.light), _single(data.weight)
    gram, moment = _products(light, weight, basis[:, :, :shape], basis[:, :, :shape])
    every = _solve(data, gram, moment, prior_mean[:, :N_LEVELS], prior_u[:, :N_LEVELS], woods_u).every
    model = (_single(every[:, :, None]) @ basis[:, :, :shape])[:, :, 0]
    held = held * (weight > 0)
    inside = (held * model).sum((1, 2)) / (held.sum((1, 2)) + 1e-9)
    woods_u[..., -1] = data.woods_u[:, -1] * np.maximum(inside, 0.02 * data.wood.max())[:, None]
    difference = _differences(tuple(data.across_px))
    slope = model @ difference
    t = _single(along[:, None])
    basis[:, :, shape] = slope * (t - 1)
    basis[:, :, shape + 1] = -slope * t
    basis[:, :, shape + 2] = slope * (4 * t * (t - 1))
    basis[:, :, shape + 3] = data.blur_px**2 * (slope @ difference)  # a Gaussian blur obeys the heat equation
    if free_px is not None:
        _, wider = shares(width + STEP_PX)
        by_width = sum((wider[k] - share[k]) * _single(every[:, :, [level]]) for k, level in enumerate(ZONE_LEVELS)) / STEP_PX
        basis[:, :, shape + N_SHAPE] = by_width * (1 - t)
        basis[:, :, shape + N_SHAPE + 1] = by_width * t
    late_gram, late_moment = _products(light, weight, basis[:, :, shape:], basis)
    whole = np.empty((n, n_blocks, N_WOODS + n_shared, N_WOODS + n_shared))
    whole[:, :, :shape, :shape] = gram
    whole[:, :, shape:] = late_gram
    whole[:, :, :shape, shape:] = np.swapaxes(late_gram[..., :shape], 2, 3)
    solved = _solve(data, whole, np.concatenate([moment, late_moment], axis=2), prior_mean, prior_u, woods_u)
    residual = light - (_single(solved.every[:, :, None]) @ basis)[:, :, 0]
    by_block, together = _evidence(data, solved, prior_mean, prior_u, woods_u)
    by_block = by_block - 0.5 * (weight * residual**2).sum(2)
    shared = solved.every[:, 0, N_WOODS:]
    spread = _spread_of_last_two(solved.system)
    if free_px is not None:
        inner_px = np.maximum(inner_px + shared[:, N_SHARED], 0.0)
        outer_px = np.maximum(outer_px + shared[:, N_SHARED + 1], 0.0)
    return inner_px, outer_px, by_block, together, shared[:, :N_SHARED], spread, residual


def _shade(share: Array, data: JointData) -> None:
    """A floor is darker by its walls (how much more or less is left to the photo), and as light as where it lies."""
    both, either = share[4] + share[5], share[4] - share[5]
    share[3] += WALL_SHADE * both
    share[4], share[5] = both, either
    share[2:] *= data.lit[:, None]


def _single(values: Array) -> Array:
    """In single precision: profiles are known to a thousandth, and half the bytes take half the time."""
    return values.astype(np.float32)


def _products(light: Array, weight: Array, some: Array, basis: Array) -> tuple[Array, Array]:
    """Weighted products of some of a basis' unknowns with all of it, and with the light: (n, n_blocks, k, K), (n, n_blocks, k)."""
    weighted = some * weight[:, None]
    gram, moment = weighted @ np.swapaxes(basis, 2, 3), weighted @ light[..., None]
    return gram.astype(float), moment[..., 0].astype(float)


@dataclass(frozen=True, eq=False)
class _Solved:
    every: Array  # (n, n_blocks, K): likeliest levels, and what blocks share
    woods: Array  # (n, n_blocks, N_WOODS, N_WOODS): information on a block's own unknowns
    system: Array  # (n, n_shared, n_shared): information on what the blocks share


def _solve(data: JointData, gram: Array, moment: Array, prior_mean: Array, prior_u: Array, woods_u: Array) -> _Solved:
    """Of each opening: what is likeliest given the products of the basis."""
    n, n_blocks = woods_u.shape[:2]
    n_shared = prior_mean.shape[1]
    wood_precision, precision = 1 / woods_u**2, 1 / prior_u**2
    woods = gram[..., :N_WOODS, :N_WOODS] + wood_precision[..., None] * np.eye(N_WOODS)
    # Each block's own unknowns are eliminated first: what they are for nothing shared, and what each shared unknown takes from them.
    right = np.concatenate([gram[..., :N_WOODS, N_WOODS:], (moment[..., :N_WOODS] + wood_precision * data.woods_mean)[..., None]], axis=-1)
    alone = np.linalg.solve(woods, right)
    taken = np.swapaxes(right[..., :-1].reshape(n, -1, n_shared), 1, 2) @ alone.reshape(n, -1, n_shared + 1)  # summed over the blocks
    own = gram[..., N_WOODS:, N_WOODS:].sum(1)
    system = own - taken[..., :-1] + precision[:, :, None] * np.eye(n_shared)
    shared = np.linalg.solve(system, (moment[..., N_WOODS:].sum(1) - taken[..., -1] + precision * prior_mean)[..., None])
    every = np.empty((n, n_blocks, N_WOODS + n_shared))
    every[..., :N_WOODS] = alone[..., -1] - (alone[..., :-1] @ shared[:, None])[..., 0]
    every[..., N_WOODS:] = shared[:, None, :, 0]
    return _Solved(every, woods, system)


def _evidence(data: JointData, solved: _Solved, prior_mean: Array, prior_u: Array, woods_u: Array) -> tuple[Array, Array]:
    """Log evidence (n, n_blocks) of each block less that of its residuals, and (n,) of what the blocks share.

    Against the prior's own determinant: an unknown that the data don't touch costs nothing.
    """
    away = (solved.every[..., :N_WOODS] - data.woods_mean) / woods_u
    by_block = -0.5 * (away**2).sum(2) - 0.5 * np.linalg.slogdet(solved.woods)[1] - np.log(woods_u).sum(2)
    away = (solved.every[:, 0, N_WOODS:] - prior_mean) / prior_u
    together = -0.5 * (away**2).sum(1) - OCCAM * (0.5 * np.linalg.slogdet(solved.system)[1] + np.log(prior_u).sum(1))
    return by_block, together


def _spread_of_last_two(system: Array) -> Array:
    """Standard deviations (n, 2) of the last two unknowns."""
    last = np.broadcast_to(np.eye(system.shape[1])[:, -2:], (*system.shape[:2], 2))
    solved = np.linalg.solve(system, last)
    return np.sqrt(np.stack([solved[:, -2, 0], solved[:, -1, 1]], axis=1))
