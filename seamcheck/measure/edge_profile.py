"""What the photo shows across a straight edge: linear models of a profile, for every kind of edge.

A profile runs from the wood of a lobe (negative places) across its edge (0) to what lies beyond. Each model is a design
matrix (..., samples, columns) for places (..., samples): the profile is a linear combination of its columns, blurred by the
photo's point spread (a Gaussian). The first column is the wood's level, the third the level beyond.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..basis.frames import Array
from ..edges import LIGHT_FLOOR
from .shading import Shading

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

    def designs(self, place_px: Array, blur_px: float, px_in: float) -> list[Array]:
        inside, beyond, ramp, bend = _pieces(place_px, blur_px)
        return [np.stack([inside, place_px - ramp, beyond, ramp, bend], axis=-1)]


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

    def designs(self, place_px: Array, blur_px: float, px_in: float) -> list[Array]:
        result = []
        for width in OWN_LINES_IN:
            # Glue sends back next to no light: the line is a slit between the halves. (A free level would be a free shift of the step.)
            inside, _, ramp_in, _ = _pieces(place_px + width / px_in / 2, blur_px)
            _, beyond, ramp, _ = _pieces(place_px - width / px_in / 2, blur_px)
            result.append(np.stack([inside, place_px - ramp_in, beyond, ramp], axis=-1))
        return result


@dataclass(frozen=True)
class Flush:
    """The field at the same height (inlaid), with a glue line between, of any of GLUE_WIDTHS_IN.

    `usual_in`: (mean, standard deviation) of this rose's glue lines, where that is known.
    """

    usual_in: tuple[float, float] | None = None

    def surprise(self) -> Array:
        """(widths,): minus twice the log prior of each width, the least 0."""
        if self.usual_in is None:
            return np.zeros(len(GLUE_WIDTHS_IN))
        mean, spread = self.usual_in
        away = ((np.array(GLUE_WIDTHS_IN) - mean) / spread) ** 2
        return away - away.min()

    def alternatives(self) -> list[Beyond]:
        return []

    def limits(self, px_in: float) -> list[Limit]:
        return [(1, FIGURE_SLOPE, 0), (3, FIGURE_SLOPE, 1), (4, GLUE_LIGHT, 1, GLUE_OWN_LIGHT)]

    def reach_px(self, px_in: float) -> float:
        return NEAR_PX + GLUE_WIDTHS_IN[-1] / px_in

    def designs(self, place_px: Array, blur_px: float, px_in: float) -> list[Array]:
        inside, beyond, ramp, _ = _pieces(place_px, blur_px)
        result = []
        for width in GLUE_WIDTHS_IN:
            if width == 0:
                result.append(np.stack([inside, place_px - ramp, beyond, ramp], axis=-1))
                continue
            _, field, field_ramp, _ = _pieces(place_px - width / px_in, blur_px)
            result.append(np.stack([inside, place_px - ramp, field, field_ramp, beyond - field], axis=-1))
        return result


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
        if self.u_lean_in:
            result.append(replace(self, lean_in=self.lean_in + self.u_lean_in))
        return result

    def limits(self, px_in: float) -> list[Limit]:
        return [(1, FIGURE_SLOPE, 0), (3, FIELD_SLOPE / self.reach_px(px_in), 1), (4, SHADE_DOUBT, 1)]

    def reach_px(self, px_in: float) -> float:
        return min(SHADE_REACH_IN / px_in, SHADE_REACH_PX)

    def designs(self, place_px: Array, blur_px: float, px_in: float) -> list[Array]:
        inside, _, ramp, _ = _pieces(place_px, blur_px)
        # Blur the shaded field numerically on a fine grid that runs well past both ends.
        fine = np.arange(place_px.min() - 5, place_px.max() + 5, 0.1)
        side_px = max(0.0, -self.lean_in / px_in)
        # A sample that the edge cuts counts in part, whichever side of it its middle lies on.
        field = self.shading.at(np.maximum(fine, side_px) * px_in + self.lean_in, self.normal) * np.clip((fine - side_px) / 0.1 + 0.5, 0, 1)
        kernel = np.exp(-0.5 * (np.arange(-60, 61) * 0.1 / blur_px) ** 2)
        blurred = np.interp(place_px, fine, np.convolve(field, kernel / kernel.sum(), mode="same"))
        near = np.exp(-np.maximum(place_px - side_px, 0.0) * px_in / CONTACT_IN)
        columns = [inside, place_px - ramp, blurred, blurred * place_px, near * (1 - inside)]
        if side_px > 0.3:
            _, beyond, _, _ = _pieces(place_px - side_px, blur_px)
            columns.append((1 - inside) - beyond)
        return [np.stack(columns, axis=-1)]


Beyond = Plain | Half | Flush | Shaded


def smeared_designs(beyond: Beyond, place_px: Array, blur_px: float, smear_px: float, px_in: float) -> list[Array]:
    """A model's designs where the phone moved smear_px across the edge during the exposure: their mean over that box."""
    if smear_px < SMEAR_OF_BLUR * blur_px:
        return beyond.designs(place_px, float(np.hypot(blur_px, smear_px / np.sqrt(12))), px_in)
    count = int(np.ceil(smear_px / blur_px)) + 1
    moves = smear_px * ((np.arange(count) + 0.5) / count - 0.5)
    each = [beyond.designs(place_px - move, blur_px, px_in) for move in moves]
    return [np.mean(same, axis=0) for same in zip(*each, strict=True)]


def ridge_rows(limits: Sequence[Limit], levels: Sequence[float], columns: int) -> Array:
    """(limits, columns): rows that hold limited coefficients near 0, in units of their standard deviation."""
    held = [limit for limit in limits if limit[0] < columns]
    rows = np.zeros((len(held), columns))
    for row, (column, share, side, *least) in zip(rows, held, strict=True):
        row[column] = 1 / max(share * (float(levels[side]) + LIGHT_FLOOR), *least, 0.0)
    return rows


def _pieces(place_px: Array, blur_px: float) -> tuple[Array, Array, Array, Array]:
    """Blurred 1 before 0, 1 after 0, x after 0, x squared after 0; closed forms."""
    from scipy.special import ndtr

    t = place_px / blur_px
    step = ndtr(t)
    bell = np.exp(-0.5 * t**2) / np.sqrt(2 * np.pi)
    ramp = place_px * step + blur_px * bell
    bend = (place_px**2 + blur_px**2) * step + place_px * blur_px * bell
    return 1 - step, step, ramp, bend
