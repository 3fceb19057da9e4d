"""The commands that make things rather than measure them: `template` and `recess`."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from math import isfinite, radians
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .basis.language import say, say_count
from .basis.units import Units, lengths
from .cli_options import (
    BarAcrossOption,
    BarAlongOption,
    JobOption,
    PaperName,
    PaperOption,
    UnitsOption,
    VeneerOption,
    length,
    metavar_of,
    one_of,
    whole,
)

if TYPE_CHECKING:
    from .basis.frames import Array
    from .design.laid_rose import LaidRose
    from .design.rose import Rose
    from .design.wish import Wish
    from .printed.drawing import Drawing
    from .printed.laid_template import Laying
    from .report.loose_reading import RosePlaced
    from .sheet import PdfKind

# Past these it is a slip of the unit or the keyboard.
MOST_LENGTH_IN = 240.0  # of a leaf, a top or a reach
MOST_BIT_IN = 1.0
MOST_SPARE_LOBES = 20
USUAL_POINTS = 8
USUAL_REACH_IN = 3.0  # of a rose that is only drawn to be looked at
SAME_REACH_IN = 1e-4

TERMINAL_WIDTH = 100  # letters, for cautions


class Side(StrEnum):
    """Of a lobe, looking from its root to its tip."""

    LEFT = "left"
    RIGHT = "right"


def add_to(app: typer.Typer) -> None:
    """Put these commands on a command line."""
    app.command()(template)
    app.command()(recess)


def _size(text: str) -> float:
    value = length(text)
    if value > MOST_LENGTH_IN:
        raise typer.BadParameter(
            f"{text} is {lengths().plain(value)}, which nothing here is: write inches as 12 or 2-1/2, or millimetres as 300mm."
        )
    return value


def _bit(text: str) -> float:
    value = length(text)
    if value > MOST_BIT_IN:
        raise typer.BadParameter(f"{text} is {lengths().plain(value)}, which is too large for a rose: write 1/8 or 3mm.")
    return value


def _angle(text: str) -> float:
    """Degrees on the command line, radians inside."""
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not (isfinite(value) and 0 < value < 180):
        raise typer.BadParameter(f"{text!r} is no root angle: write degrees, such as 90 or 116.65.")
    return radians(value)


def _drawing_name(text: str) -> Path:
    if Path(text).suffix.lower() not in (".pdf", ".svg", ".dxf"):
        raise typer.BadParameter(f"{text} must end in .pdf (to print), .svg or .dxf (for drawing and cutting programs).")
    return Path(text)


FilesArgument = Annotated[
    list[Path] | None,
    typer.Argument(parser=_drawing_name, metavar="[FILE]...", help="Drawings to write, by their ending: .pdf, .svg or .dxf."),
]
PointsOption = Annotated[
    int | None, typer.Option("--points", parser=whole(1), metavar="NUMBER", help="How many points the rose has. Where not given, 8.")
]
RingsOption = Annotated[
    int | None, typer.Option("--rings", parser=whole(1), metavar="NUMBER", help="How many rings. Where not given, as many as is usual.")
]
ReachOption = Annotated[
    list[float] | None,
    typer.Option(
        parser=_size, metavar="LENGTH", help="Centre to tip, of the first ring; again for each later ring. Later ones may be left out."
    ),
]
ShortEdgeOption = Annotated[
    list[float] | None,
    typer.Option(parser=_size, metavar="LENGTH", help="Root to shoulder, of the first ring; again for each later ring. May be left out."),
]
RootAngleOption = Annotated[
    list[float] | None,
    typer.Option(
        parser=_angle, metavar="DEGREES", help="The first ring's root angle; again for the second ring's, in place of a short edge."
    ),
]
StripOption = Annotated[float | None, typer.Option(parser=_size, metavar="LENGTH", help="The widest strip to be had.")]
TopOption = Annotated[float | None, typer.Option(parser=_size, metavar="LENGTH", help="The top's diameter.")]
BandOption = Annotated[float | None, typer.Option(parser=_size, metavar="LENGTH", help="The width of the top's edge band.")]
DarkOption = Annotated[
    Side,
    typer.Option(parser=one_of(Side), metavar=metavar_of(Side), help="The side of a lobe that is dark, looking from its root to its tip."),
]
KeptRoseOption = Annotated[
    Path | None,
    typer.Option("--job", metavar="FOLDER", help="The rose is the last pattern that `template --job FOLDER` kept."),
]


def template(
    files: FilesArgument = None,
    points: PointsOption = None,
    reach: ReachOption = None,
    rings: RingsOption = None,
    short_edge: ShortEdgeOption = None,
    root_angle: RootAngleOption = None,
    strip: StripOption = None,
    top: TopOption = None,
    band: BandOption = None,
    dark: DarkOption = Side.RIGHT,
    leaf_length: Annotated[float, typer.Option(parser=_size, metavar="LENGTH", help="A leaf's length, along the grain.")] = "36in",  # type: ignore[assignment]
    leaf_width: Annotated[float, typer.Option(parser=_size, metavar="LENGTH", help="A leaf's width.")] = "5in",  # type: ignore[assignment]
    spare: Annotated[int, typer.Option(parser=whole(0, MOST_SPARE_LOBES), metavar="NUMBER", help="Lobes to spare in each ring.")] = 1,
    on: Annotated[
        Path | None,
        typer.Option(metavar="BARE.json", help="Make it for the very top that `inspect --stage bare --json` measured, as placed there."),
    ] = None,
    paper: PaperOption = PaperName.LETTER,
    bar_across: BarAcrossOption = None,
    bar_along: BarAlongOption = None,
    job: JobOption = None,
    units: UnitsOption = Units.IN,
) -> None:
    """Work out a rose: every dimension, what to cut for it, and full-size patterns.

    A LENGTH is inches, written 0.75, 3/4 or 2-1/2, or millimetres, written 19mm.
    """
    from .advise.cautions import MAKERS_FIRST, SAW_AND_KNIFE
    from .design.cut_list import cut_list
    from .design.draw_up import draw_up
    from .printed.lobe_template import cutting_page, template_drawings
    from .printed.pages import room_in
    from .printed.template_words import naming_options, text_lines
    from .sheet import PdfKind

    placed = None
    if on is not None:
        from .report.loose_reading import read_placed

        placed = read_placed(on)
        points, reach, rings = as_placed(placed, points, reach, rings)
    wish = wish_of(points, reach, rings, short_edge, root_angle, strip, top, band, dark)
    rose = draw_up(wish)
    cuts = cut_list(rose, strip, (leaf_length, leaf_width), spare)
    room = room_in(paper.value)
    first, drawings, lines = [cutting_page(rose, cuts, room, wish)], [], text_lines(rose, cuts, wish)
    if placed is None:
        drawings = template_drawings(rose, cuts, room, wish)
    else:
        from .printed.laid_template import laid_drawings, laying_page, own_lines

        laid, laying = laid_on(rose, placed)
        first.append(laying_page(laid, laying, room))
        drawings = laid_drawings(laid, cuts, room, wish, laying.unknown)
        lines = [piece for line in own_lines(laid, laying) for piece in _wrapped(line)] + ["", *lines]
    _write(files, PdfKind.PATTERNS, "Patterns for a rose", first, drawings, paper, (bar_across, bar_along))
    _tell(lines, (SAW_AND_KNIFE, MAKERS_FIRST), files)
    if job is not None:
        print("\n" + say("Kept as pattern {number} of the job {job}.", number=_keep(job, rose), job=job))
    if on is None:
        print("\n" + say("This very rose, for other commands (lobes, recess, woods):"))
        print(f"  {naming_options(wish)}")
    else:
        print("\n" + say("This very rose, for `seamcheck lobes`:"))
        print(f"  --on {on} {naming_options(wish)}")


def as_placed(placed: RosePlaced, points: int | None, reach: list[float] | None, rings: int | None) -> tuple[int, list[float], int]:
    """Points, reaches and rings of the rose that was placed on a bare top; exit 2 where the command line says others."""
    count, reaches = len(placed.places), list(placed.reaches_in)
    if points not in (None, count):
        raise typer.BadParameter(
            f"the rose was placed with {count} points, not {points}: inspect the bare top again with --points.", param_hint="--on"
        )
    if rings not in (None, len(reaches)) or (reach and not _same_reaches(reach, reaches)):
        raise typer.BadParameter(
            "the rose was placed with another reach: inspect the bare top again with --reach, once for each ring.", param_hint="--on"
        )
    return count, reaches, len(reaches)


def _same_reaches(one: list[float], other: list[float]) -> bool:
    """Whether reaches were given as they are in a file, which rounds them."""
    return len(one) == len(other) and all(abs(a - b) < SAME_REACH_IN for a, b in zip(one, other, strict=True))


def laid_on(rose: Rose, placed: RosePlaced) -> tuple[LaidRose, Laying]:
    """The rose with its lobes laid on the top, and where that is, in words."""
    from .design.laid_rose import SeamPlace, lay_on
    from .printed.laid_template import Laying
    from .report.bare_words import laying_words
    from .report.words import length_words, limit_words, list_words

    seams = [
        SeamPlace(place.seam, place.ring, place.bearing if placed.all_suit else bearing)
        for place, bearing in zip(placed.places, placed.bearings, strict=True)
    ]
    where = say("Lay the rose {place}.", place=laying_words(placed.shift_in, placed.turn))
    if placed.all_suit:
        largest = say("More than half of its lobes had to suit, so every lobe is made for its own seam.")
    elif suited := [
        str(place.seam) for place, suits in zip(placed.places, placed.suited, strict=True) if suits and place.seam not in placed.unknown
    ]:
        largest = say_count(
            "The lobe at seam {seams} is made to suit; all other points{known} then lie within {size} of theirs.",
            "The lobes at seams {seams} are made to suit; all other points{known} then lie within {size} of theirs.",
            len(suited),
            seams=list_words(suited),
            known=say(" whose seams were measured") if placed.unknown else "",
            size=limit_words(placed.tolerance_in),
        )
    elif placed.unknown:
        largest = say("No point whose seam was measured misses it by more than {size}.", size=length_words(placed.largest_in))
    else:
        largest = say("No point misses its seam by more than {size}.", size=length_words(placed.largest_in))
    if placed.unknown:
        largest += " " + say_count(
            "Seam {seams} wasn't measured, and is drawn as if it were even: cut its lobe and those beside it in the ring last, to the seam "
            "itself.",
            "Seams {seams} weren't measured, and are drawn as if they were even: cut their lobes and those beside them in the ring last, "
            "to the seams themselves.",
            len(placed.unknown),
            seams=list_words([str(seam) for seam in placed.unknown]),
        )
    return lay_on(rose, seams), Laying(placed.photo, where, largest, placed.unknown)


def _wrapped(line: str) -> list[str]:
    """A sentence over several lines; a table's row as it is."""
    from textwrap import wrap

    return [line] if line.startswith("  ") else wrap(line, TERMINAL_WIDTH) or [""]


