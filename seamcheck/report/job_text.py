"""What a job holds, in plain words."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ..basis.language import say, say_count
from ..design.kept import kept_wish
from ..result import Stage
from .change_text import TIP_VERDICTS
from .text import WIDTH
from .words import STAGE_WORDS, VERDICT_WORDS, length_words, list_words

if TYPE_CHECKING:
    from ..job import Kept, Pattern


def job_lines(name: str, told: Mapping[str, str], inspections: Sequence[Kept], patterns: Sequence[Pattern]) -> list[str]:
    """The job's note, its top, its patterns and its inspections, at most WIDTH wide."""
    note = told.get("note")
    lines = _wrapped(say("Job {name}: {note}", name=name, note=note) if note else say("Job {name}.", name=name))
    top = [one for one in inspections if one.stage == Stage.BARE.value and not one.left_out]
    if top:
        lines += _wrapped(_top(top[-1]), 2)
    for pattern in patterns:
        lines += _wrapped(_pattern(pattern), 2)
    if not inspections:
        return [*lines, *_wrapped(say("No inspection yet: add one by `seamcheck inspect PHOTO --job {name}`.", name=name))]
    lines += ["", f"  {'':3}  {say('kept (UTC)'):16}  {say('shows'):11}  {say('photo, and what was found')}"]
    for one in inspections:
        lines += _inspection(one, inspections)
    return lines


def _wrapped(words: str, indent: int = 0) -> list[str]:
    return textwrap.wrap(words, WIDTH, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False)


def _top(kept: Kept) -> str:
    top = kept.document.get("top") or {}
    diameter = top.get("diameter_in")
    across = say("{length} across", length=length_words(diameter)) if diameter else say("its diameter not measured")
    leaves = say_count("{count} leaf", "{count} leaves", top["leaves"]) if top.get("leaves") else say("leaves not counted")
    return say("The top (inspection {number}): {leaves}, {across}.", number=kept.number, leaves=leaves, across=across)


def _pattern(pattern: Pattern) -> str:
    words = {
        "number": pattern.number,
        "day": pattern.kept_at[:10],
        "options": kept_wish(pattern.document).options(),  # name the rose on the command line of whatever takes one
        "reaches": list_words([length_words(ring["reach_in"]) for ring in pattern.document["rings"]]),
    }
    points = pattern.document["points"]
    return say_count(
        "Pattern {number}, {day}: {count} point, reach {reaches} ({options}).",
        "Pattern {number}, {day}: {count} points, reach {reaches} ({options}).",
        points,
        **words,
    )


def _inspection(one: Kept, every: Sequence[Kept]) -> Iterator[str]:
    stage = say(STAGE_WORDS[Stage(one.stage)])
    names = list_words([photo.name for photo in one.photos])
    twin = next((other.number for other in every if other.number < one.number and set(other.photos) & set(one.photos)), None)
    out = " " + say("Left out.") if one.left_out else ""
    again = " " + say("The same photo as in {number}, measured again.", number=twin) if twin is not None else ""
    words = f"  {one.number:>3}  {one.kept_at[:16].replace('T', ' '):16}  {stage:11}  {names}{_found(one.document)}.{again}{out}"
    yield from _wrapped(words, 37)


def _found(document: Mapping[str, Any]) -> str:
    tips = Counter(tip["verdict"] for tip in document["tips"] if tip["verdict"])
    joints = Counter(joint["verdict"] for joint in document["joints"])
    told = [f"{tips[word.value]} {say(VERDICT_WORDS[word])}" for word in TIP_VERDICTS if tips[word.value]]
    if joints["open"]:
        told.append(say_count("{count} open joint", "{count} open joints", joints["open"]))
    return f": {', '.join(told)}" if told else ""
