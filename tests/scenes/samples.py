"""Samples of wood in rows on a bench beside cards: their woods are known exactly."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .draw import Card, Scene, draw
from .geometry import Rose, along, direction, right
from .light import Lighting
from .render import _Canvas, finished
from .view import View

Array = np.ndarray


@dataclass(frozen=True)
class Piece:
    """A rectangle of veneer."""

    wood: str
    middle: Array
    grain: float  # bearing of its long side and its grain
    size_in: tuple[float, float]  # along, across the grain
    lightness: float = 1.0  # of its light beside the dry wood's: a wetted piece is darker
    sheet_shift: tuple[float, float] = (0.0, 0.0)

    @property
    def corners(self) -> Array:
        ahead, aside = self.size_in[0] / 2 * direction(self.grain), self.size_in[1] / 2 * right(direction(self.grain))
        return self.middle + np.stack([ahead - aside, ahead + aside, -ahead + aside, -ahead - aside])


@dataclass(frozen=True)
class Samples:
    scene: Scene
    pieces: tuple[Piece, ...]  # in reading order


def lay_samples(
    woods: list[tuple[str, float]],
    bench: str,
    seed: int = 1,
    columns: int = 3,
    ppi: float = 110.0,
    megapixels: float = 2.2,
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0),
    slope: tuple[float, float] = (0.0, 0.0),
    card_count: int = 3,
) -> Samples:
    """Samples (wood, lightness) row by row from the left, cards below them; cast: the light's colour, B G R."""
    rng = np.random.default_rng([seed, 31])
    width = int(np.sqrt(megapixels * 1e6 * 4 / 3)) // 16 * 16
    height = width * 3 // 4
    f_px = width * 0.75
    view = View.over(width, height, f_px, (0.0, 0.0), 0.008, 0.0, np.zeros(2), f_px / ppi, np.radians(4), 1.0, 0.0)
    across, down = width / ppi, height / ppi
    pieces = []
    rows = -(-len(woods) // columns)
    for k, (wood, lightness) in enumerate(woods):
        row, column = divmod(k, columns)
        x = (column + 0.5) / columns * across * 0.86 - across * 0.43 + rng.normal(0, 0.05)
        y = down * 0.44 - (row + 0.5) * down * 0.55 / rows + rng.normal(0, 0.05)
        size = min(2.2, down * 0.42 / rows), min(1.3, across * 0.55 / columns)
        pieces.append(Piece(wood, np.array([x, y]), rng.normal(0, 0.12), size, lightness, tuple(rng.uniform(0, 8, 2))))
    base = draw(seed, "dry-fit")
    scale = (1.0, 1.0)
    cards = tuple(
        Card(k + 1, np.array([across * (0.9 * (k + 0.5) / card_count - 0.45), -down * 0.30]), rng.normal(0, 0.05), scale)
        for k in range(card_count)
    )
    scene = replace(
        base,
        stage="samples",
        height_in=1 / 42,
        veneer_in=1 / 42,
        view=view,
        phone=replace(
            base.phone, exposure=0.95, vignette=0.0, sharpening=0.4, subsampled=True, quality=92, focal_35mm=round(36 * f_px / width)
        ),
        lighting=Lighting((), slope),
        field_wood=bench,
        top_radius_in=60.0,
        band_in=0.0,
        seams=(),
        leaves=(),
        rose=Rose((), (), ()),
        halves=(),
        pockets_in=(),
        cards=cards,
        tapes=(),
    )
    return Samples(replace(scene, cast=cast), tuple(pieces))


def render_samples(laid: Samples) -> bytes:
    """The JPEG file: a piece's side and its shadow are left out."""
    scene = laid.scene
    canvas = _Canvas(replace(scene, height_in=0.0))
    canvas.field()
    for card in scene.cards:
        canvas.card(card)
    for piece in laid.pieces:
        box = canvas.box(piece.corners, scene.height_in)
        points = canvas.plan(box, scene.height_in)
        ahead = np.abs(along(piece.middle, direction(piece.grain), points)) - piece.size_in[0] / 2
        aside = np.abs(along(piece.middle, right(direction(piece.grain)), points)) - piece.size_in[1] / 2
        tone = canvas.wood(piece.wood, points, piece.grain, False, np.array(piece.sheet_shift)) * np.float32(piece.lightness)
        canvas._over(box, canvas.cover(-np.maximum(ahead, aside)), tone * canvas.open_light(points))
    canvas.light *= np.array(scene.cast, np.float32)
    return scene.phone.jpeg(finished(canvas), np.random.default_rng([scene.seed, 7]))


def true_colours(laid: Samples) -> list[Array]:
    """(3,) mean reflectance R, G, B of every piece, as it's painted: over its own face."""
    canvas = _Canvas(replace(laid.scene, height_in=0.0))
    return [_true_colour(canvas, piece) for piece in laid.pieces]


def _true_colour(canvas: _Canvas, piece: Piece) -> Array:
    u, v = np.meshgrid(np.linspace(-0.5, 0.5, 150) * piece.size_in[0], np.linspace(-0.5, 0.5, 100) * piece.size_in[1])
    points = piece.middle + u[..., None] * direction(piece.grain) + v[..., None] * right(direction(piece.grain))
    tone = canvas.wood(piece.wood, points.astype(np.float32), piece.grain, False, np.array(piece.sheet_shift)) * piece.lightness
    return tone.reshape(-1, 3).mean(axis=0)[::-1]
