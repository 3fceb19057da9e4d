"""The command line: options in, files and words out. Nothing heavy is imported before a command runs."""

from __future__ import annotations

import os
import signal
import sys
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from . import cli_advice, cli_class, cli_design, cli_job, cli_lobes, cli_pages, cli_seat, cli_woods
from .basis.errors import SeamcheckError
from .basis.language import say
from .basis.threads import ONE_THREAD
from .basis.units import Units, spoken
from .cli_measure import lens_of_photo as _lens_of_photo
from .cli_measure import made_with as _made_with
from .cli_measure import measure as _measure
from .cli_measure import measure_all as _measure_all
from .cli_options import (
    BarAcrossOption,
    BarAlongOption,
    GapToleranceOption,
    JobOption,
    KnownOption,
    LensOption,
    PaperName,
    PaperOption,
    RimOption,
    StageName,
    StageOption,
    ToleranceOption,
    UnitsOption,
    VeneerOption,
    ending_in,
    length,
    picture_name,
    result_name,
    whole,
)

if TYPE_CHECKING:
    from .photo import Photo
    from .report.files import Target
    from .result import Inspection

app = typer.Typer(
    name="seamcheck",
    help="Measure, from one photo, how well a compass rose's points and joints fit a matched veneer top.",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,  # its boxes break a sentence over several lines
    pretty_exceptions_enable=False,
)

# Set to anything, this lets a fault of the program's own end in its traceback.
TRACEBACK_VARIABLE = "SEAMCHECK_TRACEBACK"


ALL_LOBES = 0


def _lobe(text: str) -> int:
    """A lobe's number, or ALL_LOBES for "all"."""
    if text.strip().lower() == "all":
        return ALL_LOBES
    if not text.strip().isdecimal() or int(text) < 1:
        raise typer.BadParameter(f"{text} is no lobe: give its number in the report, or all.")
    return int(text)


def _marks(text: str) -> str:
    """Two places in a photo, u,v,u,v."""
    words = text.replace(",", " ").split()
    try:
        places = tuple(float(word) for word in words)
    except ValueError:
        places = ()
    if len(places) != 4 or not all(0 <= place < 1e5 for place in places) or places[:2] == places[2:]:
        raise typer.BadParameter(f"{text!r} is no two places in a photo: write four numbers of pixels, as 812,1034,2210,1050.")
    return ",".join(str(place) for place in places)


@app.command()
def inspect(
    photos: Annotated[
        list[Path],
        typer.Argument(
            metavar="PHOTO",
            help="The photo of the top, as the phone took it (JPEG, HEIC, PNG, TIFF). Several photos of one fit make one result.",
        ),
    ],
    stage: StageOption = None,
    tolerance: ToleranceOption = None,
    gap_tolerance: GapToleranceOption = None,
    veneer: VeneerOption = None,
    bar_across: BarAcrossOption = None,
    bar_along: BarAlongOption = None,
    picture: Annotated[
        Path | None,
        typer.Option(parser=picture_name, metavar="FILE", help="Draw what was found into the photo, as a .png or .jpg file."),
    ] = None,
    table: Annotated[
        Path | None,
        typer.Option("--csv", parser=ending_in(".csv"), metavar="FILE", help="Write points and joints as a table for a spreadsheet."),
    ] = None,
    result: Annotated[
        Path | None,
        typer.Option("--json", parser=result_name, metavar="FILE", help="Write all numbers as a result file for programs."),
    ] = None,
    points: Annotated[
        int | None,
        typer.Option(
            parser=whole(3, 64), metavar="NUMBER", help="Bare top: how many points the rose has. Where not given, one for every seam."
        ),
    ] = None,
    reach: Annotated[
        list[float] | None,
        typer.Option(
            parser=length, metavar="LENGTH", help="Bare top: how far the rose's points reach; once for each ring, the first first."
        ),
    ] = None,
    budget: Annotated[
        int | None,
        typer.Option(parser=_lobe, metavar="LOBE", help="Show what a lobe's numbers are uncertain by, and what would help most; or `all`."),
    ] = None,
    known: KnownOption = None,
    rim: RimOption = False,
    lens: LensOption = None,
    marks: Annotated[
        str | None,
        typer.Option(parser=_marks, metavar="U,V,U,V", help="No cards: where two marks show, in pixels of the upright photo."),
    ] = None,
    apart: Annotated[float | None, typer.Option(parser=length, metavar="LENGTH", help="How far the two marks lie apart.")] = None,
    job: JobOption = None,
    units: UnitsOption = Units.IN,
) -> None:
    """Measure one photo, or several of one fit: every point's offset from its field seam, and every joint's gap.

    A LENGTH is inches, written 0.0238, 1/42 or 2 1/2, or millimetres, written 0.6mm.
    """
    from .report.files import check_targets, write_all
    from .report.text import print_report

    made_with = _made_with(stage, tolerance, gap_tolerance, veneer, bar_across, bar_along)
    if budget is not None:
        made_with["budget"] = True
    if points is not None:
        made_with["points"] = points
    if reach:
        made_with["reaches_in"] = tuple(reach)
    if points is not None or reach:
        _check_bare_rose(stage, points, reach)
    if (marks is None) != (apart is None):
        raise typer.BadParameter("give --marks and --apart together.", param_hint="--marks")
    _say_known(made_with, known, rim, lens, known is not None or marks is not None)
    for name, value in (
        ("marks_px", marks and tuple(float(place) for place in marks.split(","))),
        ("apart_in", apart),
    ):
        if value is not None:
            made_with[name] = value
    outputs = _outputs(result, table, picture, made_with)
    for photo in photos:
        check_targets([target for target, _ in outputs], photo)
    if job is not None:
        from .job import open_job

        with open_job(job):  # refused before any work is done
            pass
    seen, inspection = _measure(photos[0], made_with) if len(photos) == 1 else _measure_all(photos, made_with)
    if budget is not None and budget != ALL_LOBES:
        _check_lobe(inspection, budget)
    if (points is not None or reach) and inspection.bare is None:
        inspection = _unused_rose(inspection)
    write_all([(target, make(seen, inspection)) for target, make in outputs])
    more = [] if budget is None else _budget_lines(inspection, budget)
    if job is not None:
        more += ["", _keep(job, photos, seen, inspection, made_with)]
    print_report(inspection, sys.stdout, more)


