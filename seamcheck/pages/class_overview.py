"""What a teacher's overview says of the whole class: who is ready, what goes wrong most, how it spreads and how it goes on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from urllib.parse import quote

from ..advise.cautions import BY_EYE, KNIFE_IN, MAKERS_FIRST
from ..advise.class_look import Kind
from ..advise.class_marks import Marks
from ..basis.language import say, say_count, to_say
from ..basis.units import lengths
from ..report.class_mend import amount
from ..report.class_words import HEADINGS, PRACTISE, cautions_of
from ..report.words import length_words, limit_words, list_words
from .class_content import RETAKE, Row, joints_words, points_told, points_words
from .class_plots import faults_plot, progress_plot, spread_plot
from .pictures import Picture

SHEETS = "sheets"  # the folder of the students' sheets, beside the overview
# In the order in which a teacher goes round: call, heading, mark.
READY = (
    ("go", to_say("Ready to knife in"), "on"),
    ("not-yet", to_say("Not yet"), "off"),
    ("cant-tell", to_say("Can't tell: check by eye"), "unsure"),
    ("", to_say("Loose or let in: nothing to knife now"), "none"),
    (RETAKE, to_say("Photo to take again"), "unmeasured"),
)
MOST_NAMED = 6  # students named beside a fault; the sheets have all


@dataclass(frozen=True)
class Student:
    """One row of the overview."""

    number: int  # as in the plots
    name: str
    href: str
    mark: str
    call: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class ReadyGroup:
    """Who stands where."""

    heading: str
    mark: str
    students: tuple[Student, ...]


@dataclass(frozen=True)
class Common:
    """A fault of the class."""

    heading: str
    count: str
    who: str
    practise: str


@dataclass(frozen=True)
class Plot:
    """A plot and what it shows, in a line."""

    heading: str
    words: str
    picture: Picture


@dataclass(frozen=True)
class Overview:
    """All of it."""

    title: str
    lead: str
    groups: tuple[ReadyGroup, ...]
    heads: tuple[str, ...]
    students: tuple[Student, ...]
    common_lead: str
    common: tuple[Common, ...]
    plots: tuple[Plot, ...]
    session_heads: tuple[str, ...]  # () where there is one session
    session_rows: tuple[tuple[str, ...], ...]  # of points on, student by student
    marks: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def _by_student(rows: Sequence[Row]) -> dict[str, list[Row]]:
    """By name; each one's by session."""
    found: dict[str, list[Row]] = {}
    for row in sorted(rows, key=lambda row: (row.student.casefold(), row.student, row.session)):
        found.setdefault(row.student, []).append(row)
    return found


def last_rows(rows: Sequence[Row]) -> list[Row]:
    """Every student's last."""
    return [mine[-1] for mine in _by_student(rows).values()]


def table_rows(rows: Sequence[Row]) -> list[dict[str, object]]:
    """Every photo's cells, by the table's columns."""
    return [
        {
            "student": row.student,
            "session": row.session_name,
            "photo": row.photo,
            "stage": row.stage,
            "stands": say(CALLS[row.call]),
            "faults, what matters most first": "; ".join(say(HEADINGS[kind]).lower() for kind in row.kinds),
            "why not measured": row.fault,
            "sheet": f"{SHEETS}/{row.sheet}.html",
            "worst point": row.worst_point,
            "widest gap": row.widest_gap,
            **(_counts(row) if row.points else {}),
        }
        for mine in _by_student(rows).values()
        for row in mine
    ]


def _counts(row: Row) -> dict[str, object]:
    return {
        "points on": row.on,
        "points off": row.off,
        "points measured": row.points_measured,
        "points": row.points,
        "joints closed": row.closed,
        "joints open": row.opened,
        "joints measured": row.joints_measured,
        "joints": row.joints,
    }


