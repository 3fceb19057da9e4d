"""A bare top's two insets: where its seams meet, enlarged, and what a rose's points would miss by, enlarged."""

from __future__ import annotations

import numpy as np

from ..basis.frames import Array, unit_of_bearing
from ..basis.units import MM_PER_IN, lengths
from ..result import BareTop, Inspection, RosePlace
from .bare_words import seam_numbers
from .overlay_canvas import Box, Canvas, Image, dashes, fitting_size, font_of, text_width
from .overlay_palette import FAINT_INK, INK, LINE_COLOURS, MARK_COLOURS, PAPER
from .overlay_words import thousandths

ASPECT = 0.86  # height over width of an inset
HEAD_PX, LABEL_PX, BAR_PX = 40, 36, 76
# The window about the centre holds the worst miss so many times, and so much wood at least (inches); beyond the most it shows nothing.
MISS_SHARE, LEAST_IN, MOST_IN = 2.6, 0.06, 0.6
# A miss is drawn so long at most (pixels), and a scale bar is one of these (inches).
MISS_PX = 74.0
BARS_IN = ((1 / 128, "1/128 in"), (1 / 64, "1/64 in"), (1 / 32, "1/32 in"), (1 / 16, "1/16 in"), (1 / 8, "1/8 in"))
BARS_MM = tuple((length / MM_PER_IN, f"{length:g} mm") for length in (0.2, 0.5, 1.0, 2.0, 4.0))


def bare_height(width: int) -> int:
    """What the insets take of a page's inner width (pixels)."""
    return round(ASPECT * width / 2) + HEAD_PX + 20 + BAR_PX


def draw_bare(canvas: Canvas, bgr: Image, inspection: Inspection) -> None:
    """Both insets side by side on the whole of the canvas. The inspection is one of a bare top whose seams meet."""
    top = inspection.bare
    assert top is not None
    assert inspection.centre_px is not None
    gap = 24
    half = (int(canvas.box.width) - gap) // 2
    height = round(ASPECT * half)
    left = canvas.part(Box(0, 0, half, canvas.box.height))
    right = canvas.part(Box(half + gap, 0, 2 * half + gap, canvas.box.height))
    head = f"Where the seams meet, {enlargement(inspection, half):.0f} times as large as in the photo"
    left.write(head, 0, 0, fitting_size(head, HEAD_PX, half, bold=True), bold=True)
    _draw_centre(left.part(Box(0, HEAD_PX + 20, half, HEAD_PX + 20 + height)), bgr, inspection)
    below = left.part(Box(0, HEAD_PX + 20 + height, half, HEAD_PX + 20 + height + BAR_PX))
    _draw_bar(below, inspection.scale.px_per_in * enlargement(inspection, half))
    place = top.fewest or top.even
    if place is None:
        return
    head = "What the rose's points would miss by, enlarged"
    right.write(head, 0, 0, fitting_size(head, HEAD_PX, half, bold=True), bold=True)
    _draw_misses(right.part(Box(0, HEAD_PX + 20, half, HEAD_PX + 20 + height)), top, place, inspection)


def window_in(inspection: Inspection) -> float:
    """Half the height of the window about the centre (inches)."""
    worst = max((abs(seam.off_centre.value) for seam in inspection.seams if seam.off_centre is not None), default=0.0)
    return float(np.clip(MISS_SHARE * worst, LEAST_IN, MOST_IN))


def enlargement(inspection: Inspection, width: int) -> float:
    """How many of the inset's pixels make one of the photo's."""
    return ASPECT * width / 2 / (window_in(inspection) * inspection.scale.px_per_in)


def _draw_centre(canvas: Canvas, bgr: Image, inspection: Inspection) -> None:
    import cv2

    width, height = int(canvas.box.width), int(canvas.box.height)
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    scale = enlargement(inspection, width)
    centre = np.asarray(inspection.centre_px, float)
    from_inset = np.column_stack([np.eye(2) / scale, centre - middle / scale])
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    canvas.paste(np.asarray(cv2.warpAffine(bgr, from_inset, (width, height), flags=flags, borderMode=cv2.BORDER_REPLICATE)))
    ends = []
    for seam in inspection.seams:
        inner, outer = (np.asarray(end, float) for end in seam.seam_px)
        way = (outer - inner) / np.hypot(*(outer - inner))
        foot = middle + (inner + way * float((centre - inner) @ way) - centre) * scale
        room = np.array([width / 2 - 52, height / 2 - 40])
        rim = foot + way * float(np.min((room - np.sign(way) * (foot - middle)) / np.maximum(np.abs(way), 1e-9)))
        canvas.cased(dashes(foot - way * 0.35 * height, rim, 14, 12), LINE_COLOURS["seam"], 2)
        # What the seam misses the centre by, square to it.
        canvas.cased([np.stack([middle, foot])], MARK_COLOURS["off"], 3, casing=PAPER)
        ends.append((rim, way))
    for step in (np.array([13.0, 0.0]), np.array([0.0, 13.0])):
        canvas.cased([np.stack([middle - step, middle + step])], PAPER, 2)
    plates: list[Box] = []
    for number, (rim, way) in zip(seam_numbers(inspection), ends, strict=True):
        plates.append(_plate(canvas, str(number), rim, way, plates))
    canvas.stroke(np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]]), INK, 1, closed=True)


