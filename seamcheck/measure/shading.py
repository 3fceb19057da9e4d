"""The shade that a raised rose throws on the field beside its edges, learnt from the photo.

A lobe's face stands one veneer thickness h above the field. A point of the field at distance x from a straight edge of
outward normal n keeps of the open field's light

    A (1 + x / sqrt(x2 + h2)) / 2  +  sum over lamps of q Phi((x - s . n) / sigma),

where the first term is the sky's light past a wall (its cosine-weighted view factor, closed form) and each lamp casts the
edge's shadow by the vector s, softened by the lamp's size to sigma. All edges of a rose share A, q, s and sigma: those that
stand out clearly from the field teach what the shadow does to those that don't.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, wrap_angle

# Shadows farther out than this are of other things, inches: a lamp 13 degrees above the top throws a 1/42 in veneer's shadow so far.
MAX_SHADOW_IN = 0.10
# The usual softness of the two lamps' shadows, inches: a window or a tube a few feet away (common practice, no source). A weak
# start, not a limit.
USUAL_SOFTNESS_IN = (0.008, 0.012)
# Edges needed before two lamps' seven unknowns are worth asking for.
MIN_EDGES = 3
# Edges that miss by so many times the usual, and by so much of the field's light, are left out, the worst first, at most so many.
ODD_RATIO, ODD_MISFIT, MOST_DROPPED = 3.0, 0.06, 3
# How many neighbouring samples of a shade profile stray together.
REPEATS = 20.0
# What a prior's standard deviation counts for beside the samples, in shares of the open field's light: what REPEATS of them stray by.
PRIOR_WEIGHT = 0.05
# No edge's place is known better than this, inches: it sets how far beyond it every sample lies.
LEAST_U_PLACE_IN = 0.0005
# ... and none lies farther off than so many standard uncertainties.
MOST_MOVED = 4.0
SHADE_UNKNOWNS = 8


@dataclass(frozen=True)
class Shading:
    """Shade beside the edges of one rose. `lamps` is (2, 4): share q, s_x, s_y (inches, plane frame), sigma (inches)."""

    sky: float  # A
    lamps: Array
    height_in: float
    variants: tuple[Shading, ...] = ()  # each one standard uncertainty away along one independent direction
    misfit: float = 0.0  # what it leaves of the light beside the edges that taught it, root mean square, in shares of the open field's

    def at(self, x_in: Array, normal: Array) -> Array:
        """Share of the open field's light at distances x_in (n,) on the field from an edge with outward normal (2,)."""
        return shade_at(np.array(self.sky), self.lamps, np.array(self.height_in), x_in[None], normal[None])[0]


def stacked(shadings: Sequence[Shading]) -> tuple[Array, Array, Array]:
    """Sky (n, 1), lamps (2, 4, n, 1) and height (n, 1) of several shades, as `shade_at` takes them."""
    sky, height = (np.array([getattr(one, name) for one in shadings])[:, None] for name in ("sky", "height_in"))
    return sky, np.moveaxis(np.array([one.lamps for one in shadings]), 0, -1)[..., None], height


@dataclass(frozen=True)
class EdgeShade:
    """The field's mean light beside one clear edge."""

    normal: Array  # (2,) outward
    x_in: Array  # (n,) distance on the field from the edge, increasing
    light: Array  # (n,) in any unit
    u_place_in: float = LEAST_U_PLACE_IN  # how well the edge's own place is known, standard uncertainty


def learn_shading(edges: Sequence[EdgeShade], height_in: float) -> Shading | None:
    """Fit the shade that all edges share (each with as many samples); None with too few edges.

    An edge that the others' shade doesn't suit was taken for another (its shadow's far edge, say) and teaches nothing.
    """
    if len(edges) < MIN_EDGES:
        return None
    shading, misfit = _fit(edges, height_in)
    for _ in range(MOST_DROPPED):
        worst = int(np.argmax(misfit))
        if len(edges) <= MIN_EDGES + 1 or misfit[worst] < max(ODD_MISFIT, ODD_RATIO * float(np.median(misfit))):
            break
        edges = [edge for k, edge in enumerate(edges) if k != worst]
        shading, misfit = _fit(edges, height_in)
    return shading


