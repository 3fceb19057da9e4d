"""Drawings as SVG and DXF files at true size, for programs that draw and machines that cut."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from io import StringIO
from xml.etree import ElementTree

from ..basis.units import MM_PER_IN, lengths
from ..cards.geometry import BAR_ACROSS_IN, BAR_ALONG_IN
from ..sheet import PROGRAM
from .drawing import PLAIN_IN, SMALL_TEXT_IN, TITLE_TEXT_IN, Circle, Drawing, Fill, Item, Layer, Stroke, Words

GAP_IN = 1.0  # between two drawings in one file
BORDER_IN = 0.25

# An SVG without units counts 96 to the inch (CSS 2.1, 4.3.2), so programs that skip the file's own size read it right too.
SVG_PER_IN = 96.0
SVG = "http://www.w3.org/2000/svg"

DXF_INCHES, DXF_MILLIMETRES = 1, 4  # $INSUNITS (DXF reference, header section)
# Colour numbers by layer, of the 7 that every program has: what is cut is red, what is laid on the seam blue.
DXF_COLOURS = {Layer.CUT: 1, Layer.KNIFE: 1, Layer.CENTRE: 5, Layer.SEAM: 5, Layer.PEN: 3, Layer.BIT: 6}
DXF_OTHER_COLOUR = 7
DXF_COMMENT = f"999\nmade by {PROGRAM}\n"  # group code 999: a comment (DXF reference)
CAPITAL_SHARE = 0.72  # a DXF's text height is that of its capitals, in Helvetica this share of the type's size


def side_by_side(drawings: Sequence[Drawing], title: str) -> Drawing:
    """All drawings in one, from left to right on one base line, each under its title, and the check bars below."""
    whole = Drawing(title)
    left = 0.0
    for drawing in drawings:
        bounds = drawing.bounds()
        whole.items += [moved(item, left - bounds[0], -bounds[1]) for item in drawing.items]
        whole.words(drawing.title, (left, bounds[3] - bounds[1] + 0.25), TITLE_TEXT_IN)
        left = whole.bounds()[2] + GAP_IN
    whole.line((0.0, -0.6), (BAR_ACROSS_IN, -0.6), Layer.BAR, PLAIN_IN)
    whole.words(f"{lengths().plain(BAR_ACROSS_IN)}, across", (0.0, -0.78), SMALL_TEXT_IN)
    whole.line((-0.6, 0.0), (-0.6, BAR_ALONG_IN), Layer.BAR, PLAIN_IN)
    whole.words(f"{lengths().plain(BAR_ALONG_IN)}, along", (-0.68, 0.0), SMALL_TEXT_IN, turned_deg=90)
    return whole


def moved(item: Item, right_in: float, up_in: float) -> Item:
    """The same somewhere else."""
    if isinstance(item, Circle):
        return replace(item, middle=(item.middle[0] + right_in, item.middle[1] + up_in))
    if isinstance(item, Words):
        return replace(item, at=(item.at[0] + right_in, item.at[1] + up_in))
    return replace(item, points=tuple((x + right_in, y + up_in) for x, y in item.points))


def svg_bytes(drawing: Drawing) -> bytes:
    """The drawing as an SVG file: a group for each layer, what is filled lowest."""
    left, bottom, right, top = drawing.bounds()
    left, bottom, right, top = left - BORDER_IN, bottom - BORDER_IN, right + BORDER_IN, top + BORDER_IN

    def x(value: float) -> str:
        return f"{(value - left) * SVG_PER_IN:.4f}"

    def y(value: float) -> str:
        return f"{(top - value) * SVG_PER_IN:.4f}"

    width, height = right - left, top - bottom
    root = ElementTree.Element(
        "svg",
        xmlns=SVG,
        width=f"{width:.6f}in",
        height=f"{height:.6f}in",
        viewBox=f"0 0 {width * SVG_PER_IN:.4f} {height * SVG_PER_IN:.4f}",
    )
    ElementTree.SubElement(root, "title").text = drawing.title
    ElementTree.SubElement(root, "desc").text = f"made by {PROGRAM}"
    items = sorted(drawing.items, key=lambda item: not isinstance(item, Fill))
    for layer in sorted({item.layer for item in items}, key=lambda layer: (layer is not Layer.DARK, list(Layer).index(layer))):
        group = ElementTree.SubElement(root, "g", id=layer.value)
        for item in items:
            if item.layer is layer:
                _svg_item(group, item, x, y)
    ElementTree.indent(root)
    return ElementTree.tostring(root, encoding="utf-8", xml_declaration=True) + b"\n"


def _svg_item(group: ElementTree.Element, item: Item, x: Callable[[float], str], y: Callable[[float], str]) -> None:
    if isinstance(item, Words):
        at = f"{x(item.at[0])} {y(item.at[1])}"
        text = ElementTree.SubElement(
            group,
            "text",
            {"x": x(item.at[0]), "y": y(item.at[1]), "font-family": "Helvetica, Arial, sans-serif", "fill": _colour(item.grey)}
            | {"font-size": f"{item.size_in * SVG_PER_IN:.4f}", "text-anchor": item.anchor},
        )
        if item.turned_deg:
            text.set("transform", f"rotate({-item.turned_deg:.4f} {at})")
        text.text = item.text
        return
    if isinstance(item, Fill):
        _svg_path(group, item.points, True, x, y).set("fill", _colour(item.grey))
        return
    if isinstance(item, Circle):
        shape = ElementTree.SubElement(
            group, "circle", cx=x(item.middle[0]), cy=y(item.middle[1]), r=f"{item.radius_in * SVG_PER_IN:.4f}", fill="none"
        )
    else:
        shape = _svg_path(group, item.points, item.closed, x, y)
        shape.set("fill", "none")
        if item.dash_in:
            shape.set("stroke-dasharray", " ".join(f"{part * SVG_PER_IN:.4f}" for part in item.dash_in))
    shape.set("stroke", _colour(item.grey))
    shape.set("stroke-linejoin", "round")
    shape.set("stroke-width", f"{item.width_in * SVG_PER_IN:.4f}")


def _svg_path(
    group: ElementTree.Element, points: Sequence[tuple[float, float]], closed: bool, x: Callable[[float], str], y: Callable[[float], str]
) -> ElementTree.Element:
    return ElementTree.SubElement(group, "path", d="M " + " L ".join(f"{x(px)} {y(py)}" for px, py in points) + (" Z" if closed else ""))


def _colour(grey: float) -> str:
    return "#" + f"{round(255 * grey):02x}" * 3


def is_svg(data: bytes) -> bool:
    """Whether a file's bytes are an SVG of this program's making."""
    return b"<svg" in data and f"<desc>made by {PROGRAM}</desc>".encode() in data


def dxf_bytes(drawing: Drawing) -> bytes:
    """The drawing as a DXF file (R2000) in inches or millimetres, as is spoken: layers, lines and words.

    Nothing is filled, since machines cut along everything.
    """
    import ezdxf
    from ezdxf import options
    from ezdxf.enums import TextEntityAlignment

    aligned = {"start": TextEntityAlignment.LEFT, "middle": TextEntityAlignment.CENTER, "end": TextEntityAlignment.RIGHT}
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no dates: the same drawing gives the same bytes
    try:
        metric = lengths().metric
        document = ezdxf.new("R2000", units=DXF_MILLIMETRES if metric else DXF_INCHES)
        document.header["$MEASUREMENT"] = int(metric)  # for hatches and line types
        unit = MM_PER_IN if metric else 1.0  # to the inch
        for layer in Layer:
            document.layers.add(layer.value, color=DXF_COLOURS.get(layer, DXF_OTHER_COLOUR))
        space = document.modelspace()
        for item in drawing.items:
            on = {"layer": item.layer.value}
            if isinstance(item, Circle):
                space.add_circle(_times(item.middle, unit), unit * item.radius_in, dxfattribs=on)
            elif isinstance(item, Words):
                text = space.add_text(item.text, height=unit * CAPITAL_SHARE * item.size_in, rotation=item.turned_deg, dxfattribs=on)
                text.set_placement(_times(item.at, unit), align=aligned[item.anchor])
            elif isinstance(item, Stroke):
                space.add_lwpolyline([_times(point, unit) for point in item.points], close=item.closed, dxfattribs=on)
        stream = StringIO()
        document.write(stream)
    finally:
        options.write_fixed_meta_data_for_testing = before
    return f"{DXF_COMMENT}{stream.getvalue()}".encode("ascii")


def _times(point: tuple[float, float], unit: float) -> tuple[float, float]:
    return unit * point[0], unit * point[1]


def is_dxf(data: bytes) -> bool:
    """Whether a file's bytes are a DXF of this program's making."""
    return data.startswith(DXF_COMMENT.encode())
