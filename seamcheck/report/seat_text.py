"""The report of a rose in its recess, in the terminal."""

from __future__ import annotations

from collections.abc import Iterator

from ..advise.cautions import BY_EYE, GLUE_AND_PRESS, MAKERS_FIRST, PARE, ROUTER
from ..basis.language import say, say_count
from ..basis.uncertain import Estimate
from ..basis.units import lengths
from ..result import Room, SeatedEdge, SeatedPoint, Seating
from .seat_words import (
    POINT_WORDS,
    ROOM_MARKS,
    ROOM_WORDS,
    SIDE_WORDS,
    doubt_words,
    pares,
    room_words,
    seat_sentence,
    standing_words,
    turn_words,
    uncut_words,
)
from .text import Line, _because, _wrapped
from .words import bars_words, clock_of, length_words, limit_words, list_words

SIGNS = {"on": "●", "off": "◆", "unsure": "▲", "unmeasured": "□", "open": "⧗"}
STYLES = {Room.TIGHT: "bold red", Room.GAPES: "bold red", Room.UNSURE: "yellow", Room.UNMEASURED: "yellow"}


def seat_lines(seating: Seating) -> list[Line]:
    """The whole report, from the first line to the cautions."""
    lines = [Line(words) for words in _wrapped(_opening(seating))]
    lines += [Line(words) for words in _wrapped(turn_words(seating))]
    room = say(
        "Edges, going round: how far the recess's wall lies outside of the rose's edge, where the rose has most room; minus where it "
        "binds. A gap may be {limit}.",
        limit=limit_words(seating.gap_tolerance_in),
    )
    lines += [Line(""), *(Line(words) for words in _wrapped(room))]
    head = f"  {'':11}{say('at the notch'):22} {say('at the point'):22}"
    lines.append(Line(head.rstrip(), "dim"))
    for point in seating.points:
        lines += _point_lines(point)
    doubt = doubt_words(seating)
    lines.append(Line(""))
    if doubt is not None:
        lines += [Line(words) for words in _wrapped(doubt)]
    lines += [Line(words, "yellow") for warning in seating.warnings for words in _wrapped(say("Note: {what}", what=warning), 6)]
    lines.append(Line(""))
    lines += [Line(words, "bold") for words in _wrapped(seat_sentence(seating))]
    lines += [Line(words) for words in _wrapped(cautions(seating))]
    return lines


def cautions(seating: Seating) -> str:
    """Those that go with what comes next."""
    stands = any(edge.standing for point in seating.points for edge in point.edges) or any(point.uncut_in for point in seating.points)
    said = [BY_EYE, PARE, *([ROUTER] if stands else []), *([] if pares(seating) else [GLUE_AND_PRESS]), MAKERS_FIRST]
    return " ".join(say(one) for one in said)


def _opening(seating: Seating) -> str:
    scale = seating.scale
    cards = say_count("card {cards}", "cards {cards}", len(scale.cards), cards=list_words([str(card) for card in scale.cards]))
    same = say(", the same as in the rose's photo") if seating.same_cards else ""
    bars = bars_words(scale)
    return say(
        "{photo}: the recess for the rose in {rose}. Scale from {cards}{same}, {density}{bars}.",
        photo=seating.photo_name,
        rose=seating.rose_name,
        cards=cards,
        same=same,
        density=lengths().density(scale.px_per_in),
        bars=bars,
    )


def _point_lines(point: SeatedPoint) -> Iterator[Line]:
    sign = SIGNS[ROOM_MARKS[point.verdict]]
    words = say("Lobe {lobe}, {clock}: point", lobe=point.lobe, clock=clock_of(point.bearing))
    beyond = "" if point.beyond is None else say(", {room} beyond it", room=room_words(point.beyond))
    yield Line(f"{words} {sign} {say(POINT_WORDS[point.verdict])}{beyond}", STYLES.get(point.verdict, ""))
    uncut = uncut_words(point)
    if uncut is not None:
        yield from _because(uncut)
    elif not point.point_seen:
        yield from _because(say("How far the point is cleared doesn't show: come closer, in light that parts floor from wood."))
    for side, edge in enumerate(point.edges):
        yield _edge_line(side, edge)
        for sentence in standing_words(edge):
            yield from _because(sentence)
        if edge.missing is not None:
            why = say("the rose's photo doesn't show this edge") if edge.missing == "rose" else say("this edge doesn't show in the recess")
            yield from _because(say("because {why}.", why=why))


def _edge_line(side: int, edge: SeatedEdge) -> Line:
    ends = " ".join(f"{_end(end):22}" for end in (edge.at_notch, edge.at_tip))
    verdict = f"{SIGNS[ROOM_MARKS[edge.verdict]]} {say(ROOM_WORDS[edge.verdict])}"
    return Line(f"  {say(SIDE_WORDS[side]):10} {ends} {verdict}", STYLES.get(edge.verdict, ""))


def _end(end: Estimate | None) -> str:
    """ "-.0161 ±.0118  1/64 in"; the rule's mark only where there is one."""
    if end is None:
        return ""
    return f"{room_words(end):14} {'' if lengths().is_under(end.value) else length_words(end.value)}".rstrip()
