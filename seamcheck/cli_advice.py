"""The commands that say what to do with a dry fit that was measured: `plan` and `decide`. They work from a result file."""

from __future__ import annotations

import re
import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .basis.errors import NoSuchJoint, NoSuchLobe
from .basis.units import Units, lengths
from .cli_options import UnitsOption, length, metavar_of, one_of, picture_name

if TYPE_CHECKING:
    from .advise.fit import Fit

LEAST_SHAVING_IN, MOST_SHAVING_IN = 1 / 4000, 1 / 64  # outside of these it's a slip of the unit or the keyboard

ResultArgument = Annotated[
    Path,
    typer.Argument(
        metavar="RESULT.json",
        help="What `seamcheck inspect PHOTO --json RESULT.json` wrote of a dry fit; or a job's folder.",
    ),
]


class WoodName(StrEnum):
    """For what wood may be taken off, as it's said on the command line."""

    SURE = "sure"
    LIKELY = "likely"
    SAFE = "safe"


def add_to(app: typer.Typer) -> None:
    """Put these commands on a command line."""
    app.command()(plan)
    app.command()(decide)


def _shaving(text: str) -> float:
    value = length(text)
    if not LEAST_SHAVING_IN <= value <= MOST_SHAVING_IN:
        raise typer.BadParameter(f"{text} is {lengths().plain(value)}, which is no light stroke's shaving: write 0.002 or 0.05mm.")
    return value


def _lobe_list(text: str) -> str:
    if not re.fullmatch(r"(\d+|on)([\s,]+(\d+|on))*", text.strip().lower()):
        raise typer.BadParameter(f"{text!r} is no list of lobes: write their numbers, as 1,4,7.")
    return text.strip().lower()


def tip_list(text: str) -> str:
    """Lobes by number, or all, as written; exit 2 where it is none."""
    if not re.fullmatch(r"(\d+|all)([\s,]+(\d+|all))*", text.strip().lower()):
        raise typer.BadParameter(f"{text!r} is no list of lobes: write their numbers, as 1,4,7, or all.")
    return text.strip().lower()


def joint_list(text: str) -> str:
    """Joints by their lobes, or all, as written; exit 2 where it is none."""
    if not re.fullmatch(r"(\d+-\d+|all)([\s,]+(\d+-\d+|all))*", text.strip().lower()):
        raise typer.BadParameter(f"{text!r} is no list of joints: write the lobes of each, as 1-2,3-4, or all.")
    return text.strip().lower()


CheckedTipsOption = Annotated[
    str | None,
    typer.Option(parser=tip_list, metavar="LOBES", help="Lobes whose points you have checked by eye and straightedge: 3,5, or all."),
]
CheckedJointsOption = Annotated[
    str | None,
    typer.Option(parser=joint_list, metavar="JOINTS", help="Joints that you have tried with a strip of paper: 1-2,3-4, or all."),
]


def _page_name(text: str) -> Path:
    if Path(text).suffix.lower() != ".txt":
        raise typer.BadParameter(f"{text} must end in .txt.")
    return Path(text)


def lobes_in(text: str | None, fit: Fit, file: Path) -> frozenset[int]:
    """The lobes that a list names; `on` stands for all whose points are on their seams, `all` for all."""
    from .photo import shown_name
    from .result import Verdict

    found: set[int] = set()
    for word in re.split(r"[\s,]+", text or ""):
        if word == "on":
            found |= {lobe.number for lobe in fit.lobes if lobe.verdict is Verdict.ON}
        elif word == "all":
            found |= set(fit.by_number)
        elif word:
            if int(word) not in fit.by_number:
                known = ", ".join(str(number) for number in sorted(fit.by_number)) or "none"
                raise NoSuchLobe(file=shown_name(file), lobe=word, lobes=known)
            found.add(int(word))
    return frozenset(found)


