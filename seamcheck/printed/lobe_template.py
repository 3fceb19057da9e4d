"""Full-size patterns: one lobe of each ring on its blank, the whole rose, and a page of what to cut."""

from __future__ import annotations

from math import hypot

import numpy as np

from ..advise.cautions import MAKERS_FIRST, SAW_AND_KNIFE, TEMPLATE
from ..basis.frames import Array, right_of, unit_of_bearing
from ..basis.language import say
from ..design.cut_list import Blanks, CutList
from ..design.rose import Rose
from ..design.wish import Wish
from ..kite import HalfShape
from .drawing import CHAIN_IN, DASHED_IN, FINE_IN, PLAIN_IN, SMALL_TEXT_IN, TEXT_IN, Drawing, Layer, Point
from .template_words import ORDER, Rows, blank_rows, headline, leaf_rows, naming_options, ring_rows
from .words import Column

DARK_GREY = 0.84
BLANK_GREY = 0.5
LINE_BEYOND_IN = 0.3  # the centre line, past the blank
SEAM_BEYOND_IN = 0.4  # field seams, past the tips
NOTES_WIDTH_IN, NOTES_GAP_IN = 3.3, 0.35
NAME_WIDTH_IN = 2.3  # of a table's first column
NARROW_IN = 0.4  # half a lobe that has no room for words
CUT_MARK_IN = 0.2  # from an edge to the middle of its number


def template_drawings(rose: Rose, cuts: CutList, room_in: tuple[float, float], wish: Wish) -> list[Drawing]:
    """A pattern for each ring, then the rose. room_in: the page's room, which decides where a pattern's notes go."""
    patterns = [lobe_pattern(rose, blanks, room_in, wish) for blanks in cuts.blanks]
    return [*patterns, rose_drawing(rose)]


def cutting_page(rose: Rose, cuts: CutList, room_in: tuple[float, float], wish: Wish) -> Drawing:
    """All dimensions, what to cut, in which order, and the cautions, as wide as a page."""
    page = Drawing(say("What to make"), from_top=True)
    column = Column(page, 0.0, 0.0, room_in[0])
    column.paragraph(headline(rose, wish) + ".")
    column.paragraph(say("This very rose, for other commands: {options}", options=naming_options(wish)))
    column.skip()
    rings = [ring_rows(rose, blanks.ring, wish) + blank_rows(blanks) for blanks in cuts.blanks]
    places = [NAME_WIDTH_IN + k * (room_in[0] - NAME_WIDTH_IN) / 3 for k in range(len(rings))]
    column.row([(at, say("Ring {number}", number=number)) for number, at in enumerate(places, 1)])
    for rows in zip(*rings, strict=True):
        column.row([(0.0, rows[0][0])] + [(at, value) for at, (_, value) in zip(places, rows, strict=True)])
    column.heading(say("Of each wood, dark and light"))
    for name, value in leaf_rows(cuts):
        column.row([(0.0, name), (NAME_WIDTH_IN, value)])
    column.heading(say("Order of work"))
    for number, step in enumerate(ORDER, 1):
        column.paragraph(f"{number}. {say(step)}")
    column.heading(say("Take care"))
    for caution in (SAW_AND_KNIFE, TEMPLATE, MAKERS_FIRST):
        column.paragraph(say(caution))
    return page


def lobe_pattern(rose: Rose, blanks: Blanks, room_in: tuple[float, float], wish: Wish) -> Drawing:
    """One ring's lobe at true size, root at the origin and tip above it, on its blank."""
    title = say("Ring {number}: pattern of the lobe, full size", number=blanks.ring.number)
    rows = ring_rows(rose, blanks.ring, wish) + blank_rows(blanks)
    return pattern_drawing(title, HalfShape.of_kite(blanks.ring.shape), rose.dark_side, blanks, rows, room_in)


def pattern_drawing(title: str, shape: HalfShape, dark_side: str, blanks: Blanks, rows: Rows, room_in: tuple[float, float]) -> Drawing:
    """A lobe at true size, its halves alike or not, root at the origin and tip above it, on its blank; rows: its dimensions."""
    drawing = Drawing(title)
    half_width, length = blanks.strip_width_in, shape.length_in
    spare = (blanks.length_in - length) / 2
    dark_sign = 1 if dark_side == "cw" else -1
    root, left, tip, right = shape.corners_in
    drawing.fill(np.stack([root, right if dark_sign > 0 else left, tip]), Layer.DARK, DARK_GREY)
    blank = [(-half_width, -spare), (half_width, -spare), (half_width, length + spare), (-half_width, length + spare)]
    drawing.outline(blank, Layer.BLANK, FINE_IN, BLANK_GREY, DASHED_IN)
    ends = -spare - LINE_BEYOND_IN, length + spare + LINE_BEYOND_IN
    drawing.line((0.0, ends[0]), (0.0, ends[1]), Layer.CENTRE, FINE_IN, 0.0, CHAIN_IN)
    drawing.words(say("centre line: lay it on the joint of the two strips"), (0.0, ends[0] - 0.16), SMALL_TEXT_IN, anchor="middle")
    drawing.outline(shape.corners_in, Layer.CUT, PLAIN_IN)
    _halves(drawing, shape, dark_sign, spare)
    _cutting_order(drawing, shape)
    beside = max(half_width, float(right[0]) + CUT_MARK_IN + 0.12)
    return _with_notes(drawing, rows, [(beside + NOTES_GAP_IN, length + spare), (-NOTES_WIDTH_IN / 2, ends[0] - 0.3)], room_in)


