"""The top straight from above (orthographic), at full resolution: lens and lean undone by the camera that the cards gave.

View frame: pixels, x right, y down, (0, 0) the centre of the top left pixel; its middle shows `centre_in`, its up the bearing `up`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array, right_of, unit_of_bearing
from ..plane.camera import Camera

# The camera's mapping is smooth: exact on a grid this coarse (pixels of the view), linear between; at phones' distortions within .002 px.
GRID_PX = 16
BAND_ROWS = 512  # of the view made at once, so that a large one needs little memory


@dataclass(frozen=True)
class View:
    """A square piece of the plane z = z_in."""

    centre_in: Array  # (2,) plane
    up: float  # rad, the plane's bearing that points up in the view
    half_in: float  # from the middle to a side
    px_per_in: float
    z_in: float = 0.0

    @property
    def side_px(self) -> int:
        return 2 * round(self.half_in * self.px_per_in) + 1

    def px_of(self, xy_in: Array) -> Array:
        """Pixels (..., 2) of plane points (..., 2)."""
        away = np.asarray(xy_in, float) - self.centre_in
        up = unit_of_bearing(self.up)
        middle = (self.side_px - 1) / 2
        return np.stack([middle + away @ right_of(up) * self.px_per_in, middle - away @ up * self.px_per_in], axis=-1)

    def in_of(self, px: Array) -> Array:
        """Plane points (..., 2) of pixels (..., 2)."""
        away = (np.asarray(px, float) - (self.side_px - 1) / 2) / self.px_per_in
        up = unit_of_bearing(self.up)
        return self.centre_in + away[..., :1] * right_of(up) - away[..., 1:] * up


def straightened(bgr: NDArray[np.uint8], camera: Camera, view: View) -> NDArray[np.uint8]:
    """(side, side, 3) the view, in the photo's own code values; black where the photo doesn't reach.

    The photo is read by Lanczos' kernel, eight pixels wide, which keeps what is sharp.
    """
    import cv2

    side = view.side_px
    picture = np.empty((side, side, 3), np.uint8)
    columns = np.arange(0, side + GRID_PX, GRID_PX, dtype=float)
    for top in range(0, side, BAND_ROWS):
        rows = min(BAND_ROWS, side - top)
        grid_rows = top + np.arange(0, rows + GRID_PX, GRID_PX, dtype=float)
        px = camera.px_from_plane(view.in_of(np.stack(np.meshgrid(columns, grid_rows), axis=-1)), view.z_in)
        onto_grid = np.array([[1 / GRID_PX, 0, 0], [0, 1 / GRID_PX, 0]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        u, v = (
            cv2.warpAffine(px[..., k].astype(np.float32), onto_grid, (side, rows), flags=flags, borderMode=cv2.BORDER_REPLICATE)
            for k in (0, 1)
        )
        band = cv2.remap(bgr, u, v, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_CONSTANT, borderValue=(0, 0, 0))
        picture[top : top + rows] = band
    return picture
