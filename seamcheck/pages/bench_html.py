"""The bench sheet for a screen, which prints as one page too."""

from __future__ import annotations

from .bench_content import BenchSheet
from .bench_pdf import fitting, more_words
from .environment import page

# Of the usual size. A browser takes whichever face it has, most of them wider than what the PDF is set in.
LEAST_PRINTED, MOST_PRINTED = 0.84, 1.0
CSS_PAPER = {"letter": "letter", "a4": "A4"}


def bench_html(sheet: BenchSheet, paper: str) -> bytes:
    """The file. paper: "letter" or "a4", which it is printed on."""
    way = fitting(sheet, paper)
    steps = len(sheet.part.steps) if sheet.part else 0
    return page(
        "bench.html",
        sheet=sheet,
        paper=CSS_PAPER[paper],
        print_size=min(max(way.size, LEAST_PRINTED), MOST_PRINTED),
        shown=way.shown,
        columns=way.columns(max(len(sheet.tips), 1)),
        more=more_words(steps - way.shown) if way.shown < steps else "",
    )
