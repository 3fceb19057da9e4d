"""A rose made for a top with unequal leaves: its lobes as exact polygons, and its patterns read back by other libraries."""

from __future__ import annotations

import numpy as np
import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, unary_union

from seamcheck.advise.rose_place import RosePattern
from seamcheck.basis.frames import Array, unit_of_bearing
from seamcheck.design.cut_list import cut_list
from seamcheck.design.draw_up import draw_up
from seamcheck.design.laid_rose import SAME_IN, LaidRose, SeamPlace, lay_on
from seamcheck.design.rose import Rose
from seamcheck.design.wish import Wish
from seamcheck.kite import HalfShape
from seamcheck.printed.laid_template import Laying, laid_drawings, laying_page, wide_enough
from seamcheck.printed.pages import pages, room_in
from seamcheck.printed.vector_files import dxf_bytes, side_by_side, svg_bytes
from tests.read_back import dxf_outlines, outlines_in, pdf_pages, sides, svg_outlines

WISHES = {
    "one ring": Wish(6, (3.0,), rings=1),
    "two rings": Wish(8, (3.0, 2.5), short_edges_in=(13 / 16, 5 / 8)),
    "three rings": Wish(16, (4.0,)),
}
GOOD_TO_IN = 0.001
LAYING = Laying("made-up.jpg", "Lay it where the seams meet.", "No point misses.")


def places(rose: Rose, off: Array, turn: float = 0.2) -> list[SeamPlace]:
    """Going round from the first ring's first point; off: rad, how far each seam lies from an even one."""
    rings = RosePattern(rose.points, tuple(ring.reach_in for ring in rose.rings)).rings
    first = int(np.flatnonzero(rings == 1)[0])
    order = [(first + k) % rose.points for k in range(rose.points)]
    return [SeamPlace(k + 1, int(rings[order[k]]), turn + 2 * np.pi * k / rose.points + float(off[k])) for k in range(rose.points)]


def uneven(rose: Rose, seed: int, spread: float = 0.006) -> LaidRose:
    return lay_on(rose, places(rose, np.random.default_rng(seed).normal(0, spread, rose.points)))


@pytest.fixture(params=WISHES)
def rose(request: pytest.FixtureRequest) -> Rose:
    return draw_up(WISHES[request.param])


def test_on_an_even_top_it_is_the_perfect_rose(rose: Rose) -> None:
    laid = lay_on(rose, places(rose, np.zeros(rose.points), 0.0))
    assert not laid.own
    assert {lobe.pattern for lobe in laid.lobes} == {str(ring.number) for ring in rose.rings}
    assert np.abs(laid.outline_in() - rose.outline_in()).max() < 1e-9
    for lobe in laid.lobes:
        (perfect,) = [one for one in rose.lobes() if abs(np.cos(one.bearing - lobe.place.bearing) - 1) < 1e-12]
        assert np.abs(lobe.corners_in - perfect.kite.corners_in).max() < 1e-9


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(sorted(WISHES)), st.integers(0, 100_000), st.floats(0, 0.012))
def test_lobes_close_on_each_other_with_every_point_on_its_seam(name: str, seed: int, spread: float) -> None:
    """Shapely finds no overlap and no gap, and the outline is the one to knife along."""
    rose = draw_up(WISHES[name])
    laid = uneven(rose, seed, spread)
    pieces = [Polygon(lobe.corners_in) for lobe in laid.lobes]
    whole = unary_union([piece.buffer(1e-7, join_style="mitre") for piece in pieces])
    assert whole.geom_type == "Polygon"
    assert not [hole for hole in whole.interiors if Polygon(hole).area > 1e-5]
    assert sum(piece.area for piece in pieces) == pytest.approx(whole.area, abs=1e-4)
    assert Polygon(laid.outline_in()).area == pytest.approx(whole.area, abs=1e-4)
    for lobe in laid.lobes:
        reach = rose.rings[lobe.place.ring - 1].reach_in
        assert np.abs(lobe.corners_in[2] - reach * unit_of_bearing(lobe.place.bearing)).max() < 1e-9
    first = [lobe.shape for lobe in laid.lobes if lobe.place.ring == 1]
    assert sum(shape.root_angle for shape in first) == pytest.approx(2 * np.pi)


