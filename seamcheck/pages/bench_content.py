"""What stands on a bench sheet, in words and pictures, before any page is laid out: both HTML and PDF are made from it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from math import degrees

from ..advise.cautions import BY_EYE, KNIFE_IN, MAKERS_FIRST, PLANE
from ..advise.fit import Fit
from ..advise.fit_plan import Plan, PlanSettings, plan_fit
from ..advise.go_no_go import Call, Decision, decide
from ..basis.language import say, say_count, to_say
from ..basis.uncertain import Estimate
from ..basis.units import lengths
from ..judge import evenly_divided
from ..report.closing import closing_sentence, first_look, gaping
from ..report.decide_text import SAID, mark_words, on_record, why_words
from ..report.json_file import result_document
from ..report.overlay_canvas import Image
from ..report.overlay_palette import kind_of
from ..report.plan_text import assumed, closing_words, first_of_all, nothing_words, short_ease, short_move, whys
from ..report.result_reading import fit_of
from ..report.words import (
    VERDICT_WORDS,
    capital,
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
    round_the_top,
    stage_words,
    u95_decimals,
    u95_degrees,
)
from ..result import Inspection, Joint, Stage, Tip, Verdict
from .bench_pictures import photo_picture, tip_pictures
from .pictures import Picture
from .words import scale_words


@dataclass(frozen=True)
class TipRow:
    """One point, in the table and in the strip."""

    lobe: int
    clock: str
    kind: str  # of its mark
    verdict: str  # "" for loose lobes
    cells: tuple[str, ...]  # of the table, after lobe and clock
    short: str  # "7/64 in ccw", beneath its picture
    picture: Picture


@dataclass(frozen=True)
class JointRow:
    """A joint that gapes."""

    lobes: str
    gap: str
    number: str


@dataclass(frozen=True)
class Step:
    """One step of the plan, and what is to be eased at it."""

    words: str
    eases: tuple[str, ...] = ()


@dataclass(frozen=True)
class Part:
    """A headed list: joints, plan, marks."""

    heading: str
    lead: str
    steps: tuple[Step, ...] = ()
    after: tuple[str, ...] = ()
    numbered: bool = True


@dataclass(frozen=True)
class BenchSheet:
    """All of it."""

    photo_name: str
    stage: str
    call: str  # "go", "not yet", "can't tell": what the band looks like; "" where nothing is to be cut
    said: str  # in the band
    sentence: str
    photo: Picture
    tips_lead: str
    heads: tuple[str, ...]
    tips: tuple[TipRow, ...]
    strip_words: str
    look: tuple[str, ...]  # what is unmeasured, why, and what to do
    joints_lead: str
    joints: tuple[JointRow, ...]
    joints_rest: tuple[str, ...]
    part: Part | None
    scale: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def has_clock(self) -> bool:
        """Whether the points lie round a centre: loose lobes don't."""
        return any(tip.clock for tip in self.tips)


@dataclass(frozen=True)
class Checked:
    """What the person's word stands for, where the photo couldn't tell."""

    tips: frozenset[int] = frozenset()  # lobes
    joints: frozenset[frozenset[int | None]] = frozenset()  # the lobes of each


BANDS = {Call.GO: "go", Call.NOT_YET: "not-yet", Call.CANT_TELL: "cant-tell"}
SUMMED_UP = {Stage.INLAID: to_say("SET IN"), Stage.LOOSE: to_say("LOOSE LOBES")}


def bench_sheet(
    bgr: Image,
    inspection: Inspection,
    checked_tips: frozenset[int] = frozenset(),
    checked_joints: frozenset[frozenset[int]] = frozenset(),
    settings: PlanSettings | None = None,
) -> BenchSheet:
    """From the upright photo, uint8 (h, w, 3), blue first, and what was found in it. Not for bare tops, which have no points."""
    if bgr.shape[:2] != inspection.size_px[::-1]:
        raise ValueError(f"The sheet needs the upright photo of {inspection.size_px} pixels, not {bgr.shape}.")
    call, said, sentence, part = "", "", closing_sentence(inspection), None
    cautions: tuple[str, ...] = (BY_EYE, MAKERS_FIRST)
    checked = Checked()
    if inspection.stage is Stage.DRY_FIT:
        fit = fit_of(result_document(inspection), inspection.photo_name)
        decision = decide(fit, checked_tips, checked_joints)
        call, said = BANDS[decision.call], say(SAID[decision.call])
        checked = _checked(decision)
        sentence = why_words(fit, decision)
        if decision.call is Call.NOT_YET and not decision.odd_lobes:  # of which that sentence speaks already
            sentence = f"{sentence} {first_look(inspection)}".rstrip()
        if decision.call is Call.GO:
            part, cautions = _marks_part(decision), (KNIFE_IN, MAKERS_FIRST)
        else:
            settings = settings or PlanSettings()
            plan = plan_fit(fit, settings)
            part = _plan_part(fit, plan, settings, decision)
            cautions = (PLANE, BY_EYE, MAKERS_FIRST) if plan.eases else (BY_EYE, MAKERS_FIRST)
    else:
        said = say(SUMMED_UP[inspection.stage])
    loose = inspection.stage is Stage.LOOSE
    rows = _tip_rows(bgr, inspection, checked)
    return BenchSheet(
        inspection.photo_name,
        stage_words(inspection),
        call,
        said,
        sentence,
        photo_picture(bgr, inspection),
        say("Lobes, by number (cw: clockwise).")
        if loose
        else say("Points, going round (cw: clockwise). One may lie {limit} off its seam.", limit=limit_words(inspection.tolerance_in)),
        (say("off its own seam"), lengths().plural, say("length"), say("root angle")) if loose else (say("off its seam"), lengths().plural),
        rows,
        _strip_words(inspection),
        (*_unmeasured_tips(inspection, checked), *_odd(inspection)),
        *_joints(inspection, checked),
        part,
        scale_words(inspection),
        inspection.warnings,
        tuple(say(caution) for caution in cautions),
    )


