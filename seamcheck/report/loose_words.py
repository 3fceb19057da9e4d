"""The shape of loose lobes in the report: every edge's length and straightness, and where the own seam passes the root."""

from __future__ import annotations

from collections.abc import Iterator

from ..basis.language import say, to_say
from ..basis.uncertain import Estimate
from ..basis.units import lengths
from ..result import EDGES, Inspection
from .words import decimals, u95_decimals

HEADS = {
    "left_short": to_say("left short"),
    "right_short": to_say("right short"),
    "left_long": to_say("left long"),
    "right_long": to_say("right long"),
}
COLUMN = 13  # letters


def shape_lines(inspection: Inspection) -> Iterator[tuple[str, str]]:
    """(words, style) of two tables; nothing where no lobe's shape was measured."""
    shapes = [(tip.lobe, tip.shape) for tip in inspection.tips if tip.shape is not None]
    if not any(shape.lengths or shape.bows for _, shape in shapes):
        return
    heads = " ".join(f"{say(head):>{COLUMN}}" for head in HEADS.values())
    yield "", ""
    yield say("Edges, corner to corner, and how far the root lies off the own seam, {unit}.", unit=lengths().plural), ""
    yield f"  {say('lobe'):4} {heads} {say('root off seam'):>{COLUMN}}", "dim"
    for lobe, shape in shapes:
        cells = [_told(shape.lengths.get(edge)) for edge in EDGES]
        yield f"  {lobe:>4} {' '.join(cells)} {_told(shape.own_root_offset, ('cw', 'ccw'))}".rstrip(), ""
    yield "", ""
    yield say("An edge's middle stands out (+) or is hollow (-); of long edges the outer part."), ""
    yield f"  {say('lobe'):4} {heads}", "dim"
    for lobe, shape in shapes:
        yield f"  {lobe:>4} {' '.join(_told(shape.bows.get(edge), ('+', '-')) for edge in EDGES)}".rstrip(), ""


def _told(estimate: Estimate | None, sides: tuple[str, str] = ("", "")) -> str:
    """In its column: ".012 ±.004", with what its sign is called; empty where it couldn't be had."""
    if estimate is None:
        return " " * COLUMN
    size, give = decimals(estimate.value, 3), u95_decimals(estimate.u95, 3)
    is_nothing = not float(size)
    side = "" if is_nothing else sides[0] if estimate.value > 0 else sides[1]
    words = f"{side}{size} ±{give}" if side in ("+", "-") else f"{size} ±{give} {side}".rstrip()
    return f"{words:>{COLUMN}}"