def _with_notes(drawing: Drawing, rows: Rows, places: list[Point], room_in: tuple[float, float]) -> Drawing:
    """The pattern with its dimensions at the first place that leaves it on one page, or else without: they're on the first page too."""
    for place in places:
        noted = Drawing(drawing.title, list(drawing.items))
        column = Column(noted, *place, NOTES_WIDTH_IN)
        for name, value in rows:
            column.paragraph(f"{name}: {value}")
        left, bottom, right, top = noted.bounds()
        if right - left <= room_in[0] and top - bottom <= room_in[1]:
            return noted
    return drawing


def _halves(drawing: Drawing, shape: HalfShape, dark_sign: int, spare_in: float) -> None:
    """The woods' names and the grain's direction in either half; beside a narrow lobe, past the ends of its blank."""
    below_in = -spare_in - 0.18
    length = shape.length_in
    shoulders = {-1: _point(shape.corners_in[1] * [-1, 1]), 1: _point(shape.corners_in[3])}
    roomy = min(across for across, _ in shoulders.values()) >= NARROW_IN
    for sign, (across, along) in shoulders.items():
        beyond = length - along
        x = sign * (0.24 if roomy else 0.4) * across
        drawing.arrow((x, along * 0.5), (x, along + 0.4 * beyond), Layer.GRAIN, FINE_IN, min(0.12, 0.4 * across))
        name = say("DARK") if sign == dark_sign else say("LIGHT")
        if roomy:  # turned words stand to the left of their base line
            size = min(TEXT_IN, 0.3 * across)
            drawing.words(name, (sign * 0.58 * across + size * 0.36, along + 0.1 * beyond), size, 90.0, "middle")
        else:
            drawing.words(name, (sign * 0.08, below_in), SMALL_TEXT_IN, anchor="start" if sign > 0 else "end")
    if roomy:
        across, along = shoulders[1]
        middle = (0.5 * along + along + 0.4 * (length - along)) / 2  # of the arrow
        drawing.words(say("grain"), (0.24 * across - 0.05, middle), min(SMALL_TEXT_IN, 0.2 * across), 90.0, "middle")
    else:
        drawing.words(say("grain: the arrows"), (0.08, length + spare_in + 0.1), SMALL_TEXT_IN)


def _cutting_order(drawing: Drawing, shape: HalfShape) -> None:
    """The edges' numbers, and which way to cut each: from the shoulder outward."""
    root, left, tip, right = (_point(corner) for corner in shape.corners_in)
    edges: list[tuple[int, Point, Point]] = [(1, left, tip), (3, left, root), (2, right, tip), (4, right, root)]
    for number, start, end in edges:
        run = hypot(end[0] - start[0], end[1] - start[1])
        ahead = ((end[0] - start[0]) / run, (end[1] - start[1]) / run)
        outward = (-ahead[1], ahead[0])
        if outward[0] * start[0] < 0:
            outward = (-outward[0], -outward[1])

        def place(share: float, out_in: float, a: Point = start, d: Point = ahead, o: Point = outward, r: float = run) -> Point:
            return a[0] + share * r * d[0] + out_in * o[0], a[1] + share * r * d[1] + out_in * o[1]

        mark = place(0.5, CUT_MARK_IN)
        drawing.circle(mark, 0.09, Layer.NOTE, FINE_IN)
        drawing.words(str(number), (mark[0], mark[1] - 0.043), TEXT_IN, anchor="middle")
        tail, head = place(min(0.6, 0.5 + 0.15 / run), CUT_MARK_IN / 2), place(min(0.9, 0.5 + 0.75 / run), CUT_MARK_IN / 2)
        drawing.line(tail, head, Layer.NOTE, FINE_IN)
        for side in (-1, 1):
            back = (head[0] - 0.09 * ahead[0] + side * 0.03 * outward[0], head[1] - 0.09 * ahead[1] + side * 0.03 * outward[1])
            drawing.line(head, back, Layer.NOTE, FINE_IN)


def rose_drawing(rose: Rose) -> Drawing:
    """Every lobe in its place at true size, on the field seams; the centre at the origin, the first point upward."""
    drawing = Drawing(say("The whole rose, full size; chain lines: field seams"))
    dark_right = rose.dark_side == "cw"
    lobes = rose.lobes()
    for lobe in lobes:
        kite = lobe.kite
        drawing.fill(np.stack([kite.root_in, kite.right_in if dark_right else kite.left_in, kite.tip_in]), Layer.DARK, DARK_GREY)
    for lobe in lobes:
        outward = unit_of_bearing(lobe.bearing)
        beyond = (lobe.ring.reach_in + SEAM_BEYOND_IN) * outward
        drawing.line(_point(lobe.kite.tip_in), _point(beyond), Layer.SEAM, FINE_IN, 0.0, CHAIN_IN)
        drawing.line(_point(lobe.kite.root_in), _point(lobe.kite.tip_in), Layer.CENTRE, FINE_IN)
        drawing.outline(lobe.kite.corners_in, Layer.ROSE, FINE_IN)
        along, across = lobe.ring.shape.shoulder_in
        aside = (-0.42 if dark_right else 0.42) * across
        middle = lobe.kite.root_in + (along + 0.05 * lobe.ring.shape.length_in) * outward + aside * right_of(outward)
        size = min(TEXT_IN, 0.5 * across)
        drawing.words(str(lobe.number), (float(middle[0]), float(middle[1]) - 0.36 * size), size, anchor="middle")
    drawing.outline(rose.outline_in(), Layer.KNIFE, PLAIN_IN)
    drawing.line((-0.12, 0.0), (0.12, 0.0), Layer.NOTE, FINE_IN)
    drawing.line((0.0, -0.12), (0.0, 0.12), Layer.NOTE, FINE_IN)
    return drawing


def _point(place: Array) -> Point:
    return float(place[0]), float(place[1])
