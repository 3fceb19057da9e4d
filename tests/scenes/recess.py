"""The recess of a rose, routed and pared into the top that it was dry-fitted on: exact truth, its errors edge by edge.

The rose is that of `draw`'s dry fit, and the recess was knifed where it lay: each edge of the recess is the rose's own, moved outward by
so much at the point and at the notch. What the router left standing, chips, a round bit's corners and marks on the floor are drawn too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .draw import Scene, _cards, draw
from .geometry import Rose, along, meet, right
from .light import PLAN_PPI, light_below
from .render import WALL_LIGHT, _Canvas, finished
from .view import View
from .woods import WOODS, noise

Array = np.ndarray
PEN_INSIDE_IN, PEN_IN = 1 / 16, 0.018  # the line that is routed to, inside the knife line, and how wide it is drawn
LAYERS = 4  # heights at which a wall is painted
FLOORS = {  # reflectance B G R: boards that veneer is pressed on
    "fibreboard": (0.150, 0.230, 0.320),
    "dark fibreboard": (0.060, 0.095, 0.150),
    "plywood": (0.360, 0.500, 0.620),
    "black": (0.024, 0.025, 0.027),
    "chipboard": (0.230, 0.330, 0.420),
}


@dataclass(frozen=True)
class Cut:
    """One edge of the recess, beside the rose's long edge."""

    lobe: int  # the rose's, from 0
    side: int  # -1 left, +1 right, from the root
    rose_in: Array  # (2, 2) the rose's edge, straight: at the notch and at the tip
    at_notch_in: float  # how far outside of the rose's edge the recess's lies
    at_tip_in: float
    wave: tuple[Array, Array]  # (k,) shares from notch to tip, how far the hand strayed there
    left_standing: tuple[tuple[float, float], ...] = ()  # stretches, inches from the tip: routed to the pen line, not pared
    chips: tuple[tuple[float, float, float], ...] = ()  # inches from the tip, half width, depth outward

    @property
    def unit(self) -> Array:
        """Notch to tip."""
        way = self.rose_in[1] - self.rose_in[0]
        return way / np.hypot(*way)

    @property
    def outward(self) -> Array:
        return self.side * right(self.unit)

    @property
    def line_in(self) -> Array:
        """(2, 2): the recess's edge, straight, at the notch and at the tip."""
        return self.rose_in + np.array([[self.at_notch_in], [self.at_tip_in]]) * self.outward

    def inside(self, points: Array) -> Array:
        """How far points (..., 2) lie inside the edge."""
        length = float(np.hypot(*(self.rose_in[1] - self.rose_in[0])))
        ahead = along(self.rose_in[0], self.unit, points)
        share = np.clip(ahead / length, -0.2, 1.2)
        out = self.at_notch_in + share * (self.at_tip_in - self.at_notch_in) + np.interp(share, *self.wave).astype(np.float32)
        from_tip = length - ahead
        for near, far in self.left_standing:
            # A router's bit leaves a slope of its radius at either end of what it didn't clear.
            out = out - PEN_INSIDE_IN * np.clip(np.minimum(from_tip - near, far - from_tip) / 0.02 + 0.5, 0, 1)
        for middle, half, depth in self.chips:
            out = out + depth * np.clip(1.5 * (1 - np.abs(from_tip - middle) / half), 0, 1)
        return out - along(self.rose_in[0], self.outward, points)

    def stands(self, points: Array) -> Array:
        """Whether points (..., 2) lie along a stretch that was left standing."""
        from_tip = float(np.hypot(*(self.rose_in[1] - self.rose_in[0]))) - along(self.rose_in[0], self.unit, points)
        return np.any(
            [(from_tip > near) & (from_tip < far) for near, far in self.left_standing] or [np.zeros(points.shape[:-1], bool)], axis=0
        )