def _keep(folder: Path, rose: Rose) -> int:
    """Keep a rose in a job; its number there."""
    from .design.kept import kept_document
    from .job import open_job

    with open_job(folder) as opened:
        return opened.keep_pattern(kept_document(rose))


def wish_kept_in(folder: Path, options: Sequence[object]) -> tuple[Wish, str]:
    """The wish for the last pattern that a job keeps, and which it is, in words; exit 2 where the command line names a rose too."""
    from .basis.errors import JobWithoutPattern
    from .design.kept import kept_wish
    from .job import open_job

    refuse_rose_options(options, "give either a job, whose pattern is taken, or the rose's own options.", "--job")
    with open_job(folder) as opened:
        patterns = opened.patterns()
        if not patterns:
            raise JobWithoutPattern(job=opened.name)
        last = patterns[-1]
        return kept_wish(last.document), say("Pattern {number} of the job {job}.", number=last.number, job=opened.name)


def recess(
    files: FilesArgument = None,
    points: PointsOption = None,
    reach: ReachOption = None,
    rings: RingsOption = None,
    short_edge: ShortEdgeOption = None,
    root_angle: RootAngleOption = None,
    strip: StripOption = None,
    top: TopOption = None,
    band: BandOption = None,
    result: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A result file of the fitted rose (inspect --json), in place of the rose's own options."),
    ] = None,
    veneer: VeneerOption = None,
    bit: Annotated[float, typer.Option(parser=_bit, metavar="LENGTH", help="The router bit's diameter.")] = "1/8",  # type: ignore[assignment]
    inside: Annotated[
        float, typer.Option(parser=_bit, metavar="LENGTH", help="How far inside the knife line the pen line runs, to which is routed.")
    ] = "1/16",  # type: ignore[assignment]
    paper: PaperOption = PaperName.LETTER,
    bar_across: BarAcrossOption = None,
    bar_along: BarAlongOption = None,
    job: KeptRoseOption = None,
    units: UnitsOption = Units.IN,
) -> None:
    """Work out the recess: its depth, the line to rout to, and what is left in each point for knife and chisel.

    A LENGTH is inches, written 0.0238, 1/42 or 2-1/2, or millimetres, written 0.6mm.
    """
    from .advise.cautions import MAKERS_FIRST, ROUTER, SAW_AND_KNIFE
    from .basis.veneer import USUAL_VENEER_IN
    from .design.draw_up import draw_up
    from .design.recess import recess as work_out
    from .printed.pages import room_in
    from .printed.recess_drawing import recess_drawing, routing_page, text_lines
    from .printed.template_words import assumed_words
    from .sheet import PdfKind

    notes = [] if veneer else ["The depth is that of usual veneer: measure yours, and give it (--veneer)."]
    options = (points, reach, rings, short_edge, root_angle, strip, top, band)
    if result is None:
        if job is None:
            wish, which = wish_of(points, reach, rings, short_edge, root_angle, strip, top, band, Side.RIGHT), ""
        else:
            wish, which = wish_kept_in(job, options)
        rose = draw_up(wish)
        notes.append(f"{which} {assumed_words(rose, wish)}".lstrip())
        outline = rose.outline_in()
        lobes = tuple(lobe.number for lobe in sorted(rose.lobes(), key=lambda lobe: lobe.bearing))
    else:
        refuse_rose_options((*options, job), "give either a result file, a job or the rose's own options.", "--result")
        outline, lobes, note = _outline_of(result)
        notes.append(note)
    found = work_out(outline, veneer or USUAL_VENEER_IN, bit, inside)
    names = [str(lobe) for lobe in lobes]
    first = [routing_page(found, names, room_in(paper.value), notes, result is not None)]
    _write(files, PdfKind.RECESS, "The recess for a rose", first, [recess_drawing(found, names)], paper, (bar_across, bar_along))
    told = [piece for note in notes for piece in _wrapped(note)]
    _tell(text_lines(found, names, told, result is not None), (ROUTER, SAW_AND_KNIFE, MAKERS_FIRST), files)


