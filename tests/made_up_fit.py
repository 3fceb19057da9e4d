"""Made-up inspections of one fit as several photos show it: the phone turned, lobes numbered from each photo's own up. No photo."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from seamcheck.basis.frames import Array, unit_of_bearing
from seamcheck.basis.reasons import Reason
from seamcheck.basis.uncertain import Estimate
from seamcheck.judge import judge_joint, judge_tip
from seamcheck.result import Inspection, Joint, Scale, Stage, Tip, TipPlace

PX_PER_IN = 100.0
MIDDLE_PX = np.array([1000.0, 750.0])
# Of a lobe's lines in a clear photo: sampling and model, standard uncertainties (inches), medians of rendered dry fits with seams that show
# as lines. What the edges of a raised lobe err by is its shadow's pull.
LINES = {"edges": (0.0006, 0.0064), "own seam": (0.0003, 0.0014), "seam": (0.0003, 0.0002)}
U_CARD_LIES_IN = 0.001  # how a card's middle keeps its place in a photo, along either axis
# Standard uncertainties of where a photo's plane lies (inches), and of how the lens bends places: inches at 4 in from the middle.
U_FRAME_IN, U_LENS_IN = 0.03, 0.0008
CARDS = {1: (5.5, 0.4), 2: (6.0, 1.9), 4: (5.8, 3.6), 7: (6.1, 5.1)}  # distance from the centre, bearing


@dataclass(frozen=True)
class Lobe:
    """The truth of one lobe."""

    ring: int
    bearing: float
    reach_in: float
    offset_in: float
    own_offset_in: float
    dark_side: str = "ccw"


@dataclass(frozen=True)
class Errors:
    """Standard uncertainties of an offset: sampling, model (repeats), and the veneer's (one unknown for all photos)."""

    edges: float = 0.001
    model: float = 0.0005
    veneer: float = 0.0004


def rose(rng: np.random.Generator, points: int = 8, scatter_in: float = 0.02) -> list[Lobe]:
    """Two rings; offsets and bearings with a scatter."""
    lobes = []
    for ring, reach, turn in ((1, 4.0, 0.0), (2, 3.4, np.pi / points)):
        for k in range(points):
            offset, own = rng.normal(0, scatter_in, 2)
            lobes.append(Lobe(ring, turn + 2 * np.pi * k / points + offset / reach, reach + rng.normal(0, 0.01), offset, own))
    return lobes