@dataclass(frozen=True)
class RecessScene:
    dry_fit: Scene  # the rose before it was lifted
    top: Scene  # the photo of the recess: no rose, other view, phone and light, the same cards
    cuts: tuple[Cut, ...]  # lobe after lobe, left and right, clockwise
    round_in: tuple[float, ...]  # each point's radius, in the order of `lobes`: a round bit's, or next to nothing
    lobes: tuple[int, ...]  # the rose's, clockwise
    floor: str
    marks: tuple[tuple[float, float, float, float], ...]  # router marks: centre, pitch, strength

    @property
    def depth_in(self) -> float:
        return self.dry_fit.veneer_in

    @property
    def corners_in(self) -> Array:
        """(2 n, 2): tip, notch, ... clockwise, where the recess's straight edges meet."""
        result = []
        for k in range(len(self.lobes)):
            left, right_one, after = self.cuts[2 * k], self.cuts[2 * k + 1], self.cuts[(2 * k + 2) % len(self.cuts)]
            result += [_meeting(left, right_one), _meeting(right_one, after)]
        return np.array(result)

    @property
    def middle_in(self) -> Array:
        return self.corners_in[1::2].mean(axis=0)

    def inside(self, points: Array) -> Array:
        """How far points (h, w, 2) lie inside the recess (near its edge); -1 well outside. Each piece is looked at where it lies."""
        corners = self.corners_in
        best = np.full(points.shape[:-1], -1.0, np.float32)
        for k in range(len(self.lobes)):
            tip, before, after = corners[2 * k], corners[2 * k - 1], corners[2 * k + 1]
            part = _part(points, np.stack([tip, before, after]))
            np.maximum(best[part], self._piece(k, tip, before, after, points[part]), out=best[part])
        notches = corners[1::2]
        part = _part(points, notches)
        core = np.full(best[part].shape, 9.0, np.float32)
        for a, b in zip(notches, np.roll(notches, -1, axis=0), strict=True):
            core = np.minimum(core, along(a, right((b - a) / np.hypot(*(b - a))), points[part]))
        np.maximum(best[part], core, out=best[part])
        return best

    def _piece(self, k: int, tip: Array, before: Array, after: Array, points: Array) -> Array:
        left, right_one = self.cuts[2 * k], self.cuts[2 * k + 1]
        piece = np.minimum(left.inside(points), right_one.inside(points))
        radius = self.round_in[k]
        if radius > 0:
            axis = (tip - before) / np.hypot(*(tip - before)) + (tip - after) / np.hypot(*(tip - after))
            axis = axis / np.hypot(*axis)
            half = np.arccos(np.clip(axis @ left.unit, -1, 1))
            middle = tip - radius / np.sin(half) * axis
            away = np.hypot(points[..., 0] - float(middle[0]), points[..., 1] - float(middle[1]))
            cone = (along(middle, left.unit, points) > 0) & (along(middle, right_one.unit, points) > 0)
            piece = np.where(cone, np.minimum(piece, radius - away), piece)
        # A wedge has no end: it is cut across its notches, a little inside the core.
        chord = (after - before) / np.hypot(*(after - before))
        outward = -right(chord)
        return np.minimum(piece, along((before + after) / 2 - 0.05 * outward, outward, points))

    @property
    def bars_in(self) -> tuple[float, float]:
        return self.top.bars_in


def _part(points: Array, corners: Array, step: int = 16, margin_in: float = 0.2) -> tuple[slice, slice]:
    """The rows and columns of a grid of points (h, w, 2) that come near some corners' box."""
    few = points[::step, ::step]
    near = np.all((few > corners.min(axis=0) - margin_in) & (few < corners.max(axis=0) + margin_in), axis=-1)
    if not near.any():
        return slice(0, 0), slice(0, 0)
    rows, columns = np.flatnonzero(near.any(axis=1)), np.flatnonzero(near.any(axis=0))
    return slice(max(rows[0] - 1, 0) * step, (rows[-1] + 2) * step), slice(max(columns[0] - 1, 0) * step, (columns[-1] + 2) * step)


def _meeting(one: Cut, other: Cut) -> Array:
    first, after = one.line_in, other.line_in
    return meet(first[0], first[1] - first[0], after[0], after[1] - after[0])


