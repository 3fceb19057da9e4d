"""The rose in its recess as a picture: the photo with both outlines, the room drawn many times as wide, and every point enlarged."""

from __future__ import annotations

import numpy as np

from ..basis.frames import Array
from ..basis.language import say, to_say
from ..basis.units import lengths
from ..result import Room, SeatedEdge, SeatedPoint, Seating
from .overlay_canvas import Box, Canvas, Image, dashes, wrapped
from .overlay_legend import BODY_PX, TITLE_PX, Item, draw_items, flowed, line_px
from .overlay_palette import INK, LINE_COLOURS, MARK_COLOURS, PAPER, VOID
from .overlay_photo import LABEL_PX, Labels, PanelView, _plate, draw_photo
from .seat_text import cautions
from .seat_words import POINT_WORDS, ROOM_MARKS, ROOM_WORDS, counts_words, room_words, seat_sentence, turn_words, uncut_words
from .words import clock_of, limit_words

PAGE_PX, MARGIN_PX, GAP_PX, PHOTO_MOST_PX = 2160, 40, 24, 1700
AROUND_IN = 0.8  # of the photo round the rose
LEAST_ASPECT = 1.24
TIMES = (40, 30, 25, 20, 15, 10, 6, 4)  # how much wider than it is the room may be drawn
WIDEST_DRAWN_IN = 0.32
INSET_IN = 0.9  # an inset's width on the top
INSET_ASPECT = 0.8
TIP_AT = 0.3  # an inset's tip stands so far down
COLUMNS = 4
BAND_OPACITY = 0.55
HEAD_PX = 46
JPEG_QUALITY, PNG_LEVEL = 90, 1
KINDS = {
    Room.TIGHT: to_say("tight: the rose would stand in the wood"),
    Room.FITS: to_say("fits"),
    Room.GAPES: to_say("gapes"),
    Room.UNSURE: to_say("too close to call"),
    Room.UNMEASURED: to_say("unmeasured"),
}


def seat_picture(bgr: Image, seating: Seating, suffix: str) -> bytes:
    """The page as a file's bytes (.png, .jpg or .jpeg) from the upright photo, uint8 (h, w, 3), blue first."""
    import cv2

    settings = [cv2.IMWRITE_PNG_COMPRESSION, PNG_LEVEL] if suffix.lower() == ".png" else [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY]
    done, data = cv2.imencode(suffix.lower(), compose(bgr, seating).finished(), settings)
    if not done:
        raise ValueError("The picture can't be encoded.")
    return bytes(data)


def compose(bgr: Image, seating: Seating) -> Canvas:
    """The page with all but its texts drawn."""
    inner = PAGE_PX - 2 * MARGIN_PX
    times = _times(seating)
    title, title_height = flowed(_title(seating), inner)
    legend, legend_height = flowed(_legend(seating, times), inner)
    panel = _panel(seating, inner)
    width = (inner - (COLUMNS - 1) * GAP_PX) // COLUMNS
    captions = [[piece for words in _caption(point) for piece in wrapped(words, BODY_PX, width - 8)] for point in seating.points]
    rows = [range(k, min(k + COLUMNS, len(captions))) for k in range(0, len(captions), COLUMNS)]
    wood = round(INSET_ASPECT * width)
    heights = [wood + 14 + line_px(HEAD_PX) + max(len(captions[k]) for k in row) * line_px(BODY_PX) + 30 for row in rows]
    photo_top = int(MARGIN_PX + title_height + GAP_PX)
    top = photo_top + panel.height + GAP_PX
    page = Canvas.blank(PAGE_PX, int(top + sum(heights) + legend_height + MARGIN_PX))
    draw_items(page.part(Box(MARGIN_PX, MARGIN_PX, PAGE_PX - MARGIN_PX, photo_top)), title)
    left = (PAGE_PX - panel.width) // 2
    photo = page.part(Box(left, photo_top, left + panel.width, photo_top + panel.height))
    draw_photo(photo, bgr, panel)
    _annotate(photo, seating, panel, times)
    for row, height in zip(rows, heights, strict=True):
        for column, k in enumerate(row):
            x = MARGIN_PX + column * (width + GAP_PX)
            _inset(page.part(Box(x, top, x + width, top + height)), bgr, seating, k, wood, captions[k])
        top += height
    draw_items(page.part(Box(MARGIN_PX, top, PAGE_PX - MARGIN_PX, page.box.y1)), legend)
    return page


