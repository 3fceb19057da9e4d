"""Every point over the photos of a session, against the tolerance band: one small graph for each point, going round, in one picture."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from math import ceil, pi
from typing import TYPE_CHECKING

from ..basis.language import say
from ..basis.units import lengths
from ..result import Inspection, Tip, Verdict
from .overlay_palette import INK, MARK_COLOURS, Colour
from .picture_file import marked
from .words import clock_of, decimals, limit_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

DOTS_PER_IN = 150
PANEL_WIDE_IN, PANEL_HIGH_IN = 2.6, 1.75
MOST_COLUMNS = 4
HEAD_IN, FOOT_LINE_IN = 0.62, 0.165
# The graphs reach this many tolerances to either side at least and at most; what lies beyond is drawn at the rim with its number.
LEAST_REACH, MOST_REACH = 2.0, 6.0
SMALL, USUAL = 7.0, 8.0  # type, points
NUMBER_FROM = 6.0  # points from a mark at the rim to its number
MARKER_OF = {Verdict.ON: "o", Verdict.OFF: "D", Verdict.UNSURE: "^", Verdict.UNMEASURED: "s"}
BAND_GREY = "0.88"
NAMES_WIDE = 110  # letters in a line at the foot, of a picture four graphs wide


@dataclass(frozen=True)
class Moment:
    """One inspection of the session, its lobes by the last one's numbers."""

    number: int  # as the job numbers it
    name: str  # of the photo
    tips: dict[int, Tip]


