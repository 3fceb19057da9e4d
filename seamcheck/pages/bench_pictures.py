"""The pictures on a bench sheet: the annotated photo, and every point enlarged with its gauge."""

from __future__ import annotations

from ..basis.language import say
from ..report.overlay_canvas import Box, Canvas, Image
from ..report.overlay_inset import GAUGE_PX, draw_inset, view_of
from ..report.overlay_photo import annotate, draw_photo, panel_view
from ..report.overlay_plan import PlanMap
from ..report.words import clock_of, round_the_top
from ..result import Inspection, Stage
from .pictures import Picture, jpeg

PHOTO_PX = 1500  # the photo's longest side: 300 to the inch and more on paper
TIP_PX, WOOD_ASPECT = 340, 0.82  # a tip's width, and its wood's height over that


def photo_picture(bgr: Image, inspection: Inspection, most_px: int = PHOTO_PX) -> Picture:
    """The photo, cropped to what was found, with the edges, seams, points and gaping joints drawn in. most_px: its longest side."""
    panel = panel_view(inspection, most_px, most_px)
    canvas = Canvas.blank(panel.width, panel.height)
    draw_photo(canvas, bgr, panel)
    annotate(canvas, inspection, panel)
    return jpeg(canvas.finished(), say("The photo, with every edge, seam and point that was found drawn in."))


def tip_pictures(bgr: Image, inspection: Inspection) -> list[Picture]:
    """Every point enlarged, going round the top."""
    plan = PlanMap(inspection)
    tolerance = None if inspection.stage is Stage.LOOSE else inspection.tolerance_in
    wood = round(WOOD_ASPECT * TIP_PX)
    pictures = []
    for tip in round_the_top(inspection):
        canvas = Canvas.blank(TIP_PX, wood + GAUGE_PX)
        view = view_of(tip, plan.local(tip), TIP_PX, wood, tolerance)
        draw_inset(canvas.part(Box(0, 0, TIP_PX, wood + GAUGE_PX)), bgr, tip, view, tolerance)
        place = "" if tip.verdict is None else f", {clock_of(tip.bearing)}"
        pictures.append(jpeg(canvas.finished(), say("The point of lobe {lobe}{place}, enlarged.", lobe=tip.lobe, place=place)))
    return pictures