def _checked(decision: Decision) -> Checked:
    return Checked(
        frozenset(one.lobe.number for one in decision.tips if one.by_eye),
        frozenset(frozenset[int | None](one.joint.lobes) for one in decision.joints if one.by_eye),
    )


def _number(estimate: Estimate) -> str:
    return f"{decimals(estimate.value)} ±{u95_decimals(estimate.u95)}"


def _tip_rows(bgr: Image, inspection: Inspection, checked: Checked) -> tuple[TipRow, ...]:
    pictures = tip_pictures(bgr, inspection)
    return tuple(_tip_row(tip, picture, checked) for tip, picture in zip(round_the_top(inspection), pictures, strict=True))


def _tip_row(tip: Tip, picture: Picture, checked: Checked) -> TipRow:
    verdict = tip.verdict
    if verdict is None:
        own = tip.own_seam_offset
        angle = "" if tip.root_angle is None else f"{degrees(tip.root_angle.value):.2f}° ±{u95_degrees(tip.root_angle.u95)}"
        cells = (
            say("unmeasured") if own is None else _short(own.value),
            "" if own is None else _number(own),
            "" if tip.length is None else _number(tip.length),
            angle,
        )
        return TipRow(tip.lobe, "", kind_of(tip), "", cells, say("unmeasured") if own is None else _short(own.value), picture)
    measured = tip.seam_offset is not None and verdict is not Verdict.UNMEASURED
    number = _number(tip.seam_offset) if measured and tip.seam_offset else ""
    short = _short(tip.seam_offset.value) if measured and tip.seam_offset else say("unmeasured")
    said = say("checked") if tip.lobe in checked.tips else say(VERDICT_WORDS[verdict])  # its mark still tells what the photo shows
    return TipRow(tip.lobe, clock_of(tip.bearing), kind_of(tip), said, (short, number), short, picture)


def _short(offset_in: float) -> str:
    """ "7/64 in ccw"."""
    if lengths().is_under(offset_in):
        return length_words(offset_in)
    return f"{length_words(offset_in)} {say('cw') if offset_in > 0 else say('ccw')}"


def _strip_words(inspection: Inspection) -> str:
    if inspection.stage is Stage.LOOSE:
        return say(
            "Each point from straight above, its own seam upward. Beneath: zero is the own seam, the bar how far the point lies off it."
        )
    return say(
        "Each point from straight above, its seam running up, clockwise to the right. Beneath, at the same scale: zero is the seam, the "
        "bar how far the point lies off it, the bracket its give or take, the ticks {tick} apart; shaded is what is allowed.",
        tick=lengths().rule(lengths().tick_in),
    )


def _unmeasured_tips(inspection: Inspection, checked: Checked) -> Iterable[str]:
    """Once for each reason, with the lobes that it holds for."""
    lost = [(tip.reason, tip.lobe in checked.tips, tip.lobe) for tip in inspection.tips if tip.verdict in (None, Verdict.UNMEASURED)]
    for reason, by_eye in dict.fromkeys((reason, by_eye) for reason, by_eye, _ in lost):
        lobes = list_words([str(lobe) for one, other, lobe in lost if (one, other) == (reason, by_eye)])
        if reason is not None:
            remedy = say("you have checked it by eye") if by_eye else reason.remedy
            yield say("Lobe {lobes} unmeasured: {why}; {remedy}.", lobes=lobes, why=reason.sentence, remedy=remedy)


