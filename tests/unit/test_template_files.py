"""Patterns read back by other libraries: a PDF renderer, an SVG reader and a DXF reader find the dimensions that were worked out."""

from __future__ import annotations

import re
from io import BytesIO, StringIO
from itertools import pairwise

import numpy as np
import pypdf
import pypdfium2
import pytest

from seamcheck.design.cut_list import cut_list
from seamcheck.design.draw_up import draw_up
from seamcheck.design.recess import recess
from seamcheck.design.rose import Rose
from seamcheck.design.wish import Wish
from seamcheck.printed.drawing import Drawing, Layer, places_on
from seamcheck.printed.lobe_template import cutting_page, lobe_pattern, template_drawings
from seamcheck.printed.pages import LEFT_IN, RIGHT_IN, fits, pages, room_in, tile_corners
from seamcheck.printed.recess_drawing import recess_drawing, routing_page
from seamcheck.printed.vector_files import dxf_bytes, is_dxf, is_svg, side_by_side, svg_bytes
from seamcheck.sheet import PAPERS, UNPRINTABLE_IN
from tests.read_back import GOOD_TO_IN, dxf_outlines, kites, outlines_in, pdf_pages, sides, svg_outlines

WISHES = {
    "two rings": Wish(8, (3.0, 2.5), short_edges_in=(13 / 16, 5 / 8)),
    "three rings": Wish(16, (4.0,)),
    "one ring, large": Wish(5, (11.0,), dark_side="ccw"),
}


@pytest.fixture(scope="module", params=WISHES)
def rose(request: pytest.FixtureRequest) -> Rose:
    return draw_up(WISHES[request.param])


def wish_for(rose: Rose) -> Wish:
    return next(wish for wish in WISHES.values() if draw_up(wish) == rose)


