"""The bench sheet on paper: one page, black on white, as large as it goes."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from math import ceil

from ..basis.language import say
from ..sheet import PdfKind
from .bench_content import BenchSheet
from .paper import LEADING, Page, lines_of, pdf, width_of

MARGIN, GUTTER = 30.0, 14.0  # points
# What is read at the bench keeps its size; lists shrink first, then are cut short. Shares of the usual size.
SIZES = (1.2, 1.1, 1.0, 0.94, 0.88, 0.82, 0.78)
LEAST_TABLE, MOST_TABLE_TYPE = 0.94, 12.5
TABLE, LIST, SMALL, HEAD = 9.6, 8.8, 7.6, 10.4  # type, points
BAND_GREY = {"go": None, "not-yet": 0.0, "cant-tell": 0.86, "": 0.93}
PHOTO_SHARE = 0.5  # of the width
LOOSE_PHOTO_SHARE = 0.36  # of loose lobes: their table has the longer rows
MOST_PHOTO = 300.0  # high
MOST_JOINTS = 260.0  # width of their table
FEWEST_COLUMNS, MOST_COLUMNS = 4, 8
MOST_IN_ONE_COLUMN = 8  # steps of a plan
ROW = 1.36  # of a table, in type sizes


def bench_pdf(sheet: BenchSheet, paper: str) -> bytes:
    """The file. paper: "letter" or "a4"."""
    page = Page.of(paper)
    _Layout(page, sheet, fitting(sheet, paper)).bottom()
    return pdf([page], say("Bench sheet: {photo}", photo=sheet.photo_name), PdfKind.BENCH)


@dataclass(frozen=True, slots=True)
class Way:
    """One way to set the sheet."""

    size: float  # of lists, as a share of the usual
    shown: int  # of the plan's steps
    wide: bool  # points enlarged in few columns

    def columns(self, count: int) -> int:
        """How many points stand side by side."""
        return FEWEST_COLUMNS if self.wide or count <= FEWEST_COLUMNS else ceil(count / ceil(count / MOST_COLUMNS))


def fitting(sheet: BenchSheet, paper: str) -> Way:
    """What fits one page: everything, as large as it goes, or else fewer of the plan's steps at the least size."""
    steps = len(sheet.part.steps) if sheet.part else 0
    ways = [
        Way(size, steps, wide)
        for wide in ((True, False) if len(sheet.tips) > FEWEST_COLUMNS else (False,))
        for size in SIZES
        if not wide or size >= 1
    ]
    ways += [Way(SIZES[-1], shown, False) for shown in range(steps - 1, -1, -1)]

    def fits(way: Way) -> bool:
        page = Page.of(paper)
        return _Layout(page, sheet, way).bottom() <= page.height - MARGIN

    return ways[min(bisect_left(ways, True, key=fits), len(ways) - 1)]


