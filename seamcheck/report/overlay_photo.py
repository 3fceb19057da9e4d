"""The photo itself, cropped to the work, with what was found drawn thin enough to check against the wood."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array
from ..result import Inspection, Stage, Tip
from .bare_words import seam_numbers
from .closing import gaping
from .overlay_canvas import Box, Canvas, Image, dashes, font_of, text_width
from .overlay_palette import INK, LINE_COLOURS, MARK_COLOURS, PAPER, SUPPOSED_DASH, Colour, kind_of
from .overlay_words import edges_supposed, letter_of, thousandths

MARGIN_IN = 1.1  # of wood kept round the work: room for the labels and for seam enough to see
LEAST_ASPECT = 1.24  # width over height, where the photo allows: a taller panel pushes the insets off the page
LABEL_PX = 40
SMALL_LABEL_PX = 34
MARK_PX = 15
TIP_RING_PX = 12


@dataclass(frozen=True)
class PanelView:
    """Where the panel's pixels lie in the photo: a crop, resized by OpenCV's rule (pixel edges kept)."""

    crop: tuple[int, int, int, int]  # photo columns u0..u1, rows v0..v1, the ends just past
    width: int
    height: int

    def xy_of(self, px: Array) -> Array:
        """Panel pixels (..., 2) of photo pixels (..., 2)."""
        u0, v0, u1, v1 = self.crop
        scale = np.array([self.width / (u1 - u0), self.height / (v1 - v0)])
        return np.asarray((np.asarray(px, float) - [u0, v0] + 0.5) * scale - 0.5)


def panel_view(inspection: Inspection, most_width: int, most_height: int) -> PanelView:
    """The crop that holds everything found, with a margin, and the panel's size."""
    found = [np.asarray(tip.outline_px, float) for tip in inspection.tips] + [np.asarray(seam.seam_px, float) for seam in inspection.seams]
    photo_w, photo_h = inspection.size_px
    if inspection.bare is not None and inspection.bare.edge_px is not None:
        found.append(np.asarray(inspection.bare.edge_px, float))
    if inspection.scale.edge_px is not None:
        found.append(np.asarray(inspection.scale.edge_px, float))
    points = np.concatenate(found) if found else np.array([[0.0, 0.0], [photo_w, photo_h]])
    margin = MARGIN_IN * inspection.scale.px_per_in
    u0, v0 = np.maximum(points.min(axis=0) - margin, 0)
    u1, v1 = np.minimum(points.max(axis=0) + margin, [photo_w, photo_h])
    short_of = LEAST_ASPECT * (v1 - v0) - (u1 - u0)
    if short_of > 0:  # widen, evenly as far as the photo goes
        u0, u1 = u0 - short_of / 2, u1 + short_of / 2
        u0, u1 = max(0.0, u0 - max(0.0, u1 - photo_w)), min(float(photo_w), u1 - min(0.0, u0))
    crop = (int(u0), int(v0), max(int(u0) + 1, int(np.ceil(u1))), max(int(v0) + 1, int(np.ceil(v1))))
    across, down = crop[2] - crop[0], crop[3] - crop[1]
    scale = min(most_width / across, most_height / down)
    return PanelView(crop, max(1, round(across * scale)), max(1, round(down * scale)))


def draw_photo(canvas: Canvas, photo: Image, view: PanelView) -> None:
    """The crop, resized onto the whole of the canvas."""
    import cv2

    u0, v0, u1, v1 = view.crop
    shrinks = view.width < u1 - u0
    way = cv2.INTER_AREA if shrinks else cv2.INTER_CUBIC
    canvas.paste(np.asarray(cv2.resize(photo[v0:v1, u0:u1], (view.width, view.height), interpolation=way)))


