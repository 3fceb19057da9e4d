"""A page to draw on: thin cased lines between pixels, marks, and text whose boxes are remembered.

Page frame: pixels, x right, y down, (0, 0) the centre of the top-left pixel. Images are uint8 (h, w, 3) in
OpenCV's order, blue first; colours are given as (red, green, blue).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING
from unicodedata import category

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array
from .overlay_palette import INK, MARK_COLOURS, MARK_SHAPES, PAPER, Colour

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont

Image = NDArray[np.uint8]

# OpenCV takes drawing coordinates in fractions of a pixel: 2**4 to the pixel.
SUBPIXEL_BITS = 4


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the page, pixels; x1 and y1 are just past its last pixel."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def width(self) -> float:
        return self.x1 - self.x0

    @property
    def height(self) -> float:
        return self.y1 - self.y0

    def moved(self, dx: float, dy: float) -> Box:
        return Box(self.x0 + dx, self.y0 + dy, self.x1 + dx, self.y1 + dy)

    def grown(self, by: float) -> Box:
        return Box(self.x0 - by, self.y0 - by, self.x1 + by, self.y1 + by)

    def overlap(self, other: Box) -> float:
        """Area shared, square pixels."""
        across = min(self.x1, other.x1) - max(self.x0, other.x0)
        down = min(self.y1, other.y1) - max(self.y0, other.y0)
        return max(0.0, across) * max(0.0, down)

    def holds(self, other: Box) -> bool:
        return self.x0 <= other.x0 and self.y0 <= other.y0 and self.x1 >= other.x1 and self.y1 >= other.y1


def dashes(a: Array, b: Array, on_px: float, off_px: float) -> list[Array]:
    """A straight line (2,) to (2,) in pieces (2, 2), the first at its start."""
    length = float(np.hypot(*(b - a)))
    along = (b - a) / max(length, 1e-9)
    return [np.stack([a + along * s, a + along * min(s + on_px, length)]) for s in np.arange(0.0, length, on_px + off_px)]


@lru_cache(maxsize=32)
def font_of(size_px: int, bold: bool = False) -> FreeTypeFont:
    """The text face: the one that matplotlib carries, so that every machine draws the same letters.

    matplotlib is found, not imported, which would take half a second.
    """
    from PIL import ImageFont

    spec = find_spec("matplotlib")
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError("The picture's letters come with matplotlib, which isn't installed.")
    folder = Path(spec.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(folder / name), size_px, layout_engine=ImageFont.Layout.BASIC)


def text_width(text: str, size_px: int, bold: bool = False) -> float:
    """Pixels from the first letter's start to the last one's end."""
    return float(font_of(size_px, bold).getlength(text))


def drawable(text: str) -> str:
    """The text with what can't be set in one line (line ends, broken letters in a file's name) as question marks."""
    return "".join("?" if category(letter).startswith("C") else letter for letter in text)


def wrapped(text: str, size_px: int, width_px: float, bold: bool = False) -> list[str]:
    """The text in lines that fit the width, broken at spaces (not at unbreakable ones), or within a word wider than a line."""
    lines: list[str] = []
    for word in drawable(text).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size_px, bold) <= width_px:
            lines[-1] = longer
            continue
        lines.append("")
        for letter in word:
            if lines[-1] and text_width(lines[-1] + letter, size_px, bold) > width_px:
                lines.append("")
            lines[-1] += letter
    return lines


def fitting_size(text: str, size_px: int, width_px: float, bold: bool = False) -> int:
    """The size, lessened as far as the text needs to fit the width."""
    return min(size_px, int(size_px * width_px / max(text_width(text, size_px, bold), 1.0)))


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text waiting to be drawn: they come last, over every line and mark."""

    words: str
    size_px: int
    bold: bool
    colour: Colour
    box: Box  # that it fills on the page: its width by the face's ascent and descent
    room: Box  # that it has to stay in