def outline_of(rose: Rose) -> tuple[list[int], list[tuple[Array, Array]]]:
    """Lobes clockwise by their tips; each long edge's straight line, left and right in turn: at the notch and at the tip, (2, 2)."""
    middle = rose.centre_in
    order = sorted(range(len(rose.lobes)), key=lambda k: float(np.arctan2(*(rose.lobes[k].tip - middle))) % (2 * np.pi))
    long_edges = [(rose.lobes[k].edges[1], rose.lobes[k].edges[2]) for k in order]
    lines = [[edge.fitted(0, 1) for edge in pair] for pair in long_edges]
    for _ in range(2):  # the stretch that shows ends at the notch, and the notch where the lines of that stretch meet
        new = []
        for k, (left, right_one) in enumerate(long_edges):
            before = meet(*lines[k - 1][1], *lines[k][0])
            after = meet(*lines[k][1], *lines[(k + 1) % len(order)][0])
            shares = [
                float(np.clip((notch - edge.a) @ (edge.b - edge.a) / np.sum((edge.b - edge.a) ** 2), 0, 1))
                for edge, notch in ((left, before), (right_one, after))
            ]
            new.append([left.fitted(shares[0], 1), right_one.fitted(0, shares[1])])
        lines = new
    edges = []
    for k in range(len(order)):
        tip = meet(*lines[k][0], *lines[k][1])
        before = meet(*lines[k - 1][1], *lines[k][0])
        after = meet(*lines[k][1], *lines[(k + 1) % len(order)][0])
        edges += [np.stack([before, tip]), np.stack([after, tip])]
    return order, edges


def draw_recess(
    seed: int, room_in: float = 0.004, megapixels: tuple[float, float] = (3.0, 4.5), faults: bool = True, floor: str | None = None
) -> RecessScene:
    """One scene. room_in: usual room at an edge; faults: what was left standing, chips, round points and gross errors here and there."""
    rng = np.random.default_rng([seed, 23])
    base = draw(seed, "dry-fit", megapixels=megapixels)
    order, edges = outline_of(base.rose)
    usual = room_in + rng.normal(0, 0.0015)
    spread, taper = rng.uniform(0.001, 0.004), rng.uniform(0.001, 0.004)
    cuts = []
    for k, lobe in enumerate(order):
        for side in (0, 1):
            rose_in = edges[2 * k + side]
            length = float(np.hypot(*(rose_in[1] - rose_in[0])))
            gross = faults and rng.random() < 0.08
            shift = rng.choice([-0.012, 0.018]) * rng.uniform(0.6, 1.4) if gross else 0.0
            ends = usual + shift + rng.normal(0, spread) + np.array([-0.5, 0.5]) * rng.normal(0, taper)
            share = np.linspace(-0.2, 1.2, 15)
            wave = rng.normal(0, rng.uniform(0.0002, 0.0008), 15)
            wave -= np.polyval(np.polyfit(share[3:-2], wave[3:-2], 1), share)
            standing: tuple[tuple[float, float], ...] = ()
            if faults and rng.random() < 0.1:
                start = rng.uniform(0.15, 0.6) * length
                standing = ((start, start + rng.uniform(0.12, 0.4)),)
            chips = tuple(
                (rng.uniform(0.1, 0.9) * length, rng.uniform(0.01, 0.04), rng.uniform(0.005, 0.025)) for _ in range(rng.poisson(0.6))
            )
            cuts.append(Cut(lobe, 2 * side - 1, rose_in, float(ends[0]), float(ends[1]), (share, wave), standing, chips if faults else ()))
    rounds = tuple(float(rng.choice([1 / 16, 3 / 64, 1 / 32])) if faults and rng.random() < 0.12 else rng.uniform(0, 0.003) for _ in order)
    view = _view(rng, base, float(max(np.hypot(*(edge[1] - base.rose.centre_in)) for edge in edges)))
    other = draw(seed + 70_000, "dry-fit", megapixels=megapixels)
    reach = float(max(np.hypot(*edge[1]) for edge in edges))
    scale = base.cards[0].print_scale if base.cards else (1.0, 1.0)
    phone = replace(
        other.phone, focal_35mm=None if other.phone.focal_35mm is None else round(36 * view.f_px / view.width * rng.normal(1, 0.01))
    )
    top = replace(
        base,
        stage="recess",
        height_in=0.0,
        view=view,
        phone=phone,
        lighting=other.lighting,
        rose=Rose((), (), ()),
        halves=(),
        pockets_in=(),
        cards=_cards(rng, view, base.rose, base.seams, reach, scale, 6.9),
        tapes=(),
    )
    marks = tuple((*rng.normal(0, 3, 2), rng.uniform(0.015, 0.06), rng.uniform(0.01, 0.05)) for _ in range(3))
    drawn_floor = floor or _floor(rng, base.field_wood)
    return RecessScene(base, top, tuple(cuts), rounds, tuple(order), drawn_floor, marks)


