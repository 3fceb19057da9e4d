"""From measured lines to a tip's numbers, each with what it is uncertain by.

Every number is a function of straight lines on the plane and of what the camera, the print and the veneer make of them.
Its uncertainty is propagated by moving one cause at a time by its standard uncertainty (JCGM 100:2008, 5.1.2 and note 2 of
5.1.3): each line across and in direction, the camera along each independent direction, the veneer's thickness. All these cases
of a number are computed at once, as arrays whose first axis is the case.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from ..basis.frames import Array, bearing_of, right_of, unit_of_bearing, wrap_angle
from ..basis.lines import Line
from ..basis.uncertain import COVERAGE_95, Estimate
from ..plane.camera import Camera
from ..plane.spread import PAPER, PRINT

VENEER = "veneer"
# Unknowns of the cards and of the rose itself, whichever photo shows them.
SAME_IN_EVERY_PHOTO = (PRINT, PAPER, VENEER)
Lines = dict[str, Line]
FIELD_SEAM = "seam"  # the name of the only line that lies on the field


@dataclass(frozen=True, eq=False)
class Cases:
    """One line as it lies in each of n cases. Frame: plane."""

    point_in: Array  # (n, 2)
    bearing: Array  # (n,) rad

    @cached_property
    def normal(self) -> Array:
        """Unit vectors (n, 2) to the right of the line."""
        return right_of(unit_of_bearing(self.bearing))

    @cached_property
    def place_in(self) -> Array:
        """(n,): how far to its own right the line lies from the plane's origin."""
        return np.sum(self.point_in * self.normal, axis=1)

    def offset_of(self, point_in: Array) -> Array:
        """How far the points (n, 2) lie to the right of the line, (n,) inches."""
        return np.sum((point_in - self.point_in) * self.normal, axis=1)


@dataclass(frozen=True)
class Sight:
    """How plane points follow from the photo: the best answer, and the answers one standard uncertainty away."""

    camera: Camera
    variants: tuple[tuple[str, Camera], ...]  # (source, camera)
    face_in: float  # height of the lobes' faces over the field
    u_face_in: float
    _known: dict[int, tuple[Line, Cases]] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def alternatives(self) -> list[tuple[str, Camera, float]]:
        """(source, camera, face height): everything but the lines, one standard uncertainty away."""
        result = [(source, camera, self.face_in) for source, camera in self.variants]
        if self.u_face_in > 0:
            result.append((VENEER, self.camera, self.face_in + self.u_face_in))
        return result

    def look_at(self, bundles: Sequence[Lines]) -> None:
        """Find what each alternative makes of all these lines' pixels: much cheaper for all lines together than one by one."""
        new = [(line, name != FIELD_SEAM) for lines in bundles for name, line in lines.items() if id(line) not in self._known]
        if not new:
            return
        on_face = np.array([face for _, face in new])[:, None]
        height = np.array([line.z_in for line, _ in new])[:, None]
        px = self.camera.px_from_plane(np.stack([line.ends_in for line, _ in new]), height)
        ends = np.empty((len(new), len(self.alternatives), 2, 2))
        for k, (_, camera, face_in) in enumerate(self.alternatives):
            ends[:, k] = camera.plane_from_px(px, np.where(on_face, face_in, 0.0))
        points, bearings = ends.mean(axis=2), bearing_of(ends[:, :, 1] - ends[:, :, 0])
        for k, (line, _) in enumerate(new):
            # The line is kept with its answers, so that its id stays its own.
            self._known[id(line)] = line, Cases(points[k], bearings[k])

    def seen_otherwise(self, name: str, line: Line) -> Cases:
        """The lines that the same pixels give by each of the alternatives."""
        if id(line) not in self._known:
            self.look_at([{name: line}])
        return self._known[id(line)][1]


