"""A rose's outline from its inspection, kept in the result file; which way it goes in; what stands in a point."""

from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from seamcheck.advise.outline import rose_outline
from seamcheck.basis.lines import Line
from seamcheck.basis.seat_errors import NoPointThere
from seamcheck.edges import LinearPatch
from seamcheck.measure.outline import outline_edge
from seamcheck.measure.recess_point import measure_point
from seamcheck.measure.tips import Sight
from seamcheck.plane.camera import Camera
from seamcheck.report.inspection_reading import inspection_of
from seamcheck.report.json_file import result_bytes
from seamcheck.seating import SeatSettings, _turned
from tests.made_up_seat import cut_for, inspection, moved, outline, star

DEPTH_IN = 1 / 42


def camera(height_in: float = 20.0, px_per_in: float = 160.0) -> Camera:
    """Straight above the plane's origin."""
    return Camera(
        px_per_in * height_in, 1.0, 500.0, 400.0, 0.0, 0.0, 0.0, 0.0, np.array([np.pi, 0.0, 0.0]), np.array([0.0, 0.0, height_in])
    )


def test_edges_come_back_from_the_result_file():
    found = inspection(star(uneven_in=np.linspace(-0.01, 0.01, 8)), covered=frozenset({(2, 1)}))
    again = inspection_of(json.loads(result_bytes(found)), "rose.json")
    for tip, other in zip(found.tips, again.tips, strict=True):
        assert tip.edges is not None
        assert other.edges is not None
        for one, two in zip(tip.edges, other.edges, strict=True):
            assert (one is None) == (two is None)
            if one is not None and two is not None:
                assert two.ends_in == pytest.approx(one.ends_in, abs=1e-7)
                assert two.cov == pytest.approx(one.cov, rel=1e-4, abs=1e-15)


def test_corners_lie_where_edges_meet_and_those_of_missing_edges_as_their_likes_suggest():
    corners = star(8, uneven_in=np.linspace(-0.02, 0.02, 8))
    made = rose_outline(inspection(corners, covered=frozenset({(3, -1), (5, 1)})))
    assert made is not None
    whole, tips = made
    assert [tip.lobe for tip in tips] == list(range(1, 9))
    assert whole.corners_in == pytest.approx(corners, abs=0.01)
    seen = [k for k in range(16) if k not in (5, 11)]
    assert whole.corners_in[seen] == pytest.approx(corners[seen], abs=1e-9)
    assert whole.fold == 8


def test_two_rings_fit_themselves_in_half_as_many_turns():
    made = rose_outline(inspection(star(8, uneven_in=np.tile([0.0, -0.4], 4)), rings=(1, 2) * 4))
    assert made is not None
    assert made[0].fold == 4


def test_a_ring_that_hardly_shows_is_left_out_and_a_point_that_is_missing_refuses_the_rose():
    corners = star(8)
    ring_of_nothing = frozenset((k, side) for k in (1, 3, 5, 7) for side in (-1, 1))
    made = rose_outline(inspection(corners, rings=(1, 2) * 4, covered=ring_of_nothing))
    assert made is not None
    assert [tip.lobe for tip in made[1]] == [1, 3, 5, 7]
    found = inspection(corners)
    assert rose_outline(replace(found, tips=found.tips[:7])) is None


def test_a_line_taken_to_its_corners_keeps_what_is_known_of_it():
    """At the middle of what was seen sampling alone; far beyond it the slope's and the bow's doubt too."""
    line = Line(np.zeros(2), 0.0, np.diag([1e-6, 4e-6]), 0.0005, 0.0, 0.5)
    sight = Sight(camera(), (("card", replace(camera(), cx_px=501.6)),), 0.0, 0.0)
    edge = outline_edge(sight, "seam", line, np.array([0.0, -1.0]), np.array([0.0, 0.5]))
    bow = 0.0003 * (1 / 3 - np.array([4.0, 1.0]))
    assert np.diag(edge.cov) == pytest.approx([1e-6 + 4e-6 + bow[0] ** 2, 1e-6 + 1e-6 + bow[1] ** 2])
    assert edge.causes == ("card",)
    # The same pixels, seen by a camera whose middle lies 1.6 px to the right, lie a hundredth of an inch to the left.
    assert edge.moves_in == pytest.approx(np.full((1, 2), -0.01), abs=1e-4)


