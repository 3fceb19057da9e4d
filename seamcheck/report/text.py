"""The report in the terminal: plain sentences and one table, readable at 80 columns, piped or not."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import degrees
from typing import TextIO

from ..advise.cautions import BY_EYE, KNIFE_IN
from ..advise.gap_standard import FLAT_GAP_IN, against_standard
from ..basis.language import say, say_count
from ..basis.uncertain import COVERAGE_95, Estimate
from ..basis.units import lengths
from ..judge import evenly_divided
from ..result import Inspection, Joint, Seam, Stage, Tip, Verdict
from .bare_words import rose_parts, seam_numbers, top_sentences
from .closing import closing_sentence, gaping
from .loose_words import shape_lines
from .words import (
    VERDICT_WORDS,
    bars_words,
    clock_of,
    decimals,
    divided_words,
    joint_words,
    left_open_in,
    left_open_words,
    length_words,
    limit_words,
    list_words,
    lost_joints_words,
    lower,
    offset_words,
    round_the_top,
    stage_words,
    u95_decimals,
    u95_degrees,
)

WIDTH = 80

# The picture's shapes, as letters.
MARKS = {
    Verdict.ON: "●",
    Verdict.OFF: "◆",
    Verdict.UNSURE: "▲",
    Verdict.UNMEASURED: "□",
    Verdict.CLOSED: "●",
    Verdict.OPEN: "⧗",
}
# For terminals that lack them.
ASCII = str.maketrans({"●": "o", "◆": "#", "▲": "?", "△": "^", "□": "-", "⧗": "x", "±": "~", "°": " deg"})

STYLES = {Verdict.OFF: "bold red", Verdict.OPEN: "bold red", Verdict.UNSURE: "yellow", Verdict.UNMEASURED: "yellow"}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the report; `style` is for terminals that show colours, and nothing depends on it."""

    words: str
    style: str = ""


def report_lines(inspection: Inspection) -> list[Line]:
    """The whole report, from the first line to the caution."""
    lines = [Line(words) for words in _wrapped(_opening(inspection))]
    if inspection.stage is Stage.BARE:
        lines += [Line(""), *_seam_lines(inspection)]
    elif inspection.stage is Stage.LOOSE:
        lines += [Line(""), *_loose_lines(inspection)]
    else:
        lines += [Line(""), *_tip_lines(inspection), Line(""), *_joint_lines(inspection), *_standard_lines(inspection)]
    lines += _odd_lines(inspection)
    lines += _left_open_lines(inspection)
    lines += _together_lines(inspection)
    if inspection.warnings:
        lines.append(Line(""))
        lines += [Line(words, "yellow") for warning in inspection.warnings for words in _wrapped(say("Note: {what}", what=warning), 6)]
    lines.append(Line(""))
    lines += [Line(words, "bold") for words in _wrapped(closing_sentence(inspection))]
    lines += [Line(words) for words in _wrapped(say(KNIFE_IN if inspection.stage is Stage.DRY_FIT else BY_EYE))]
    return lines


def print_report(inspection: Inspection, file: TextIO, more: Sequence[str] = ()) -> None:
    """The report to a terminal, in colour where it shows colours, else as bare text; then further plain lines."""
    from rich.console import Console
    from rich.text import Text

    console = Console(file=file, highlight=False, soft_wrap=True, markup=False, emoji=False)
    plain = not can_show(file)
    for line in [*report_lines(inspection), *map(Line, more)]:
        console.print(Text(line.words.translate(ASCII) if plain else line.words, style=line.style))


def can_show(file: TextIO) -> bool:
    try:
        "".join([*MARKS.values(), "±°"]).encode(file.encoding or "utf-8")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _wrapped(words: str, indent: int = 0) -> list[str]:
    """Lines of at most WIDTH; those after the first indented."""
    return textwrap.wrap(words, WIDTH, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False)


def _because(words: str) -> list[Line]:
    lines = textwrap.wrap(words, WIDTH, initial_indent=" " * 6, subsequent_indent=" " * 6, break_long_words=False)
    return [Line(line, "dim") for line in lines]


def _opening(inspection: Inspection) -> str:
    scale = inspection.scale
    cards, bars = say("a known length"), ""
    if scale.cards:
        cards = say_count("card {cards}", "cards {cards}", len(scale.cards), cards=list_words([str(card) for card in scale.cards]))
        bars = bars_words(scale)
    together = inspection.together
    names = inspection.photo_name if together is None else list_words(list(together.photos))
    if together is not None:
        bars += say("; lobes are numbered and placed as in {photo}", photo=together.photos[0])
    return say(
        "{photo}: {stage}. Scale from {cards}, {density}{bars}.",
        photo=names,
        stage=stage_words(inspection),
        cards=cards,
        density=lengths().density(scale.px_per_in),
        bars=bars,
    )


def _estimate(estimate: Estimate) -> str:
    return f"{decimals(estimate.value)} ±{u95_decimals(estimate.u95)}"


