"""Even, white light, by the cards' paper: how much light of which colour fell where, and the picture as if it had been the same everywhere.

White paper sends back about the same share of every colour, so what a card's margin looks like is the light that falls there. Light
over a top changes slowly: a smooth surface of six terms through all margins says what falls between them. A shadow's edge, glare and
what a lamp does within a few inches stay as they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array
from ..cards.geometry import CARD_HEIGHT_IN, CARD_WIDTH_IN, MARGIN_IN
from ..edges import SRGB_TO_LINEAR, srgb_decode, srgb_encode
from ..plane.camera import Camera
from ..woods.white import PAPER_REFLECTANCE

PAPER_SHARE = PAPER_REFLECTANCE  # what paper's white becomes in the picture
SPOTS = 9  # places along each of a card's sides, in the middle of its margin
BRIGHTEST = 0.5  # of a side's spots, by light: print, dirt and fingers are darker than paper
FULL_CODE, EMPTY_CODE = 250, 30  # a spot outside of these can't be read: burnt out, or black
LEAST_SIDES = 3
# What is supposed of the light before any card is looked at (standard deviations of its logarithm at the distance of the cards): how
# much it may slope, and bend. Cards in a ring can't tell a light that grows toward the middle from one that is even, so that stays small.
SLOPE, SADDLE, BOWL = 0.6, 0.15, 0.06
TINT_SHARE = 0.15  # the same of its colour, as a share of these: most tops are lit by light of one colour
NOISE = 0.03  # of a side's paper: its own whiteness, and the lens's stray light (a guess)
# sRGB's primaries as CIE XYZ against D50, columns R G B (IEC 61966-2-1, adapted as in the ICC's sRGB profile).
SRGB_TO_XYZ_D50 = np.array([[0.4360747, 0.3850649, 0.1430804], [0.2225045, 0.7168786, 0.0606169], [0.0139322, 0.0971045, 0.7141733]])


@dataclass(frozen=True)
class Daylight:
    """The light that falls on the plane: log of what paper there would look like (linear, B G R), relative to PAPER_SHARE."""

    middle_in: Array  # (2,) plane
    reach_in: float  # what the terms' places are divided by
    terms: Array  # (6, 3)
    seen_sides: int  # of the cards, whose paper could be read

    @property
    def is_known(self) -> bool:
        return self.seen_sides >= LEAST_SIDES

    def gain(self, xy_in: Array) -> Array:
        """(..., 3) what linear light of plane points (..., 2) has to be multiplied by, B G R."""
        return np.exp(-(_terms((np.asarray(xy_in, float) - self.middle_in) / self.reach_in) @ self.terms))


def _terms(place: Array) -> Array:
    x, y = place[..., 0], place[..., 1]
    return np.stack([np.ones_like(x), x, y, x * x - y * y, 2 * x * y, x * x + y * y], axis=-1)


def learn_daylight(
    bgr: NDArray[np.uint8], camera: Camera, outlines_in: Sequence[Array], middle_in: Array, to_srgb: Array | None = None
) -> Daylight:
    """From the upright photo and the cards' outlines on the plane, (4, 2) each: top left, top right, bottom right, bottom left.

    to_srgb: (3, 3), as of `colour_matrix`.
    """
    places, light = [], []
    for outline in outlines_in:
        for spots in _margins(np.asarray(outline, float)):
            found = _paper(bgr, camera.px_from_plane(spots))
            if found is not None:
                places.append(spots.mean(axis=0))
                light.append(found)
    if len(places) < LEAST_SIDES:
        return Daylight(middle_in, 1.0, np.zeros((6, 3)), len(places))
    seen = in_srgb(np.array(light), to_srgb)
    away = np.array(places) - middle_in
    reach = float(np.sqrt(np.mean(np.sum(away**2, axis=-1))))
    level = np.log(np.maximum(seen, 1e-4) / PAPER_SHARE)
    green = level[:, 1]
    design = _terms(away / reach)
    wide = np.array([np.inf, SLOPE, SLOPE, SADDLE, SADDLE, BOWL])
    common = _fitted(design, green, wide)
    blue, red = (_fitted(design, level[:, k] - green, TINT_SHARE * wide) for k in (0, 2))
    return Daylight(middle_in, reach, np.stack([common + blue, common, common + red], axis=-1), len(places))


def _margins(outline: Array) -> list[Array]:
    """Of each side of a card: (SPOTS, 2) places in the middle of its white margin."""
    u, v = MARGIN_IN / 2 / CARD_WIDTH_IN, MARGIN_IN / 2 / CARD_HEIGHT_IN
    along = np.linspace(0.12, 0.88, SPOTS)
    sides = [(along, np.full(SPOTS, v)), (along, np.full(SPOTS, 1 - v)), (np.full(SPOTS, u), along), (np.full(SPOTS, 1 - u), along)]
    top_left, top_right, _, bottom_left = outline
    return [top_left + x[:, None] * (top_right - top_left) + y[:, None] * (bottom_left - top_left) for x, y in sides]


def _paper(bgr: NDArray[np.uint8], px: Array) -> Array | None:
    """(3,) linear light of a side's paper, B G R; None where too little of it can be read."""

    height, width = bgr.shape[:2]
    at = np.round(px).astype(int)
    inside = np.all((at >= 1) & (at < np.array([width, height]) - 1), axis=-1)
    if np.count_nonzero(inside) < SPOTS // 2:
        return None
    codes = np.array([bgr[v - 1 : v + 2, u - 1 : u + 2].reshape(-1, 3).mean(axis=0) for u, v in at[inside]])
    bright = codes[codes.sum(axis=1) >= np.quantile(codes.sum(axis=1), BRIGHTEST)]
    code = np.median(bright, axis=0)
    if code.max() > FULL_CODE or code.min() < EMPTY_CODE:
        return None
    return np.asarray(srgb_decode(code / 255))


