"""What a rose's stage means for how it is measured; dry fit or inlaid is settled here, by tape and shade, where nobody said."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .basis.veneer import thickness
from .edges import LinearPatch
from .find.stage import RAISED_FROM, moved_to
from .kite import FoundLobe, FoundRose
from .measure.face import face
from .measure.lobe_start import Begun, begin
from .measure.standing import chance_raised
from .measure.tips import bearing_from
from .optics import Optics
from .plane.camera import Camera
from .result import Stage


@dataclass(frozen=True)
class Staged:
    """A rose (or loose lobes) at its stage's height, and how measuring it began."""

    stage: Stage
    rose: FoundRose
    begun: Begun


def staged(
    patch: LinearPatch, camera: Camera, optics: Optics, stage: Stage, rose: FoundRose, told: bool, veneer_in: float | None
) -> Staged:
    """The rose as it was found, at a stage that was told or at the likelier one. veneer_in: the thickness that was told, or None."""
    if told or stage is Stage.LOOSE:
        return _at(patch, camera, optics, stage, rose, 0.0, veneer_in)
    thick_in, _ = thickness(veneer_in)
    up, down = (rose, moved_to(rose, camera, thick_in, 0.0)) if stage is Stage.DRY_FIT else (moved_to(rose, camera, 0.0, thick_in), rose)
    standing = _at(patch, camera, optics, Stage.DRY_FIT, up, 0.0, veneer_in)
    begun = standing.begun
    chance = rose.raised if rose.tape_odds is None else chance_raised(begun.teachers, begun.owns, rose.tape_odds)
    if chance < RAISED_FROM:
        return _at(patch, camera, optics, Stage.INLAID, down, chance, veneer_in)
    return replace(standing, begun=begun.doubted(face(False, 1 - chance, veneer_in).u_in))


def _at(patch: LinearPatch, camera: Camera, optics: Optics, stage: Stage, rose: FoundRose, wrong: float, veneer_in: float | None) -> Staged:
    return Staged(stage, rose, begin(patch, camera, optics, _in_order(rose, camera), face(stage is Stage.INLAID, wrong, veneer_in)))


def _in_order(rose: FoundRose, camera: Camera) -> list[FoundLobe]:
    """Lobes numbered ring by ring, clockwise from the tip nearest to the photo's up (loose: by where they lie)."""
    middle = rose.centre_in if rose.centre_in is not None else np.mean([lobe.kite.tip_in for lobe in rose.lobes], axis=0)
    up = camera.up_bearing_at(middle)
    bearings = [bearing_from(middle, lobe.kite.tip_in, up) for lobe in rose.lobes]
    order: list[int] = []
    for ring in sorted({lobe.ring or 0 for lobe in rose.lobes}):
        mine = [k for k, lobe in enumerate(rose.lobes) if (lobe.ring or 0) == ring]
        first = min(mine, key=lambda k: min(bearings[k], 2 * np.pi - bearings[k]))
        order += sorted(mine, key=lambda k: (bearings[k] - bearings[first]) % (2 * np.pi))
    return [rose.lobes[k] for k in order]
