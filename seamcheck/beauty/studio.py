"""One photo of a top, ready to be shown: what was found in it, the camera over it, and its light."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array, bearing_of, wrap_angle
from ..cards.detect import find_cards
from ..cards.print_check import print_scale
from ..photo import Photo
from ..plane.camera import Camera
from ..plane.rectify import outline_of_photo
from ..plane.solve import solve_plane
from ..result import Inspection
from .daylight import Daylight, learn_daylight, lit_evenly
from .straight import View, straightened

LEAST_AROUND_IN = 0.06  # of field beyond the points, even where a card reaches into it
CLEAR_IN = 0.02  # kept from a card's edge: its cut and its shadow
MOST_REACHES = 1.9  # the disc reaches no farther than so many times the rose
GAIN_GRID = 65  # places along a side at which the light is worked out


@dataclass(frozen=True)
class Studio:
    """What every picture of this photo is made with. Frame: the plane."""

    bgr: NDArray[np.uint8]  # (h, w, 3) upright
    camera: Camera
    daylight: Daylight
    to_srgb: Array | None
    centre_in: Array  # (2,) of the rose
    up: float  # rad, the plane's bearing of the point that stands at 12 o'clock
    reach_in: float  # of the farthest point
    free_in: float  # from the centre to the nearest card, or to the photo's edge
    px_per_in: float  # of the photo at the centre: its full resolution
    around_in: float | None = None  # how far beyond the points is to be shown; where None, as far as there is room

    @property
    def disc_in(self) -> float:
        """Radius of the piece of top that is shown round the rose."""
        wanted = self.free_in - CLEAR_IN if self.around_in is None else self.reach_in + self.around_in
        return float(np.clip(wanted, self.reach_in + LEAST_AROUND_IN, MOST_REACHES * self.reach_in))

    @property
    def is_clear(self) -> bool:
        """Whether no card and no edge of the photo reaches into it."""
        return self.free_in >= self.disc_in

    @property
    def room_in(self) -> float | None:
        """How far beyond the points nothing reaches in; None where even the least that is shown takes more."""
        room = self.free_in - self.reach_in
        return room if room >= LEAST_AROUND_IN else None

    def bearing_in_picture(self, place_in: Array) -> float:
        """rad, clockwise from the picture's up: where a place (2,) of the plane stands about the rose's middle."""
        return float(bearing_of(place_in - self.centre_in)) - self.up

    @cached_property
    def whole(self) -> View:
        """The disc's square, at the photo's own resolution."""
        return View(self.centre_in, self.up, self.disc_in, self.px_per_in)

    def shown(self, view: View) -> NDArray[np.uint8]:
        """(side, side, 3) B G R: the view, evenly lit and in its own colours as far as the cards' paper tells them."""
        picture = straightened(self.bgr, self.camera, view)
        if not self.daylight.is_known:
            return picture
        at = np.linspace(0.0, view.side_px - 1.0, GAIN_GRID)
        return lit_evenly(picture, self.daylight.gain(view.in_of(np.stack(np.meshgrid(at, at), axis=-1))), self.to_srgb)


def studio(
    photo: Photo,
    inspection: Inspection,
    bars_in: tuple[float | None, float | None] = (None, None),
    to_srgb: Array | None = None,
    around_in: float | None = None,
    reach_in: float | None = None,
) -> Studio:
    """From the photo and what was found in it: a rose with its centre, or a bare top whose seams meet.

    bars_in: the rule's readings of the sheet's bars, as they were told for the inspection. around_in: how far beyond the points the
    pictures reach; as far as the cards leave room where it is None. reach_in: of the rose that is to come on a bare top. Raises
    ValueError where there is nothing to show it round.
    """
    import cv2

    if inspection.centre_px is None or not (inspection.tips or (inspection.seams and reach_in)):
        raise ValueError("There is no rose to show.")
    search = find_cards(cv2.cvtColor(photo.bgr, cv2.COLOR_BGR2GRAY))
    solve = solve_plane(search.cards, photo.size_px, photo.focal_px, print_scale(*bars_in), photo.is_whole)
    camera = solve.camera
    centre = camera.plane_from_px(np.asarray(inspection.centre_px, float))
    tips = np.array([camera.plane_from_px(np.asarray(tip.tip_px, float)) for tip in inspection.tips])
    if len(tips):  # the first is the first ring's nearest to the photo's up
        up, reach = float(bearing_of(tips[0] - centre)), float(np.hypot(*(tips - centre).T).max())
    else:
        nearest = min((seam.bearing for seam in inspection.seams), key=lambda one: abs(wrap_angle(one)))
        up, reach = camera.up_bearing_at(centre) + nearest, reach_in or 0.0
    cards = [*solve.outlines_in, *(camera.plane_from_px(outline) for outline in search.others_px)]
    shapes = [np.asarray(card, float) for card in cards]
    free = min([_distance(centre, shape) for shape in [*shapes, outline_of_photo(camera, photo.size_px, 0.0)]], default=2 * reach)
    light = learn_daylight(photo.bgr, camera, list(solve.outlines_in), centre, to_srgb)
    return Studio(photo.bgr, camera, light, to_srgb, centre, up, reach, free, camera.px_per_in_at(centre), around_in)


def _distance(point: Array, polygon: Array) -> float:
    """From a point (2,) to the nearest side of a polygon (n, 2)."""
    ends = np.roll(polygon, -1, axis=0)
    way = ends - polygon
    along = np.clip(np.sum((point - polygon) * way, axis=1) / np.maximum(np.sum(way**2, axis=1), 1e-12), 0, 1)
    return float(np.hypot(*(polygon + along[:, None] * way - point).T).min())


def disc(side_px: int) -> NDArray[np.float32]:
    """(side, side) how much of each pixel lies within the disc that touches the sides: 0 to 1."""
    at = np.arange(side_px, dtype=np.float32) - np.float32((side_px - 1) / 2)
    away = np.sqrt(at[:, None] ** 2 + at[None, :] ** 2)
    return np.clip((side_px - 1) / 2 - away + 0.5, 0, 1).astype(np.float32)


def on_white(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The disc of a square picture, on white."""
    inside = disc(len(picture))[..., None]
    return np.round(picture * inside + 255 * (1 - inside)).astype(np.uint8)


def cut_out(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """(side, side, 4) B G R A: the disc of a square picture, and nothing round it."""
    alpha = np.round(255 * disc(len(picture))).astype(np.uint8)[..., None]
    return np.concatenate([np.where(alpha > 0, picture, 255).astype(np.uint8), alpha], axis=-1)
