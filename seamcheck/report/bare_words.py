"""What is said of a bare top besides its seams: where its edge lies, and how to lay a rose on it."""

from __future__ import annotations

from collections.abc import Sequence
from math import atan2, degrees, hypot

from ..basis.language import say, say_count
from ..basis.units import lengths
from ..result import BareTop, Inspection, RosePlace, RosePoint
from .words import clock_of, decimals, length_words, limit_words, list_words, offset_words, u95_decimals


def seam_numbers(inspection: Inspection) -> list[int]:
    """The numbers of the seams that were measured, in their order."""
    if inspection.bare is None:
        return list(range(1, len(inspection.seams) + 1))
    return list(inspection.bare.numbers[: len(inspection.seams)])


def leaves_words(top: BareTop) -> str:
    """How many leaves, or why that can't be told and what to do about it."""
    if top.leaves is None:
        return say(
            "How many leaves the top has can't be told: of {all} seams that were looked for, {count} could be followed. If a rose lies on "
            "it, say so by --stage dry-fit or inlaid; if it's bare, wipe it with a damp cloth, light it evenly and come closer.",
            all=top.looked_for,
            count=len(top.numbers) or say("none"),
        )
    return say_count("The top has {count} leaf.", "The top has {count} leaves.", top.leaves)


def top_sentences(top: BareTop) -> list[str]:
    """Leaves and edge."""
    leaves = leaves_words(top)
    if top.diameter is None:
        if top.edge_reason is None:
            return [f"{leaves} {say('Its diameter is unmeasured.')}"]
        why, remedy = top.edge_reason.sentence, top.edge_reason.remedy
        return [f"{leaves} {say('Its diameter is unmeasured, because {why}: {remedy}.', why=why, remedy=remedy)}"]
    number = f"{decimals(top.diameter.value, 3)} ±{u95_decimals(top.diameter.u95, 3)}"
    across = say("It is {length} across ({number})", length=length_words(top.diameter.value), number=number)
    if top.edge_off is None or top.edge_off_bearing is None:
        return [f"{leaves} {across}."]
    off = f"{decimals(top.edge_off.value)} ±{u95_decimals(top.edge_off.u95)}"
    if top.edge_off.value <= top.edge_off.u95:
        middle = say("and as far as can be told its middle is where the seams meet ({number} beside it)", number=off)
    else:
        middle = say(
            "and its middle lies {length} ({number}) toward {clock} from where the seams meet",
            length=length_words(top.edge_off.value),
            number=off,
            clock=clock_of(top.edge_off_bearing),
        )
    return [f"{leaves} {across}, {middle}."]


def rose_parts(top: BareTop, tolerance_in: float) -> list[tuple[str, list[str], list[str]]]:
    """(heading, table's rows, sentences after it) of each way to lay the rose."""
    if top.even is None:
        return []
    reaches = list_words([length_words(reach) for reach in top.reaches_in])
    even = top.even
    heading = say(
        "A perfect rose of {points} points that reach {reaches}{supposed} misses least {place}: no point{known} by more than {length} "
        "({number}).",
        points=len(even.points),
        reaches=reaches,
        supposed="" if top.reach_told else say(" (supposed: say --reach)"),
        place=place_words(even),
        known=_known(even),
        length=length_words(even.largest_in),
        number=decimals(even.largest_in),
    )
    parts: list[tuple[str, list[str], list[str]]] = [(heading, _rows(even), [])]
    if even.largest_in <= tolerance_in:
        parts[0][2].append(_within(even, tolerance_in))
    elif top.fewest is None:
        parts[0][2].append(say("More than half of its lobes would have to be made to suit: a rose made for this very top is better."))
    else:
        parts.append((_fewest_heading(top.fewest, tolerance_in), _suited_rows(top.fewest), _fewest_after(top.fewest)))
    return parts


def _within(place: RosePlace, tolerance_in: float) -> str:
    """Of a place where no point is known to miss by too much: whether that is sure of every one."""
    limit = limit_words(tolerance_in)
    lost = [str(point.seam) for point in place.points if point.miss is None]
    doubtful = [
        str(point.seam) for point in place.points if point.miss is not None and abs(point.miss.value) + point.miss.u95 > tolerance_in
    ]
    if not lost and not doubtful:
        return say("Within {limit}: no lobe need be made to suit.", limit=limit)
    words = []
    if doubtful:
        words.append(
            say_count(
                "Within {limit} as measured, but at seam {seams} what it's uncertain by reaches past that: check there before cutting.",
                "Within {limit} as measured, but at seams {seams} what they're uncertain by reaches past that: check there before cutting.",
                len(doubtful),
                limit=limit,
                seams=list_words(doubtful),
            )
        )
    else:
        words.append(say("Within {limit} where seams were measured.", limit=limit))
    return " ".join([*words, *([unmeasured_words(lost)] if lost else [])])


