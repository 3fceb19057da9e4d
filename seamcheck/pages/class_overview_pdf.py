"""A teacher's overview on paper: as many pages as the class needs."""

from __future__ import annotations

from ..basis.language import say
from ..sheet import PdfKind
from .class_overview import Overview
from .class_pdf import MARGIN
from .paper import LEADING, Page, cannot_set, lines_of, pdf, width_of

TEXT, SMALL, HEAD, TITLE = 9.6, 8.2, 13.0, 20.0  # type, points
ROW = 1.5  # of a table, in type sizes
LEAST_TYPE = 6.2
COLUMN_GAP = 7.0


def overview_pdf(overview: Overview, paper: str) -> bytes:
    """The file. paper: "letter" or "a4"."""
    return pdf(_Flow(overview, paper).pages, overview.title, PdfKind.CLASS)


class _Flow:
    """Sets one part below the other, on a new page where one is full."""

    def __init__(self, shown: Overview, paper: str) -> None:
        self.paper, self.shown = paper, shown
        self.pages = [Page.of(paper)]
        self.y = MARGIN
        self.left, self.right = MARGIN, self.page.width - MARGIN
        self.inner = self.right - self.left
        self._set()
        for number, page in enumerate(self.pages, 1):
            page.line_of(f"{number}", self.right, page.height - MARGIN + 8, SMALL, grey=0.3, align="right")

    @property
    def page(self) -> Page:
        return self.pages[-1]

    def _need(self, height: float) -> None:
        if self.y + height > self.page.height - MARGIN and self.y > MARGIN:
            self.pages.append(Page.of(self.paper))
            self.y = MARGIN

    def _say(self, words: str, size: float = TEXT, face: str = "sans", grey: float = 0.0, x: float = 0.0) -> None:
        self._need(len(lines_of(words, size, self.inner - x, face)) * LEADING * size)
        self.y = self.page.paragraph(words, self.left + x, self.y, self.inner - x, size, face, grey) + 2

    def _heading(self, words: str, beneath: float) -> None:
        """beneath: what has to stand on the same page."""
        self._need(2.4 * HEAD + beneath)
        self.y += 10
        self.page.rule(self.left, self.y, self.right, 1.2)
        self.y = self.page.paragraph(words, self.left, self.y + 4, self.inner, HEAD, "sans bold") + 3

    def _set(self) -> None:
        shown = self.shown
        self._say(shown.title, TITLE, "sans bold")
        self._say(shown.lead)
        if any(cannot_set(student.name) for student in shown.students):
            self._say(say("This page's letters can't set every name; the .html page shows them all."), SMALL, grey=0.3)
        for group in shown.groups:
            self._need(3 * LEADING * TEXT)
            self.y += 5
            self.page.mark(group.mark, self.left + 6, self.y + 0.7 * TEXT, 0.36 * TEXT)
            self.page.line_of(f"{group.heading} · {len(group.students)}", self.left + 16, self.y, TEXT + 1, "sans bold")
            self.y += LEADING * (TEXT + 1)
            self._say(", ".join(student.name for student in group.students), x=16)
        self._heading(say("Student by student"), 4 * ROW * TEXT)
        self._table(
            ("", *shown.heads),
            [(str(student.number), student.name, *student.cells) for student in shown.students],
            [s.mark for s in shown.students],
        )
        self._heading(say("What goes wrong, and what to practise"), 5 * LEADING * TEXT)
        self._say(shown.common_lead)
        for one in shown.common:
            self._need(4 * LEADING * TEXT)
            self._say(f"{one.heading} · {one.count}", face="sans bold")
            self._say(one.who, SMALL, grey=0.25, x=10)
            self._say(one.practise, x=10)
        for plot in shown.plots:
            height = self.inner * plot.picture.height_px / plot.picture.width_px
            self._heading(plot.heading, height + 2 * LEADING * TEXT)
            self._say(plot.words)
            self.page.picture(plot.picture, self.left, self.y, self.inner, height)
            self.y += height + 2
        if shown.session_rows:
            self._heading(say("Points on, session by session"), 4 * ROW * TEXT)
            self._table(shown.session_heads, list(shown.session_rows), [])
        self._heading(say("How it was judged"), 4 * LEADING * TEXT)
        self._say(shown.marks, SMALL)
        for words in shown.notes:
            self._say(words, SMALL)
        self._say(" ".join(shown.cautions), SMALL, "sans bold")

    def _table(self, heads: tuple[str, ...], rows: list[tuple[str, ...]], marks: list[str]) -> None:
        """Columns as wide as they need to be, in smaller type where that is too wide; the last cells are cut where even that is."""
        indent = 12.0 if marks else 0.0
        room = self.inner - indent - COLUMN_GAP * (len(heads) - 1)
        needed = [max(width_of(row[k], TEXT, "sans bold") for row in [heads, *rows]) for k in range(len(heads))]
        size = max(LEAST_TYPE, min(TEXT, TEXT * room / sum(needed)))
        widths = [one * size / TEXT for one in needed]
        while sum(widths) > room + 0.5:  # the widest column gives way
            widest = widths.index(max(widths))
            widths[widest] -= min(sum(widths) - room, max(widths[widest] * 0.1, 1.0))
        places = [self.left + indent + sum(widths[:k]) + COLUMN_GAP * k for k in range(len(heads))]
        self._row(heads, places, widths, size, True)
        for number, row in enumerate(rows):
            if self.y + ROW * size > self.page.height - MARGIN:
                self._need(ROW * size)
                self._row(heads, places, widths, size, True)
            if marks:
                self.page.mark(marks[number], self.left + 4.5, self.y + 0.78 * size, 0.32 * size)
            self._row(row, places, widths, size, False)

    def _row(self, cells: tuple[str, ...], places: list[float], widths: list[float], size: float, head: bool) -> None:
        for place, width, words in zip(places, widths, cells, strict=True):
            face = "sans bold" if head else "sans"
            line = lines_of(words, size, width + 0.5, face)
            self.page.line_of(line[0] + (" …" if len(line) > 1 else ""), place, self.y + 1.5, size, face)
        self.y += ROW * size
        self.page.rule(self.left, self.y, self.right, 0.9 if head else 0.3, 0.0 if head else 0.6)
