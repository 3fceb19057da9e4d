"""The portfolio's statement says what was measured and no more; its pages hold together, whatever is on them."""

from __future__ import annotations

import re
from dataclasses import replace
from io import BytesIO

import numpy as np
import pypdf
import pypdfium2
import pytest

from seamcheck.basis.reasons import Reason
from seamcheck.basis.units import Units, spoken
from seamcheck.pages.pictures import Picture, jpeg
from seamcheck.pages.portfolio_content import PointRow, Portfolio, accuracy
from seamcheck.pages.portfolio_html import portfolio_html
from seamcheck.pages.portfolio_pdf import portfolio_pdf, unset_words
from seamcheck.pages.words import scale_words
from seamcheck.report.words import clock_of
from seamcheck.result import Inspection, Stage, Verdict
from tests.made_up import ALL_WELL, DRY_FIT, estimate, tip


def picture(alt: str, side: int = 80) -> Picture:
    return jpeg(np.full((side, side, 3), 120, np.uint8), alt)


def made_up(points: int = 8, title: str = "Compass rose", before: bool = True, statement: tuple[str, ...] = ("One.",)) -> Portfolio:
    def row(k: int) -> PointRow:
        return PointRow(k, f"{k} o'clock", "1/64 in clockwise", ".0121 ±.0023", "on", picture(f"Point {k}."))

    pair = (picture("Before."), picture("After.")) if before else (None, None)
    rows = tuple(row(k) for k in range(1, points + 1))
    subtitle = f"{points} points in two rings"
    hero = picture("The rose.", 300)
    return Portfolio(title, subtitle, "A maker", hero, "From above.", rows, "Each point.", *pair, statement, ("How.",) * 3)


def statement(inspection: Inspection) -> list[str]:
    """What is said where the picture stands as the photo does."""
    return list(accuracy(inspection, {tip.lobe: clock_of(tip.bearing) for tip in inspection.tips}))


def test_each_point_is_counted_once_and_as_it_was_judged() -> None:
    words = " ".join(statement(DRY_FIT))
    counts = {verdict: sum(one.verdict is verdict for one in DRY_FIT.tips) for verdict in Verdict}
    assert words.startswith(f"Of {len(DRY_FIT.tips)} points {counts[Verdict.ON]} lie")
    for one in DRY_FIT.tips:
        if one.verdict is Verdict.OFF:
            assert re.search(rf"lobe {one.lobe} at [^,]+, \S+ in \w+ \(\.\d{{4}}\)", words)
    assert counts[Verdict.UNMEASURED] == len(re.findall(r"Not measured: lobe", words))


def test_what_wasnt_measured_is_said() -> None:
    lost = tip(1, 0.0, None, Verdict.UNMEASURED, Reason.SEAM_FAINT)
    words = " ".join(statement(replace(ALL_WELL, tips=(lost, *ALL_WELL.tips[1:]))))
    assert "Not measured: lobe 1, because the field seam doesn't show beyond the point." in words
    bare = " ".join(statement(replace(ALL_WELL, stage=Stage.INLAID, joints=())))
    assert "The joints between rose and field were not measured." in bare
    assert "is not let in yet" in " ".join(statement(ALL_WELL))


def test_the_numbers_are_those_of_the_points_measured() -> None:
    tips = tuple(tip(k, 45.0 * k, estimate(0.002 * k, 0.001 * k), Verdict.ON) for k in range(1, 6))
    words = " ".join(statement(replace(ALL_WELL, tips=tips)))
    assert "median .0060, largest .0100 in" in words
    assert "(half a 95 % interval): median .0030, largest .0050 in" in words
    with spoken(Units.MM):
        assert "median 0.152, largest 0.254 mm" in " ".join(statement(replace(ALL_WELL, tips=tips)))


def test_nothing_is_within_that_isnt_sure() -> None:
    unsure = tuple(tip(k, 45.0 * k, estimate(0.010, 0.020), Verdict.UNSURE) for k in range(1, 5))
    words = " ".join(statement(replace(ALL_WELL, tips=unsure)))
    assert words.startswith("Of 4 points 0 lie within")
    assert "Of 4 it can't be told" in words


def test_lengths_are_good_to_what_the_print_was_supposed_to_be() -> None:
    read, unread = (
        scale_words(replace(ALL_WELL, scale=replace(ALL_WELL.scale, bars_read=told, u95_rel=0.00694))) for told in (True, False)
    )
    assert "lengths good to 0.70 %, the cards'" in read
    assert "lengths good to 0.70 % if printed at 100 %, the cards'" in unread


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize(("points", "before"), [(4, False), (8, True), (16, True), (24, False)])
def test_nothing_runs_off_a_page(points: int, before: bool, paper: str) -> None:
    data = portfolio_pdf(made_up(points, before=before, statement=("A rather long sentence of the statement. " * 6,) * 5), paper)
    document = pypdfium2.PdfDocument(data)
    assert 2 <= len(document) <= 5
    for page in document:
        shown = np.asarray(page.render(scale=1).to_pil().convert("L"))
        assert shown[:40].min() == shown[-40:].min() == shown[:, :50].min() == shown[:, -50:].min() == 255
        assert shown.min() < 128


def test_a_title_of_any_length_and_letters() -> None:
    title = "Ein sehr langer Titel für eine Kompassrose mit <Zeichen> & Ärger, der über mehrere Zeilen läuft, weil er nie aufhört"
    data = portfolio_pdf(made_up(title=title), "letter")
    text = " ".join(pypdf.PdfReader(BytesIO(data)).pages[0].extract_text().split())
    assert title in text
    assert "&lt;Zeichen&gt;" in portfolio_html(made_up(title=title), "a4").decode()


def test_letters_that_the_paper_lacks_are_told_and_no_others() -> None:
    assert unset_words(made_up(title="Rose für Café, no. 7 — “Øster”")) == ()
    for name in ("木工", "مقعد"):
        (told,) = unset_words(replace(made_up(), maker=f"Bench {name}"))
        assert name in told
        assert "portfolio.html" in told
        assert name in portfolio_html(replace(made_up(), maker=f"Bench {name}"), "a4").decode()