class _Layout:
    """Sets the sheet on a page, part below part."""

    def __init__(self, page: Page, sheet: BenchSheet, way: Way) -> None:
        self.page, self.sheet, self.shown, self.way = page, sheet, way.shown, way
        size = way.size
        self.left, self.right = MARGIN, page.width - MARGIN
        self.inner = self.right - self.left
        self.table, self.list, self.small = max(size, LEAST_TABLE) * TABLE, size * LIST, max(size, 0.9) * SMALL
        self.head = max(size, 0.9) * HEAD

    def bottom(self) -> float:
        y = self._title(MARGIN)
        y = self._band(y + 6)
        y = self._photo_and_table(y + 8)
        y = self._strip(y + 8)
        y = self._lists(y + 8)
        return self._foot(y + 6)

    def _heading(self, words: str, x: float, y: float, width: float) -> float:
        self.page.line_of(words, x, y, self.head, "sans bold")
        y += 1.25 * self.head
        self.page.rule(x, y, x + width, 1.2)
        return y + 3

    def _title(self, y: float) -> float:
        name = lines_of(self.sheet.photo_name, 15, 0.62 * self.inner, "sans bold")[0]
        self.page.line_of(name, self.left, y, 15, "sans bold")
        self.page.line_of(f"{say('Bench sheet')} · {self.sheet.stage}", self.right, y + 4.5, 9.6, align="right")
        return y + 20

    def _band(self, y: float) -> float:
        """The one thing to be read from across the shop. Black: not yet; white in a frame: go; grey: can't tell."""
        call = self.sheet.call
        grey = BAND_GREY[call]
        white = call == "not-yet"
        size = 22.0
        said = min(size, size * 0.5 * self.inner / width_of(self.sheet.said, size, "sans bold"))
        left = self.left + 12 + width_of(self.sheet.said, said, "sans bold") + 14
        lines = lines_of(self.sheet.sentence, 11.5, self.right - left - 10)
        height = max(36.0, 12 + len(lines) * LEADING * 11.5)
        self.page.box(self.left, y, self.inner, height, grey, 2.4 if call != "" else 0.0, (7, 4) if call == "cant-tell" else ())
        ink = 1.0 if white else 0.0
        self.page.line_of(self.sheet.said, self.left + 12, y + height / 2 - 0.6 * said, said, "sans bold", ink)
        top = y + (height - len(lines) * LEADING * 11.5) / 2
        for number, line in enumerate(lines):
            self.page.line_of(line, left, top + number * LEADING * 11.5, 11.5, grey=ink)
        return y + height

    def _photo_and_table(self, y: float) -> float:
        photo = self.sheet.photo
        width = (PHOTO_SHARE if self.sheet.has_clock else LOOSE_PHOTO_SHARE) * self.inner
        height = width * photo.height_px / photo.width_px
        if height > MOST_PHOTO:
            width, height = width * MOST_PHOTO / height, MOST_PHOTO
        self.page.picture(photo, self.left, y, width, height)
        self.page.box(self.left, y, width, height, line=0.6)
        left = self.left + width + GUTTER
        bottom = self._table(left, y)
        for words in self.sheet.look:
            bottom = self.page.paragraph(words, left, bottom + 3, self.right - left, self.list)
        return max(y + height, bottom)

    def _table(self, left: float, y: float) -> float:
        size, width = self.table, self.right - left
        y = self.page.paragraph(self.sheet.tips_lead, left, y, width, size, "sans bold")
        rows = [(str(tip.lobe), tip.clock, *tip.cells, tip.verdict) for tip in self.sheet.tips]
        heads = (say("lobe"), say("clock"), *self.sheet.heads, "")
        if not self.sheet.has_clock:
            rows, heads = [(row[0], *row[2:]) for row in rows], (heads[0], *heads[2:])
        size = min(self._fitting(rows, heads, width - 13), MOST_TABLE_TYPE, self._room_for_rows(len(rows)))
        last = len(heads) - 1
        widths = [
            max(width_of(row[k], size, "sans bold" if k in (0, last) else "sans") for row in [heads, *rows]) for k in range(len(heads))
        ]
        spare = max(0.0, (width - 13 - sum(widths)) / max(len(widths) - 1, 1))
        places = [left + 13 + sum(widths[:k]) + k * min(spare, 12) for k in range(len(widths))]
        for place, words in zip(places, heads, strict=True):
            self.page.line_of(words, place, y, 0.86 * size, grey=0.3)
        y += 1.2 * size
        self.page.rule(left, y, self.right, 0.8)
        for tip, row in zip(self.sheet.tips, rows, strict=True):
            self.page.mark(tip.kind, left + 5, y + 0.72 * size, 0.34 * size)
            for k, (place, words) in enumerate(zip(places, row, strict=True)):
                strong = k == 0 or (tip.kind == "off" and words == row[-1])
                self.page.line_of(words, place, y + 1.5, size, "sans bold" if strong else "sans")
            y += ROW * size
            self.page.rule(left, y, self.right, 0.3, 0.6)
        return y

    def _room_for_rows(self, count: int) -> float:
        """The type's size at which the table is about as high as the photo, and never less than is read at arm's length."""
        return max(self.table, 0.86 * MOST_PHOTO / (ROW * (count + 2)))

    @staticmethod
    def _fitting(rows: list[tuple[str, ...]], heads: tuple[str, ...], width: float) -> float:
        """The type's size at which the columns fill the width."""
        needed = sum(max(width_of(row[k], 10.0, "sans bold") for row in [heads, *rows]) + 6 for k in range(len(heads)))
        return 10.0 * width / needed

    def _strip(self, y: float) -> float:
        tips = self.sheet.tips
        if not tips:
            return y
        columns = self.way.columns(len(tips))
        rows = ceil(len(tips) / columns)
        gap = 6.0
        width = (self.inner - (columns - 1) * gap) / columns
        height = width * tips[0].picture.height_px / tips[0].picture.width_px
        size = min(self.table, 9.0)
        lead = 11 + max(width_of(str(tip.lobe), size, "sans bold") for tip in tips) + 3
        words = size * min(1.0, (width - lead) / max(width_of(tip.short, size) for tip in tips))
        for number, tip in enumerate(tips):
            row, column = divmod(number, columns)
            x, top = self.left + column * (width + gap), y + row * (height + 1.45 * size + 4)
            self.page.picture(tip.picture, x, top, width, height)
            self.page.mark(tip.kind, x + 4.5, top + height + 2 + 0.68 * size, 0.32 * size)
            self.page.line_of(str(tip.lobe), x + 11, top + height + 2, size, "sans bold")
            self.page.line_of(tip.short, x + width, top + height + 2 + 0.9 * (size - words), words, align="right")
        y += rows * (height + 1.45 * size + 4)
        return self.page.paragraph(self.sheet.strip_words, self.left, y, self.inner, self.small, grey=0.25)

    def _lists(self, y: float) -> float:
        if not self.sheet.joints_lead:
            return y
        part = self.sheet.part
        width = self.inner if part is None else 0.36 * (self.inner - GUTTER)
        bottom = self._joints(self.left, y, width)
        if part is not None:
            left = self.left + width + GUTTER
            bottom = max(bottom, self._part(left, y, self.right - left))
        return bottom

    def _joints(self, left: float, y: float, width: float) -> float:
        size = self.list
        y = self._heading(say("Joints"), left, y, width)
        y = self.page.paragraph(self.sheet.joints_lead, left, y, width, size)
        whole, width = width, min(width, MOST_JOINTS)
        numbers = max((width_of(joint.number, size) for joint in self.sheet.joints), default=0.0)
        for joint in self.sheet.joints:
            self.page.mark("open", left + 4.5, y + 0.66 * size, 0.34 * size)
            self.page.line_of(joint.lobes, left + 12, y, size)
            gap_ends = left + min(0.66 * width, width - numbers - 0.7 * size)
            self.page.line_of(joint.gap, gap_ends, y, size, "sans bold", align="right")
            self.page.line_of(joint.number, left + width, y, size, align="right")
            y += LEADING * size
        for words in self.sheet.joints_rest:
            y = self.page.paragraph(words, left, y + 1, whole, size)
        return y

    def _part(self, left: float, y: float, width: float) -> float:
        part, size = self.sheet.part, self.list
        assert part is not None
        y = self._heading(part.heading, left, y, width)
        y = self.page.paragraph(part.lead, left, y, width, size)
        shown = part.steps[: self.shown]
        columns = 1 if len(part.steps) <= MOST_IN_ONE_COLUMN else 2
        column = (width - (columns - 1) * 8) / columns
        bottom = y
        for k in range(columns):
            first, last = len(shown) * k // columns, len(shown) * (k + 1) // columns
            bottom = max(bottom, self._steps(first, last, left + k * (column + 8), y, column))
        y = bottom
        if self.shown < len(part.steps):
            y = self.page.paragraph(more_words(len(part.steps) - self.shown), left, y, width, size, "sans bold")
        for words in part.after:
            y = self.page.paragraph(words, left, y + 1.5, width, size)
        return y

    def _steps(self, first: int, last: int, left: float, y: float, width: float) -> float:
        part, size = self.sheet.part, self.list
        assert part is not None
        for number, step in enumerate(part.steps[first:last], first + 1):
            words = f"{number}. {step.words}" if part.numbered else step.words
            y = self.page.paragraph(words, left, y, width, size, hang=10)
            for ease in step.eases:
                y = self.page.paragraph(ease, left + 10, y, width - 10, size, "sans bold")
        return y

    def _foot(self, y: float) -> float:
        size = self.small
        text = " ".join(self.sheet.cautions)
        lines = lines_of(text, size + 0.6, self.inner - 16, "sans bold")
        height = 8 + len(lines) * LEADING * (size + 0.6)
        self.page.box(self.left, y, self.inner, height, line=1.2)
        self.page.paragraph(text, self.left + 8, y + 4, self.inner - 16, size + 0.6, "sans bold")
        y += height + 4
        for words in (self.sheet.scale, *self.sheet.notes):
            y = self.page.paragraph(words, self.left, y, self.inner, size, grey=0.25)
        return y


def more_words(left_out: int) -> str:
    """That the plan is longer than the page."""
    from ..basis.language import say_count

    return say_count("And {count} more step: `seamcheck plan` gives all.", "And {count} more steps: `seamcheck plan` gives all.", left_out)
