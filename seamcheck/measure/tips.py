"""From measured lines to a tip's numbers, each with what it is uncertain by.

Every number is a function of straight lines on the plane and of what the camera, the print and the veneer make of them.
Its uncertainty is propagated by moving one cause at a time by its standard uncertainty (JCGM 100:2008, 5.1.2 and note 2 of
5.1.3): each line across and in direction, the camera along each independent direction, the veneer's thickness.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from ..basis.frames import Array, bearing_of, wrap_angle
from ..basis.lines import Line, crossing
from ..basis.uncertain import Estimate
from ..plane.camera import Camera


@dataclass(frozen=True)
class Sight:
    """How plane points follow from the photo: the best answer, and the answers one standard uncertainty away."""

    camera: Camera
    variants: tuple[tuple[str, Camera], ...]  # (source, camera)
    face_in: float  # height of the lobes' faces over the field
    u_face_in: float
    _known: dict[int, tuple[Line, list[Line]]] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def alternatives(self) -> list[tuple[str, Camera, float]]:
        """(source, camera, face height): everything but the lines, one standard uncertainty away."""
        result = [(source, camera, self.face_in) for source, camera in self.variants]
        if self.u_face_in > 0:
            result.append(("veneer", self.camera, self.face_in + self.u_face_in))
        return result

    def seen_otherwise(self, line: Line, on_face: bool) -> list[Line]:
        """The lines that the same pixels give by each alternative; on_face: the line lies on the lobes' faces, not on the field."""
        known = self._known.get(id(line))
        if known is None:
            px = self.camera.px_from_plane(line.ends_in, line.z_in)
            lines = []
            for _, camera, face_in in self.alternatives:
                z_in = face_in if on_face else 0.0
                ends = camera.plane_from_px(px, z_in)
                lines.append(replace(line.through(ends[0], ends[1]), z_in=z_in))
            # The line is kept with its answers, so that its id stays its own.
            known = self._known[id(line)] = line, lines
        return known[1]


Lines = dict[str, Line]
FIELD_SEAM = "seam"  # the name of the only line that lies on the field


def estimates(sight: Sight, lines: Lines, sources: dict[str, str], compute: Callable[[Lines], Array]) -> list[Estimate]:
    """Numbers computed from lines, each with its parts.

    compute: lines by name -> (k,) numbers; sources: what each line's uncertainty is called in the budget.
    """
    value = compute(lines)
    variance: dict[str, Array] = {}

    def moved(source: str, changed: Array) -> None:
        variance[source] = variance.get(source, np.zeros(len(value))) + (changed - value) ** 2

    for name, line in lines.items():
        across = line.point_in + np.sqrt(max(line.cov[0, 0], 0.0)) * line.normal
        moved(sources[name], compute({**lines, name: replace(line, point_in=across)}))
        turned = replace(line, bearing=line.bearing + float(np.sqrt(max(line.cov[1, 1], 0.0))))
        moved(sources[name], compute({**lines, name: turned}))
        if line.u_model_in > 0:
            modelled = replace(line, point_in=line.point_in + line.u_model_in * line.normal)
            moved(sources[name] + " model", compute({**lines, name: modelled}))
    otherwise = {name: sight.seen_otherwise(line, name != FIELD_SEAM) for name, line in lines.items()}
    for k, (source, _, _) in enumerate(sight.alternatives):
        moved(source, compute({name: seen[k] for name, seen in otherwise.items()}))
    names = list(variance)
    return [Estimate(float(value[k]), {name: float(np.sqrt(variance[name][k])) for name in names}) for k in range(len(value))]


def centre_of(owns: Sequence[Line]) -> Array:
    """(2,): the point with the least sum of squared distances to the lines."""
    bearings = np.array([line.bearing for line in owns])
    normals = np.stack([np.cos(bearings), -np.sin(bearings)], axis=-1)
    places = np.sum(normals * np.array([line.point_in for line in owns]), axis=1)
    return np.asarray(np.linalg.solve(normals.T @ normals, normals.T @ places))


def centre_scatter(owns: Sequence[Line], missing: int) -> float:
    """Standard uncertainty of the centre along any direction from own seams that couldn't be had (inches)."""
    if missing <= 0 or len(owns) < 3:
        return 0.0
    centre = centre_of(owns)
    away = np.array([line.offset_of(centre) for line in owns])
    # Each line fixes the centre across itself only: two unknowns from n lines leave 2 / n of a line's scatter.
    scatter = float(np.sqrt(np.sum(away**2) / max(len(owns) - 2, 1)))
    total = len(owns) + missing
    return scatter * float(np.sqrt(2 / len(owns) - 2 / total))


def seam_offset(lines: Lines) -> Array:
    """(1,): how far the tip lies clockwise of the field seam."""
    return np.array([lines["seam"].offset_of(crossing(lines["left"], lines["right"]))])


def own_seam_offset(lines: Lines) -> Array:
    """(1,): how far the tip lies clockwise of the lobe's own seam."""
    return np.array([lines["own"].offset_of(crossing(lines["left"], lines["right"]))])


def reach(lines: Lines) -> Array:
    """(1,): the tip's distance from the centre; own seams are named own0, own1, ..."""
    owns = [line for name, line in lines.items() if name.startswith("own")]
    return np.array([np.linalg.norm(crossing(lines["left"], lines["right"]) - centre_of(owns))])


def length_and_root(lines: Lines) -> Array:
    """(2,): root to tip (inches), and the angle between the short edges at the root (rad)."""
    tip = crossing(lines["left"], lines["right"])
    root = crossing(lines["left short"], lines["right short"])
    angle = abs(float(wrap_angle(lines["left short"].bearing - lines["right short"].bearing)))
    return np.array([np.linalg.norm(tip - root), angle])


def bearing_from(centre_in: Array, point_in: Array, up_bearing: float) -> float:
    """Bearing of a point about the centre, from the photo's up (rad, 0 to a full turn)."""
    return float((bearing_of(point_in - centre_in) - up_bearing) % (2 * np.pi))
