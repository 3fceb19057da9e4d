"""The annotated picture: the photo with what was found, an enlarged inset for every tip, and what the marks mean.

Page frame and colour order: see `overlay_canvas`. A page is 2160 px wide, whatever the photo: at the 1080 px
of a phone its smallest print is still set in 17 px, on a sheet of paper about 8 point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..result import Inspection, Stage, Tip
from .overlay_bare import bare_height, draw_bare
from .overlay_canvas import Box, Canvas, Image, fitting_size, wrapped
from .overlay_inset import GAUGE_PX, InsetView, draw_inset, lean_in, view_of
from .overlay_legend import BODY_PX, draw_items, flowed, legend_items, line_px, title_items
from .overlay_palette import kind_of
from .overlay_photo import annotate, draw_photo, panel_view
from .overlay_plan import PlanMap
from .overlay_words import caption
from .words import round_the_top

PAGE_PX = 2160
MARGIN_PX = 40
GAP_PX = 24
PHOTO_MOST_PX = 1760  # height of the photo's panel
WOOD_ASPECT = 0.82  # height over width of an inset's wood
HEAD_PX = 50
LEAN_SHOWN_IN = 0.003  # what can be seen at an inset's scale
JPEG_QUALITY = 92
PNG_LEVEL = 1  # the highest packs a photo 15 % smaller, and takes five times as long


def draw_picture(bgr: Image, inspection: Inspection) -> Image:
    """The page, uint8 (h, w, 3), blue first, from the upright photo, uint8 (h, w, 3), blue first.

    The same photo and inspection give the same pixels. Raises ValueError where the photo isn't of the size
    that the inspection was made from.
    """
    return compose(bgr, inspection).finished()


def picture_bytes(bgr: Image, inspection: Inspection, suffix: str = ".png") -> bytes:
    """The page as a file's bytes; `suffix` (".png", ".jpg" or ".jpeg") says which kind. Byte for byte repeatable.

    Raises ValueError for another suffix.
    """
    import cv2

    settings = {
        ".png": [cv2.IMWRITE_PNG_COMPRESSION, PNG_LEVEL],
        ".jpg": [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY],
        ".jpeg": [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY],
    }
    if suffix.lower() not in settings:
        raise ValueError(f"A picture's name ends in .png or .jpg, not {suffix!r}.")
    done, data = cv2.imencode(suffix.lower(), draw_picture(bgr, inspection), settings[suffix.lower()])
    if not done:
        raise ValueError("The picture can't be encoded.")
    return bytes(data)


@dataclass(frozen=True)
class _Cell:
    """One inset with its caption, laid out but not yet placed."""

    tip: Tip
    view: InsetView
    head: str
    lines: list[str]


def _columns_for(count: int) -> int:
    """As few empty places as can be, and never insets too small for their captions."""
    return 3 if count in (1, 2, 3, 5, 6, 9) else 4


def _tolerance_of(inspection: Inspection) -> float | None:
    """What the insets shade: the field seam's tolerance says nothing of a loose lobe."""
    return None if inspection.stage is Stage.LOOSE else inspection.tolerance_in


def _cells(inspection: Inspection, width: int) -> list[_Cell]:
    plan = PlanMap(inspection)
    cells = []
    for tip in round_the_top(inspection):
        view = view_of(tip, plan.local(tip), width, round(WOOD_ASPECT * width), _tolerance_of(inspection))
        head, lines = caption(tip, tip.lobe in inspection.odd_lobes)
        cells.append(_Cell(tip, view, head, [piece for line in lines for piece in wrapped(line, BODY_PX, width - 8)]))
    return cells


def _lean_worth_saying(inspection: Inspection, cells: list[_Cell]) -> float:
    """The largest lean across a seam (inches), or 0 where none can be seen."""
    if inspection.stage is not Stage.DRY_FIT:
        return 0.0
    most = max((abs(lean) for cell in cells if (lean := lean_in(cell.tip, cell.view)) is not None), default=0.0)
    return most if most >= LEAN_SHOWN_IN else 0.0


def compose(bgr: Image, inspection: Inspection) -> Canvas:
    """The page with all but its texts drawn; those it lists, each with its box and the room it has to stay in."""
    if bgr.dtype != np.uint8 or bgr.shape != (inspection.size_px[1], inspection.size_px[0], 3):
        raise ValueError(
            f"The picture needs the upright photo of {inspection.size_px} pixels in 8-bit colour, not {bgr.shape} {bgr.dtype}."
        )
    inner = PAGE_PX - 2 * MARGIN_PX
    columns = _columns_for(len(inspection.tips))
    cell_width = (inner - (columns - 1) * GAP_PX) // columns
    cells = _cells(inspection, cell_width)
    rows = [cells[i : i + columns] for i in range(0, len(cells), columns)]
    inset_height = round(WOOD_ASPECT * cell_width) + GAUGE_PX
    row_heights = [inset_height + 14 + line_px(HEAD_PX) + max(len(cell.lines) for cell in row) * line_px(BODY_PX) + 36 for row in rows]

    title, title_height = flowed(title_items(inspection), inner)
    legend, legend_height = flowed(legend_items(inspection, _lean_worth_saying(inspection, cells)), inner)
    panel = panel_view(inspection, inner, PHOTO_MOST_PX)
    photo_top = int(MARGIN_PX + title_height + GAP_PX)
    grid_top = photo_top + panel.height + GAP_PX
    shows_bare = inspection.bare is not None and inspection.centre_px is not None
    legend_top = grid_top + sum(row_heights) + (bare_height(inner) if shows_bare else 0)
    page = Canvas.blank(PAGE_PX, int(legend_top + legend_height + MARGIN_PX))

    draw_items(page.part(Box(MARGIN_PX, MARGIN_PX, PAGE_PX - MARGIN_PX, photo_top)), title)
    left = (PAGE_PX - panel.width) // 2
    photo = page.part(Box(left, photo_top, left + panel.width, photo_top + panel.height))
    draw_photo(photo, bgr, panel)
    annotate(photo, inspection, panel)
    top = grid_top
    for row, height in zip(rows, row_heights, strict=True):
        for column, cell in enumerate(row):
            x = MARGIN_PX + column * (cell_width + GAP_PX)
            _draw_cell(page.part(Box(x, top, x + cell_width, top + height)), bgr, cell, inset_height, _tolerance_of(inspection))
        top += height
    if shows_bare:
        draw_bare(page.part(Box(MARGIN_PX, grid_top, PAGE_PX - MARGIN_PX, grid_top + bare_height(inner))), bgr, inspection)
    draw_items(page.part(Box(MARGIN_PX, legend_top, PAGE_PX - MARGIN_PX, page.box.y1)), legend)
    return page


def _draw_cell(canvas: Canvas, bgr: Image, cell: _Cell, inset_height: int, tolerance_in: float | None) -> None:
    draw_inset(canvas.part(Box(0, 0, canvas.box.width, inset_height)), bgr, cell.tip, cell.view, tolerance_in)
    y = inset_height + 14
    canvas.mark(kind_of(cell.tip), (24, y + 0.58 * HEAD_PX), 0.32 * HEAD_PX)
    canvas.write(cell.head, 56, y, fitting_size(cell.head, HEAD_PX, canvas.box.width - 60, bold=True), bold=True)
    y += line_px(HEAD_PX)
    for line in cell.lines:
        canvas.write(line, 4, y, BODY_PX)
        y += line_px(BODY_PX)
