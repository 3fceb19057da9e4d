"""The fit plan on one page: the rose in outline, wood to take off drawn far too deep, arrows for what moves. Black, white and grey.

What must be known beside it stands on the page in the same words as in the report: what comes first, what is assumed, what doesn't close.
"""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np

from ..advise.fit import Fit, FitLobe
from ..advise.fit_plan import Plan, PlanSettings
from ..basis.language import say
from ..basis.units import lengths
from .overlay_canvas import drawable, wrapped
from .picture_file import marked
from .plan_marks import MARGIN_IN, MEASURED_PX, POINTS_PER_IN, Arrow, Marks, Note, exaggeration, plan_marks, reach_of
from .plan_text import assumed, closing_words, first_of_all, no_wood_words, nothing_words, whys
from .words import decimals

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAGE_IN = (8.5, 11.0)
DOTS_PER_IN = 150
SIDE_IN, TOP_IN, FOOT_IN = 0.43, 0.30, 0.30  # the page's margins
ROSE_HIGH_IN, ROSE_LEAST_IN = 7.4, 5.4  # of the page
GAP_IN = 0.10  # between the page's parts
STAYS_GREY, LIFTED_GREY, WOOD = "0.80", "1.0", "0.0"
TITLE_PT, FIRST_PT, USUAL_PT, LISTED_PT = 13.0, 10.0, 8.5, 8.0
LEADING = 1.3
SHRINK = (1.0, 0.93, 0.86, 0.8, 0.74, 0.68)  # the type under the rose, where there is much to say


@dataclass(frozen=True)
class Block:
    """Lines of type of one size."""

    lines: tuple[str, ...]
    size_pt: float
    bold: bool = False
    left_in: float = SIDE_IN

    @property
    def height_in(self) -> float:
        """On the page."""
        return len(self.lines) * LEADING * self.size_pt / POINTS_PER_IN


@dataclass(frozen=True)
class Sheet:
    """What stands above the rose, how high the rose is, and what stands below, row by row; the last row stands at the page's foot."""

    above: tuple[Block, ...]
    rose_in: float
    below: tuple[tuple[Block, ...], ...]
    foot: Block


def plan_picture(fit: Fit, plan: Plan, settings: PlanSettings, suffix: str) -> bytes:
    """The page's bytes, as a .png or .jpg file that is marked as ours."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=PAGE_IN, dpi=DOTS_PER_IN, facecolor="white")
    FigureCanvasAgg(figure)
    sheet = plan_sheet(fit, plan, settings)
    y = TOP_IN
    for block in sheet.above:
        _write(figure, block, y)
        y += block.height_in + GAP_IN / 2
    width = PAGE_IN[0] - 2 * SIDE_IN
    axes = figure.add_axes((SIDE_IN / PAGE_IN[0], 1 - (y + sheet.rose_in) / PAGE_IN[1], width / PAGE_IN[0], sheet.rose_in / PAGE_IN[1]))
    _draw_rose(axes, fit, plan, plan_marks(fit, plan, min(sheet.rose_in, width) / (2 * reach_of(fit))))
    y += sheet.rose_in + GAP_IN
    for row in sheet.below:
        for block in row:
            _write(figure, block, y)
        y += max(block.height_in for block in row) + GAP_IN
    _write(figure, sheet.foot, PAGE_IN[1] - FOOT_IN - sheet.foot.height_in)
    file = BytesIO()
    kind = "png" if suffix.lower() == ".png" else "jpeg"
    figure.savefig(file, format=kind, metadata={"Software": None} if kind == "png" else None)
    return marked(file.getvalue())


def plan_sheet(fit: Fit, plan: Plan, settings: PlanSettings) -> Sheet:
    """All words of the page, and the room that they leave for the rose: type shrinks only where the rose would become too small."""
    name = _block([say("Plan for {photo}", photo=fit.name)], TITLE_PT, bold=True)
    above = (_cut(name), *(_block([words], FIRST_PT, bold=True) for words in first_of_all(fit)))
    for share in SHRINK:
        below, foot = _below(fit, plan, settings, share)
        taken = sum(block.height_in + GAP_IN / 2 for block in above) + foot.height_in + TOP_IN + FOOT_IN + GAP_IN
        taken += sum(max(block.height_in for block in row) + GAP_IN for row in below)
        rose_in = min(ROSE_HIGH_IN, PAGE_IN[1] - taken)
        if rose_in >= ROSE_LEAST_IN:
            break
    return Sheet(above, max(rose_in, 1.0), below, foot)


def _below(fit: Fit, plan: Plan, settings: PlanSettings, share: float) -> tuple[tuple[tuple[Block, ...], ...], Block]:
    rows: list[tuple[Block, ...]] = [(_block(_legend(fit, plan), share * USUAL_PT),)]
    listed = _list(plan, settings)
    if listed:
        half, middle_in = (len(listed) + 1) // 2, PAGE_IN[0] / 2 + GAP_IN
        columns = ((SIDE_IN, listed[:half], middle_in - GAP_IN), (middle_in, listed[half:], PAGE_IN[0] - SIDE_IN))
        rows.append(tuple(_block(part, share * LISTED_PT, left_in=left, right_in=right) for left, part, right in columns))
    held = [] if plan.waits else [*assumed(fit), *whys(fit, plan, settings)]
    if held:
        rows.append((_block(held, share * LISTED_PT),))
    return tuple(rows), _block(_foot(fit, plan, settings), share * USUAL_PT, bold=True)


def _block(
    sentences: list[str], size_pt: float, bold: bool = False, left_in: float = SIDE_IN, right_in: float = PAGE_IN[0] - SIDE_IN
) -> Block:
    """Sentences, each from a line's beginning, in lines that fit the width."""
    width = (right_in - left_in) * POINTS_PER_IN / size_pt * MEASURED_PX
    return Block(tuple(line for words in sentences for line in wrapped(words, MEASURED_PX, width, bold)), size_pt, bold, left_in)