def _verdict(verdict: Verdict) -> str:
    return f"{MARKS[verdict]} {say(VERDICT_WORDS[verdict])}"


def _tip_lines(inspection: Inspection) -> Iterator[Line]:
    yield Line(say("Points, going round. A point may lie {limit} off its seam.", limit=limit_words(inspection.tolerance_in)))
    if not inspection.tips:
        yield Line(f"  {say('none found')}", STYLES[Verdict.UNMEASURED])
        return
    heads = f"  {say('lobe'):4} {say('clock'):>10}  {say('ring'):4}  {say('off its seam'):24} {lengths().plural:13}  {say('verdict')}"
    yield Line(heads, "dim")
    for tip in round_the_top(inspection):
        yield from _tip_line(tip)


def _tip_line(tip: Tip) -> Iterator[Line]:
    verdict = tip.verdict or Verdict.UNMEASURED
    measured = tip.seam_offset is not None and verdict is not Verdict.UNMEASURED
    offset = offset_words(tip.seam_offset.value) if measured and tip.seam_offset else ""
    inches = _estimate(tip.seam_offset) if measured and tip.seam_offset else ""
    ring = "" if tip.ring is None else str(tip.ring)
    words = f"  {tip.lobe:>4} {clock_of(tip.bearing):>10}  {ring:>4}  {offset:24} {inches:13}  {_verdict(verdict)}"
    yield Line(words, STYLES.get(verdict, ""))
    if tip.reason and not measured:
        yield from _because(say("unmeasured, because {why}: {remedy}.", why=tip.reason.sentence, remedy=tip.reason.remedy))


def _joint_lines(inspection: Inspection) -> Iterator[Line]:
    limit = limit_words(inspection.gap_tolerance_in)
    open_ones = gaping(inspection)
    if not inspection.joints:
        yield Line(say("No joint could be looked at."), STYLES[Verdict.UNMEASURED])
        return
    gape = say("Joints that gape by more than {limit}, widest first:", limit=limit)
    yield Line(gape if open_ones else say("No joint is seen to gape by more than {limit}.", limit=limit))
    for joint in open_ones:
        yield _joint_line(joint)
    counted = [
        (Verdict.CLOSED, say("closed")),
        (Verdict.UNSURE, say("too close to tell")),
        (Verdict.UNMEASURED, say("unmeasured")),
    ]
    counts = [(sum(joint.verdict is verdict for joint in inspection.joints), words) for verdict, words in counted]
    rest = ", ".join(f"{number} {words}" for number, words in counts if number)
    if rest:
        yield Line(say("The other joints: {counts}.", counts=rest) if open_ones else say("The joints: {counts}.", counts=rest))
    yield from _unmeasured_joints(inspection)


def _standard_lines(inspection: Inspection) -> Iterator[Line]:
    """A finished top's joints against a published standard."""
    found = against_standard(inspection.joints)
    if inspection.stage is not Stage.INLAID or not found.within + found.beyond + found.unsure:
        return
    words = say(
        "By a published standard (Architectural Woodwork Standards, 1st edition, 2009, 6.1.10: flat wood to wood, no gap over {limit}) "
        "{within} of the joints that were measured lie within it, {beyond} beyond, {unsure} can't be told. For matched panels it allows no "
        "opening at a veneer joint at all: a gap that shows is never within it.",
        limit=limit_words(FLAT_GAP_IN),
        within=found.within,
        beyond=found.beyond,
        unsure=found.unsure,
    )
    yield from (Line(line) for line in _wrapped(words))


def _joint_line(joint: Joint) -> Line:
    words, inches = "", ""
    if joint.max_gap is not None:
        words, inches = length_words(joint.max_gap.value), _estimate(joint.max_gap)
    return Line(f"  {joint_words(joint):30}  {words:14} {inches:13}  {_verdict(joint.verdict)}", STYLES.get(joint.verdict, ""))


def _unmeasured_joints(inspection: Inspection) -> Iterator[Line]:
    """Once for each reason, with the joints that it holds for."""
    reasons = {joint.reason: None for joint in inspection.joints if joint.verdict is Verdict.UNMEASURED and joint.reason}
    for reason in reasons:
        lost = [joint for joint in inspection.joints if joint.reason is reason and joint.verdict is Verdict.UNMEASURED]
        words = say(
            "{joints} unmeasured, because {why}: {remedy}.",
            joints=lost_joints_words(reason, lost),
            why=reason.sentence,
            remedy=reason.remedy,
        )
        yield from _because(words)


def _odd_lines(inspection: Inspection) -> Iterator[Line]:
    odd = [str(lobe) for lobe in inspection.odd_lobes]
    if odd:
        sentence = say_count(
            "Lobe {lobes} lies the wrong way round: its dark half is on the other hand from the rest.",
            "Lobes {lobes} lie the wrong way round: their dark half is on the other hand from the rest.",
            len(odd),
            lobes=list_words(odd),
        )
        yield Line("")
        yield from (Line(words, STYLES[Verdict.OFF]) for words in _wrapped(sentence))
    if evenly_divided(inspection.tips):
        yield Line("")
        yield from (Line(words, STYLES[Verdict.OFF]) for words in _wrapped(divided_words()))