def _title(seating: Seating) -> list[Item]:
    name = say("{photo}: the recess for the rose in {rose}", photo=seating.photo_name, rose=seating.rose_name)
    return [
        Item(name, TITLE_PX, bold=True, alone=True),
        Item(turn_words(seating), BODY_PX, alone=True),
        Item(say("Edges: {counts}.", counts=counts_words(seating)), BODY_PX, alone=True),
        Item(seat_sentence(seating), BODY_PX, bold=True, alone=True),
    ]


def _legend(seating: Seating, times: int) -> list[Item]:
    items = [
        Item(say("the recess's edge, as found"), sample="line outline"),
        Item(say("the rose's edge (in the photo drawn {times} times as far off as it lies)", times=times), sample="line seam"),
    ]
    shown = {edge.verdict for point in seating.points for edge in point.edges} | {point.verdict for point in seating.points}
    items += [Item(say(KINDS[room]), sample=ROOM_MARKS[room]) for room in Room if room in shown]
    how = say(
        "A band inside the recess is room, one outside of it is wood in the way; the brackets at its ends are its give or take. A gap may "
        "be {limit}. Thick dashes: wood that was routed but not pared. Insets are true to scale, {width} wide, the point upward.",
        limit=limit_words(seating.gap_tolerance_in),
        width=lengths().rule(INSET_IN, 16),
    )
    return [*items, Item(how, alone=True), Item(cautions(seating), bold=True, alone=True)]


def _times(seating: Seating) -> int:
    ends = [abs(end.value) for point in seating.points for edge in point.edges for end in (edge.at_notch, edge.at_tip) if end is not None]
    usual = float(np.quantile(ends, 0.9)) if ends else 0.01
    return next((times for times in TIMES if times * usual <= WIDEST_DRAWN_IN), TIMES[-1])


def _panel(seating: Seating, most_width: int) -> PanelView:
    points = np.concatenate([seating.rose_px, seating.recess_px])
    margin = AROUND_IN * seating.scale.px_per_in
    size = np.array(seating.size_px, float)
    low, high = np.maximum(points.min(axis=0) - margin, 0), np.minimum(points.max(axis=0) + margin, size)
    short_of = LEAST_ASPECT * (high[1] - low[1]) - (high[0] - low[0])
    if short_of > 0:
        low[0], high[0] = max(low[0] - short_of / 2, 0.0), min(high[0] + short_of / 2, size[0])
    crop = (int(low[0]), int(low[1]), int(np.ceil(high[0])), int(np.ceil(high[1])))
    scale = min(most_width / (crop[2] - crop[0]), PHOTO_MOST_PX / (crop[3] - crop[1]))
    return PanelView(crop, round((crop[2] - crop[0]) * scale), round((crop[3] - crop[1]) * scale))


def _ends_px(corners_px: Array, k: int, side: int) -> Array:
    """(2, 2): notch and tip of point k's left (0) or right (1) edge."""
    return np.stack([corners_px[(2 * k + (1 if side else -1)) % len(corners_px)], corners_px[2 * k]])