def _fitted(design: Array, level: Array, wide: Array) -> Array:
    """Ridge regression with the terms' priors, made robust: a side in shadow or under a finger counts for little."""
    weight: Array = np.ones(len(level))
    found: Array = np.zeros(design.shape[1])
    for _ in range(8):
        rows = design * weight[:, None]
        found = np.linalg.solve(rows.T @ design + np.diag((NOISE / wide) ** 2), rows.T @ level)
        weight = 1 / np.maximum(1.0, np.abs(level - design @ found) / (2 * NOISE))
    return found


def in_srgb(light: Array, to_srgb: Array | None) -> Array:
    """Linear light (..., 3), B G R, as sRGB's primaries make it."""
    return light if to_srgb is None else light[..., ::-1] @ to_srgb.T[:, ::-1]


def colour_matrix(icc_profile: bytes | None) -> Array | None:
    """(3, 3) from linear light in a photo's own colour space (R G B) into sRGB's, by its ICC profile; None where it is sRGB or unknown.

    Phones' wide gamut (Display P3) has sRGB's tone curve, so only the primaries differ.
    """
    if not icc_profile:
        return None
    from io import BytesIO

    from PIL import ImageCms

    try:
        profile = ImageCms.ImageCmsProfile(BytesIO(icc_profile)).profile
        columns = [getattr(profile, f"{name}_colorant") for name in ("red", "green", "blue")]
    except (ImageCms.PyCMSError, OSError, AttributeError):
        return None
    if any(column is None for column in columns):
        return None
    primaries = np.array([column[0] for column in columns], float).T
    matrix = np.linalg.solve(SRGB_TO_XYZ_D50, primaries)
    return None if np.abs(matrix - np.eye(3)).max() < 0.01 else matrix


def lit_evenly(picture: NDArray[np.uint8], gain_grid: Array, to_srgb: Array | None = None) -> NDArray[np.uint8]:
    """The picture, (h, w, 3) B G R codes, in even white light.

    gain_grid: (rows, columns, 3) gains on an even grid over the picture, its corners on the picture's corner pixels' centres.
    """
    import cv2

    height, width = picture.shape[:2]
    rows, columns = gain_grid.shape[:2]
    # Places of the picture's pixels in the grid.
    onto = np.array([[(columns - 1) / max(width - 1, 1), 0, 0], [0, (rows - 1) / max(height - 1, 1), 0]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    done = np.empty_like(picture)
    for top in range(0, height, 256):
        band = picture[top : top + 256]
        onto[1, 2] = top * onto[1, 1]
        gain = cv2.warpAffine(gain_grid.astype(np.float32), onto, (width, len(band)), flags=flags, borderMode=cv2.BORDER_REPLICATE)
        light = in_srgb(SRGB_TO_LINEAR[band], to_srgb) * gain
        done[top : top + 256] = _CODES[np.clip(light * (len(_CODES) - 1), 0, len(_CODES) - 1).astype(np.uint16)]
    return done


def _codes() -> NDArray[np.uint8]:

    return np.round(255 * srgb_encode(np.arange(16384) / 16383)).astype(np.uint8)


_CODES = _codes()