def _draw_bar(canvas: Canvas, px_per_in: float) -> None:
    """A scale bar with its words beside it."""
    bars = BARS_MM if lengths().metric else BARS_IN
    fitting = [bar for bar in bars if bar[0] * px_per_in <= 0.5 * canvas.box.width]
    length_in, words = fitting[-1] if fitting else bars[0]
    x, y = 2 + length_in * px_per_in, 30.0
    canvas.stroke([[2, y - 9], [2, y + 9]], INK, 3)
    canvas.stroke([[2, y], [x, y]], INK, 3)
    canvas.stroke([[x, y - 9], [x, y + 9]], INK, 3)
    canvas.write(words, x + 16, y - 0.6 * LABEL_PX, LABEL_PX)


def _plate(canvas: Canvas, words: str, middle: Array, way: Array, others: list[Box]) -> Box:
    """A number on its seam, drawn inward along it until it's clear of the others."""
    ascent, descent = font_of(LABEL_PX, True).getmetrics()
    width, height = text_width(words, LABEL_PX, True) + 16, ascent + descent
    box = Box(0, 0, width, height)
    for inward in range(0, 400, 20):
        x, y = middle - inward * way - np.array([width, height]) / 2
        x = float(np.clip(x, 2, canvas.box.width - width - 2))
        y = float(np.clip(y, 2, canvas.box.height - height - 2))
        box = Box(x, y, x + width, y + height)
        if not any(box.grown(3).overlap(other) for other in others):
            break
    canvas.fill(box, PAPER)
    canvas.write(words, box.x0 + 8, box.y0, LABEL_PX, bold=True)
    return box


def _draw_misses(canvas: Canvas, top: BareTop, place: RosePlace, inspection: Inspection) -> None:
    """The seams as even spokes where they lie, the points beside them with their misses drawn long."""
    width, height = int(canvas.box.width), int(canvas.box.height)
    canvas.fill(canvas.box, PAPER)
    middle = np.array([width / 2, height / 2])
    spoke = height / 2 - 56
    largest = max([abs(point.miss.value) for point in place.points if point.miss], default=0.0)
    scale = MISS_PX / max(largest, inspection.tolerance_in)
    reach = 0.80 * spoke
    for point in place.points:
        way = unit_of_bearing(point.bearing) * np.array([1.0, -1.0])
        across = np.array([-way[1], way[0]])  # clockwise on the page, y down
        tip = middle + reach * way
        canvas.stroke(np.stack([middle + 0.1 * reach * way, middle + spoke * 0.97 * way]), FAINT_INK, 2)
        band = inspection.tolerance_in * scale
        for side in (-1, 1):
            canvas.stroke(np.stack([tip + side * band * across - 14 * way, tip + side * band * across + 14 * way]), FAINT_INK, 2)
        words = str(point.seam)
        if point.miss is None:
            words += " ?"
        elif point.suited:
            canvas.mark("unsure", tip, 11)
        else:
            at = tip + point.miss.value * scale * across
            canvas.stroke(np.stack([tip, at]), MARK_COLOURS["off"], 5)
            kind = "on" if abs(point.miss.value) <= inspection.tolerance_in else "off"
            canvas.mark(kind, at, 10)
        if point.miss is not None and not point.suited and len(place.points) <= MOST_WORDED:
            words += f"  {thousandths(point.miss.value)}"
        _word_beyond(canvas, words, middle + (spoke + 8) * way, way)
    canvas.stroke(np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]]), INK, 1, closed=True)


MOST_WORDED = 16  # points with their misses written beside them: more would touch


def _word_beyond(canvas: Canvas, words: str, at: Array, way: Array) -> None:
    ascent, descent = font_of(LABEL_PX).getmetrics()
    size = np.array([text_width(words, LABEL_PX), ascent + descent])
    corner = at + (way - 1) / 2 * size
    x, y = np.clip(corner, 4, np.array([canvas.box.width, canvas.box.height]) - size - 4)
    canvas.write(words, float(x), float(y), LABEL_PX)
