"""A class: whose photo is whose, every photo measured (by `batch`), a sheet for every student, and what the overview is made from.

Sheets are made from result files, in as many processes as there are cores: marks and names may be changed without measuring again.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING, Any

from . import batch
from .advise.class_marks import Marks
from .basis.errors import FolderTwice, ResultsAmongClass, SeamcheckError
from .basis.language import say
from .basis.units import Units, lengths, speak
from .folders import make_folder
from .job import fingerprint
from .photo import shown_name
from .report.class_names import Names, file_stem, plain_name
from .report.words import list_words

if TYPE_CHECKING:
    from .pages.class_content import Row, StudentSheet

RESULTS, SHEETS = "results", "sheets"  # folders beside the overview
SHEETS_A_PROCESS = 4  # so few that starting another process costs more than it saves


@dataclass(frozen=True)
class Entry:
    """One photo of one student."""

    student: str
    session: int  # 0, 1, ...
    session_name: str
    task: batch.Task


@dataclass(frozen=True)
class Classroom:
    """What there is to do."""

    out: Path
    sessions: tuple[str, ...]
    entries: tuple[Entry, ...]
    stems: Mapping[str, str]  # student -> name of the sheet's files
    notes: tuple[str, ...]

    @property
    def tasks(self) -> list[batch.Task]:
        return [entry.task for entry in self.entries]


def gather(folders: Sequence[Path], out: Path, names: Names | None, settings: dict[str, Any]) -> Classroom:
    """Whose photo is whose. Folders for results and sheets are made where they're missing. Raises a FileError with a plain sentence.

    folders: one for each session, the first session's first. settings: as `batch.Task` has them.
    """
    found = [batch.photos_in(folder) for folder in folders]
    _check_folders(folders, out)
    taken: set[str] = set()
    sessions = tuple(file_stem(plain_name(folder.resolve().name) or "photos", taken) for folder in folders)
    entries: list[Entry] = []
    notes: list[str] = []
    unlisted: list[str] = []
    for session, (folder, photos) in enumerate(zip(folders, found, strict=True)):
        here: set[str] = set()
        for photo in photos:
            listed = names.of(folder.resolve().name, photo.name) if names else None
            name = listed or plain_name(photo.stem) or "student"
            if names and listed is None:
                unlisted.append(plain_name(photo.name))
            if name in here:
                notes.append(
                    say("{student} has more than one photo in {session}: each got a sheet.", student=name, session=sessions[session])
                )
                name = f"{name} ({plain_name(photo.name)})"
            here.add(name)
            place = out / RESULTS / sessions[session] / photo.name
            result, picture = (place.with_name(photo.name + ending) for ending in (batch.RESULT, batch.PICTURE))
            entries.append(Entry(name, session, sessions[session], batch.Task(photo, result, picture, settings, _picture_px())))
    if unlisted:
        notes.append(say("Not in the list of names, so called after the file: {photos}.", photos=list_words(unlisted)))
    missing = sorted(set(names.by_photo.values()) - {entry.student for entry in entries}) if names else []
    if missing:
        notes.append(say("No photo was found of: {students}.", students=list_words(missing)))
    notes += _same_photos(entries, len(sessions) > 1)
    stems: dict[str, str] = {}
    taken = set()
    for student in sorted({entry.student for entry in entries}):
        stems[student] = file_stem(student, taken)
    for folder in (out, out / RESULTS, out / SHEETS, *(out / RESULTS / session for session in sessions)):
        make_folder(folder)
    return Classroom(out, sessions, tuple(entries), stems, tuple(dict.fromkeys(notes)))


def _same_photos(entries: Sequence[Entry], many: bool) -> list[str]:
    """A sentence for each photo that was handed in more than once, byte for byte. many: whether sessions are to be named."""
    alike: dict[int, list[Entry]] = {}
    for entry in entries:
        with suppress(OSError):  # one that can't be read has its own sentence later
            alike.setdefault(entry.task.photo.stat().st_size, []).append(entry)
    candidates = [entry for size, some in alike.items() if size and len(some) > 1 for entry in some]
    by_bytes: dict[str, list[str]] = {}
    for entry in candidates:
        place = f"{entry.session_name}/" if many else ""
        with suppress(SeamcheckError):
            by_bytes.setdefault(fingerprint(entry.task.photo).sha256, []).append(place + plain_name(entry.task.photo.name))
    return [
        say(
            "The same photo was handed in {count} times, {photos}: ask for the one that is missing.",
            count=len(photos),
            photos=list_words(photos),
        )
        for photos in by_bytes.values()
        if len(photos) > 1
    ]


def _picture_px() -> int:
    from .pages.class_content import PHOTO_PX

    return PHOTO_PX


def _check_folders(folders: Sequence[Path], out: Path) -> None:
    real = [folder.resolve() for folder in folders]
    for k, one in enumerate(real):
        if one in real[:k]:
            raise FolderTwice(folder=shown_name(folders[k]))
    if out.resolve() in real:
        raise ResultsAmongClass(folder=shown_name(out))


@dataclass(frozen=True)
class SheetTask:
    """One student's sheet."""

    student: str
    stem: str
    entries: tuple[Entry, ...]  # by session
    faults: tuple[str, ...]  # of each entry; "" where it was measured
    marks: Marks
    paper: str
    units: Units
    folder: Path


