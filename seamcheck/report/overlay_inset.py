"""One tip, enlarged: its wood seen straight from above, turned so that the seam runs up, clockwise to the right.

Two lines come down to a gauge beneath the wood: the seam's, dashed, to zero, and the tip's, to its measured
offset. What stands between them is the offset, at the scale of the wood above; the bracket on it is its u95,
the shaded band the tolerance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.units import lengths
from ..result import Tip, Verdict
from .overlay_canvas import Box, Canvas, Image, dashes
from .overlay_palette import FAINT_INK, INK, LINE_COLOURS, MARK_COLOURS, PAPER, SUPPOSED_DASH, VOID, kind_of
from .overlay_words import edges_supposed, offset_shown

WINDOW_IN = 0.36  # across: four thousandths show, and there is seam enough to judge by
# In a small photo fewer pixels than this across are only smears: show more wood instead, up to a limit.
WINDOW_LEAST_PX = 36
COARSE_MOST_IN = 0.60
# A window grows with the offset that it has to hold, until nothing small could be seen in it.
WINDOW_MOST_IN = 1.2
TIP_HEIGHT = 0.54  # of the wood's height, down from its top
GAUGE_PX = 62  # height of the gauge


@dataclass(frozen=True)
class InsetView:
    """Where an inset looks. Inset frame: pixels of the wood's picture, x right (clockwise), y down (inward)."""

    foot_px: Array  # (2,) photo: the seam at the tip; with no seam to show, where the offset puts it, or else the tip
    right_px: Array  # (2,) photo pixels per inch to the right
    up_px: Array  # (2,) photo pixels per inch up
    px_per_in: float  # of the inset
    foot_xy: Array  # (2,) inset: where the foot is drawn
    seam_known: bool

    def xy_of(self, px: Array) -> Array:
        """Inset pixels (..., 2) of photo pixels (..., 2)."""
        inches = (np.asarray(px, float) - self.foot_px) @ np.linalg.inv(np.stack([self.right_px, self.up_px]))
        return np.asarray(self.foot_xy + inches * np.array([self.px_per_in, -self.px_per_in]))

    @property
    def photo_from_inset(self) -> Array:
        """(2, 3) affine: photo pixels of inset pixels."""
        per_px = np.stack([self.right_px, -self.up_px], axis=-1) / self.px_per_in
        return np.concatenate([per_px, (self.foot_px - per_px @ self.foot_xy)[:, None]], axis=1)


def view_of(tip: Tip, px_per_plan_in: Array, width: int, height: int, tolerance_in: float | None) -> InsetView:
    """The view for a tip. `px_per_plan_in`: (2, 2) local map, photo pixels per inch in plan."""
    plan_from_px = np.linalg.inv(px_per_plan_in)
    tip_px = np.asarray(tip.tip_px, float)
    seam = tip.own_seam_px if tip.verdict is None else tip.seam_px
    offset = offset_shown(tip)
    if seam is not None:
        a, b = np.asarray(seam, float)
    else:
        spine = tip.own_seam_px if tip.own_seam_px is not None else np.asarray(tip.outline_px, float)[[0, 2]]
        a, b = np.asarray(spine, float)
    up = plan_from_px @ (b - a)
    up /= np.hypot(*up)
    foot_px = tip_px
    if seam is not None:
        foot_px = a + px_per_plan_in @ (up * float(up @ (plan_from_px @ (tip_px - a))))
    elif offset is not None:
        foot_px = tip_px - px_per_plan_in @ (right_of(up) * offset.value)
    right = right_of(up)
    aside = abs(float(right @ (plan_from_px @ (tip_px - foot_px))))
    reach = max(aside, tolerance_in or 0.0)
    if offset is not None:
        reach = max(reach, abs(offset.value) + offset.u95)
    coarse = WINDOW_LEAST_PX / float(np.sqrt(abs(np.linalg.det(px_per_plan_in))))
    window = max(WINDOW_IN, min(coarse, COARSE_MOST_IN), min(2.3 * reach, WINDOW_MOST_IN))
    return InsetView(
        foot_px=foot_px,
        right_px=px_per_plan_in @ right,
        up_px=px_per_plan_in @ up,
        px_per_in=width / window,
        foot_xy=np.array([(width - 1) / 2, TIP_HEIGHT * (height - 1)]),
        seam_known=seam is not None,
    )


