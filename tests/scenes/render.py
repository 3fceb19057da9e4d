"""A scene as a photo: every layer is painted in linear light at two samples to a pixel's side, then averaged.

An edge covers a sample by as much as its distance says, so that it lies where it should to a few thousandths of a pixel. The
rose's walls are painted as layers between the field's face and the rose's, which is what a leaning eye sees of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import cv2
import numpy as np

from .draw import Card, Scene, Tape
from .geometry import Lobe, along, direction, right
from .light import PLAN_PPI, light_below
from .woods import SHEET_PPI, WOODS, reflectance, sheet

Array = np.ndarray
FINE = 2  # samples to a pixel's side
PAPER, INK = np.array([0.80, 0.81, 0.80]), np.array([0.035, 0.034, 0.033])
PAPER_IN = 0.004
CARD_PPI = 320  # of a card's drawing: a square's and a module's edges fall between its pixels
WALLS = (0.25, 0.65)  # heights of the walls' layers, shares of the veneer's thickness
WALL_LIGHT = 0.5


def light_of(scene: Scene) -> Array:
    """(h, w, 3) B G R: the light that falls on each pixel of the sensor, before the lens's blur."""
    cv2.setNumThreads(1)
    canvas = _Canvas(scene)
    canvas.field()
    for card in scene.cards:
        canvas.card(card)
    canvas.rose()
    for tape in scene.tapes:
        canvas.tape(tape)
    return finished(canvas)


def finished(canvas: _Canvas) -> Array:
    """What was painted, at the photo's size."""
    view = canvas.scene.view
    return cv2.resize(canvas.light, (view.width, view.height), interpolation=cv2.INTER_AREA)


def render(scene: Scene) -> bytes:
    """The JPEG file."""
    return scene.phone.jpeg(light_of(scene), np.random.default_rng([scene.seed, 7, scene.noise_seed]))


