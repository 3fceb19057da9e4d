"""The fit plan on one page: the rose in outline, wood to take off drawn far too deep, arrows for what moves. Black, white and grey."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np

from ..advise.fit import Fit, FitLobe
from ..advise.fit_plan import Ease, Move, Plan, PlanSettings
from ..basis.frames import Array, right_of
from ..basis.language import say
from ..basis.units import lengths
from .picture_file import marked
from .plan_text import TOLD_MOVE_IN
from .words import decimals

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PAGE_IN = (8.5, 11.0)
DOTS_PER_IN = 150
ROSE_HIGH_IN = 7.4  # of the page
DEEPEST_DRAWN_IN = 0.26  # how deep the deepest taper is drawn, on the top's scale
EXAGGERATIONS = (50, 30, 20, 15, 10, 8, 5)
ARROW_IN = 0.42  # of a moving point: the same for all, the number says how far
MARGIN_IN = 0.75  # round the tips, for arrows and numbers
# Shares of a lobe's length, from its root.
ROOT_ARROW_AT, LABEL_AT, OUT_ARROW_AT = 0.23, 0.62, 0.82
STAYS_GREY, LIFTED_GREY, WOOD = "0.80", "1.0", "0.0"
SMALL, LISTED, USUAL = 7.0, 8.0, 8.5  # type, points


def plan_picture(fit: Fit, plan: Plan, settings: PlanSettings, suffix: str) -> bytes:
    """The page's bytes, as a .png or .jpg file that is marked as ours."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=PAGE_IN, dpi=DOTS_PER_IN, facecolor="white")
    FigureCanvasAgg(figure)
    share = ROSE_HIGH_IN / PAGE_IN[1]
    axes = figure.add_axes((0.03, 0.96 - share, 0.94, share))
    times = _exaggeration(plan)
    _draw_rose(axes, fit, plan, times)
    figure.text(0.05, 0.965, say("Plan for {photo}", photo=fit.name), fontsize=13, weight="bold")
    top = 0.955 - share
    figure.text(0.05, top, "\n".join(_legend(plan, times)), fontsize=USUAL, va="top", linespacing=1.2)
    listed = _list(plan, settings)
    half = (len(listed) + 1) // 2
    for left, part in ((0.05, listed[:half]), (0.51, listed[half:])):
        figure.text(left, top - 0.075, "\n".join(part), fontsize=LISTED, va="top", linespacing=1.3)
    figure.text(0.05, 0.03, _foot(plan), fontsize=USUAL, va="bottom", weight="bold")
    file = BytesIO()
    kind = "png" if suffix.lower() == ".png" else "jpeg"
    figure.savefig(file, format=kind, metadata={"Software": None} if kind == "png" else None)
    return marked(file.getvalue())


def _exaggeration(plan: Plan) -> int:
    deepest = max((max(ease.root_in, ease.shoulder_in) for ease in plan.eases), default=0.0)
    return next((times for times in EXAGGERATIONS if times * deepest <= DEEPEST_DRAWN_IN), EXAGGERATIONS[-1])


def _draw_rose(axes: Axes, fit: Fit, plan: Plan, times: int) -> None:
    axes.set_aspect("equal")
    axes.set_axis_off()
    reach = max((float(np.hypot(*lobe.tip_in)) for lobe in fit.lobes), default=1.0) + MARGIN_IN
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-reach, reach)
    moves = {move.lobe: (step, move) for step, move in enumerate(plan.moves, 1)}
    for lobe in fit.lobes:
        _draw_lobe(axes, lobe, moves.get(lobe.number))
    for joint in fit.joints:
        if joint.gap_in is None:
            axes.plot(*joint.edge_in.T, color="0.45", linestyle=(0, (1, 2)), linewidth=2.2)
    for ease in plan.eases:
        _draw_ease(axes, fit.by_number[ease.lobe], ease, times)
    for lobe in fit.lobes:
        if lobe.number in moves:
            _draw_move(axes, lobe, moves[lobe.number][1])


