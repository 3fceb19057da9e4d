"""Woods in plain words: what each sample is like, which two stand apart, and both from the field."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from ..basis.language import say, to_say
from ..basis.uncertain import Estimate
from ..woods.colour import lab_of
from ..woods.look import Looked
from ..woods.pairs import CLEAR, FAIR, TENTH, TWO_COLOURS, Apart, Grade, Pair, lightness_of
from ..woods.samples import Sample
from .text import WIDTH
from .words import list_words

GRADE_WORDS = {Grade.CLEAR: to_say("clear"), Grade.FAIR: to_say("fair"), Grade.FAINT: to_say("faint"), Grade.LOST: to_say("lost")}
GRADE_MARKS = {Grade.CLEAR: "●", Grade.FAIR: "△", Grade.FAINT: "▲", Grade.LOST: "◆"}
BLIND_WORDS = {"protan": to_say("red-blind"), "deutan": to_say("green-blind"), "tritan": to_say("blue-blind")}
MOST_TOLD = 5  # pairs that are told of in sentences


def woods_lines(looked: Looked, field: Sample | None, groups: Sequence[tuple[str, Sequence[Pair]]], assumed: str = "") -> list[str]:
    """The whole report, at most WIDTH wide. groups: ("", dry pairs), ("wet", wetted ones), each best first; assumed: the rose drawn."""
    lines = [*_wrapped(_opening(looked, field)), "", *_sample_lines(looked)]
    for heading, pairs in groups:
        lines += ["", *_pair_lines(heading, pairs, field is not None)]
    lines += [line for note in looked.notes for line in ["", *_wrapped(say("Note: {note}", note=note), 6)]]
    lines += ["", *_wrapped(assumed)] if assumed else []
    return lines + ["", *_wrapped(_rules()), *_wrapped(_closing())]


def _wrapped(words: str, indent: int = 0, start: int = 0) -> list[str]:
    return textwrap.wrap(
        words, WIDTH, initial_indent=" " * start, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False
    )


def _opening(looked: Looked, field: Sample | None) -> str:
    cards = list_words([str(card) for card in looked.cards])
    if looked.of_lobes:
        told = say("{photo}: the two woods of cut lobes. White from the paper of cards {cards}.", photo=looked.photo, cards=cards)
        dark, light = (sample.name for sample in looked.samples)
        if (dark, light) != (say("dark"), say("light")):
            told += " " + say("The dark wood is called {dark}, the light one {light}.", dark=dark, light=light)
    else:
        told = say(
            "{photo}: {count} samples, numbered row by row from the top left. White from the paper of cards {cards}.",
            photo=looked.photo,
            count=len(looked.samples),
            cards=cards,
        )
    if field is None:
        return told
    if field.number == 0:
        if field.name == say("the field"):
            return told
        return told + " " + say("The field is what they lie on (--field names a sample instead).")
    return told + " " + say("The field is {name}.", name=field.name)


def _sample_lines(looked: Looked) -> Iterator[str]:
    yield f"  {say('no.'):>3}  {say('wood'):16} {say('lightness'):>9}  {say('darkest to palest tenth')}"
    for sample in [*looked.samples, *([looked.bench] if looked.bench is not None else [])]:
        low, high = lightness_of(sample.cells, TENTH), lightness_of(sample.cells, 1 - TENTH)
        light = float(lab_of(sample.colour)[0])
        spread = say("{low} to {high}", low=round(low), high=round(high))
        yield f"  {sample.number or '':>3}  {sample.name:16} {light:>9.0f}  {spread}"


def _pair_lines(heading: str, pairs: Sequence[Pair], with_field: bool) -> Iterator[str]:
    yield from _wrapped(say("Wetted, best first:") if heading else say("Pairs, best first:"))
    field = f"{say('dark, field'):12} {say('light, field'):12}" if with_field else ""
    yield f"  {say('dark + light'):28} {say('each other'):12} {field}".rstrip()
    for pair in pairs:
        name = f"{pair.between.first.name} + {pair.between.second.name}"
        yield f"  {name:28} " + " ".join(f"{_grade(one):12}" for one in pair.all).rstrip()
    for pair in pairs[:MOST_TOLD]:
        for one in pair.all:
            yield from (line for sentence in apart_sentences(one, one is pair.between) for line in _wrapped(sentence, 4, 2))


def _grade(one: Apart) -> str:
    return f"{GRADE_MARKS[one.grade]} {say(GRADE_WORDS[one.grade])}{'' if one.sure else '?'}"


def apart_sentences(one: Apart, always: bool) -> Iterator[str]:
    """How two woods differ, in numbers; and what eats the line between them."""
    first, second = one.first.name, one.second.name
    kind, least = one.least_blind
    if always:
        yield say(
            "{first} and {second}: light {ratio} to 1, colour difference {colours} (least to {kind} eyes: {least}).",
            first=first,
            second=second,
            ratio=_number(one.ratio, 1),
            colours=_number(one.colours, 0),
            kind=say(BLIND_WORDS[kind]),
            least=round(least),
        )
    if one.grade is Grade.LOST:
        yield say("{first} vanishes beside {second}: they are one colour to most eyes.", first=first, second=second)
    elif one.figure < 0:
        yield say(
            "{first} and {second} overlap by their figure: the palest stripes of the darker are as light as the darkest of the lighter.",
            first=first,
            second=second,
        )
    elif one.grade is Grade.FAINT and one.ratio.value < FAIR:
        yield say("{first} and {second} part by colour more than by light: in dusk the line goes.", first=first, second=second)
    if one.grade is not Grade.LOST and least <= TWO_COLOURS:
        yield say("To {kind} eyes {first} and {second} are one colour.", kind=say(BLIND_WORDS[kind]), first=first, second=second)


def _number(estimate: Estimate, places: int) -> str:
    return f"{estimate.value:.{places}f} ±{estimate.u95:.{max(places, 1)}f}"


def _rules() -> str:
    limits = {"clear": f"{CLEAR:g}", "fair": f"{FAIR:g}", "lost": f"{TWO_COLOURS:g}"}
    return say(
        "clear: one sends back {clear} times the other's light (WCAG 2.2, for the parts of a drawing); fair: {fair} times (half of that: "
        "common practice, no source); faint: less than that, but another colour; lost: less, and a CIEDE2000 difference of {lost} or "
        "less; stripes that overlap take one off; "
        "?: the photo leaves the next grade open. Colour-blind: Machado and others 2009.",
        **limits,
    )


def _closing() -> str:
    return say(
        "Woods differ from leaf to leaf, darken with light and finish, and phones bend tones: hold the leaves that you will use beside "
        "each other, wiped wet, and look from six feet."
    )
