"""What the photo shows across a straight edge: linear models of a profile, for every kind of edge.

A profile runs from the wood of a lobe (negative places) across its edge (0) to what lies beyond. Each model is a design
(options, columns, places): the profile is a linear combination of an option's columns, blurred by the photo's point spread (a
Gaussian). The first column is the wood's level, the third the level beyond; columns that a case doesn't need are zero. Designs of
many edges are computed at once, for one kind of model: (edges, options, columns, places).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from ..basis.frames import Array
from ..edges import LIGHT_FLOOR
from .shading import Shading, shade_at, stacked

# How far the models look to either side of an edge, photo pixels.
INSIDE_PX = 6.0
NEAR_PX = 6.0
# How far beyond a raised edge the shade is followed, inches; no farther than so many pixels.
SHADE_REACH_IN = 0.085
SHADE_REACH_PX = 20.0
# Glue lines round an inlaid lobe that are considered, inches: none to what wants filling, closer where they're likelier, since each counts
# as one (common practice, no source).
GLUE_WIDTHS_IN = (0.0, 0.0015, 0.003, 0.006, 0.009, 0.013)
# Glue is dark: it sends back about so much of the field's light, or less.
GLUE_LIGHT = 0.2
# However dark the field, brown glue may send back so much (linear, 1 the photo's white; common practice, no source).
GLUE_OWN_LIGHT = 0.08
# Glue lines on a lobe's own seam that are considered, inches (common practice, no source).
OWN_LINES_IN = (0.0, 0.0015, 0.003, 0.005)
USUAL_OWN_LINE_IN = 0.002
# The field's own slope of light is about so large a share of it over the reach of the shade: keeps the slope from imitating a shadow.
FIELD_SLOPE = 0.1
# The learnt shade may be so much off next to the edge, as a share of the field's light, over about this length (inches): light
# thrown back by the lobe's side, halos of sharpening.
SHADE_DOUBT, CONTACT_IN = 0.08, 0.012
# The wood's figure changes its light by about so large a share a pixel, in a block's mean: keeps the slope from imitating an edge.
FIGURE_SLOPE = 0.015

# The veneer's side is of the lobe's own wood: lit as its face is, or less, seldom more (common practice, no source).
SIDE_LIGHT = 1.0

# Step of the grid that the shaded field is blurred on, and how much of the veneer's side has to be seen to count, px.
SHADE_STEP_PX, LEAST_SIDE_PX = 0.2, 0.3

# A shorter motion than so many blurs can't be told from a blur of the same variance.
SMEAR_OF_BLUR = 1.5

# (column, standard deviation as a share of the light a pixel, side: 0 inside, 1 beyond), and where given the least it is, in light
Limit = tuple[int, float, int] | tuple[int, float, int, float]


@dataclass(frozen=True)
class Plain:
    """Anything: a level, a slope and a curve, looked at only close by."""

    def alternatives(self) -> list[Beyond]:
        return []

    def limits(self, px_in: float) -> list[Limit]:
        return [(1, FIGURE_SLOPE, 0)]

    def reach_px(self, px_in: float) -> float:
        return NEAR_PX

    @staticmethod
    def designs(models: Sequence[Plain], place_px: Array, blur_px: float, px_in: Array) -> Array:
        inside, beyond, ramp, bend = _pieces(place_px, blur_px)
        one = np.stack([inside, place_px - ramp, beyond, ramp, bend])
        return np.broadcast_to(one, (len(models), 1, *one.shape))


@dataclass(frozen=True)
class Half:
    """The lobe's other half: a step, with a dark glue line of any of OWN_LINES_IN centred on it."""

    def alternatives(self) -> list[Beyond]:
        return []

    def limits(self, px_in: float) -> list[Limit]:
        return [(1, FIGURE_SLOPE, 0), (3, FIGURE_SLOPE, 1)]

    def surprise(self) -> Array:
        """(widths,): minus twice the log prior of each width, the least 0."""
        return (np.array(OWN_LINES_IN) / USUAL_OWN_LINE_IN) ** 2

    def reach_px(self, px_in: float) -> float:
        return NEAR_PX

    @staticmethod
    def designs(models: Sequence[Half], place_px: Array, blur_px: float, px_in: Array) -> Array:
        half = np.array(OWN_LINES_IN)[:, None] / px_in[:, None, None] / 2
        # Glue sends back next to no light: the line is a slit between the halves. (A free level would be a free shift of the step.)
        inside, _, ramp_in, _ = _pieces(place_px + half, blur_px)
        _, beyond, ramp, _ = _pieces(place_px - half, blur_px)
        return np.stack([inside, place_px - ramp_in, beyond, ramp], axis=2)


