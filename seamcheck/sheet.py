"""Pages of paper at true scale, drawn as vectors.

Page frame: inches from the page's lower left corner, x to the right, y up. Nothing that the file holds depends on
when or where it's made, so the same drawing gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from enum import StrEnum
from io import BytesIO

POINTS_PER_IN = 72.0  # a PDF's unit, where the page says nothing else (ISO 32000-1, 8.3.2.3)

# Width and height, inches, upright.
PAPERS = {"letter": (8.5, 11.0), "a4": (210 / 25.4, 297 / 25.4)}

# Home printers leave a border of up to about 3/16 in blank (common practice, no source).
UNPRINTABLE_IN = 0.2

PROGRAM = "seamcheck"  # named in the file as its maker, which is how a later run knows its own sheet


class PdfKind(StrEnum):
    """What a PDF of ours is, as its subject says: one is never replaced by another kind."""

    CARDS = "scale cards"
    PATTERNS = "patterns for a rose"
    RECESS = "recess for a rose"
    BENCH = "bench sheet"
    PORTFOLIO = "portfolio"
    STUDENT = "sheet of a student"
    CLASS = "overview of a class"


def is_pdf(kind: PdfKind) -> Callable[[bytes], bool]:
    """Tells whether a file's bytes are a PDF of that kind, of this program's making."""

    def is_ours(data: bytes) -> bool:
        return data.startswith(b"%PDF") and f"/Creator ({PROGRAM})".encode() in data and f"/Subject ({kind})".encode() in data

    return is_ours


Loop = Sequence[tuple[float, float]]


class Sheet:
    """One page of a PDF file, or several of one size. Greys run from 0, black, to 1, white."""

    def __init__(self, paper: str, title: str, kind: PdfKind, print_scale: tuple[float, float] = (1.0, 1.0)) -> None:
        """paper: a key of PAPERS; title: shown by the program that displays the file.

        print_scale: how much larger than the file the printer prints, along x and y: everything is drawn as much smaller,
        about the middle of the page, so that inches drawn are inches on the paper that comes out.
        """
        from reportlab.pdfgen.canvas import Canvas

        self.width_in, self.height_in = PAPERS[paper]
        self._file = BytesIO()
        self._canvas = Canvas(
            self._file, pagesize=(self.width_in * POINTS_PER_IN, self.height_in * POINTS_PER_IN), invariant=1, pageCompression=1
        )
        self._canvas.setTitle(title)
        self._canvas.setCreator(PROGRAM)
        self._canvas.setSubject(kind)
        self._canvas.setAuthor(PROGRAM)
        self._canvas.setViewerPreference("PrintScaling", "None")  # asks the print dialogue for 100 %
        self._print_scale = print_scale
        self._undo_print_scale()

    def _undo_print_scale(self) -> None:
        if self._print_scale == (1.0, 1.0):
            return
        x, y = (POINTS_PER_IN * side / 2 for side in (self.width_in, self.height_in))
        self._canvas.translate(x, y)
        self._canvas.scale(1 / self._print_scale[0], 1 / self._print_scale[1])
        self._canvas.translate(-x, -y)

    def next_page(self) -> None:
        """Go on on a new page. The last one can't be drawn on afterwards."""
        self._canvas.showPage()
        self._undo_print_scale()

    @contextmanager
    def within(self, left_in: float, bottom_in: float, right_in: float, top_in: float, origin_in: tuple[float, float]) -> Iterator[None]:
        """Draw in a frame whose origin lies there on the page, and show of it only what falls into a window of the page."""
        self._canvas.saveState()
        window = self._canvas.beginPath()
        sides = (left_in, bottom_in, right_in - left_in, top_in - bottom_in)
        window.rect(*(POINTS_PER_IN * side for side in sides))
        self._canvas.clipPath(window, stroke=0, fill=0)
        self._canvas.translate(POINTS_PER_IN * origin_in[0], POINTS_PER_IN * origin_in[1])
        yield
        self._canvas.restoreState()

    def fill(self, loops: Iterable[Loop], grey: float = 0.0) -> None:
        """Closed outlines filled together as one shape, so that no hairline shows where its parts meet.

        Outlines run with the filled side on their left; a hole runs the other way.
        """
        path = self._canvas.beginPath()
        for loop in loops:
            for index, (x, y) in enumerate(loop):
                (path.lineTo if index else path.moveTo)(x * POINTS_PER_IN, y * POINTS_PER_IN)
            path.close()
        self._canvas.setFillGray(grey)
        self._canvas.drawPath(path, stroke=0, fill=1)

    def line(self, start_in: tuple[float, float], end_in: tuple[float, float], width_in: float, grey: float = 0.0) -> None:
        """A straight stroke with square-cut ends."""
        self._canvas.setStrokeGray(grey)
        self._canvas.setLineWidth(width_in * POINTS_PER_IN)
        self._canvas.line(*(POINTS_PER_IN * value for value in (*start_in, *end_in)))

    def stroke(self, points_in: Loop, width_in: float, closed: bool = False, grey: float = 0.0, dash_in: Sequence[float] = ()) -> None:
        """A line through points, or an outline; dash_in: strokes and spaces by turns."""
        path = self._canvas.beginPath()
        for index, (x, y) in enumerate(points_in):
            (path.lineTo if index else path.moveTo)(x * POINTS_PER_IN, y * POINTS_PER_IN)
        if closed:
            path.close()
        self._canvas.setStrokeGray(grey)
        self._canvas.setLineWidth(width_in * POINTS_PER_IN)
        self._canvas.setLineJoin(1)  # round: a mitre would draw a sharp point longer than it is
        self._canvas.setDash([POINTS_PER_IN * part for part in dash_in])
        self._canvas.drawPath(path, stroke=1, fill=0)
        self._canvas.setDash([])

    def circle(self, middle_in: tuple[float, float], radius_in: float, width_in: float, grey: float = 0.0) -> None:
        """A circle's line."""
        self._canvas.setStrokeGray(grey)
        self._canvas.setLineWidth(width_in * POINTS_PER_IN)
        self._canvas.circle(*(POINTS_PER_IN * value for value in (*middle_in, radius_in)), stroke=1, fill=0)

    def text(self, words: str, start_in: tuple[float, float], size_in: float, turned_deg: float = 0.0, grey: float = 0.0) -> None:
        """Plain words from the start of their base line, turned counter-clockwise; size_in is the type's height."""
        self._canvas.saveState()
        self._canvas.setFillGray(grey)
        self._canvas.setFont("Helvetica", size_in * POINTS_PER_IN)
        self._canvas.translate(start_in[0] * POINTS_PER_IN, start_in[1] * POINTS_PER_IN)
        self._canvas.rotate(turned_deg)
        self._canvas.drawString(0, 0, words)
        self._canvas.restoreState()

    def pdf(self) -> bytes:
        """The finished file. The sheet can't be drawn on afterwards."""
        self._canvas.showPage()
        self._canvas.save()
        return self._file.getvalue()


def text_width_in(words: str, size_in: float) -> float:
    """How long the words run on a sheet, inches."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(words, "Helvetica", size_in))
