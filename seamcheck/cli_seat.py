"""The command that holds a photo of the recess against the rose that goes in: `seat`."""

from __future__ import annotations

import re
import sys
from math import pi
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .basis.units import Units
from .cli_options import (
    BarAcrossOption,
    BarAlongOption,
    GapToleranceOption,
    StageName,
    UnitsOption,
    VeneerOption,
    ending_in,
    picture_name,
    result_name,
)

if TYPE_CHECKING:
    from .result import Inspection

SAME_READING_IN = 1e-6
JSON_STARTS = (b"{", b"\xef\xbb\xbf{")  # a photo's file begins otherwise


def add_to(app: typer.Typer) -> None:
    """Put this command on a command line."""
    app.command()(seat)


def _clock(text: str) -> float:
    """A place on a clock's face, rad clockwise from 12."""
    match = re.fullmatch(r"\s*(\d{1,2})(?::([0-5]\d))?(?:\s*o'clock)?\s*", text)
    hour, minute = (int(match[1]), int(match[2] or 0)) if match else (0, 0)
    if not 1 <= hour <= 12:
        raise typer.BadParameter(f"{text!r} is no place on a clock's face: write 12 or 2:15.")
    return float((hour % 12 + minute / 60) / 12 * 2 * pi)


def seat(
    photo: Annotated[Path, typer.Argument(metavar="RECESS_PHOTO", help="The photo of the recess, routed and pared, with cards beside it.")],
    rose: Annotated[
        Path,
        typer.Argument(
            metavar="ROSE", help="The rose that goes in: its dry fit's result file (inspect --json), its photo, or a job's folder."
        ),
    ],
    same_cards: Annotated[
        bool, typer.Option("--same-cards", help="The same printed cards lie in both photos, so that the print's error cancels.")
    ] = False,
    lobe_1_at: Annotated[
        float | None,
        typer.Option(parser=_clock, metavar="CLOCK", help="Where the rose's lobe 1 goes, as the photo shows the recess: 12 or 2:15."),
    ] = None,
    gap_tolerance: GapToleranceOption = None,
    veneer: VeneerOption = None,
    bar_across: BarAcrossOption = None,
    bar_along: BarAlongOption = None,
    picture: Annotated[
        Path | None,
        typer.Option(parser=picture_name, metavar="FILE", help="Draw recess and rose into the photo, as a .png or .jpg file."),
    ] = None,
    table: Annotated[
        Path | None,
        typer.Option("--csv", parser=ending_in(".csv"), metavar="FILE", help="Write edges and points as a table for a spreadsheet."),
    ] = None,
    result: Annotated[
        Path | None, typer.Option("--json", parser=result_name, metavar="FILE", help="Write all numbers for programs.")
    ] = None,
    units: UnitsOption = Units.IN,
) -> None:
    """Lay the rose into its recess by photo, before glue: where it is tight, where it gapes, by how much.

    A LENGTH is inches, written 0.0238, 1/42 or 2 1/2, or millimetres, written 0.6mm.
    """
    from .photo import read_photo
    from .report.files import Target, check_targets, write_all
    from .report.picture_file import is_picture, marked
    from .report.seat_file import is_seat, is_seat_table, seat_bytes, seat_table
    from .report.seat_text import seat_lines

    targets = {
        "json": result and Target(result, "a result file", is_seat),
        "csv": table and Target(table, "a table", is_seat_table),
        "picture": picture and Target(picture, "a picture", is_picture),
    }
    for input_file in (photo, rose):
        check_targets([target for target in targets.values() if target], input_file)
    readings = bar_across, bar_along
    fit, of_rose = _rose(rose, veneer, readings)
    if same_cards:
        readings = _same_readings(readings, of_rose)
    seen = read_photo(photo)
    from .seating import SeatSettings, seat_rose

    told: dict[str, Any] = {"veneer_in": veneer, "bar_across_in": readings[0], "bar_along_in": readings[1], "lobe_1_at": lobe_1_at}
    if gap_tolerance is not None:
        told["gap_tolerance_in"] = gap_tolerance
    found = seat_rose(seen, fit, SeatSettings(same_cards=same_cards, **told))
    written: list[tuple[Target, bytes]] = []
    if targets["json"]:
        from . import __version__

        document = seat_bytes(found, {"version": __version__, **told, "same_cards": same_cards}, seen.reduced_by, seen.full_size_px)
        written.append((targets["json"], document))
    if targets["csv"]:
        written.append((targets["csv"], seat_table(found)))
    if picture is not None and targets["picture"]:
        from .report.seat_picture import seat_picture

        written.append((targets["picture"], marked(seat_picture(seen.bgr, found, picture.suffix))))
    write_all(written)
    from rich.console import Console
    from rich.text import Text

    from .report.text import ASCII, can_show

    plain = not can_show(sys.stdout)
    console = Console(file=sys.stdout, highlight=False, soft_wrap=True, markup=False, emoji=False)
    for line in seat_lines(found):
        console.print(Text(line.words.translate(ASCII) if plain else line.words, style=line.style))


def _rose(
    path: Path, veneer_in: float | None, readings: tuple[float | None, float | None]
) -> tuple[Inspection, tuple[float | None, float | None]]:
    """The rose's inspection, and the bars' readings that it was made with."""
    from .photo import read_bytes, shown_name
    from .report.inspection_reading import inspection_of
    from .report.result_reading import read_document

    name = shown_name(path)
    if path.is_dir():
        from .basis.errors import JobTooShort
        from .job import open_job

        with open_job(path) as job:
            kept = job.inspections("dry-fit")
            if not kept:
                raise JobTooShort(job=job.name, count="no dry fit yet")
            document, name = kept[-1].document, f"inspection {kept[-1].number} of {job.name}"
    elif path.suffix.lower() == ".json" or read_bytes(path)[:4].lstrip().startswith(JSON_STARTS):
        document = read_document(path, name)
    else:
        from .cli_measure import made_with, measure

        said = made_with(StageName.DRY_FIT, None, None, veneer_in, *readings)
        return measure(path, said)[1], readings
    told = document.get("made_with") or {}
    found = inspection_of(document, name)
    if all(tip.edges is None for tip in found.tips):
        from .basis.errors import OlderResult

        raise OlderResult(file=name)
    return found, (_reading(told, "bar_across_in"), _reading(told, "bar_along_in"))


def _reading(told: Any, name: str) -> float | None:
    value = told.get(name) if isinstance(told, dict) else None
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _same_readings(
    given: tuple[float | None, float | None], of_rose: tuple[float | None, float | None]
) -> tuple[float | None, float | None]:
    """One sheet has one reading: the rose's, which nothing that is said here may gainsay."""
    for here, there, name in zip(given, of_rose, ("--bar-across", "--bar-along"), strict=True):
        if here is not None and (there is None or abs(here - there) > SAME_READING_IN):
            raise typer.BadParameter(
                "the rose was inspected with another reading of that bar, or none: inspect it again with this one.", param_hint=name
            )
    return of_rose