def refuse_rose_options(options: Sequence[object], why: str, hint: str = "--points, --reach, ...") -> None:
    """Exit 2 where a rose's options were given that would not be used."""
    if any(option is not None for option in options):
        raise typer.BadParameter(why, param_hint=hint)


def wish_of(
    points: int | None,
    reach: list[float] | None,
    rings: int | None,
    short_edge: list[float] | None,
    root_angle: list[float] | None,
    strip: float | None,
    top: float | None,
    band: float | None,
    dark: Side,
) -> Wish:
    """The rose that a command's options ask for; exit 2 where they say too little."""
    from .design.wish import Top, Wish

    if not reach:
        raise typer.BadParameter("say how far the first ring reaches, for instance --reach 3.", param_hint="--reach")
    if band is not None and top is None:
        raise typer.BadParameter("say the top's diameter too (--top).", param_hint="--band")
    return Wish(
        USUAL_POINTS if points is None else points,
        tuple(reach),
        rings,
        tuple(short_edge or ()),
        tuple(root_angle or ()),
        strip,
        Top(top, band or 0.0) if top else None,
        "cw" if dark is Side.RIGHT else "ccw",
        ("points",) if points is None else (),
    )


def _outline_of(path: Path) -> tuple[Array, tuple[int, ...], str]:
    """Outline, lobes and what to know about it, of a result file."""
    import json

    from .basis.errors import NoOutline
    from .design.measured import GOOD_TO_IN, measured_outline
    from .photo import read_bytes, shown_name
    from .report.result_reading import STAGES, refuse_newer

    name = shown_name(path)
    try:
        document: Any = json.loads(read_bytes(path))
    except (ValueError, RecursionError):
        raise NoOutline(file=name, why="it isn't one that `seamcheck inspect --json` wrote of a rose") from None
    refuse_newer(document.get("schema_version") if isinstance(document, dict) else None, name)
    stage = document.get("stage") if isinstance(document, dict) else None
    if isinstance(stage, str) and stage in STAGES and stage not in ("dry-fit", "inlaid"):
        raise NoOutline(file=name, why=say("it shows {stage}, not a rose on its top", stage=STAGES[stage]))
    outline = measured_outline(document, name)
    return (
        outline.outline_in,
        outline.lobes,
        f"The outline comes from {name}, by photo, and is mostly good to about {lengths().rule(GOOD_TO_IN)}: "
        "rout by the lines that you drew on the wood.",
    )


