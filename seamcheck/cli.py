"""The command line: options in, files and words out. Nothing heavy is imported before a command runs."""

from __future__ import annotations

import sys
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from .basis.errors import BadLength, SeamcheckError
from .basis.units import parse_length

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


class StageName(StrEnum):
    """What the photo shows, as it's said on the command line."""

    DRY_FIT = "dry-fit"
    INLAID = "inlaid"
    LOOSE = "loose"
    BARE = "bare"


def _length(text: str) -> float:
    """A length option in inches; exit 2 with a sentence when it can't be read."""
    try:
        return parse_length(text)
    except BadLength as error:
        raise typer.BadParameter(str(error)) from None


def _tolerance(text: str) -> float:
    value = _length(text)
    if value > MOST_TOLERANCE_IN:
        raise typer.BadParameter(f"{text} is {value:.3f} in, more than any point or joint is off by: write 1/64 or 0.4mm.")
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
                f"{text} is {value:.3f} in, but the bar is close to {nominal_in:g} in: read it again, or print the sheet at 100 %."
            )
        return value

    return read


@app.command()
def inspect(
    photo: Annotated[Path, typer.Argument(metavar="PHOTO", help="The photo of the top, as the phone took it (JPEG, HEIC, PNG, TIFF).")],
    stage: Annotated[StageName | None, typer.Option(help="What the photo shows; where not given, the photo decides.")] = None,
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
    json: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the result file here.")] = None,
) -> None:
    """Measure one photo: every point's offset from its field seam, and every joint's gap.

    LENGTHs are inches, written 0.0238, 1/42 or 2 1/2, or millimetres, written 0.6mm.
    """
    from .photo import read_photo
    from .pipeline import Settings
    from .pipeline import inspect as inspect_photo
    from .result import Stage

    given = {
        "stage": Stage(stage.value) if stage else None,
        "tolerance_in": tolerance,
        "gap_tolerance_in": gap_tolerance,
        "veneer_in": veneer,
        "bar_across_in": bar_across,
        "bar_along_in": bar_along,
    }
    settings = Settings(**{name: value for name, value in given.items() if value is not None})
    inspect_photo(read_photo(photo), settings)


@app.command()
def cards(file: Annotated[Path, typer.Argument(metavar="FILE.pdf", help="Where to write the sheet.")]) -> None:
    """Make the sheet of eight scale cards to print at 100 %."""


def main() -> None:
    """Run the command line; anything a person can mend is one plain sentence on standard error and exit 1."""
    try:
        app()
    except SeamcheckError as error:
        print(error, file=sys.stderr)
        sys.exit(1)
