"""Whatever is wished for: a rose that closes without gap or overlap, or a refusal whose suggestion can be built."""

from __future__ import annotations

from itertools import pairwise
from math import pi, radians

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from seamcheck.basis.errors import CantBuild
from seamcheck.basis.frames import Array
from seamcheck.basis.units import parse_length, spoken
from seamcheck.design.cut_list import END_SPARE_IN, cut_list
from seamcheck.design.draw_up import MOST_SHOULDER_SHARE, SIDE_SPARE_IN, check_reaches, draw_up, in_full, nearest
from seamcheck.design.recess import area_of, inset, recess
from seamcheck.design.rose import Rose
from seamcheck.design.wish import Top, Wish
from seamcheck.printed.template_words import naming_options
from tests.rose_options import rose_named

lengths = st.floats(0.05, 20, allow_nan=False)
sixteenths = st.integers(1, 200).map(lambda n: n / 16)
some_lengths = st.one_of(lengths, sixteenths)


@st.composite
def wishes(draw: st.DrawFn) -> Wish:
    """Anything that the command line lets through, sense or nonsense."""
    return Wish(
        points=draw(st.integers(-1, 70)),
        reaches_in=tuple(draw(st.lists(some_lengths, min_size=1, max_size=4))),
        rings=draw(st.one_of(st.none(), st.integers(-1, 5))),
        short_edges_in=tuple(draw(st.lists(some_lengths, max_size=4))),
        root_angles=tuple(radians(angle) for angle in draw(st.lists(st.floats(1, 179), max_size=3))),
        strip_in=draw(st.one_of(st.none(), st.floats(0.05, 4))),
        top=draw(st.one_of(st.none(), st.builds(Top, st.floats(1, 40), st.floats(0, 3)))),
        dark_side=draw(st.sampled_from(["cw", "ccw"])),
    )


@st.composite
def roses(draw: st.DrawFn) -> Rose:
    return draw_up(nearest(draw(wishes())))


@given(wishes())
@settings(max_examples=200, deadline=None)
def test_it_is_built_or_the_nearest_can_be(wish: Wish) -> None:
    mended = nearest(wish)
    draw_up(mended)
    assert nearest(mended) == mended
    if mended == wish:
        return
    with pytest.raises(CantBuild) as refusal:
        draw_up(wish)
    assert mended.options() in str(refusal.value)


@given(wishes())
@settings(max_examples=100, deadline=None)
def test_what_is_built_is_what_was_wished(wish: Wish) -> None:
    wish = nearest(wish)
    rose = draw_up(wish)
    assert rose.points == wish.points
    assert len(rose.rings) == wish.ring_count
    for ring, reach in zip(rose.rings, wish.reaches_in, strict=False):
        assert ring.reach_in == pytest.approx(reach, abs=1e-9)
    for ring in rose.rings:
        along, across = ring.shape.shoulder_in
        assert along <= MOST_SHOULDER_SHARE * ring.shape.length_in + 1e-9
        assert wish.strip_in is None or across + SIDE_SPARE_IN <= wish.strip_in + 1e-9
        assert wish.top is None or ring.reach_in <= wish.top.most_reach_in + 1e-9


@given(st.one_of(st.none(), st.integers(1, 70)), st.lists(some_lengths, min_size=1, max_size=4))
@settings(max_examples=200, deadline=None)
def test_what_is_placed_on_a_bare_top_is_refused_by_the_rule_of_patterns(points: int | None, reaches: list[float]) -> None:
    """Whatever reaches can be drawn may be placed, and what is offered in place of others may be too."""
    count = 48 if points is None else points
    try:
        check_reaches(points, tuple(reaches))
    except CantBuild as refusal:
        with pytest.raises(CantBuild):
            draw_up(Wish(count, tuple(reaches), len(reaches)))
        words = str(refusal.words["options"]).split()
        offered = [parse_length(word) for before, word in pairwise(words) if before == "--reach"]
        check_reaches(int(words[1]) if words[0] == "--points" else None, tuple(offered))


@given(wishes(), st.sampled_from(["in", "mm"]))
@settings(max_examples=200, deadline=None)
def test_what_names_a_rose_draws_it_again(wish: Wish, units: str) -> None:
    """Whatever strips and tops it was chosen for: the options alone give every ring, read as the command line reads them."""
    wish = nearest(wish)
    rose = draw_up(wish)
    assert draw_up(in_full(wish)) == rose
    with spoken(units):
        again = rose_named(naming_options(wish).split())
    for ring, other in zip(rose.rings, again.rings, strict=True):
        assert (ring.number, ring.count, ring.first_bearing) == (other.number, other.count, other.first_bearing)
        assert other.root_in == pytest.approx(ring.root_in, abs=1e-8)
        for name in ("root_angle", "short_edge_in", "length_in"):
            assert getattr(other.shape, name) == pytest.approx(getattr(ring.shape, name), abs=1e-8)


@given(roses())
@settings(max_examples=100, deadline=None)
def test_lobes_fill_the_outline_without_gap_or_overlap(rose: Rose) -> None:
    """Their areas add up to what the outline encloses, and points inside lie in exactly one of them."""
    outline = rose.outline_in()
    assert area_of(outline) == pytest.approx(rose.area_in2, rel=1e-9)
    places = np.random.default_rng(1).uniform(-rose.reach_in, rose.reach_in, (400, 2))
    corners = [lobe.kite.corners_in for lobe in rose.lobes()]
    clear = _distance(places, _edges(*corners)) > 1e-6
    inside = _inside(places, outline)
    count = np.sum([_inside(places, kite) for kite in corners], axis=0)
    assert np.array_equal(count[clear], inside[clear].astype(int))


