"""The command line: options in, files and words out. Nothing heavy is imported before a command runs."""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .basis.errors import BadLength, SeamcheckError
from .basis.units import parse_length

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

# Lengths past these are slips of the unit or the keyboard (mm given as inches, 64 for 1/64).
MOST_TOLERANCE_IN = 1 / 2
LEAST_VENEER_IN, MOST_VENEER_IN = 1 / 200, 1 / 8
MOST_BAR_ERROR = 0.05  # relative; the worst printers are 3 % off

# Set to anything, this lets a fault of the program's own end in its traceback.
TRACEBACK_VARIABLE = "SEAMCHECK_TRACEBACK"


class StageName(StrEnum):
    """What the photo shows, as it's said on the command line."""

    DRY_FIT = "dry-fit"
    INLAID = "inlaid"
    LOOSE = "loose"
    BARE = "bare"


class PaperName(StrEnum):
    """The papers that the card sheet is made for."""

    LETTER = "letter"
    A4 = "a4"


def _length(text: str) -> float:
    """A length option in inches; exit 2 with a sentence when it can't be read."""
    try:
        return parse_length(text)
    except BadLength as error:
        raise typer.BadParameter(str(error)) from None


def _tolerance(text: str) -> float:
    value = _length(text)
    if value > MOST_TOLERANCE_IN:
        raise typer.BadParameter(f"{text} is {value:.3f} in, which would pass anything: write 1/64 or 0.4mm.")
    return value


def _veneer(text: str) -> float:
    value = _length(text)
    if not LEAST_VENEER_IN <= value <= MOST_VENEER_IN:
        raise typer.BadParameter(f"{text} is {value:.4f} in, which is no veneer's thickness: write 1/42 or 0.6mm.")
    return value


def _bar(nominal_in: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        value = _length(text)
        if abs(value / nominal_in - 1) > MOST_BAR_ERROR:
            raise typer.BadParameter(
                f"{text} is {value:.3f} in, but the bar is drawn {nominal_in:g} in long: read it again, or print the sheet at 100 %."
            )
        return value

    return read


def _picture_name(text: str) -> Path:
    from .report.picture_file import SUFFIXES

    if Path(text).suffix.lower() not in SUFFIXES:
        raise typer.BadParameter(f"{text} must end in .png or .jpg.")
    return Path(text)


@app.command()
def inspect(
    photo: Annotated[Path, typer.Argument(metavar="PHOTO", help="The photo of the top, as the phone took it (JPEG, HEIC, PNG, TIFF).")],
    stage: Annotated[StageName | None, typer.Option(help="What the photo shows. Where not given, the photo decides.")] = None,
    tolerance: Annotated[
        float | None,
        typer.Option(parser=_tolerance, metavar="LENGTH", help="How far off its seam a point may be. Where not given, 1/64."),
    ] = None,
    gap_tolerance: Annotated[
        float | None,
        typer.Option(parser=_tolerance, metavar="LENGTH", help="The widest gap that counts as closed. Where not given, 0.010."),
    ] = None,
    veneer: Annotated[
        float | None, typer.Option(parser=_veneer, metavar="LENGTH", help="The veneer's thickness. Where not given, about 1/42.")
    ] = None,
    bar_across: Annotated[
        float | None,
        typer.Option(parser=_bar(6.0), metavar="LENGTH", help="What a steel rule reads on the card sheet's 6 in check bar."),
    ] = None,
    bar_along: Annotated[
        float | None,
        typer.Option(parser=_bar(10.0), metavar="LENGTH", help="What a steel rule reads on the card sheet's 10 in check bar."),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(parser=_picture_name, metavar="FILE", help="Draw what was found into the photo, as a .png or .jpg file."),
    ] = None,
    table: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Write points and joints as a table for a spreadsheet.")
    ] = None,
    result: Annotated[Path | None, typer.Option("--json", metavar="FILE", help="Write all numbers as a result file for programs.")] = None,
) -> None:
    """Measure one photo: every point's offset from its field seam, and every joint's gap.

    A LENGTH is inches, written 0.0238, 1/42 or 2 1/2, or millimetres, written 0.6mm.
    """
    from .report.files import check_targets, write_all
    from .report.text import print_report

    outputs = _outputs(result, table, picture)
    check_targets([target for target, _ in outputs], photo)
    seen, inspection = _measure(
        photo,
        stage=stage,
        tolerance_in=tolerance,
        gap_tolerance_in=gap_tolerance,
        veneer_in=veneer,
        bar_across_in=bar_across,
        bar_along_in=bar_along,
    )
    write_all([(target, make(seen, inspection)) for target, make in outputs])
    print_report(inspection, sys.stdout)


