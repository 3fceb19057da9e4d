"""What the measurement of every edge of a rose's lobes needs to know."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..basis.frames import Array
from ..edges import LinearPatch
from ..kite import FoundLobe, Kite
from ..optics import Optics
from ..plane.camera import Camera
from .edge_profile import Shaded
from .edge_task import Wood
from .face import Face
from .lobe_room import lean_in, other_outlines, room_along
from .shading import Shading


@dataclass(frozen=True)
class Context:
    """What every edge's measurement needs."""

    patch: LinearPatch
    camera: Camera
    lobes: Sequence[FoundLobe]
    face: Face
    woods: dict[bool, Wood]
    optics: Optics

    @property
    def z_in(self) -> float:
        """The plane that edges are measured on: the faces'."""
        return self.face.z_in

    @cached_property
    def kites(self) -> list[Kite]:
        return [lobe.kite for lobe in self.lobes]

    def shaded(self, shading: Shading, at_in: Array, outward: Array) -> Shaded:
        """What lies beyond an edge of a raised lobe that passes a point, (2,) inches."""
        lean = self.lean_in(at_in, outward)
        return Shaded(shading, outward, lean, lean * self.face.u_in / self.z_in)

    def lean_in(self, at_in: Array, outward: Array) -> float:
        """How far the field is seen shifted outward against a lobe's face, (2,) inches."""
        return lean_in(self.camera, at_in, outward, self.z_in)

    def wood(self, k: int, side: int) -> Wood | None:
        """The wood of lobe k's half on a side (-1 left, +1 right); None where it isn't known."""
        return wood_of(self.woods, self.lobes[k], side)

    def room(self, k: int, side: int, start: Array, stop: Array, tip_in: Array) -> Array:
        """Room about an edge of lobe k: inward to its own seam, outward to the nearest other lobe."""
        own_seam = np.stack([self.kites[k].root_in, tip_in])
        return room_along(start, stop, side, own_seam, *other_outlines(self.kites, k))


def is_dark(lobe: FoundLobe, side: int) -> bool:
    """Whether a lobe's half on a side (-1 left, +1 right) is the dark one."""
    return (lobe.dark_side == "cw") == (side > 0)


def wood_of(woods: dict[bool, Wood], lobe: FoundLobe, side: int) -> Wood | None:
    return woods.get(is_dark(lobe, side)) if lobe.dark_side else None
