"""The commands that make pages to keep: `sheet` and `portfolio`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .basis.errors import NoPoints, NothingToShow
from .basis.language import say
from .basis.units import Units
from .cli_advice import CheckedJointsOption, CheckedTipsOption, joints_in, lobes_in
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
    length,
)

if TYPE_CHECKING:
    from .beauty.studio import Studio
    from .result import Inspection

PAGES = (".pdf", ".html")


def add_to(app: typer.Typer) -> None:
    """Put these commands on a command line."""
    app.command()(sheet)
    app.command()(portfolio)


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
    checked_tips: CheckedTipsOption = None,
    checked_joints: CheckedJointsOption = None,
    paper: PaperOption = PaperName.LETTER,
    units: UnitsOption = Units.IN,
) -> None:
    """Make a bench sheet: one page to take to the bench, with every point enlarged, what to do, and go or no go.

    A LENGTH is inches, written 0.0238, 1/42 or 2 1/2, or millimetres, written 0.6mm.
    """
    from .pages.environment import is_page
    from .report.files import Target, check_targets, write_all
    from .result import Stage
    from .sheet import PdfKind, is_pdf

    kinds = {".pdf": ("a bench sheet", is_pdf(PdfKind.BENCH))}
    targets = [Target(file, *kinds.get(file.suffix.lower(), ("a page", is_page))) for file in files]
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


MOST_AROUND_IN = 12.0  # beyond the points: more is a slip of the unit


def _around(text: str) -> float:
    value = length(text)
    if value > MOST_AROUND_IN:
        raise typer.BadParameter(f"{text} is more than any picture needs: write 1/2 or 12mm.")
    return value


def portfolio(
    photo: PhotoArgument,
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder for pages and pictures; made where it's missing.")],
    before: Annotated[
        Path | None, typer.Option(metavar="PHOTO", help="A photo of the same top before: bare, or a dry fit, with cards in it.")
    ] = None,
    title: Annotated[str, typer.Option(metavar="WORDS", help="What stands above the rose. Where not given, Compass rose.")] = "",
    maker: Annotated[str, typer.Option(metavar="WORDS", help="Whose work it is, beneath it.")] = "",
    transparent: Annotated[bool, typer.Option("--transparent", help="Write top.png too, with nothing round the disc.")] = False,
    scale_bar: Annotated[bool, typer.Option("--scale-bar", help="Draw a scale bar beside the rose.")] = False,
    around: Annotated[
        float | None,
        typer.Option(
            parser=_around,
            metavar="LENGTH",
            help="How far beyond the points the pictures reach. Where not given, as far as the cards leave room.",
        ),
    ] = None,
    stage: StageOption = None,
    tolerance: ToleranceOption = None,
    gap_tolerance: GapToleranceOption = None,
    veneer: VeneerOption = None,
    bar_across: BarAcrossOption = None,
    bar_along: BarAlongOption = None,
    paper: PaperOption = PaperName.LETTER,
    units: UnitsOption = Units.IN,
) -> None:
    """Make a portfolio of a finished top: straightened, evenly lit pictures, every point close up, and how true it is.

    Writes portfolio.pdf and portfolio.html, top.jpg at the photo's full resolution, and a picture of every point. None of them tells
    where or when the photo was taken.

    A LENGTH is inches, written 0.0238, 1/42 or 2 1/2, or millimetres, written 0.6mm.
    """
    from .folders import folder_for
    from .pages.pictures import encoded
    from .pages.portfolio_content import close_up, portfolio, whole_picture
    from .pages.portfolio_html import portfolio_html
    from .pages.portfolio_pdf import portfolio_pdf, unset_words
    from .report.files import check_targets, write_all
    from .report.words import lower

    said = made_with(stage, tolerance, gap_tolerance, veneer, bar_across, bar_along)
    with folder_for(folder):
        targets = _portfolio_targets(folder, transparent, before is not None)
        for one in (photo, *([before] if before else [])):
            check_targets(list(targets.values()), one)
        shown, inspection = _studio(photo, said, around)
        earlier = _studio(before, said | {"stage": None}, around, shown.reach_in)[0] if before else None

        content = portfolio(shown, inspection, title, maker, earlier, scale_bar)
        files = {"portfolio.pdf": portfolio_pdf(content, paper.value), "portfolio.html": portfolio_html(content, paper.value)}
        files["top.jpg"] = encoded(whole_picture(shown, scale_bar), ".jpg")
        if transparent:
            files["top.png"] = encoded(whole_picture(shown, scale_bar, see_through=True), ".png")
        if earlier:
            files["before.jpg"] = encoded(whole_picture(earlier, scale_bar), ".jpg")
        for tip in inspection.tips:
            files[f"point-{tip.lobe}.jpg"] = encoded(close_up(shown, tip), ".jpg")
            targets.setdefault(f"point-{tip.lobe}.jpg", _picture_target(folder / f"point-{tip.lobe}.jpg"))
        write_all([(targets[name], data) for name, data in files.items()])
    notes = (*_portfolio_notes(shown, earlier, inspection), *unset_words(content))
    for words in (*content.statement, f"top.jpg: {lower(content.caption)}", *notes):
        print(words)
    named = ", ".join(list(files)[: -len(inspection.tips)])
    print(say("{folder}: {files} and a picture of every point.", folder=folder, files=named))


def _picture_target(path: Path) -> Any:
    from .report.files import Target
    from .report.picture_file import is_picture

    return Target(path, "a picture", is_picture)


def _portfolio_targets(folder: Path, transparent: bool, before: bool) -> dict[str, Any]:
    """The files whose names are known before anything is measured."""
    from .pages.environment import is_page
    from .report.files import Target
    from .sheet import PdfKind, is_pdf

    pictures = ["top.jpg", *(["top.png"] if transparent else []), *(["before.jpg"] if before else [])]
    return {
        "portfolio.pdf": Target(folder / "portfolio.pdf", "a portfolio", is_pdf(PdfKind.PORTFOLIO)),
        "portfolio.html": Target(folder / "portfolio.html", "a page", is_page),
        **{name: _picture_target(folder / name) for name in pictures},
    }


def _studio(path: Path, said: dict[str, Any], around_in: float | None, reach_in: float | None = None) -> tuple[Studio, Inspection]:
    """A photo measured and made ready to be shown."""
    from .beauty.daylight import colour_matrix
    from .beauty.studio import studio
    from .photo import colour_profile

    seen, inspection = measure(path, said)
    if inspection.centre_px is None or not (inspection.tips or (inspection.seams and reach_in)):
        raise NothingToShow(photo=inspection.photo_name)
    bars = said["bar_across_in"], said["bar_along_in"]
    return studio(seen, inspection, bars, colour_matrix(colour_profile(path)), around_in, reach_in), inspection


def _portfolio_notes(shown: Studio, before: Studio | None, inspection: Inspection) -> list[str]:
    """What a better photo would mend."""
    notes = [_room_words(name, one) for name, one in (("top.jpg", shown), ("before.jpg", before)) if one and not one.is_clear]
    if not shown.daylight.is_known:
        notes.append(say("The cards' paper is burnt out or hidden, so light and colours are the camera's; expose for the paper."))
    return [*notes, *inspection.warnings]


def _room_words(picture: str, shown: Studio) -> str:
    """Of a picture into which something reaches."""
    from .basis.units import lengths

    room = lengths().on_rule_below(shown.room_in) if shown.room_in else 0.0
    if not room:
        return say(
            "A card or the photo's edge reaches into {picture}: for a portfolio lay the cards farther from the points.", picture=picture
        )
    return say(
        "A card or the photo's edge reaches into {picture}: lay the cards farther from the points, or say --around {length} at most.",
        picture=picture,
        length=lengths().option(room),
    )