def _floor(rng: np.random.Generator, field_wood: str) -> str:
    """A board that isn't just the field's colour: a tenth apart in some channel's log light, a fifth in all."""
    while True:
        floor = str(rng.choice(sorted(FLOORS)))
        if np.abs(np.log(np.array(FLOORS[floor]) / WOODS[field_wood].colour)).sum() > 0.6:
            return floor


def _view(rng: np.random.Generator, base: Scene, reach_in: float) -> View:
    width, height = base.view.width, base.view.height
    ppi = min(rng.uniform(105, 215), height / (2 * reach_in + 2.2))
    f_px = width * rng.uniform(0.66, 0.85)
    return View.over(
        width,
        height,
        f_px,
        (rng.normal(0, 0.004 * width), rng.normal(0, 0.004 * width)),
        rng.normal(0, 0.012),
        rng.normal(0, 0.008),
        rng.normal(0, 0.2, 2),
        f_px / ppi,
        np.radians(min(abs(rng.normal(0, 9)), 24)),
        rng.uniform(0, 2 * np.pi),
        rng.uniform(0, 2 * np.pi),
    )


def render_recess(scene: RecessScene) -> bytes:
    """The JPEG file."""
    import cv2

    cv2.setNumThreads(1)
    canvas = _Canvas(scene.top)
    canvas.field()
    for card in scene.top.cards:
        canvas.card(card)
    _paint(canvas, scene)
    return scene.top.phone.jpeg(finished(canvas), np.random.default_rng([scene.top.seed, 9, scene.top.noise_seed]))


def _paint(canvas: _Canvas, scene: RecessScene) -> None:
    corners, depth = scene.corners_in, scene.depth_in
    box = canvas.box(corners, 0.0, 0.1)
    face = canvas.plan(box, 0.0)
    inside = scene.inside(face)
    for cut in scene.cuts:
        if cut.left_standing:  # half of the pen line, and the cut of the knife, stay on the wood
            rows, columns = _part(face, cut.rose_in)
            here = face[rows, columns]
            at = (
                slice(box[0].start + rows.start, box[0].start + rows.start + here.shape[0]),
                slice(box[1].start + columns.start, box[1].start + columns.start + here.shape[1]),
            )
            deep = -along(cut.rose_in[0], cut.outward, here)
            line = canvas.cover(deep - (PEN_INSIDE_IN - PEN_IN / 2)) * cut.stands(here) * (deep < PEN_INSIDE_IN + 0.03)
            knife = (canvas.cover(deep + 0.001) - canvas.cover(deep - 0.001)) * cut.stands(here)
            for drawn in (0.8 * line, 0.7 * knife):
                canvas._over(at, drawn.astype(np.float32), np.array([0.03, 0.03, 0.035], np.float32))
    opening = canvas.cover(inside)
    clear = opening.copy()
    wall = np.zeros((*inside.shape, 3), np.float32)
    wood = np.array(WOODS[scene.top.field_wood].colour, np.float32) * WALL_LIGHT
    for layer in range(1, LAYERS + 1):
        points = canvas.plan(box, -depth * layer / LAYERS)
        np.minimum(clear, canvas.cover(scene.inside(points)), out=clear)
        wall = wood * canvas.open_light(points)
    below = canvas.plan(box, -depth)
    floor = _floor_light(canvas, scene, below)
    part = canvas.light[box]
    part *= (1 - opening)[..., None]
    part += (opening - clear)[..., None] * wall + clear[..., None] * floor


def _floor_light(canvas: _Canvas, scene: RecessScene, points: Array) -> Array:
    import cv2

    rng = np.random.default_rng([scene.top.seed, 29])
    figure = np.zeros(points.shape[:2], np.float32)
    for x, y, pitch, strength in scene.marks:
        swirl = np.hypot(points[..., 0] - x, points[..., 1] - y)
        figure += (strength * np.sin(2 * np.pi * swirl / pitch)).astype(np.float32)
    grain = noise(rng, 0.03, 0.02) if scene.floor != "plywood" else noise(rng, 0.6, 0.02)
    coarse = noise(rng, 0.12, 0.12) if scene.floor == "chipboard" else noise(rng, 0.8, 0.8)
    u, v = (np.abs(points[..., k].astype(np.float32) + 4) * 200 % (len(grain) - 1) for k in (0, 1))
    for sheet, strength in ((grain, 0.04), (coarse, 0.10 if scene.floor == "chipboard" else 0.03)):
        figure += strength * cv2.remap(sheet, u, v, cv2.INTER_LINEAR)
    colour = np.array(FLOORS[scene.floor], np.float32) * np.exp(figure)[..., None]
    return (colour * _shade(scene, points)[..., None] * canvas.open_light(points)).astype(np.float32)


