"""The sample pictures (rendered, truth beside each) through the library and the command line."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from dataclasses import replace
from functools import cache
from math import comb
from pathlib import Path

import numpy as np
import pytest

from seamcheck.photo import read_photo
from seamcheck.pipeline import Settings, inspect
from seamcheck.report.json_file import result_bytes
from seamcheck.result import Inspection, Stage, Verdict

SAMPLES = Path(__file__).parents[2] / "sample_images"
MEASURED = ("dry-fit", "four-points-taped", "one-lobe-reversed", "set-in", "loose-lobes")
TOLERANCE_IN = 1 / 64
TIP_MATCH_IN = 0.2


@cache
def truth(name: str) -> dict:
    return dict(json.loads((SAMPLES / f"{name}.json").read_text()))


@cache
def told(name: str) -> Inspection:
    """The inspection with what a careful person would say."""
    x, y = truth(name)["print_scale"]
    settings = Settings(stage=Stage(truth(name)["stage"]), bar_across_in=6 * x, bar_along_in=10 * y)
    return inspect(read_photo(SAMPLES / f"{name}.jpg"), settings)


@cache
def untold(name: str) -> Inspection:
    """The inspection with nothing said."""
    return inspect(read_photo(SAMPLES / f"{name}.jpg"), Settings())


def matched(name: str) -> list[tuple[dict, object]]:
    """(true lobe, tip) pairs by place."""
    pairs = []
    for lobe in truth(name)["lobes"]:
        tip = min(told(name).tips, key=lambda tip: np.hypot(*(tip.tip_px - lobe["tip_px"])))
        assert np.hypot(*(tip.tip_px - lobe["tip_px"])) < TIP_MATCH_IN * truth(name)["ppi_at_centre"]
        pairs.append((lobe, tip))
    return pairs


def test_the_samples_readme_says_what_is_true_of_them() -> None:
    table = re.findall(r"^\| `(\S+)\.jpg` \|[^|]*\| (?:(\d+) of (\d+))? *\|", (SAMPLES / "README.md").read_text(), re.MULTILINE)
    assert {name for name, *_ in table} == {path.stem for path in SAMPLES.glob("*.jpg") if not path.stem.endswith("-picture")}
    for name, on, points in table:
        offsets = [lobe["offset_in"] for lobe in truth(name)["lobes"] if lobe["offset_in"] is not None]
        assert (int(on or 0), int(points or 0)) == (sum(abs(offset) <= TOLERANCE_IN for offset in offsets), len(offsets))


@pytest.mark.parametrize("name", MEASURED)
def test_every_lobe_is_found_once_with_its_dark_side(name: str) -> None:
    assert len(told(name).tips) == len(truth(name)["lobes"])
    assert {id(tip) for _, tip in matched(name)} == {id(tip) for tip in told(name).tips}
    assert all(tip.dark_side == lobe["dark_side"] for lobe, tip in matched(name))


def test_without_tape_the_shade_tells_a_dry_fit_from_an_inlay(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, odds, stage in (
        ("dry-fit", 0.01, Stage.DRY_FIT),
        ("one-lobe-reversed", 0.01, Stage.DRY_FIT),
        ("set-in", 3.0, Stage.INLAID),
    ):
        monkeypatch.setattr("seamcheck.find.stage.tape_odds", lambda *_, odds=odds: odds)
        found = inspect(read_photo(SAMPLES / f"{name}.jpg"), Settings())
        assert found.stage is stage
        for lobe, tip in matched(name):
            near = min(found.tips, key=lambda one: np.hypot(*(one.tip_px - tip.tip_px)))
            if near.own_seam_offset is not None and tip.own_seam_offset is not None:
                assert abs(near.own_seam_offset.value - lobe["own_seam_offset_in"]) < 1.5 * near.own_seam_offset.u95


def errors_over_u95(name: str) -> list[float]:
    """Of every number that is given, how far it lies from the truth, in its own u95."""
    ratios = []
    for lobe, tip in matched(name):
        for true, seen in (
            (lobe["offset_in"], tip.seam_offset),
            (lobe["own_seam_offset_in"], tip.own_seam_offset),
            (lobe["reach_in"], tip.reach),
            (lobe["length_in"], tip.length),
        ):
            if true is not None and seen is not None:
                ratios.append(abs(seen.value - true) / seen.u95)
    return ratios


@pytest.mark.parametrize("name", MEASURED)
def test_no_number_is_far_beyond_its_u95(name: str) -> None:
    """Three times u95 is never reached by a normal error: such a number would come from something else than what it says."""
    ratios = errors_over_u95(name)
    assert len(ratios) >= 2 * len(truth(name)["lobes"])
    assert max(ratios) < 3


def test_numbers_lie_inside_u95_as_often_as_they_should() -> None:
    """All samples together, 95 in 100, by the binomial (1 %: a few photos share what is wrong with them)."""
    ratios = np.array([ratio for name in MEASURED for ratio in errors_over_u95(name)])
    n, inside = len(ratios), int(np.sum(ratios < 1))
    assert sum(comb(n, k) * 0.95**k * 0.05 ** (n - k) for k in range(inside + 1)) > 0.01


@pytest.mark.parametrize("name", MEASURED[:4])
def test_no_verdict_is_false(name: str) -> None:
    for lobe, tip in matched(name):
        if tip.verdict is Verdict.ON:
            assert abs(lobe["offset_in"]) <= TOLERANCE_IN
        if tip.verdict is Verdict.OFF:
            assert abs(lobe["offset_in"]) > TOLERANCE_IN


def test_the_reversed_lobe_is_named() -> None:
    odd = [lobe for lobe in truth("one-lobe-reversed")["lobes"] if lobe["dark_side"] == "ccw"]
    assert len(odd) == 1
    tip = next(tip for lobe, tip in matched("one-lobe-reversed") if lobe is odd[0])
    assert told("one-lobe-reversed").odd_lobes == (tip.lobe,)


def test_stage_is_seen_without_being_told() -> None:
    for name in ("set-in", "loose-lobes", "four-points-taped"):
        assert untold(name).stage.value == truth(name)["stage"]


def test_a_photo_held_upside_down_says_the_same() -> None:
    """Offsets turn with the rose: what differs is what sampling at other places does, well inside u95."""
    photo = read_photo(SAMPLES / "four-points-taped.jpg")
    turned = inspect(replace(photo, bgr=np.ascontiguousarray(photo.bgr[::-1, ::-1])), Settings())
    last = np.array(photo.size_px) - 1
    for tip in untold("four-points-taped").tips:
        same = min(turned.tips, key=lambda other: np.hypot(*(last - other.tip_px - tip.tip_px)))
        assert np.hypot(*(last - same.tip_px - tip.tip_px)) < 4
        if tip.seam_offset is not None and same.seam_offset is not None:
            assert abs(tip.seam_offset.value - same.seam_offset.value) < tip.seam_offset.u95


def test_two_runs_give_the_same_bytes() -> None:
    again = inspect(read_photo(SAMPLES / "four-points-taped.jpg"), Settings())
    assert result_bytes(again) == result_bytes(untold("four-points-taped"))


def test_command_line_writes_what_is_asked_for(tmp_path: Path) -> None:
    outputs = {"--json": "result.json", "--csv": "table.csv", "--picture": "picture.png"}
    options = [word for option, name in outputs.items() for word in (option, str(tmp_path / name))]
    command = [sys.executable, "-m", "seamcheck", "inspect", str(SAMPLES / "four-points-taped.jpg"), *options]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert "can't be undone" in done.stdout
    result = json.loads((tmp_path / "result.json").read_text())
    assert result["schema_version"] == 1
    for tip in result["tips"]:  # verdicts follow from the numbers as they stand
        if tip["verdict"] == "on":
            assert abs(tip["seam_offset_in"]) + tip["seam_offset_u95_in"] <= TOLERANCE_IN
    assert sorted(path.name for path in tmp_path.iterdir()) == ["picture.png", "result.json", "table.csv"]


def test_a_photo_without_cards_is_refused_in_one_sentence(tmp_path: Path) -> None:
    kept = tmp_path / "kept.json"
    before = result_bytes(told("four-points-taped"))
    kept.write_bytes(before)
    command = [sys.executable, "-m", "seamcheck", "inspect", str(SAMPLES / "cards-forgotten.jpg"), "--json", str(kept)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, check=False)
    assert done.returncode == 1
    assert len(done.stderr.strip().splitlines()) == 1
    assert "card" in done.stderr
    assert kept.read_bytes() == before


def test_a_rose_that_is_called_a_bare_top_gets_no_count_of_leaves() -> None:
    """The field has eight leaves, of which the rose, the cards and the tape leave too little to see."""
    inspection = inspect(read_photo(SAMPLES / "dry-fit.jpg"), Settings(stage=Stage.BARE))
    assert inspection.bare is not None
    assert 2 * len(inspection.seams) <= inspection.bare.looked_for
    assert inspection.bare.leaves is None
    assert inspection.bare.even is None


def test_a_messaging_apps_copy_is_told_to_be_one(tmp_path: Path) -> None:
    """Small and without camera data. Either alone may be the person's own wish."""
    from PIL import Image

    with Image.open(SAMPLES / "dry-fit.jpg") as image:
        exif = image.getexif()
        image.save(tmp_path / "bare-of-data.jpg", quality=92)
        small = image.resize((1600, 1200), Image.Resampling.LANCZOS)
        small.save(tmp_path / "copy.jpg", quality=85)
        small.save(tmp_path / "small.jpg", quality=85, exif=exif)
    told = {
        path.name: [note for note in inspect(read_photo(path), Settings()).warnings if "messaging app" in note]
        for path in tmp_path.iterdir()
    }
    assert told == {
        "bare-of-data.jpg": [],
        "small.jpg": [],
        "copy.jpg": [
            "The photo is small (83 pixels to the inch) and has no camera data, as a messaging app's copy has none: measure the original "
            "file, of which more can be told."
        ],
    }