def _check_bare_rose(stage: StageName | None, points: int | None, reach: list[float] | None) -> None:
    """Exit 2 where a rose to be laid on a bare top is asked for of something else; CantBuild where no such rose can be made."""
    from .design.draw_up import check_reaches

    if stage not in (None, StageName.BARE):
        raise typer.BadParameter(
            f"they say which rose goes on a bare top, not on {stage.value}: give --stage bare, or leave them out.",
            param_hint="--points, --reach",
        )
    check_reaches(points, tuple(reach or ()))


def _unused_rose(inspection: Inspection) -> Inspection:
    """With a note that points and reach were given in vain."""
    from dataclasses import replace

    note = say("--points and --reach say which rose goes on a bare top, and this is none, so they weren't used.")
    return replace(inspection, warnings=(*inspection.warnings, note))


def _say_known(made_with: dict[str, Any], known: float | None, rim: bool, lens: Path | None, has_length: bool) -> None:
    """Add what stands in the cards' place."""
    if lens is not None and not has_length:
        raise typer.BadParameter("it goes with a known length: give --known too.", param_hint="--lens")
    if rim and known is None:
        raise typer.BadParameter("it goes with a known diameter: give --known too.", param_hint="--rim")
    if known is not None:
        made_with["known_in"] = known
    if rim:
        made_with["rim"] = True
    if lens is not None:
        from .photo import shown_name

        made_with |= {"lens_photo": shown_name(lens), "lens": _lens_of_photo(lens)}


def _keep(folder: Path, paths: list[Path], photo: Photo, inspection: Inspection, made_with: dict[str, Any]) -> str:
    """Keep what was measured in a job; what to say about it."""
    from .job import fingerprint, open_job
    from .report.json_file import result_document
    from .report.words import list_words

    document = {**result_document(inspection, photo.reduced_by, photo.full_size_px), "made_with": made_with}
    measured = set(document["photos"])
    prints = [one for one in dict.fromkeys(map(fingerprint, paths)) if one.name in measured]
    with open_job(folder) as job:
        number, before = job.keep_inspection(document, prints)
    kept = say("Kept as inspection {number} of the job {job}.", number=number, job=folder)
    if not before:
        return kept
    return f"{kept} {say('The photo was measured before, as {numbers}; all are kept.', numbers=list_words([str(one) for one in before]))}"


def _budget_lines(inspection: Inspection, lobe: int) -> list[str]:
    from .report.budget import budget_lines

    return budget_lines(inspection, None if lobe == ALL_LOBES else lobe) or ["", say("No lobe was found.")]


def _check_lobe(inspection: Inspection, lobe: int) -> None:
    """Refuse one that the photo doesn't show."""
    from .basis.errors import NoSuchLobe

    lobes = [tip.lobe for tip in inspection.tips]
    if lobe not in lobes:
        raise NoSuchLobe(file=inspection.photo_name, lobe=lobe, lobes=", ".join(map(str, sorted(lobes))) or "none")


