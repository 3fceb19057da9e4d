"""A rose as a job keeps it: a few numbers, from which the very rose is drawn up again."""

from __future__ import annotations

from collections.abc import Mapping
from math import degrees, hypot
from typing import Any

from .rose import Rose
from .wish import Wish


def kept_document(rose: Rose) -> dict[str, Any]:
    """What is kept of it, ring by ring from the first: lengths in inches, angles in degrees."""
    rings = [
        {
            "lobes": ring.count,
            "reach_in": round(ring.reach_in, 9),
            "length_in": round(ring.shape.length_in, 9),
            "root_angle_deg": round(degrees(ring.shape.root_angle), 6),
            "short_edge_in": round(float(hypot(*ring.shape.shoulder_in)), 9),
        }
        for ring in rose.rings
    ]
    return {"points": rose.points, "dark_side": rose.dark_side, "rings": rings}


def kept_wish(document: Mapping[str, Any]) -> Wish:
    """The wish that draws up the rose that is kept."""
    rings = document["rings"]
    reaches, shorts = (tuple(float(ring[name]) for ring in rings) for name in ("reach_in", "short_edge_in"))
    return Wish(int(document["points"]), reaches, len(rings), shorts)