def _left_open_lines(inspection: Inspection) -> Iterator[Line]:
    places = left_open_in(inspection)
    if places:
        yield Line("")
        yield from (Line(words, STYLES[Verdict.UNMEASURED]) for words in _wrapped(left_open_words(places)))


def _together_lines(inspection: Inspection) -> Iterator[Line]:
    """Whether several photos say the same."""
    if inspection.together is None:
        return
    yield Line("")
    if not inspection.together.disagree:
        agreed = say("The {count} photos agree wherever two of them show the same.", count=len(inspection.together.photos))
        yield from (Line(words) for words in _wrapped(agreed))
    for sentence in inspection.together.disagree:
        yield from (Line(words, STYLES[Verdict.OFF]) for words in _wrapped(say("The photos disagree: {what}", what=lower(sentence)), 6))


def _loose_lines(inspection: Inspection) -> Iterator[Line]:
    heading = say("Lobes, by number. Own seam: the dark/light line. Clockwise: to the right of it, seen from root to point.")
    yield from (Line(words) for words in _wrapped(heading))
    if not inspection.tips:
        yield Line(f"  {say('none found')}", STYLES[Verdict.UNMEASURED])
        return
    own_head, inches_head = say("point off its own seam"), lengths().plural
    yield Line(f"  {say('lobe'):4}  {own_head:24} {inches_head:13} {say('length'):>14} {say('root angle'):>14}", "dim")
    for tip in inspection.tips:
        own = tip.own_seam_offset
        length = _estimate(tip.length) if tip.length else ""
        angle = f"{degrees(tip.root_angle.value):.2f}° ±{u95_degrees(tip.root_angle.u95)}" if tip.root_angle else ""
        words = offset_words(own.value) if own else say("unmeasured")
        yield Line(f"  {tip.lobe:>4}  {words:24} {_estimate(own) if own else '':13} {length:>14} {angle:>14}".rstrip())
        if tip.reason:
            yield from _because(say("because {why}: {remedy}.", why=tip.reason.sentence, remedy=tip.reason.remedy))
    yield from (Line(words, style) for words, style in shape_lines(inspection))
    sides = {key: [str(tip.lobe) for tip in inspection.tips if tip.dark_side == key] for key in ("ccw", "cw")}
    left, right = (list_words(lobes) if lobes else "" for lobes in sides.values())
    told = [say_count("on the left in lobe {lobes}", "on the left in lobes {lobes}", len(sides["ccw"]), lobes=left)] if left else []
    if right:
        told.append(say_count("on the right in lobe {lobes}", "on the right in lobes {lobes}", len(sides["cw"]), lobes=right))
    if told:
        dark = say("Seen from root to point, the dark half lies {where}.", where=list_words(told))
        yield from (Line(words) for words in _wrapped(dark))


def _seam_lines(inspection: Inspection) -> Iterator[Line]:
    yield from (
        Line(words) for words in _wrapped(say("Seams, going round from the photo's top, and how they pass the point where they meet best."))
    )
    if not inspection.seams:
        yield Line(f"  {say('none found')}", STYLES[Verdict.UNMEASURED])
    else:
        heads = f"  {say('seam'):4} {say('clock'):>10}  {say('bearing'):>16}  {say('passes the centre by'):26} {lengths().plural}"
        yield Line(heads, "dim")
    for number, seam in zip(seam_numbers(inspection), inspection.seams, strict=True):
        yield _seam_line(number, seam)
    if inspection.bare is None:
        return
    for number, bearing, reason in inspection.bare.lost:
        yield Line(f"  {number:>4} {clock_of(bearing):>10}  {say('unmeasured')}", STYLES[Verdict.UNMEASURED])
        yield from _because(say("because {why}: {remedy}.", why=reason.seam_sentence, remedy=reason.seam_remedy))
    for sentence in top_sentences(inspection.bare):
        yield Line("")
        yield from (Line(words) for words in _wrapped(sentence))
    for heading, rows, after in rose_parts(inspection.bare, inspection.tolerance_in):
        yield Line("")
        yield from (Line(words) for words in _wrapped(heading))
        yield from (Line(row) for row in rows)
        for sentence in after:
            yield from (Line(words) for words in _wrapped(sentence, 2))


def _seam_line(number: int, seam: Seam) -> Line:
    bearing = f"{degrees(seam.bearing) % 360:.2f}° ±{u95_degrees(COVERAGE_95 * seam.u_bearing)}"
    head, off = f"  {number:>4} {clock_of(seam.bearing):>10}  {bearing:>16}", seam.off_centre
    if off is None:
        return Line(f"{head}  {say('too few seams to tell')}")
    return Line(f"{head}  {offset_words(off.value):26} {decimals(off.value)} ±{u95_decimals(off.u95)}")
