"""A class in plots, in black and white: students by number, so that no name's letters matter."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from statistics import median
from typing import TYPE_CHECKING, Any

from ..basis.language import say
from ..basis.units import MM_PER_IN, lengths
from ..report.words import limit_words
from .pictures import Picture

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDE_IN, DOTS_PER_IN = 7.0, 150
SPREAD_HIGH_IN, PROGRESS_HIGH_IN = 2.5, 2.4
BAR_IN, FRAME_IN = 0.34, 0.75
MOST_REACH = 8.0  # marks that a spread reaches to; what lies beyond is drawn at the rim
MOST_NUMBERS = 40  # students who each get a number beneath the axis
SMALL, USUAL = 8.0, 9.0  # type, points
JITTER = 0.16  # of a student's place, so that dots don't cover each other


def _figure(high_in: float) -> tuple[Figure, Axes]:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDE_IN, high_in), dpi=DOTS_PER_IN, facecolor="white", layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=SMALL)
    return figure, axes


def _picture(figure: Figure, alt: str) -> Picture:
    file = BytesIO()
    figure.savefig(file, format="png", metadata={"Software": None})
    width, height = (int(side + 1e-6) for side in figure.get_size_inches() * DOTS_PER_IN)  # as they are drawn
    return Picture(file.getvalue(), width, height, alt)


def faults_plot(bars: Sequence[tuple[str, int]], alt: str) -> Picture:
    """How many students have each fault: words and count, the commonest first."""
    from matplotlib.ticker import MaxNLocator

    figure, axes = _figure(FRAME_IN + BAR_IN * len(bars))
    places = range(len(bars), 0, -1)
    axes.barh(list(places), [count for _, count in bars], height=0.62, color="0.75", edgecolor="black", hatch="///")
    axes.set_yticks(list(places), [words for words, _ in bars], fontsize=USUAL)
    for place, (_, count) in zip(places, bars, strict=True):
        axes.text(count, place, f" {count}", va="center", fontsize=USUAL, weight="bold")
    most = max(count for _, count in bars)
    axes.set_xlim(0, most * 1.08 + 0.1)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_xlabel(say("students"), fontsize=USUAL)
    return _picture(figure, alt)


def spread_plot(values_in: Sequence[Sequence[float]], mark_in: float, axis: str, alt: str) -> Picture:
    """Every student's numbers (inches, by the student's number from 1) as dots, and the mark as a dashed line."""
    per = MM_PER_IN if lengths().metric else 1.0
    figure, axes = _figure(SPREAD_HIGH_IN)
    largest = max((value for one in values_in for value in one), default=mark_in)
    limit = min(max(largest * 1.06, 1.5 * mark_in), MOST_REACH * mark_in)
    axes.axhspan(0, mark_in * per, color="0.9", zorder=0)
    axes.axhline(mark_in * per, color="black", linewidth=1, dashes=(5, 3), zorder=1)
    for number, one in enumerate(values_in, 1):
        near = sorted(max(value, 0.0) for value in one if value <= limit)
        beyond = sum(value > limit for value in one)
        axes.plot(_beside(number, len(near)), [value * per for value in near], "o", ms=4.2, mfc="white", mec="black", mew=1.0, zorder=3)
        if beyond:
            axes.plot(_beside(number, beyond), [limit * per] * beyond, "^", ms=6, color="black", zorder=3, clip_on=False)
        middle = max(median(one), 0.0) if one else limit
        if middle < limit:
            axes.plot([number - 0.3, number + 0.3], [middle * per] * 2, "-", color="black", linewidth=2.2, zorder=4)
    axes.set_ylim(0, limit * per)
    _numbered(axes, len(values_in))
    axes.set_ylabel(axis, fontsize=USUAL)
    legend = say("bar: the student's middle; dashed: the mark, {mark}; triangle: beyond the plot", mark=limit_words(mark_in))
    axes.set_xlabel(say("student") + f"   ({legend})", fontsize=SMALL)
    return _picture(figure, alt)


def _beside(number: int, count: int) -> list[float]:
    """Places to the left and right of a number, in turn."""
    return [number + JITTER * ((k % 3) - 1) for k in range(count)]


def _numbered(axes: Axes, count: int) -> None:
    step = 1 if count <= MOST_NUMBERS else 5
    axes.set_xticks(range(1, count + 1, step))
    axes.set_xlim(0.4, count + 0.6)


def progress_plot(shares: Sequence[Sequence[float | None]], middles: Sequence[float | None], alt: str) -> Picture:
    """Each student's share of points on, session by session, thin; the class's middle thick. None where there is nothing to say."""
    figure, axes = _figure(PROGRESS_HIGH_IN)
    for one in shares:
        _line(axes, one, color="0.55", linewidth=0.9, marker="o", ms=3)
    _line(axes, middles, color="black", linewidth=3, marker="s", ms=7)
    axes.set_xlim(0.7, len(middles) + 0.3)
    axes.set_xticks(range(1, len(middles) + 1))
    axes.set_ylim(-4, 104)
    axes.set_xlabel(say("session"), fontsize=USUAL)
    axes.set_ylabel(say("points on, % of measured"), fontsize=USUAL)
    return _picture(figure, alt)


def _line(axes: Axes, shares: Sequence[float | None], **style: Any) -> None:
    told = [(k + 1, 100 * share) for k, share in enumerate(shares) if share is not None]
    axes.plot([place for place, _ in told], [share for _, share in told], **style)
