"""Full-size patterns of a rose made for one top: the common ones, those of lobes that need their own, and every lobe in its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from ..basis.frames import Array, right_of, unit_of_bearing
from ..basis.language import say, say_count
from ..design.cut_list import STEP_IN, Blanks, CutList
from ..design.draw_up import SIDE_SPARE_IN
from ..design.laid_rose import LaidLobe, LaidRose, OwnPattern
from ..design.wish import Wish
from .drawing import CHAIN_IN, FINE_IN, PLAIN_IN, SMALL_TEXT_IN, TEXT_IN, Drawing, Layer
from .lobe_template import DARK_GREY, SEAM_BEYOND_IN, lobe_pattern, pattern_drawing
from .template_words import Rows
from .words import Column, angle_words, length_words


@dataclass(frozen=True)
class Laying:
    """Where the rose goes on the top, in words, and how well its points then meet their seams."""

    photo: str
    where: str
    largest: str
    unknown: tuple[int, ...] = ()  # seams that weren't measured


def laid_drawings(laid: LaidRose, cuts: CutList, room_in: tuple[float, float], wish: Wish, unknown: Sequence[int] = ()) -> list[Drawing]:
    """A pattern for each ring that has common lobes, one for each lobe or lobes of their own, then the rose as it lies."""
    drawings = [lobe_pattern(laid.rose, blanks, room_in, wish) for blanks in cuts.blanks if has_common(laid, blanks.ring.number)]
    for own in laid.own:
        blanks = wide_enough(cuts.blanks[own.ring - 1], own)
        title = say("Pattern {name}, for {seams}, full size", name=own.name, seams=seam_words(own))
        drawings.append(pattern_drawing(title, own.shape, laid.rose.dark_side, blanks, own_rows(own), room_in))
    return [*drawings, laid_drawing(laid, unknown)]


def has_common(laid: LaidRose, ring: int) -> bool:
    return any(lobe.pattern == str(ring) for lobe in laid.lobes)


def wide_enough(blanks: Blanks, own: OwnPattern) -> Blanks:
    """The ring's blanks, their strips as wide as this pattern's wider half needs."""
    _, left, _, right = own.shape.corners_in
    needed = ceil((max(-float(left[0]), float(right[0])) + SIDE_SPARE_IN) / STEP_IN - 1e-9) * STEP_IN
    return Blanks(blanks.ring, blanks.count, max(blanks.strip_width_in, needed), blanks.length_in)


def seam_words(own: OwnPattern) -> str:
    seams = ", ".join(str(seam) for seam in own.seams)
    return say("seam {seams}", seams=seams) if len(own.seams) == 1 else say("seams {seams}", seams=seams)


def own_rows(own: OwnPattern) -> Rows:
    """A pattern's dimensions; left and right as seen from the root."""
    shape = own.shape
    _, left, tip, right = shape.corners_in
    return [
        (say("root to tip"), length_words(shape.length_in)),
        (say("left short edge"), length_words(shape.left_short_in)),
        (say("right short edge"), length_words(shape.right_short_in)),
        (say("left long edge"), length_words(float(np.hypot(*(tip - left))))),
        (say("right long edge"), length_words(float(np.hypot(*(tip - right))))),
        (say("left of the centre line, at the root"), angle_words(shape.left_root)),
        (say("right of it"), angle_words(shape.right_root)),
        (say("root angle"), angle_words(shape.root_angle)),
    ]


def own_lines(laid: LaidRose, laying: Laying) -> list[str]:
    """What is made for this top, for the terminal."""
    lines = [say("For the top in {photo}. {where}", photo=laying.photo, where=laying.where), laying.largest]
    if not laid.own and not laying.unknown:
        return [*lines, say("Every lobe is cut to its ring's common pattern.")]
    for own in laid.own:
        lines += ["", say("Pattern {name}, for {seams}", name=own.name, seams=seam_words(own))]
        lines += [f"  {name:<38}{value}" for name, value in own_rows(own)]
    for ring in laid.rose.rings:
        common = [lobe.place.seam for lobe in laid.lobes if lobe.pattern == str(ring.number)]
        rest = sorted(seam for seam in common if seam not in laying.unknown)
        later = sorted(seam for seam in common if seam in laying.unknown)
        if rest:
            lines += ["", _cut_to(ring.number, rest)]
        if later:
            lines += [
                "",
                say_count(
                    "Not cut yet: seam {seams}, which wasn't measured; ring {ring}'s common pattern shows about how large its lobe is.",
                    "Not cut yet: seams {seams}, which weren't measured; ring {ring}'s common pattern shows about how large their lobes "
                    "are.",
                    len(later),
                    seams=", ".join(map(str, later)),
                    ring=ring.number,
                ),
            ]
    return lines


