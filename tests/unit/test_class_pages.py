"""A student's sheet and a teacher's overview, on paper and on a screen, from a made-up class."""

from __future__ import annotations

from dataclasses import replace
from html import unescape

import numpy as np
import pypdf
import pypdfium2
import pytest

from seamcheck.basis.units import Units, spoken
from seamcheck.pages.class_content import StudentSheet
from seamcheck.pages.class_html import overview_html, student_html
from seamcheck.pages.class_overview import fault_counts, last_rows
from seamcheck.pages.class_overview_pdf import overview_pdf
from seamcheck.pages.class_pdf import MARGIN, student_pdf
from seamcheck.pages.environment import is_page
from seamcheck.sheet import PdfKind, is_pdf
from tests.made_up import ALL_WELL, DRY_FIT, LOOSE
from tests.made_up_class import SIXTEEN, overview_of, retake_of, row, student_of

SHEETS = {
    "dry fit": lambda: student_of(DRY_FIT),
    "go": lambda: student_of(ALL_WELL, earlier=False),
    "loose": lambda: student_of(LOOSE, "שירה"),
    "sixteen": lambda: student_of(SIXTEEN, "Verylongnamewithoutanyspace" * 3),
    "photo again": retake_of,
}


def words_of(data: bytes) -> str:
    from io import BytesIO

    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(BytesIO(data)).pages).split())


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("name", SHEETS)
def test_a_students_sheet_is_one_page_with_its_margins_kept(name: str, paper: str) -> None:
    data = student_pdf(SHEETS[name](), paper)
    document = pypdfium2.PdfDocument(data)
    assert len(document) == 1
    page = np.asarray(document[0].render(scale=1).to_pil().convert("L"))
    edge = int(MARGIN) - 4
    assert page[:edge].min() == page[-edge:].min() == page[:, :edge].min() == page[:, -edge:].min() == 255
    assert is_pdf(PdfKind.STUDENT)(data)


def test_a_long_name_leaves_room_for_the_photos_name() -> None:
    """Nothing grey is set in the band: its box begins beneath both lines at the right."""
    sheet = replace(SHEETS["dry fit"](), student="Maximiliana Wilhelmina von und zu Hohenstein the younger", photo_name="agpqy.jpg")
    page = np.asarray(pypdfium2.PdfDocument(student_pdf(sheet, "letter"))[0].render(scale=2).to_pil().convert("L"))
    right = page[2 * 36 : 2 * 120, 2 * 500 : 2 * (612 - 40)]
    first_black_row = int(np.argmax((right < 40).mean(axis=1) > 0.9))
    assert first_black_row > 0
    assert right[first_black_row - 4 : first_black_row].min() > 200  # descenders end above it


def everything(sheet: StudentSheet) -> list[str]:
    told = [*sheet.good, sheet.sentence, sheet.nothing, *sheet.untold, *sheet.progress, *sheet.retake, *sheet.cautions, sheet.scale]
    for thing in sheet.things:
        told += [thing.heading, *thing.found, *thing.mend, thing.practise]
    return [words for words in told if words]


@pytest.mark.parametrize("name", ["dry fit", "go", "sixteen", "photo again"])
def test_paper_and_screen_say_the_same(name: str) -> None:
    sheet = SHEETS[name]()
    printed, shown = words_of(student_pdf(sheet, "letter")), unescape(student_html(sheet, "letter").decode())
    assert len(everything(sheet)) >= 5
    for words in everything(sheet):
        assert words in printed
        assert words in shown
    assert is_page(student_html(sheet, "letter"))


def test_every_student_is_in_the_overview_where_the_last_photo_says() -> None:
    shown = overview_of(30, 2)
    assert len(shown.students) == len(shown.session_rows) == 30
    assert sum(len(group.students) for group in shown.groups) == 30
    assert [student.number for student in shown.students] == list(range(1, 31))
    printed, screen = words_of(overview_pdf(shown, "a4")), unescape(overview_html(shown, "a4").decode())
    for student in shown.students:
        assert student.name in screen
        assert student.name[:20] in printed
    assert "ready to knife in: 4" in printed  # every seventh
    assert len(shown.plots) == 4
    assert len({plot.picture.alt for plot in shown.plots}) == 4
    for plot in shown.plots:
        assert plot.picture.data.startswith(b"\x89PNG")
        assert plot.heading in screen


def test_whoever_has_fewest_points_on_is_named_first() -> None:
    shown = overview_of(6, 1)
    (group,) = [group for group in shown.groups if group.heading == "Not yet"]
    on = [int(student.cells[2].split()[0]) / int(student.cells[2].split()[2]) for student in group.students]
    assert on == sorted(on)


def test_faults_are_counted_once_for_each_student_from_the_last_photo() -> None:
    rows = [row(DRY_FIT, "A", 0), row(ALL_WELL, "A", 1), row(DRY_FIT, "B", 0), row(DRY_FIT, "C", 1)]
    last = last_rows(rows)
    assert [one.session for one in last] == [1, 0, 1]
    counts = dict(fault_counts(last))
    assert set(counts.values()) == {2}
    assert set(counts) == set(rows[0].kinds)


def test_plots_are_grey_and_speak_the_kind_of_lengths_that_is_spoken() -> None:
    import cv2

    with spoken(Units.MM):
        shown = overview_of(6, 2)
    assert any("mm" in plot.words for plot in shown.plots)
    for plot in shown.plots:
        drawn = cv2.imdecode(np.frombuffer(plot.picture.data, np.uint8), cv2.IMREAD_COLOR)
        assert drawn.shape[:2] == (plot.picture.height_px, plot.picture.width_px)
        assert int(np.ptp(drawn.astype(int), axis=2).max()) == 0
        assert drawn.min() < 30


def test_a_students_middle_is_that_of_all_points_even_of_those_beyond_the_plot() -> None:
    """Two points near and three far beyond (eight marks and more): the middle is beyond too, so no bar is drawn."""
    from seamcheck.pages.class_plots import spread_plot

    def longest_bar(values: list[float]) -> int:
        """Pixels: of the runs of black in the plot's inside, above the axis and off the mark's dashes."""
        import cv2

        drawn = cv2.imdecode(np.frombuffer(spread_plot([values], 0.01, "axis", "alt").data, np.uint8), cv2.IMREAD_GRAYSCALE)
        inside = drawn[: int(0.78 * drawn.shape[0]), int(0.12 * drawn.shape[1]) :] < 60
        return max(max((len(run) for run in "".join("x" if on else " " for on in row).split()), default=0) for row in inside)

    assert longest_bar([0.02, 0.03, 0.04, 0.05, 0.5]) > 200
    assert longest_bar([0.02, 0.03, 0.5, 0.5, 0.5]) < 100