def lean_in(tip: Tip, view: InsetView) -> float | None:
    """How far to the right of its plan place the photo shows the tip (inches): the raised face's lean, across the seam."""
    offset = offset_shown(tip)
    if offset is None or not view.seam_known:
        return None
    return float(view.xy_of(tip.tip_px)[0] - view.foot_xy[0]) / view.px_per_in - offset.value


def draw_wood(photo: Image, view: InsetView, width: int, height: int) -> Image:
    """The photo about the tip, resampled (bicubic, its own gamma)."""
    import cv2

    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    void = VOID[::-1]
    return np.asarray(
        cv2.warpAffine(photo, view.photo_from_inset, (width, height), flags=flags, borderMode=cv2.BORDER_CONSTANT, borderValue=void)
    )


def draw_inset(canvas: Canvas, photo: Image, tip: Tip, view: InsetView, tolerance_in: float | None) -> None:
    """Wood above, gauge below, on the whole of the canvas."""
    width, whole = int(canvas.box.width), int(canvas.box.height)
    height = whole - GAUGE_PX
    wood = canvas.part(Box(0, 0, width, height))
    wood.paste(draw_wood(photo, view, width, height))
    middle, foot_y = view.foot_xy
    offset = offset_shown(tip)

    _, left, point, right = view.xy_of(tip.outline_px)
    crossing = view.xy_of(tip.tip_px)
    edges = [np.stack([point, left]), np.stack([point, right])]
    if edges_supposed(tip):
        edges = [piece for edge in edges for piece in dashes(edge[0], edge[1], *SUPPOSED_DASH)]
    wood.cased(edges, LINE_COLOURS["outline"], 1, opacity=0.75)

    if view.seam_known:
        if tolerance_in is not None:
            for side in (-1, 1):
                x = middle + side * tolerance_in * view.px_per_in
                wood.cased([np.array([[x, 0], [x, height]])], PAPER, 1, opacity=0.35)
        above = np.array([[middle, foot_y - 14], [middle, 0.0]])
        below = np.array([[middle, foot_y + 14], [middle, float(height)]])
        # Beyond the tip far apart, so that the wood's own seam shows between; inward close, where it is only continued.
        wood.cased(dashes(above[0], above[1], 16, 34), LINE_COLOURS["seam"], 2)
        wood.cased(dashes(below[0], below[1], 14, 10), LINE_COLOURS["seam"], 2)
    colour = MARK_COLOURS[kind_of(tip)]
    if offset is not None and tip.verdict is not Verdict.UNMEASURED:
        x = middle + offset.value * view.px_per_in
        wood.cased([np.array([[x, crossing[1]], [x, height]])], colour, 2, casing=PAPER)
    wood.ring(crossing, 13, PAPER, 2)
    _draw_gauge(canvas.part(Box(0, height, width, whole)), tip, view, tolerance_in)
    canvas.stroke(np.array([[0, 0], [width - 1, 0], [width - 1, whole - 1], [0, whole - 1]]), INK, 1, closed=True)


def _draw_gauge(gauge: Canvas, tip: Tip, view: InsetView, tolerance_in: float | None) -> None:
    width, height = gauge.box.width, gauge.box.height
    gauge.fill(gauge.box, PAPER)
    middle, k = float(view.foot_xy[0]), view.px_per_in
    offset = offset_shown(tip)
    measured = offset is not None and tip.verdict is not Verdict.UNMEASURED
    if tolerance_in is not None and measured:
        gauge.fill(Box(middle - tolerance_in * k, 0, middle + tolerance_in * k, height), VOID, 0.8)
    tick = lengths().tick_in * k
    ticks = int((width / 2 - 2) / tick)
    for n in range(-ticks, ticks + 1):
        x = middle + n * tick
        gauge.stroke([[x, height - (15 if n % 2 else 22)], [x, height]], INK if n == 0 else FAINT_INK, 2)
    if offset is None or not measured:
        return
    colour = MARK_COLOURS[kind_of(tip)]
    y, x = 18.0, middle + offset.value * k
    half = offset.u95 * k
    bar = np.array([[middle, y - 7], [x, y - 7], [x, y + 7], [middle, y + 7]])
    gauge.stroke(bar, INK, 3, closed=True)
    gauge.polygon(bar, colour)
    for end in (x - half, x + half):
        gauge.stroke([[end, y - 12], [end, y + 12]], INK, 2)
    gauge.stroke([[x - half, y], [x + half, y]], INK, 2)
    gauge.stroke([[middle, 0], [middle, height]], INK, 3)
