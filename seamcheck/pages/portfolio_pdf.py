"""The portfolio on paper: the rose on a page of its own, then its points, and how true they are."""

from __future__ import annotations

from ..basis.language import say
from ..basis.units import lengths
from ..sheet import PdfKind
from .paper import Page, cannot_set, lines_of, pdf, width_of
from .pictures import Picture
from .portfolio_content import Portfolio

SIDE, TOP, BOTTOM = 68.0, 72.0, 60.0  # margins, points
TEXT, TABLE, NOTE, HEADING = 10.8, 9.6, 9.2, 16.0  # type
LEADING, ROW = 1.42, 1.5
QUIET = 0.34  # grey
GAP = 14.0
HAIR = 0.4


def portfolio_pdf(shown: Portfolio, paper: str) -> bytes:
    """The file. paper: "letter" or "a4"."""
    return pdf(_Pages(shown, paper).pages, shown.title, PdfKind.PORTFOLIO)


def unset_words(shown: Portfolio) -> tuple[str, ...]:
    """What the person has to know before handing it on: letters that the page's face lacks leave holes."""
    told = [words for words in (shown.title, shown.maker) if cannot_set(words, "serif")]
    return tuple(say('portfolio.pdf lacks letters of "{words}": hand on portfolio.html, which has them.', words=words) for words in told)


class _Pages:
    def __init__(self, shown: Portfolio, paper: str) -> None:
        self.shown, self.paper = shown, paper
        self.pages: list[Page] = []
        self.y = 0.0
        self._front()
        self._next()
        self._points()
        if shown.before is not None and shown.after is not None:
            self._change(shown.before, shown.after)
        self._true()

    @property
    def page(self) -> Page:
        return self.pages[-1]

    @property
    def inner(self) -> float:
        return self.page.width - 2 * SIDE

    @property
    def middle(self) -> float:
        return self.page.width / 2

    def _next(self) -> None:
        self.pages.append(Page.of(self.paper))
        self.y = TOP

    def _room_for(self, height: float) -> None:
        if self.y + height > self.page.height - BOTTOM:
            self._next()

    def _centred(self, words: str, size: float, face: str, grey: float = 0.0, track: float = 0.0) -> None:
        for line in lines_of(words, size, self.inner - track * len(words), face):
            self.page.line_of(line, self.middle, self.y, size, face, grey, "middle", track)
            self.y += 1.25 * size

    def _front(self) -> None:
        """Title, the rose, and whose work it is: the picture in the page's optical middle."""
        self._next()
        self.y = TOP + 14
        size = 30.0
        while size > 16 and width_of(self.shown.title, size, "serif") > 1.9 * self.inner:
            size -= 1
        self._centred(self.shown.title, size, "serif")
        self.y += 4
        self._centred(self.shown.subtitle, 12.5, "serif italic", QUIET)
        width = min(self.inner, self.page.height - self.y - 190)
        top = self.y + max(24.0, 0.42 * (self.page.height - BOTTOM - 70 - self.y - width))
        self.page.picture(self.shown.hero, self.middle - width / 2, top, width, width)
        self.y = top + width + 16
        self._centred(self.shown.caption, NOTE + 0.4, "serif italic", QUIET)
        if self.shown.maker:
            self.y = self.page.height - BOTTOM - 22
            self._centred(self.shown.maker, 11.5, "serif", track=0.8)

    def _heading(self, words: str, follows: float) -> None:
        """A heading that doesn't stand alone at a page's foot."""
        self._room_for(3 * HEADING + follows)
        if self.y > TOP:
            self.y += 1.5 * HEADING
        self._centred(words, HEADING, "serif")
        self.y += 8

    def _points(self) -> None:
        points = self.shown.points
        columns = 3 if 4 < len(points) <= 9 else 4  # so that up to 16 fill a page at most
        side = (self.inner - (columns - 1) * GAP) / columns
        row_height = side + 1.7 * NOTE + 8
        self._heading(say("The points"), row_height)
        for start in range(0, len(points), columns):
            row = points[start : start + columns]
            self._room_for(row_height)
            left = self.middle - (len(row) * (side + GAP) - GAP) / 2
            for k, point in enumerate(row):
                x = left + k * (side + GAP)
                self.page.picture(point.picture, x, self.y, side, side)
                self.page.box(x, self.y, side, side, line=HAIR, grey=0.5)
                self.page.line_of(f"{point.lobe} · {point.clock}", x + side / 2, self.y + side + 4, NOTE, "serif", QUIET, "middle")
            self.y += row_height
        self._centred(self.shown.points_words, NOTE, "serif italic", QUIET)

    def _change(self, before: Picture, after: Picture) -> None:
        side = (self.inner - 2 * GAP) / 2
        self._heading(say("Before and after"), side + 2 * NOTE)
        for k, (picture, words) in enumerate(((before, say("before")), (after, say("after")))):
            x = SIDE + k * (side + 2 * GAP)
            self.page.picture(picture, x, self.y, side, side)
            self.page.line_of(words, x + side / 2, self.y + side + 6, NOTE, "serif italic", QUIET, "middle")
        self.y += side + 2.4 * NOTE

    def _true(self) -> None:
        width = min(self.inner, 400.0)
        left = self.middle - width / 2
        said = sum(self._tall(words, width, TEXT, "serif") for words in self.shown.statement)
        fine = sum(self._tall(words, width, NOTE, "serif italic") for words in self.shown.method)
        # All of it together, where a page holds it: fine print alone on a page looks like a slip.
        self._heading(say("How true it is"), said + 6 + (len(self.shown.points) + 1) * ROW * TABLE + 8 + fine)
        for words in self.shown.statement:
            self._paragraph(words, left, width, TEXT, "serif", 0.0)
        self.y += 6
        self._table(left, width)
        self.y += 8
        for words in self.shown.method:
            self._paragraph(words, left, width, NOTE, "serif italic", QUIET)

    def _tall(self, words: str, width: float, size: float, face: str) -> float:
        """What _paragraph takes of the page."""
        return (len(lines_of(words, size, width, face)) * LEADING + 0.35) * size

    def _paragraph(self, words: str, left: float, width: float, size: float, face: str, grey: float) -> None:
        for line in lines_of(words, size, width, face):
            self._room_for(LEADING * size)
            self.page.line_of(line, left, self.y, size, face, grey)
            self.y += LEADING * size
        self.y += 0.35 * size

    def _table(self, left: float, width: float) -> None:
        size = TABLE
        heads = (say("point"), say("clock"), say("off its seam"), lengths().plural, say("verdict"))
        rows = [(str(one.lobe), one.clock, one.offset, one.number, one.verdict) for one in self.shown.points]
        needs = [max(width_of(row[k], size, "serif") for row in [heads, *rows]) for k in range(len(heads))]
        spare = (width - sum(needs)) / (len(needs) - 1)
        places = [left + sum(needs[:k]) + k * spare for k in range(len(needs))]
        height = ROW * size
        self._room_for(min(len(rows) + 1, 6) * height)
        for place, words in zip(places, heads, strict=True):
            self.page.line_of(words, place, self.y, size, "serif italic", QUIET)
        self.y += height
        self.page.rule(left, self.y - 2, left + width, 0.6)
        for row in rows:
            self._room_for(height)
            for place, words in zip(places, row, strict=True):
                self.page.line_of(words, place, self.y, size, "serif")
            self.y += height
        self.page.rule(left, self.y - 1, left + width, 0.6)
