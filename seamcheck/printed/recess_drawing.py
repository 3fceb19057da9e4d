"""The recess at true size, and in words: knife line, pen line, and what the router's bit leaves in each point."""

from __future__ import annotations

from collections.abc import Sequence
from math import acos, atan2, cos, degrees, hypot, sin

from ..advise.cautions import GLUE_AND_PRESS, MAKERS_FIRST, ROUTER, SAW_AND_KNIFE
from ..basis.frames import Array
from ..basis.language import say, to_say
from ..basis.units import MM_PER_IN, lengths
from ..design.recess import PointLeft, Recess
from ..sheet import text_width_in
from .drawing import DASHED_IN, FINE_IN, PLAIN_IN, SMALL_TEXT_IN, Drawing, Layer, Point
from .words import Column, length_words, rule_words

ROUTED_GREY, UNTOUCHED_GREY = 0.86, 1.0
ARC_STEPS = 24
COLUMNS_IN = (0.0, 1.9, 3.4, 5.2)  # the table's columns, from the left
LABEL_OUT_IN = 0.15  # from a tip
SAME_WITHIN = 1e-6  # points of one shape share a row

ORDER = (
    to_say("Knife round the rose first, lift it off as one, and draw the pen line inside the knife line."),
    to_say("Set the depth on a scrap of the same veneer. Rout from the middle outward, up to the pen line, never across it."),
    to_say("Cut what is left with knife and chisel, from the points inward; the walls straight down, the corners clean."),
)


def depth_words(recess: Recess) -> str:
    """The depth as it is set: .0238 in, 0.60 mm."""
    millimetres = f"{recess.depth_in * MM_PER_IN:.2f} mm"
    return millimetres if lengths().metric else f"{recess.depth_in:.4f} in ({millimetres})"


def table(recess: Recess, names: list[str], measured: bool = False) -> list[tuple[str, ...]]:
    """One row for all points of a shape: which, tip angle, pen line's point, left to cut by hand (the last two from the tip).

    measured: by a photo, so that no more than 64ths are given.
    """
    words = rule_words if measured else length_words
    shapes: list[tuple[PointLeft, list[str]]] = []
    for name, point in zip(names, recess.points, strict=True):
        for known, its_names in shapes:
            if abs(known.tip_angle - point.tip_angle) < SAME_WITHIN:
                its_names.append(name)
                break
        else:
            shapes.append((point, [name]))
    return [
        (_listed(its_names), say("{angle} degrees", angle=f"{degrees(point.tip_angle):.1f}"), words(point.pen_in), words(point.left_in))
        for point, its_names in sorted(shapes, key=lambda shape: min(int(name) for name in shape[1]))
    ]


HEADS = (to_say("points"), to_say("tip angle"), to_say("pen line ends at"), to_say("knife and chisel up to"))


def summary(recess: Recess) -> list[tuple[str, str]]:
    """What holds for the whole recess."""
    by_hand = recess.area_in2 - recess.routed_in2
    share = f"{100 * by_hand / recess.area_in2:.0f} %"
    return [
        (say("depth"), say("{depth}, the veneer's thickness", depth=depth_words(recess))),
        (say("pen line"), say("{inside} inside the knife line: the bit's edge goes up to it", inside=lengths().rule(recess.inside_in))),
        (say("bit"), say("{width} across", width=lengths().rule(recess.bit_in))),
        (
            say("area"),
            say(
                "{area}, of which {by_hand} ({share}) are left for knife and chisel",
                area=lengths().area(recess.area_in2, 2),
                by_hand=lengths().area(by_hand, 2).split()[0],
                share=share,
            ),
        ),
    ]


