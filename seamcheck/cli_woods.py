"""The command for choosing woods: `woods`."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .basis.units import Units
from .cli_design import (
    USUAL_REACH_IN,
    BandOption,
    DarkOption,
    PointsOption,
    ReachOption,
    RingsOption,
    RootAngleOption,
    ShortEdgeOption,
    Side,
    StripOption,
    TopOption,
    refuse_rose_options,
    wish_of,
)
from .cli_options import UnitsOption, picture_name

if TYPE_CHECKING:
    from .woods.look import Looked
    from .woods.pairs import Pair
    from .woods.samples import Sample


def add_to(app: typer.Typer) -> None:
    """Put this command on a command line."""
    app.command()(woods)


def _names(text: str) -> str:
    names = [name.strip() for name in text.split(",")]
    if not all(names) or len({name.lower() for name in names}) < len(names):
        raise typer.BadParameter(f"{text!r} doesn't name every sample once: write walnut,maple,cherry.")
    return ",".join(names)


def woods(
    photo: Annotated[Path, typer.Argument(metavar="PHOTO", help="Samples laid apart beside a card or more, or cut lobes.")],
    names: Annotated[
        str | None,
        typer.Option(
            parser=_names,
            metavar="NAMES",
            help="The samples' names, row by row from the top left: walnut,maple,walnut-wet. Of cut lobes the dark wood's, then the light "
            "wood's.",
        ),
    ] = None,
    field: Annotated[
        str | None, typer.Option(metavar="NAME", help="The sample of the field's wood. Where not given, what the samples lie on.")
    ] = None,
    picture: Annotated[
        Path | None, typer.Option(parser=picture_name, metavar="FILE", help="Draw the rose in these woods, as a .png or .jpg file.")
    ] = None,
    points: PointsOption = None,
    reach: ReachOption = None,
    rings: RingsOption = None,
    short_edge: ShortEdgeOption = None,
    root_angle: RootAngleOption = None,
    strip: StripOption = None,
    top: TopOption = None,
    band: BandOption = None,
    dark: DarkOption = Side.RIGHT,
    units: UnitsOption = Units.IN,
) -> None:
    """Say which woods stand apart as dark and light, and both from the field.

    From a photo of samples, strips or off-cuts beside a card; on the top itself they show against its field. With a picture of the rose
    in them, before anything is cut.

    A LENGTH is inches, written 0.75, 3/4 or 2-1/2, or millimetres, written 19mm.
    """
    from .photo import read_photo
    from .report.text import ASCII, can_show
    from .report.woods_text import woods_lines
    from .woods.look import look

    rose, assumed = None, ""
    if picture is None:
        refuse_rose_options(
            (points, reach, rings, short_edge, root_angle, strip, top, band), "they say which rose the picture draws: give --picture too."
        )
    else:
        from .design.draw_up import draw_up
        from .printed.template_words import assumed_words

        wish = wish_of(points, reach or [USUAL_REACH_IN], rings, short_edge, root_angle, strip, top, band, dark)
        wish = wish if reach else replace(wish, taken=(*wish.taken, "reach"))
        rose = draw_up(wish)
        assumed = assumed_words(rose, wish)
    seen = read_photo(photo)
    looked = look(seen, names.split(",") if names else [])
    on = _field(looked, field)
    groups = _groups(looked, on)
    if picture is not None and rose is not None and groups:
        from .report.files import Target, check_targets, write_all
        from .report.picture_file import is_picture
        from .report.woods_picture import woods_picture

        target = Target(picture, "a picture", is_picture)
        check_targets([target], photo)
        ground = on or groups[0][1][0].between.second
        write_all([(target, woods_picture(seen, looked, groups[0][1], ground, rose, picture.suffix))])
    plain = not can_show(sys.stdout)
    for line in woods_lines(looked, on, groups, assumed):
        print(line.translate(ASCII) if plain else line)


def _field(looked: Looked, name: str | None) -> Sample | None:
    from .basis.errors import NoSuchSample

    if name is None:
        return looked.bench
    found = looked.named(name)
    if found is None:
        known = ", ".join([sample.name for sample in looked.samples] + ([looked.bench.name] if looked.bench else []))
        raise NoSuchSample(photo=looked.photo, name=name, samples=known)
    return found


def _groups(looked: Looked, field: Sample | None) -> list[tuple[str, list[Pair]]]:
    """Dry pairs, then wetted ones, against the wetted field where there is one."""
    from .basis.errors import FewSamples
    from .woods.look import dry_name, is_wet
    from .woods.pairs import pairs_of

    field_name = None if field is None else dry_name(field)
    dry = [one for one in looked.samples if not is_wet(one) and one.name != field_name]
    wet = [one for one in looked.samples if is_wet(one) and dry_name(one) != field_name]
    wet_field = next((one for one in looked.samples if is_wet(one) and dry_name(one) == field_name), field)
    groups = [("", pairs_of(dry, field))] if len(dry) > 1 else []
    groups += [("wet", pairs_of(wet, wet_field))] if len(wet) > 1 else []
    if not groups:
        raise FewSamples(photo=looked.photo)
    return groups
