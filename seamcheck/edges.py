"""Sampling the photo in linear light: strips of it along a straight line on the plane."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

from .basis.frames import Array, right_of
from .plane.camera import Camera

Image = NDArray[np.float32]


def srgb_decode(code: Array) -> Array:
    """Linear light 0..1 of sRGB code values 0..1 (IEC 61966-2-1)."""
    code = np.asarray(code, float)
    return np.where(code <= 0.04045, code / 12.92, ((np.maximum(code, 0.04045) + 0.055) / 1.055) ** 2.4)


def srgb_encode(light: Array) -> Array:
    """sRGB code values 0..1 of linear light 0..1 (IEC 61966-2-1); negative light stays linear."""
    light = np.asarray(light, float)
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * np.maximum(light, 0.0031308) ** (1 / 2.4) - 0.055)


# Weights of B, G, R codes in a JPEG's luma (ITU-R BT.601, as in JFIF): what a photo keeps at full resolution, and what phones sharpen.
LUMA_BGR = np.array([0.114, 0.587, 0.299])

# Dark noise and quantisation of an 8-bit photo in linear light: keeps logarithms and weights finite in black wood.
LIGHT_FLOOR = 0.004


def tone_of(light: Array) -> Array:
    """Log of linear light, finite in the dark: the same step for the same share of light."""
    return np.log(np.maximum(light, LIGHT_FLOOR))


SRGB_TO_LINEAR = srgb_decode(np.arange(256) / 255).astype(np.float32)


@dataclass(frozen=True)
class LinearPatch:
    """A rectangle of the photo, (h, w, 3), colours in the order B, G, R, looked at in linear light 0..1.

    Held as the photo's own codes and linearised where it is looked at: a copy of it all in linear light takes ten times as long.
    """

    picture: NDArray[np.uint8] | Image  # sRGB codes, or (float32) linear light
    left_px: int
    top_px: int

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        return self.picture.shape[1], self.picture.shape[0]

    @staticmethod
    def cut(bgr: NDArray[np.uint8], low_px: Array, high_px: Array) -> LinearPatch:
        """The part of the upright photo (h, w, 3) between two corners (u, v), clipped to the frame."""
        height, width = bgr.shape[:2]
        left, top = np.clip(np.floor(low_px).astype(int), 0, [width - 1, height - 1])
        right, bottom = np.clip(np.ceil(high_px).astype(int) + 1, [left + 1, top + 1], [width, height])
        return LinearPatch(bgr[top:bottom, left:right], int(left), int(top))

    def at_px(self, px: Array) -> Image:
        """Linear light (..., 3) at photo pixels (..., 2), bilinear; NaN outside the patch."""
        import cv2

        shape = px.shape[:-1]
        width, height = self.size_px
        u, v = px[..., 0] - self.left_px, px[..., 1] - self.top_px
        # Only what lies about the places is linearised.
        left, right = np.clip([np.floor(u.min()), np.ceil(u.max()) + 1], [0, 1], [width - 1, width]).astype(int)
        top, bottom = np.clip([np.floor(v.min()), np.ceil(v.max()) + 1], [0, 1], [height - 1, height]).astype(int)
        near = _linear(self.picture[top:bottom, left:right])
        u = (u - left).astype(np.float32).reshape(-1, shape[-1] if shape else 1)
        v = (v - top).astype(np.float32).reshape(u.shape)
        out = cv2.remap(near, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=(np.nan,) * 3)
        return out.reshape(*shape, 3)

    def pixels(self, row: NDArray[np.intp], column: NDArray[np.intp]) -> Image:
        """Linear light (n, 3) of the patch's own pixels."""
        picked = self.picture[row, column]
        return SRGB_TO_LINEAR[picked] if picked.dtype == np.uint8 else picked.astype(np.float32, copy=False)


def _linear(picture: NDArray[np.uint8] | Image) -> Image:
    import cv2

    return cv2.LUT(picture, SRGB_TO_LINEAR) if picture.dtype == np.uint8 else picture.astype(np.float32, copy=False)