class Labels:
    """Finds each label a place near what it names, off the tips, the seams, the edges and other labels."""

    def __init__(self, canvas: Canvas) -> None:
        self._canvas = canvas
        self._taken: list[tuple[Box, float]] = []  # boxes to keep off, and how much it matters
        self._points: list[Array] = []

    def keep_off(self, box: Box, weight: float) -> None:
        self._taken.append((box, weight))

    def keep_off_line(self, a: Array, b: Array) -> None:
        count = max(2, int(np.hypot(*(b - a)) / 12))
        self._points.append(a + np.linspace(0, 1, count)[:, None] * (b - a))

    def _cost(self, box: Box, points: Array) -> float:
        cost = sum(weight * box.overlap(taken) for taken, weight in self._taken)
        if len(points):
            inside = (points[:, 0] > box.x0) & (points[:, 0] < box.x1) & (points[:, 1] > box.y0) & (points[:, 1] < box.y1)
            cost += 150.0 * np.count_nonzero(inside)
        return cost

    def place(self, anchor: Array, outward: Array, width: float, height: float) -> Box:
        """A box near the anchor, sooner on the outward side; inside the canvas."""
        points = np.concatenate(self._points) if self._points else np.empty((0, 2))
        whole = self._canvas.box.grown(-4)
        start = float(np.arctan2(outward[1], outward[0]))
        best, least = Box(0, 0, width, height), np.inf
        for away in (34.0, 52.0, 76.0, 104.0, 140.0):
            for turn_deg in (24, -24, 45, -45, 70, -70, 0, 95, -95, 130, -130, 180):
                angle = start + np.radians(turn_deg)
                step = np.array([np.cos(angle), np.sin(angle)])
                # The box's nearest side, not its middle, stands `away` from the anchor.
                half = min(width / 2 / max(abs(step[0]), 1e-6), height / 2 / max(abs(step[1]), 1e-6))
                middle = anchor + step * (away + half)
                box = Box(middle[0] - width / 2, middle[1] - height / 2, middle[0] + width / 2, middle[1] + height / 2)
                if not whole.holds(box):
                    continue
                cost = self._cost(box, points) + 4.0 * away + 1.2 * abs(turn_deg)
                if cost < least:
                    best, least = box, cost
        if not np.isfinite(least):  # everything named lies at or past the canvas's edge: clamp
            x = float(np.clip(anchor[0] - width / 2, whole.x0, max(whole.x0, whole.x1 - width)))
            y = float(np.clip(anchor[1] - height / 2, whole.y0, max(whole.y0, whole.y1 - height)))
            best = Box(x, y, x + width, y + height)
        self.keep_off(best.grown(6), 50.0)
        return best


def _plate(canvas: Canvas, box: Box, anchor: Array, gap_px: float, colour: Colour = PAPER) -> None:
    """A label's ground, with a thin leader to what it names that stops short of it."""
    nearest = np.array([np.clip(anchor[0], box.x0, box.x1), np.clip(anchor[1], box.y0, box.y1)])
    away = nearest - anchor
    length = float(np.hypot(*away))
    if length > gap_px + 2:
        canvas.cased([np.stack([anchor + away / length * gap_px, nearest])], PAPER, 2)
    corners = np.array([[box.x0, box.y0], [box.x1, box.y0], [box.x1, box.y1], [box.x0, box.y1]])
    canvas.polygon(corners, colour)
    canvas.stroke(corners, INK, 2, closed=True)


def _tip_label(canvas: Canvas, labels: Labels, tip: Tip, at: Array, outward: Array, odd: bool) -> None:
    words = f"{tip.lobe}" + (" ⇄" if odd else "")
    width = 2 * MARK_PX + 26 + text_width(words, LABEL_PX, True)
    box = labels.place(at, outward, width, LABEL_PX + 12)
    _plate(canvas, box, at, TIP_RING_PX + 2)
    canvas.mark(kind_of(tip), (box.x0 + 8 + MARK_PX, (box.y0 + box.y1) / 2), MARK_PX - 3)
    ascent, descent = font_of(LABEL_PX, True).getmetrics()
    canvas.write(words, box.x0 + 2 * MARK_PX + 16, (box.y0 + box.y1 - ascent - descent) / 2, LABEL_PX, bold=True)


def _draw_edge(canvas: Canvas, edge_px: Array | None, view: PanelView) -> None:
    """A round edge where it was seen (n, 2), going round."""
    if edge_px is None or len(edge_px) < 3:
        return
    edge = view.xy_of(edge_px)
    steps = np.hypot(*np.diff(edge, axis=0).T)
    canvas.cased([edge[k : k + 2] for k in range(len(edge) - 1) if steps[k] < 4 * np.median(steps)], LINE_COLOURS["outline"], 1)


