"""Where tips and cards lie on the plane, with how every unknown moves them: what lays one photo of a fit on another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..basis.frames import Array, bearing_of, unit_of_bearing
from ..basis.lines import Line
from ..cards.geometry import PAPER_THICKNESS_IN
from ..plane.camera import Camera
from ..result import TipPlace
from .tips import SOURCES, Cases, Lines, Sight, crossing_of

LONG_EDGES = ("left", "right")


def tip_place(sight: Sight, lines: Lines) -> TipPlace | None:
    """The moves of the tip in plan, one standard uncertainty of each unknown; None where a long edge is missing.

    Propagated as in `tips`: one cause at a time, both edges seen by each alternative at once.
    """
    if any(name not in lines for name in LONG_EDGES):
        return None
    one = {name: _cases(lines[name]) for name in LONG_EDGES}
    tip = crossing_of(*one.values())[0]
    moves: dict[str, list[Array]] = {}
    for name in LONG_EDGES:
        line, other = lines[name], one[LONG_EDGES[name == LONG_EDGES[0]]]
        for part, across, turn in _own_moves(line):
            point = line.point_in + across * line.normal
            moved = crossing_of(Cases(point[None], np.array([line.bearing + turn])), other)[0]
            moves.setdefault(SOURCES[name] + part, []).append(moved - tip)
    seen = crossing_of(*(sight.seen_otherwise(name, lines[name]) for name in LONG_EDGES))
    for (source, _, _), moved in zip(sight.alternatives, seen, strict=True):
        moves.setdefault(source, []).append(moved - tip)
    outward = sum(unit_of_bearing(lines[name].bearing) for name in LONG_EDGES)
    return TipPlace(tip, float(bearing_of(np.asarray(outward))), {source: np.array(own) for source, own in moves.items()})


def card_moves(camera: Camera, variants: Sequence[tuple[str, Camera]], places_in: Mapping[int, Array]) -> dict[int, dict[str, Array]]:
    """Of each card's middle, (2,) on the plane: what each unknown of the camera does to it, (n, 2) inches, by source, as of the tips."""
    if not places_in or not variants:
        return {card: {} for card in places_in}
    places = np.array(list(places_in.values()))
    px = camera.px_from_plane(places, PAPER_THICKNESS_IN)
    moves: dict[str, list[Array]] = {}
    for source, other in variants:
        moves.setdefault(source, []).append(other.plane_from_px(px, PAPER_THICKNESS_IN) - places)
    return {card: {source: np.array(own)[:, k] for source, own in moves.items()} for k, card in enumerate(places_in)}


def _cases(line: Line) -> Cases:
    return Cases(line.point_in[None], np.array([line.bearing]))


def _own_moves(line: Line) -> list[tuple[str, float, float]]:
    """(addition to the source's name, inches to the right, rad), one standard uncertainty each."""
    return [*(("", across, turn) for across, turn in line.moves()), (" model", line.u_model_in, 0.0)]
