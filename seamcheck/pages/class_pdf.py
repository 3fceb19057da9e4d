"""A student's sheet on paper: one page, black on white, as large as it goes."""

from __future__ import annotations

from bisect import bisect_left

from ..basis.language import say
from ..report.class_words import Thing
from ..sheet import PdfKind
from .class_content import RETAKE, StudentSheet
from .paper import LEADING, Page, cannot_set, lines_of, pdf, width_of

MARGIN, GUTTER = 36.0, 18.0  # points
SIZES = (1.25, 1.15, 1.06, 1.0, 0.94, 0.88, 0.82, 0.76, 0.7, 0.64)  # of type, as shares of the usual
TEXT, HEAD, SMALL = 10.4, 12.4, 8.4  # type, points
LEAST_TITLE = 11.0
BAND_GREY = {"go": None, "not-yet": 0.0, "cant-tell": 0.86, RETAKE: 0.86, "": 0.93}
PHOTO_SHARE = 0.5  # of the width
MOST_PHOTO = 265.0  # high


def student_pdf(sheet: StudentSheet, paper: str) -> bytes:
    """The file. paper: "letter" or "a4"."""
    page = Page.of(paper)
    _Layout(page, sheet, fitting(sheet, paper)).bottom()
    return pdf([page], say("{student}: {photo}", student=sheet.student, photo=sheet.photo_name), PdfKind.STUDENT)


def fitting(sheet: StudentSheet, paper: str) -> float:
    """The largest type that lets everything fit one page."""

    def fits(size: float) -> bool:
        page = Page.of(paper)
        return _Layout(page, sheet, size).bottom() <= page.height - MARGIN

    return SIZES[min(bisect_left(SIZES, True, key=fits), len(SIZES) - 1)]


def title_of(page: Page, name: str, y: float, size: float, width: float) -> float:
    """A name at the page's head, on one line, in smaller type where it is long; where letters are lacking, a note says so."""
    size = max(LEAST_TITLE, min(size, size * width / max(width_of(name, size, "sans bold"), 1.0)))
    lines = lines_of(name, size, width, "sans bold")
    page.line_of(lines[0] + (" …" if len(lines) > 1 else ""), MARGIN, y, size, "sans bold")
    y += 1.3 * size
    if cannot_set(name):
        note = say("This page's letters can't set the whole name; the .html page shows it.")
        page.line_of(note, MARGIN, y, SMALL, grey=0.3)
        y += LEADING * SMALL
    return y