def overview(rows: Sequence[Row], sessions: Sequence[str], marks: Marks, notes: Sequence[str]) -> Overview:
    """rows: every photo of every student. A student stands where the last photo says."""
    by_student = _by_student(rows)
    last = [mine[-1] for mine in by_student.values()]
    many = len(sessions) > 1
    students = tuple(_student(number, row, many) for number, row in enumerate(last, 1))
    return Overview(
        say("Class overview"),
        _lead(last, sessions),
        _groups(students, last),
        _heads(many),
        students,
        _common_lead(last),
        _common(last),
        _plots(last, by_student, sessions, marks),
        (say("student"), *sessions) if many else (),
        _session_rows(by_student, sessions) if many else (),
        _marks_words(marks),
        tuple(notes),
        _cautions(last),
    )


def _lead(last: Sequence[Row], sessions: Sequence[str]) -> str:
    students = say_count("{count} student", "{count} students", len(last))
    told = say_count("{count} session", "{count} sessions", len(sessions))
    ready = sum(row.call == "go" for row in last)
    return say(
        "{students}, {sessions}; ready to knife in: {ready}. Each stands where the last photo says.",
        students=students,
        sessions=told,
        ready=ready or say("nobody yet"),
    )


def _cautions(last: Sequence[Row]) -> tuple[str, ...]:
    knife = (say(KNIFE_IN),) if any(row.call == "go" for row in last) else ()
    return (*knife, *cautions_of({kind for row in last for kind in row.kinds}, False), say(BY_EYE), say(MAKERS_FIRST))


def _heads(many: bool) -> tuple[str, ...]:
    stage = (say("session"), say("stage")) if many else (say("stage"),)
    return (
        say("student"),
        *stage,
        say("stands"),
        say("points on"),
        say("worst point"),
        say("joints closed"),
        say("widest gap"),
        say("first"),
    )


CALLS = {
    "go": to_say("go"),
    "not-yet": to_say("not yet"),
    "cant-tell": to_say("can't tell"),
    "": to_say("measured"),
    RETAKE: to_say("photo again"),
}


def _student(number: int, row: Row, many: bool) -> Student:
    mark = next(mark for call, _, mark in READY if call == row.call)
    cells = (
        *((row.session_name,) if many else ()),
        row.stage,
        say(CALLS[row.call]),
        points_words(row),
        length_words(row.worst_point[0]) if row.worst_point else "",
        joints_words(row),
        length_words(row.widest_gap[0]) if row.widest_gap else "",
        say(HEADINGS[row.kinds[0]]) if row.kinds else "",
    )
    return Student(number, row.student, f"{SHEETS}/{quote(row.sheet)}.html", mark, row.call, cells)


def _share(row: Row) -> float:
    return row.on / row.points_measured if row.points_measured else 1.0


def _groups(students: Sequence[Student], last: Sequence[Row]) -> tuple[ReadyGroup, ...]:
    """Within each, whoever has the fewest points on comes first: who needs help first."""
    order = sorted(zip(students, last, strict=True), key=lambda pair: (_share(pair[1]), pair[0].number))
    groups = []
    for call, heading, mark in READY:
        mine = tuple(student for student, _ in order if student.call == call)
        if mine:
            groups.append(ReadyGroup(say(heading), mark, mine))
    return tuple(groups)


def _common_lead(last: Sequence[Row]) -> str:
    measured = sum(row.call != RETAKE for row in last)
    if not any(row.kinds for row in last):
        return say("No fault was measured beyond its mark for certain.") if measured else say("No photo could be measured.")
    return say("How many of the {count} students whose photo was measured have it; each fault beyond its mark for certain.", count=measured)


def fault_counts(last: Sequence[Row]) -> list[tuple[Kind, int]]:
    """Faults and how many students have each, the commonest first."""
    counts = [(kind, sum(kind in row.kinds for row in last)) for kind in Kind]
    return sorted(((kind, count) for kind, count in counts if count), key=lambda one: -one[1])


def _common(last: Sequence[Row]) -> tuple[Common, ...]:
    measured = sum(row.call != RETAKE for row in last)
    found = []
    for kind, count in fault_counts(last):
        names = [row.student for row in last if kind in row.kinds]
        who = list_words(names[:MOST_NAMED]) if len(names) <= MOST_NAMED else say("{names} and others", names=", ".join(names[:MOST_NAMED]))
        found.append(Common(say(HEADINGS[kind]), say("{count} of {all}", count=count, all=measured), who, say(PRACTISE[kind])))
    return tuple(found)


