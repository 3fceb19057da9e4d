"""What is said of a rose in its recess: whether it goes in, and where to pare first."""

from __future__ import annotations

from dataclasses import dataclass

from ..basis.language import say, say_count, to_say
from ..basis.uncertain import Estimate
from ..basis.units import lengths
from ..result import Room, SeatedEdge, SeatedPoint, Seating
from .words import clock_of, decimals, length_words, list_words, u95_decimals

ROOM_WORDS = {
    Room.TIGHT: to_say("tight"),
    Room.FITS: to_say("fits"),
    Room.GAPES: to_say("gapes"),
    Room.UNSURE: to_say("can't tell"),
    Room.UNMEASURED: to_say("unmeasured"),
}
POINT_WORDS = {
    Room.TIGHT: to_say("doesn't go in"),
    Room.FITS: to_say("goes in"),
    Room.UNSURE: to_say("can't tell"),
    Room.UNMEASURED: to_say("unmeasured"),
}
# What a verdict's mark is called among the picture's.
ROOM_MARKS = {Room.TIGHT: "off", Room.FITS: "on", Room.GAPES: "open", Room.UNSURE: "unsure", Room.UNMEASURED: "unmeasured"}
SIDE_WORDS = (to_say("left edge"), to_say("right edge"))
TURN_WORDS = {
    "you": to_say("as you said"),
    "cards": to_say("as the cards tell, which lie as they lay"),
    "shape": to_say("as its shape tells"),
    "up": to_say("as if both photos were held alike; say --lobe-1-at if it isn't so"),
    "only": to_say("the only way that it goes in"),
}
LISTED = 4  # places that a sentence names


@dataclass(frozen=True)
class Pare:
    """One thing to do to the recess before the rose goes in."""

    words: str
    by_in: float


def signed(inches: float) -> str:
    """ "-.0034": with a minus where it binds."""
    return f"{'-' if inches < 0 and decimals(inches).strip('0.') else ''}{decimals(inches)}"


def room_words(estimate: Estimate) -> str:
    """ "-.0034 ±.0066"."""
    return f"{signed(estimate.value)} ±{u95_decimals(estimate.u95)}"


def edge_name(point: SeatedPoint, side: int) -> str:
    """ "lobe 3's left edge"."""
    return say("lobe {lobe}'s left edge", lobe=point.lobe) if side == 0 else say("lobe {lobe}'s right edge", lobe=point.lobe)


def turn_words(seating: Seating) -> str:
    """Which way the rose is taken to go in."""
    first = seating.points[0]
    return say(
        "It goes in with lobe {lobe} at {clock}, {told}.",
        lobe=first.lobe,
        clock=clock_of(first.bearing),
        told=say(TURN_WORDS[seating.turn_by]),
    )


def standing_words(edge: SeatedEdge) -> list[str]:
    """A sentence for each stretch that wasn't pared."""
    return [
        say(
            "From {near} to {far} along from the point, {wood} of wood stands inside the line.",
            near=lengths().rule(max(one.from_tip_in, 0.0), 16),
            far=lengths().rule(one.to_in, 16),
            wood=length_words(one.by_in),
        )
        for one in edge.standing
    ]


def uncut_words(point: SeatedPoint) -> str | None:
    """How much stands in a point; None where nothing is seen to."""
    if point.uncut_in is None or point.uncut_u95_in is None:
        return None
    return say(
        "{wood} of wood stands in the point ({inches} ±{u95}).",
        wood=length_words(point.uncut_in),
        inches=decimals(point.uncut_in, 3),
        u95=u95_decimals(point.uncut_u95_in, 3),
    )


def pares(seating: Seating) -> list[Pare]:
    """What has to come off the recess, most first: what stands, points that aren't cleared, edges that bind."""
    found: list[Pare] = []
    for point in seating.points:
        for side, edge in enumerate(point.edges):
            if edge.standing:
                most = max(one.by_in for one in edge.standing)
                found.append(
                    Pare(
                        say("{edge}, to the line, where {wood} of wood stands", edge=edge_name(point, side), wood=length_words(most)), most
                    )
                )
            elif edge.verdict is Room.TIGHT and edge.at_notch is not None and edge.at_tip is not None:
                found.append(_tight(point, side, edge.at_notch, edge.at_tip))
        if point.verdict is Room.TIGHT and point.uncut_in is not None:
            found.append(
                Pare(
                    say("the point of lobe {lobe}, where {wood} of wood stands", lobe=point.lobe, wood=length_words(point.uncut_in)),
                    point.uncut_in,
                )
            )
    return sorted(found, key=lambda one: -one.by_in)


def _tight(point: SeatedPoint, side: int, at_notch: Estimate, at_tip: Estimate) -> Pare:
    name = edge_name(point, side)
    ends = [max(-end.value, 0.0) for end in (at_notch, at_tip)]
    unit = lengths().symbol
    if min(ends) == 0.0:
        where, by = (say("at the point"), ends[1]) if ends[1] else (say("at the notch"), ends[0])
        words = say("{edge}, {by} {unit} {where}, running out to nothing", edge=name, by=decimals(by), unit=unit, where=where)
    else:
        words = say(
            "{edge}, {notch} {unit} at the notch and {tip} at the point",
            edge=name,
            notch=decimals(ends[0]),
            tip=decimals(ends[1]),
            unit=unit,
        )
    return Pare(words, max(ends))


