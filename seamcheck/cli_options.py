"""Options that several commands have, and how what is written for them is read. Nothing heavy is imported."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from .basis.errors import BadLength
from .basis.units import Units, lengths, parse_length, speak

# Lengths past these are slips of the unit or the keyboard (mm given as inches, 64 for 1/64).
MOST_TOLERANCE_IN = 1 / 2
LEAST_VENEER_IN, MOST_VENEER_IN = 1 / 200, 1 / 8
MOST_BAR_ERROR = 0.05  # relative; the worst printers are 3 % off


Name = TypeVar("Name", bound=StrEnum)


class PaperName(StrEnum):
    """The papers that sheets are made for."""

    LETTER = "letter"
    A4 = "a4"


class StageName(StrEnum):
    """What the photo shows, as it's said on the command line."""

    DRY_FIT = "dry-fit"
    INLAID = "inlaid"
    LOOSE = "loose"
    BARE = "bare"


def length(text: str) -> float:
    """A length option in inches; exit 2 with a sentence when it can't be read."""
    try:
        return parse_length(text)
    except BadLength as error:
        raise typer.BadParameter(str(error)) from None


def _speak(units: Units) -> Units:
    speak(units)
    return units


def _tolerance(text: str) -> float:
    value = length(text)
    if value > MOST_TOLERANCE_IN:
        raise typer.BadParameter(f"{text} is {lengths().plain(value)}, which would pass anything: write 1/64 or 0.4mm.")
    return value


def picture_name(text: str) -> Path:
    """The file to draw a picture into."""
    from .report.picture_file import SUFFIXES

    if Path(text).suffix.lower() not in SUFFIXES:
        raise typer.BadParameter(f"{text} must end in .png or .jpg.")
    return Path(text)


def whole(least: int, most: int | None = None) -> Callable[[str], int]:
    """Reads a whole number."""

    def read(text: str) -> int:
        number = int(text) if str(text).strip().isdecimal() else -1
        if number < least or (most is not None and number > most):
            limits = f"from {least} to {most}" if most is not None else f"of {least} or more"
            raise typer.BadParameter(f"{text} won't do: write a whole number {limits}.")
        return number

    return read


def one_of(names: type[Name]) -> Callable[[str], Name]:
    """Reads one of a few names."""

    def read(text: str) -> Name:
        try:
            return names(str(text).strip().lower())
        except ValueError:
            raise typer.BadParameter(f"{text} won't do: write {' or '.join(name.value for name in names)}.") from None

    return read


def metavar_of(names: type[StrEnum]) -> str:
    """The names as the help shows them."""
    return f"[{'|'.join(name.value for name in names)}]"


def ending_in(suffix: str) -> Callable[[str], Path]:
    """Reads the name of a file of one kind, which its ending has to say."""

    def read(text: str) -> Path:
        if Path(text).suffix.lower() != suffix:
            raise typer.BadParameter(f"{text} must end in {suffix}.")
        return Path(text)

    return read


# Endings of the other kinds of files that we read or write: a result file by such a name is a slip.
OTHER_KINDS = (".csv", ".txt", ".pdf", ".html", ".svg", ".dxf", ".png", ".jpg", ".jpeg", ".heic", ".tif", ".tiff")


def result_name(text: str) -> Path:
    """Reads the name of a result file. Programs may give it any ending that isn't another kind's."""
    if Path(text).suffix.lower() in OTHER_KINDS:
        raise typer.BadParameter(f"{text} is a name for another kind of file: let it end in .json.")
    return Path(text)


def veneer(text: str) -> float:
    """A veneer's thickness in inches."""
    value = length(text)
    if not LEAST_VENEER_IN <= value <= MOST_VENEER_IN:
        raise typer.BadParameter(f"{text} is {lengths().plain(value)}, which is no veneer's thickness: write 1/42 or 0.6mm.")
    return value


def bar(nominal_in: float) -> Callable[[str], float]:
    """Reads what a rule says of a check bar that is drawn so long."""

    def read(text: str) -> float:
        value = length(text)
        if abs(value / nominal_in - 1) > MOST_BAR_ERROR:
            raise typer.BadParameter(
                f"{text} is {lengths().plain(value)}, but the bar is drawn {lengths().plain(nominal_in)} long: read it again, "
                "or print the sheet at 100 %."
            )
        return value

    return read


# Options that every command that measures has.
StageOption = Annotated[
    StageName | None,
    typer.Option(
        "--stage", parser=one_of(StageName), metavar=metavar_of(StageName), help="What the photo shows. Where not given, the photo decides."
    ),
]
ToleranceOption = Annotated[
    float | None,
    typer.Option("--tolerance", parser=_tolerance, metavar="LENGTH", help="How far off its seam a point may be. Where not given, 1/64."),
]
GapToleranceOption = Annotated[
    float | None,
    typer.Option(
        "--gap-tolerance", parser=_tolerance, metavar="LENGTH", help="The widest gap that counts as closed. Where not given, 0.010."
    ),
]
VeneerOption = Annotated[
    float | None, typer.Option("--veneer", parser=veneer, metavar="LENGTH", help="The veneer's thickness. Where not given, about 1/42.")
]
BarAcrossOption = Annotated[
    float | None,
    typer.Option("--bar-across", parser=bar(6.0), metavar="LENGTH", help="What a steel rule reads on the card sheet's 6 in check bar."),
]
BarAlongOption = Annotated[
    float | None,
    typer.Option("--bar-along", parser=bar(10.0), metavar="LENGTH", help="What a steel rule reads on the card sheet's 10 in check bar."),
]
# Read before all others (eager), since it says what a bare number is.
KnownOption = Annotated[
    float | None,
    typer.Option("--known", parser=length, metavar="LENGTH", help="No cards: the round top's diameter, its whole edge in view."),
]
RimOption = Annotated[
    bool, typer.Option("--rim", help="No cards: you have seen in the picture that the line taken for the top's rim is the rim.")
]
LensOption = Annotated[
    Path | None,
    typer.Option("--lens", metavar="PHOTO", help="No cards: another photo by the same phone with cards in it, which tells of its lens."),
]
UnitsOption = Annotated[
    Units,
    typer.Option(
        "--units",
        is_eager=True,
        callback=_speak,
        parser=one_of(Units),
        metavar=metavar_of(Units),
        help="What lengths are said and read in; a fraction is always of an inch.",
    ),
]
PaperOption = Annotated[
    PaperName, typer.Option("--paper", parser=one_of(PaperName), metavar=metavar_of(PaperName), help="The paper in the printer.")
]
JobOption = Annotated[Path | None, typer.Option("--job", metavar="FOLDER", help="Keep it in this job too; `seamcheck job` begins one.")]