def _annotate(canvas: Canvas, seating: Seating, view: PanelView, times: int) -> None:
    recess, centre = view.xy_of(seating.recess_px), view.xy_of(seating.centre_px)
    scale = seating.scale.px_per_in * view.width / (view.crop[2] - view.crop[0])
    labels = Labels(canvas)
    sides = [(k, side) for k in range(len(seating.points)) for side in (0, 1)]
    before = canvas.pixels.copy()
    for k, side in sides:
        _band(canvas, seating.points[k].edges[side], _ends_px(recess, k, side), side, times * scale)
    canvas.pixels[:] = np.rint(canvas.pixels * BAND_OPACITY + before * (1 - BAND_OPACITY)).astype(np.uint8)
    canvas.cased([_ends_px(recess, k, side) for k, side in sides], LINE_COLOURS["outline"], 2)
    for k, side in sides:
        edge, ends = seating.points[k].edges[side], _ends_px(recess, k, side)
        _rose_line(canvas, edge, ends, side, times * scale)
        _standing(canvas, edge, ends, scale)
    for k, side in sides:
        edge, ends = seating.points[k].edges[side], _ends_px(recess, k, side)
        # Beside the wood that stands, where there is such, else about the middle.
        at = 1 - (edge.standing[0].to_in + 0.12) / edge.length_in if edge.standing else 0.45
        at = float(np.clip(at, 0.1, 0.8))
        canvas.mark(ROOM_MARKS[edge.verdict], (1 - at) * ends[0] + at * ends[1], 13)
        labels.keep_off_line(*ends)
    for k, point in enumerate(seating.points):
        tip = recess[2 * k]
        words = str(point.lobe)
        box = labels.place(tip, tip - centre, 58 + 0.62 * LABEL_PX * len(words), LABEL_PX + 12)
        _plate(canvas, box, tip, 10)
        canvas.mark(ROOM_MARKS[point.verdict], (box.x0 + 24, (box.y0 + box.y1) / 2), 12)
        canvas.write(words, box.x0 + 46, box.y0 + 2, LABEL_PX, bold=True)


def _outward(ends: Array, side: int) -> Array:
    """(2,) unit, on the picture (v down), out of the recess; ends from notch to tip of a left (0) or right (1) edge."""
    way = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    right = np.array([-way[1], way[0]])
    return right if side else -right


def _drawn(edge: SeatedEdge, ends: Array, side: int, by: float) -> Array | None:
    """(2, 2): the rose's edge beside the recess's, its distance `by` pixels an inch."""
    if edge.at_notch is None or edge.at_tip is None:
        return None
    room = np.array([edge.at_notch.value, edge.at_tip.value])
    # The very ends stay free: there two edges meet, and both would be drawn over each other.
    shares = np.array([[0.1], [0.85]])
    at = ends[0] + shares * (ends[1] - ends[0])
    return at - (room[0] + shares * (room[1] - room[0])) * by * _outward(ends, side)


def _band(canvas: Canvas, edge: SeatedEdge, ends: Array, side: int, by: float) -> None:
    drawn = _drawn(edge, ends, side, by)
    if drawn is None:
        return
    along = ends[0] + np.array([[0.1], [0.85]]) * (ends[1] - ends[0])
    first, last = (drawn - along) @ _outward(ends, side)
    binds = any(end is not None and end.value + end.u95 < 0 for end in (edge.at_notch, edge.at_tip))
    # Wood that stands makes an edge tight, whatever room there is beside it.
    colour = MARK_COLOURS[ROOM_MARKS[Room.UNSURE if edge.standing and not binds else edge.verdict]]
    if first * last >= 0:
        canvas.polygon(np.stack([along[0], along[1], drawn[1], drawn[0]]), colour)
        return
    cross = along[0] + first / (first - last) * (along[1] - along[0])
    canvas.polygon(np.stack([along[0], cross, drawn[0]]), colour)
    canvas.polygon(np.stack([along[1], cross, drawn[1]]), colour)


