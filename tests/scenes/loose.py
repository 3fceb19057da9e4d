"""Loose lobes scattered on a bench, beside cards: the lobes of a rose that was laid in thought, each carried off and turned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .draw import Card, Scene, draw
from .geometry import Care, FieldSeam, Lobe, Rose, lay, right
from .view import View

Array = np.ndarray
CLEAR_IN = 0.35  # between any two things on the bench
NO_BAND_IN, BENCH_IN = 0.0, 60.0  # the bench is a top without an edge in sight


def moved(lobe: Lobe, root_in: Array, turn: float) -> Lobe:
    """The same lobe with its root somewhere else, turned clockwise about it."""
    cosine, sine = np.cos(turn), np.sin(turn)
    matrix = np.array([[cosine, sine], [-sine, cosine]])

    def carried(point: Array) -> Array:
        return root_in + matrix @ (point - lobe.root)

    corners = {name: carried(getattr(lobe, name)) for name in ("root", "left", "tip", "right", "own_root", "own_tip")}
    return replace(lobe, **corners)


def on_the_bench(
    base: Scene,
    rng: np.random.Generator,
    lobes: tuple[Lobe, ...],
    ppi: float = 160.0,
    megapixels: float = 9.0,
    cards: int = 5,
    tilt: float | None = None,
) -> Scene:
    """Those lobes, as they are, scattered under the base scene's light and phone."""
    width = int(np.sqrt(megapixels * 1e6 * 4 / 3)) // 16 * 16
    height = width * 3 // 4
    f_px = width * 0.75
    lean = np.radians(min(abs(rng.normal(0, 6)), 16)) if tilt is None else tilt
    view = View.over(width, height, f_px, (0.0, 0.0), 0.01, 0.0, np.zeros(2), f_px / ppi, lean, rng.uniform(0, 6.3), rng.uniform(0, 6.3))
    frame = view.plan(np.array([[0, 0], [width - 1.0, 0], [width - 1.0, height - 1.0], [0, height - 1.0]]))
    taken: list[tuple[Array, float]] = []
    numbers = rng.permutation(8) + 1

    def place(radius_in: float) -> Array | None:
        for _ in range(4000):
            at = frame.min(axis=0) + rng.uniform(0, 1, 2) * np.ptp(frame, axis=0)
            edge = [_across(frame[k], frame[(k + 1) % 4], at) for k in range(4)]
            inside = min(np.abs(edge)) > radius_in * 0.9 and len({np.sign(e) for e in edge}) == 1
            if inside and all(np.hypot(*(at - other)) > radius_in + far + CLEAR_IN for other, far in taken):
                taken.append((at, radius_in))
                return at
        return None

    print_scale = base.cards[0].print_scale if base.cards else (1.0, 1.0)
    laid: list[Lobe] = []
    kept = []
    for k, lobe in enumerate(lobes):
        around = np.stack([lobe.root, lobe.left, lobe.tip, lobe.right])
        middle = (around.min(axis=0) + around.max(axis=0)) / 2
        at = place(float(np.hypot(*(around - middle).T).max()))
        if at is None:
            continue
        turn = rng.uniform(0, 2 * np.pi)
        there = moved(lobe, np.zeros(2), turn)
        around = np.stack([there.root, there.left, there.tip, there.right])
        middle = (around.min(axis=0) + around.max(axis=0)) / 2
        laid.append(moved(lobe, at - middle, turn))
        kept.append(k)
    lying = tuple(
        Card(int(numbers[k]), at, rng.uniform(0, 2 * np.pi), print_scale) for k in range(cards) if (at := place(1.75)) is not None
    )
    halves = tuple(tuple((float(np.arctan2(*lobe.axis)) + rng.normal(0, 0.1), rng.uniform(0, 8, 2)) for _ in range(2)) for lobe in laid)
    return replace(
        base,
        stage="loose",
        height_in=base.veneer_in,
        view=view,
        phone=replace(base.phone, focal_35mm=round(36 * f_px / width)),
        top_radius_in=BENCH_IN,
        band_in=NO_BAND_IN,
        seams=(),
        leaves=(),
        rose=Rose(tuple(laid), tuple(kept), ()),  # seam_of: which of the lobes that were given
        halves=halves,
        pockets_in=(),
        cards=lying,
        tapes=(),
        top_centre_in=(0.0, 0.0),
    )


def draw_loose(seed: int, noise_seed: int = 0, megapixels: float = 9.0) -> Scene:
    """The lobes of a rose of eight points in two rings, or six or eight in one, as a careful maker cuts them."""
    rng = np.random.default_rng([seed, 23])
    base = draw(seed, "dry-fit", noise_seed)
    count, rings = ((4, 2), (4, 2), (6, 1), (8, 1))[rng.integers(4)]
    seams = tuple(FieldSeam(np.zeros(2), 2 * np.pi * k / (count * rings), 0.0, True) for k in range(count * rings))
    notch, reach = rng.uniform(0.9, 1.4) * (1.0 if count == 4 else 1.2), rng.uniform(2.6, 3.6)
    second = rng.uniform(0.6, 0.9), reach * rng.uniform(0.8, 0.92)
    rose = lay(rng, seams, count, rings, notch, reach, second, np.zeros(2), 0.0, Care())
    return on_the_bench(base, rng, rose.lobes, rng.uniform(130, 190), megapixels)


def _across(a: Array, b: Array, point: Array) -> float:
    way = b - a
    return float((point - a) @ right(way / np.hypot(*way)))