def _plots(last: Sequence[Row], by_student: dict[str, list[Row]], sessions: Sequence[str], marks: Marks) -> tuple[Plot, ...]:
    plots = []
    counts = fault_counts(last)
    if counts:
        worst = say(HEADINGS[counts[0][0]])
        alt = say(
            "Bars: how many students have each fault; the commonest is {fault}, with {count}.", fault=worst.lower(), count=counts[0][1]
        )
        bars = [(say(HEADINGS[kind]), count) for kind, count in counts]
        plots.append(Plot(say("What goes wrong most"), say("Students who have it."), faults_plot(bars, alt)))
    offsets = [row.offsets for row in last]
    if any(offsets):
        middle = amount(median(value for one in offsets for value in one))
        alt = say("Dots: every student's points by how far each lies off its seam; half of all lie within {length}.", length=middle)
        words = say("Every point that was measured; the number is the student's. Half of all lie within {length}.", length=middle)
        axis = say("off its seam, {unit}", unit=lengths().symbol)
        plots.append(Plot(say("How far points lie off their seams"), words, spread_plot(offsets, marks.point_off, axis, alt)))
    gaps = [row.gaps for row in last]
    if any(gaps):
        middle = amount(median(value for one in gaps for value in one))
        alt = say("Dots: every student's joints by how wide each opens; half of all open no more than {length}.", length=middle)
        words = say("Every joint that was measured, at its widest. Half of all open no more than {length}.", length=middle)
        axis = say("widest gap, {unit}", unit=lengths().symbol)
        plots.append(Plot(say("How wide joints open"), words, spread_plot(gaps, marks.gap, axis, alt)))
    if len(sessions) > 1:
        shares = [[_of_session(mine, k) for k in range(len(sessions))] for mine in by_student.values()]
        told = [[share for one in shares if (share := one[k]) is not None] for k in range(len(sessions))]
        middles = [median(mine) if mine else None for mine in told]
        said = [f"{100 * middle:.0f} %" if middle is not None else say("none") for middle in middles]
        told_words = ", ".join(f"{name} {share}" for name, share in zip(sessions, said, strict=True))
        alt = say("Lines: each student's share of points on their seams, by session; the class's middle: {shares}.", shares=told_words)
        words = say(
            "Thin: each student. Thick: the class's middle ({shares}). Only points surely on are counted: what is too close to call isn't.",
            shares=told_words,
        )
        plots.append(Plot(say("Points on their seams, by session"), words, progress_plot(shares, middles, alt)))
    return tuple(plots)


def _of_session(rows: Sequence[Row], session: int) -> float | None:
    row = next((row for row in rows if row.session == session), None)
    return row.on / row.points_measured if row is not None and row.points_measured else None


def _session_rows(by_student: dict[str, list[Row]], sessions: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    rows = []
    for student, mine in by_student.items():
        told = {row.session: say(CALLS[RETAKE]) if row.call == RETAKE else points_told(row) or row.stage for row in mine}
        rows.append((student, *(told.get(k, say("no photo")) for k in range(len(sessions)))))
    return tuple(rows)


def _marks_words(marks: Marks) -> str:
    return say(
        "Held to: a point {point} off its seam, a joint open {gap}, an overlap {overlap}, an own seam {own} off its point, a loose "
        "lobe's root {root}° and length {length} from its ring's middle, the first ring {turn}° from a full turn, a point's reach {reach} "
        "from its ring's middle. A point that is neither on nor off for certain counts as neither.",
        point=limit_words(marks.point_off),
        gap=limit_words(marks.gap),
        overlap=limit_words(marks.overlap),
        own=limit_words(marks.own_seam_off),
        root=f"{marks.root_angle:g}",
        length=limit_words(marks.length),
        turn=f"{marks.root_angles_sum:g}",
        reach=limit_words(marks.reach),
    )