def estimates(sight: Sight, lines: Lines, sources: dict[str, str], compute: Callable[[dict[str, Cases]], Array]) -> list[Estimate]:
    """Numbers computed from lines, each with its parts.

    compute: n cases of the lines, by name -> (n, k) numbers; sources: what each line's uncertainty is called in the budget.
    """
    moves = {name: _own_moves(line) for name, line in lines.items()}
    alternatives = sight.alternatives
    count = 1 + sum(len(own) for own in moves.values()) + len(alternatives)
    causes: list[str] = []
    cases: dict[str, Cases] = {}
    for name, line in lines.items():
        point, bearing, normal = np.tile(line.point_in, (count, 1)), np.full(count, line.bearing), line.normal
        for part, across, turn in moves[name]:
            causes.append(sources[name] + part)
            point[len(causes)] += across * normal
            bearing[len(causes)] += turn
        otherwise = sight.seen_otherwise(name, line)
        first = count - len(alternatives)
        point[first:], bearing[first:] = otherwise.point_in, otherwise.bearing
        cases[name] = Cases(point, bearing)
    causes += [source for source, _, _ in alternatives]
    values = compute(cases)
    changes: dict[str, list[Array]] = {}
    for source, change in zip(causes, values[1:] - values[0], strict=True):
        changes.setdefault(source, []).append(change)
    return [
        Estimate(
            float(value),
            {source: float(np.sqrt(sum(change[k] ** 2 for change in own))) for source, own in changes.items()},
            {source: tuple(float(change[k]) for change in changes[source]) for source in SAME_IN_EVERY_PHOTO if source in changes},
        )
        for k, value in enumerate(values[0])
    ]


def _own_moves(line: Line) -> list[tuple[str, float, float]]:
    """What a line may be off by, one standard uncertainty each: (addition to the source's name, inches to the right, rad)."""
    moves = [("", across, turn) for across, turn in line.moves()]
    return [*moves, (" model", line.u_model_in, 0.0)] if line.u_model_in > 0 else moves


def centre_of(owns: Sequence[Line] | Sequence[Cases]) -> Array:
    """(2,), or (n, 2) of n cases: the point with the least sum of squared distances to the lines."""
    normals = right_of(unit_of_bearing(np.array([line.bearing for line in owns])))
    places = np.sum(normals * np.array([line.point_in for line in owns]), axis=-1)
    x, y = normals[..., 0], normals[..., 1]
    xx, xy, yy, right_x, right_y = (np.sum(product, axis=0) for product in (x * x, x * y, y * y, x * places, y * places))
    return np.stack([yy * right_x - xy * right_y, xx * right_y - xy * right_x], axis=-1) / (xx * yy - xy * xy)[..., None]


def centre_scatter(owns: Sequence[Line], missing: int) -> float:
    """Standard uncertainty of the centre, root mean square over all directions, from own seams that couldn't be had (inches)."""
    if missing <= 0 or len(owns) < 3:
        return 0.0
    centre = centre_of(owns)
    away = np.array([line.offset_of(centre) for line in owns])
    # Each line fixes the centre across itself only: two unknowns from n lines that lie evenly leave 2 / n of a line's scatter; from lines
    # that all run much alike, more.
    variance = np.sum(away**2) / max(len(owns) - 2, 1)
    normals = right_of(unit_of_bearing(np.array([line.bearing for line in owns])))
    usual = len(owns) / 2 / max(float(np.linalg.det(normals.T @ normals)), 1e-9)  # half the trace of the inverse
    return float(np.sqrt(variance * max(usual - 2 / (len(owns) + missing), 0.0)))


def crossing_of(a: Cases, b: Cases) -> Array:
    """Where two lines cross, (n, 2). Parallel lines give infinities."""
    (ax, ay), (bx, by) = a.normal.T, b.normal.T
    determinant = ax * by - ay * bx
    parallel = np.abs(determinant) < 1e-12
    place = np.stack([a.place_in * by - b.place_in * ay, ax * b.place_in - bx * a.place_in], axis=1)
    return np.where(parallel[:, None], np.inf, place / np.where(parallel, 1.0, determinant)[:, None])


def seam_offset(lines: dict[str, Cases]) -> Array:
    """(n, 1): how far the tip lies clockwise of the field seam."""
    return lines["seam"].offset_of(crossing_of(lines["left"], lines["right"]))[:, None]


def own_seam_offset(lines: dict[str, Cases]) -> Array:
    """(n, 1): how far the tip lies clockwise of the lobe's own seam."""
    return lines["own"].offset_of(crossing_of(lines["left"], lines["right"]))[:, None]


