"""How high the lobes' faces lie above the field: the veneer's thickness in a dry fit, nothing once they are let in."""

from __future__ import annotations

from dataclasses import dataclass

from ..basis.veneer import THICK_VENEER_IN, U_VENEER_IN, U_VENEER_TOLD_IN, USUAL_VENEER_IN

# How often a rose without tape is yet a dry fit: a guess, for points are taped down one by one, but students lay them out loose. Rendered
# dry fits without tape that were taken for inlaid needed as much for their offsets to lie inside u95.
GUESS_WRONG = 0.3


@dataclass(frozen=True)
class Face:
    """How high the lobes' faces lie above the field, inches, its standard uncertainty, and whether they stand on it."""

    z_in: float
    u_in: float
    raised: bool


def faces(inlaid: bool, stage_told: bool, told_in: float | None) -> tuple[Face, Face | None]:
    """How the faces lie, for a veneer's thickness that was told (or None), and what the photo may speak for instead."""
    if inlaid:
        return Face(0.0, 0.0 if stage_told else GUESS_WRONG**0.5 * (told_in or USUAL_VENEER_IN), False), None
    if told_in:
        return Face(told_in, U_VENEER_TOLD_IN, True), None
    return Face(USUAL_VENEER_IN, U_VENEER_IN, True), Face(THICK_VENEER_IN, U_VENEER_IN, True)