def unmeasured_words(seams: Sequence[str]) -> str:
    """What seams that couldn't be had mean for the lobes that go there."""
    return say_count(
        "Seam {seams} wasn't measured, so its lobe and those beside it in the ring have no angles yet: cut them last, to the seam itself.",
        "Seams {seams} weren't measured, so their lobes and those beside them in the ring have no angles yet: cut them last, to the seams "
        "themselves.",
        len(seams),
        seams=list_words(list(seams)),
    )


def place_words(place: RosePlace) -> str:
    """ "with its centre 1/64 in toward 7:30 from where the seams meet, turned .14° clockwise"."""
    return laying_words(place.shift_in, place.turn)


def laying_words(shift_in: tuple[float, float], turn: float) -> str:
    """The same of a shift (to the photo's right and up, inches) and a turn (rad)."""
    right, up = shift_in
    away = hypot(right, up)
    size = format(abs(degrees(turn)), ".2f") + "°"
    return say(
        "with its centre {length} ({number}) toward {clock} from where the seams meet, turned {turn}",
        length=length_words(away),
        number=decimals(away),
        clock=clock_of(atan2(right, up)),
        turn=say("{length} clockwise", length=size) if turn > 0 else say("{length} counterclockwise", length=size),
    )


def _rows(place: RosePlace) -> list[str]:
    rows = [f"  {say('seam'):4} {say('clock'):>10}  {say('ring'):4}  {say('point would miss by'):26} {lengths().plural}"]
    for point in place.points:
        words, inches = _miss(point)
        rows.append(f"  {point.seam:>4} {clock_of(point.bearing):>10}  {point.ring:>4}  {words:26} {inches}".rstrip())
    return rows


def _miss(point: RosePoint) -> tuple[str, str]:
    if point.miss is None:
        return say("unmeasured"), ""
    return offset_words(point.miss.value), f"{decimals(point.miss.value)} ±{u95_decimals(point.miss.u95)}"


def _fewest_heading(place: RosePlace, tolerance_in: float) -> str:
    suited = [point for point in place.points if point.suited and point.miss is not None]
    return say_count(
        "With the lobe at seam {seams} made to suit, and the rose {place}, all other points{known} lie within {limit} ({number} at most).",
        "With the lobes at seams {seams} made to suit, and the rose {place}, all other points{known} lie within {limit} "
        "({number} at most).",
        len(suited),
        seams=list_words([str(point.seam) for point in suited]),
        place=place_words(place),
        known=_known(place, others=True),
        limit=limit_words(tolerance_in),
        number=decimals(place.largest_in),
    )


def _known(place: RosePlace, others: bool = False) -> str:
    """What the points that a sentence speaks of are narrowed to, where some seam wasn't measured."""
    if all(point.miss is not None for point in place.points):
        return ""
    return say(" whose seams were measured") if others else say(" whose seam was measured")


def _suited_rows(place: RosePlace) -> list[str]:
    """The lobes whose angles aren't even: those made to suit, and their neighbours in the ring; and those whose seams aren't known."""
    halves = f"{say('left of own seam'):>16} {say('right of it'):>12} {say('together'):>10}"
    rows = [f"  {say('seam'):4} {say('clock'):>10}  {say('ring'):4}  {halves}  {say('length')}"]
    for point in place.points:
        if point.miss is None:
            rows.append(f"  {point.seam:>4} {clock_of(point.bearing):>10}  {point.ring:>4}  {say('unmeasured'):>16}")
        if point.left_angle is None or point.right_angle is None:
            continue
        uneven = abs(point.left_angle - point.right_angle) > UNEVEN or point.suited
        if uneven:
            left, right = degrees(point.left_angle), degrees(point.right_angle)
            length = length_words(point.reach_in) if point.ring == 1 else ""
            rows.append(
                f"  {point.seam:>4} {clock_of(point.bearing):>10}  {point.ring:>4}  "
                f"{left:>15.2f}° {right:>11.2f}° {left + right:>9.2f}°  {length}".rstrip()
            )
    return rows


def _fewest_after(place: RosePlace) -> list[str]:
    first = [point for point in place.points if point.ring == 1]
    words = say("Angles at the root, between its own seam and its joints; the lobes beside one made to suit give or take the difference.")
    if len(first) < len(place.points):
        later = say("Of later rings: the turn from its own seam to halfway to the ring's next, which its notch has to give.")
        words = f"{words} {later}"
    lost = [str(point.seam) for point in place.points if point.miss is None]
    return [f"{words} {unmeasured_words(lost)}" if lost else words]


# Halves of a root angle that differ by less than this are even (rad).
UNEVEN = 1e-4
