"""The commands that make pages to keep: `sheet`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .basis.errors import NoPoints
from .basis.units import Units
from .cli_advice import joint_list, joints_in, lobes_in, tip_list
from .cli_measure import made_with, measure, measure_all
from .cli_options import (
    BarAcrossOption,
    BarAlongOption,
    GapToleranceOption,
    PaperName,
    PaperOption,
    StageOption,
    ToleranceOption,
    UnitsOption,
    VeneerOption,
)

PAGES = (".pdf", ".html")


def add_to(app: typer.Typer) -> None:
    """Put these commands on a command line."""
    app.command()(sheet)


def _page_name(text: str) -> Path:
    if Path(text).suffix.lower() not in PAGES:
        raise typer.BadParameter(f"{text} must end in .pdf (to print) or .html (to look at on a screen).")
    return Path(text)


PhotoArgument = Annotated[Path, typer.Argument(metavar="PHOTO", help="The photo of the top, as the phone took it (JPEG, HEIC, PNG, TIFF).")]
AlsoOption = Annotated[
    list[Path] | None,
    typer.Option("--also", metavar="PHOTO", help="Another photo of the same fit, measured together; as often as you like."),
]


def sheet(
    photo: PhotoArgument,
    files: Annotated[
        list[Path], typer.Argument(parser=_page_name, metavar="FILE...", help="Pages to write, by their ending: .pdf or .html.")
    ],
    also: AlsoOption = None,
    stage: StageOption = None,
    tolerance: ToleranceOption = None,
    gap_tolerance: GapToleranceOption = None,
    veneer: VeneerOption = None,
    bar_across: BarAcrossOption = None,
    bar_along: BarAlongOption = None,
    checked_tips: Annotated[
        str | None,
        typer.Option(parser=tip_list, metavar="LOBES", help="Lobes whose points you have checked by eye and straightedge: 3,5."),
    ] = None,
    checked_joints: Annotated[
        str | None,
        typer.Option(parser=joint_list, metavar="JOINTS", help="Joints that you have tried with a strip of paper: 1-2,3-4, or all."),
    ] = None,
    paper: PaperOption = PaperName.LETTER,
    units: UnitsOption = Units.IN,
) -> None:
    """Make a bench sheet: one page to take to the bench, with every point enlarged, what to do, and go or no go.

    A LENGTH is inches, written 0.0238, 1/42 or 2 1/2, or millimetres, written 0.6mm.
    """
    from .pages.environment import is_page
    from .printed.card_sheet import is_card_sheet
    from .report.files import Target, check_targets, write_all
    from .result import Stage

    targets = [Target(file, "a page", is_card_sheet if file.suffix.lower() == ".pdf" else is_page) for file in files]
    photos = [photo, *(also or [])]
    for one in photos:
        check_targets(targets, one)
    said = made_with(stage, tolerance, gap_tolerance, veneer, bar_across, bar_along)
    seen, inspection = measure(photo, said) if not also else measure_all(photos, said)
    if inspection.stage is Stage.BARE:
        raise NoPoints(photo=inspection.photo_name)

    from .pages.bench_content import bench_sheet
    from .pages.bench_html import bench_html
    from .pages.bench_pdf import bench_pdf
    from .report.json_file import result_document
    from .report.result_reading import fit_of

    checked: tuple[frozenset[int], frozenset[frozenset[int]]] = (frozenset(), frozenset())
    if inspection.stage is Stage.DRY_FIT and (checked_tips or checked_joints):
        fit = fit_of(result_document(inspection), inspection.photo_name)
        checked = lobes_in(checked_tips, fit, photo), joints_in(checked_joints, fit, photo)
    page = bench_sheet(seen.bgr, inspection, *checked)
    write_all([(target, (bench_pdf if target.path.suffix.lower() == ".pdf" else bench_html)(page, paper.value)) for target in targets])
    print(f"{page.said}: {page.sentence}" if page.call else page.sentence)
