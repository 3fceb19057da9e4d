"""Which edges of a found rose face each other, and where to look for the joint between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, bearing_of, right_of
from ..kite import FoundLobe, FoundRose

# Two edges whose rough places lie farther apart than this are no joint: a lobe is missing between them. Common practice, no source.
FARTHEST_APART_IN = 0.2


@dataclass(frozen=True, eq=False)
class JointSite:
    """Where two edges should close on each other. Frame: plane, at the height of the rose's face.

    Looking from the inner to the outer end, `lobes[0]` lies on the left (counter-clockwise) and `lobes[1]` on the right.
    """

    lobes: tuple[int | None, int | None]  # indices into the rose's lobes; None is the field
    ends_in: Array  # (2, 2): the nominal edge, inner and outer end
    left_edge_in: Array  # (2, 2): the left piece's rough edge, abreast of the nominal ends
    right_edge_in: Array  # (2, 2)
    left_axis_in: Array | None  # (2, 2): root and tip of the left lobe, whose own seam is another edge; None for the field
    right_axis_in: Array | None  # (2, 2)
    alike: bool = False  # the halves that face each other may be of one wood (a lobe laid the wrong way round, or not known)

    @property
    def length_in(self) -> float:
        """Of the nominal edge."""
        return float(np.hypot(*(self.ends_in[1] - self.ends_in[0])))

    @property
    def direction(self) -> Array:
        """Unit vector (2,), inner to outer end."""
        return (self.ends_in[1] - self.ends_in[0]) / self.length_in


def joints_of(rose: FoundRose) -> list[JointSite]:
    """Every joint of the rose; for an inlaid one also the lobes' free long edges against the field.

    First-ring lobes meet along their short edges. A lobe of a later ring sits in the notch between its two neighbours among
    the rings before it: its short edges meet their long edges.
    """
    if rose.centre_in is None:
        return []
    sites = _lobe_joints(rose)
    if rose.raised < 0.5:
        sites += _field_joints(rose, sites)
    return sites


def _lobe_joints(rose: FoundRose) -> list[JointSite]:
    lobes = [(i, lobe.ring, lobe.kite) for i, lobe in enumerate(rose.lobes) if lobe.ring is not None]
    centre = np.asarray(rose.centre_in, float)
    bearing = {i: float(bearing_of(kite.tip_in - centre)) % (2 * np.pi) for i, _, kite in lobes}
    sites = []
    for ring in sorted({ring for _, ring, _ in lobes}):
        here = sorted((i for i, r, _ in lobes if r == ring), key=lambda i: bearing[i])
        if ring == 1:
            for a, b in zip(here, here[1:] + here[:1], strict=True):
                one, other = rose.lobes[a].kite, rose.lobes[b].kite
                if a != b:
                    sites.append(
                        _site((a, b), rose.lobes[a], rose.lobes[b], _edge(one.root_in, one.right_in), _edge(other.root_in, other.left_in))
                    )
            continue
        before = sorted((i for i, r, _ in lobes if r < ring), key=lambda i: bearing[i])
        for c in here if before else []:
            clockwise_from = [(bearing[i] - bearing[c]) % (2 * np.pi) for i in before]
            a, b = before[int(np.argmax(clockwise_from))], before[int(np.argmin(clockwise_from))]
            one, it, other = rose.lobes[a].kite, rose.lobes[c].kite, rose.lobes[b].kite
            left, right = _edge(it.root_in, it.left_in), _edge(it.root_in, it.right_in)
            sites.append(_site((a, c), rose.lobes[a], rose.lobes[c], _abreast(left, one.right_in, one.tip_in), left))
            sites.append(_site((c, b), rose.lobes[c], rose.lobes[b], right, _abreast(right, other.left_in, other.tip_in)))
    return [site for site in sites if _plausible(site)]


def _field_joints(rose: FoundRose, joints: list[JointSite]) -> list[JointSite]:
    sites = []
    for i, lobe in enumerate(rose.lobes):
        for side, shoulder in ((1, lobe.kite.right_in), (-1, lobe.kite.left_in)):
            tip = lobe.kite.tip_in
            start = shoulder
            for joint in joints:
                # A later ring's lobe that meets this long edge covers its inner part: the free part begins at that lobe's shoulder.
                if joint.lobes[0 if side == 1 else 1] == i:
                    foot = _abreast(joint.ends_in, shoulder, tip)[1]
                    if (foot - start) @ (tip - shoulder) > 0 and np.hypot(*(joint.ends_in[0] - lobe.kite.root_in)) > 0.1:
                        start = foot
            edge, axis = _edge(start, tip), _edge(lobe.kite.root_in, tip)
            pair = (i, None) if side == 1 else (None, i)
            sites.append(JointSite(pair, edge, edge, edge, axis if side == 1 else None, None if side == 1 else axis))
    return sites


def _site(pair: tuple[int, int], one: FoundLobe, other: FoundLobe, left: Array, right: Array) -> JointSite:
    ends = (left + right) / 2
    # Going round, the right half of one lobe faces the left half of the next: dark meets light where both lie the same way.
    alike = None in (one.dark_side, other.dark_side) or one.dark_side != other.dark_side
    left_axis, right_axis = (_edge(lobe.kite.root_in, lobe.kite.tip_in) for lobe in (one, other))
    return JointSite(pair, ends, left, right, left_axis, right_axis, alike)


def _edge(from_in: Array, to_in: Array) -> Array:
    return np.stack([from_in, to_in]).astype(float)


def _abreast(edge: Array, a: Array, b: Array) -> Array:
    """The feet, on the line from a to b, of an edge's two ends."""
    direction = (b - a) / np.hypot(*(b - a))
    return a + ((edge - a) @ direction)[:, None] * direction


def _plausible(site: JointSite) -> bool:
    apart = (site.right_edge_in - site.left_edge_in) @ right_of(site.direction)
    return bool(np.all(np.abs(apart) < FARTHEST_APART_IN))
