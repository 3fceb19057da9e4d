"""Pages as people open them: in a real browser at a phone's, a tablet's and a laptop's width, by keyboard, and printed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest

from seamcheck.pages.bench_content import bench_sheet
from seamcheck.pages.bench_html import bench_html
from seamcheck.pages.class_html import overview_html, student_html
from seamcheck.pages.portfolio_html import portfolio_html
from tests.browser import CLIPPED, OVERFLOWING, TEXTS, WIDTHS, browser, contrast, opened, too_faint
from tests.made_up import ALL_WELL, DRY_FIT, LOOSE
from tests.made_up_class import SIXTEEN, overview_of, retake_of, student_of
from tests.made_up_fit import rose, seen
from tests.made_up_picture import picture_of
from tests.unit.test_portfolio import made_up


def _sixteen() -> bytes:
    fit = seen(
        rose(np.random.default_rng(5), points=8), "a photo with a rather long name, as phones and people give them.jpg", hidden=(3, 9)
    )
    return bench_html(bench_sheet(picture_of(fit), fit), "letter")


PAGES: dict[str, Callable[[], bytes]] = {
    "sheet": lambda: bench_html(bench_sheet(picture_of(DRY_FIT), DRY_FIT), "letter"),
    "sheet, go": lambda: bench_html(bench_sheet(picture_of(ALL_WELL), ALL_WELL), "a4"),
    "sheet, 16 points": _sixteen,
    "portfolio": lambda: portfolio_html(made_up(), "letter"),
    "portfolio, 16 points": lambda: portfolio_html(made_up(16, "A rose with a rather long title, as makers give them", False), "a4"),
    "sheet, loose": lambda: bench_html(bench_sheet(picture_of(LOOSE), LOOSE), "letter"),
    "student": lambda: student_html(student_of(DRY_FIT), "letter"),
    "student, go": lambda: student_html(student_of(ALL_WELL), "a4"),
    "student, 16 points, a long name": lambda: student_html(
        student_of(SIXTEEN, "A student with a rather long name, and a second one, " * 2), "letter"
    ),
    "student, loose": lambda: student_html(student_of(LOOSE), "letter"),
    "student, photo again": lambda: student_html(retake_of(), "letter"),
    "class": lambda: overview_html(overview_of(6, 1), "letter"),
    "class, 30 in two sessions": lambda: overview_html(overview_of(30, 2), "a4"),
}
ONE_PAGE = tuple(name for name in PAGES if name.startswith(("sheet", "student")))
NO_PICTURE = ("student, photo again",)


@pytest.fixture(scope="module")
def chrome() -> Iterator[Any]:
    with browser() as found:
        yield found


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    made = {}
    for number, (name, make) in enumerate(PAGES.items()):
        made[name] = folder / f"{number}.html"
        made[name].write_bytes(make())
    return made


@pytest.mark.parametrize("name", PAGES)
def test_a_page_fits_every_window_and_asks_for_nothing(name: str, files: dict[str, Path], chrome: Any) -> None:
    for width in WIDTHS.values():
        page, complaints = opened(chrome, files[name], width)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(OVERFLOWING) == []
        assert page.evaluate(CLIPPED) == []
        assert complaints == []
        assert page.title()
        if width > WIDTHS["phone"]:  # only on a phone may a table be wider than its room
            assert page.evaluate("[...document.querySelectorAll('.wide')].filter(one => one.scrollWidth > one.clientWidth).length") == 0
        page.close()


@pytest.mark.parametrize("name", PAGES)
def test_every_picture_says_what_it_shows_and_every_text_can_be_read(name: str, files: dict[str, Path], chrome: Any) -> None:
    page, _ = opened(chrome, files[name])
    pictures = page.evaluate("[...document.images].map(one => [one.alt, one.complete && one.naturalWidth > 0])")
    assert pictures or name in NO_PICTURE
    assert all(alt.strip() and shown for alt, shown in pictures)
    assert len({alt for alt, _ in pictures}) == len(pictures)
    texts = page.evaluate(TEXTS)
    assert len(texts) > 5
    assert too_faint(texts) == []
    assert page.evaluate("document.documentElement.lang") == "en"
    headings = page.evaluate("[...document.querySelectorAll('h1, h2, h3, h4')].map(one => +one.tagName[1])")
    assert headings[0] == 1
    assert headings.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(headings))
    page.close()


@pytest.mark.parametrize("name", PAGES)
def test_what_scrolls_is_reached_by_keyboard_and_shows_it(name: str, files: dict[str, Path], chrome: Any) -> None:
    page, _ = opened(chrome, files[name], WIDTHS["phone"])
    scrolling = page.evaluate("document.querySelectorAll('.wide').length")
    links = page.evaluate("document.links.length")
    focused = []
    for _ in range(scrolling + links):
        page.keyboard.press("Tab")
        focused.append(page.evaluate("[document.activeElement.className, getComputedStyle(document.activeElement).outlineStyle]"))
    assert [name for name, _ in focused].count("wide") == scrolling
    assert {style for _, style in focused} <= {"solid"}
    page.close()


@pytest.mark.parametrize("name", PAGES)
def test_a_page_prints(name: str, files: dict[str, Path], chrome: Any) -> None:
    page, _ = opened(chrome, files[name])
    document = pypdfium2.PdfDocument(BytesIO(page.pdf(prefer_css_page_size=True, print_background=True)))
    if name in ONE_PAGE:
        assert len(document) == 1
    shown = np.asarray(document[0].render(scale=1).to_pil().convert("L"))
    assert shown.min() < 60
    margin = 20  # points that a printer may not reach
    assert shown[:margin].min() == shown[-margin:].min() == shown[:, :margin].min() == shown[:, -margin:].min() == 255
    page.close()


def test_contrast_is_that_of_the_recommendation() -> None:
    """Black on white is 21 to 1 (WCAG 2.2); #767676 is the lightest grey at 4.5 to 1 on white (a value known from its techniques)."""
    assert contrast("rgb(0, 0, 0)", "rgb(255, 255, 255)") == pytest.approx(21.0)
    assert contrast("rgb(118, 118, 118)", "rgb(255, 255, 255)") >= 4.5
    assert contrast("rgb(119, 119, 119)", "rgb(255, 255, 255)") < 4.5