@dataclass(frozen=True)
class Sharpening:
    """What a phone does to a finished picture's luma: code + strength (code - code blurred by radius_px)."""

    strength: float
    radius_px: float

    def luma_undone(self, light: Array, step_px: float) -> Array:
        """Linear light (..., n) of the luma of profiles (..., n, 3) across a straight edge, with the sharpening undone.

        A JPEG keeps colour at half the luma's resolution: only the luma is sharp enough to place an edge by.
        """
        return srgb_decode(self.code_undone(srgb_encode(light) @ LUMA_BGR, step_px))

    def undone(self, light: Array, step_px: float) -> Array:
        """Profiles (..., n, 3) of linear light across a straight edge, sampled every step_px, with the sharpening undone.

        Along a straight edge sharpening acts across the edge alone, so it can be undone profile by profile.
        """
        if self.strength <= 0:
            return light
        code = srgb_encode(light)
        luma = code @ LUMA_BGR
        return srgb_decode(code + (self.code_undone(luma, step_px) - luma)[..., None])

    def code_undone(self, luma: Array, step_px: float) -> Array:
        """Luma codes (..., n) across a straight edge, sampled every step_px, as they were before the sharpening."""
        if self.strength <= 0:
            return luma
        return luma @ _undoing(luma.shape[-1], step_px, self.strength, self.radius_px).T


NO_SHARPENING = Sharpening(0.0, 1.0)


@lru_cache(maxsize=64)
def _undoing(samples: int, step_px: float, strength: float, radius_px: float) -> Array:
    """(n, n) inverse of an unsharp mask across n samples."""
    lag = np.arange(samples) * step_px
    blur = np.exp(-0.5 * ((lag[:, None] - lag[None, :]) / radius_px) ** 2)
    blur /= blur.sum(axis=1, keepdims=True)
    return np.linalg.inv((1 + strength) * np.eye(samples) - strength * blur)


@dataclass(frozen=True)
class Strip:
    """The photo along a straight line on the plane: rows along it, columns across it."""

    light: Image  # (n_along, n_across, 3), linear, B G R; NaN outside the photo
    along_in: Array  # (n_along,) from the line's first point
    across_in: Array  # (n_across,) positive to the right of the line's direction


def sample_strip(
    patch: LinearPatch,
    camera: Camera,
    from_in: Array,
    to_in: Array,
    z_in: float,
    reach_in: float | tuple[float, float],
    step_in: float,
    step_across_in: float | None = None,
) -> Strip:
    """The strip from one plane point to another, at height z_in, reach_in to either side, or from a place across it to another."""
    from_in, to_in = np.asarray(from_in, float), np.asarray(to_in, float)
    length = float(np.linalg.norm(to_in - from_in))
    direction = (to_in - from_in) / length
    n_along = max(2, round(length / step_in) + 1)
    across_step = step_across_in or step_in
    low_in, high_in = reach_in if isinstance(reach_in, tuple) else (-reach_in, reach_in)
    along = np.linspace(0, length, n_along)
    across = np.arange(min(-1, floor(low_in / across_step + 1e-9)), max(1, ceil(high_in / across_step - 1e-9)) + 1) * across_step
    # The lens bends a strip so gently that a few nodes say where all its places lie in the photo, to 1/1000 px.
    to_along, to_across = _between_nodes(n_along), _between_nodes(len(across))
    xy = from_in + (_nodes(0, length)[:, None, None] * direction + _nodes(across[0], across[-1])[None, :, None] * right_of(direction))
    nodes_px = camera.px_from_plane(xy, z_in)
    px = np.stack([to_along @ nodes_px[..., k] @ to_across.T for k in (0, 1)], axis=-1)
    return Strip(patch.at_px(px), along, across)


NODES = 8


def _nodes(low: float, high: float) -> Array:
    """(NODES,) Chebyshev points of an interval, at which a polynomial says most of what lies between."""
    return (low + high) / 2 + (high - low) / 2 * _chebyshev()


def _chebyshev() -> Array:
    return np.cos(np.pi * (np.arange(NODES) + 0.5) / NODES)


@lru_cache(maxsize=512)
def _between_nodes(count: int) -> Array:
    """(count, NODES): values at `count` evenly spread places of an interval, ends included, from those at its nodes.

    By the Chebyshev polynomials, which are orthogonal on their own nodes.
    """
    order = np.arange(NODES)
    at_nodes = np.cos(order[:, None] * np.arccos(_chebyshev())) * np.where(order[:, None] == 0, 1, 2) / NODES
    return np.cos(np.arccos(np.linspace(-1, 1, count))[:, None] * order) @ at_nodes
