"""A student's sheet and a teacher's overview for a screen; both print too."""

from __future__ import annotations

from .bench_html import CSS_PAPER
from .class_content import StudentSheet
from .class_overview import Overview
from .class_pdf import fitting
from .environment import page


def student_html(sheet: StudentSheet, paper: str) -> bytes:
    """The file. paper: "letter" or "a4", which it is printed on."""
    return page("student.html", sheet=sheet, paper=CSS_PAPER[paper], print_size=min(fitting(sheet, paper), 1.0))


def overview_html(overview: Overview, paper: str) -> bytes:
    """The file. The sheets that it links to lie in a folder beside it."""
    return page("class.html", shown=overview, paper=CSS_PAPER[paper])
