"""The shade that all edges of a raised rose share, learnt from the field's light beside the clear ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..basis.frames import Array, wrap_angle
from .shading import Shading

# Shadows farther out than this are of other things, inches: a lamp 13 degrees above the top throws a 1/42 in veneer's shadow so far.
MAX_SHADOW_IN = 0.10
# The usual softness of the lamps' shadows, inches, and how far it strays, log: a window or a tube a few feet away, the second larger; the
# lamps overhead (common practice, no source). A weak start, not a limit.
USUAL_SOFTNESS_IN, SOFTNESS_STRAYS = (0.008, 0.012, 0.010), 0.8
LEAST_SOFTNESS_IN, MOST_SOFTNESS_IN = 0.002, (0.04, 0.05, 0.04)
# A lamp gives as much light as the sky, or e to this power as much or as little; at most so much.
SHARE_STRAYS, MOST_SHARE = 2.0, 6.0
# A darker field than this (linear, 1 the photo's white) is no wood: blacked out. Black wood sends back some .015.
DARKEST_FIELD = 1e-3
# Edges needed before the lamps' unknowns are worth asking for.
MIN_EDGES = 3
# Edges that miss by so many times the usual, and by so much of the field's light, are left out, the worst first, at most so many.
ODD_RATIO, ODD_MISFIT, MOST_DROPPED = 3.0, 0.06, 3
# How many neighbouring samples of a shade profile stray together.
REPEATS = 20.0
# What a prior's standard deviation counts for beside the samples, in shares of the open field's light: what REPEATS of them stray by.
PRIOR_WEIGHT = 0.05
# A slope of the open field's light across the profile counts as much as this share of the samples: held to nothing, weakly.
SLOPE_HELD = 0.3
# No edge's place is known better than this, inches: it sets how far beyond it every sample lies.
LEAST_U_PLACE_IN = 0.0005
# ... and none lies farther off than so many standard uncertainties.
MOST_MOVED = 4.0
# Residuals beyond this share of the open field's light count less and less.
ROBUST_FROM = 0.03
MOST_STEPS = 20

# The unknowns: two lamps' and the overhead's shares over the sky's, log; two lamps' shadows (x, y); three softnesses, log.
SHARES, SHADOWS, SOFTNESSES = slice(0, 3), slice(3, 7), slice(7, 10)
SHADE_UNKNOWNS = 10
# What a usual step of each is: shadows are hundredths of an inch.
SHADE_SIZES = np.array([1.0] * 3 + [0.02] * 4 + [0.5] * 3)


@dataclass(frozen=True)
class EdgeShade:
    """The field's mean light beside one clear edge."""

    normal: Array  # (2,) outward
    x_in: Array  # (n,) distance on the field from the edge, increasing
    light: Array  # (n,) in any unit
    u_place_in: float = LEAST_U_PLACE_IN  # how well the edge's own place is known, standard uncertainty

    @property
    def open_light(self) -> float:
        """The field's out of the shade: the mean of the farthest quarter."""
        return float(self.light[-len(self.light) // 4 :].mean())

    @property
    def is_black(self) -> bool:
        """Whether the field is blacked out, which shows no shade."""
        return self.open_light < DARKEST_FIELD


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


@dataclass(frozen=True)
class _Beside:
    """The light beside all edges. Unknowns p (10 + edges,): the shade's, and how much farther out than measured each edge lies."""

    x: Array  # (edges, samples)
    light: Array  # (edges, samples), the open field's mean 1
    normal: Array  # (edges, 2)
    u_place: Array  # (edges,)
    height_in: float

    @cached_property
    def far(self) -> Array:
        """(edges, samples): -1 at the nearest sample, 0 at the farthest."""
        return (self.x - self.x[:, -1:]) / (self.x[:, -1:] - self.x[:, :1])

    @cached_property
    def spread(self) -> Array:
        """(10 + edges,): the standard deviation of each unknown's prior; infinite for shadows."""
        shade = [SHARE_STRAYS] * 3 + [np.inf] * 4 + [SOFTNESS_STRAYS] * 3
        return np.concatenate([shade, self.u_place])

    @cached_property
    def usual(self) -> Array:
        """(10 + edges,): each unknown's prior mean."""
        return np.concatenate([np.zeros(7), np.log(USUAL_SOFTNESS_IN), np.zeros(len(self.x))])

    def residuals(self, p: Array) -> Array:
        """(samples and priors,) of unknowns p."""
        shade = self._shade(p)
        level, slope = self._open_field(self.light, shade)
        left = self.light - (level + slope * self.far) * shade
        return np.concatenate([left.ravel(), PRIOR_WEIGHT * (p - self.usual) / self.spread])

    def slopes(self, p: Array) -> Array:
        """(samples and priors, unknowns): the residuals' derivatives, the open field's level and slope following (after Kaufman, 1975)."""
        shade = self._shade(p)
        level, slope = self._open_field(self.light, shade)
        moved = self._shade_slopes(p) * (level + slope * self.far)  # (11, edges, samples)
        own_level, own_slope = self._open_field(moved, shade)
        left = (own_level + own_slope * self.far) * shade - moved
        edges, samples = self.x.shape
        result = np.zeros((edges, samples, SHADE_UNKNOWNS + edges))
        result[..., :SHADE_UNKNOWNS] = np.moveaxis(left[:SHADE_UNKNOWNS], 0, -1)
        result[np.arange(edges), :, SHADE_UNKNOWNS + np.arange(edges)] = left[SHADE_UNKNOWNS]
        return np.concatenate([result.reshape(edges * samples, -1), np.diag(PRIOR_WEIGHT / self.spread)])

    def misfit(self, p: Array) -> Array:
        """(edges, samples): what the shade leaves."""
        return np.asarray(self.residuals(p)[: self.x.size].reshape(self.x.shape))

    def _open_field(self, light: Array, shade: Array) -> tuple[Array, Array]:
        """Level and slope (..., edges, 1) of the open field that make most of some light (..., edges, samples)."""
        tilt = shade * self.far
        aa, ab, bb = (shade * shade).sum(-1), (shade * tilt).sum(-1), (tilt * tilt).sum(-1) + SLOPE_HELD * (shade * shade).sum(-1)
        ya, yb = (light * shade).sum(-1), (light * tilt).sum(-1)
        det = aa * bb - ab * ab
        return ((ya * bb - yb * ab) / det)[..., None], ((yb * aa - ya * ab) / det)[..., None]

    def _past(self, p: Array) -> Array:
        return np.maximum(self.x - p[SHADE_UNKNOWNS:, None], 0.0)

    def _lamps(self, p: Array) -> tuple[Array, Array, Array]:
        """What each lamp's shadow leaves, the bell of which that is the sum, and where that is, in softnesses: (3, edges, samples)."""
        from scipy.special import ndtr

        softness = np.exp(p[SOFTNESSES])[:, None, None]
        thrown = np.zeros((3, len(self.x)))
        thrown[:2] = p[SHADOWS].reshape(2, 2) @ self.normal.T
        z = (self._past(p) - thrown[..., None]) / softness
        return ndtr(z), np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi) / softness, z

    def _sky(self, p: Array) -> Array:
        x = self._past(p)
        return np.asarray(0.5 * (1 + x / np.hypot(x, self.height_in)))

    def _shade(self, p: Array) -> Array:
        share = _shares(p)
        return np.asarray(share[0] * self._sky(p) + np.tensordot(share[1:], self._lamps(p)[0], 1))

    def _shade_slopes(self, p: Array) -> Array:
        """(11, edges, samples): derivatives of the shade by its ten unknowns, and by how much farther out the edges lie."""
        share, sky, (lit, bell, z) = _shares(p), self._sky(p), self._lamps(p)
        shade = share[0] * sky + np.tensordot(share[1:], lit, 1)
        weight = share[1:, None, None]
        thrown = -(weight[:2] * bell[:2])[:, None] * self.normal.T[None, :, :, None]  # (2, x and y, edges, samples)
        x = self._past(p)
        outward = share[0] * 0.5 * self.height_in**2 / np.hypot(x, self.height_in) ** 3 + (weight * bell).sum(axis=0)
        parts = weight * (lit - shade), thrown.reshape(4, *x.shape), -weight * bell * z * np.exp(p[SOFTNESSES])[:, None, None]
        return np.concatenate([*parts, np.where(x > 0, -outward, 0.0)[None]])


def _fit(edges: Sequence[EdgeShade], height_in: float) -> tuple[Shading, Array]:
    """The shade, and each edge's rms misfit as a share of the field's light, (edges,)."""
    from scipy.optimize import least_squares

    light = np.array([edge.light / edge.open_light for edge in edges])
    normal = np.array([edge.normal for edge in edges])
    u_place = np.maximum([edge.u_place_in for edge in edges], LEAST_U_PLACE_IN)
    beside = _Beside(np.array([edge.x_in for edge in edges]), light, normal, u_place, height_in)
    high = np.concatenate([[MOST_SHARE] * 3, [MAX_SHADOW_IN] * 4, np.log(MOST_SOFTNESS_IN), MOST_MOVED * u_place])
    low = np.concatenate([-high[:7], [np.log(LEAST_SOFTNESS_IN)] * 3, -MOST_MOVED * u_place])
    size = np.concatenate([SHADE_SIZES, u_place])
    start = np.append(_start(normal, light, height_in), np.zeros(len(edges)))
    options = {"bounds": (low, high), "x_scale": size, "loss": "soft_l1", "f_scale": ROBUST_FROM, "max_nfev": MOST_STEPS}
    fit = least_squares(beside.residuals, start, beside.slopes, **options)
    best = fit.x[:SHADE_UNKNOWNS]
    left = beside.misfit(fit.x)
    typical = float(1.4826 * np.median(np.abs(left)))
    # What is left runs smoothly along a profile: REPEATS samples say what one does.
    information = fit.jac.T @ fit.jac / (REPEATS * typical**2)
    information[np.diag_indices(SHADE_UNKNOWNS)] += SHADE_SIZES**-2
    values, vectors = np.linalg.eigh(np.linalg.inv(information)[:SHADE_UNKNOWNS, :SHADE_UNKNOWNS])
    moves = (vectors * np.sqrt(np.maximum(values, 0))).T
    variants = tuple(_shading(np.clip(best + move, low[:SHADE_UNKNOWNS], high[:SHADE_UNKNOWNS]), height_in) for move in moves)
    misfit = np.mean(left**2, axis=1)
    return _shading(best, height_in, variants, float(np.sqrt(misfit.mean()))), np.sqrt(misfit)


def _shares(p: Array) -> Array:
    """(4,): of the sky and the three lamps."""
    share = np.exp(np.append(0.0, p[SHARES]))
    return np.asarray(share / share.sum())


def _shading(p: Array, height_in: float, variants: tuple[Shading, ...] = (), misfit: float = 0.0) -> Shading:
    share = _shares(p)
    lamps = np.zeros((3, 4))
    lamps[:, 0], lamps[:2, 1:3], lamps[:, 3] = share[1:], p[SHADOWS].reshape(2, 2), np.exp(p[SOFTNESSES])
    return Shading(float(share[0]), lamps, height_in, variants, misfit)


def _start(normal: Array, light: Array, height_in: float) -> Array:
    """First guess (10,): the main shadow toward the most shaded normals, the second toward the next."""
    depth = 1 - light[:, : light.shape[1] // 3].mean(axis=1)
    angles = np.arctan2(normal[:, 0], normal[:, 1])
    grid = np.arange(0, 2 * np.pi, np.pi / 12)
    pull = (depth[:, None] * np.maximum(np.cos(angles[:, None] - grid), 0) ** 2).sum(axis=0)
    main = grid[int(np.argmax(pull))]
    apart = np.abs(wrap_angle(grid - main)) > 0.9
    other = grid[apart][int(np.argmax(pull[apart]))]
    shadows = height_in * np.array([np.sin(main), np.cos(main), np.sin(other), np.cos(other)])
    return np.concatenate([[0.7, -0.7, -0.7], shadows, np.log(USUAL_SOFTNESS_IN)])
