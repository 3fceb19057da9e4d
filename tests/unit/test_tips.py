"""A tip's numbers and their budgets, against each cause moved by itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from seamcheck.basis.frames import unit_of_bearing
from seamcheck.basis.lines import Line, crossing
from seamcheck.measure.tips import Lines, Sight, centre_of, estimates, length_and_root, own_seam_offset, reach, seam_offset, tip_numbers
from seamcheck.plane.camera import Camera

FACE_IN, U_FACE_IN = 1 / 42, 0.004
CAMERA = Camera(2900.0, 1.0, 2000.0, 1500.0, 0.01, -0.02, 1e-4, -2e-4, np.array([3.1, 0.1, 0.05]), np.array([0.3, -0.2, 16.0]))
VARIANTS = (
    ("camera", replace(CAMERA, f_px=2903.0)),
    ("camera", replace(CAMERA, k1=0.013)),
    ("print", replace(CAMERA, translation_in=CAMERA.translation_in * 1.001)),
)
SIGHT = Sight(CAMERA, VARIANTS, FACE_IN, U_FACE_IN)
SOURCES = {"left": "edges", "right": "edges", "left short": "edges", "right short": "edges", "own": "own seam", "seam": "seam"}


def _line(point: tuple[float, float], bearing: float, z_in: float = FACE_IN, u_model_in: float = 0.0) -> Line:
    return Line(np.array(point), bearing, np.array([[4e-7, 1e-7], [1e-7, 9e-7]]), u_model_in, z_in, 0.8)


def _lobe() -> Lines:
    """A lobe that points along +y, its tip near (0.02, 3)."""
    return {
        "left": _line((-0.26, 2.3), 0.38, u_model_in=0.0006),
        "right": _line((0.29, 2.3), -0.36),
        "left short": _line((-0.25, 0.6), -0.4),
        "right short": _line((0.24, 0.6), 0.41),
        "own": _line((0.0, 1.5), 0.002),
        "seam": _line((0.0, 3.8), -0.004, 0.0, 0.0003),
    }


def _one_by_one(lines: Lines, source: str, number: Callable[[Lines], float]) -> float:
    """A part of a number's uncertainty: each cause of that source moved by itself, root of the sum of squares.

    A line's place and direction go together: its part is J cov J' (JCGM 102:2011, 6.2.1.3), the slopes J by small steps.
    """
    moved: list[Lines] = []
    square = 0.0
    for name, line in lines.items():
        if SOURCES.get(name, "centre") == source:
            aside = {**lines, name: replace(line, point_in=line.point_in + 1e-6 * line.normal)}
            turned = {**lines, name: replace(line, bearing=line.bearing + 1e-6)}
            slopes = (np.array([number(aside), number(turned)]) - number(lines)) / 1e-6
            square += float(slopes @ line.cov @ slopes)
        if SOURCES.get(name, "centre") + " model" == source:
            moved.append({**lines, name: replace(line, point_in=line.point_in + line.u_model_in * line.normal)})
    others = [(name, camera, FACE_IN) for name, camera in VARIANTS] + [("veneer", CAMERA, FACE_IN + U_FACE_IN)]
    for name, camera, face_in in others:
        if name == source:
            seen = {}
            for key, line in lines.items():
                px = CAMERA.px_from_plane(line.ends_in, line.z_in)
                seen[key] = line.through(*camera.plane_from_px(px, 0.0 if key == "seam" else face_in))
            moved.append(seen)
    return float(np.sqrt(square + sum((number(case) - number(lines)) ** 2 for case in moved)))


def _seam_offset(lines: Lines) -> float:
    return lines["seam"].offset_of(crossing(lines["left"], lines["right"]))


def _own_offset(lines: Lines) -> float:
    return lines["own"].offset_of(crossing(lines["left"], lines["right"]))


def _length(lines: Lines) -> float:
    return float(np.hypot(*(crossing(lines["left"], lines["right"]) - crossing(lines["left short"], lines["right short"]))))


def _angle(lines: Lines) -> float:
    return abs(lines["left short"].bearing - lines["right short"].bearing)


@pytest.mark.parametrize(
    ("names", "compute", "index", "number"),
    [
        (("left", "right", "seam"), seam_offset, 0, _seam_offset),
        (("left", "right", "own"), own_seam_offset, 0, _own_offset),
        (("left", "right", "left short", "right short"), length_and_root, 0, _length),
        (("left", "right", "left short", "right short"), length_and_root, 1, _angle),
    ],
)
def test_each_part_is_its_causes_moved_one_by_one(names, compute, index, number) -> None:
    lines = {name: line for name, line in _lobe().items() if name in names}
    found = estimates(SIGHT, lines, SOURCES, compute)[index]
    assert_allclose(found.value, number(lines), rtol=1e-12)
    expected = {"edges", "edges model", "camera", "print", "veneer"}
    expected |= {"seam", "seam model"} if "seam" in names else {"own seam"} if "own" in names else set()
    assert set(found.parts) == expected
    for source, u in found.parts.items():
        assert_allclose(u, _one_by_one(lines, source, number), rtol=1e-4)


def test_reach_is_measured_from_where_the_own_seams_meet() -> None:
    centre = np.array([0.1, -0.2])
    owns = {f"own{k}": _line(tuple(centre + 1.5 * unit_of_bearing(turn)), turn) for k, turn in enumerate((0.0, 0.8, 1.7, 2.9))}
    lines = {"left": _lobe()["left"], "right": _lobe()["right"], **owns}

    def distance(lines: Lines) -> float:
        middle = centre_of([line for name, line in lines.items() if name.startswith("own")])
        return float(np.hypot(*(crossing(lines["left"], lines["right"]) - middle)))

    assert_allclose(centre_of(list(owns.values())), centre, atol=1e-12)
    found = estimates(SIGHT, lines, {**SOURCES, **dict.fromkeys(owns, "centre")}, reach)[0]
    assert_allclose(found.value, np.hypot(*(crossing(lines["left"], lines["right"]) - centre)), rtol=1e-12)
    for source in ("edges", "centre", "camera", "print", "veneer"):
        assert_allclose(found.parts[source], _one_by_one(lines, source, distance), rtol=1e-4)


def test_lines_looked_at_together_are_seen_as_each_by_itself() -> None:
    one, other = _lobe(), {name: replace(line, point_in=line.point_in + 0.3) for name, line in _lobe().items()}
    together = Sight(CAMERA, VARIANTS, FACE_IN, U_FACE_IN)
    together.look_at([one, other])
    for lines in (one, other):
        for name, line in lines.items():
            alone = SIGHT.seen_otherwise(name, line)
            assert_allclose(together.seen_otherwise(name, line).point_in, alone.point_in, atol=1e-12)
            assert_allclose(together.seen_otherwise(name, line).bearing, alone.bearing, atol=1e-12)


@pytest.mark.parametrize("likeness", [-0.9, -0.5, 0.0, 0.6, 0.99])
def test_a_seam_s_place_and_direction_err_together(likeness: float) -> None:
    """Against errors drawn from their covariance: the offset of a tip 1.35 in before the seam's middle."""
    u_place, u_turn = 0.0045, 0.0026
    both = likeness * u_place * u_turn
    seam = Line(np.array([0.0, 4.4]), 0.0, np.array([[u_place**2, both], [both, u_turn**2]]), 0.0, 0.0, 0.8)
    sure = np.zeros((2, 2))
    lines = {"left": Line(np.array([-0.3, 2.0]), 0.3, sure, 0.0, 0.0, 0.8), "right": Line(np.array([0.3, 2.0]), -0.3, sure, 0.0, 0.0, 0.8)}
    tip = crossing(lines["left"], lines["right"])
    offset = estimates(Sight(CAMERA, (), 0.0, 0.0), {**lines, "seam": seam}, SOURCES, seam_offset)[0]
    drawn = np.random.default_rng(5).multivariate_normal([0, 0], seam.cov, 40_000)
    offsets = [replace(seam, point_in=seam.point_in + [across, 0], bearing=turn).offset_of(tip) for across, turn in drawn]
    # A spread of 40,000 is known to .35 %.
    assert_allclose(offset.u, np.std(offsets), rtol=0.012)


def test_parallel_edges_have_no_tip() -> None:
    lines = {"left": _line((-0.3, 2.0), 0.1), "right": _line((0.3, 2.0), 0.1), "seam": _lobe()["seam"]}
    with np.errstate(invalid="ignore"):
        assert not np.isfinite(estimates(SIGHT, lines, SOURCES, seam_offset)[0].value)


def test_a_reach_that_its_edges_hardly_tell_is_not_given() -> None:
    owns = [_line((0.5 * float(np.sin(turn)), 0.5 * float(np.cos(turn))), turn) for turn in (0.0, 0.8, 1.7, 2.9)]

    def numbers(u_edge_in: float):
        edges = {"left": _line((-0.26, 2.3), 0.38, u_model_in=u_edge_in), "right": _line((0.29, 2.3), -0.36, u_model_in=u_edge_in)}
        SIGHT.look_at([{**edges, "seam": _lobe()["seam"]}, {f"own{k}": own for k, own in enumerate(owns)}])
        return tip_numbers(SIGHT, {**edges, "seam": _lobe()["seam"]}, owns, 0.0)

    clear, doubtful = numbers(0.002), numbers(0.02)
    assert clear.reach is not None
    assert doubtful.reach is None
    assert doubtful.seam_offset is not None