def test_every_lobe_is_cut_to_a_pattern_that_suits(rose: Rose) -> None:
    laid = uneven(rose, 3)
    assert laid.own
    shapes = {own.name: own.shape for own in laid.own}
    shapes |= {str(ring.number): HalfShape.of_kite(ring.shape) for ring in rose.rings}
    for lobe in laid.lobes:
        assert np.hypot(*(lobe.shape.corners_in - shapes[lobe.pattern].corners_in).T).max() <= SAME_IN + 1e-12
    for own in laid.own:
        assert own.seams == tuple(lobe.place.seam for lobe in laid.lobes if lobe.pattern == own.name)


def test_one_seam_that_lies_off_changes_its_lobe_and_the_neighbours_alone() -> None:
    rose = draw_up(WISHES["one ring"])
    off = np.zeros(6)
    off[2] = 0.01
    laid = lay_on(rose, places(rose, off))
    assert [lobe.pattern == "1" for lobe in laid.lobes] == [True, False, False, False, True, True]
    by_seam = {lobe.place.seam: lobe.shape for lobe in laid.lobes}
    assert by_seam[3].left_root - np.pi / 6 == pytest.approx(0.005)
    assert by_seam[3].right_root - np.pi / 6 == pytest.approx(-0.005)


def test_other_numbers_of_places_are_refused(rose: Rose) -> None:
    with pytest.raises(ValueError, match="another rose"):
        lay_on(rose, places(rose, np.zeros(rose.points))[:-1])


def wanted(laid: LaidRose) -> list[Array]:
    """Sides and diagonals of every pattern that is drawn."""
    shapes = [own.shape for own in laid.own]
    shapes += [HalfShape.of_kite(ring.shape) for ring in laid.rose.rings if any(lobe.pattern == str(ring.number) for lobe in laid.lobes)]
    return [spans(shape.corners_in) for shape in shapes]


def spans(corners: Array) -> Array:
    return np.array([*sides(corners), np.hypot(*(corners[2] - corners[0])), np.hypot(*(corners[3] - corners[1]))])


def holds(outlines: list[Array], want: Array) -> bool:
    return any(len(path) in (4, 5) and np.abs(spans(path[:4]) - want).max() < GOOD_TO_IN for path in outlines)


def test_patterns_read_back_to_a_thousandth(rose: Rose) -> None:
    """By a PDF renderer, an SVG and a DXF reader: every pattern's sides and diagonals, and every lobe of the whole."""
    laid = uneven(rose, 5)
    cuts = cut_list(rose)
    wish = next(wish for wish in WISHES.values() if draw_up(wish) == rose)
    drawings = laid_drawings(laid, cuts, room_in("letter"), wish)
    one = side_by_side(drawings, "Patterns")
    on_paper = [path for page in pdf_pages(pages(drawings, "letter", "Patterns")) for path in page]
    svg, dxf = svg_outlines(svg_bytes(one)), dxf_outlines(dxf_bytes(one), "cut")
    assert len(dxf) == len(wanted(laid))
    for want in wanted(laid):
        assert holds(on_paper, want)
        assert holds(svg, want)
        assert holds(dxf, want)
    lying = dxf_outlines(dxf_bytes(one), "rose")
    assert len(lying) == rose.points
    for lobe in laid.lobes:
        assert holds(lying, spans(lobe.corners_in))


def test_a_printer_that_prints_too_large_is_made_up_for() -> None:
    laid = uneven(draw_up(WISHES["two rings"]), 5)
    scale = np.array([6.02 / 6, 9.97 / 10])
    drawings = laid_drawings(laid, cut_list(laid.rose), room_in("letter"), WISHES["two rings"])
    document = pypdfium2.PdfDocument(pages(drawings, "letter", "Patterns", (float(scale[0]), float(scale[1]))))
    try:
        printed = [path * scale for page in document for path in outlines_in(page)]
    finally:
        document.close()
    for want in wanted(laid):
        assert holds(printed, want)


def test_strips_are_wide_enough_for_the_wider_half(rose: Rose) -> None:
    laid = uneven(rose, 9, 0.02)
    cuts = cut_list(rose)
    for own in laid.own:
        _, left, _, right = own.shape.corners_in
        assert wide_enough(cuts.blanks[own.ring - 1], own).strip_width_in > max(-left[0], right[0])


def test_the_page_says_which_lobe_is_cut_to_which(rose: Rose) -> None:
    laid = uneven(rose, 5)
    page = laying_page(laid, LAYING, room_in("letter"))
    words = [item.text for item in page.items if hasattr(item, "text")]
    for own in laid.own:
        assert f"pattern {own.name}, of ring {own.ring}" in words
    left, bottom, right, top = page.bounds()
    assert top - bottom <= room_in("letter")[1]
    assert right - left <= room_in("letter")[0] + 0.01