def text_lines(recess: Recess, names: list[str], notes: Sequence[str] = (), measured: bool = False) -> list[str]:
    """Summary, notes and table for a terminal."""
    lines = [f"{name:<12}{value}" for name, value in summary(recess)]
    lines += [*notes, "", say("From the tip, along the point's middle line:")]
    rows = [tuple(say(head) for head in HEADS), *table(recess, names, measured)]
    widths = [max(len(row[k]) for row in rows) + 3 for k in range(len(HEADS))]
    return lines + ["  " + "".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


def routing_page(
    recess: Recess, names: list[str], room_in: tuple[float, float], notes: Sequence[str] = (), measured: bool = False
) -> Drawing:
    """Table, order of work and cautions, as wide as a page; notes: what is supposed, and where the outline comes from."""
    page = Drawing(say("The recess"), from_top=True)
    column = Column(page, 0.0, 0.0, room_in[0])
    for name, value in summary(recess):
        column.row([(0.0, name), (0.9, value)])
    for note in notes:
        column.paragraph(note)
    column.heading(say("Each point, from the tip along its middle line"))
    for row in [tuple(say(head) for head in HEADS), *table(recess, names, measured)]:
        column.row(list(zip(COLUMNS_IN, row, strict=True)))
    column.heading(say("Order of work"))
    for number, step in enumerate(ORDER, 1):
        column.paragraph(f"{number}. {say(step)}")
    column.heading(say("Take care"))
    for caution in (ROUTER, SAW_AND_KNIFE, GLUE_AND_PRESS, MAKERS_FIRST):
        column.paragraph(say(caution))
    return page


def recess_drawing(recess: Recess, names: list[str]) -> Drawing:
    """Knife line, pen line, what is routed (grey), and the bit as far as it goes into each point."""
    drawing = Drawing(say("The recess, full size; full line: knife, dashed: pen, grey: routed"))
    drawing.fill(recess.pen_in, Layer.DARK, ROUTED_GREY)
    for point, pen_tip in zip(recess.points, recess.pen_in[::2], strict=True):
        drawing.fill(_left_by_bit(point, pen_tip, recess.bit_in / 2), Layer.DARK, UNTOUCHED_GREY)
    for name, point in zip(names, recess.points, strict=True):
        middle = (float(point.bit_middle_in[0]), float(point.bit_middle_in[1]))
        drawing.circle(middle, recess.bit_in / 2, Layer.BIT, FINE_IN)
        outward = point.tip_in - point.bit_middle_in
        outward = outward / hypot(*outward)
        words = f"{name}: {lengths().rule(point.left_in).removesuffix(' in')}"
        out_in = LABEL_OUT_IN + abs(outward[0]) * text_width_in(words, SMALL_TEXT_IN) / 2
        label = point.tip_in + out_in * outward
        drawing.words(words, (float(label[0]), float(label[1]) - 0.04), SMALL_TEXT_IN, anchor="middle")
    drawing.outline(recess.pen_in, Layer.PEN, FINE_IN, 0.0, DASHED_IN)
    drawing.outline(recess.outline_in, Layer.KNIFE, PLAIN_IN)
    drawing.line((-0.12, 0.0), (0.12, 0.0), Layer.NOTE, FINE_IN)
    drawing.line((0.0, -0.12), (0.0, 0.12), Layer.NOTE, FINE_IN)
    return drawing


def _left_by_bit(point: PointLeft, pen_tip: Array, radius_in: float) -> list[Point]:
    """The pen line's point up to where the bit touches, with the bit's arc as many short edges."""
    x, y = (float(value) for value in point.bit_middle_in)
    away = (float(pen_tip[0]) - x, float(pen_tip[1]) - y)
    distance = hypot(*away)
    half_arc = acos(min(radius_in / distance, 1.0))
    toward = atan2(away[1], away[0])
    arc = [toward - half_arc + 2 * half_arc * k / ARC_STEPS for k in range(ARC_STEPS + 1)]
    return [(float(pen_tip[0]), float(pen_tip[1])), *((x + radius_in * cos(turn), y + radius_in * sin(turn)) for turn in arc)]


def _listed(names: list[str]) -> str:
    """1 to 4 for a run, else 1, 3, 5."""
    numbers = sorted(int(name) for name in names)
    if len(numbers) > 2 and numbers == list(range(numbers[0], numbers[-1] + 1)):
        return say("{first} to {last}", first=numbers[0], last=numbers[-1])
    return ", ".join(str(number) for number in numbers)