def _cut_to(ring: int, seams: Sequence[int]) -> str:
    return say_count(
        "Cut to ring {ring}'s common pattern: seam {seams}.",
        "Cut to ring {ring}'s common pattern: seams {seams}.",
        len(seams),
        seams=", ".join(map(str, seams)),
        ring=ring,
    )


def laying_page(laid: LaidRose, laying: Laying, room_in: tuple[float, float]) -> Drawing:
    """Where the rose goes, and which lobe is cut to which pattern; each pattern's own page has its dimensions."""
    page = Drawing(say("For this very top"), from_top=True)
    column = Column(page, 0.0, 0.0, room_in[0])
    column.paragraph(say("For the top in {photo}. {where}", photo=laying.photo, where=laying.where))
    column.paragraph(laying.largest)
    column.heading(say("Which lobe is cut to which pattern"))
    for lobe in laid.lobes:
        column.row([(0.0, say("seam {seams}", seams=str(lobe.place.seam))), (1.2, _pattern_words(lobe, lobe.place.seam in laying.unknown))])
    return page


def _pattern_words(lobe: LaidLobe, unknown: bool) -> str:
    if unknown:
        return say("unmeasured: cut it last, to the seam itself, about as large as pattern {name}", name=lobe.pattern)
    if lobe.pattern == str(lobe.place.ring):
        return say("ring {ring}'s common pattern", ring=lobe.place.ring)
    return say("pattern {name}, of ring {ring}", name=lobe.pattern, ring=lobe.place.ring)


def laid_drawing(laid: LaidRose, unknown: Sequence[int] = ()) -> Drawing:
    """Every lobe where it lies at true size, the photo's up upward; the rose's centre at the origin."""
    drawing = Drawing(say("The whole rose as it lies, full size; chain lines: field seams"))
    dark_right = laid.rose.dark_side == "cw"
    for lobe in laid.lobes:
        root, left, tip, right = lobe.corners_in
        drawing.fill(np.stack([root, right if dark_right else left, tip]), Layer.DARK, DARK_GREY)
    for lobe in laid.lobes:
        root, left, tip, right = lobe.corners_in
        reach = float(np.hypot(*tip))
        outward = unit_of_bearing(lobe.place.bearing)
        drawing.line(_point(tip), _point((reach + SEAM_BEYOND_IN) * outward), Layer.SEAM, FINE_IN, 0.0, CHAIN_IN)
        drawing.line(_point(root), _point(tip), Layer.CENTRE, FINE_IN)
        drawing.outline(lobe.corners_in, Layer.ROSE, FINE_IN)
        across = float(np.hypot(*(right - left))) / 2
        aside = (-0.42 if dark_right else 0.42) * across
        middle = (left + right) / 2 + 0.05 * (tip - root) + aside * right_of(outward)
        size = min(TEXT_IN, 0.4 * across)
        drawing.words(lobe.pattern, (float(middle[0]), float(middle[1]) - 0.36 * size), size, anchor="middle")
        label = (reach + SEAM_BEYOND_IN + 0.14) * outward
        seam = f"{lobe.place.seam}?" if lobe.place.seam in unknown else str(lobe.place.seam)
        drawing.words(seam, (float(label[0]), float(label[1]) - 0.36 * SMALL_TEXT_IN), SMALL_TEXT_IN, anchor="middle")
    drawing.outline(laid.outline_in(), Layer.KNIFE, PLAIN_IN)
    drawing.line((-0.12, 0.0), (0.12, 0.0), Layer.NOTE, FINE_IN)
    drawing.line((0.0, -0.12), (0.0, 0.12), Layer.NOTE, FINE_IN)
    foot = -max(float(np.hypot(*lobe.corners_in[2])) for lobe in laid.lobes) - SEAM_BEYOND_IN - 0.45
    words = say("inside a lobe: its pattern; at a seam: its number, clockwise from the photo's up ")
    if unknown:
        words = say("inside a lobe: its pattern; at a seam: its number, clockwise from the photo's up (?: unmeasured, drawn as if even)")
    drawing.words(words, (0.0, foot), SMALL_TEXT_IN, anchor="middle")
    return drawing


def _point(place: Array) -> tuple[float, float]:
    return float(place[0]), float(place[1])