def _odd(inspection: Inspection) -> Iterable[str]:
    if inspection.odd_lobes:
        yield say("Laid the wrong way round: lobe {lobes}.", lobes=list_words([str(lobe) for lobe in inspection.odd_lobes]))
    if evenly_divided(inspection.tips):
        yield divided_words()
    places = left_open_in(inspection)
    if places:
        yield left_open_words(places)


def _joints(inspection: Inspection, checked: Checked) -> tuple[str, tuple[JointRow, ...], tuple[str, ...]]:
    """(lead, those that gape, what is to be said of the rest)."""
    if inspection.stage is Stage.LOOSE:
        return "", (), ()
    limit = limit_words(inspection.gap_tolerance_in)
    if not inspection.joints:
        return say("No joint could be looked at."), (), ()
    open_ones = gaping(inspection)
    lead = (
        say("These gape by more than {limit}, widest first.", limit=limit)
        if open_ones
        else say("No joint is seen to gape by more than {limit}.", limit=limit)
    )
    counts = Counter(joint.verdict for joint in inspection.joints)
    kinds = {
        Verdict.CLOSED: say_count("{count} closed", "{count} closed", counts[Verdict.CLOSED]),
        Verdict.UNSURE: say_count("{count} too close to tell", "{count} too close to tell", counts[Verdict.UNSURE]),
        Verdict.UNMEASURED: say_count("{count} unmeasured", "{count} unmeasured", counts[Verdict.UNMEASURED]),
    }
    by_eye = Counter(joint.verdict for joint in inspection.joints if frozenset(joint.lobes) in checked.joints)
    rest = [
        words + (say(", {count} of them on your word", count=by_eye[verdict]) if by_eye[verdict] else "")
        for verdict, words in kinds.items()
        if counts[verdict]
    ]
    after = [say("The others: {counts}.", counts=", ".join(rest)) if open_ones else f"{', '.join(rest)}."] if rest else []
    unmeasured = [joint for joint in inspection.joints if joint.verdict is Verdict.UNMEASURED]
    lost = [(joint.reason, frozenset(joint.lobes) in checked.joints, joint) for joint in unmeasured]
    for reason, seen_to in dict.fromkeys((reason, seen_to) for reason, seen_to, _ in lost):
        if reason is not None:
            which = capital(lost_joints_words(reason, [joint for one, other, joint in lost if (one, other) == (reason, seen_to)]))
            remedy = say("you have checked it") if seen_to else reason.remedy
            after.append(say("{joints} unmeasured: {why}; {remedy}.", joints=which, why=reason.sentence, remedy=remedy))
    return lead, tuple(_joint_row(joint) for joint in open_ones), tuple(after)


def _joint_row(joint: Joint) -> JointRow:
    gap = joint.max_gap
    return JointRow(joint_words(joint), "" if gap is None else length_words(gap.value), "" if gap is None else _number(gap))


def _plan_part(fit: Fit, plan: Plan, settings: PlanSettings, decision: Decision) -> Part:
    after = (*on_record(decision), *assumed(fit), *whys(fit, plan, settings), closing_words(fit, plan, table=False))
    first = " ".join(first_of_all(fit))
    if plan.waits:
        return Part(say("The plan"), f"{first} {nothing_words(fit, plan, settings)}", after=tuple(on_record(decision)))
    if not plan.moves:
        return Part(say("The plan"), f"{first} {nothing_words(fit, plan, settings)}".lstrip(), after=after)
    steps = tuple(
        Step(
            say("Lobe {lobe}: {moves}.", lobe=move.lobe, moves=short_move(move)),
            tuple(short_ease(ease, settings.shaving_in) for ease in plan.eases if ease.lobe == move.lobe),
        )
        for move in plan.moves
    )
    if plan.eases:
        lead = say(
            "Lift these and lay them again in this order, each close against what lies. Move first; ease only what still binds. Left and "
            "right from root to point; {inches}.",
            inches=lengths().plural,
        )
    else:
        lead = say(
            "No wood has to come off. Lift these and lay them again in this order, each close against what lies; {inches}.",
            inches=lengths().plural,
        )
    return Part(say("The plan"), f"{first} {lead}".lstrip(), steps, after)


def _marks_part(decision: Decision) -> Part:
    order = ", ".join(str(number) for number in decision.knife_order)
    steps = tuple(Step(mark_words(mark)) for mark in decision.marks)
    after = (
        say("Then the knife, across the rose: lobes {order}. Lift only the tape over the lobe in hand.", order=order),
        *on_record(decision),
    )
    lead = say(
        "On tape, never on bare wood, so that the rose goes back the same way. Number every lobe; an arrow to 12 o'clock on rose and field."
    )
    return Part(say("Marks, then the knife"), lead, steps, after, numbered=False)
