"""The top seen straight from above: a flattened copy to search in, never to measure on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array
from .camera import Camera

# The camera's mapping is smooth: it is computed on a grid this coarse (pixels of the flattened
# picture) and interpolated between; at phone distortions the error stays under a tenth of a pixel.
MAP_GRID_PX = 16

# Points per side of the photo when its outline is carried to the plane.
SIDE_POINTS = 12


@dataclass(frozen=True)
class FlatView:
    """A piece of the plane z = z_in, flattened: columns grow with +x, rows against +y."""

    picture: NDArray[np.uint8]  # (h, w, 3) B G R, the photo's own code values; 0 outside the photo
    seen: NDArray[np.bool_]  # (h, w) false where the photo doesn't reach
    upper_left_in: Array  # (2,) plane, at the centre of pixel (0, 0)
    px_per_in: float
    z_in: float

    def px_of(self, xy_in: Array) -> Array:
        """Column and row (..., 2) of plane points (..., 2)."""
        return (np.asarray(xy_in, float) - self.upper_left_in) * self.px_per_in * [1.0, -1.0]

    def in_of(self, px: Array) -> Array:
        """Plane points (..., 2) of columns and rows (..., 2)."""
        return self.upper_left_in + np.asarray(px, float) * [1.0, -1.0] / self.px_per_in


def outline_of_photo(camera: Camera, size_px: tuple[int, int], z_in: float) -> Array:
    """(4 SIDE_POINTS, 2): the photo's rim (width, height) carried to the plane, in order round it."""
    right, bottom = size_px[0] - 1, size_px[1] - 1
    corners = np.array([[0, 0], [right, 0], [right, bottom], [0, bottom]], float)
    step = np.arange(SIDE_POINTS)[None, :, None] / SIDE_POINTS
    rim = corners[:, None] + step * (np.roll(corners, -1, axis=0) - corners)[:, None]
    return camera.plane_from_px(rim.reshape(-1, 2), z_in)


def seen_box(camera: Camera, size_px: tuple[int, int], z_in: float, limit_in: float) -> tuple[Array, Array]:
    """Lower left and upper right corner of the plane's box that the photo (width, height) shows.

    Cut to `limit_in` from the point in the middle of the photo, so that a tilted camera's far
    distance doesn't make the box endless.
    """
    rim = outline_of_photo(camera, size_px, z_in)
    middle = camera.plane_from_px((np.array(size_px, float) - 1) / 2, z_in)
    rim = np.clip(rim, middle - limit_in, middle + limit_in)
    return rim.min(axis=0), rim.max(axis=0)


def reduced(bgr: NDArray[np.uint8], factor: int) -> NDArray[np.uint8]:
    """A copy `factor` times smaller by area averaging; pixel (u, v) holds the photo's (factor (u + 1/2) - 1/2, ...)."""
    import cv2

    if factor <= 1:
        return bgr
    height, width = bgr.shape[0] // factor, bgr.shape[1] // factor
    return cv2.resize(bgr[: height * factor, : width * factor], (width, height), interpolation=cv2.INTER_AREA)


def flatten(
    bgr: NDArray[np.uint8], camera: Camera, low_in: Array, high_in: Array, z_in: float, px_per_in: float, reduction: int = 1
) -> FlatView:
    """The box from low_in to high_in (plane corners) seen from above, bilinear.

    `bgr` may be a `reduced` copy of the photo that `camera` belongs to; `reduction` is then its
    factor. Reduce first when flattening makes the picture much smaller, or sampling will alias.
    """
    import cv2

    low_in, high_in = np.asarray(low_in, float), np.asarray(high_in, float)
    width, height = (max(2, int(np.ceil(side * px_per_in)) + 1) for side in high_in - low_in)
    upper_left = np.array([low_in[0], high_in[1]])
    columns = np.arange(0, width + MAP_GRID_PX, MAP_GRID_PX, dtype=float)
    rows = np.arange(0, height + MAP_GRID_PX, MAP_GRID_PX, dtype=float)
    grid = np.stack(np.meshgrid(columns, rows), axis=-1)
    px = camera.px_from_plane(upper_left + grid * [1.0, -1.0] / px_per_in, z_in)
    px = (px + 0.5) / reduction - 0.5
    to_grid = np.array([[1 / MAP_GRID_PX, 0, 0], [0, 1 / MAP_GRID_PX, 0]])

    def spread(coarse: Array) -> NDArray[np.float32]:
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return cv2.warpAffine(coarse.astype(np.float32), to_grid, (width, height), flags=flags, borderMode=cv2.BORDER_REPLICATE)

    u, v = spread(px[..., 0]), spread(px[..., 1])
    picture = cv2.remap(bgr, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=(0, 0, 0))
    # The lens model folds back far outside the photo, so what is seen is told by the photo's outline as well.
    size = bgr.shape[1] * reduction, bgr.shape[0] * reduction
    outline = (outline_of_photo(camera, size, z_in) - upper_left) * px_per_in * [1.0, -1.0]
    inside = cv2.fillPoly(np.zeros((height, width), np.uint8), [np.round(outline).astype(np.int32)], 1)
    seen = (inside > 0) & (u >= 0) & (v >= 0) & (u <= bgr.shape[1] - 1) & (v <= bgr.shape[0] - 1)
    return FlatView(picture, seen, upper_left, float(px_per_in), float(z_in))
