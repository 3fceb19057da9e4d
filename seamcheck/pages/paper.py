"""A page of paper to set words and pictures on, from the top down, in typefaces that the file carries itself.

Page frame: points (1/72 in) from the page's upper left corner, x to the right, y down. What is set is only noted, so that a
page can be set again, smaller, when it has run over; `pdf` draws it. The same page gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.util import find_spec
from io import BytesIO
from pathlib import Path
from typing import Any

from ..report.class_names import runs_leftward
from ..report.overlay_palette import MARK_SHAPES
from ..sheet import PAPERS, POINTS_PER_IN, PROGRAM, PdfKind
from .environment import FILLED
from .pictures import Picture

# The faces that matplotlib carries, which may be put into any document (their licences lie beside them): file, and how wide it is set.
FACES = {
    "sans": ("DejaVuSans.ttf", 0.90),
    "sans bold": ("DejaVuSans-Bold.ttf", 0.88),
    "serif": ("STIXGeneral.ttf", 1.0),
    "serif bold": ("STIXGeneralBol.ttf", 1.0),
    "serif italic": ("STIXGeneralItalic.ttf", 1.0),
}
LEADING = 1.28  # line to line, in type sizes
ASCENT = 0.93  # from a line's top to its base line, in type sizes
Grey = float  # 0, black, to 1, white

Op = Callable[[Any], None]


@cache
def _registered() -> None:
    from reportlab.pdfbase.pdfmetrics import registerFont
    from reportlab.pdfbase.ttfonts import TTFont

    spec = find_spec("matplotlib")  # found, not imported, which would take half a second
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError("The page's letters come with matplotlib, which isn't installed.")
    folder = Path(spec.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"
    for name, (file, _) in FACES.items():
        registerFont(TTFont(name, str(folder / file)))


def width_of(words: str, size: float, face: str = "sans") -> float:
    """Points from the first letter's start to the last one's end."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    _registered()
    return float(stringWidth(words, face, size)) * FACES[face][1]


def lacks(words: str, face: str = "sans") -> bool:
    """Whether the face has no drawing for one of the letters (it then sets an empty box)."""
    from reportlab.pdfbase.pdfmetrics import getFont

    _registered()
    drawn = getFont(face).face.charToGlyph
    return any(ord(letter) not in drawn for letter in words if not letter.isspace())


def cannot_set(name: str, face: str = "sans") -> bool:
    """Whether a page of PDF can't set a name: its face lacks a letter, or it is written from right to left."""
    return lacks(name, face) or runs_leftward(name)


def lines_of(words: str, size: float, width: float, face: str = "sans") -> list[str]:
    """A paragraph in lines no wider than that; a word that is wider by itself is broken."""
    lines = [""]
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if width_of(longer, size, face) <= width:
            lines[-1] = longer
            continue
        if lines[-1]:
            lines.append("")
        for letter in word:
            if lines[-1] and width_of(lines[-1] + letter, size, face) > width:
                lines.append("")
            lines[-1] += letter
    return lines


@dataclass
class Page:
    """One page, as it is being set."""

    width: float
    height: float
    ops: list[Op] = field(default_factory=list)

    @staticmethod
    def of(paper: str) -> Page:
        """paper: a key of PAPERS."""
        width_in, height_in = PAPERS[paper]
        return Page(width_in * POINTS_PER_IN, height_in * POINTS_PER_IN)

    def line_of(
        self, words: str, x: float, y: float, size: float, face: str = "sans", grey: Grey = 0.0, align: str = "left", track: float = 0.0
    ) -> None:
        """One line of words whose top is at y. align: what of it x is. track: space added between letters."""
        total = width_of(words, size, face) + track * max(len(words) - 1, 0)
        start = x - {"left": 0.0, "middle": total / 2, "right": total}[align]
        base = self.height - y - ASCENT * size

        def draw(canvas: Any) -> None:
            text = canvas.beginText(start, base)
            text.setFont(face, size)
            text.setFillGray(grey)
            text.setHorizScale(100 * FACES[face][1])
            text.setCharSpace(track / FACES[face][1])
            text.textOut(words)
            canvas.drawText(text)

        self.ops.append(draw)

    def paragraph(
        self,
        words: str,
        x: float,
        y: float,
        width: float,
        size: float,
        face: str = "sans",
        grey: Grey = 0.0,
        leading: float = LEADING,
        hang: float = 0.0,
    ) -> float:
        """Words in lines; gives the y beneath them. hang: how far lines after the first are set in."""
        lines = lines_of(words, size, width, face)
        if hang and len(lines) > 1:
            rest = words[len(lines[0]) :].strip()
            lines = [lines[0], *lines_of(rest, size, width - hang, face)]
        for number, line in enumerate(lines):
            self.line_of(line, x + (hang if number else 0.0), y, size, face, grey)
            y += leading * size
        return y

    def picture(self, picture: Picture, x: float, y: float, width: float, height: float) -> None:
        def draw(canvas: Any) -> None:
            from reportlab.lib.utils import ImageReader

            canvas.drawImage(ImageReader(BytesIO(picture.data)), x, self.height - y - height, width, height, mask="auto")

        self.ops.append(draw)

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        fill: Grey | None = None,
        line: float = 0.0,
        dash: Sequence[float] = (),
        grey: Grey = 0.0,
    ) -> None:
        """A rectangle, filled, lined or both. line: its width."""

        def draw(canvas: Any) -> None:
            canvas.saveState()
            if fill is not None:
                canvas.setFillGray(fill)
            canvas.setStrokeGray(grey)
            canvas.setLineWidth(line)
            canvas.setDash(list(dash))
            canvas.rect(x, self.height - y - height, width, height, stroke=int(line > 0), fill=int(fill is not None))
            canvas.restoreState()

        self.ops.append(draw)

    def rule(self, x0: float, y: float, x1: float, width: float = 0.5, grey: Grey = 0.0) -> None:
        """A level line."""

        def draw(canvas: Any) -> None:
            canvas.saveState()
            canvas.setStrokeGray(grey)
            canvas.setLineWidth(width)
            canvas.line(x0, self.height - y, x1, self.height - y)
            canvas.restoreState()

        self.ops.append(draw)

    def mark(self, kind: str, x: float, y: float, radius: float) -> None:
        """A verdict's mark about (x, y): its shape tells, so it needs no colour. On is filled, what can't be told is open."""
        shape = MARK_SHAPES[kind]
        filled = kind in FILLED

        def draw(canvas: Any) -> None:
            canvas.saveState()
            canvas.setStrokeGray(0)
            canvas.setFillGray(0 if filled else 1)
            canvas.setLineWidth(0.25 * radius)
            if shape is None:
                canvas.circle(x, self.height - y, 0.86 * radius, stroke=1, fill=1)
            else:
                path = canvas.beginPath()
                for number, (dx, dy) in enumerate(shape):
                    (path.lineTo if number else path.moveTo)(x + radius * dx, self.height - y - radius * dy)
                path.close()
                canvas.drawPath(path, stroke=1, fill=1)
            canvas.restoreState()

        self.ops.append(draw)


def pdf(pages: Sequence[Page], title: str, kind: PdfKind) -> bytes:
    """The pages as a file that is marked as ours."""
    from reportlab.pdfgen.canvas import Canvas

    _registered()
    file = BytesIO()
    canvas = Canvas(file, pagesize=(pages[0].width, pages[0].height), invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setCreator(PROGRAM)
    canvas.setSubject(kind)
    canvas.setAuthor(PROGRAM)
    for page in pages:
        for op in page.ops:
            op(canvas)
        canvas.showPage()
    canvas.save()
    return file.getvalue()