def _draw_lobe(axes: Axes, lobe: FitLobe, step: tuple[int, Move] | None) -> None:
    outline = np.vstack([lobe.outline_in, lobe.outline_in[:1]])
    axes.fill(*outline.T, facecolor=STAYS_GREY if step is None else LIFTED_GREY, edgecolor="0.25", linewidth=0.9)
    seam = lobe.tip_in + np.outer([0.04, MARGIN_IN * 0.8], lobe.seam_out)
    axes.plot(*seam.T, color="0.5", linestyle=(0, (6, 3)), linewidth=0.8)
    # Clear of the edges and what is drawn along them, and of the arrows nearer to root and tip.
    place = lobe.root_in + LABEL_AT * lobe.length_in * lobe.axis
    axes.text(place[0], place[1], str(lobe.number), fontsize=13, weight="bold", ha="center", va="center")
    words = "stays" if step is None else _ordinal(step[0])
    axes.text(place[0], place[1] - 0.2, words, fontsize=SMALL, ha="center", va="center")


def _ordinal(number: int) -> str:
    return f"{number}{'th' if 10 < number % 100 < 14 else {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th')}"


def _draw_ease(axes: Axes, lobe: FitLobe, ease: Ease, times: int) -> None:
    """The wood to take off, black, inside the edge; its depth at either end as a number."""
    root, shoulder = lobe.outline_in[0], lobe.outline_in[1 if ease.side == "left" else 3]
    way = (shoulder - root) / np.hypot(*(shoulder - root))
    inward = right_of(way) if ease.side == "left" else -right_of(way)
    # Kept off the very ends, where edges of other lobes meet.
    ends = [root + 0.06 * (shoulder - root), shoulder - 0.03 * (shoulder - root)]
    depths = [ease.root_in, ease.shoulder_in]
    wedge = np.stack([ends[0], ends[1], ends[1] + times * depths[1] * inward, ends[0] + times * depths[0] * inward])
    axes.fill(*wedge.T, facecolor=WOOD, edgecolor=WOOD, linewidth=1.2)
    for end, depth, along in zip(ends, depths, (0.30, -0.16), strict=True):
        if depth:
            place = end + along * way + (times * depth * 0.9 + 0.13) * inward
            _note(axes, place, decimals(depth, 3))


def _draw_move(axes: Axes, lobe: FitLobe, move: Move) -> None:
    """An arrow across the seam at the tip, one across at the root's side, one along the axis; each with its number."""
    across = right_of(lobe.axis)
    tip, root = lobe.tip_in + 0.10 * lobe.axis, lobe.root_in + ROOT_ARROW_AT * lobe.length_in * lobe.axis
    if abs(move.tip_right_in) >= TOLD_MOVE_IN:
        _arrow(axes, tip, np.sign(move.tip_right_in) * across, decimals(move.tip_right_in, 3), 0.17 * lobe.axis)
    if abs(move.root_right_in) >= TOLD_MOVE_IN:
        _arrow(
            axes,
            root,
            np.sign(move.root_right_in) * across,
            say("root {by}", by=decimals(move.root_right_in, 3)),
            (0.11 + 0.24 * abs(lobe.axis[0])) * lobe.axis,
        )
    if abs(move.out_in) >= TOLD_MOVE_IN:
        place = lobe.root_in + OUT_ARROW_AT * lobe.length_in * lobe.axis
        _arrow(axes, place, np.sign(move.out_in) * lobe.axis, decimals(move.out_in, 3), 0.2 * across)


def _arrow(axes: Axes, middle: Array, way: Array, words: str, aside: Array) -> None:
    style: dict[str, Any] = {"arrowstyle": "-|>", "linewidth": 1.3, "color": "0.0", "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", xy=tuple(middle + ARROW_IN / 2 * way), xytext=tuple(middle - ARROW_IN / 2 * way), arrowprops=style)
    _note(axes, middle + aside, words)


def _note(axes: Axes, place: Array, words: str) -> None:
    plate = {"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.85}
    axes.text(place[0], place[1], words, fontsize=SMALL, ha="center", va="center", bbox=plate)


def _legend(plan: Plan, times: int) -> list[str]:
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
                times=times,
            )
        )
    lines.append(
        say(
            "Arrow at a point: how far it goes aside. Arrow across a lobe: how far its root does; along it: "
            "how far all of it goes in or out."
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


def _foot(plan: Plan) -> str:
    if not plan.eases:
        return say("No wood has to come off: it closes by moving alone, as far as the photo shows.")
    return say("Move first; ease only what still binds; test after each stroke. Wood can't be put back.")
