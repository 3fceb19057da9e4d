"""Patterns of any design read back right: from the PDF, the SVG and the DXF, on either paper."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from seamcheck.design.cut_list import cut_list
from seamcheck.design.draw_up import draw_up, nearest
from seamcheck.design.wish import Wish
from seamcheck.printed.drawing import Layer
from seamcheck.printed.lobe_template import template_drawings
from seamcheck.printed.pages import pages, room_in
from seamcheck.printed.vector_files import dxf_bytes, side_by_side, svg_bytes
from tests.read_back import dxf_outlines, kites, pdf_pages, svg_outlines

wishes = st.builds(
    Wish,
    points=st.integers(3, 24),
    reaches_in=st.lists(st.floats(1, 12), min_size=1, max_size=3).map(tuple),
    rings=st.one_of(st.none(), st.integers(1, 3)),
    short_edges_in=st.lists(st.floats(0.2, 4), max_size=3).map(tuple),
    dark_side=st.sampled_from(["cw", "ccw"]),
)


@given(wishes, st.sampled_from(["letter", "a4"]), st.floats(0.97, 1.03), st.floats(0.97, 1.03))
@settings(max_examples=12, deadline=None)
def test_every_pattern_reads_back_right(wish: Wish, paper: str, across: float, along: float) -> None:
    """Printed larger or smaller than drawn, too: what comes out of the printer is true."""
    wish = nearest(wish)
    rose = draw_up(wish)
    drawings = template_drawings(rose, cut_list(rose, leaf_in=(60, 20)), room_in(paper), wish)
    printed = [path * (across, along) for page in pdf_pages(pages(drawings, paper, "Patterns", (across, along))) for path in page]
    one = side_by_side(drawings, "Patterns")
    drawn, cut = svg_outlines(svg_bytes(one)), dxf_outlines(dxf_bytes(one), Layer.CUT.value)
    for ring in rose.rings:
        assert len(kites(printed, rose, ring.number)) >= 1 + ring.count
        assert len(kites(drawn, rose, ring.number)) >= 1 + ring.count
        assert len(kites(cut, rose, ring.number)) >= 1
