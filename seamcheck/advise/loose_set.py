"""Lobes that lie loose, as sorting and ordering need them: shapes with what they are uncertain by.

Left and right as seen from a lobe's root looking to its tip; offsets positive to the right.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array
from ..basis.uncertain import Estimate
from ..kite import HalfShape
from ..result import HALF_ANGLES

# Lengths of one ring's lobes lie within this ratio of each other; a larger step parts two rings.
RING_STEP = 1.15
# The numbers that a lobe's outline and own seam follow from.
NUMBERS = ("length", *HALF_ANGLES, "own_root", "own_tip")


@dataclass(frozen=True)
class LooseLobe:
    """One lobe. `numbers` holds those of NUMBERS that were measured (inches, rad)."""

    name: str  # "3", or "B3": of the second photo
    photo: int  # 0, 1, ...
    numbers: Mapping[str, Estimate]
    root_angle: Estimate | None  # rad
    lengths: Mapping[str, Estimate]  # inches, by edge
    bows: Mapping[str, Estimate]  # inches, by edge
    dark_side: str | None  # "cw" (right) or "ccw"
    outline_px: Array  # (4, 2) in its photo
    turned_over: bool = False

    @property
    def is_whole(self) -> bool:
        return all(name in self.numbers for name in NUMBERS)

    def value(self, name: str) -> float:
        return self.numbers[name].value

    @property
    def shape(self) -> HalfShape:
        """Only of a whole lobe."""
        return shape_of([self.value(name) for name in NUMBERS])

    def over(self) -> LooseLobe:
        """The same lobe lying on its other face."""
        swapped = {_swapped(name): _signed(name, estimate) for name, estimate in self.numbers.items()}
        return LooseLobe(
            self.name,
            self.photo,
            swapped,
            self.root_angle,
            {_swapped(name): estimate for name, estimate in self.lengths.items()},
            {_swapped(name): estimate for name, estimate in self.bows.items()},
            {"cw": "ccw", "ccw": "cw"}.get(self.dark_side or ""),
            self.outline_px,
            not self.turned_over,
        )


def shape_of(numbers: Sequence[float]) -> HalfShape:
    """The outline that follows from NUMBERS."""
    length, left_root, right_root, left_tip, right_tip = numbers[:5]
    return HalfShape.of_angles(length, (left_root, right_root), (left_tip, right_tip))


def _swapped(name: str) -> str:
    if name.startswith("left_"):
        return name.replace("left_", "right_", 1)
    return name.replace("right_", "left_", 1) if name.startswith("right_") else name


def _signed(name: str, estimate: Estimate) -> Estimate:
    return Estimate(-estimate.value, estimate.parts) if name.startswith("own_") else estimate


def usual_side(lobes: Sequence[LooseLobe]) -> str | None:
    """The side that is dark in most lobes; None where as many have it on either."""
    sides = [lobe.dark_side for lobe in lobes if lobe.dark_side is not None]
    right = sides.count("cw")
    return None if 2 * right == len(sides) else "cw" if 2 * right > len(sides) else "ccw"


def rings_by_size(lobes: Sequence[LooseLobe]) -> list[list[LooseLobe]]:
    """Whole lobes parted where their lengths take a step, the longest first."""
    ordered = sorted((lobe for lobe in lobes if lobe.is_whole), key=lambda lobe: -lobe.value("length"))
    rings: list[list[LooseLobe]] = []
    for lobe in ordered:
        if rings and rings[-1][-1].value("length") / lobe.value("length") < RING_STEP:
            rings[-1].append(lobe)
        else:
            rings.append([lobe])
    return rings


def usual_shape(lobes: Sequence[LooseLobe]) -> HalfShape:
    """The middle of several lobes' numbers, either half alike: what they seem to have been cut to."""
    middle = {name: float(np.median([lobe.value(name) for lobe in lobes])) for name in NUMBERS}
    root, tip = (float(np.mean([middle[f"{side}_{end}"] for side in ("left", "right")])) for end in ("root", "tip"))
    return HalfShape.of_angles(middle["length"], (root, root), (tip, tip))
