"""What stands on a student's sheet and in a teacher's overview, before any page is laid out: both HTML and PDF are made from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..advise.cautions import BY_EYE, KNIFE_IN, MAKERS_FIRST
from ..advise.class_look import Kind, Look, judged, look
from ..advise.class_marks import Marks
from ..advise.fit_plan import PlanSettings, plan_fit
from ..advise.go_no_go import Call, decide
from ..basis.frames import Array
from ..basis.language import say, to_say
from ..report.class_words import Thing, cautions_of, good_words, photo_words, things_of, untold_words
from ..report.decide_text import SAID, why_words
from ..report.json_file import result_document
from ..report.overlay_canvas import Box, Canvas, text_width
from ..report.overlay_palette import INK, PAPER
from ..report.overlay_photo import annotate, panel_view
from ..report.result_reading import fit_of
from ..report.words import STAGE_WORDS
from ..result import Inspection, Stage, Verdict
from .bench_content import BANDS, SUMMED_UP
from .pictures import Picture, jpeg
from .words import scale_words

PHOTO_PX = 1100  # the photo's longest side on a student's sheet
RING_PX, RING_WIDTH_PX, NUMBER_PX = 46, 5, 40
UP_RIGHT = np.array([1.0, -1.0])  # of a ring its number stands there, where nothing else does
RETAKE = "retake"  # the call of a photo that couldn't be measured
RETAKE_WORDS = (
    to_say("Lay four cards or more flat round the rose, beyond the points and not over the seams; weigh down a curled one."),
    to_say("Stand over the middle, the whole rose and all cards in view, the phone level, and tap on the rose to focus."),
    to_say("Even light from two sides; no flash, no shadow of yours, not the 0.5x lens."),
    to_say("Hand in the original as the phone took it, not a messaging app's copy."),
)


@dataclass(frozen=True)
class Row:
    """One student's one photo, as the overview and the table have it. Lengths are inches."""

    student: str
    session: int  # 0, 1, ...
    session_name: str
    photo: str
    stage: str
    call: str  # "go", "not-yet", "cant-tell", RETAKE, or "" where nothing is to be cut
    sheet: str  # its files' name without ending
    on: int = 0
    points_measured: int = 0
    points: int = 0
    closed: int = 0
    joints_measured: int = 0
    joints: int = 0
    worst_point: tuple[float, float] | None = None  # farthest off its seam, without sign, and u95
    widest_gap: tuple[float, float] | None = None
    offsets: tuple[float, ...] = ()  # every measured point's, without sign
    gaps: tuple[float, ...] = ()
    kinds: tuple[Kind, ...] = ()  # of all its faults, what matters most first
    fault: str = ""  # why the photo couldn't be measured
    off: int = 0
    opened: int = 0

    @property
    def most_on(self) -> int:
        """Points that may be on, for all the photo tells: those too close to call and those that weren't measured among them."""
        return self.points - self.off


@dataclass(frozen=True)
class StudentSheet:
    """All of it."""

    student: str
    session: str
    photo_name: str
    stage: str
    call: str
    said: str  # in the band
    sentence: str
    good: tuple[str, ...]
    things: tuple[Thing, ...]
    nothing: str  # what is said where there is no thing
    untold: tuple[str, ...]
    progress: tuple[str, ...]
    retake: tuple[str, ...]
    photo: Picture | None
    photo_words: str  # beneath it
    scale: str
    cautions: tuple[str, ...]


def seen_of(inspection: Inspection, marks: Marks) -> Look:
    """An inspection as the class looks at it. Not for bare tops."""
    inspection = judged(inspection, marks)
    fit = fit_of(result_document(inspection), inspection.photo_name) if inspection.stage is Stage.DRY_FIT else None
    return look(inspection, fit, marks)


def row_of(seen: Look, student: str, session: int, session_name: str, sheet: str) -> Row:
    """The same in one row."""
    inspection = seen.inspection
    tips = [tip for tip in inspection.tips if tip.seam_offset is not None and tip.verdict not in (None, Verdict.UNMEASURED)]
    joints = [joint for joint in inspection.joints if joint.max_gap is not None and joint.verdict is not Verdict.UNMEASURED]
    offsets = [(abs(tip.seam_offset.value), tip.seam_offset.u95) for tip in tips if tip.seam_offset]
    gaps = [(joint.max_gap.value, joint.max_gap.u95) for joint in joints if joint.max_gap]
    return Row(
        student,
        session,
        session_name,
        inspection.photo_name,
        say(STAGE_WORDS[inspection.stage]),
        BANDS[seen.call] if seen.call else "",
        sheet,
        sum(tip.verdict is Verdict.ON for tip in tips),
        len(tips),
        sum(tip.verdict is not None for tip in inspection.tips),
        sum(joint.verdict is Verdict.CLOSED for joint in joints),
        len(joints),
        len(inspection.joints),
        max(offsets, default=None),
        max(gaps, default=None),
        tuple(value for value, _ in offsets),
        tuple(value for value, _ in gaps),
        tuple(group.kind for group in seen.groups),
        off=sum(tip.verdict is Verdict.OFF for tip in tips),
        opened=sum(joint.verdict is Verdict.OPEN for joint in joints),
    )