def turned(seed: int, first_bearing: float, settings: SeatSettings) -> tuple[object, str]:
    rng = np.random.default_rng(seed)
    corners = star(8, uneven_in=rng.normal(0, 0.002, 8))
    recess = cut_for(moved(corners, (0.1, 0.0), 0.02), rng.normal(0.004, 0.003, (8, 2, 2)))
    found = inspection(corners)
    rose = replace(
        found, tips=(replace(found.tips[0], bearing=first_bearing), *found.tips[1:]), scale=replace(found.scale, card_places_in={})
    )
    solve = SimpleNamespace(camera=SimpleNamespace(up_bearing_at=lambda _: 0.0), card_places_in={})
    return _turned(outline(corners), recess, list(range(8)), rose, solve, settings)  # type: ignore[arg-type]


def test_a_turn_that_nothing_tells_is_as_held_or_asked_for():
    seated, by = turned(3, 0.0, SeatSettings())
    assert by == "up"
    assert seated is not None
    ways = {turned(seed, np.pi * k / 4, SeatSettings())[1] for seed in (3, 4, 5) for k in range(8)}
    assert ways <= {"up", "none", "shape"}
    assert "none" in ways
    for k in range(8):
        seated, by = turned(3, 0.0, SeatSettings(lobe_1_at=np.pi * k / 4 + 0.1))
        assert by == "you"
        assert seated.shift == k  # type: ignore[attr-defined]


def test_a_turn_said_between_two_points_is_refused_with_both_named():
    with pytest.raises(NoPointThere) as refused:
        turned(3, 0.0, SeatSettings(lobe_1_at=2 * np.pi * 5.25 / 12))
    words = str(refused.value)
    assert "at 5:15" in words
    assert "the nearest lie at 4:30 and at 6 o'clock" in words
    with pytest.raises(NoPointThere) as refused:  # across 12
        turned(3, 0.0, SeatSettings(lobe_1_at=2 * np.pi * 11.25 / 12))
    assert "at 10:30 and at 12 o'clock" in str(refused.value)


@pytest.mark.parametrize("left_in", [0.0, 0.06, 0.12])
@pytest.mark.parametrize("floor", [0.05, 0.6])
def test_what_stands_in_a_point_is_seen(left_in, floor):
    """A painted point: floor in a wedge of 40 degrees, cut off square, in the trench's own shade."""
    height, width = 800, 1000
    eye = camera()
    v, u = np.mgrid[:height, :width]
    places = eye.plane_from_px(np.stack([u, v], axis=-1).astype(float))
    half = np.radians(20)
    depth = -places[..., 1]  # the corner at the origin, its recess toward -y
    inside = (depth > left_in) & (np.abs(places[..., 0]) < depth * np.tan(half))
    wide = np.maximum(depth * np.tan(half), 1e-6)
    sky = 1 - (1 - wide / np.hypot(wide, DEPTH_IN)) * 0.7
    light = np.where(inside, floor * sky, 0.25)[..., None] * np.array([0.7, 0.9, 1.0])
    light = (light + np.random.default_rng(1).normal(0, 0.004, light.shape)).astype(np.float32)
    lines = [Line(np.array([0.0, 0.0]) - d, b, np.eye(2) * 1e-8, 0.0, 0.0, 0.5) for b, d in ((half, np.zeros(2)), (-half, np.zeros(2)))]
    found = measure_point(LinearPatch(light, 0, 0), eye, lines[0], lines[1], DEPTH_IN)
    if floor > 0.25 and left_in == 0.06:  # so narrow there that colour says nothing: a shadow could make such a floor look like the wood
        assert found is None
        return
    assert found is not None
    if left_in:
        assert found.left_in == pytest.approx(left_in, abs=0.02)
        assert found.left_in > found.least_in
    else:
        assert found.left_in <= found.least_in


def test_a_floor_like_the_wood_says_nothing_of_its_point():
    eye = camera()
    light = np.full((800, 1000, 3), 0.25, np.float32)
    lines = [Line(np.zeros(2), bearing, np.eye(2) * 1e-8, 0.0, 0.0, 0.5) for bearing in (0.3, -0.3)]
    assert measure_point(LinearPatch(light, 0, 0), eye, lines[0], lines[1], DEPTH_IN) is None