def counts_words(seating: Seating) -> str:
    """ "5 edges fit, 2 are tight, ...", of what there is."""
    edges = [edge.verdict for point in seating.points for edge in point.edges]
    return ", ".join(f"{edges.count(room)} {say(words)}" for room, words in ROOM_WORDS.items() if edges.count(room))


def goes_in(seating: Seating) -> bool:
    """Whether every edge surely has room and every point surely goes in."""
    edges = all(edge.verdict in (Room.FITS, Room.GAPES) and _has_room(edge) for point in seating.points for edge in point.edges)
    return edges and all(point.verdict is Room.FITS for point in seating.points)


def _has_room(edge: SeatedEdge) -> bool:
    return all(end is not None and end.value - end.u95 >= 0 for end in (edge.at_notch, edge.at_tip))


def seat_sentence(seating: Seating) -> str:
    """The one sentence to take away."""
    first = pares(seating)
    if first:
        return say(
            "Not yet: pare the recess first, most first: {places}.",
            places="; ".join(one.words for one in first[:LISTED])
            + (say_count("; and {count} more place", "; and {count} more places", len(first) - LISTED) if len(first) > LISTED else ""),
        )
    if seating.least_anywhere.value + seating.least_anywhere.u95 < 0:
        return say(
            "Not yet: wherever it is laid the rose binds by {by} {unit} or more, though no single edge is surely to blame: try it in dry, "
            "mark where it touches, and pare there.",
            by=decimals(-seating.least_anywhere.value - seating.least_anywhere.u95),
            unit=lengths().symbol,
        )
    gapes = [edge_name(point, side) for point in seating.points for side, edge in enumerate(point.edges) if edge.verdict is Room.GAPES]
    wide = (
        " " + say("Too wide: {edges}; wood can't be put back, but a sliver of the field's own hides it.", edges=list_words(gapes[:LISTED]))
        if gapes
        else ""
    )
    if goes_in(seating):
        return say("It goes in, as far as the photos show: try it dry, without force, before any glue.") + wide
    return f"{_cant_tell(seating)}{wide}"


def _cant_tell(seating: Seating) -> str:
    unsure = sum(edge.verdict is Room.UNSURE for point in seating.points for edge in point.edges)
    points = sum(point.verdict in (Room.UNSURE, Room.UNMEASURED) for point in seating.points)
    missing = sum(edge.verdict is Room.UNMEASURED for point in seating.points for edge in point.edges)
    tightest = [
        (end.value - end.u95, point, side, at_tip)
        for point in seating.points
        for side, edge in enumerate(point.edges)
        for at_tip, end in ((False, edge.at_notch), (True, edge.at_tip))
        if end is not None
    ]
    what = [say_count("{count} edge is too close to call", "{count} edges are too close to call", unsure)] if unsure else []
    if missing:
        what.append(say_count("{count} edge isn't measured", "{count} edges aren't measured", missing))
    if points:
        what.append(say_count("{count} point isn't sure to go in", "{count} points aren't sure to go in", points))
    words = say("Can't tell: {what}.", what=list_words(what) if what else say("an edge has no sure room"))
    if tightest:
        worst, point, side, at_tip = min(tightest, key=lambda one: one[0])
        if worst < 0:
            words += " " + say(
                "At most it binds by {by} {unit}, at {edge}, {where}: try it in dry, without force, and pare only where it touches.",
                by=decimals(worst),
                unit=lengths().symbol,
                edge=edge_name(point, side),
                where=say("at the point") if at_tip else say("at the notch"),
            )
    return words


def doubt_words(seating: Seating) -> str | None:
    """Which photo, or the print, most of the uncertainty comes from; None where nothing was measured."""
    ends = [end for point in seating.points for edge in point.edges for end in (edge.at_notch, edge.at_tip) if end is not None]
    if not ends:
        return None
    shares = {"rose": 0.0, "recess": 0.0, "print": 0.0}
    for end in ends:
        for source, part in end.parts.items():
            kind = "print" if source.endswith("print") else "rose" if source.startswith("rose") else "recess"
            shares[kind] += part**2 / end.u**2
    worst = max(shares, key=lambda kind: shares[kind])
    return {
        "rose": say(
            "Most of the doubt comes from the rose's photo: one in even light from two sides, without tape over its edges, would tell more."
        ),
        "recess": say(
            "Most of the doubt comes from the photo of the recess: one in even light from two sides, its floor brushed clean, would tell "
            "more."
        ),
        "print": say(
            "Most of the doubt is the print's: if the same printed cards lie in both photos say --same-cards, which takes it out; "
            "else read the bars."
        ),
    }[worst]