def retake_row(student: str, session: int, session_name: str, photo: str, sheet: str, fault: str) -> Row:
    """The row of a photo that couldn't be measured."""
    return Row(student, session, session_name, photo, "", RETAKE, sheet, fault=fault)


def student_sheet(seen: Look, row: Row, earlier: Sequence[Row], picture: bytes | None) -> StudentSheet:
    """earlier: the student's rows of the sessions before. picture: the annotated photo's JPEG file, PHOTO_PX long."""
    inspection, fit = seen.inspection, seen.fit
    settings = PlanSettings()
    plan = plan_fit(fit, settings) if fit is not None and seen.groups else None
    things = things_of(seen, plan, settings)
    said, sentence = say(SUMMED_UP[inspection.stage]) if inspection.stage in SUMMED_UP else "", ""
    if fit is not None and seen.call is not None:
        said, sentence = say(SAID[seen.call]), why_words(fit, decide(fit))
    return StudentSheet(
        row.student,
        row.session_name,
        inspection.photo_name,
        row.stage,
        row.call,
        said,
        sentence,
        (*_better(row, earlier), *(good_words(good, inspection) for good in seen.goods)) or photo_words(inspection),
        things,
        "" if things else _nothing(seen),
        untold_words(seen),
        _progress(row, earlier),
        (),
        _picture(picture, inspection, things) if picture else None,
        _picture_words(things),
        scale_words(inspection),
        _cautions(seen, things, bool(plan and plan.eases)),
    )


def retake_sheet(row: Row, earlier: Sequence[Row]) -> StudentSheet:
    """For a photo that couldn't be measured: why, and how to take it again."""
    return StudentSheet(
        row.student,
        row.session_name,
        row.photo,
        "",
        RETAKE,
        say("PHOTO AGAIN"),
        row.fault,
        (),
        (),
        say("Nothing is said of your rose: only the photo is to be taken again."),
        (),
        _progress(row, earlier),
        tuple(map(say, RETAKE_WORDS)),
        None,
        "",
        "",
        (),
    )


def _nothing(seen: Look) -> str:
    if seen.call is Call.GO:
        return say("Nothing lies beyond its mark. Show it to your teacher, then make the marks and knife in.")
    return say("Nothing that could be measured lies beyond its mark for certain.")


def _cautions(seen: Look, things: Sequence[Thing], eased: bool) -> tuple[str, ...]:
    kinds = {thing.kind for thing in things}
    if seen.call is Call.GO:
        return say(KNIFE_IN), say(MAKERS_FIRST)
    if seen.inspection.stage is Stage.INLAID:
        eased = False
    return (*cautions_of(kinds, eased and bool(kinds & {Kind.POINT})), say(BY_EYE), say(MAKERS_FIRST))


def points_words(row: Row) -> str:
    """ "3 of 8", of the points that were measured; "3 of 7 (of 8)" where some weren't."""
    if not row.points:
        return ""
    told = say("{count} of {all}", count=row.on, all=row.points_measured)
    return told if row.points_measured == row.points else say("{told} ({all} in all)", told=told, all=row.points)


def joints_words(row: Row) -> str:
    """The same of closed joints."""
    if not row.joints:
        return ""
    told = say("{count} of {all}", count=row.closed, all=row.joints_measured)
    return told if row.joints_measured == row.joints else say("{told} ({all} in all)", told=told, all=row.joints)


def told_words(sure: str, wrong: str, left: int) -> str:
    """ "3 on, 3 off, 2 can't tell"."""
    return (
        say("{sure}, {wrong}, {left} can't tell", sure=sure, wrong=wrong, left=left)
        if left
        else say("{sure}, {wrong}", sure=sure, wrong=wrong)
    )


def points_told(row: Row) -> str:
    """ "3 on, 3 off, 2 can't tell": all of a rose's points. "" where it has none."""
    if not row.points:
        return ""
    return told_words(say("{count} on", count=row.on), say("{count} off", count=row.off), row.most_on - row.on)


