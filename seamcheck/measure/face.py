"""How high the lobes' faces lie above the field: the veneer's thickness in a dry fit, nothing once they are let in."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from ..basis.veneer import thickness


@dataclass(frozen=True)
class Face:
    """How high the lobes' faces lie above the field, inches, its standard uncertainty, and whether they stand on it."""

    z_in: float
    u_in: float
    raised: bool


def face(inlaid: bool, wrong: float, told_in: float | None) -> Face:
    """How the faces lie, for a veneer's thickness that was told (or None).

    wrong: how likely it is that the stage isn't that: faces of another stage lie one thickness off.
    """
    thick_in, u_in = thickness(told_in)
    doubt = wrong**0.5 * thick_in
    return Face(0.0, doubt, False) if inlaid else Face(thick_in, hypot(u_in, doubt), True)