@dataclass(frozen=True)
class Written:
    """What came of it: the student's rows, or why there is no sheet."""

    student: str
    rows: tuple[Row, ...] = ()
    fault: str = ""


def sheet_targets(classroom: Classroom) -> list[Any]:
    """Every student's files, to be checked before any work is done."""
    return [target for stem in classroom.stems.values() for target in _targets(classroom.out / SHEETS, stem)]


def _targets(folder: Path, stem: str) -> list[Any]:
    from .pages.environment import is_page
    from .report.files import Target
    from .sheet import PdfKind, is_pdf

    return [Target(folder / f"{stem}.html", "a page", is_page), Target(folder / f"{stem}.pdf", "a page", is_pdf(PdfKind.STUDENT))]


def left_over(classroom: Classroom) -> list[str]:
    """Sheets of an earlier run, whose photo or name is gone since: they stay, for nothing is deleted, and say what isn't so any more."""
    from .pages.environment import is_page
    from .sheet import PdfKind, is_pdf

    mine = {target.path.name for target in sheet_targets(classroom)}
    theirs = {".html": is_page, ".pdf": is_pdf(PdfKind.STUDENT)}
    found = []
    for path in sorted((classroom.out / SHEETS).iterdir()):
        is_sheet = theirs.get(path.suffix)
        if is_sheet and path.name not in mine and path.is_file() and is_sheet(path.read_bytes()):
            found.append(shown_name(path))
    return found


def write_sheets(classroom: Classroom, faults: Mapping[Path, str], marks: Marks, paper: str) -> Iterator[Written]:
    """Every student's sheet, written; as they come. faults: why a photo couldn't be measured, by its path."""
    todo = []
    for student, stem in classroom.stems.items():
        mine = tuple(sorted((entry for entry in classroom.entries if entry.student == student), key=lambda entry: entry.session))
        told = tuple(faults.get(entry.task.photo, "") for entry in mine)
        todo.append(SheetTask(student, stem, mine, told, marks, paper, lengths().units, classroom.out / SHEETS))
    processes = min(batch.cores(), ceil(len(todo) / SHEETS_A_PROCESS))
    if processes == 1:
        yield from map(write_sheet, todo)
        return
    with batch.pool_of(processes) as pool:
        yield from pool.map(write_sheet, todo)


def write_sheet(task: SheetTask) -> Written:
    """One student's. Whatever goes wrong is a plain sentence."""
    speak(task.units)
    try:
        return _written(task)
    except SeamcheckError as error:
        return Written(task.student, fault=str(error))
    except Exception as error:
        fault = f"Seamcheck itself failed at the sheet of {task.student} ({type(error).__name__}): report it, with the photo if you can."
        return Written(task.student, fault=fault)


def _written(task: SheetTask) -> Written:
    from .pages.class_html import student_html
    from .pages.class_pdf import student_pdf
    from .report.files import write_all

    rows: list[Row] = []
    sheet: StudentSheet | None = None
    for entry, fault in zip(task.entries, task.faults, strict=True):
        sheet, row = _looked_at(entry, fault, task, rows)
        rows.append(row)
    if sheet is not None:
        made = [make(sheet, task.paper) for make in (student_html, student_pdf)]
        write_all(list(zip(_targets(task.folder, task.stem), made, strict=True)))
    return Written(task.student, tuple(rows))


def _looked_at(entry: Entry, fault: str, task: SheetTask, earlier: Sequence[Row]) -> tuple[StudentSheet, Row]:
    from .pages.class_content import retake_row, retake_sheet, row_of, seen_of, student_sheet
    from .report.inspection_reading import inspection_of
    from .result import Stage

    photo = shown_name(entry.task.photo)
    document: dict[str, Any] = {}
    if not fault:
        try:
            document = json.loads(entry.task.result.read_bytes())
            if document["stage"] == Stage.BARE.value:
                fault = say("{photo} shows a bare top, which has no points yet: take the photo when the lobes are laid dry.", photo=photo)
        except (OSError, ValueError, KeyError):
            fault = say("What was measured in {photo} can't be read: run it again.", photo=photo)
    if fault:
        row = retake_row(entry.student, entry.session, entry.session_name, photo, task.stem, fault)
        return retake_sheet(row, earlier), row
    inspection = inspection_of(document, shown_name(entry.task.result), (Stage.DRY_FIT, Stage.INLAID, Stage.LOOSE))
    seen = seen_of(inspection, task.marks)
    row = row_of(seen, entry.student, entry.session, entry.session_name, task.stem)
    picture = entry.task.picture.read_bytes() if entry.task.picture and entry.task.picture.exists() else None
    return student_sheet(seen, row, earlier, picture), row
