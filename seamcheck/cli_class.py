"""The command for a class: `class`."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .basis.language import say, say_count
from .basis.units import Units
from .cli_measure import made_with
from .cli_options import (
    BarAcrossOption,
    BarAlongOption,
    PaperName,
    PaperOption,
    StageOption,
    UnitsOption,
    VeneerOption,
)

if TYPE_CHECKING:
    from .advise.class_marks import Marks
    from .classroom import Classroom
    from .pages.class_content import Row

OVERVIEW = "overview"
MOST_LIST_BYTES = 2_000_000  # of a list of names or marks; more is some other file


def add_to(app: typer.Typer) -> None:
    """Put this command on a command line."""
    app.command("class")(class_sheets)


def class_sheets(
    photos: Annotated[
        list[Path],
        typer.Argument(metavar="PHOTOS...", help="A folder of the students' photos; or one for each session, the first session first."),
    ],
    out: Annotated[Path, typer.Argument(metavar="OUT", help="The folder for sheets and overview; made where it's missing.")],
    names: Annotated[
        Path | None, typer.Option(metavar="FILE.csv", help="Who took which photo: lines of photo, name. Else called after the files.")
    ] = None,
    marks: Annotated[
        Path | None, typer.Option(metavar="FILE.toml", help="What the class is held to; what isn't in it stays as usual.")
    ] = None,
    stage: StageOption = None,
    veneer: VeneerOption = None,
    bar_across: BarAcrossOption = None,
    bar_along: BarAlongOption = None,
    paper: PaperOption = PaperName.LETTER,
    units: UnitsOption = Units.IN,
) -> None:
    """Make a sheet for every student of a class, and an overview for the teacher.

    Each sheet says what is good, the two things that matter most, how to mend them and what to practise. Nothing is sent anywhere.
    Run it again after adding photos or changing marks: what is measured stays measured.

    A LENGTH is inches, written 0.0238, 1/42 or 2 1/2, or millimetres, written 0.6mm.
    """
    from .advise.class_marks import Marks, marks_of
    from .classroom import gather, left_over, sheet_targets, write_sheets
    from .report.class_names import names_of
    from .report.files import check_targets

    held_to = marks_of(_read(marks), str(marks)) if marks else Marks()
    listed = names_of(_read(names), str(names)) if names else None
    classroom = gather(photos, out, listed, made_with(stage, None, None, veneer, bar_across, bar_along))
    check_targets([*_overview_targets(out), *sheet_targets(classroom)])
    faults = _measured(classroom)
    rows: list[Row] = []
    lost: list[str] = []
    for written in write_sheets(classroom, faults, held_to, paper.value):
        rows += written.rows
        lost += [written.fault] if written.fault else []
    _write_overview(classroom, rows, held_to, paper)
    _tell(classroom, rows, left_over(classroom))
    sys.stdout.flush()
    for fault in [*faults.values(), *lost]:
        print(fault, file=sys.stderr)
    if faults or lost:
        raise typer.Exit(1)


def _read(path: Path) -> bytes:
    from .basis.errors import FileMissing, FileTooLarge
    from .photo import read_bytes, shown_name

    if not path.exists():
        raise FileMissing(photo=shown_name(path))
    if path.is_file() and path.stat().st_size > MOST_LIST_BYTES:
        raise FileTooLarge(photo=shown_name(path), megabytes=path.stat().st_size / 1e6, limit=MOST_LIST_BYTES / 1e6)
    return read_bytes(path)


def _measured(classroom: Classroom) -> dict[Path, str]:
    """Every photo measured, with progress; why those that weren't couldn't be, by path."""
    from .batch import run

    faults: dict[Path, str] = {}
    count, width = len(classroom.entries), len(str(len(classroom.entries)))
    places = {entry.task.photo: f"{entry.session_name}/" if len(classroom.sessions) > 1 else "" for entry in classroom.entries}
    try:
        for number, outcome in enumerate(run(classroom.tasks), 1):
            place = places[outcome.path] if outcome.path else ""
            print(f"{number:>{width}} of {count}  {place}{outcome.photo}: {outcome.words or say('not measured')}", flush=True)
            if outcome.fault and outcome.path:
                faults[outcome.path] = outcome.fault
    except KeyboardInterrupt:
        print(say("Stopped. What is done is kept: the same command goes on from there."), file=sys.stderr)
        raise typer.Exit(1) from None
    return faults


def _overview_targets(out: Path) -> list[Any]:
    from .pages.environment import is_page
    from .report.class_table import is_class_table
    from .report.files import Target
    from .sheet import PdfKind, is_pdf

    return [
        Target(out / f"{OVERVIEW}.html", "a page", is_page),
        Target(out / f"{OVERVIEW}.pdf", "a page", is_pdf(PdfKind.CLASS)),
        Target(out / f"{OVERVIEW}.csv", "a table", is_class_table),
    ]


def _write_overview(classroom: Classroom, rows: Sequence[Row], marks: Marks, paper: PaperName) -> None:
    from .pages.class_html import overview_html
    from .pages.class_overview import overview, table_rows
    from .pages.class_overview_pdf import overview_pdf
    from .report.class_table import class_table
    from .report.files import write_all

    shown = overview(rows, classroom.sessions, marks, classroom.notes)
    made = [overview_html(shown, paper.value), overview_pdf(shown, paper.value), class_table(table_rows(rows))]
    write_all(list(zip(_overview_targets(classroom.out), made, strict=True)))


def _tell(classroom: Classroom, rows: Sequence[Row], left: list[str]) -> None:
    from .pages.class_overview import last_rows
    from .report.words import list_words

    last = last_rows(rows)
    ready = [row.student for row in last if row.call == "go"]
    print()
    print(say("Ready to knife in: {students}.", students=", ".join(ready)) if ready else say("Nobody is ready to knife in yet."))
    for note in classroom.notes:
        print(note)
    if left:
        print(
            say(
                "Not of this run, but of an earlier one, so don't hand them out: in {name}, {files}.",
                name="sheets",
                files=list_words(left),
            )
        )
    sheets = say_count("{count} sheet", "{count} sheets", len(last))
    print(say("{folder}: overview.html, .pdf and .csv, and {sheets} in {name}.", folder=classroom.out, sheets=sheets, name="sheets"))