@given(roses())
@settings(max_examples=100, deadline=None)
def test_corners_meet(rose: Rose) -> None:
    """Angles round each root make a full turn or a straight edge; own seams lie on the field seams, which are equally spaced."""
    first = rose.rings[0]
    assert first.count * first.shape.root_angle == pytest.approx(2 * pi)
    for before, ring in zip(rose.rings, rose.rings[1:], strict=False):
        assert ring.shape.root_angle == pytest.approx(before.notch_angle)
    bearings = sorted(lobe.bearing for lobe in rose.lobes())
    assert np.diff(bearings) == pytest.approx(2 * pi / rose.points)
    lobes = rose.lobes()
    for lobe in [next(lobe for lobe in lobes if lobe.ring is ring) for ring in rose.rings]:  # the others are the same, turned
        cross = lobe.kite.root_in[0] * lobe.kite.tip_in[1] - lobe.kite.root_in[1] * lobe.kite.tip_in[0]
        assert cross == pytest.approx(0, abs=1e-9)
        # Every shoulder lies on some other lobe's edge.
        shoulders = np.stack([lobe.kite.left_in, lobe.kite.right_in])
        assert _distance(shoulders, _edges(*(other.kite.corners_in for other in lobes if other is not lobe))).max() < 1e-9


@given(roses(), st.floats(1 / 32, 1 / 2), st.floats(1 / 64, 1 / 8))
@settings(max_examples=100, deadline=None)
def test_the_bit_keeps_to_the_pen_line(rose: Rose, bit: float, inside: float) -> None:
    outline = rose.outline_in()
    try:
        found = recess(outline, bit_in=bit, inside_in=inside)
    except CantBuild:
        assume(False)
    starts, ends = _edges(outline)
    along = (ends - starts) / np.linalg.norm(ends - starts, axis=1, keepdims=True)
    for corners in _edges(found.pen_in):  # either end of each of its edges
        off = corners - starts
        assert along[:, 1] * off[:, 0] - along[:, 0] * off[:, 1] == pytest.approx(inside)
    middles = np.array([point.bit_middle_in for point in found.points])
    assert _distance(middles, _edges(found.pen_in)) == pytest.approx(bit / 2)  # touches, and crosses nowhere
    assert 0 < found.routed_in2 < area_of(found.pen_in) < found.area_in2


def test_what_the_bit_clears_is_what_a_disc_can_reach() -> None:
    """On a grid: the pen line's inside, opened by the bit's disc."""
    rose = draw_up(Wish(8, (3.0, 2.5), short_edges_in=(13 / 16, 5 / 8)))
    found = recess(rose.outline_in(), bit_in=1 / 4, inside_in=1 / 16)
    from scipy.ndimage import distance_transform_edt

    step = 1 / 200
    axis = np.arange(-3.1, 3.1, step)
    places = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    pen = _inside(places, found.pen_in).reshape(len(axis), -1)
    middles = distance_transform_edt(pen) * step >= 1 / 8
    cleared = distance_transform_edt(~middles) * step <= 1 / 8
    assert cleared.sum() * step**2 == pytest.approx(found.routed_in2, rel=0.004)
    assert area_of(inset(rose.outline_in(), 1 / 16)) - found.routed_in2 > 0.05  # what is tested is large enough to be seen


@given(roses(), st.integers(0, 3), st.floats(4, 60), st.floats(2, 12))
@settings(max_examples=60, deadline=None)
def test_blanks_hold_their_lobes_and_leaves_their_strips(rose: Rose, spare: int, leaf_length: float, leaf_width: float) -> None:
    try:
        cuts = cut_list(rose, None, (leaf_length, leaf_width), spare)
    except CantBuild:
        assume(False)
    for blank in cuts.blanks:
        assert blank.count == blank.ring.count + spare
        assert blank.strip_width_in >= blank.ring.shape.shoulder_in[1] + SIDE_SPARE_IN - 1e-9
        assert blank.length_in >= blank.ring.shape.length_in + 2 * END_SPARE_IN - 1e-9
    assert cuts.rose_area_in2 < cuts.strip_area_in2 <= cuts.leaf_area_in2 + 1e-9
    assert 2 * cuts.rose_area_in2 == pytest.approx(rose.area_in2)
    assert sum(used for _, used in cuts.lanes) >= sum(blank.count * blank.length_in for blank in cuts.blanks) - 1e-9
    assert all(used <= leaf_length + 1e-9 and width <= leaf_width for width, used in cuts.lanes)


def _edges(*polygons: Array) -> tuple[Array, Array]:
    """Both ends (m, 2) of all edges of polygons (n, 2)."""
    return np.concatenate(polygons), np.concatenate([np.roll(polygon, -1, axis=0) for polygon in polygons])


def _distance(places: Array, edges: tuple[Array, Array]) -> Array:
    """(n,) of places (n, 2) from the nearest of edges."""
    a, along = edges[0], edges[1] - edges[0]
    off = places[:, None] - a
    share = np.clip(np.sum(off * along, axis=-1) / np.sum(along**2, axis=-1), 0, 1)
    return np.linalg.norm(off - share[..., None] * along, axis=-1).min(axis=1)


def _inside(places: Array, polygon: Array) -> Array:
    """(n,) by counting crossings of a ray to the right."""
    x, y = places[:, :1], places[:, 1:]
    (x0, y0), (x1, y1) = polygon.T, np.roll(polygon, -1, axis=0).T
    with np.errstate(divide="ignore", invalid="ignore"):
        crosses = ((y0 > y) != (y1 > y)) & (x < (x1 - x0) * (y - y0) / (y1 - y0) + x0)
    return crosses.sum(axis=1) % 2 == 1
