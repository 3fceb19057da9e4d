"""The commands that follow a fit from photo to photo: `job`, which keeps its inspections, and `compare`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .basis.language import say
from .basis.units import Units
from .cli_options import UnitsOption, picture_name, whole

if TYPE_CHECKING:
    from .combine.change import Comparison
    from .job import Job, Kept
    from .report.timeline import Moment
    from .result import Inspection


def add_to(app: typer.Typer) -> None:
    """Put these commands on a command line."""
    app.command()(job)
    app.command()(compare)


def job(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The job's folder.")],
    new: Annotated[bool, typer.Option("--new", help="Begin a job there; the folder is made where it's missing.")] = False,
    note: Annotated[str | None, typer.Option(metavar="WORDS", help="Keep a note about the job: the top, the woods, for whom.")] = None,
    leave_out: Annotated[
        int | None, typer.Option(parser=whole(1), metavar="NUMBER", help="An inspection that should not count, say of the wrong top.")
    ] = None,
    take_in: Annotated[
        int | None, typer.Option(parser=whole(1), metavar="NUMBER", help="An inspection that was left out, to count again.")
    ] = None,
    timeline: Annotated[
        Path | None,
        typer.Option(parser=picture_name, metavar="FILE", help="Draw every point from photo to photo, as a .png or .jpg file."),
    ] = None,
    units: UnitsOption = Units.IN,
) -> None:
    """Keep a job's inspections and patterns in one folder, and list them.

    `seamcheck inspect PHOTO --job FOLDER` adds what it measures, `seamcheck template ... --job FOLDER` the rose that was drawn.
    """
    from .job import new_job, open_job
    from .report.job_text import job_lines

    with (new_job if new else open_job)(folder) as opened:
        if note is not None:
            opened.tell("note", note)
        if leave_out is not None:
            opened.leave_out(leave_out)
        if take_in is not None:
            opened.leave_out(take_in, out=False)
        left_out: list[str] = []
        if timeline is not None:
            from .report.files import Target, write_all
            from .report.picture_file import is_picture
            from .report.timeline import timeline_picture

            last, moments, left_out = _moments(opened)
            write_all([(Target(timeline, "a picture", is_picture), timeline_picture(last, moments, timeline.suffix))])
        _say([*job_lines(opened.name, opened.told(), opened.inspections(left_out_too=True), opened.patterns()), *left_out])


def compare(
    what: Annotated[
        list[Path],
        typer.Argument(metavar="FIRST LATER", help="Two result files of one fit, the earlier first; or a job's folder, for its last two."),
    ],
    since: Annotated[
        int | None,
        typer.Option(
            "--from", parser=whole(1), metavar="NUMBER", help="Of a job: compare with this inspection. Where not given, the one before."
        ),
    ] = None,
    until: Annotated[
        int | None,
        typer.Option("--to", parser=whole(1), metavar="NUMBER", help="Of a job: the inspection to compare. Where not given, the last."),
    ] = None,
    units: UnitsOption = Units.IN,
) -> None:
    """Say what changed between two photos of one fit: which point moved, which joint closed.

    The phone may be held otherwise; lobes are known again by where they lie and by their wood.
    """
    from .combine.change import compare as compare_inspections
    from .report.change_text import change_lines
    from .report.inspection_reading import read_inspection

    if len(what) == 1 and (what[0].is_dir() or not what[0].exists()):
        first, later, names = _of_job(what[0], since, until)
    elif len(what) != 2:
        raise typer.BadParameter("give two result files, the earlier first, or one job's folder.", param_hint="FIRST LATER")
    elif since is not None or until is not None:
        raise typer.BadParameter("--from and --to choose among a job's inspections: give the job's folder.", param_hint="--from")
    else:
        first, later = (read_inspection(path) for path in what)
        if what[0].read_bytes() == what[1].read_bytes():
            from .basis.errors import SameTwice
            from .photo import shown_name

            raise SameTwice(first=shown_name(what[0]), later=shown_name(what[1]))
        names = _names(first.photo_name, later.photo_name, *(path.name for path in what))
    found: Comparison = compare_inspections(first, later)
    _say(change_lines(found, *names))


def _names(first: str, later: str, first_file: str, later_file: str) -> tuple[str, str]:
    """What the two are called: by the photos' names, where those differ."""
    return (first, later) if first != later else (first_file, later_file)


def _of_job(folder: Path, since: int | None, until: int | None) -> tuple[Inspection, Inspection, tuple[str, str]]:
    """Two inspections of a job, the last two of one stage where nothing is said, and what they are called."""
    from .basis.errors import JobTooShort, SameTwice
    from .job import open_job
    from .report.inspection_reading import inspection_of

    with open_job(folder) as opened:
        counted = _once_a_photo(opened.inspections())
        roses = [one for one in counted if one.stage in ("dry-fit", "inlaid")]
        later = opened.inspection(until) if until is not None else roses[-1] if roses else None
        earlier = [one for one in roses if later is not None and one.number < later.number and one.stage == later.stage]
        first = opened.inspection(since) if since is not None else earlier[-1] if earlier else None
        if first is None or later is None:
            few = say("only one photo of this stage, and it takes two to compare")
            count = say("no inspection of a rose yet") if later is None else few
            raise JobTooShort(job=opened.name, count=count)
        if first.number == later.number:
            raise SameTwice(first=f"inspection {first.number}", later=f"inspection {later.number} of {opened.name}")
        pair = [inspection_of(one.document, f"inspection {one.number}") for one in (first, later)]
    names = tuple(f"{one.number} ({found.photo_name})" for one, found in zip((first, later), pair, strict=True))
    return pair[0], pair[1], (names[0], names[1])


def _once_a_photo(kept: list[Kept]) -> list[Kept]:
    """Of photos that were measured more than once, the last measurement alone."""
    last = {tuple(sorted(photo.sha256 for photo in one.photos)): one.number for one in kept}
    return [one for one in kept if last[tuple(sorted(photo.sha256 for photo in one.photos))] == one.number]


def _moments(opened: Job) -> tuple[Inspection, list[Moment], list[str]]:
    """The last inspection of a rose, and all of its stage as its numbers have them; a note for each that can't be laid on it."""
    from .basis.errors import FileError, JobTooShort, PhotoError
    from .combine.match import match
    from .report.inspection_reading import inspection_of
    from .report.timeline import Moment

    roses = [one for one in _once_a_photo(opened.inspections()) if one.stage in ("dry-fit", "inlaid")]
    if not roses:
        raise JobTooShort(job=opened.name, count=say("no inspection of a rose yet"))
    last = inspection_of(roses[-1].document, f"inspection {roses[-1].number}")
    moments, notes = [], []
    for one in roses:
        if one.stage != roses[-1].stage:
            continue
        try:
            found = last if one is roses[-1] else inspection_of(one.document, f"inspection {one.number}")
            number = {tip.lobe: tip.lobe for tip in last.tips} if one is roses[-1] else match(last, found)
        except (PhotoError, FileError) as error:
            notes.append(say("Inspection {number} is left out of the timeline: {why}", number=one.number, why=error))
            continue
        tips: dict[int, Any] = {number[tip.lobe]: tip for tip in found.tips if tip.lobe in number}
        moments.append(Moment(one.number, found.photo_name, tips))
    return last, moments, notes


def _say(lines: list[str]) -> None:
    from .report.text import ASCII, can_show

    plain = not can_show(sys.stdout)
    for line in lines:
        print(line.translate(ASCII) if plain else line)