def seen(
    lobes: list[Lobe],
    name: str,
    turn: float = 0.0,
    *,
    rng: np.random.Generator | None = None,
    errors: Errors = Errors(),
    hidden: tuple[int, ...] = (),
    cards: Mapping[int, tuple[float, float]] = CARDS,
    shift_in: tuple[float, float] = (0.3, -0.2),
    repeated: float = 0.0,
    models: Array | None = None,
    new: float = 0.0,
    lines: Mapping[str, tuple[float, float]] = LINES,
    placed: bool = False,
) -> Inspection:
    """What a photo with its up `turn` clockwise of the plane's +y says. hidden: indices of lobes with taped tips.

    rng: draws the photo's own sampling errors; without it the numbers are the truth. repeated: an error that every photo shares, in
    standard uncertainties of the veneer's. models: (lobes, 3) errors of the models, in standard uncertainties, of edges, own seam and field
    seam, as every photo shares them; with them the offsets are differences of three lines, and the own seam's end is told too;
    new: how much of them each photo draws anew. lines: what the lines are uncertain by; placed: the tips' places are told too, with the
    photo's own frame and lens drawn by rng.
    """
    frame = np.zeros(4) if rng is None else rng.normal(size=5)  # along x, along y, turn, lens

    def place(distance: float, bearing: float) -> Array:
        return np.array(shift_in) + distance * unit_of_bearing(bearing - turn)

    def px(place_in: Array) -> Array:
        return MIDDLE_PX + PX_PER_IN * place_in * [1, -1]

    def camera_moves(at_in: Array) -> dict[str, Array]:
        """What the frame and the lens do to a place, one standard uncertainty of each."""
        x, y = at_in
        frame_moves = U_FRAME_IN * np.array([[1.0, 0.0], [0.0, 1.0], [y / 4, -x / 4]])
        bent = np.array([at_in * np.hypot(x, y) ** 2 / 4**3, np.array([y, x]) / 4])
        return {"cards": frame_moves, "lens": U_LENS_IN * bent}

    def whole_place(k: int, edges_in: float) -> TipPlace:
        """Where a tip lies whose edges err by so much across it."""
        lobe = lobes[k]
        at_in, bearing = place(lobe.reach_in, lobe.bearing), lobe.bearing - turn
        across = np.array([np.cos(bearing), -np.sin(bearing)])
        moves = camera_moves(at_in)
        seen_at = at_in + (edges_in + repeated * errors.veneer) * across + frame @ np.concatenate(list(moves.values()))
        own = {name: size * across[None] for name, size in zip(("edges", "edges model"), lines["edges"], strict=True)}
        return TipPlace(seen_at, float(bearing), {**own, **moves, "veneer": errors.veneer * across[None]})

    def offsets(k: int) -> tuple[Estimate, Estimate, Estimate, float]:
        """Seam offset, own-seam offset, the own seam's end from the field seam (differences of three lines' places); the edges' error."""
        assert models is not None
        edges, own, seam = (
            0.0 if rng is None else rng.normal(0, sampling) + model * (models[k, line] + new * rng.normal())
            for line, (sampling, model) in enumerate(lines.values())
        )
        lobe, lean = lobes[k], repeated * errors.veneer
        own_in = lobe.offset_in - lobe.own_offset_in
        veneer = {"veneer": errors.veneer}, {"veneer": (errors.veneer,)}

        def told(value: float, *of: str, leans: bool = True) -> Estimate:
            parts = {name: size for line in of for name, size in zip((line, f"{line} model"), lines[line], strict=True)}
            return Estimate(value + lean, {**parts, **veneer[0]}, veneer[1]) if leans else Estimate(value, parts)

        return (
            told(lobe.offset_in + edges - seam, "edges", "seam"),
            told(lobe.own_offset_in + edges - own, "edges", "own seam", leans=False),
            told(own_in + own - seam, "own seam", "seam"),
            edges,
        )

    def estimate(value: float) -> Estimate:
        drawn = rng.normal(0, errors.edges) if rng is not None else 0.0
        parts = {"edges": errors.edges, "edges model": errors.model, "veneer": errors.veneer}
        return Estimate(value + drawn + repeated * errors.veneer, parts, {"veneer": (errors.veneer,)})

    order: list[int] = []
    for ring in (1, 2):
        mine = [k for k, lobe in enumerate(lobes) if lobe.ring == ring]
        bearings = {k: (lobes[k].bearing - turn) % (2 * np.pi) for k in mine}
        first = min(mine, key=lambda k: min(bearings[k], 2 * np.pi - bearings[k])) if mine else 0
        order += sorted(mine, key=lambda k: (bearings[k] - bearings[first]) % (2 * np.pi))
    tips = []
    for number, k in enumerate(order, 1):
        lobe = lobes[k]
        tip_in = place(lobe.reach_in, lobe.bearing)
        outline = np.stack([place(0.2, lobe.bearing), place(1.5, lobe.bearing - 0.3), tip_in, place(1.5, lobe.bearing + 0.3)])
        where = None
        if models is None:
            offset, own_offset, own_end = estimate(lobe.offset_in), estimate(lobe.own_offset_in), None
        else:
            offset, own_offset, own_end, edges = offsets(k)
            where = whole_place(k, edges) if placed else None
        if k in hidden:
            offset = own_end = where = None
        tips.append(
            Tip(
                number,
                lobe.ring,
                float((lobe.bearing - turn) % (2 * np.pi)),
                px(tip_in),
                px(outline),
                px(outline[[0, 2]]),
                None if k in hidden else estimate(lobe.reach_in),
                offset,
                None if k in hidden else px(np.stack([place(lobe.reach_in, lobe.bearing), place(lobe.reach_in + 1, lobe.bearing)])),
                None if k in hidden else "line",
                judge_tip(offset, 1 / 64),
                Reason.TIP_COVERED if k in hidden else None,
                own_offset,
                estimate(3.0),
                Estimate(0.7, {"edges": 0.002}),
                lobe.dark_side,
                tip_in,
                own_end,
                place=where,
            )
        )
    joints = []
    for left, right in pairwise(order):
        gap = estimate(0.004 + 0.001 * left)
        edge = px(np.stack([place(0.3, lobes[left].bearing + 0.3), place(1.4, lobes[left].bearing + 0.3)]))
        if lobes[left].ring == lobes[right].ring:
            pair = (order.index(left) + 1, order.index(right) + 1)
            joints.append(Joint(pair, edge, gap, gap.value / 2, edge[1], 0.9, judge_joint(gap, 0.010), None))
    laid = {card: place(*where) for card, where in cards.items()}
    scale = Scale(tuple(cards), PX_PER_IN, 0.05, 0.001, True, laid)
    if placed:
        moves = {card: camera_moves(at_in) for card, at_in in laid.items()}
        lies = {card: np.zeros(2) if rng is None else rng.normal(0, U_CARD_LIES_IN, 2) for card in laid}
        laid = {card: at_in + lies[card] + frame @ np.concatenate(list(moves[card].values())) for card, at_in in laid.items()}
        scale = replace(scale, card_places_in=laid, card_moves=moves)
    return Inspection(
        name, (2000, 1500), Stage.DRY_FIT, True, 1 / 64, 0.010, scale, px(np.array(shift_in)), tuple(tips), tuple(joints), warnings=()
    )


def moved(lobes: list[Lobe], index: int, by_in: float) -> list[Lobe]:
    """The same fit after somebody pushed one lobe's point clockwise."""
    lobe = lobes[index]
    changed = replace(lobe, bearing=lobe.bearing + by_in / lobe.reach_in, offset_in=lobe.offset_in + by_in)
    return [*lobes[:index], changed, *lobes[index + 1 :]]
