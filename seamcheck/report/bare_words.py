"""What is said of a bare top besides its seams: where its edge lies, and how to lay a rose on it."""

from __future__ import annotations

from math import atan2, degrees, hypot

from ..basis.units import lengths
from ..result import BareTop, Inspection, RosePlace, RosePoint
from .words import clock_of, count_words, decimals, length_words, limit_words, list_words, offset_words, u95_decimals


def seam_numbers(inspection: Inspection) -> list[int]:
    """The numbers of the seams that were measured, in their order."""
    if inspection.bare is None:
        return list(range(1, len(inspection.seams) + 1))
    return list(inspection.bare.numbers[: len(inspection.seams)])


def top_sentences(top: BareTop) -> list[str]:
    """Leaves and edge."""
    leaves = f"The top has {count_words(top.leaves, 'leaf', 'leaves')}."
    if top.diameter is None:
        why = f", because {top.edge_reason.sentence}: {top.edge_reason.remedy}" if top.edge_reason else ""
        return [f"{leaves} Its diameter is unmeasured{why}."]
    across = f"It is {length_words(top.diameter.value)} across ({decimals(top.diameter.value, 3)} ±{u95_decimals(top.diameter.u95, 3)})"
    if top.edge_off is None or top.edge_off_bearing is None:
        return [f"{leaves} {across}."]
    off = f"{decimals(top.edge_off.value)} ±{u95_decimals(top.edge_off.u95)}"
    if top.edge_off.value <= top.edge_off.u95:
        return [f"{leaves} {across}, and as far as can be told its middle is where the seams meet ({off} beside it)."]
    way = clock_of(top.edge_off_bearing)
    return [f"{leaves} {across}, and its middle lies {length_words(top.edge_off.value)} ({off}) toward {way} from where the seams meet."]


def rose_parts(top: BareTop, tolerance_in: float) -> list[tuple[str, list[str], list[str]]]:
    """(heading, table's rows, sentences after it) of each way to lay the rose."""
    if top.even is None:
        return []
    reaches = list_words([length_words(reach) for reach in top.reaches_in])
    told = "" if top.reach_told else " (supposed: say --reach)"
    even = top.even
    heading = (
        f"A perfect rose of {len(even.points)} points that reach {reaches}{told} misses least {place_words(even)}: "
        f"no point by more than {length_words(even.largest_in)} ({decimals(even.largest_in)})."
    )
    parts: list[tuple[str, list[str], list[str]]] = [(heading, _rows(even), [])]
    if even.largest_in <= tolerance_in:
        parts[0][2].append(f"Within {limit_words(tolerance_in)}: no lobe need be made to suit.")
    elif top.fewest is None:
        parts[0][2].append("More than half of its lobes would have to be made to suit: a rose made for this very top is better.")
    else:
        parts.append((_fewest_heading(top.fewest, tolerance_in), _suited_rows(top.fewest), _fewest_after(top.fewest)))
    return parts


def place_words(place: RosePlace) -> str:
    """ "with its centre 1/64 in toward 7:30 from where the seams meet, turned .14° clockwise"."""
    right, up = place.shift_in
    away = hypot(right, up)
    shift = f"with its centre {length_words(away)} ({decimals(away)}) toward {clock_of(atan2(right, up))} from where the seams meet"
    turn = degrees(place.turn)
    side = "clockwise" if turn > 0 else "counterclockwise"
    return f"{shift}, turned {abs(turn):.2f}° {side}"


def _rows(place: RosePlace) -> list[str]:
    rows = [f"  {'seam':4} {'clock':>10}  {'ring':4}  {'point would miss by':26} {lengths().plural}"]
    for point in place.points:
        words, inches = _miss(point)
        rows.append(f"  {point.seam:>4} {clock_of(point.bearing):>10}  {point.ring:>4}  {words:26} {inches}".rstrip())
    return rows


def _miss(point: RosePoint) -> tuple[str, str]:
    if point.miss is None:
        return "unmeasured", ""
    return offset_words(point.miss.value), f"{decimals(point.miss.value)} ±{u95_decimals(point.miss.u95)}"


def _fewest_heading(place: RosePlace, tolerance_in: float) -> str:
    suited = [point for point in place.points if point.suited]
    seams = list_words([str(point.seam) for point in suited])
    one = len(suited) == 1
    return (
        f"With the {'lobe' if one else 'lobes'} at {'seam' if one else 'seams'} {seams} made to suit, and the rose {place_words(place)}, "
        f"all other points lie within {limit_words(tolerance_in)} ({decimals(place.largest_in)} at most)."
    )


def _suited_rows(place: RosePlace) -> list[str]:
    """The lobes whose angles aren't even: those made to suit, and their neighbours in the ring."""
    rows = [f"  {'seam':4} {'clock':>10}  {'left of own seam':>16} {'right of it':>12} {'together':>10}  length"]
    for point in place.points:
        if point.left_angle is None or point.right_angle is None:
            continue
        uneven = abs(point.left_angle - point.right_angle) > UNEVEN or point.suited
        if uneven:
            left, right = degrees(point.left_angle), degrees(point.right_angle)
            length = length_words(point.reach_in) if point.ring == 1 else ""
            rows.append(
                f"  {point.seam:>4} {clock_of(point.bearing):>10}  {left:>15.2f}° {right:>11.2f}° {left + right:>9.2f}°  {length}".rstrip()
            )
    return rows


def _fewest_after(place: RosePlace) -> list[str]:
    first = [point for point in place.points if point.ring == 1]
    words = "Angles at the root, between its own seam and its joints; the lobes beside one made to suit give or take the difference."
    if len(first) < len(place.points):
        words += " Of later rings: the turn from its own seam to halfway to the ring's next, which its notch has to give."
    return [words]


# Halves of a root angle that differ by less than this are even (rad).
UNEVEN = 1e-4
