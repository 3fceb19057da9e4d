"""A slit between two straight edges as a photo shows it, and its fit to a joint's strip.

The light across a joint is that of the left wood, of the slit and of the right wood, each blurred. The slit shows the
wall of one piece as far as the camera's lean reveals it, and beyond it the field, darker near both walls. Both woods'
levels are free in every block along the joint; the slit's are shared along it and have priors, since a slit narrower
than the blur shows only the product of its width and its darkness (variable projection: Golub and Pereyra, 1973).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..basis.frames import Array

N_SHAPE = 6  # left edge inner, outer; opening inner, outer; bow of the left edge; log of the blur
N_SLIT = 4  # wall, open floor, floor's shade by the left wall, by the right wall
X0, X1, W0, W1, BOW, BLUR = range(N_SHAPE)

# How far the shade beside a wall reaches over the floor, in heights of the wall: half the sky is hidden at one height. Geometry.
SHADE_REACH = 0.5
STEP = 1e-3  # for difference quotients, px and log units


@dataclass(frozen=True, eq=False)
class SlitData:
    """What is fitted. Lengths in photo pixels across the joint."""

    light: Array  # (n_blocks, n_bins) linear light
    weight: Array  # (n_blocks, n_bins) 1 / variance, 0 where nothing is known
    across_px: Array  # (n_blocks, n_bins)
    along: Array  # (n_blocks,) 0..1
    lean_px: float  # how far the floor is seen displaced to the right: > 0 shows the left wall
    reach_px: float  # of the shade beside a wall


@dataclass(frozen=True, eq=False)
class SlitPrior:
    """Means and standard deviations of what the fit can't always see."""

    shape_mean: Array  # (N_SHAPE,)
    shape_u: Array  # (N_SHAPE,)
    slit_mean: Array  # (N_SLIT,) linear light
    slit_u: Array  # (N_SLIT,)
    wood_mean: Array  # (2,) left, right
    wood_u: Array  # (2,) spread of a block's level about the mean


@dataclass(frozen=True, eq=False)
class SlitFit:
    """The best shape with its curvature. Lengths in photo pixels across the joint."""

    shape: Array  # (N_SHAPE,)
    slit: Array  # (N_SLIT,)
    woods: Array  # (n_blocks, 2)
    residual: Array  # (n_blocks, n_bins) light less model
    precision: Array  # (N_SHAPE + N_SLIT,) squared: data and prior, woods eliminated, for the weights given
    scores: Array  # (n_blocks, N_SHAPE + N_SLIT): each block's pull, woods eliminated
    prior_precision: Array  # (N_SHAPE + N_SLIT,) diagonal
    cost: float  # half the sum of squares, prior included


def opening_along(shape: Array, along: Array) -> Array:
    """The opening (n,) in pixels at places 0..1 along the nominal edge."""
    return shape[W0] + (shape[W1] - shape[W0]) * along


def edge_along(shape: Array, along: Array) -> Array:
    """The left edge's place (n,) in pixels."""
    return shape[X0] + (shape[X1] - shape[X0]) * along + shape[BOW] * 4 * along * (1 - along)


def zones(u: Array, opening: Array, blur: float, lean: float, reach: float) -> Array:
    """Shares (..., 2 + N_SLIT) of left wood, right wood, wall, floor, left shade, right shade at u pixels from the left edge."""
    from scipy.special import ndtr

    # An overlap shows as a single edge half-way.
    width = np.maximum(opening, 0)
    shift = np.minimum(opening, 0) / 2
    u = u - shift
    seen_wall = np.minimum(np.abs(lean), width)
    first, last = (seen_wall, width) if lean > 0 else (np.zeros_like(width), width - seen_wall)
    left = ndtr(-u / blur)
    right = ndtr((u - width) / blur)
    before_floor = left if lean <= 0 else ndtr((first - u) / blur)
    after_floor = right if lean > 0 else ndtr((u - last) / blur)
    floor = 1 - before_floor - after_floor
    near = np.clip(u, first - 6 * blur, last + 6 * blur)
    pull = blur * blur / reach
    ease = 0.5 * pull / reach
    by_left = np.exp((lean - near) / reach + ease) * (ndtr((last - near + pull) / blur) - ndtr((first - near + pull) / blur))
    by_right = np.exp((near - width - lean) / reach + ease) * (ndtr((last - near - pull) / blur) - ndtr((first - near - pull) / blur))
    return np.stack([left, right, 1 - left - right - floor, floor, -by_left, -by_right], axis=-1)


def fit_slit(data: SlitData, prior: SlitPrior, start: Array, steps: int, free: Array | None = None) -> SlitFit:
    """Gauss-Newton with step control from a start (N_SHAPE,)."""
    shape = np.array(start, float)
    fit = _evaluate(data, prior, shape)
    damping = 1e-3
    for _ in range(steps):
        gradient = fit.scores.sum(axis=0) + _prior_pull(prior, fit)
        system = fit.precision + damping * np.diag(np.diag(fit.precision))
        step = np.linalg.solve(system, gradient)[:N_SHAPE]
        if free is not None:
            step = step * free
        step = np.clip(step, -3.0, 3.0)
        trial = _evaluate(data, prior, _bounded(shape + step))
        if trial.cost < fit.cost:
            gain = fit.cost - trial.cost
            shape, fit, damping = trial.shape, trial, damping / 5
            if gain < 1e-3 + 1e-5 * fit.cost:
                break
        else:
            damping = max(damping * 8, 1e-2)
            if damping > 1e4:
                break
    return fit


