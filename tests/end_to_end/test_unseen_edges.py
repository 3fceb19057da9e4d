"""What is said of a point whose edge can't be had: tape is blamed only where tape lies."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from seamcheck.basis.reasons import Reason
from seamcheck.photo import read_photo
from seamcheck.pipeline import Settings, inspect
from seamcheck.report.text import report_lines
from seamcheck.result import Stage
from tests.scenes.draw import draw
from tests.scenes.render import render


def test_light_halves_of_the_field_s_own_wood_are_not_blamed_on_tape(tmp_path: Path) -> None:
    scene = draw(9501, "inlaid")
    photo = tmp_path / "set-in.jpg"
    photo.write_bytes(render(replace(scene, light_wood=scene.field_wood)))
    found = inspect(read_photo(photo), Settings(Stage.INLAID))
    reasons = [tip.reason for tip in found.tips]
    assert Reason.EDGE_FAINT in reasons
    assert Reason.TIP_COVERED not in reasons
    words = " ".join(" ".join(line.words for line in report_lines(found)).split())
    assert "an edge of the point hardly differs from the wood beside it" in words
    assert "tape" not in words