@dataclass(frozen=True)
class Flush:
    """The field at the same height (inlaid), with a glue line between, of any of GLUE_WIDTHS_IN.

    `chances`: how often this rose's glue lines are so wide, where that is known.
    """

    chances: tuple[float, ...] | None = None

    def surprise(self) -> Array:
        """(widths,): minus twice the log prior of each width, the least 0."""
        if self.chances is None:
            return np.zeros(len(GLUE_WIDTHS_IN))
        log = np.log(np.array(self.chances))
        return 2 * (log.max() - log)

    def alternatives(self) -> list[Beyond]:
        return []

    def limits(self, px_in: float) -> list[Limit]:
        return [(1, FIGURE_SLOPE, 0), (3, FIGURE_SLOPE, 1), (4, GLUE_LIGHT, 1, GLUE_OWN_LIGHT)]

    def reach_px(self, px_in: float) -> float:
        return NEAR_PX + GLUE_WIDTHS_IN[-1] / px_in

    @staticmethod
    def designs(models: Sequence[Flush], place_px: Array, blur_px: float, px_in: Array) -> Array:
        inside, beyond, ramp, _ = _pieces(place_px, blur_px)
        _, field, field_ramp, _ = _pieces(place_px - np.array(GLUE_WIDTHS_IN)[:, None] / px_in[:, None, None], blur_px)
        wood = np.broadcast_to(inside, field.shape), np.broadcast_to(place_px - ramp, field.shape)
        return np.stack([*wood, field, field_ramp, beyond - field], axis=2)


@dataclass(frozen=True)
class Shaded:
    """The field one veneer thickness below, in the shade that the whole rose throws.

    `lean_in`: how far the camera sees the field's points shifted against the face's, outward; where it is negative, that
    much of the veneer's side is seen.
    """

    shading: Shading
    normal: Array  # (2,) outward
    lean_in: float
    u_lean_in: float = 0.0

    def alternatives(self) -> list[Beyond]:
        """What else it may be: each one standard uncertainty away."""
        result: list[Beyond] = [replace(self, shading=variant) for variant in self.shading.variants]
        return [*result, replace(self, lean_in=self.lean_in + self.u_lean_in)]

    def limits(self, px_in: float) -> list[Limit]:
        return [(1, FIGURE_SLOPE, 0), (3, FIELD_SLOPE / self.reach_px(px_in), 1), (4, SHADE_DOUBT, 1), (5, SIDE_LIGHT, 0)]

    def reach_px(self, px_in: float) -> float:
        return min(SHADE_REACH_IN / px_in, SHADE_REACH_PX)

    @staticmethod
    def designs(models: Sequence[Shaded], place_px: Array, blur_px: float, px_in: Array) -> Array:
        lean_px = np.array([model.lean_in for model in models]) / px_in
        side_px = np.maximum(0.0, -lean_px)[:, None]
        shade = stacked([model.shading for model in models])
        inside, _, ramp, _ = _pieces(place_px, blur_px)
        # Blur the shaded field numerically, from a fine grid that runs well past both ends.
        fine = np.arange(place_px[0] - 6 * blur_px, place_px[-1] + 6 * blur_px, SHADE_STEP_PX)
        field = shade_at(*shade, (fine + lean_px[:, None]) * px_in[:, None], np.array([model.normal for model in models]))
        # A sample that the edge cuts counts in part.
        field *= np.clip((fine - side_px) / SHADE_STEP_PX + 0.5, 0, 1)
        blurred = field @ _blur(len(place_px), float(place_px[1] - place_px[0]), len(fine), blur_px)
        near = np.exp(-np.maximum(place_px - side_px, 0.0) * px_in[:, None] / CONTACT_IN) * (1 - inside)
        _, beyond, _, _ = _pieces(place_px - side_px, blur_px)
        side = np.where(side_px > LEAST_SIDE_PX, (1 - inside) - beyond, 0.0)
        wood = np.broadcast_to(inside, blurred.shape), np.broadcast_to(place_px - ramp, blurred.shape)
        return np.stack([*wood, blurred, blurred * place_px, near, side], axis=1)[:, None]