def _draw_top(canvas: Canvas, inspection: Inspection, view: PanelView) -> list[Array]:
    """A bare top's edge as it was seen, and where a rose's points would lie; gives the places of these, (2,) each."""
    top = inspection.bare
    if top is None:
        return []
    _draw_edge(canvas, top.edge_px, view)
    place = top.fewest or top.even
    if place is None:
        return []
    canvas.ring(view.xy_of(place.centre_px), TIP_RING_PX, PAPER, 2)
    places = [view.xy_of(point.tip_px) for point in place.points]
    for point, at in zip(place.points, places, strict=True):
        canvas.ring(at, TIP_RING_PX, MARK_COLOURS["unsure" if point.suited else "on"], 3)
    return places


def annotate(canvas: Canvas, inspection: Inspection, view: PanelView) -> Labels:
    """Outlines, seams, tips, gaping joints and their labels, over the photo that the canvas bears already.

    Gives what is taken, so that more can be labelled.
    """
    labels = Labels(canvas)
    outlines = [view.xy_of(tip.outline_px) for tip in inspection.tips]
    for tip, outline in zip(inspection.tips, outlines, strict=True):
        root, left, point, right = outline
        long_edges, short_edges = [np.stack([point, left]), np.stack([point, right])], [np.stack([left, root]), np.stack([root, right])]
        for edge in long_edges + short_edges:
            labels.keep_off_line(*edge)
        if edges_supposed(tip):
            long_edges = [piece for edge in long_edges for piece in dashes(edge[0], edge[1], *SUPPOSED_DASH)]
        canvas.cased(long_edges + short_edges, LINE_COLOURS["outline"], 1)
    seams = [view.xy_of(tip.seam_px) for tip in inspection.tips if tip.seam_px is not None and inspection.stage is not Stage.LOOSE]
    seams += [view.xy_of(seam.seam_px) for seam in inspection.seams]
    for a, b in seams:
        canvas.cased(dashes(a, b, 14, 12), LINE_COLOURS["seam"], 2)
        labels.keep_off_line(a, b)
    for tip in inspection.tips:
        if tip.own_seam_px is not None:
            a, b = view.xy_of(tip.own_seam_px)
            canvas.cased(dashes(a, b, 3, 11), LINE_COLOURS["outline"], 1)

    places = [view.xy_of(tip.tip_px) for tip in inspection.tips]
    for at in places:
        labels.keep_off(Box(*at, *at).grown(TIP_RING_PX + 8), 60.0)
    joints = gaping(inspection)
    spots = [view.xy_of(j.max_at_px if j.max_at_px is not None else np.asarray(j.edge_px, float).mean(axis=0)) for j in joints]
    for at in spots:
        labels.keep_off(Box(*at, *at).grown(22), 60.0)

    _draw_edge(canvas, inspection.scale.edge_px, view)
    centre = None if inspection.centre_px is None else view.xy_of(inspection.centre_px)
    for tip, at, outline in zip(inspection.tips, places, outlines, strict=True):
        canvas.ring(at, TIP_RING_PX, MARK_COLOURS[kind_of(tip)], 3)
        outward = at - outline[0]
        _tip_label(canvas, labels, tip, at, outward, tip.lobe in inspection.odd_lobes)
    for index, (joint, at) in enumerate(zip(joints, spots, strict=True)):
        canvas.mark("open", at, 9)
        words = letter_of(index) + (f"  {thousandths(joint.max_gap.value)}" if joint.max_gap else "")
        width = 16 + text_width(words, SMALL_LABEL_PX)
        outward = at - centre if centre is not None else np.array([0.0, -1.0])
        box = labels.place(at, outward, width, SMALL_LABEL_PX + 8)
        _plate(canvas, box, at, 12)
        ascent, descent = font_of(SMALL_LABEL_PX).getmetrics()
        canvas.write(words, box.x0 + 8, (box.y0 + box.y1 - ascent - descent) / 2, SMALL_LABEL_PX)
    for at in _draw_top(canvas, inspection, view):
        labels.keep_off(Box(*at, *at).grown(TIP_RING_PX + 4), 60.0)
    for number, seam in zip(seam_numbers(inspection), inspection.seams, strict=True):
        a, b = view.xy_of(seam.seam_px)
        words = f"{number}"
        box = labels.place(b, b - a, 16 + text_width(words, LABEL_PX, True), LABEL_PX + 12)
        _plate(canvas, box, b, 4)
        canvas.write(words, box.x0 + 8, box.y0 + 2, LABEL_PX, bold=True)
    if centre is not None:
        for step in (np.array([9.0, 0.0]), np.array([0.0, 9.0])):
            canvas.cased([np.stack([centre - step, centre + step])], PAPER, 1)
    return labels