@app.command()
def folder(
    photos: Annotated[Path, typer.Argument(metavar="PHOTOS", help="A folder of photos, each of a top of its own.")],
    results: Annotated[Path, typer.Argument(metavar="RESULTS", help="The folder for the results; made where it's missing.")],
    stage: StageOption = None,
    tolerance: ToleranceOption = None,
    gap_tolerance: GapToleranceOption = None,
    veneer: VeneerOption = None,
    bar_across: BarAcrossOption = None,
    bar_along: BarAlongOption = None,
    known: KnownOption = None,
    rim: RimOption = False,
    lens: LensOption = None,
    pictures: Annotated[bool, typer.Option("--pictures", help="Write an annotated picture beside each result.")] = False,
    units: UnitsOption = Units.IN,
) -> None:
    """Measure every photo in a folder, on all cores. Run it again to go on where it stopped, or after adding photos.

    A LENGTH is inches, written 0.0238, 1/42 or 2 1/2, or millimetres, written 0.6mm.
    """
    from .batch import run, tasks

    made_with = _made_with(stage, tolerance, gap_tolerance, veneer, bar_across, bar_along)
    _say_known(made_with, known, rim, lens, known is not None)
    todo = tasks(photos, results, made_with, pictures)
    faults = []
    width = len(str(len(todo)))
    try:
        for count, outcome in enumerate(run(todo), 1):
            print(f"{count:>{width}} of {len(todo)}  {outcome.photo}: {outcome.words or say('not measured')}", flush=True)
            if outcome.fault:
                faults.append(outcome.fault)
    except KeyboardInterrupt:
        _stop(say("Stopped. What is done is kept: the same command goes on from there."))
    if faults:
        sys.stdout.flush()
        for fault in faults:
            print(fault, file=sys.stderr)
        raise typer.Exit(1)


def _outputs(
    result: Path | None, table: Path | None, picture: Path | None, made_with: dict[str, Any]
) -> list[tuple[Target, Callable[[Photo, Inspection], bytes]]]:
    """The files that were asked for, each with what makes its bytes."""
    from .report.csv_file import csv_bytes, is_table
    from .report.files import Target
    from .report.json_file import is_result, result_bytes
    from .report.picture_file import is_picture, marked

    def drawn(photo: Photo, inspection: Inspection) -> bytes:
        from .report.overlay import picture_bytes

        return marked(picture_bytes(photo.bgr, inspection, picture.suffix if picture else ".png"))

    outputs: list[tuple[Target, Callable[[Photo, Inspection], bytes]]] = []
    if result is not None:
        outputs.append(
            (
                Target(result, "a result file", is_result),
                lambda photo, found: result_bytes(found, photo.reduced_by, photo.full_size_px, made_with),
            )
        )
    if table is not None:
        outputs.append((Target(table, "a table", is_table), lambda _, found: csv_bytes(found)))
    if picture is not None:
        outputs.append((Target(picture, "a picture", is_picture), drawn))
    return outputs


@app.command()
def cards(
    file: Annotated[Path, typer.Argument(metavar="FILE.pdf", help="Where to write the sheet.")],
    paper: PaperOption = PaperName.LETTER,
) -> None:
    """Make the sheet of eight scale cards, to print at 100 %."""
    from .printed.card_sheet import card_sheet
    from .report.files import Target, write_all
    from .sheet import PdfKind, is_pdf

    if file.suffix.lower() != ".pdf":
        raise typer.BadParameter(f"{file} must end in .pdf.", param_hint="FILE.pdf")
    write_all([(Target(file, "a card sheet", is_pdf(PdfKind.CARDS)), card_sheet(paper.value))])
    name = "Letter" if paper is PaperName.LETTER else "A4"
    print(say("{file}: eight scale cards for {paper} paper. Print at 100 %, then measure both bars.", file=file, paper=name))


cli_advice.add_to(app)
cli_design.add_to(app)
cli_seat.add_to(app)
cli_job.add_to(app)
cli_pages.add_to(app)
cli_lobes.add_to(app)
cli_class.add_to(app)
cli_woods.add_to(app)


def main() -> None:
    """Run the command line; anything that ends it early is one plain sentence on standard error and exit 1."""
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a file's name may hold letters that the terminal lacks
    if not sys.warnoptions:
        warnings.simplefilter("ignore")  # a library's warnings are for developers: `python -W default -m seamcheck`
    # Whoever ends the program politely gets its unfinished files removed, as by Ctrl-C.
    signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))
    try:
        try:
            with spoken(Units.IN):  # until an option says otherwise, and no longer than this run
                app(prog_name="seamcheck")
        finally:
            sys.stdout.flush()
    except SeamcheckError as error:
        _stop(str(error))
    except BrokenPipeError:  # whoever read the report has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except MemoryError:
        _stop(say("There isn't enough memory for a photo of this size: close other programs, or save it at half the size and give that."))
    except OSError as error:
        if os.environ.get(TRACEBACK_VARIABLE):
            raise
        why = (error.strerror or type(error).__name__).lower()
        _stop(
            say("The report can't be printed ({why}): make room, or print to the terminal. Files asked for are whole or absent.", why=why)
        )
    except Exception as error:
        if os.environ.get(TRACEBACK_VARIABLE):
            raise
        _stop(
            say("Seamcheck itself failed ({place}), so nothing was written: report it, with the photo if you can.", place=_place_of(error))
        )


def _stop(sentence: str) -> None:
    print(sentence, file=sys.stderr)
    sys.exit(1)


def _place_of(error: Exception) -> str:
    """The kind of error and where in the program it came up."""
    place, trace = "", error.__traceback__
    while trace:
        path = Path(trace.tb_frame.f_code.co_filename)
        if path.is_relative_to(Path(__file__).parent):
            place = f" in {path.relative_to(Path(__file__).parent).as_posix()}, line {trace.tb_lineno}"
        trace = trace.tb_next
    return type(error).__name__ + place