Beyond = Plain | Half | Flush | Shaded


def edge_designs(models: Sequence[Beyond], place_px: Array, blur_px: float, smear_px: Array, px_in: Array) -> Array:
    """Designs (edges, options, columns, places) of edges with models of one kind, at evenly spaced places (places,).

    smear_px: (edges,) how far the phone moved across each during the exposure: the design's mean over that box; px_in: (edges,).
    """
    kind = type(models[0])
    wide = smear_px >= SMEAR_OF_BLUR * blur_px
    round_px = np.where(wide, blur_px, np.hypot(blur_px, smear_px / np.sqrt(12)))
    if not wide.any() and np.ptp(round_px) == 0:
        return kind.designs(models, place_px, float(round_px[0]), px_in)  # type: ignore[arg-type]
    each = []
    for k, model in enumerate(models):
        count = int(np.ceil(smear_px[k] / blur_px)) + 1 if wide[k] else 1
        moves = smear_px[k] * ((np.arange(count) + 0.5) / count - 0.5)
        boxed = [kind.designs([model], place_px - move, float(round_px[k]), px_in[k : k + 1]) for move in moves]  # type: ignore[list-item]
        each.append(np.mean(boxed, axis=0))
    return np.concatenate(each)


def precisions(models: Sequence[Beyond], levels: Array, px_in: Array, columns: int) -> Array:
    """(edges, channels, columns): 1 / variance that holds coefficients near 0, given light inside and beyond (edges, 2, channels)."""
    result = np.zeros((len(models), levels.shape[2], columns))
    for k, model in enumerate(models):
        for column, share, side, *least in model.limits(float(px_in[k])):
            if column < columns:
                result[k, :, column] = np.maximum(share * (levels[k, side] + LIGHT_FLOOR), least[0] if least else 0.0) ** -2.0
    return result


@lru_cache(maxsize=8)
def _blur(count: int, step_px: float, fine_count: int, blur_px: float) -> Array:
    """(fine, places): rows of light, every SHADE_STEP_PX from 6 blurs before the first place, times it are blurred, at the places."""
    away = np.arange(count) * step_px + 6 * blur_px - np.arange(fine_count)[:, None] * SHADE_STEP_PX
    weight = np.exp(-0.5 * (away / blur_px) ** 2)
    return np.asarray(weight / weight.sum(axis=0))


def _pieces(place_px: Array, blur_px: float) -> tuple[Array, Array, Array, Array]:
    """Blurred 1 before 0, 1 after 0, x after 0, x squared after 0; closed forms."""
    from scipy.special import ndtr

    t = place_px / blur_px
    step = ndtr(t)
    bell = np.exp(-0.5 * t**2) / np.sqrt(2 * np.pi)
    ramp = place_px * step + blur_px * bell
    bend = (place_px**2 + blur_px**2) * step + place_px * blur_px * bell
    return 1 - step, step, ramp, bend
