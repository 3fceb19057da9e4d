"""Cut lobes on one page: the best round with every lobe's number, what binds and gapes, and where each lies in its photo. Greys."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from textwrap import wrap
from typing import TYPE_CHECKING

import numpy as np

from ..advise.lobe_lots import Lots, NoOrder
from ..advise.lobe_order import LaidLobe, Order
from ..advise.lobe_sort import Limits, Lot, Sorted
from ..basis.frames import Array, right_of, unit_of_bearing
from ..basis.language import say
from ..basis.units import lengths
from .lobes_text import LOT_MARKS, LOT_WORDS, no_order_words
from .loose_reading import LooseSet
from .picture_file import marked
from .words import decimals, list_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAGE_IN = (8.5, 11.0)
DOTS_PER_IN = 150
ROSE_HIGH_IN = 6.75  # of the page
BENCH_TOP, BENCH_HIGH = 0.285, 0.225  # of the page's height, from below; the words above it stand on BENCH_TOP
LONE_BENCH_TOP, LONE_BENCH_HIGH = 0.83, 0.55  # where there is no round
REASON_LETTERS = 105  # to a line of the usual type
MOST_BENCHES = 4  # photos drawn side by side
MARGIN_IN = 0.55  # round the tips
DARK_GREY, MISSING_GREY = "0.72", "0.93"
NAME_SIZE, NOTE_SIZE, USUAL = 12, 7.5, 8.5  # type, points
NAME_AT = 0.52  # of a lobe's length, from its root


def lobes_picture(found: LooseSet, sorted_out: Lots, limits: Limits, unmeasured: Sequence[int], suffix: str) -> bytes:
    """The page's bytes, as a .png or .jpg file that is marked as ours. unmeasured: seams that are taken for even."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=PAGE_IN, dpi=DOTS_PER_IN, facecolor="white")
    FigureCanvasAgg(figure)
    figure.text(
        0.05,
        0.967,
        say("Cut lobes") if isinstance(sorted_out.order, NoOrder) else say("Cut lobes: the round with the least planing"),
        fontsize=13,
        weight="bold",
    )
    lots = {one.lobe.name: one for one in sorted_out.sorted}
    if isinstance(sorted_out.order, NoOrder):
        reason = "\n".join(wrap(no_order_words(sorted_out), REASON_LETTERS))
        words = "\n".join([reason, *_bench_legend(sorted_out)])
        figure.text(0.05, 0.945, words, fontsize=USUAL, va="top", linespacing=1.25)
        _draw_benches(figure, found, lots, LONE_BENCH_TOP, LONE_BENCH_HIGH)
    else:
        share = ROSE_HIGH_IN / PAGE_IN[1]
        axes = figure.add_axes((0.03, 0.955 - share, 0.94, share))
        _draw_round(axes, sorted_out.order, lots, limits, unmeasured)
        legend = "\n".join([*_round_legend(unmeasured), *_bench_legend(sorted_out)])
        figure.text(0.05, BENCH_TOP + 0.033, legend, fontsize=USUAL, va="center", linespacing=1.25)
        _draw_benches(figure, found, lots, BENCH_TOP - 0.02, BENCH_HIGH)
        figure.text(
            0.05, 0.022, say("Lay it dry in this order and photograph it before any wood comes off."), fontsize=USUAL, weight="bold"
        )
    file = BytesIO()
    kind = "png" if suffix.lower() == ".png" else "jpeg"
    figure.savefig(file, format=kind, metadata={"Software": None} if kind == "png" else None)
    return marked(file.getvalue())


def _placed(one: LaidLobe, order: Order) -> Array:
    """(4, 2) corners about the rose's centre, the tip on its seam."""
    flat = one.shape.corners_in
    outward = unit_of_bearing(one.place.bearing)
    across = right_of(outward)
    root = _root_in(one, order)
    return np.asarray(root * outward + flat[:, :1] * across + flat[:, 1:] * outward)


def _root_in(one: LaidLobe, order: Order) -> float:
    """How far from the centre a lobe's root lies: in a later ring, where its neighbours' shoulders leave it."""
    if one.place.ring == 1:
        return 0.0
    earlier = [other for other in order.laid if other.place.ring == one.place.ring - 1]
    shorts = [np.mean([other.shape.left_short_in, other.shape.right_short_in]) for other in earlier]
    base = _root_in(earlier[0], order)
    if one.place.ring == 2:
        return float(np.mean(shorts))
    # The shoulder of the ring before lies on this ring's own seam.
    angle = np.mean([(other.shape.left_root + other.shape.right_root) / 2 for other in earlier])
    along, across = np.cos(angle) * np.mean(shorts), np.sin(angle) * np.mean(shorts)
    return float(np.hypot(base + along, across))


def _draw_round(axes: Axes, order: Order, lots: dict[str, Sorted], limits: Limits, unmeasured: Sequence[int]) -> None:
    axes.set_aspect("equal")
    axes.set_axis_off()
    corners = [_placed(one, order) for one in order.laid]
    reach = max(float(np.hypot(*outline[2])) for outline in corners) + MARGIN_IN
    axes.set_xlim(-reach * 1.05, reach * 1.05)
    axes.set_ylim(-reach, reach)
    for one, outline in zip(order.laid, corners, strict=True):
        _draw_lobe(axes, one, outline, lots, one.place.seam in unmeasured)
    for joint in order.measured():
        # A notch's joint lies on the later lobe's short edge; a first ring's between two of them.
        later = max(joint.lobes, key=lambda k: order.laid[k].place.ring)
        outline = corners[later]
        shoulder = outline[1] if later == joint.lobes[1] else outline[3]
        at = outline[0] + 0.72 * (shoulder - outline[0])
        if joint.binds_in > limits.full_in:
            _note(axes, at, say("ease {size}", size=decimals(joint.binds_in, 3)), "white", "0.0", "bold")
        elif joint.opening.value > limits.short_in:
            _note(axes, at, say("gapes {size}", size=decimals(joint.opening.value, 3)), "white", "0.35", "normal")