def timeline_picture(last: Inspection, moments: Sequence[Moment], suffix: str) -> bytes:
    """The picture's bytes, as a .png or .jpg file that is marked as ours. moments: the last one's included, in order."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    tips = sorted(last.tips, key=lambda tip: ((tip.bearing - last.tips[0].bearing + 1e-6) % (2 * pi), tip.lobe))
    columns = min(MOST_COLUMNS, max(len(tips), 1))
    rows = ceil(len(tips) / columns)
    names = textwrap.wrap(
        say("Photos: {names}", names=", ".join(f"{moment.number} {moment.name}" for moment in moments)),
        NAMES_WIDE * columns // MOST_COLUMNS,
    )
    wide, foot = columns * PANEL_WIDE_IN + 0.5, 0.2 + FOOT_LINE_IN * len(names)
    high = rows * PANEL_HIGH_IN + HEAD_IN + foot
    figure = Figure(figsize=(wide, high), dpi=DOTS_PER_IN, facecolor="white")
    FigureCanvasAgg(figure)
    limit = _limit(last.tolerance_in, tips, moments)
    for place, tip in enumerate(tips):
        row, column = divmod(place, columns)
        left = 0.62 + column * PANEL_WIDE_IN
        bottom = foot + (rows - 1 - row) * PANEL_HIGH_IN + 0.28
        axes = figure.add_axes((left / wide, bottom / high, (PANEL_WIDE_IN - 0.45) / wide, (PANEL_HIGH_IN - 0.62) / high))
        _panel(axes, tip, moments, last.tolerance_in, limit, labelled=column == 0)
    figure.text(0.12 / wide, 1 - 0.12 / high, say("Every point from photo to photo"), fontsize=12, weight="bold", va="top")
    figure.text(0.12 / wide, 1 - 0.36 / high, _legend(last.tolerance_in, columns), fontsize=SMALL, va="top", linespacing=1.35)
    figure.text(0.12 / wide, 0.12 / high, "\n".join(names), fontsize=SMALL, va="bottom", linespacing=1.25)
    file = BytesIO()
    kind = "png" if suffix.lower() == ".png" else "jpeg"
    figure.savefig(file, format=kind, metadata={"Software": None} if kind == "png" else None)
    return marked(file.getvalue())


def _limit(tolerance_in: float, tips: Sequence[Tip], moments: Sequence[Moment]) -> float:
    """How far the graphs reach to either side of the seam (inches)."""
    seen = [moment.tips[tip.lobe].seam_offset for tip in tips for moment in moments if tip.lobe in moment.tips]
    farthest = max((abs(offset.value) + offset.u95 for offset in seen if offset is not None), default=0.0)
    return min(max(1.1 * farthest, LEAST_REACH * tolerance_in), MOST_REACH * tolerance_in)


def _legend(tolerance_in: float, columns: int) -> str:
    lines = [
        say(
            "Up: clockwise of its seam; down: counterclockwise; {unit}, with what each is uncertain by. Grey band: within {limit}.",
            unit=lengths().plural,
            limit=limit_words(tolerance_in),
        ),
        say("Disc on, diamond off, triangle unsure, square at the foot unmeasured; a number at the rim lies beyond it."),
    ]
    return "\n".join(wrapped for line in lines for wrapped in textwrap.wrap(line, NAMES_WIDE * max(columns, 2) // MOST_COLUMNS + 12))


def _panel(axes: Axes, tip: Tip, moments: Sequence[Moment], tolerance_in: float, limit: float, labelled: bool) -> None:
    axes.axhspan(-tolerance_in, tolerance_in, color=BAND_GREY, linewidth=0)
    axes.axhline(0.0, color="0.45", linewidth=0.8, linestyle=(0, (6, 3)))
    shown: list[tuple[int, float]] = []
    for place, moment in enumerate(moments):
        seen = moment.tips.get(tip.lobe)
        if seen is None:
            continue
        if seen.seam_offset is None:
            _mark(axes, place, -0.88 * limit, Verdict.UNMEASURED, faint=True)
            continue
        value = seen.seam_offset.value
        drawn = min(max(value, -0.93 * limit), 0.93 * limit)
        shown.append((place, drawn))
        if drawn == value:
            axes.plot(
                [place, place], [value - seen.seam_offset.u95, value + seen.seam_offset.u95], color=_rgb(INK), linewidth=1.1, zorder=3
            )
        else:
            axes.annotate(
                decimals(value, 3),
                (place, drawn),
                (0, -NUMBER_FROM if drawn > 0 else NUMBER_FROM),  # inward: beside it runs the line to the next
                textcoords="offset points",
                fontsize=SMALL,
                ha="center",
                va="top" if drawn > 0 else "bottom",
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
                zorder=5,
            )
        _mark(axes, place, drawn, seen.verdict or Verdict.UNMEASURED)
    axes.plot([place for place, _ in shown], [drawn for _, drawn in shown], color="0.35", linewidth=0.8, zorder=2)
    axes.set_xlim(-0.5, len(moments) - 0.5 + (0.3 if len(moments) < 4 else 0.0))
    axes.set_ylim(-limit, limit)
    step = max(1, ceil(len(moments) / 10))
    places = list(range(len(moments) - 1, -1, -step))
    axes.set_xticks(places, [str(moments[place].number) for place in places], fontsize=SMALL)
    ticks = [-tolerance_in, 0.0, tolerance_in]
    if limit > 3.5 * tolerance_in:
        ticks = [-3 * tolerance_in, *ticks, 3 * tolerance_in]
    axes.set_yticks(ticks, [decimals(tick, 3) if tick else "0" for tick in ticks] if labelled else [""] * len(ticks), fontsize=SMALL)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.set_title(say("lobe {lobe}, {clock}", lobe=tip.lobe, clock=clock_of(tip.bearing)), fontsize=USUAL, loc="left", pad=3)


def _mark(axes: Axes, place: float, value: float, verdict: Verdict, faint: bool = False) -> None:
    colour = "white" if faint else _rgb(MARK_COLOURS[verdict.value])
    axes.plot([place], [value], MARKER_OF[verdict], color=colour, markeredgecolor=_rgb(INK), markersize=6.0, markeredgewidth=0.8, zorder=4)


def _rgb(colour: Colour) -> tuple[float, float, float]:
    red, green, blue = colour
    return red / 255, green / 255, blue / 255