def _fit(edges: Sequence[EdgeShade], height_in: float) -> tuple[Shading, Array]:
    """The shade, and each edge's rms misfit as a share of the field's light, (edges,)."""
    from scipy.optimize import least_squares

    x = np.array([edge.x_in for edge in edges])
    light = np.array([edge.light for edge in edges])
    light = light / light[:, -light.shape[1] // 4 :].mean(axis=1, keepdims=True)
    normal = np.array([edge.normal for edge in edges])
    far = (x - x[:, -1:]) / (x[:, -1:] - x[:, :1])

    u_place = np.maximum([edge.u_place_in for edge in edges], LEAST_U_PLACE_IN)
    usual = np.log(USUAL_SOFTNESS_IN)

    def residuals(p: Array) -> Array:
        """(..., samples and priors) of unknowns (..., 8 + edges): the shade's, and how much farther out each edge lies."""
        sky, lamps = _unpack(p[..., :SHADE_UNKNOWNS])
        moved = p[..., SHADE_UNKNOWNS:]
        shade = shade_at(sky[..., None, None], lamps[..., None, None], np.array(height_in), x - moved[..., None], normal)
        # The open field's level beside each edge, and a slight slope of it (ridge), drop out linearly.
        tilt = shade * far
        aa, ab, bb = (shade * shade).sum(-1), (shade * tilt).sum(-1), (tilt * tilt).sum(-1) + 0.3 * (shade * shade).sum(-1)
        ya, yb = (light * shade).sum(-1), (light * tilt).sum(-1)
        det = aa * bb - ab * ab
        level, slope = (ya * bb - yb * ab) / det, (yb * aa - ya * ab) / det
        left = light - level[..., None] * shade - slope[..., None] * tilt
        prior = np.stack([(p[..., 6] - usual[0]) / 0.8, (p[..., 7] - usual[1]) / 0.8, p[..., 0] / 2.0, p[..., 1] / 2.0], axis=-1)
        return np.concatenate([left.reshape(*left.shape[:-2], -1), PRIOR_WEIGHT * prior, PRIOR_WEIGHT * moved / u_place], axis=-1)

    high = np.array([6, 6, MAX_SHADOW_IN, MAX_SHADOW_IN, MAX_SHADOW_IN, MAX_SHADOW_IN, np.log(0.04), np.log(0.05)])
    low = np.concatenate([-high[:6], [np.log(0.002)] * 2])
    # The steps of a numerical slope and the trust region count all unknowns alike: shadows are hundredths of an inch.
    size = np.array([1, 1, 0.02, 0.02, 0.02, 0.02, 0.5, 0.5, *u_place])
    bounds = np.concatenate([low, -MOST_MOVED * u_place]), np.concatenate([high, MOST_MOVED * u_place])
    step = 1e-5 * size
    moves = np.zeros((SHADE_UNKNOWNS + 1, len(size)))
    moves[np.arange(SHADE_UNKNOWNS), np.arange(SHADE_UNKNOWNS)] = step[:SHADE_UNKNOWNS]
    moves[-1, SHADE_UNKNOWNS:] = step[SHADE_UNKNOWNS:]  # an edge's own place moves only its own samples, so all move at once
    number, samples = x.shape
    sample, own = np.arange(x.size), SHADE_UNKNOWNS + np.repeat(np.arange(number), samples)

    def slopes(p: Array) -> Array:
        """(samples and priors, unknowns), by central differences."""
        apart = (residuals(p + moves) - residuals(p - moves)) / 2
        result = np.zeros((apart.shape[1], len(size)))
        result[:, :SHADE_UNKNOWNS] = apart[:-1].T / step[:SHADE_UNKNOWNS]
        result[sample, own] = apart[-1, : x.size] / step[own]
        result[np.arange(-number, 0), np.arange(SHADE_UNKNOWNS, len(size))] = PRIOR_WEIGHT / u_place
        return result

    start = np.append(_start(normal, light, height_in), np.zeros(len(edges)))
    fit = least_squares(residuals, start, slopes, bounds=bounds, x_scale=size, loss="soft_l1", f_scale=0.03, max_nfev=20)
    best = fit.x[:SHADE_UNKNOWNS]
    sky, lamps = _unpack(best)
    left = residuals(fit.x)[: light.size]
    typical = float(1.4826 * np.median(np.abs(left)))
    # What is left runs smoothly along a profile: REPEATS samples say what one does.
    information = fit.jac.T @ fit.jac / (REPEATS * typical**2)
    information[np.diag_indices(SHADE_UNKNOWNS)] += size[:SHADE_UNKNOWNS] ** -2.0
    values, vectors = np.linalg.eigh(np.linalg.inv(information)[:SHADE_UNKNOWNS, :SHADE_UNKNOWNS])
    variants = []
    for move in (vectors * np.sqrt(np.maximum(values, 0))).T:
        moved_sky, moved_lamps = _unpack(np.clip(best + move, low, high))
        variants.append(Shading(float(moved_sky), moved_lamps, height_in))
    misfit = np.mean(left.reshape(light.shape) ** 2, axis=1)
    return Shading(float(sky), lamps, height_in, tuple(variants), float(np.sqrt(misfit.mean()))), np.sqrt(misfit)


def _unpack(p: Array) -> tuple[Array, Array]:
    """Sky's share (...,) and lamps (2, 4, ...) of unknowns (..., 8): two log shares over the sky's, two vectors, two log softnesses."""
    first, second, *shadows, log_first, log_second = np.moveaxis(p, -1, 0)
    shares = np.exp(np.stack([np.zeros_like(first), first, second]))
    shares = shares / shares.sum(axis=0)
    lamps = np.stack([[shares[1], *shadows[:2], np.exp(log_first)], [shares[2], *shadows[2:], np.exp(log_second)]])
    return shares[0], lamps


def shade_at(sky: Array, lamps: Array, height_in: Array, x_in: Array, normal: Array) -> Array:
    """(..., edges, n): shade at distances x_in (edges, n) from edges with outward normals (edges, 2).

    One sky (), lamps (2, 4) and height () for all edges, or each its own: (edges, 1), (2, 4, edges, 1), (edges, 1); or several of them
    for all edges: (..., 1, 1).
    """
    from scipy.special import ndtr

    x = np.maximum(x_in, 0.0)
    result = sky * 0.5 * (1 + x / np.sqrt(x * x + height_in**2))
    for share, sx, sy, sigma in lamps:
        result = result + share * ndtr((x - normal[:, :1] * sx - normal[:, 1:] * sy) / sigma)
    return np.asarray(result)


def _start(normal: Array, light: Array, height_in: float) -> Array:
    """First guess: the main shadow toward the most shaded normals, the second toward the next."""
    depth = 1 - light[:, : light.shape[1] // 3].mean(axis=1)
    angles = np.arctan2(normal[:, 0], normal[:, 1])
    grid = np.arange(0, 2 * np.pi, np.pi / 12)
    pull = (depth[:, None] * np.maximum(np.cos(angles[:, None] - grid), 0) ** 2).sum(axis=0)
    main = grid[int(np.argmax(pull))]
    apart = np.abs(wrap_angle(grid - main)) > 0.9
    other = grid[apart][int(np.argmax(pull[apart]))]
    shadows = [height_in * np.sin(main), height_in * np.cos(main), height_in * np.sin(other), height_in * np.cos(other)]
    return np.array([0.7, -0.7, *shadows, *np.log(USUAL_SOFTNESS_IN)])