def _joints_told(row: Row) -> str:
    left = row.joints - row.closed - row.opened
    return told_words(say("{count} closed", count=row.closed), say("{count} open", count=row.opened), left)


def _before(row: Row, earlier: Sequence[Row]) -> Row | None:
    """The last time that points were measured, where they are now too."""
    return next((one for one in reversed(earlier) if one.points_measured), None) if row.points_measured else None


def _surely_more(one: Row, other: Row) -> bool:
    """More points surely on than may have been on in the other, and a larger share: too close to call then and on now is no gain."""
    return one.on > other.most_on and one.on * other.points > other.most_on * one.points


def _better(row: Row, earlier: Sequence[Row]) -> tuple[str, ...]:
    """More points on than the time before, surely."""
    before = _before(row, earlier)
    if before is None or not _surely_more(row, before):
        return ()
    return (
        say(
            "More points on their seams than in {session}: {before} then, {now} now.",
            session=before.session_name,
            before=points_told(before),
            now=points_told(row),
        ),
    )


def _progress(row: Row, earlier: Sequence[Row]) -> tuple[str, ...]:
    """Session by session, where there was more than one; and whether it got worse, or can't be told."""
    return (*map(_moment, (*earlier, row)), *_worse(row, earlier)) if earlier else ()


def _worse(row: Row, earlier: Sequence[Row]) -> tuple[str, ...]:
    before = _before(row, earlier)
    if before is None or _surely_more(row, before):
        return ()
    if _surely_more(before, row):
        return (say("Fewer points on their seams than in {session}.", session=before.session_name),)
    if (row.on, row.off, row.points) == (before.on, before.off, before.points):
        return ()
    return (
        say("Whether more or fewer points lie on their seams than in {session}, these photos can't tell.", session=before.session_name),
    )


def _moment(row: Row) -> str:
    if row.call == RETAKE:
        return say("{session}: the photo has to be taken again.", session=row.session_name)
    if not row.points:
        return say("{session}: {stage}.", session=row.session_name, stage=row.stage)
    if not row.joints:
        return say("{session}: points {points}.", session=row.session_name, points=points_told(row))
    return say(
        "{session}: points {points}; joints {joints}.",
        session=row.session_name,
        points=points_told(row),
        joints=_joints_told(row),
    )


def _picture_words(things: Sequence[Thing]) -> str:
    if not any(thing.lobes for thing in things):
        return ""
    return say("The rings show where: the number is that of the thing to mend.")


def _picture(data: bytes, inspection: Inspection, things: Sequence[Thing]) -> Picture | None:
    """With a numbered ring where each thing is worst."""
    import cv2

    image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    if image is None:
        return None
    canvas = Canvas.blank(image.shape[1], image.shape[0])
    canvas.paste(image)
    panel = panel_view(inspection, PHOTO_PX, PHOTO_PX)
    labels = annotate(Canvas.blank(panel.width, panel.height), inspection, panel)  # those that the photo bears already
    for number, thing in enumerate(things, 1):
        place = _place_px(thing, inspection)
        if place is None:
            continue
        at = panel.xy_of(place)
        canvas.ring(at, RING_PX, PAPER, RING_WIDTH_PX)
        _plate(canvas, labels.place(at, UP_RIGHT, NUMBER_PX, NUMBER_PX), str(number))
    return jpeg(
        canvas.finished(), say("The photo, with every edge, seam and point that was found drawn in, and rings round what matters most.")
    )


def _plate(canvas: Canvas, plate: Box, number: str) -> None:
    """The number on a black plate."""
    canvas.fill(plate.grown(3), PAPER)
    canvas.fill(plate, INK)
    size = NUMBER_PX - 10
    canvas.write(number, plate.x0 + (NUMBER_PX - text_width(number, size, True)) / 2, plate.y0 + 1, size, bold=True, colour=PAPER)


def _place_px(thing: Thing, inspection: Inspection) -> Array | None:
    """Where a thing is worst: the joint's widest place, the point, or for a lobe's shape its middle. None for what is everywhere."""
    if not thing.lobes:
        return None
    if len(thing.lobes) == 2:
        joint = next((one for one in inspection.joints if one.lobes == thing.lobes), None)
        return None if joint is None else joint.max_at_px if joint.max_at_px is not None else joint.edge_px.mean(axis=0)
    tip = next(tip for tip in inspection.tips if tip.lobe == thing.lobes[0])
    at_point = thing.kind in (Kind.POINT, Kind.OWN_SEAM, Kind.REACH, Kind.LENGTH, Kind.TURNED)
    return tip.tip_px if at_point else tip.outline_px.mean(axis=0)
