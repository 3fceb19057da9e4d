"""The light that reaches the field beside a raised rose: of the whole sky, and of lamps with some size."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

Array = np.ndarray
PLAN_PPI = 220  # of the plan that shade is worked out on


@dataclass(frozen=True)
class Lamp:
    bearing: float  # where it stands
    height: float  # rad above the top
    size: float  # rad, radius
    share: float  # of all light on the open top


@dataclass(frozen=True)
class Lighting:
    lamps: tuple[Lamp, ...]
    slope: tuple[float, float] = (0.0, 0.0)  # share by which light grows over an inch, in x and y
    bounce: float = 0.25  # how much of the lost light the walls and the field throw back

    @property
    def sky(self) -> float:
        return 1.0 - sum(lamp.share for lamp in self.lamps)


def sky_lost(cover: Array, height_in: float) -> Array:
    """(h, w) share of an even sky's light that a slab hides from the plane below its upper face.

    A piece dA of the face at height t, a distance d aside, hides t^2 / (pi (d^2 + t^2)^2) dA of it (the disc element's view
    factor): `cover` convolved with that.
    """
    reach = int(8 * height_in * PLAN_PPI) + 1
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1] / PLAN_PPI
    kernel = height_in**2 / (np.pi * (x * x + y * y + height_in**2) ** 2)
    return cv2.filter2D(cover, cv2.CV_32F, (kernel / kernel.sum()).astype(np.float32), borderType=cv2.BORDER_REPLICATE)


def lamp_lost(cover: Array, height_in: float, lamp: Lamp) -> Array:
    """(h, w) share of a lamp's disc that a slab hides, seen from the plane; the plan's rows run down (-y)."""
    total = np.zeros_like(cover)
    spots = [(0.0, 0.0)] + [(0.8 * np.cos(a), 0.8 * np.sin(a)) for a in np.arange(6) * np.pi / 3]
    for aside, up in spots:
        elevation = lamp.height + lamp.size * up
        bearing = lamp.bearing + lamp.size * aside / np.cos(elevation)
        reach_px = height_in / np.tan(elevation) * PLAN_PPI
        hidden = cover.copy()
        steps = max(2, int(np.ceil(reach_px / 0.8)))
        for step in range(1, steps + 1):
            # What stands `step` toward the lamp hides it.
            dx, dy = reach_px * step / steps * np.sin(bearing), -reach_px * step / steps * np.cos(bearing)
            moved = cv2.warpAffine(cover, np.array([[1, 0, -dx], [0, 1, -dy]], np.float32), cover.shape[::-1])
            np.maximum(hidden, moved, out=hidden)
        total += hidden / len(spots)
    return total


def light_below(cover: Array, height_in: float, lighting: Lighting) -> Array:
    """(h, w) light on the field as a share of that on the open top."""
    lost = lighting.sky * sky_lost(cover, height_in)
    for lamp in lighting.lamps:
        lost += lamp.share * lamp_lost(cover, height_in, lamp)
    return 1 - lost * (1 - lighting.bounce)