def _draw_lobe(axes: Axes, one: LaidLobe, outline: Array, lots: dict[str, Sorted], supposed: bool) -> None:
    closed = np.vstack([outline, outline[:1]])
    if one.lobe is None:
        axes.fill(*closed.T, facecolor=MISSING_GREY, edgecolor="0.5", linewidth=0.9, linestyle="--")
    else:
        axes.fill(*closed.T, facecolor="1.0", edgecolor="0.2", linewidth=0.9)
        dark = outline[[0, 3, 2]] if one.lobe.dark_side == "cw" else outline[[0, 1, 2]]
        if one.lobe.dark_side is not None:
            axes.fill(*dark.T, facecolor=DARK_GREY, edgecolor="0.4", linewidth=0.5)
    way = (outline[2] - outline[0]) / np.hypot(*(outline[2] - outline[0]))
    seam = outline[2] + np.outer([0.04, MARGIN_IN * 0.45], way)
    axes.plot(*seam.T, color="0.5", linestyle=(0, (6, 3)), linewidth=0.8)
    at = outline[2] + MARGIN_IN * 0.72 * way
    seam = say("seam {seam}?", seam=one.place.seam) if supposed else say("seam {seam}", seam=one.place.seam)
    # On a plate: sideways the words are longer than the line leaves room for.
    plate = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
    axes.text(at[0], at[1], seam, fontsize=NOTE_SIZE, ha="center", va="center", color="0.3", bbox=plate)
    name = say("to cut") if one.lobe is None else one.lobe.name
    place = outline[0] + NAME_AT * (outline[2] - outline[0])
    plate = {"facecolor": "white", "edgecolor": "0.4", "pad": 1.8, "linewidth": 0.6}
    axes.text(place[0], place[1], name, fontsize=NAME_SIZE, weight="bold", ha="center", va="center", bbox=plate)
    if one.lobe is not None and lots[one.lobe.name].lot is Lot.CUT_AGAIN:
        below = outline[0] + (NAME_AT + 0.17) * (outline[2] - outline[0])
        _note(axes, below, say("cut again"), "white", "0.0", "normal")


def _note(axes: Axes, place: Array, words: str, ground: str, ink: str, weight: str) -> None:
    plate = {"facecolor": ground, "edgecolor": "none", "pad": 0.8, "alpha": 0.9}
    axes.text(place[0], place[1], words, fontsize=NOTE_SIZE, ha="center", va="center", color=ink, weight=weight, bbox=plate, zorder=5)


def _round_legend(unmeasured: Sequence[int]) -> list[str]:
    lines = [
        say(
            "Seen from above; grey halves are the dark wood; dashed: the field's seams, every point on its own. At shoulders, in {unit}:",
            unit=lengths().plural,
        ),
        say("ease: the joint binds, and so much comes off there, nothing at the root; gapes: it stays so much open."),
    ]
    if unmeasured:
        lines.append(say("A seam with a question mark wasn't measured and is taken for even: fit the lobes there and beside it last."))
    return lines


def _bench_legend(sorted_out: Lots) -> list[str]:
    lines = []
    if any(one.lobe.turned_over for one in sorted_out.sorted):
        over = list_words([one.lobe.name for one in sorted_out.sorted if one.lobe.turned_over])
        lines.append(say("Turned over, since their dark half lay on the other hand: {lobes}.", lobes=over))
    marks = ", ".join(f"{mark} {say(LOT_WORDS[lot])}" for lot, mark in LOT_MARKS.items())
    lines.append(say("Below: the lobes as they lie in the photos, with what to do: {marks}.", marks=marks))
    return lines


def _draw_benches(figure: Figure, found: LooseSet, lots: dict[str, Sorted], top: float, high: float) -> None:
    """Every photo's lobes where they lie, small."""
    count = min(len(found.photos), MOST_BENCHES)
    width = 0.92 / max(count, 1)
    for photo in range(count):
        axes = figure.add_axes((0.04 + photo * width, top - high, width * 0.97, high))
        mine = [one for one in lots.values() if one.lobe.photo == photo]
        _draw_bench(axes, mine, found.photos[photo] if count > 1 else "")


def _draw_bench(axes: Axes, mine: Sequence[Sorted], title: str) -> None:
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.set_yticks([])
    for border in axes.spines.values():
        border.set_color("0.7")
    if title:
        axes.set_title(title, fontsize=NOTE_SIZE, pad=2)
    for one in mine:
        outline = one.lobe.outline_px * [1, -1]
        axes.fill(*np.vstack([outline, outline[:1]]).T, facecolor="1.0", edgecolor="0.2", linewidth=0.8)
        side = {"cw": "ccw", "ccw": "cw"}.get(one.lobe.dark_side or "") if one.lobe.turned_over else one.lobe.dark_side
        if side is not None:
            axes.fill(*outline[[0, 3, 2] if side == "cw" else [0, 1, 2]].T, facecolor=DARK_GREY, edgecolor="none")
        middle = outline.mean(axis=0)
        plate = {"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.85}
        axes.text(middle[0], middle[1], f"{one.lobe.name} {LOT_MARKS[one.lot]}", fontsize=USUAL, ha="center", va="center", bbox=plate)
    axes.margins(0.06)