@pytest.fixture(scope="module", params=sorted(PAPERS))
def paper(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def drawings(rose: Rose, paper: str = "letter") -> list[Drawing]:
    return template_drawings(rose, cut_list(rose), room_in(paper), wish_for(rose))


def pdf(rose: Rose, paper: str, print_scale: tuple[float, float] = (1.0, 1.0)) -> bytes:
    cuts = cut_list(rose)
    return pages([cutting_page(rose, cuts, room_in(paper), wish_for(rose)), *drawings(rose, paper)], paper, "Patterns", print_scale)


def test_the_renderer_finds_every_lobe_at_its_size(rose: Rose, paper: str) -> None:
    outlines = pdf_pages(pdf(rose, paper))
    tiles = [len(tile_corners(drawing, paper)) for drawing in drawings(rose, paper)]
    assert len(outlines) == 1 + sum(tiles)  # the first page holds words alone, and fits
    starts = np.cumsum([1, *tiles])
    for ring, (start, end) in zip(rose.rings, pairwise(starts), strict=False):
        assert all(len(kites(page, rose, ring.number)) == 1 for page in outlines[start:end])
    for page in outlines[starts[-2] :]:
        assert [len(kites(page, rose, ring.number)) for ring in rose.rings] == [ring.count for ring in rose.rings]


def test_a_printer_that_prints_too_large_is_made_up_for(paper: str) -> None:
    """What the file holds, times what the printer makes of it, is true, along and across."""
    rose, scale = draw_up(WISHES["two rings"]), np.array([6.02 / 6, 9.97 / 10])
    document = pypdfium2.PdfDocument(pdf(rose, paper, (float(scale[0]), float(scale[1]))))
    try:
        printed = [path * scale for path in outlines_in(document[1])]
    finally:
        document.close()
    assert len(kites(printed, rose, 1)) == 1
    bars = [length for path in printed if len(path) == 2 for length in sides(path)[:1] if length > 5.5]
    assert sorted(bars) == pytest.approx([6, 10], abs=GOOD_TO_IN)


def test_the_picture_of_the_page_measures_right() -> None:
    """In pixels: the kite's tip and root, and the check bars' ticks."""
    rose, dpi = draw_up(WISHES["two rings"]), 600
    data = pdf(rose, "letter")
    document = pypdfium2.PdfDocument(data)
    try:
        page = np.asarray(document[1].render(scale=dpi / 72, grayscale=True).to_numpy()).squeeze()
        (kite,) = kites(outlines_in(document[1]), rose, 1)
    finally:
        document.close()
    # Three quarters of the way from shoulder to tip the kite is a quarter of its width: from stroke to stroke beside the axis.
    along, across = rose.rings[0].shape.shoulder_in
    row = page[round((11 - kite[0, 1] - along - 0.75 * (3 - along)) * dpi)]
    axis = round(kite[0, 0] * dpi)
    dark = np.flatnonzero(row < 128) - axis
    dark = dark[(np.abs(dark) > 0.03 * dpi) & (np.abs(dark) < 0.2 * dpi)]
    assert dark[dark > 0].mean() - dark[dark < 0].mean() == pytest.approx(across / 2 * dpi, abs=1.2)
    bottom = np.flatnonzero(page[round((11 - 0.66) * dpi) + 20] < 128)  # through the ticks of the bar across
    ticks = bottom[(bottom > 0.7 * dpi) & (bottom < 6.8 * dpi)]
    assert ticks.max() - ticks.min() == pytest.approx(6 * dpi, abs=4)


def test_nothing_reaches_into_the_unprintable_border(rose: Rose, paper: str) -> None:
    document = pypdfium2.PdfDocument(pdf(rose, paper))
    try:
        for page in document:
            ink = np.argwhere(np.asarray(page.render(scale=1, grayscale=True).to_numpy()).squeeze() < 250)
            width, height = (side / 72 for side in page.get_size())
            (top, left), (bottom, right) = ink.min(axis=0) / 72, (ink.max(axis=0) + 1) / 72
            assert min(top, left, height - bottom, width - right) >= UNPRINTABLE_IN - 1 / 72
    finally:
        document.close()


def test_the_svg_reader_finds_every_lobe_and_layer(rose: Rose) -> None:
    from svgelements import SVG, Group

    data = svg_bytes(side_by_side(drawings(rose), "Patterns"))
    assert is_svg(data)
    tree = SVG.parse(StringIO(data.decode()), ppi=96)
    outlines = svg_outlines(data)
    for ring in rose.rings:
        assert len(kites(outlines, rose, ring.number)) == 1 + ring.count
    names = {thing.id for thing in tree.elements(lambda thing: isinstance(thing, Group))}
    assert {Layer.CUT.value, Layer.CENTRE.value, Layer.DARK.value, Layer.GRAIN.value, Layer.BAR.value} <= names


def test_the_dxf_reader_finds_every_pattern_once_on_the_layer_to_cut(rose: Rose) -> None:
    import ezdxf
    from ezdxf import units

    data = dxf_bytes(side_by_side(drawings(rose), "Patterns"))
    assert is_dxf(data)
    document = ezdxf.read(StringIO(data.decode()))
    assert document.units == units.IN
    assert not document.audit().has_errors
    for layer, patterns in ((Layer.CUT, True), (Layer.ROSE, False)):
        outlines = dxf_outlines(data, layer.value)
        assert len(outlines) == (len(rose.rings) if patterns else rose.points)
        for ring in rose.rings:
            assert len(kites(outlines, rose, ring.number)) == (1 if patterns else ring.count)
    bars = [np.array(line.get_points("xy")) for line in document.modelspace().query('LWPOLYLINE[layer=="check-bar"]')]
    assert sorted(sides(bar)[0] for bar in bars) == pytest.approx([6, 10])


def test_the_centre_line_runs_through_root_and_tip_and_the_dark_half_lies_where_it_was_asked_for() -> None:
    for side, sign in (("cw", 1), ("ccw", -1)):
        wish = Wish(8, (3.0,), dark_side=side)
        rose = draw_up(wish)
        drawing = lobe_pattern(rose, cut_list(rose).blanks[0], room_in("letter"), wish)
        (centre,) = [item for item in drawing.items if item.layer is Layer.CENTRE]
        (start, end) = centre.points  # type: ignore[union-attr]
        assert (start[0], end[0]) == (0, 0)
        assert start[1] < -1 / 8
        assert end[1] > 3 + 1 / 8
        (dark,) = [item for item in drawing.items if item.layer is Layer.DARK]
        assert sign * sum(x for x, _ in dark.points) > 0  # type: ignore[union-attr]
        words = {item.text: item.at[0] for item in drawing.items if hasattr(item, "text")}  # type: ignore[union-attr]
        assert sign * words["DARK"] > 0 > sign * words["LIGHT"]
        assert {"1", "2", "3", "4", "grain"} <= set(words)


def test_the_first_page_says_everything(rose: Rose, paper: str) -> None:
    words = pypdf.PdfReader(BytesIO(pdf(rose, paper))).pages[0].extract_text()
    for part in ("Order of work", "Take care", "acrylic", "leaves", "spare at each end", "Print at 100 %"):
        assert part in words
    for ring in rose.rings:
        assert f"Ring {ring.number}" in words
        assert f"({ring.shape.long_edge_in:.4f})" in words


class TestTiles:
    def test_they_cover_the_drawing_and_overlap(self, rose: Rose, paper: str) -> None:
        width, height = room_in(paper)
        for drawing in drawings(rose, paper):
            tiles = tile_corners(drawing, paper)
            assert (len(tiles) == 1) == fits(drawing, paper)
            places = np.array([place for item in drawing.items for place in places_on(item)])
            windows = [(np.subtract(tile, 1e-9), np.add(tile, (width + 1e-9, height + 1e-9))) for tile in tiles]
            inside = [((places >= low) & (places <= high)).all(axis=1) for low, high in windows]
            assert np.any(inside, axis=0).all()
            assert np.any(inside, axis=1).all()  # no sheet is empty
            assert len(tiles) == 1 or np.min(tiles, axis=0)[0] <= drawing.bounds()[0] + 1e-9

    def test_neighbours_show_the_same_marks(self) -> None:
        """A mark lies on the paper of both sheets where the drawing's frame has it."""
        rose = draw_up(WISHES["one ring, large"])
        whole = drawings(rose)[-1]
        tiles = tile_corners(whole, "letter")
        reader = pypdf.PdfReader(BytesIO(pages([whole], "letter", "Rose")))
        assert len(reader.pages) == len(tiles) > 4
        for tile, page in zip(tiles, reader.pages, strict=True):
            content = page.get_contents()
            assert content is not None
            (origin,) = re.findall(rb"1 0 0 1 (-?[\d.]+) (-?[\d.]+) cm", content.get_data())[1:2]  # the first is the page's own
            assert float(origin[0]) / 72 == pytest.approx(LEFT_IN - tile[0], abs=1e-4)
        assert room_in("letter")[0] == PAPERS["letter"][0] - LEFT_IN - RIGHT_IN


def test_the_recess_reads_back_too(rose: Rose) -> None:
    found = recess(rose.outline_in())
    names = [str(k + 1) for k in range(len(found.points))]
    drawing = recess_drawing(found, names)
    outline, pen = ([item for item in drawing.items if item.layer is layer] for layer in (Layer.KNIFE, Layer.PEN))
    assert len(outline) == len(pen) == 1
    data = pages([routing_page(found, names, room_in("letter")), drawing], "letter", "Recess")
    document = pypdfium2.PdfDocument(data)
    try:
        paths = outlines_in(document[1])
    finally:
        document.close()
    for corners in (found.outline_in, found.pen_in):
        same = [path for path in paths if len(path) in (len(corners), len(corners) + 1)]
        assert any(np.abs(sides(path[: len(corners)]) - sides(corners)).max() < GOOD_TO_IN for path in same)
    words = pypdf.PdfReader(BytesIO(data)).pages[0].extract_text()
    for part in ("0.0238", "1/16 in inside", "dust", "unplugged", "Glue"):
        assert part in words


def test_the_same_design_twice_is_the_same_file(rose: Rose) -> None:
    one = side_by_side(drawings(rose), "Patterns")
    assert pdf(rose, "a4") == pdf(rose, "a4")
    assert svg_bytes(one) == svg_bytes(one)
    assert dxf_bytes(one) == dxf_bytes(one)