class _Canvas:
    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.view = scene.view
        self.size = scene.view.height * FINE, scene.view.width * FINE
        self.light = np.zeros((*self.size, 3), np.float32)
        self.ppi = FINE * _px_per_in(scene)
        self._maps: dict[float, Array] = {}
        self._sheets: dict[str, Array] = {}
        self.rng = np.random.default_rng([scene.seed, 3])

    def sheet(self, wood: str) -> Array:
        if wood not in self._sheets:
            rng = np.random.default_rng([self.scene.seed, 5, sorted(WOODS).index(wood)])
            self._sheets[wood] = sheet(rng, WOODS[wood]).astype(np.float32)
        return self._sheets[wood]

    def box(self, corners: Array, z: float, margin_in: float = 0.05) -> tuple[slice, slice]:
        """The canvas's part that shows plane points at a height."""
        at = (self.view.px(corners, z) + 0.5) * FINE - 0.5
        margin = margin_in * self.ppi + 3
        low = np.clip(np.floor(at.min(axis=0) - margin), 0, None).astype(int)
        high = np.clip(np.ceil(at.max(axis=0) + margin), 0, [self.size[1], self.size[0]]).astype(int)
        return slice(low[1], max(high[1], low[1])), slice(low[0], max(high[0], low[0]))

    def plan(self, box: tuple[slice, slice], z: float) -> Array:
        """(h, w, 2) plane points of a part at a height."""
        if z not in self._maps:
            self._maps[z] = self.view.plan_map(z, FINE)
        return self._maps[z][box]

    def cover(self, inside_in: Array) -> Array:
        return np.clip(inside_in * float(self.ppi) + 0.5, 0, 1).astype(np.float32)

    def wood(self, name: str, points: Array, grain: float, mirrored: bool, shift: Array) -> Array:
        """(h, w, 3) reflectance at plane points: a sheet laid with its grain along a bearing, about `shift` of the sheet."""
        way = direction(grain)
        across = right(way) * (-1 if mirrored else 1)
        u, v = (along(-more * unit, unit, points) * SHEET_PPI for unit, more in ((way, shift[0]), (across, shift[1])))
        figure = cv2.remap(self.sheet(name), u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)  # mirrored at the sheet's ends
        return reflectance(WOODS[name], figure)

    def open_light(self, points: Array) -> Array:
        sx, sy = self.scene.lighting.slope
        return (1 + float(sx) * points[..., 0] + float(sy) * points[..., 1])[..., None]

    def field(self) -> None:
        scene = self.scene
        whole = slice(0, self.size[0]), slice(0, self.size[1])
        points = self.plan(whole, 0.0)
        middle_x, middle_y = map(float, scene.top_centre_in)
        radius = np.hypot(points[..., 0] - middle_x, points[..., 1] - middle_y)
        total = np.zeros(self.size, np.float32)
        count = len(scene.seams)
        if not count:  # a bench, not a top
            self.light += self.wood(scene.field_wood, points, 0.7, False, np.zeros(2))
            total += 1
        for k, seam in enumerate(scene.seams):
            after = scene.seams[(k + 1) % count]
            far = 2.0 * scene.top_radius_in
            middle = seam.bearing + ((after.bearing - seam.bearing) % (2 * np.pi)) / 2
            box = self.box(np.stack([np.zeros(2), seam.at(far), far * 1.2 * direction(middle), after.at(far)]), 0.0)
            here = points[box]
            first = along(seam.point, right(direction(seam.bearing)), here)
            last = -along(after.point, right(direction(after.bearing)), here)
            cover = self.cover(np.minimum(first, last))
            leaf = scene.leaves[k]
            tone = self.wood(scene.field_wood, here, middle + leaf.grain, leaf.mirrored, leaf.shift) * np.float32(leaf.lightness)
            self.light[box] += cover[..., None] * tone
            total[box] += cover
        self.light /= np.maximum(total, 1e-3)[..., None]
        for seam in scene.seams:
            if seam.line_in:
                box = self.box(np.stack([np.zeros(2), seam.at(2 * scene.top_radius_in)]), 0.0)
                here = points[box]
                aside = along(seam.point, right(direction(seam.bearing)), here)
                ahead = along(np.zeros(2), direction(seam.bearing), here) > 0
                line = (self.cover(aside + seam.line_in / 2) - self.cover(aside - seam.line_in / 2)) * ahead
                strength = 0.75
                colour = np.array([0.02, 0.022, 0.028] if seam.dark else [0.45, 0.55, 0.62], np.float32)
                self._over(box, strength * line, colour)
        for box in self._tiles(radius, scene.top_radius_in - scene.band_in - 0.02):
            rim = self.wood(scene.band_wood, points[box], 0.4, False, np.array([1.0, 2.0]))
            self._over(box, self.cover(radius[box] - (scene.top_radius_in - scene.band_in)), rim)
            bench = self.wood(scene.bench[0], points[box], 1.1, False, np.array([3.0, 1.0])) * np.float32(scene.bench[1])
            self._over(box, self.cover(radius[box] - scene.top_radius_in), bench)
        self.light *= self.open_light(points)
        if scene.height_in > 0:
            self._shade(points)

    def _tiles(self, radius: Array, beyond_in: float, each: int = 256) -> Iterator[tuple[slice, slice]]:
        """The parts of the canvas that reach beyond a radius."""
        for row in range(0, self.size[0], each):
            for column in range(0, self.size[1], each):
                box = slice(row, row + each), slice(column, column + each)
                if radius[box].max() > beyond_in:
                    yield box

    def _shade(self, points: Array) -> None:
        corners = np.concatenate([np.stack([x.root, x.left, x.tip, x.right]) for x in self.scene.rose.lobes])
        low, high = corners.min(axis=0) - 0.4, corners.max(axis=0) + 0.4
        columns, rows = (int(n) for n in np.ceil((high - low) * PLAN_PPI))
        x, y = np.meshgrid(low[0] + (np.arange(columns) + 0.5) / PLAN_PPI, high[1] - (np.arange(rows) + 0.5) / PLAN_PPI)
        plan = np.stack([x, y], axis=-1)
        cover = np.zeros((rows, columns), np.float32)
        for lobe in self.scene.rose.lobes:
            at = (self._corners(lobe) - [low[0], high[1]]) * [PLAN_PPI, -PLAN_PPI]
            (left, top), (right, bottom) = np.clip(at.min(axis=0) - 4, 0, None).astype(int), at.max(axis=0).astype(int) + 5
            part = cover[top:bottom, left:right]
            np.maximum(part, np.clip(lobe.inside(plan[top:bottom, left:right]) * PLAN_PPI + 0.5, 0, 1), out=part)
        low, high = low.astype(np.float32), high.astype(np.float32)
        share = light_below(cover, self.scene.height_in, self.scene.lighting)
        box = self.box(np.array([low, [low[0], high[1]], high, [high[0], low[1]]]), 0.0, 0.0)
        here = points[box].astype(np.float32)
        u, v = (here[..., 0] - low[0]) * PLAN_PPI - 0.5, (high[1] - here[..., 1]) * PLAN_PPI - 0.5
        self.light[box] *= cv2.remap(share, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=1.0)[..., None]

    def _over(self, box: tuple[slice, slice], cover: Array, colour: Array) -> None:
        part = self.light[box]
        part += cover[..., None] * (colour - part)

    def card(self, card: Card) -> None:
        drawing, ppi = card_drawing(card.number), CARD_PPI
        size = np.array([drawing.shape[1], drawing.shape[0]]) / ppi * card.print_scale
        box = self.box(card.place(np.array([[-1, -1], [-1, 1], [1, 1], [1, -1]]) * size / 2), PAPER_IN)
        if box[0].stop <= box[0].start or box[1].stop <= box[1].start:
            return
        points = self.plan(box, PAPER_IN)
        x, y = along(card.middle, right(direction(card.bearing)), points), along(card.middle, direction(card.bearing), points)
        u = x * (ppi / card.print_scale[0]) + (drawing.shape[1] / 2 - 0.5)
        v = y * (-ppi / card.print_scale[1]) + (drawing.shape[0] / 2 - 0.5)
        ink = cv2.remap(drawing, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[..., None]
        inside = np.minimum(float(size[0] / 2) - np.abs(x), float(size[1] / 2) - np.abs(y))
        self._over(box, self.cover(inside), ((ink * PAPER + (1 - ink) * INK) * self.open_light(points)).astype(np.float32))

    def rose(self) -> None:
        """Every piece's share of a sample is added to the others', never laid over them: a gap narrower than a sample stays as wide."""
        scene = self.scene
        lobes = scene.rose.lobes
        if not lobes:
            return
        boxes = [self.box(self._corners(lobe), scene.height_in, 0.1) for lobe in lobes]
        low = [min(box[axis].start for box in boxes) for axis in (0, 1)]
        high = [max(box[axis].stop for box in boxes) for axis in (0, 1)]
        self._origin = low
        shape = high[0] - low[0], high[1] - low[1]
        # What lies below and beside the pieces: their walls, or the glue round them.
        around, shade = np.zeros(shape, np.float32), np.zeros((*shape, 3), np.float32)
        if scene.height_in > 0:
            for share in WALLS:
                layer = np.zeros(shape, np.float32)
                for lobe in lobes:
                    box = self.box(self._corners(lobe), share * scene.height_in)
                    points = self.plan(box, share * scene.height_in)
                    cover = self.cover(lobe.inside(points))
                    layer[self._local(box)] += cover
                    part = shade[self._local(box)]
                    part += (cover > 0)[..., None] * (self._wall(lobe, points) - part)
                np.maximum(around, layer, out=around)
        else:
            for k, lobe in enumerate(lobes):
                box = self.box(self._corners(lobe), 0.0)
                points = self.plan(box, 0.0)
                part = around[self._local(box)]
                np.maximum(part, self.cover(lobe.inside(points, scene.pockets_in[k])), out=part)
                shade[self._local(box)] = np.array(scene.glue, np.float32) * self.open_light(points)
        faces, light = np.zeros(shape, np.float32), np.zeros((*shape, 3), np.float32)
        for k, lobe in enumerate(lobes):
            box = self.box(self._corners(lobe), scene.height_in)
            points = self.plan(box, scene.height_in)
            cover = self.cover(lobe.inside(points))
            faces[self._local(box)] += cover
            light[self._local(box)] += cover[..., None] * self._face(k, lobe, points)
        faces, around = np.minimum(faces, 1), np.minimum(around, 1)
        beside = np.maximum(around, faces) - faces
        part = self.light[low[0] : high[0], low[1] : high[1]]
        part *= (1 - faces - beside)[..., None]
        part += light + beside[..., None] * shade

    @staticmethod
    def _corners(lobe: Lobe) -> Array:
        return np.stack([lobe.root, lobe.left, lobe.tip, lobe.right])

    def _local(self, box: tuple[slice, slice]) -> tuple[slice, slice]:
        """A part of the canvas in the part that holds the rose."""
        rows, columns = box
        row, column = self._origin
        return slice(rows.start - row, rows.stop - row), slice(columns.start - column, columns.stop - column)

    def _wall(self, lobe: Lobe, points: Array) -> Array:
        dark, light = (np.array(WOODS[name].colour, np.float32) * WALL_LIGHT for name in (self.scene.dark_wood, self.scene.light_wood))
        share = self.cover(lobe.side_of_own(points) * (1 if lobe.dark_side == "ccw" else -1))[..., None]
        return (dark + share * (light - dark)) * self.open_light(points)

    def _face(self, k: int, lobe: Lobe, points: Array) -> Array:
        scene = self.scene
        aside = lobe.side_of_own(points)
        halves = []
        for side in (-1, 1):
            dark = (side > 0) == (lobe.dark_side == "cw")
            name = scene.dark_wood if dark else scene.light_wood
            grain, shift = scene.halves[k][(side + 1) // 2]
            halves.append(self.wood(name, points, grain, False, shift))
        share = self.cover(aside)[..., None]
        tone = halves[0] + share * (halves[1] - halves[0])
        if lobe.own_line_in:
            line = 0.8 * (self.cover(aside + lobe.own_line_in / 2) - self.cover(aside - lobe.own_line_in / 2))[..., None]
            tone += line * (np.array([0.02, 0.022, 0.028], np.float32) - tone)
        return tone * self.open_light(points)

    def tape(self, tape: Tape) -> None:
        z = self.scene.height_in + 0.004
        box = self.box(tape.corners, z)
        if box[0].stop <= box[0].start or box[1].stop <= box[1].start:
            return
        points = self.plan(box, z)
        along, across = tape.frame(points)
        ragged = 0.015 * np.sin(along * 0 + across * 90 + np.sin(across * 37) * 2)
        inside = np.minimum(tape.length_in / 2 - np.abs(along) + ragged, tape.width_in / 2 - np.abs(across))
        creped = 1 + 0.08 * np.sin(along * 160 + 3 * np.sin(across * 25)).astype(np.float32)[..., None]
        colour = np.array(tape.colour, np.float32) * creped * self.open_light(points)
        self._over(box, 0.93 * self.cover(inside), colour.astype(np.float32))


def _px_per_in(scene: Scene) -> float:
    at = scene.view.px(np.array([[-0.5, 0.0], [0.5, 0.0], [0.0, -0.5], [0.0, 0.5]]), scene.height_in)
    return float((np.hypot(*(at[1] - at[0])) + np.hypot(*(at[3] - at[2]))) / 2)


@lru_cache(maxsize=8)
def card_drawing(number: int) -> Array:
    """(h, w) 0 ink, 1 paper, at CARD_PPI: 5 x 4 squares of 1/2 in, markers 10(n-1)... of 3/8 in, a margin of 1/4 in."""
    square, marker, margin = CARD_PPI // 2, 3 * CARD_PPI // 8, CARD_PPI // 4
    drawing = np.ones((4 * square + 2 * margin, 5 * square + 2 * margin), np.float32)
    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    place = 0
    for row in range(4):
        for column in range(5):
            y, x = margin + row * square, margin + column * square
            if (row + column) % 2 == 0:
                drawing[y : y + square, x : x + square] = 0
            else:
                gap = (square - marker) // 2
                bits = cv2.aruco.generateImageMarker(words, 10 * (number - 1) + place, marker, borderBits=1)
                drawing[y + gap : y + gap + marker, x + gap : x + gap + marker] = bits / 255.0
                place += 1
    return drawing