def _rose_line(canvas: Canvas, edge: SeatedEdge, ends: Array, side: int, by: float) -> None:
    drawn = _drawn(edge, ends, side, by)
    if drawn is None or edge.at_notch is None or edge.at_tip is None:
        return
    canvas.cased(dashes(drawn[0], drawn[1], 16, 9), LINE_COLOURS["seam"], 2)
    across, along = _outward(ends, side), (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    for at, end in zip(drawn, (edge.at_notch, edge.at_tip), strict=True):
        half = min(end.u95 * by, 90.0)
        whisker = np.stack([at - half * across, at + half * across])
        caps = [np.stack([tip - 7 * along, tip + 7 * along]) for tip in whisker] if half < 90.0 else []
        canvas.cased([whisker, *caps], PAPER, 1)


def _standing(canvas: Canvas, edge: SeatedEdge, ends: Array, scale: float) -> None:
    length = float(np.hypot(*(ends[1] - ends[0])))
    way = (ends[0] - ends[1]) / length
    for one in edge.standing:
        a, b = ends[1] + min(one.from_tip_in * scale, length) * way, ends[1] + min(one.to_in * scale, length) * way
        for piece in dashes(a, b, 12, 8):
            canvas.stroke(piece, PAPER, 13)
            canvas.stroke(piece, MARK_COLOURS["off"], 9)


def _inset(canvas: Canvas, bgr: Image, seating: Seating, k: int, height: int, caption: list[str]) -> None:
    """One point upward, true to scale, with its lines, and what is said of it."""
    import cv2

    point, width = seating.points[k], int(canvas.box.width)
    count = len(seating.recess_px)
    tip = seating.recess_px[2 * k]
    base = (seating.recess_px[2 * k - 1] + seating.recess_px[(2 * k + 1) % count]) / 2
    up = (tip - base) / np.hypot(*(tip - base))
    right = np.array([-up[1], up[0]])
    scale = width / (INSET_IN * seating.scale.px_per_in)
    turn = scale * np.stack([right, -up])  # photo -> inset, about the tip
    at = np.array([width / 2, TIP_AT * height])
    matrix = np.column_stack([turn, at - turn @ tip])
    picture = canvas.part(Box(0, 0, width, height))
    border = tuple(int(value) for value in VOID[::-1])
    picture.paste(
        np.asarray(cv2.warpAffine(bgr, matrix, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_CONSTANT, borderValue=border))
    )

    def placed(points: Array) -> Array:
        return np.asarray(points @ turn.T + matrix[:, 2])

    for side in (0, 1):
        picture.cased([placed(_ends_px(seating.recess_px, k, side))], LINE_COLOURS["outline"], 1)
    for side in (0, 1):
        ends = placed(_ends_px(seating.rose_px, k, side))
        picture.cased(dashes(ends[1], ends[0], 14, 12), LINE_COLOURS["seam"], 1)
    if point.uncut_in is not None:
        picture.ring(
            at + np.array([0.0, point.uncut_in * seating.scale.px_per_in * scale / 2]),
            0.5 * point.uncut_in * seating.scale.px_per_in * scale + 10,
            MARK_COLOURS["off"],
            3,
        )
    corners = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]])
    picture.stroke(corners, INK, 2, closed=True)
    y = height + 14
    canvas.mark(ROOM_MARKS[point.verdict], (24, y + 0.58 * HEAD_PX), 0.32 * HEAD_PX)
    canvas.write(say("{lobe}: {verdict}", lobe=point.lobe, verdict=say(POINT_WORDS[point.verdict])), 56, y, HEAD_PX, bold=True)
    y += line_px(HEAD_PX)
    for line in caption:
        canvas.write(line, 4, y, BODY_PX)
        y += line_px(BODY_PX)


def _caption(point: SeatedPoint) -> list[str]:
    lines = [clock_of(point.bearing)]
    if point.beyond is not None:
        lines.append(say("beyond: {room}", room=room_words(point.beyond)))
    uncut = uncut_words(point)
    if uncut is not None:
        lines.append(uncut)
    for name, edge in zip((say("left"), say("right")), point.edges, strict=True):
        lines.append(f"{name}: {say(ROOM_WORDS[edge.verdict])}")
        if edge.at_notch is not None and edge.at_tip is not None:
            lines.append(say("notch {room}", room=room_words(edge.at_notch)))
            lines.append(say("point {room}", room=room_words(edge.at_tip)))
    return lines