def joints_in(text: str | None, fit: Fit, file: Path) -> frozenset[frozenset[int]]:
    """The joints that a list names, each by its lobes."""
    from .photo import shown_name

    pairs = [*(joint.lobes for joint in fit.joints), *fit.left_open]
    known = {frozenset(pair): f"{pair[0]}-{pair[1]}" for pair in pairs}
    found: set[frozenset[int]] = set()
    for word in re.split(r"[\s,]+", text or ""):
        if word == "all":
            found |= known.keys()
        elif word:
            pair = frozenset(int(number) for number in word.split("-"))
            if pair not in known:
                raise NoSuchJoint(file=shown_name(file), joint=word, joints=", ".join(known.values()) or "none")
            found.add(pair)
    return frozenset(found)


def _fit(result: Path) -> Fit:
    """The dry fit in a result file, or the last one that a job holds."""
    from .report.result_reading import fit_of, read_fit

    if not result.is_dir():
        return read_fit(result)
    from .basis.errors import JobTooShort
    from .job import open_job

    with open_job(result) as job:
        kept = job.inspections("dry-fit")
        if not kept:
            raise JobTooShort(job=job.name, count="no dry fit yet")
        return fit_of(kept[-1].document, f"inspection {kept[-1].number} of {job.name}")


def plan(
    result: ResultArgument,
    keep: Annotated[
        str | None,
        typer.Option(
            parser=_lobe_list, metavar="LOBES", help="Lobes that stay as they lie, such as taped ones: 1,4,7. `on` is all that lie well."
        ),
    ] = None,
    shaving: Annotated[
        float | None, typer.Option(parser=_shaving, metavar="LENGTH", help="What a light stroke takes off. Where not given, 0.002.")
    ] = None,
    wood: Annotated[
        WoodName,
        typer.Option(
            parser=one_of(WoodName),
            metavar=metavar_of(WoodName),
            help="For what wood may come off: what surely must, what likely must, or so much that it's safe to close.",
        ),
    ] = WoodName.LIKELY,
    picture: Annotated[
        Path | None, typer.Option(parser=picture_name, metavar="FILE", help="Draw the plan, as a .png or .jpg file.")
    ] = None,
    units: UnitsOption = Units.IN,
) -> None:
    """Plan what to ease and what to move, to close a dry fit.

    From its result file: the least wood that closes it with every point on its seam, in which order, and what comes of it.

    A LENGTH is inches, written 0.0238, 1/42 or 2 1/2, or millimetres, written 0.6mm.
    """
    from .advise.fit_plan import PlanSettings, plan_fit
    from .advise.fit_program import Wood
    from .report.plan_text import plan_lines

    fit = _fit(result)
    settings = PlanSettings(lobes_in(keep, fit, result), Wood(wood.value))
    if shaving is not None:
        settings = PlanSettings(settings.keep, settings.wood, shaving)
    planned = plan_fit(fit, settings)
    if picture is not None:
        from .report.files import Target, write_all
        from .report.picture_file import is_picture
        from .report.plan_picture import plan_picture

        write_all([(Target(picture, "a picture", is_picture), plan_picture(fit, planned, settings, picture.suffix))])
    _say(plan_lines(fit, planned, settings))


def decide(
    result: ResultArgument,
    checked_tips: CheckedTipsOption = None,
    checked_joints: CheckedJointsOption = None,
    page: Annotated[Path | None, typer.Option(parser=_page_name, metavar="FILE.txt", help="Keep the page as a text file.")] = None,
    units: UnitsOption = Units.IN,
) -> None:
    """Say go, not yet or can't tell, before knifing in.

    From a dry fit's result file, with the reason for each point and joint.

    On a go: register marks to make, and the order of the cuts. What the photo shows to be off or open no option overrides.
    """
    from .advise.go_no_go import decide as decide_fit
    from .photo import shown_name
    from .report.decide_text import decide_lines, is_page, page_bytes

    fit = _fit(result)
    decision = decide_fit(fit, lobes_in(checked_tips, fit, result), joints_in(checked_joints, fit, result))
    lines = decide_lines(fit, decision, shown_name(result))
    if page is not None:
        from .report.files import Target, write_all

        write_all([(Target(page, "a page", is_page), page_bytes(lines))])
    _say(lines)


def _say(lines: list[str]) -> None:
    from .report.text import ASCII, can_show

    plain = not can_show(sys.stdout)
    for line in lines:
        print(line.translate(ASCII) if plain else line)
