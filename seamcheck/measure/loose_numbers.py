"""The shape of a lobe that lies loose: every edge's length and straightness, and its angles, from the measured lines."""

from __future__ import annotations

import numpy as np

from ..basis.frames import Array, bearing_of, wrap_angle
from ..basis.uncertain import Estimate
from ..result import EDGES, HALF_ANGLES, LobeShape
from .lobes import LobeFit
from .tips import SOURCES, Cases, Lines, Sight, crossing_of, estimates

FOUR = ("left", "right", "left short", "right short")
# The wood's figure bends a straight edge's blocks by about so much, inches (in rendered scenes, beside what they scatter).
U_FIGURE_BOW_IN = 0.0003


def lobe_shape(sight: Sight, lines: Lines, fit: LobeFit) -> LobeShape:
    """As much of a lobe's shape as its measured lines give."""
    lengths: dict[str, Estimate] = {}
    angles: dict[str, Estimate] = {}
    if all(name in lines for name in FOUR):
        found = estimates(sight, {name: lines[name] for name in FOUR}, SOURCES, _lengths_and_angles)
        lengths, angles = dict(zip(EDGES, found, strict=False)), dict(zip(HALF_ANGLES, found[len(EDGES) :], strict=True))
    own_root = None
    if all(name in lines for name in ("own", "left short", "right short")):
        own_root = estimates(sight, {name: lines[name] for name in ("own", "left short", "right short")}, SOURCES, _own_root_offset)[0]
    edges = zip(EDGES, (fit.left_short, fit.right_short, fit.left, fit.right), strict=True)
    bows = {
        name: Estimate(edge.bow_in, {"edges": edge.u_bow_in, "edges model": U_FIGURE_BOW_IN}) for name, edge in edges if edge is not None
    }
    return LobeShape(lengths, bows, angles, own_root)


def _lengths_and_angles(lines: dict[str, Cases]) -> Array:
    """(n, 8): EDGES' lengths (inches), HALF_ANGLES (rad)."""
    tip, root = crossing_of(lines["left"], lines["right"]), crossing_of(lines["left short"], lines["right short"])
    shoulders = [crossing_of(lines[f"{side} short"], lines[side]) for side in ("left", "right")]
    axis = bearing_of(tip - root)
    lengths = [np.linalg.norm(shoulder - end, axis=1) for end in (root, tip) for shoulder in shoulders]
    angles = [np.abs(wrap_angle(bearing_of(shoulder - root) - axis)) for shoulder in shoulders]
    angles += [np.abs(wrap_angle(bearing_of(tip - shoulder) - axis)) for shoulder in shoulders]
    return np.stack([*lengths, *angles], axis=1)


def _own_root_offset(lines: dict[str, Cases]) -> Array:
    """(n, 1): how far the root lies clockwise of the own seam, inches."""
    return lines["own"].offset_of(crossing_of(lines["left short"], lines["right short"]))[:, None]
