"""The picture's words: its title with the counts, and what its marks, lines and gauges mean."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..advise.cautions import BY_EYE, KNIFE_IN
from ..basis.language import say, say_count
from ..basis.units import lengths
from ..result import BareTop, Inspection, Stage, Verdict
from .bare_words import rose_parts, seam_numbers, top_sentences
from .closing import closing_sentence, gaping
from .overlay_canvas import Canvas, text_width, wrapped
from .overlay_palette import FAINT_INK, INK, LINE_COLOURS, Colour
from .overlay_words import edges_supposed, letter_of, measure_words, thousandths
from .words import VERDICT_WORDS, clock_of, limit_words, stage_words

TITLE_PX = 56
BODY_PX = 40
SMALL_PX = 36
LEADING = 1.24  # line to line, in type sizes
BETWEEN_PX = 44  # from one item to the next in a line
SAMPLE_PX = 62  # length of a line's sample


def line_px(size_px: int) -> int:
    """From one line of text to the next."""
    return round(LEADING * size_px)


@dataclass(frozen=True, slots=True)
class Item:
    """A piece of the legend: a sample (a mark's kind, or the name of a line) and its words."""

    words: str
    size_px: int = SMALL_PX
    sample: str | None = None
    bold: bool = False
    colour: Colour = INK
    alone: bool = False  # on a line of its own

    @property
    def lead_px(self) -> float:
        """What its sample takes."""
        if self.sample is None:
            return 0.0
        return (SAMPLE_PX if self.sample.startswith("line ") else 0.75 * self.size_px) + 14


Placed = tuple[Item, float, float]  # its words, left and top


def flowed(items: Sequence[Item], width: float) -> tuple[list[Placed], float]:
    """Items set one after the other, broken into lines between them, long ones within; and the height they take."""
    placed: list[Placed] = []
    x, y, tallest = 0.0, 0.0, 0
    for item in items:
        needs = item.lead_px + text_width(item.words, item.size_px, item.bold)
        if x > 0 and (item.alone or x + needs > width):
            x, y, tallest = 0.0, y + tallest, 0
        pieces = wrapped(item.words, item.size_px, width - item.lead_px, item.bold)
        for index, piece in enumerate(pieces):
            if index:
                y += line_px(item.size_px)
            shown = Item(piece, item.size_px, item.sample if index == 0 else None, item.bold, item.colour)
            placed.append((shown, x + item.lead_px, y))
        tallest = max(tallest, line_px(item.size_px))
        x += needs + BETWEEN_PX
        if item.alone or len(pieces) > 1:
            x, y, tallest = 0.0, y + tallest, 0
    return placed, y + tallest


def draw_items(canvas: Canvas, placed: Sequence[Placed]) -> None:
    """The items at their places on the canvas."""
    for item, x, y in placed:
        box = canvas.write(item.words, x, y, item.size_px, bold=item.bold, colour=item.colour)
        if item.sample is None:
            continue
        middle = (box.y0 + box.y1) / 2 + 1
        if item.sample.startswith("line "):
            _draw_sample(canvas, item.sample, x - item.lead_px + 2, x - 14, middle)
        else:
            canvas.mark(item.sample, (x - item.lead_px / 2 - 5, middle), 0.3 * item.size_px)


def _draw_sample(canvas: Canvas, sample: str, x0: float, x1: float, y: float) -> None:
    spans = {
        "line outline": [(0.0, 1.0)],
        "line supposed": [(k / 4, k / 4 + 0.13) for k in range(4)],
        "line seam": [(0.0, 0.27), (0.5, 0.77)],
        "line own": [(k / 5, k / 5 + 0.06) for k in range(5)],
    }
    lines = [np.array([[x0 + (x1 - x0) * a, y], [x0 + (x1 - x0) * b, y]]) for a, b in spans[sample]]
    canvas.cased(lines, LINE_COLOURS["seam" if sample == "line seam" else "outline"], 2)


def title_items(inspection: Inspection) -> list[Item]:
    """What photo this is, how strictly it was judged, and how many tips came out how."""
    others = len(inspection.together.photos) - 1 if inspection.together else 0
    more = say_count(", with {count} more photo", ", with {count} more photos", others) if inspection.together else ""
    items = [Item(inspection.photo_name + more, TITLE_PX, bold=True, alone=True)]
    stage = stage_words(inspection)
    closing = Item(closing_sentence(inspection), BODY_PX, alone=True)
    if inspection.stage is Stage.BARE:
        return [*items, Item(say("{stage}: {count} field seams", stage=stage, count=len(inspection.seams)), BODY_PX), closing]
    if inspection.stage is Stage.LOOSE:
        found = say("{stage}: {count} found, each point against the lobe's own seam", stage=stage, count=len(inspection.tips))
        return [*items, Item(found, BODY_PX), closing]
    within = say("{stage}, points to lie within {limit}", stage=stage, limit=limit_words(inspection.tolerance_in))
    items.append(Item(within, BODY_PX, alone=True))
    counts = Counter(tip.verdict for tip in inspection.tips)
    for verdict in (Verdict.ON, Verdict.OFF, Verdict.UNSURE, Verdict.UNMEASURED):
        items.append(Item(f"{counts[verdict]} {say(VERDICT_WORDS[verdict])}", BODY_PX, sample=verdict.value, bold=True))
    return [*items, closing]


def _line_items(inspection: Inspection) -> list[Item]:
    loose, bare = inspection.stage is Stage.LOOSE, inspection.stage is Stage.BARE
    items = []
    if not bare:
        items.append(Item(say("edges as found"), sample="line outline"))
        if any(edges_supposed(tip) for tip in inspection.tips):
            items.append(Item(say("edges supposed"), sample="line supposed"))
        items += [Item(say("the lobe's own seam"), sample="line own")]
    if not loose:
        items.append(Item(say("field seam"), sample="line seam"))
    if not bare:
        seam = say("own seam") if loose else say("field seam")
        band = "" if loose else f" {say('Shaded: the tolerance.')}"
        how = say(
            "Each inset looks straight down with the seam running up, clockwise to the right. On its gauge zero is the {seam}, the bar is "
            "the point's offset, the bracket its give or take, the ticks are {tick} apart.{band}",
            seam=seam,
            tick=lengths().rule(lengths().tick_in),
            band=band,
        )
        items.append(Item(how, alone=True))
    return items


def _joint_items(inspection: Inspection) -> list[Item]:
    if not inspection.joints:
        return []
    counts = Counter(joint.verdict for joint in inspection.joints)
    over = say(" (over {limit})", limit=limit_words(inspection.gap_tolerance_in))
    order = {Verdict.OPEN: over, Verdict.UNSURE: "", Verdict.UNMEASURED: "", Verdict.CLOSED: ""}
    words = ", ".join(f"{counts[verdict]} {say(VERDICT_WORDS[verdict])}{limit}" for verdict, limit in order.items() if counts[verdict])
    shown = gaping(inspection)
    if not shown:
        return [Item(say("Joints: {counts}.", counts=words), alone=True)]
    items = [Item(say("Joints: {counts}. Widest first, between lobes:", counts=words), sample="open", alone=True)]
    for index, joint in enumerate(shown):
        sides = " | ".join(say("field") if lobe is None else str(lobe) for lobe in joint.lobes)
        gap = f"  {measure_words(joint.max_gap)}" if joint.max_gap else ""
        items.append(Item(f"{letter_of(index)}:  {sides}{gap}"))
    return items


def _bare_items(top: BareTop, tolerance_in: float) -> list[Item]:
    """The edge, and how the rose is to be laid."""
    items = [
        Item(f"{number}:  {clock_of(bearing)}, " + say("unmeasured: {why}", why=why.seam_sentence)) for number, bearing, why in top.lost
    ]
    items += [Item(sentence, alone=True) for sentence in top_sentences(top)]
    place = top.fewest or top.even
    if place is None:
        return items
    items += [Item(heading, alone=True) for heading, _, _ in rose_parts(top, tolerance_in)]
    items.append(Item(say("a point within the tolerance"), sample="on"))
    if any(point.suited for point in place.points):
        items.append(Item(say("its lobe to be made to suit"), sample="unsure"))
    rings = say(
        "Rings on the photo: where the points and the centre of the rose would lie. In the inset each is drawn beside its seam, clockwise "
        "to clockwise, between marks for the tolerance."
    )
    items.append(Item(rings, alone=True))
    return items


def legend_items(inspection: Inspection, lean_in: float) -> list[Item]:
    """All that stands beneath the insets. `lean_in`: the most by which a tip shows beside its plan place."""
    items = _line_items(inspection)
    if lean_in > 0:
        lean = say(
            "Drawn at the offset in plan: the rose stands higher than the field and leans outward in the photo, so a point may show up to "
            "{lean} beside the line that comes down to its gauge.",
            lean=f"{thousandths(lean_in)} {lengths().symbol}",
        )
        items.append(Item(lean, alone=True))
    items += _joint_items(inspection)
    if inspection.odd_lobes:
        names = ", ".join(str(lobe) for lobe in inspection.odd_lobes)
        items.append(Item("⇄  " + say("laid the wrong way round: lobe {lobes}.", lobes=names), bold=True, alone=True))
    for number, seam in zip(seam_numbers(inspection), inspection.seams, strict=True):
        words = [clock_of(seam.bearing)]
        if seam.off_centre is not None:
            off = say("{length} off the centre", length=thousandths(seam.off_centre.value))
            words.append(off if seam.off_centre.value else say("through the centre"))
        items.append(Item(f"{number}:  {', '.join(words)}"))
    if inspection.bare is not None:
        items += _bare_items(inspection.bare, inspection.tolerance_in)
    items += [Item(warning, colour=FAINT_INK, alone=True) for warning in inspection.warnings]
    return [*items, Item(say(KNIFE_IN if inspection.stage is Stage.DRY_FIT else BY_EYE), bold=True, alone=True)]
