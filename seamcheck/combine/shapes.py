"""The shape of a loose lobe from several photos that show it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from ..basis.uncertain import Estimate
from ..result import LobeShape
from .numbers import combined

# Whose scatter from photo to photo says how much of a shape's sampling is each photo's own: numbers that come of the same edges.
LIKE_LENGTH, LIKE_ANGLE, LIKE_OWN = "length", "root_angle", "own_seam_offset"


def shapes_together(shapes: Sequence[LobeShape | None], own_share: Mapping[str, float]) -> LobeShape | None:
    """Every number's mean over the photos that have it; None where none has a shape. own_share: see `numbers.combined`."""
    known = [shape for shape in shapes if shape is not None]
    if not known:
        return None
    own_root = [shape.own_root_offset for shape in known if shape.own_root_offset is not None]
    return LobeShape(
        dict(_means([shape.lengths for shape in known], own_share[LIKE_LENGTH])),
        dict(_means([shape.bows for shape in known], own_share[LIKE_LENGTH])),
        dict(_means([shape.angles for shape in known], own_share[LIKE_ANGLE])),
        combined(own_root, own_share[LIKE_OWN]) if own_root else None,
    )


def _means(each: Sequence[Mapping[str, Estimate]], own_share: float) -> Iterator[tuple[str, Estimate]]:
    for name in dict.fromkeys(name for numbers in each for name in numbers):
        yield name, combined([numbers[name] for numbers in each if name in numbers], own_share)