def reweighted(data: SlitData, fit: SlitFit, cut: float = 2.0) -> SlitData:
    """Weights lessened where a residual is large (Student's t with few degrees of freedom), block by block and bin by bin."""
    z2 = fit.residual**2 * data.weight
    return replace(data, weight=data.weight / (1 + z2 / cut**2))


def _bounded(shape: Array) -> Array:
    out = shape.copy()
    out[[W0, W1]] = np.maximum(out[[W0, W1]], -0.3)
    out[BLUR] = np.clip(out[BLUR], np.log(0.3), np.log(6.0))
    return out


def _prior_pull(prior: SlitPrior, fit: SlitFit) -> Array:
    away = np.concatenate([prior.shape_mean - fit.shape, prior.slit_mean - fit.slit])
    return fit.prior_precision * away


def _evaluate(data: SlitData, prior: SlitPrior, shape: Array) -> SlitFit:
    scale = data.lean_px, data.reach_px
    along = data.along
    opening = opening_along(shape, along)[:, None]
    u = data.across_px - edge_along(shape, along)[:, None]
    blur = float(np.exp(shape[BLUR]))
    basis = zones(u, opening, blur, *scale)
    weight = data.weight
    n_blocks = len(along)
    # The linear levels: woods block by block, the slit's shared; woods eliminated block by block.
    weighted = basis * weight[..., None]
    normal = np.einsum("bdi,bdj->bij", weighted, basis)
    moment = np.einsum("bdi,bd->bi", weighted, data.light)
    wood_precision = 1 / prior.wood_u**2
    woods_normal = normal[:, :2, :2] + np.diag(wood_precision)
    woods_moment = moment[:, :2] + wood_precision * prior.wood_mean
    inverse = np.linalg.inv(woods_normal)
    cross = normal[:, :2, 2:]
    slit_precision = 1 / prior.slit_u**2
    slit_normal = (normal[:, 2:, 2:] - np.einsum("bki,bkl,blj->bij", cross, inverse, cross)).sum(0) + np.diag(slit_precision)
    slit_moment = (moment[:, 2:] - np.einsum("bki,bkl,bl->bi", cross, inverse, woods_moment)).sum(0) + slit_precision * prior.slit_mean
    slit = np.linalg.solve(slit_normal, slit_moment)
    woods = np.einsum("bkl,bl->bk", inverse, woods_moment - cross @ slit)
    levels = np.concatenate([woods, np.broadcast_to(slit, (n_blocks, N_SLIT))], axis=1)
    model = np.einsum("bdi,bi->bd", basis, levels)
    residual = data.light - model
    # Slopes by place, opening and blur, by difference quotients; ends and bow follow by the chain rule.
    by_place = (np.einsum("bdi,bi->bd", zones(u - STEP, opening, blur, *scale), levels) - model) / STEP
    by_opening = (np.einsum("bdi,bi->bd", zones(u, opening + STEP, blur, *scale), levels) - model) / STEP
    by_blur = (np.einsum("bdi,bi->bd", zones(u, opening, blur * (1 + STEP), *scale), levels) - model) / STEP
    t = along[:, None]
    jacobian = np.stack(
        [by_place * (1 - t), by_place * t, by_opening * (1 - t), by_opening * t, by_place * 4 * t * (1 - t), by_blur], axis=-1
    )
    full = np.concatenate([jacobian, basis[..., 2:]], axis=-1)
    weighted_full = full * weight[..., None]
    full_normal = np.einsum("bdi,bdj->bij", weighted_full, full)
    full_cross = np.einsum("bdk,bdi->bki", weighted[..., :2], full)
    pull = np.einsum("bdi,bd->bi", weighted_full, residual)
    wood_away = prior.wood_mean - woods
    wood_pull = np.einsum("bdk,bd->bk", weighted[..., :2], residual) + wood_precision * wood_away
    eliminate = np.einsum("bkl,bki->bli", inverse, full_cross)
    scores = pull - np.einsum("bli,bl->bi", eliminate, wood_pull)
    prior_precision = np.concatenate([1 / prior.shape_u**2, slit_precision])
    precision = (full_normal - np.einsum("bki,bkj->bij", full_cross, eliminate)).sum(0) + np.diag(prior_precision)
    away = np.concatenate([prior.shape_mean - shape, prior.slit_mean - slit])
    cost = 0.5 * float((weight * residual**2).sum() + (prior_precision * away**2).sum() + (wood_precision * wood_away**2).sum())
    return SlitFit(shape, slit, woods, residual, precision, scores, prior_precision, cost)