def _cut(title: Block) -> Block:
    """A file's name of any length has one line."""
    return title if len(title.lines) == 1 else Block((f"{title.lines[0]} ...",), title.size_pt, title.bold)


def _write(figure: Figure, block: Block, y_in: float) -> None:
    for number, line in enumerate(block.lines):
        y = 1 - (y_in + number * LEADING * block.size_pt / POINTS_PER_IN) / PAGE_IN[1]
        weight = "bold" if block.bold else "normal"
        figure.text(block.left_in / PAGE_IN[0], y, line, fontsize=block.size_pt, va="top", weight=weight, parse_math=False)


def _draw_rose(axes: Axes, fit: Fit, plan: Plan, marks: Marks) -> None:
    axes.set_aspect("equal")
    axes.set_axis_off()
    reach = reach_of(fit)
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-reach, reach)
    lifted = {move.lobe for move in plan.moves} | (set(fit.odd_lobes) if plan.waits else set())
    for lobe in fit.lobes:
        _draw_lobe(axes, lobe, lobe.number in lifted)
    for joint in fit.joints:
        if joint.gap_in is None:
            axes.plot(*joint.edge_in.T, color="0.45", linestyle=(0, (1, 2)), linewidth=2.2)
    for wedge in marks.wedges:
        axes.fill(*wedge.T, facecolor=WOOD, edgecolor=WOOD, linewidth=1.2)
    for note in marks.notes:
        if note.leader is not None:
            axes.plot(*note.leader.T, color="0.35", linewidth=0.6)
    for arrow in marks.arrows:
        _draw_arrow(axes, arrow)
    for note in marks.notes:
        _draw_note(axes, note)


def _draw_lobe(axes: Axes, lobe: FitLobe, lifted: bool) -> None:
    outline = np.vstack([lobe.outline_in, lobe.outline_in[:1]])
    axes.fill(*outline.T, facecolor=LIFTED_GREY if lifted else STAYS_GREY, edgecolor="0.25", linewidth=0.9)
    seam = lobe.tip_in + np.outer([0.04, MARGIN_IN * 0.8], lobe.seam_out)
    axes.plot(*seam.T, color="0.5", linestyle=(0, (6, 3)), linewidth=0.8)


def _draw_arrow(axes: Axes, arrow: Arrow) -> None:
    style: dict[str, Any] = {"arrowstyle": "-|>", "linewidth": 1.3, "color": "0.0", "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", xy=tuple(arrow.end), xytext=tuple(arrow.start), arrowprops=style)


def _draw_note(axes: Axes, note: Note) -> None:
    plate = {"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.85} if note.plate else None
    axes.text(
        note.place[0],
        note.place[1],
        drawable(note.words),
        fontsize=note.size_pt,
        weight="bold" if note.bold else "normal",
        ha="center",
        va="center",
        bbox=plate,
    )


def _legend(fit: Fit, plan: Plan) -> list[str]:
    if plan.waits:
        seen = say("Seen from above, as in the photo.")
        return [f"{seen} {say('What lies the wrong way round is white.')}" if fit.odd_lobes else seen]
    unit = lengths().plural.capitalize()
    lines = [
        say(
            "Seen from above, as in the photo. {unit}. Grey lobes stay; white ones are lifted and laid in the order given (1st, 2nd).",
            unit=unit,
        )
    ]
    if plan.eases:
        lines.append(
            say(
                "Black wedge: wood to take off that short edge, drawn {times} times as deep as it is, with its depth at either end.",
                times=exaggeration(plan),
            )
        )
    lines.append(
        say(
            "Arrow at a point: how far it goes aside. Arrow across a lobe: how far its root does; along it: "
            "how far all of it goes, toward the centre or away from it."
        )
    )
    lines.append(say("Dashed: the field's seam. Dotted: a joint that isn't measured, taken for closed."))
    return lines


def _list(plan: Plan, settings: PlanSettings) -> list[str]:
    """One short line for each edge."""
    lines = []
    for ease in plan.eases:
        ends = [
            said
            for said, depth in (
                (say("{by} root", by=decimals(ease.root_in, 3)), ease.root_in),
                (say("{by} shoulder", by=decimals(ease.shoulder_in, 3)), ease.shoulder_in),
            )
            if depth
        ]
        whole, more = ease.strokes(settings.shaving_in)
        strokes = f"{whole} + {more}" if whole and more else str(whole or more)
        edge = say("left edge") if ease.side == "left" else say("right edge")
        planed = say("1 stroke") if strokes == "1" else say("{strokes} strokes", strokes=strokes)
        lines.append(say("Lobe {lobe}, {edge}: {ends}; {planed}", lobe=ease.lobe, edge=edge, ends=", ".join(ends), planed=planed))
    return lines


def _foot(fit: Fit, plan: Plan, settings: PlanSettings) -> list[str]:
    """What to keep in mind, and what to do when all of it is done."""
    if plan.eases:
        mind = say("Move first; ease only what still binds; test after each stroke. Wood can't be put back.")
    else:
        mind = no_wood_words(fit, plan) if plan.moves else nothing_words(fit, plan, settings)
    if plan.waits:
        return [mind]
    if plan.tip_misses or plan.gap_misses or not fit.lobes or not fit.joints:
        return [mind, closing_words(fit, plan)]
    return [mind, say("Then take a new photo before you knife in.")]