def own_end_offset(lines: dict[str, Cases]) -> Array:
    """(n, 1): how far the lobe's own seam, where it passes the tip, lies clockwise of the field seam."""
    tip, own = crossing_of(lines["left"], lines["right"]), lines["own"]
    foot = tip - own.offset_of(tip)[:, None] * own.normal
    return lines["seam"].offset_of(foot)[:, None]


def reach(lines: dict[str, Cases]) -> Array:
    """(n, 1): the tip's distance from the centre; own seams are named own0, own1, ..."""
    owns = [line for name, line in lines.items() if name.startswith("own")]
    return np.linalg.norm(crossing_of(lines["left"], lines["right"]) - centre_of(owns), axis=1)[:, None]


def length_and_root(lines: dict[str, Cases]) -> Array:
    """(n, 2): root to tip (inches), and the angle between the short edges at the root (rad)."""
    tip = crossing_of(lines["left"], lines["right"])
    root = crossing_of(lines["left short"], lines["right short"])
    angle = np.abs(wrap_angle(lines["left short"].bearing - lines["right short"].bearing))
    return np.stack([np.linalg.norm(tip - root, axis=1), angle], axis=1)


def bearing_from(centre_in: Array, point_in: Array, up_bearing: float) -> float:
    """Bearing of a point about the centre, from the photo's up (rad, 0 to a full turn)."""
    return float((bearing_of(point_in - centre_in) - up_bearing) % (2 * np.pi))


@dataclass(frozen=True)
class TipNumbers:
    """What the lines of one lobe come to; None where a line is missing."""

    seam_offset: Estimate | None = None
    own_seam_offset: Estimate | None = None
    reach: Estimate | None = None
    length: Estimate | None = None
    root_angle: Estimate | None = None  # rad
    own_end_offset: Estimate | None = None


# What each line's uncertainty is called in a budget.
SOURCES = {"left": "edges", "right": "edges", "own": "own seam", "left short": "edges", "right short": "edges", FIELD_SEAM: "seam"}
CENTRE = "centre"  # the same, of the own seams that make the centre
LEAST_OWNS = 3  # own seams that make a centre
# A reach that its edges leave more uncertain than 3/64 in (95 in 100), three times what a point may usually be off, isn't worth a
# number. Print and scale don't count: they're alike for all points, and said once. Common practice, no source.
MOST_U_EDGES_IN = 3 / 64 / COVERAGE_95


def tip_numbers(sight: Sight, lines: Lines, owns: Sequence[Line], u_centre_in: float) -> TipNumbers:
    """All numbers of one lobe. owns: the own seams of all lobes, or none for loose lobes; u_centre_in: `centre_scatter`."""
    if "left" not in lines or "right" not in lines:
        return TipNumbers()
    edges = {"left": lines["left"], "right": lines["right"]}
    offset = own_offset = reached = length = root = own_end = None
    if FIELD_SEAM in lines:
        offset = estimates(sight, {**edges, FIELD_SEAM: lines[FIELD_SEAM]}, SOURCES, seam_offset)[0]
    if "own" in lines:
        own_offset = estimates(sight, {**edges, "own": lines["own"]}, SOURCES, own_seam_offset)[0]
    if "own" in lines and FIELD_SEAM in lines:
        own_end = estimates(sight, {**edges, "own": lines["own"], FIELD_SEAM: lines[FIELD_SEAM]}, SOURCES, own_end_offset)[0]
    if len(owns) >= LEAST_OWNS:
        all_owns = {f"own{k}": own for k, own in enumerate(owns)}
        found = estimates(sight, {**edges, **all_owns}, {**SOURCES, **dict.fromkeys(all_owns, CENTRE)}, reach)[0]
        if np.hypot(found.parts["edges"], found.parts["edges model"]) <= MOST_U_EDGES_IN:
            reached = replace(found, parts={**found.parts, CENTRE: float(np.hypot(found.parts[CENTRE], u_centre_in))})
    if "left short" in lines and "right short" in lines:
        shape = {name: lines[name] for name in ("left", "right", "left short", "right short")}
        length, root = estimates(sight, shape, SOURCES, length_and_root)
    return TipNumbers(offset, own_offset, reached, length, root, own_end)
