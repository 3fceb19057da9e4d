"""How light and of which colour the open field round a raised rose is: a slit between two lobes shows it at its bottom, in shade."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, right_of, unit_of_bearing
from ..basis.order import median
from ..edges import LUMA_BGR, LinearPatch, srgb_decode, srgb_encode
from ..kite import FoundRose
from ..plane.camera import Camera

# The field is looked at on rays round the centre, from and to these shares of the rose's reach ...
FROM_SHARE, TO_SHARE, RADII, BEARINGS = 0.3, 1.2, 24, 96
# ... outside the lobes and the cards by so much (inches): the lobes' shadows and the rough places' errors end there.
CLEAR_IN = 0.15
# Fewer places say nothing.
FEWEST = 60


@dataclass(frozen=True, eq=False)
class FieldTone:
    """What the open field round a rose usually looks like."""

    light: float  # linear 0..1, of its luma
    hue: Array  # (2,): code of blue and of red less luma, over luma


def field_tone(patch: LinearPatch, camera: Camera, rose: FoundRose, cards: Sequence[Array]) -> FieldTone | None:
    """The open field's usual light and colour round a rose; None where too little of it shows.

    cards: their (4, 2) outlines on the plane. Tape on the field is outvoted.
    """
    if rose.centre_in is None:
        return None
    reach = max(float(np.linalg.norm(lobe.kite.tip_in - rose.centre_in)) for lobe in rose.lobes)
    radii = np.linspace(FROM_SHARE * reach, TO_SHARE * reach, RADII)
    bearings = np.arange(BEARINGS) * (2 * np.pi / BEARINGS)
    places = rose.centre_in + (radii[:, None, None] * unit_of_bearing(bearings)).reshape(-1, 2)
    for polygon in [*(lobe.kite.corners_in for lobe in rose.lobes), *cards]:
        places = places[_outside(np.asarray(polygon), places) > CLEAR_IN]
    column, row = np.round(camera.px_from_plane(places) - [patch.left_px, patch.top_px]).astype(int).T
    width, height = patch.size_px
    shown = (column >= 0) & (row >= 0) & (column < width) & (row < height)
    if shown.sum() < FEWEST:
        return None
    code = srgb_encode(patch.pixels(row[shown], column[shown]))
    luma = code @ LUMA_BGR
    return FieldTone(float(srgb_decode(median(luma))), median((code[:, [0, 2]] - luma[:, None]) / np.maximum(luma, 0.02)[:, None], axis=0))


def _outside(polygon: Array, places: Array) -> Array:
    """(n,): how far places (n, 2) lie outside a convex polygon (k, 2), at least; negative inside."""
    along = np.roll(polygon, -1, axis=0) - polygon
    outward = right_of(along / np.linalg.norm(along, axis=1, keepdims=True))
    inside = np.sum((polygon.mean(axis=0) - polygon) * outward, axis=1)
    outward = np.where(inside[:, None] > 0, -outward, outward)
    return np.asarray(np.max(np.sum((places[:, None] - polygon) * outward, axis=2), axis=1))