class _Layout:
    """Sets the sheet on a page, part below part."""

    def __init__(self, page: Page, sheet: StudentSheet, size: float) -> None:
        self.page, self.sheet = page, sheet
        self.text, self.head, self.small = size * TEXT, max(size, 0.8) * HEAD, max(size, 0.8) * SMALL
        self.left, self.right = MARGIN, page.width - MARGIN
        self.inner = self.right - self.left

    def bottom(self) -> float:
        y = self._title(MARGIN)
        if self.sheet.said:
            y = self._band(y + 6)
        y = self._good(y + 12)
        y = self._things(y + 10)
        y = self._listed(say("How to take it again"), self.sheet.retake, y, numbered=True)
        y = self._listed(say("What this photo can't tell"), self.sheet.untold, y)
        return self._foot(y + 8)

    def _title(self, y: float) -> float:
        sheet = self.sheet
        top = y
        y = title_of(self.page, sheet.student, y, 19.0, 0.6 * self.inner)
        words = " · ".join(filter(None, [sheet.session, sheet.stage]))
        self.page.line_of(lines_of(words, 10.0, 0.38 * self.inner)[0], self.right, top + 2, 10.0, align="right")
        photo = lines_of(sheet.photo_name, 9.0, 0.38 * self.inner)
        self.page.line_of(photo[0] + (" …" if len(photo) > 1 else ""), self.right, top + 15, 9.0, grey=0.3, align="right")
        return max(y, top + 15 + LEADING * 9.0)  # a long name in small type ends sooner

    def _band(self, y: float) -> float:
        """Where the student stands. Black: not yet; white in a frame: go; grey: can't tell, or a photo to take again."""
        sheet, call = self.sheet, self.sheet.call
        ink = 1.0 if call == "not-yet" else 0.0
        said = min(20.0, 20.0 * 0.5 * self.inner / width_of(sheet.said, 20.0, "sans bold"))
        left = self.left + 12 + width_of(sheet.said, said, "sans bold") + 14
        size = 11.0
        lines = lines_of(sheet.sentence, size, self.right - left - 10)
        height = max(34.0, 12 + len(lines) * LEADING * size)
        dash = (7, 4) if call in ("cant-tell", RETAKE) else ()
        self.page.box(self.left, y, self.inner, height, BAND_GREY[call], 2.2 if call else 0.0, dash)
        self.page.line_of(sheet.said, self.left + 12, y + height / 2 - 0.6 * said, said, "sans bold", ink)
        top = y + (height - len(lines) * LEADING * size) / 2
        for number, line in enumerate(lines):
            self.page.line_of(line, left, top + number * LEADING * size, size, grey=ink)
        return y + height

    def _heading(self, words: str, x: float, y: float, width: float) -> float:
        self.page.rule(x, y, x + width, 1.2)
        return self.page.paragraph(words, x, y + 4, width, self.head, "sans bold") + 2

    def _good(self, y: float) -> float:
        """What is good comes first, beside the photo."""
        sheet = self.sheet
        left, bottom = self.left, y
        if sheet.photo is not None:
            width = PHOTO_SHARE * self.inner
            height = width * sheet.photo.height_px / sheet.photo.width_px
            if height > MOST_PHOTO:
                width, height = width * MOST_PHOTO / height, MOST_PHOTO
            x = self.right - width
            self.page.picture(sheet.photo, x, y, width, height)
            self.page.box(x, y, width, height, line=0.6)
            bottom = self.page.paragraph(sheet.photo_words, x, y + height + 3, width, self.small, grey=0.25)
            room = x - GUTTER - left
        else:
            room = self.inner
        if sheet.good:
            y = self._heading(say("What is good"), left, y, room)
            for words in sheet.good:
                self.page.mark("on", left + 5, y + 0.68 * self.text, 0.3 * self.text)
                y = self.page.paragraph(words, left + 14, y, room - 14, self.text) + 3
        if sheet.progress:
            y = self._heading(say("From session to session"), left, y + 6, room)
            for words in sheet.progress:
                y = self.page.paragraph(words, left, y, room, self.text, hang=10) + 2
        return max(y, bottom)

    def _things(self, y: float) -> float:
        sheet = self.sheet
        if sheet.nothing:
            return self.page.paragraph(sheet.nothing, self.left, y, self.inner, self.text, "sans bold") + 4
        if not sheet.things:
            return y
        width = (self.inner - GUTTER) / 2 if len(sheet.things) > 1 else self.inner
        return (
            max(self._thing(number, thing, self.left + number * (width + GUTTER), y, width) for number, thing in enumerate(sheet.things))
            + 4
        )

    def _thing(self, number: int, thing: Thing, x: float, y: float, width: float) -> float:
        count = f" · {thing.count}" if thing.count else ""
        y = self._heading(f"{number + 1}  {thing.heading}{count}", x, y, width)
        for words in thing.found:
            y = self.page.paragraph(words, x, y, width, self.text) + 3
        y = self._labelled(say("How to mend it"), thing.mend, x, y + 3, width)
        return self._labelled(say("Practise"), (thing.practise,), x, y + 3, width)

    def _labelled(self, label: str, told: tuple[str, ...], x: float, y: float, width: float) -> float:
        if not told:
            return y
        y = self.page.paragraph(label, x, y, width, self.text, "sans bold") + 1
        for words in told:
            y = self.page.paragraph(words, x + 8, y, width - 8, self.text) + 3
        return y

    def _listed(self, heading: str, told: tuple[str, ...], y: float, numbered: bool = False) -> float:
        if not told:
            return y
        y = self._heading(heading, self.left, y + 6, self.inner)
        for number, words in enumerate(told, 1):
            y = self.page.paragraph(f"{number}. {words}" if numbered else words, self.left, y, self.inner, self.text, hang=12) + 2
        return y

    def _foot(self, y: float) -> float:
        sheet = self.sheet
        if sheet.cautions:
            text = " ".join(sheet.cautions)
            lines = lines_of(text, self.small, self.inner - 16, "sans bold")
            height = 8 + len(lines) * LEADING * self.small
            self.page.box(self.left, y, self.inner, height, line=1.2)
            self.page.paragraph(text, self.left + 8, y + 4, self.inner - 16, self.small, "sans bold")
            y += height + 4
        return self.page.paragraph(sheet.scale, self.left, y, self.inner, 0.9 * self.small, grey=0.25) if sheet.scale else y
