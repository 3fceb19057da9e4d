"""`--units mm`: millimetres throughout, and the same numbers."""

from __future__ import annotations

import json
import re
from io import StringIO
from pathlib import Path

import ezdxf
import numpy as np
import pytest

from seamcheck.basis.units import Units, lengths, spoken
from seamcheck.report.csv_file import csv_bytes
from seamcheck.report.json_file import result_bytes
from seamcheck.report.overlay_legend import legend_items, title_items
from seamcheck.report.overlay_words import caption
from seamcheck.report.text import report_lines
from seamcheck.result import Inspection
from tests.command_line import Run, command_line
from tests.made_up import ALL_WELL, BARE_TOP, DRY_FIT, LOOSE, NO_EDGE
from tests.made_up_fit import rose, seen

# An inch by its name or as a fraction; not the words "in", and not a clock or the joint 1-2.
INCHES = re.compile(r"\d in\b(?! (?:the|one|a|two|three|place|file)\b)|\binch|\d/\d")


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    return command_line(monkeypatch, capsys)


def test_plan_and_decide_speak_millimetres(run: Run, tmp_path: Path) -> None:
    fit = tmp_path / "fit.json"
    fit.write_bytes(result_bytes(seen(rose(np.random.default_rng(3), points=4), "made-up.jpg", hidden=(2,))))
    for command in ("plan", "decide"):
        status, inches, _ = run(command, str(fit))
        assert status == 0
        assert INCHES.search(inches)
        status, millimetres, _ = run(command, str(fit), "--units", "mm")
        assert status == 0
        # A lobe goes in or out by so much: that "in" is no inch.
        inward = re.compile(r"(?:it|:|,) \d+\.\d\d in\b")
        assert INCHES.findall(inward.sub("", " ".join(millimetres.split())).replace(str(tmp_path), "")) == []
        assert " mm" in millimetres
    assert lengths().units is Units.IN  # as it was before


def test_what_is_made_is_said_in_millimetres_and_drawn_in_them(run: Run, tmp_path: Path) -> None:
    inches, millimetres = tmp_path / "in.dxf", tmp_path / "mm.dxf"
    told = run("template", str(inches), "--reach", "3", "--reach", "2-1/2")
    assert told[0] == 0
    status, out, _ = run("template", str(millimetres), "--reach", "76.2", "--reach", "63.5", "--units", "mm")
    assert status == 0
    assert INCHES.findall(out) == []
    assert "76.20 mm" in out
    sizes = []
    for file, code in ((inches, 1), (millimetres, 4)):
        document = ezdxf.read(StringIO(file.read_text()))
        assert document.units == code
        sizes.append([np.array(line.get_points("xy")) for line in document.modelspace().query("LWPOLYLINE")])
    for one, other in zip(*sizes, strict=True):
        # Where a drawing lies beside the others hangs on how long its words are.
        assert np.abs((other - other[0]) - 25.4 * (one - one[0])).max() < 1e-6
    status, out, _ = run("recess", "--reach", "76.2", "--bit", "3", "--units", "mm")
    assert status == 0
    assert INCHES.findall(out) == []
    assert "3.0 mm across" in out


def test_what_cant_be_built_is_answered_in_the_same_kind(run: Run) -> None:
    status, _, err = run("template", "--reach", "76.2", "--strip", "2", "--units", "mm")
    assert status == 1
    assert INCHES.findall(err) == []
    words = err.split("The nearest that can be built: ")[1].split()
    assert run("template", *words)[0] == 0  # its options carry their unit
    assert run("template", *words, "--units", "mm")[0] == 0


def test_an_unknown_unit_is_a_wrong_command_line(run: Run) -> None:
    assert run("plan", "fit.json", "--units", "cubit")[0] == 2


@pytest.mark.parametrize(
    "inspection", [DRY_FIT, ALL_WELL, LOOSE, BARE_TOP, NO_EDGE], ids=["dry fit", "all well", "loose", "bare", "no edge"]
)
def test_report_picture_and_table_speak_millimetres(inspection: Inspection) -> None:
    with spoken(Units.MM):
        lines = [line.words for line in report_lines(inspection)]
        lines += [item.words for item in title_items(inspection) + legend_items(inspection, 0.01)]
        for tip in inspection.tips:
            head, more = caption(tip, False)
            lines += [head, *more]
        table = csv_bytes(inspection).decode()
    said = "\n".join(lines).replace("\u00a0", " ")
    assert INCHES.findall(said) == []
    assert "(in" not in table
    assert "(mm" in table


def test_the_table_has_the_same_lengths() -> None:
    def column(data: bytes, name: str) -> list[float]:
        import csv

        rows = csv.DictReader(StringIO(data.decode("utf-8-sig")))
        return [float(row[name]) for row in rows if row[name]]

    inches = column(csv_bytes(DRY_FIT), "reach (in)")
    with spoken(Units.MM):
        millimetres = column(csv_bytes(DRY_FIT), "reach (mm)")
    assert inches
    assert millimetres == pytest.approx([25.4 * one for one in inches], abs=2e-5)


def test_the_result_file_stays_in_inches() -> None:
    with spoken(Units.MM):
        data = json.loads(result_bytes(DRY_FIT))
    assert data == json.loads(result_bytes(DRY_FIT))