def _measure(path: Path, stage: StageName | None, **lengths_in: float | None) -> tuple[Photo, Inspection]:
    """The photo and what was found in it. What wasn't said on the command line is left to the settings' own defaults."""
    from threading import Thread

    from .photo import read_photo

    # Half a second of imports, most of it while the photo is decoded on the other core.
    Thread(target=_import_ahead, daemon=True).start()
    photo = read_photo(path)

    from .pipeline import Settings  # only now: a file that can't be read is refused at once
    from .pipeline import inspect as inspect_photo
    from .result import Stage

    given: dict[str, Any] = {name: value for name, value in lengths_in.items() if value is not None}
    return photo, inspect_photo(photo, Settings(stage=Stage(stage.value) if stage else None, **given))


def _import_ahead() -> None:
    """Import what measuring will need; whatever fails here fails again, and is told, where it is needed."""
    from contextlib import suppress

    with suppress(ImportError):
        import scipy.fft
        import scipy.ndimage
        import scipy.optimize
        import scipy.special  # noqa: F401


def _outputs(result: Path | None, table: Path | None, picture: Path | None) -> list[tuple[Target, Callable[[Photo, Inspection], bytes]]]:
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
            (Target(result, "a result file", is_result), lambda photo, found: result_bytes(found, photo.reduced_by, photo.full_size_px))
        )
    if table is not None:
        outputs.append((Target(table, "a table", is_table), lambda _, found: csv_bytes(found)))
    if picture is not None:
        outputs.append((Target(picture, "a picture", is_picture), drawn))
    return outputs


@app.command()
def cards(
    file: Annotated[Path, typer.Argument(metavar="FILE.pdf", help="Where to write the sheet.")],
    paper: Annotated[PaperName, typer.Option(help="The paper in the printer.")] = PaperName.LETTER,
) -> None:
    """Make the sheet of eight scale cards, to print at 100 %."""
    from .printed.card_sheet import card_sheet, is_card_sheet
    from .report.files import Target, write_all

    if file.suffix.lower() != ".pdf":
        raise typer.BadParameter(f"{file} must end in .pdf.", param_hint="FILE.pdf")
    write_all([(Target(file, "a card sheet", is_card_sheet), card_sheet(paper.value))])
    print(f"{file}: eight scale cards for {'Letter' if paper is PaperName.LETTER else 'A4'} paper. Print at 100 %, then measure both bars.")


def main() -> None:
    """Run the command line; anything that ends it early is one plain sentence on standard error and exit 1."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a file's name may hold letters that the terminal lacks
    if not sys.warnoptions:
        warnings.simplefilter("ignore")  # a library's warnings are for developers: `python -W default -m seamcheck`
    try:
        app(prog_name="seamcheck")
    except SeamcheckError as error:
        _stop(str(error))
    except MemoryError:
        _stop("There isn't enough memory for a photo of this size: close other programs, or save it at half the size and give that.")
    except Exception as error:
        if os.environ.get(TRACEBACK_VARIABLE):
            raise
        _stop(f"Seamcheck itself failed ({_place_of(error)}), so nothing was written: report it, with the photo if you can.")


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
