"""A bare top's measured lines and edge as what is reported of it: seams numbered, centre, edge, and the place for a rose."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..basis.frames import Array, unit_of_bearing, wrap_angle
from ..basis.lines import Line
from ..basis.reasons import Reason
from ..measure.bare_numbers import LEAST_SEAMS, centre_cov, edge_numbers, seam_numbers
from ..measure.field_seams import FieldSeamFit
from ..measure.round_edge import RoundEdge
from ..measure.tips import Sight, centre_of, centre_scatter
from ..plane.camera import Camera
from ..result import BareTop, RosePlace, RosePoint, Seam
from .rose_place import Placing, RosePattern, even_place, fewest_suited, place_rose, suited_lobes


def bears_out(followed: int, looked_for: int) -> bool:
    """Whether so many seams followed, of a pattern's all, tell its count: half of them fit half as many leaves just as well."""
    return 2 * followed > looked_for


def bare_top(
    sight: Sight,
    bearings: Array,
    found_centre_in: Array,
    fits: Sequence[FieldSeamFit | Reason],
    edge: RoundEdge | Reason,
    pattern: RosePattern | None,
    tolerance_in: float,
) -> tuple[tuple[Seam, ...], BareTop, Array | None]:
    """(the seams that were measured, the top, where the seams meet (2,) or None). bearings (n,): of all seams, going round.

    Where too few of them could be followed to bear the pattern out, those alone are told and numbered, and no rose is placed.
    """
    camera = sight.camera
    lines = [None if isinstance(fit, Reason) else fit.line for fit in fits]
    known = [line for line in lines if line is not None]
    centre_in = centre_of(known) if len(known) >= LEAST_SEAMS else None
    missing, counted = len(fits) - len(known), bears_out(len(known), len(fits))
    at = found_centre_in if centre_in is None else centre_in
    up = camera.up_bearing_at(at)
    # Numbered clockwise from the one nearest to the photo's up.
    order = sorted(range(len(fits)), key=lambda k: float((bearings[k] - up) % (2 * np.pi)))
    first = min(order, key=lambda k: abs(float(wrap_angle(bearings[k] - up))))
    order = order[order.index(first) :] + order[: order.index(first)]
    fits, lines = [fits[k] for k in order], [lines[k] for k in order]
    known = [line for line in lines if line is not None]
    numbers = seam_numbers(sight, known, missing)
    seams: list[Seam] = []
    which: list[int] = []
    for k, fit in enumerate(fits):
        if isinstance(fit, Reason):
            continue
        mine = numbers[len(seams)]
        seams.append(
            Seam(
                float((mine.turn.value - up) % (2 * np.pi)),
                mine.turn.u,
                mine.off_centre,
                mine.place,
                camera.px_from_plane(fit.line.ends_in),
                fit.cue,
            )
        )
        which.append(k + 1 if counted else len(seams))
    lost = [(k + 1, float((bearings[order[k]] - up) % (2 * np.pi)), fit) for k, fit in enumerate(fits) if isinstance(fit, Reason)]
    u_centre = float("nan")
    if centre_in is not None:
        u_centre = float(np.hypot(np.sqrt(np.linalg.eigvalsh(centre_cov(known))[-1]), centre_scatter(known, missing)))
    diameter = edge_off = edge_way = edge_centre = edge_places = None
    if isinstance(edge, RoundEdge):
        edge_centre, edge_places = camera.px_from_plane(edge.centre_in), camera.px_from_plane(edge.places_in)
        if centre_in is not None:
            found = edge_numbers(sight, known, edge, missing)
            diameter, edge_off, edge_way = found.diameter, found.off_centre, float((found.off_bearing - up) % (2 * np.pi))
    even = fewest = None
    if pattern is not None and centre_in is not None and counted:
        placed = place_rose(sight, lines, pattern)
        if placed is not None:
            even = _reported(camera, lines, pattern, placed, centre_in, up)
            if placed.largest_in > tolerance_in:
                other = fewest_suited(sight, lines, pattern, tolerance_in)
                fewest = None if other is None else _reported(camera, lines, pattern, other, centre_in, up)
    top = BareTop(
        len(fits) if counted else None,
        len(fits),
        u_centre,
        tuple(lost) if counted else (),
        tuple(which),
        diameter,
        edge_off,
        edge_way,
        edge_centre,
        edge_places,
        edge if isinstance(edge, Reason) else None,
        even=even,
        fewest=fewest,
    )
    return tuple(seams), top, centre_in


def _reported(
    camera: Camera, lines: Sequence[Line | None], pattern: RosePattern, placing: Placing, centre_in: Array, up: float
) -> RosePlace:
    lobes = suited_lobes(lines, pattern, placing)
    rings = pattern.rings
    points = []
    for k, seam in enumerate(placing.seams):
        lobe, reach = lobes[k], pattern.reaches_in[rings[k] - 1]
        axis = placing.bearing + 2 * np.pi * k / pattern.points if lobe is None else lobe.axis
        tip = placing.centre_in + reach * unit_of_bearing(axis)
        points.append(
            RosePoint(
                int(rings[k]),
                seam + 1,
                float((axis - up) % (2 * np.pi)),
                camera.px_from_plane(tip),
                reach,
                placing.misses[k],
                placing.suited[k],
                None if lobe is None else lobe.left_angle,
                None if lobe is None else lobe.right_angle,
            )
        )
    shift = placing.centre_in - centre_in
    right, ahead = unit_of_bearing(up + np.pi / 2), unit_of_bearing(up)
    _, even_bearing = even_place(lines, pattern, placing.seams)
    return RosePlace(
        camera.px_from_plane(placing.centre_in),
        (float(shift @ right), float(shift @ ahead)),
        float(wrap_angle(placing.bearing - even_bearing)),
        tuple(points),
        placing.largest_in,
    )
