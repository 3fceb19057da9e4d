"""A rose drawn in the photographed woods on the photographed field: pieces of the photo laid into its lobes, grain along them.

Page frame: pixels, x right, y down; colours red, green, blue.
"""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array, right_of, unit_of_bearing
from ..basis.language import say
from ..design.rose import Rose
from ..edges import srgb_encode
from ..photo import Photo
from ..woods.colour import DEFICIENCIES, seen_by
from ..woods.look import Looked
from ..woods.pairs import Pair
from ..woods.samples import LOOK_PPI, Sample
from .picture_file import marked
from .woods_text import BLIND_WORDS, GRADE_WORDS

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FIELD_BEYOND_IN = 1.0  # of field round the points
PREVIEW_PPI = 90.0
DOTS_PER_IN = 150
PAGE_IN = (8.5, 11.0)
GLUE = np.array([0.02, 0.015, 0.01])  # the dark line of a joint
JOINT_IN = 0.012
WHITE_LIFT = 1 / 0.9  # paper white is drawn nearly white
SMALL, USUAL, TITLE = 8, 9, 13  # type, points


def woods_picture(photo: Photo, looked: Looked, pairs: Sequence[Pair], field: Sample, rose: Rose, suffix: str) -> bytes:
    """The page's bytes: the best pair's rose, as colour-blind eyes see it, the next pairs' small, and the numbered samples."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=PAGE_IN, dpi=DOTS_PER_IN, facecolor="white")
    FigureCanvasAgg(figure)
    best = pairs[0]
    large = preview(best.between.first, best.between.second, field, rose)
    title = say("{dark} and {light} on {field}", dark=best.between.first.name, light=best.between.second.name, field=field.name)
    figure.text(0.05, 0.967, title, fontsize=TITLE, weight="bold")
    grade = say("A preview from the photographed woods; as a rose: {grade}.", grade=say(GRADE_WORDS[best.worst]))
    figure.text(0.05, 0.947, grade, fontsize=USUAL)
    _show(figure, (0.05, 0.475, 0.60, 0.465), large, "")
    for k, name in enumerate(DEFICIENCIES):
        words = say("to {kind} eyes", kind=say(BLIND_WORDS[name]))
        _show(figure, (0.685, 0.79 - 0.158 * k, 0.27, 0.138), seen_by(large, name), words)
    for k, pair in enumerate(pairs[1:5]):
        small = preview(pair.between.first, pair.between.second, field, rose, PREVIEW_PPI / 2)
        words = f"{pair.between.first.name} + {pair.between.second.name}: {say(GRADE_WORDS[pair.worst])}"
        _show(figure, (0.05 + 0.228 * k, 0.295, 0.215, 0.15), small, words)
    _show_photo(figure, (0.05, 0.02, 0.9, 0.245), photo, looked)
    file = BytesIO()
    kind = "png" if suffix.lower() == ".png" else "jpeg"
    figure.savefig(file, format=kind, metadata={"Software": None} if kind == "png" else None)
    return marked(file.getvalue())


def _show(figure: Figure, box: tuple[float, float, float, float], light: Array, words: str) -> None:
    axes = figure.add_axes(box)
    axes.imshow(code_of(light), interpolation="antialiased")
    axes.set_axis_off()
    if words:
        axes.set_title(words, fontsize=SMALL, pad=2)


def _show_photo(figure: Figure, box: tuple[float, float, float, float], photo: Photo, looked: Looked) -> None:
    """The photo, small, with the samples' numbers and names."""
    import cv2

    axes = figure.add_axes(box)
    step = max(1, photo.bgr.shape[1] // 900)
    height, width = photo.bgr.shape[0] // step, photo.bgr.shape[1] // step
    axes.imshow(cv2.resize(photo.bgr, (width, height), interpolation=cv2.INTER_AREA)[..., ::-1])
    axes.set_axis_off()
    for sample in looked.samples:
        outline = (np.vstack([sample.outline_px, sample.outline_px[:1]]) + 0.5) / step - 0.5
        axes.plot(*outline.T, color="white", linewidth=1.6)
        axes.plot(*outline.T, color="black", linewidth=0.6)
        words = str(sample.number) if sample.name == str(sample.number) else f"{sample.number} {sample.name}"
        plate = {"facecolor": "white", "edgecolor": "0.3", "pad": 1.0, "linewidth": 0.5}
        middle = outline[:-1].mean(axis=0)
        axes.text(middle[0], middle[1], words, fontsize=6.5, ha="center", va="center", bbox=plate)


def code_of(light: Array) -> NDArray[np.uint8]:
    """sRGB codes (h, w, 3) of reflectance (h, w, 3)."""
    return np.asarray(np.round(255 * srgb_encode(np.clip(light * WHITE_LIFT, 0, 1))), np.uint8)


def preview(dark: Sample, light: Sample, field: Sample, rose: Rose, px_per_in: float = PREVIEW_PPI) -> Array:
    """Reflectance (h, w, 3) of the rose in these woods, its first point upward."""
    reach = rose.reach_in + FIELD_BEYOND_IN
    side = round(2 * reach * px_per_in)
    axis = (np.arange(side) + 0.5) / px_per_in - reach
    points = np.stack(np.broadcast_arrays(axis[None, :], -axis[:, None]), axis=-1)
    page = _field(points, field, rose.points)
    rng = np.random.default_rng(0)  # where in the sample a lobe is cut: the same each time
    right_dark = rose.dark_side == "cw"
    lines = np.zeros((side, side))
    for lobe in rose.lobes():
        root, left, tip, right = lobe.kite.corners_in
        outward = unit_of_bearing(lobe.bearing)
        for shoulder, sign in ((left, -1), (right, 1)):
            wood = dark if (sign > 0) == right_dark else light
            mask = _filled(np.stack([root, tip, shoulder]), side, px_per_in, reach)
            where = mask > 0
            away = points[where] - root
            shift = rng.uniform(0, 1, 2)
            figure = _laid(wood.texture, away @ outward, away @ right_of(outward), shift)
            page[where] += mask[where][:, None] * (figure - page[where])
        for start, end in ((root, tip), (root, left), (root, right), (left, tip), (right, tip)):
            lines = np.maximum(lines, _line(start, end, side, px_per_in, reach))
    return np.asarray(page + 0.55 * lines[..., None] * (GLUE - page))


def _field(points: Array, field: Sample, leaves: int) -> Array:
    """Book-matched leaves about the middle: every second one turned over, grain along its middle."""
    bearing = np.arctan2(points[..., 0], points[..., 1]) % (2 * np.pi)
    leaf = (bearing / (2 * np.pi / leaves)).astype(int) % leaves  # seams lie under the points
    page = np.empty(points.shape[:2] + (3,))
    for k in range(leaves):
        where = leaf == k
        middle = unit_of_bearing((k + 0.5) * 2 * np.pi / leaves)
        across = right_of(middle) * (-1 if k % 2 else 1)
        page[where] = _laid(field.texture, points[where] @ middle, points[where] @ across, np.array([0.1, 0.5]))
    return page


def _laid(texture: Array, along_in: Array, across_in: Array, shift: Array) -> Array:
    """(n, 3) of a texture (h, w, 3), grain upright, at places along and across it; past its ends it goes on as its mirror image."""
    height, width = texture.shape[:2]
    v = _folded(shift[0] * height - along_in * LOOK_PPI, height - 1.0)
    u = _folded(shift[1] * width + across_in * LOOK_PPI, width - 1.0)
    row, column = np.minimum(v.astype(int), height - 2), np.minimum(u.astype(int), width - 2)
    down, right = (v - row)[:, None], (u - column)[:, None]
    above = texture[row, column] * (1 - right) + texture[row, column + 1] * right
    below = texture[row + 1, column] * (1 - right) + texture[row + 1, column + 1] * right
    return np.asarray(above * (1 - down) + below * down)


def _folded(place: Array, size: float) -> Array:
    """Places brought into 0..size by folding at both ends."""
    turned = np.mod(place, 2 * size)
    return np.where(turned > size, 2 * size - turned, turned)


FINE = 4  # bits below a pixel in what is filled


def _filled(corners_in: Array, side: int, px_per_in: float, reach_in: float) -> Array:
    import cv2

    mask = np.zeros((side, side), np.uint8)
    cv2.fillPoly(mask, [_fixed(corners_in, px_per_in, reach_in)], 255, cv2.LINE_AA, FINE)
    return mask / 255.0


def _line(start: Array, end: Array, side: int, px_per_in: float, reach_in: float) -> Array:
    import cv2

    mask = np.zeros((side, side), np.uint8)
    width = max(1, round(JOINT_IN * px_per_in))
    cv2.polylines(mask, [_fixed(np.stack([start, end]), px_per_in, reach_in)], False, 255, width, cv2.LINE_AA, FINE)
    return mask / 255.0


def _fixed(points_in: Array, px_per_in: float, reach_in: float) -> NDArray[np.int32]:
    px = (points_in * [1, -1] + reach_in) * px_per_in - 0.5
    return np.round(px * 2**FINE).astype(np.int32)
