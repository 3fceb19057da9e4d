"""The shade that a raised rose throws on the field beside its edges, learnt from the photo.

A lobe's face stands one veneer thickness h above the field. A point of the field at distance x from a straight edge of
outward normal n keeps of the open field's light

    A (1 + x / sqrt(x2 + h2)) / 2  +  sum over lamps of q Phi((x - s . n) / sigma),

where the first term is the sky's light past a wall (its cosine-weighted view factor, closed form) and each lamp casts the
edge's shadow by the vector s, softened by the lamp's size to sigma. Two lamps may stand anywhere; a third hangs overhead (s = 0), as a
ceiling's light does: what it throws lies under the edge, as far as the lamp is broad. All edges of a rose share A, q, s and sigma: those
that stand out clearly from the field teach (`shade_fit`) what the shadow does to those that don't.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array


@dataclass(frozen=True)
class Shading:
    """Shade beside the edges of one rose. `lamps` is (lamps, 4): share q, s_x, s_y (inches, plane frame), sigma (inches)."""

    sky: float  # A
    lamps: Array
    height_in: float
    variants: tuple[Shading, ...] = ()  # each one standard uncertainty away along one independent direction
    misfit: float = 0.0  # what it leaves of the light beside the edges that taught it, root mean square, in shares of the open field's

    def at(self, x_in: Array, normal: Array) -> Array:
        """Share of the open field's light at distances x_in (n,) on the field from an edge with outward normal (2,)."""
        return shade_at(np.array(self.sky), self.lamps, np.array(self.height_in), x_in[None], normal[None])[0]


def stacked(shadings: Sequence[Shading]) -> tuple[Array, Array, Array]:
    """Sky (n, 1), lamps (lamps, 4, n, 1) and height (n, 1) of several shades, as `shade_at` takes them."""
    sky, height = (np.array([getattr(one, name) for one in shadings])[:, None] for name in ("sky", "height_in"))
    return sky, np.moveaxis(np.array([one.lamps for one in shadings]), 0, -1)[..., None], height


def shade_at(sky: Array, lamps: Array, height_in: Array, x_in: Array, normal: Array) -> Array:
    """(..., edges, n): shade at distances x_in (edges, n) from edges with outward normals (edges, 2).

    One sky (), lamps (lamps, 4) and height () for all edges, or each its own: (edges, 1), (lamps, 4, edges, 1), (edges, 1); or several of
    them for all edges: (..., 1, 1).
    """
    from scipy.special import ndtr

    x = np.maximum(x_in, 0.0)
    result = sky * 0.5 * (1 + x / np.sqrt(x * x + height_in**2))
    for share, sx, sy, sigma in lamps:
        result = result + share * ndtr((x - normal[:, :1] * sx - normal[:, 1:] * sy) / sigma)
    return np.asarray(result)