@dataclass
class Canvas:
    """A page, or (by `part`) a rectangle of one, which shares the page's pixels and list of texts."""

    pixels: Image
    texts: list[Text] = field(default_factory=list)
    origin: tuple[int, int] = (0, 0)  # of this part on the page

    @staticmethod
    def blank(width: int, height: int, colour: Colour = PAPER) -> Canvas:
        pixels = np.empty((height, width, 3), np.uint8)
        pixels[:] = colour[::-1]
        return Canvas(pixels)

    @property
    def box(self) -> Box:
        """The whole of it, in its own frame."""
        height, width = self.pixels.shape[:2]
        return Box(0, 0, width, height)

    def part(self, box: Box) -> Canvas:
        """The rectangle as a canvas with its own frame; nothing drawn on it leaves it."""
        x0, y0 = int(box.x0), int(box.y0)
        view = self.pixels[y0 : int(box.y1), x0 : int(box.x1)]
        return Canvas(view, self.texts, (self.origin[0] + x0, self.origin[1] + y0))

    def paste(self, image: Image) -> None:
        self.pixels[:] = image

    def fill(self, box: Box, colour: Colour, opacity: float = 1.0) -> None:
        """A rectangle laid on, edges rounded to whole pixels."""
        rows = slice(max(0, round(box.y0)), max(0, round(box.y1)))
        columns = slice(max(0, round(box.x0)), max(0, round(box.x1)))
        under = self.pixels[rows, columns]
        if under.size:
            under[:] = np.rint(under * (1 - opacity) + np.array(colour[::-1]) * opacity).astype(np.uint8)

    def stroke(self, points: Array | Sequence[Sequence[float]], colour: Colour, width: int, closed: bool = False) -> None:
        """An antialiased line through the points (n, 2); `width` in whole pixels, the places in fractions."""
        import cv2

        fixed = np.rint(np.asarray(points, float) * 2**SUBPIXEL_BITS).astype(np.int32)
        cv2.polylines(self.pixels, [fixed.reshape(-1, 1, 2)], closed, colour[::-1], width, cv2.LINE_AA, SUBPIXEL_BITS)

    def cased(self, lines: Iterable[Array], colour: Colour, width: int = 1, casing: Colour = INK, opacity: float = 1.0) -> None:
        """Thin lines, each over a wider one in the contrasting colour, so that they show on any wood."""
        lines = [np.asarray(line, float) for line in lines]
        before = self.pixels.copy() if opacity < 1 else None
        for line in lines:
            self.stroke(line, casing, width + 2)
        for line in lines:
            self.stroke(line, colour, width)
        if before is not None:
            self.pixels[:] = np.rint(self.pixels * opacity + before * (1 - opacity)).astype(np.uint8)

    def polygon(self, points: Array, colour: Colour) -> None:
        """A filled shape, antialiased."""
        import cv2

        fixed = np.rint(np.asarray(points, float) * 2**SUBPIXEL_BITS).astype(np.int32)
        cv2.fillPoly(self.pixels, [fixed.reshape(-1, 1, 2)], colour[::-1], cv2.LINE_AA, SUBPIXEL_BITS)

    def ring(self, centre: Array, radius: float, colour: Colour, width: int = 2) -> None:
        """A thin circle, cased on both sides: what it goes round stays in view."""
        angles = np.linspace(0, 2 * np.pi, 49)[:-1]
        circle = np.asarray(centre) + radius * np.stack([np.sin(angles), np.cos(angles)], axis=-1)
        self.stroke(circle, INK, width + 2, closed=True)
        self.stroke(circle, colour, width, closed=True)

    def mark(self, kind: str, centre: Sequence[float] | Array, radius: float) -> None:
        """The mark of a verdict: its shape in its colour, an ink edge, a paper halo."""
        shape = MARK_SHAPES[kind]
        if shape is None:
            angles = np.linspace(0, 2 * np.pi, 49)[:-1]
            corners = np.stack([np.sin(angles), np.cos(angles)], axis=-1)
        else:
            corners = np.array(shape)
        corners = np.asarray(centre, float) + radius * corners
        self.stroke(corners, PAPER, 9, closed=True)
        self.stroke(corners, INK, 5, closed=True)
        self.polygon(corners, MARK_COLOURS[kind])
        if kind == "unmeasured":
            self.stroke([corners[3], corners[1]], INK, 3)

    def write(
        self,
        words: str,
        x: float,
        y: float,
        size_px: int,
        *,
        bold: bool = False,
        colour: Colour = INK,
        room: Box | None = None,
    ) -> Box:
        """Put a line of text with its top left at (x, y); gives its box here. `room`: what it has to stay in."""
        ascent, descent = font_of(size_px, bold).getmetrics()
        box = Box(x, y, x + text_width(words, size_px, bold), y + ascent + descent)
        dx, dy = self.origin
        self.texts.append(Text(words, size_px, bold, colour, box.moved(dx, dy), (room or self.box).moved(dx, dy)))
        return box

    def finished(self) -> Image:
        """The page's pixels with every text drawn."""
        from PIL import Image as PillowImage
        from PIL import ImageDraw

        page = PillowImage.fromarray(self.pixels)  # blue first: so are the colours given below
        pen = ImageDraw.Draw(page)
        for text in self.texts:
            place = (round(text.box.x0), round(text.box.y0))
            pen.text(place, text.words, fill=text.colour[::-1], font=font_of(text.size_px, text.bold))
        return np.asarray(page).copy()
