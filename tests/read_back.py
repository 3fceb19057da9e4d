"""Files of drawings read back by other libraries: a PDF renderer, an SVG reader and a DXF reader. Inches."""

from __future__ import annotations

import ctypes
from io import StringIO

import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
import pytest

from seamcheck.basis.frames import Array
from seamcheck.design.rose import Rose

GOOD_TO_IN = 0.0005  # .001 is wanted


def outlines_in(page: pypdfium2.PdfPage) -> list[Array]:
    """Every path of a page, (n, 2), in inches of the page."""
    found = []
    for thing in page.get_objects(filter=[pdfium.FPDF_PAGEOBJ_PATH]):
        matrix = pdfium.FS_MATRIX()
        pdfium.FPDFPageObj_GetMatrix(thing.raw, ctypes.byref(matrix))
        points = []
        for k in range(pdfium.FPDFPath_CountSegments(thing.raw)):
            segment = pdfium.FPDFPath_GetPathSegment(thing.raw, k)
            x, y = ctypes.c_float(), ctypes.c_float()
            pdfium.FPDFPathSegment_GetPoint(segment, ctypes.byref(x), ctypes.byref(y))
            points.append((matrix.a * x.value + matrix.c * y.value + matrix.e, matrix.b * x.value + matrix.d * y.value + matrix.f))
        found.append(np.array(points) / 72)
    return found


def sides(outline: Array) -> Array:
    return np.linalg.norm(np.roll(outline, -1, axis=0) - outline, axis=1)


def kites(outlines: list[Array], rose: Rose, number: int) -> list[Array]:
    """Those outlines that have a ring's four sides in order, to half a thousandth, and its length."""
    shape = rose.rings[number - 1].shape
    want = [shape.short_edge_in, shape.long_edge_in, shape.long_edge_in, shape.short_edge_in]
    kept = []
    for outline in outlines:
        corners = outline[:4]
        if len(outline) in (4, 5) and np.abs(sides(corners) - want).max() < GOOD_TO_IN:
            assert np.linalg.norm(corners[2] - corners[0]) == pytest.approx(shape.length_in, abs=GOOD_TO_IN)
            kept.append(corners)
    return kept


def pdf_pages(data: bytes) -> list[list[Array]]:
    """The paths of every page."""
    document = pypdfium2.PdfDocument(data)
    try:
        return [outlines_in(page) for page in document]
    finally:
        document.close()


def svg_outlines(data: bytes) -> list[Array]:
    """Every path of an SVG, (n, 2)."""
    from svgelements import SVG, Path

    tree = SVG.parse(StringIO(data.decode()), ppi=96)
    paths = tree.elements(lambda thing: isinstance(thing, Path))
    return [_without_doubles(np.array([(point.x, point.y) for point in path.as_points()])) / 96 for path in paths]


def dxf_outlines(data: bytes, layer: str) -> list[Array]:
    """Every closed line on a layer of a DXF, (n, 2)."""
    import ezdxf

    lines = ezdxf.read(StringIO(data.decode())).modelspace().query(f'LWPOLYLINE[layer=="{layer}"]')
    return [np.array(line.get_points("xy")) for line in lines if line.closed]


def _without_doubles(points: Array) -> Array:
    """An outline's corners once each, in order."""
    kept = [points[0]]
    for point in points[1:]:
        if np.linalg.norm(point - kept[-1]) > 1e-9:
            kept.append(point)
    return np.array(kept)
