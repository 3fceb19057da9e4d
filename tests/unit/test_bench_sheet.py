"""The bench sheet: one page, whatever is on it, that says what the report says."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from io import BytesIO

import numpy as np
import pypdf
import pypdfium2
import pytest

from seamcheck.basis.reasons import Reason
from seamcheck.basis.units import Units, spoken
from seamcheck.pages.bench_content import BenchSheet, bench_sheet
from seamcheck.pages.bench_html import bench_html
from seamcheck.pages.bench_pdf import MARGIN, SIZES, bench_pdf, fitting
from seamcheck.pages.environment import is_page
from seamcheck.result import Inspection, Stage, Verdict
from seamcheck.sheet import PdfKind, is_pdf
from tests.made_up import ALL_WELL, DRY_FIT, LOOSE, estimate, joint
from tests.made_up_fit import rose, seen
from tests.made_up_picture import picture_of

SIXTEEN = seen(rose(np.random.default_rng(5), points=8), "sixteen.jpg", hidden=(3, 9))
FOUR = seen([lobe for lobe in rose(np.random.default_rng(6), points=4) if lobe.ring == 1], "four.jpg")
THREE_RINGS = replace(SIXTEEN, tips=tuple(replace(tip, ring=1 + k % 3) for k, tip in enumerate(SIXTEEN.tips)))
INLAID = replace(DRY_FIT, stage=Stage.INLAID)
NOTHING = replace(DRY_FIT, tips=(), joints=(), odd_lobes=())
LONG = replace(
    DRY_FIT, photo_name="a very long name " * 12 + ".jpg", warnings=("A note that is rather long, since much went wrong. " * 6,) * 4
)
ALL = {
    "dry fit": DRY_FIT,
    "all well": ALL_WELL,
    "loose": LOOSE,
    "inlaid": INLAID,
    "sixteen": SIXTEEN,
    "four": FOUR,
    "three rings": THREE_RINGS,
    "nothing": NOTHING,
    "long": LONG,
}


def sheet_of(inspection: Inspection) -> BenchSheet:
    return bench_sheet(picture_of(inspection), inspection)


def words_of(data: bytes) -> str:
    return " ".join(pypdf.PdfReader(BytesIO(data)).pages[0].extract_text().split())


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("name", ALL)
def test_it_is_one_page_with_its_margins_kept(name: str, paper: str) -> None:
    data = bench_pdf(sheet_of(ALL[name]), paper)
    document = pypdfium2.PdfDocument(data)
    assert len(document) == 1
    page = np.asarray(document[0].render(scale=1).to_pil().convert("L"))
    edge = int(MARGIN) - 4
    assert page[:edge].min() == page[-edge:].min() == page[:, :edge].min() == page[:, -edge:].min() == 255
    assert page.min() < 60
    assert is_pdf(PdfKind.BENCH)(data)


@pytest.mark.parametrize("name", ["dry fit", "sixteen", "four", "inlaid"])
def test_paper_and_screen_say_the_same_of_every_point(name: str) -> None:
    sheet = sheet_of(ALL[name])
    printed, shown = words_of(bench_pdf(sheet, "letter")), unescape(bench_html(sheet, "letter").decode())
    assert len(sheet.tips) == len(ALL[name].tips)
    for tip in sheet.tips:
        assert all(cell in printed for cell in tip.cells)
        row = re.search(rf"<th scope=\"row\">.*? {tip.lobe}</th>(.*?)</tr>", shown, re.DOTALL)
        assert row
        assert re.findall(r"<td[^>]*>(.*?)</td>", row[1]) == [tip.clock, *tip.cells, tip.verdict]
    for words in (sheet.said, sheet.sentence.split(".")[0], sheet.scale.split(":")[0], *sheet.cautions):
        assert words in printed
        assert words in shown


def test_numbers_are_the_inspections_own() -> None:
    sheet = sheet_of(FOUR)
    for tip in FOUR.tips:
        (row,) = [row for row in sheet.tips if row.lobe == tip.lobe]
        assert tip.seam_offset is not None
        assert float(row.cells[1].split()[0]) == pytest.approx(abs(tip.seam_offset.value), abs=0.00006)
        assert row.short.endswith("cw" if tip.seam_offset.value > 0 else "ccw") or row.short.startswith("under")
        assert not (tip.seam_offset.value > 0 and row.short.endswith("ccw"))


def test_go_needs_a_go_and_says_how_to_cut() -> None:
    go, not_yet = sheet_of(ALL_WELL), sheet_of(DRY_FIT)
    assert (go.call, not_yet.call) == ("go", "not-yet")
    assert go.part is not None
    assert any("Then the knife" in words for words in go.part.after)
    assert not_yet.part is not None
    assert not_yet.part.heading == "The plan"
    assert sheet_of(INLAID).call == ""


def test_what_the_person_checked_counts_where_the_photo_cant_tell() -> None:
    lost = replace(ALL_WELL.tips[1], seam_offset=None, verdict=Verdict.UNMEASURED, reason=Reason.TIP_COVERED)
    dark = replace(ALL_WELL.joints[2], max_gap=None, verdict=Verdict.UNMEASURED, reason=Reason.JOINT_DARK)
    fit = replace(
        ALL_WELL,
        tips=(ALL_WELL.tips[0], lost, *ALL_WELL.tips[2:]),
        joints=(*ALL_WELL.joints[:2], dark, *ALL_WELL.joints[3:]),
    )
    assert sheet_of(fit).call == "cant-tell"
    checked = bench_sheet(picture_of(fit), fit, frozenset({lost.lobe}), frozenset({frozenset(dark.lobes)}))  # type: ignore[arg-type]
    assert checked.call == "go"
    assert checked.part is not None
    assert any(words.startswith("On record: ") for words in checked.part.after)


def test_what_the_person_checked_is_on_record_whatever_the_call_is() -> None:
    unsure = next(tip for tip in DRY_FIT.tips if tip.verdict is Verdict.UNSURE)
    lost = next(tip for tip in DRY_FIT.tips if tip.verdict is Verdict.UNMEASURED)
    joints = [joint for joint in DRY_FIT.joints if joint.verdict in (Verdict.UNSURE, Verdict.UNMEASURED) and None not in joint.lobes]
    assert joints
    pairs = frozenset(frozenset(joint.lobes) for joint in joints)
    sheet = bench_sheet(picture_of(DRY_FIT), DRY_FIT, frozenset({unsure.lobe, lost.lobe}), pairs)  # type: ignore[arg-type]
    assert sheet.call == "not-yet"
    assert {row.verdict for row in sheet.tips if row.lobe in (unsure.lobe, lost.lobe)} == {"checked"}
    assert sheet.part is not None
    assert any(words.startswith("On record: the points of lobes ") for words in sheet.part.after)
    assert "of them on your word" in " ".join(sheet.joints_rest)
    assert any(f"Lobe {lost.lobe} unmeasured" in words and words.endswith("you have checked it by eye.") for words in sheet.look)
    printed, shown = words_of(bench_pdf(sheet, "letter")), unescape(bench_html(sheet, "letter").decode())
    for words in ("On record: ", "of them on your word"):
        assert words in printed
        assert words in shown


def test_lists_are_as_large_as_they_go() -> None:
    assert fitting(sheet_of(FOUR), "letter").size > fitting(sheet_of(SIXTEEN), "letter").size >= SIZES[-1]
    few = fitting(sheet_of(FOUR), "letter")
    assert few.shown == len(sheet_of(FOUR).part.steps)  # type: ignore[union-attr]


def test_a_name_is_only_a_name() -> None:
    named = replace(DRY_FIT, photo_name="<script>alert(1)</script>&'\".jpg", warnings=("<b>bold</b>",))
    shown = bench_html(sheet_of(named), "letter").decode()
    assert "<script" not in shown
    assert "<b>bold" not in shown
    assert "&lt;script&gt;" in shown
    assert len(pypdfium2.PdfDocument(bench_pdf(sheet_of(named), "letter"))) == 1


def test_it_is_small_and_known_as_ours() -> None:
    for make in (bench_pdf, bench_html):
        assert len(make(sheet_of(SIXTEEN), "letter")) < 2_000_000
    assert bench_pdf(sheet_of(FOUR), "a4") == bench_pdf(sheet_of(FOUR), "a4")
    assert is_page(bench_html(sheet_of(FOUR), "letter"))
    assert not is_page(b"<!doctype html><title>mine</title>")


def test_millimetres() -> None:
    with spoken(Units.MM):
        words = words_of(bench_pdf(sheet_of(DRY_FIT), "a4"))
    assert "millimetres" in words
    assert not re.search(r"\d/\d|\d in\b(?! \.)", words.replace("in 0.", ""))


def test_a_photo_of_another_size_is_refused() -> None:
    with pytest.raises(ValueError, match="photo"):
        bench_sheet(np.zeros((10, 10, 3), np.uint8), DRY_FIT)


def test_an_inlays_joints_with_the_field_are_named_together() -> None:
    lost = replace(joint(1, 2, 45, estimate(0.0, 0.1), Verdict.UNMEASURED), max_gap=None, reason=Reason.FIELD_JOINT)
    fields = tuple(replace(lost, lobes=pair) for one in (1, 2, 3) for pair in ((one, None), (None, one)))
    rest = " ".join(sheet_of(replace(INLAID, joints=fields)).joints_rest)
    assert "All joints with the field unmeasured: " in rest
    assert "field-1" not in rest