def _shade(scene: RecessScene, points: Array) -> Array:
    """Light on the floor as a share of that on the open top."""
    import cv2

    low, high = scene.corners_in.min(axis=0) - 0.4, scene.corners_in.max(axis=0) + 0.4
    columns, rows = (int(n) for n in np.ceil((high - low) * PLAN_PPI))
    x, y = np.meshgrid(low[0] + (np.arange(columns) + 0.5) / PLAN_PPI, high[1] - (np.arange(rows) + 0.5) / PLAN_PPI)
    cover = 1 - np.clip(scene.inside(np.stack([x, y], axis=-1)) * PLAN_PPI + 0.5, 0, 1).astype(np.float32)
    share = light_below(cover, scene.depth_in, scene.top.lighting)
    u, v = ((points[..., 0] - low[0]) * PLAN_PPI - 0.5).astype(np.float32), ((high[1] - points[..., 1]) * PLAN_PPI - 0.5).astype(np.float32)
    return cv2.remap(share, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


@dataclass(frozen=True)
class TrueSeat:
    """The rose's rooms where it lies best, by the stated rule; inches. Points in the order of the scene's `lobes`."""

    rooms_in: Array  # (n, 2, 2): point, left and right, at the notch and at the tip
    beyond_in: Array  # (n,) from the rose's tip to the recess's corner, along the point
    uncut_in: Array  # (n,) what a round bit left, from the corner inward
    most_room_in: float  # the largest least room that any place gives


def true_seat(scene: RecessScene, nearly_in: float = 0.002) -> TrueSeat:
    """Where sum log(1 + exp(-room / nearly_in)) is least, found by a general minimiser; and the exact minimax by linear programming."""
    from scipy.optimize import linprog, minimize

    corners = np.array([cut.rose_in for cut in scene.cuts])  # (2 n, 2, 2)
    middle = corners.reshape(-1, 2).mean(axis=0)

    def rooms(place: Array) -> Array:
        """(2 n, 2) of the rose moved by (x, y) and turned clockwise."""
        c, s = np.cos(place[2]), np.sin(place[2])
        moved = (corners - middle) @ np.array([[c, -s], [s, c]]) + middle + place[:2]
        result = []
        for cut, pair in zip(scene.cuts, moved, strict=True):
            wall = cut.line_in
            way = (wall[1] - wall[0]) / np.hypot(*(wall[1] - wall[0]))
            result.append((wall[0] - pair) @ (cut.side * right(way)))
        return np.array(result)

    best = minimize(lambda p: np.logaddexp(0, -rooms(p / 100) / nearly_in).sum() * 100, np.zeros(3), method="Nelder-Mead",
                    options={"xatol": 1e-6, "fatol": 1e-10, "maxiter": 4000, "maxfev": 4000})  # fmt: skip
    settled = rooms(best.x / 100).reshape(-1, 2, 2)
    base, step = rooms(np.zeros(3)).ravel(), 1e-5
    slope = np.stack([(rooms(step * np.eye(3)[k]).ravel() - base) / step for k in range(3)], axis=1)
    most = linprog([0, 0, 0, -1], np.column_stack([-slope, np.ones(len(base))]), base, bounds=[(None, None)] * 4)
    beyond, uncut = [], []
    for k in range(len(scene.lobes)):
        pair = scene.cuts[2 * k : 2 * k + 2]
        half = np.arccos(np.clip(pair[0].unit @ pair[1].unit, -1, 1)) / 2
        beyond.append(settled[k, :, 1].sum() / 2 / np.sin(half))
        uncut.append(scene.round_in[k] * (1 / np.sin(half) - 1))
    return TrueSeat(settled, np.array(beyond), np.array(uncut), float(-most.fun))
