"""The command for lobes that are cut and not yet taped: `lobes`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from .basis.units import Units
from .cli_design import (
    BandOption,
    KeptRoseOption,
    PointsOption,
    ReachOption,
    RingsOption,
    RootAngleOption,
    ShortEdgeOption,
    Side,
    StripOption,
    TopOption,
    as_placed,
    laid_on,
    wish_kept_in,
    wish_of,
)
from .cli_options import UnitsOption, metavar_of, one_of, picture_name


def add_to(app: typer.Typer) -> None:
    """Put this command on a command line."""
    app.command()(lobes)


def lobes(
    results: Annotated[
        list[Path],
        typer.Argument(metavar="RESULT.json", help="What `inspect --stage loose --json` wrote of the cut lobes; one or several."),
    ],
    points: PointsOption = None,
    reach: ReachOption = None,
    rings: RingsOption = None,
    short_edge: ShortEdgeOption = None,
    root_angle: RootAngleOption = None,
    strip: StripOption = None,
    top: TopOption = None,
    band: BandOption = None,
    on: Annotated[
        Path | None, typer.Option(metavar="BARE.json", help="What `inspect --stage bare --json` wrote of the top that they go on.")
    ] = None,
    dark: Annotated[
        Side | None,
        typer.Option(
            parser=one_of(Side), metavar=metavar_of(Side), help="The side of a lobe that is dark. Where not given, as in most lobes."
        ),
    ] = None,
    job: KeptRoseOption = None,
    picture: Annotated[
        Path | None,
        typer.Option(parser=picture_name, metavar="FILE", help="Draw the round and the lobes, as a .png or .jpg file."),
    ] = None,
    units: UnitsOption = Units.IN,
) -> None:
    """Sort cut lobes before they are taped, and find the best order round the top.

    From result files of loose lobes: which to use, to mend (which edge, how much) or to cut again, against the pattern that the rose's
    options give; and which lobe beside which, so that the least has to be planed.

    A LENGTH is inches, written 0.0238, 1/42 or 2 1/2, or millimetres, written 0.6mm.
    """
    from .advise.lobe_lots import lots
    from .advise.lobe_sort import Limits
    from .basis.errors import NoLobes
    from .design.draw_up import draw_up
    from .kite import HalfShape
    from .photo import shown_name
    from .printed.template_words import assumed_words
    from .report.lobes_text import lobes_lines
    from .report.loose_reading import read_loose, read_placed
    from .report.text import ASCII, can_show

    options = (points, reach, rings, short_edge, root_angle, strip, top, band)
    told = any(option is not None for option in options)
    wish, which = (None, "") if job is None else wish_kept_in(job, options)
    found = read_loose(results)
    placed = None if on is None else read_placed(on)
    if wish is not None and placed is not None:
        as_placed(placed, wish.points, list(wish.reaches_in), wish.ring_count)
    if told:
        if placed is not None:
            points, reach, rings = as_placed(placed, points, reach, rings)
        wish = wish_of(points, reach, rings, short_edge, root_angle, strip, top, band, Side.RIGHT)
    rose = None if wish is None else draw_up(wish)
    assumed = "" if rose is None or wish is None else f"{which} {assumed_words(rose, wish)}".lstrip()
    patterns = None if rose is None else [HalfShape.of_kite(ring.shape) for ring in rose.rings]
    own = [] if rose is None or placed is None else [(one.ring, one.shape) for one in laid_on(rose, placed)[0].own]
    limits = Limits(found.gap_tolerance_in / 2, found.gap_tolerance_in, found.tolerance_in)
    side = {None: None, Side.LEFT: "ccw", Side.RIGHT: "cw"}[dark]
    done = lots(found.lobes, patterns, None if placed is None else placed.places, limits, side, own)
    if not done.patterns:
        raise NoLobes(file=shown_name(results[0]))
    unmeasured = None if placed is None else placed.unknown
    if picture is not None:
        from .report.files import Target, write_all
        from .report.lobes_picture import lobes_picture
        from .report.picture_file import is_picture

        write_all([(Target(picture, "a picture", is_picture), lobes_picture(found, done, limits, unmeasured or (), picture.suffix))])
    plain = not can_show(sys.stdout)
    for line in lobes_lines(found, done, limits, unmeasured, assumed):
        print(line.translate(ASCII) if plain else line)