def _write(
    files: list[Path] | None,
    kind: PdfKind,
    title: str,
    first: list[Drawing],
    drawings: list[Drawing],
    paper: PaperName,
    bars: tuple[float | None, float | None],
) -> None:
    """Write the drawings into each file: the first ones go into PDFs only, since they hold words."""
    if not files:
        return
    from .cards.print_check import print_scale
    from .printed.pages import pages
    from .printed.vector_files import dxf_bytes, is_dxf, is_svg, side_by_side, svg_bytes
    from .report.files import Target, check_targets, write_all
    from .sheet import is_pdf

    kinds = {".pdf": ("a drawing", is_pdf(kind)), ".svg": ("a drawing", is_svg), ".dxf": ("a drawing", is_dxf)}
    targets = [Target(file, *kinds[file.suffix.lower()]) for file in files]
    check_targets(targets)
    scale = print_scale(*bars)
    made = []
    for target in targets:
        suffix = target.path.suffix.lower()
        if suffix == ".pdf":
            made.append((target, pages([*first, *drawings], paper.value, title, (scale.across, scale.along), kind)))
        else:
            made.append((target, (svg_bytes if suffix == ".svg" else dxf_bytes)(side_by_side(drawings, title))))
    write_all(made)


def _tell(lines: list[str], cautions: tuple[str, ...], files: list[Path] | None) -> None:
    """Numbers, cautions, and what was written."""
    from textwrap import wrap

    print("\n".join(lines), end="\n\n")
    print("\n".join(line for caution in cautions for line in wrap(say(caution), TERMINAL_WIDTH)))
    if files:
        print()
    for file in files or ():
        paper = file.suffix.lower() == ".pdf"
        if paper:
            print(say("{file}: print at 100 %, then measure both bars on a page.", file=file))
        else:
            print(say("{file}: at full size, in {units}.", file=file, units=lengths().plural))
