"""`lobes` as a person runs it: from a photo of loose lobes to the round, and what it refuses."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from seamcheck.photo import read_photo
from seamcheck.pipeline import Settings, inspect
from seamcheck.report.json_file import result_bytes
from seamcheck.result import Inspection, Stage
from tests.benchmarks.loose_study import of_shape
from tests.command_line import Run, command_line
from tests.end_to_end.test_making import bare_document
from tests.made_up_fit import rose, seen
from tests.scenes.draw import Scene, draw
from tests.scenes.geometry import Care, FieldSeam, lay
from tests.scenes.light import Lighting
from tests.scenes.loose import on_the_bench
from tests.scenes.render import render

SAMPLE = Path(__file__).parents[2] / "sample_images" / "loose-lobes.jpg"


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample's result file, measured once."""
    photo = read_photo(SAMPLE)
    path = tmp_path_factory.mktemp("loose") / "loose.json"
    path.write_bytes(result_bytes(inspect(photo, Settings(stage=Stage.LOOSE))))
    return path


@pytest.fixture
def run(tmp_path: Path, measured: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """The command line in a folder that holds loose.json."""
    shutil.copy(measured, tmp_path / "loose.json")
    monkeypatch.chdir(tmp_path)
    return command_line(monkeypatch, capsys)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> tuple[Scene, Inspection]:
    """Four lobes of one rose rendered on a bench, and what is found of them."""
    rng = np.random.default_rng(6)
    seams = tuple(FieldSeam(np.zeros(2), np.pi / 2 * k, 0.0, True) for k in range(4))
    cut = lay(rng, seams, 4, 1, 1.1, 2.4, (0.0, 0.0), np.zeros(2), 0.0, Care())
    woods = {"field_wood": "cherry", "dark_wood": "walnut", "light_wood": "maple"}
    base = replace(draw(6, "dry-fit"), **woods, lighting=Lighting(()))
    scene = on_the_bench(base, rng, cut.lobes, ppi=150, megapixels=2.2, cards=3, tilt=0.05)
    path = tmp_path_factory.mktemp("bench") / "bench.jpg"
    path.write_bytes(render(scene))
    across, along = scene.bars_in
    return scene, inspect(read_photo(path), Settings(stage=Stage.LOOSE, bar_across_in=across, bar_along_in=along))


def test_every_number_of_a_shape_is_within_its_uncertainty(bench: tuple[Scene, Inspection]) -> None:
    """Lengths, half angles, own seams and bows of rendered lobes: nine in ten within u95, none three times as far."""
    scene, found = bench
    assert len(found.tips) == len(scene.rose.lobes) == 4
    far: list[float] = []
    for lobe in scene.rose.lobes:
        tip = min(found.tips, key=lambda tip: float(np.hypot(*(tip.tip_px - scene.tip_px(lobe)))))
        assert tip.dark_side == lobe.dark_side
        assert tip.shape is not None
        compared = [*of_shape(lobe, tip, ""), ("root", "", lobe.root_angle, tip.root_angle, 1.0)]
        assert len(compared) == 14
        far += [abs(estimate.value - truth) / estimate.u95 for _, _, truth, estimate, _ in compared if estimate is not None]
    assert np.mean(np.array(far) <= 1) >= 0.9
    assert max(far) < 3
    angles = [abs(tip.root_angle.u95) for tip in found.tips if tip.root_angle is not None]
    assert np.median(angles) < np.radians(1.0)


def test_from_the_photo_to_the_round(run: Run, tmp_path: Path) -> None:
    status, out, err = run("lobes", "loose.json", "--picture", "round.png")
    assert (status, err) == (0, "")
    words = " ".join(out.split())
    for part in (
        "8 cut lobes in loose-lobes.jpg",
        "seem to have been cut to",
        "The round with the least planing",
        "root angles sum to",
        "In all:",
    ):
        assert part in words
    assert (tmp_path / "round.png").read_bytes().startswith(b"\x89PNG")
    first = (tmp_path / "round.png").read_bytes()
    assert run("lobes", "loose.json", "--picture", "round.png")[0] == 0
    assert (tmp_path / "round.png").read_bytes() == first


def test_inspect_tells_every_edge(run: Run) -> None:
    """The report of loose lobes: each edge's length and straightness, where the own seam passes the root, 80 letters wide."""
    status, out, _ = run("inspect", str(SAMPLE), "--stage", "loose")
    assert status == 0
    for part in ("root off seam", "left short", "stands out (+) or is hollow (-)"):
        assert part in out
    assert max(len(line) for line in out.splitlines()) <= 80
    assert len(re.findall(r"^ +\d( +[\d.]+ ±[.\d]+){4} +[.\d]+ ±[.\d]+( cc?w)?$", out, re.MULTILINE)) == 8


def test_against_a_pattern_and_in_millimetres(run: Run) -> None:
    ours = ["--points", "8", "--reach", "3", "--short-edge", "13/16"]
    status, out, _ = run("lobes", "loose.json", *ours)
    assert status == 0
    assert "Patterns: ring 1, 3 in long, 90.00° at the root, short edge 13/16 in" in " ".join(out.split())
    metric = " ".join(run("lobes", "loose.json", "--reach", "3 in", "--short-edge", "13/16", "--units", "mm")[1].split())
    assert "76.2 mm long" in metric
    assert " in long" not in metric


def test_a_jobs_pattern_is_taken_as_its_own_options_give_it(run: Run) -> None:
    run("job", "shop", "--new")
    named = run("template", "--reach", "3", "--short-edge", "13/16", "--job", "shop")[1].splitlines()[-1].split()
    told = run("lobes", "loose.json", *named)
    status, out, _ = run("lobes", "loose.json", "--job", "shop")
    assert status == told[0] == 0
    assert "Pattern 1 of the job shop. The rose: 8 points" in " ".join(out.split())
    assert out.replace("Pattern 1 of the job shop. ", "").split() == told[1].split()
    assert run("lobes", "loose.json", "--job", "shop", "--points", "8")[0] == 2


def test_a_jobs_pattern_has_to_be_the_rose_that_was_placed_on_the_top(run: Run, tmp_path: Path) -> None:
    (tmp_path / "bare.json").write_text(json.dumps(bare_document({3: 0.6}, (3.9, 3.1))))
    run("job", "shop", "--new")
    run("template", "--reach", "3", "--short-edge", "13/16", "--job", "shop")
    assert run("lobes", "loose.json", "--on", "bare.json", "--job", "shop")[0] == 2
    run("template", "--on", "bare.json", "--short-edge", "1-1/2", "--job", "shop")
    mine = run("lobes", "loose.json", "--on", "bare.json", "--job", "shop")
    assert mine[0] == 0
    assert "as the top was measured" in " ".join(mine[1].split())


def test_on_a_measured_top_lobes_may_be_cut_to_patterns_of_their_own(run: Run, tmp_path: Path) -> None:
    (tmp_path / "bare.json").write_text(json.dumps(bare_document({3: 0.6}, (3.9, 3.1))))
    status, out, err = run("lobes", "loose.json", "--on", "bare.json", "--short-edge", "1-1/2")
    assert (status, err) == (0, "")
    words = " ".join(out.split())
    assert "as the top was measured" in words
    assert "ring 1, 3 29/32 in long" in words
    assert run("lobes", "loose.json", "--on", "bare.json")[0] == 0
    assert run("lobes", "loose.json", "--on", "bare.json", "--reach", "3")[0] == 2


def test_two_photos_name_their_lobes_apart(run: Run, tmp_path: Path) -> None:
    document = json.loads((tmp_path / "loose.json").read_text())
    other = {**document, "photo": {**document["photo"], "file": "other.jpg"}, "tips": document["tips"][:2]}
    (tmp_path / "other.json").write_text(json.dumps(other))
    out = " ".join(run("lobes", "loose.json", "other.json")[1].split())
    assert "10 cut lobes in 2 photos (A loose-lobes.jpg and B other.jpg)" in out
    assert "lobe B2" in out
    assert "Left over" in out
    assert "counted twice" not in out
    once = " ".join(run("lobes", "loose.json", "loose.json")[1].split())
    assert "8 cut lobes in loose-lobes.jpg" in once
    assert "loose.json holds the same lobes in the same photo as loose.json, so it counts once." in once
    assert "Left over" not in once
    mate = {**other, "photo": document["photo"]}
    (tmp_path / "mate.json").write_text(json.dumps(mate))
    assert "counted twice" in " ".join(run("lobes", "loose.json", "mate.json")[1].split())


def test_no_round_is_told_with_its_reason_and_without_its_advice(run: Run, tmp_path: Path) -> None:
    """Lobes that are like no pattern, that make no rose together, or that go on a top where another rose was placed."""
    ours = ["--reach", "3", "--short-edge", "13/16"]
    (tmp_path / "one-ring.json").write_text(json.dumps({**bare_document({}, (3.9, 3.1)), "top": one_ring()}))
    document = json.loads((tmp_path / "loose.json").read_text())
    seconds = [tip for tip in document["tips"] if tip["length_in"] < 3]
    (tmp_path / "seconds.json").write_text(json.dumps({**document, "tips": seconds}))
    for words, reason in (
        (["loose.json", *ours], "No lobe is like the first ring's pattern"),
        (["loose.json", *ours], "ring 1, 3 55/64 in long, 90.00° at the root"),
        (["seconds.json"], "root angles don't close on each other"),
        (["loose.json", "--on", "one-ring.json"], "has other rings than these lobes seem to be of"),
    ):
        status, out, _ = run("lobes", *words, "--picture", "round.png")
        assert status == 0
        assert reason in " ".join(out.split())
        assert "in this order" not in out
        assert "measured whole" not in out
        assert (tmp_path / "round.png").exists()


def one_ring() -> dict[str, object]:
    """Of the made-up top with all its points in the first ring."""
    top = bare_document({}, (3.9, 3.9))["top"]
    assert isinstance(top, dict)
    placed = {**top["rose_least_miss"], "points": [{**point, "ring": 1} for point in top["rose_least_miss"]["points"]]}
    return {**top, "rose_reaches_in": [3.9], "rose_least_miss": placed}


def test_a_seam_that_wasnt_measured_is_told(run: Run, tmp_path: Path) -> None:
    bare = bare_document({}, (3.9, 3.1))
    top = bare["top"]
    assert isinstance(top, dict)
    points = [{**point, "miss_in": None if point["seam"] == 8 else point["miss_in"]} for point in top["rose_least_miss"]["points"]]
    (tmp_path / "bare.json").write_text(
        json.dumps({**bare, "top": {**top, "rose_least_miss": {**top["rose_least_miss"], "points": points}}})
    )
    out = run("lobes", "loose.json", "--on", "bare.json", "--picture", "round.png")[1]
    assert "as the top was measured, but seam 8 wasn't: it's taken for even" in " ".join(out.split())
    assert re.search(r"^ +8 +10:30 .* its seam unmeasured$", out, re.MULTILINE)
    assert out.count("its seam unmeasured") == 1


def test_a_lobe_that_isnt_known_is_said_to_be(run: Run, tmp_path: Path) -> None:
    document = json.loads((tmp_path / "loose.json").read_text())
    document["tips"][0]["own_seam_offset_in"] = document["tips"][0]["own_seam_offset_u95_in"] = None
    (tmp_path / "less.json").write_text(json.dumps(document))
    assert "Not measured: its own seam." in " ".join(run("lobes", "less.json")[1].split())


@pytest.mark.parametrize(
    "text", ["", "[]", '{"schema_version": 1}', '{"schema_version": 99, "photo": {}, "stage": "loose", "tips": [], "joints": []}']
)
def test_what_is_no_result_is_refused(run: Run, tmp_path: Path, text: str) -> None:
    (tmp_path / "no.json").write_text(text)
    status, out, err = run("lobes", "no.json")
    assert (status, out) == (1, "")
    assert err.startswith("no.json")
    assert run("lobes", "missing.json")[0] == 1


def test_another_stage_or_a_spoilt_file_is_refused(run: Run, tmp_path: Path) -> None:
    (tmp_path / "fit.json").write_bytes(result_bytes(seen(rose(np.random.default_rng(3), points=4), "made-up.jpg")))
    assert "shows a dry fit, not loose lobes" in run("lobes", "fit.json")[2]
    assert "not a bare top" in run("lobes", "loose.json", "--on", "fit.json")[2]
    document = json.loads((tmp_path / "loose.json").read_text())
    for spoil in ({"tips": [{"lobe": 1}]}, {"tips": None}, {"tips": [{**document["tips"][0], "length_in": "long"}]}):
        (tmp_path / "spoilt.json").write_text(json.dumps({**document, **spoil}))
        status, _, err = run("lobes", "spoilt.json")
        assert (status, "missing or was changed" in err) == (1, True), spoil
    (tmp_path / "none.json").write_text(json.dumps({**document, "tips": []}))
    assert "No lobe in none.json was measured whole" in run("lobes", "none.json")[2]


def test_a_wrong_command_line(run: Run) -> None:
    for options in (["--rings", "2"], ["--points", "7"], ["--strip", "1"], ["--reach", "0"], ["--picture", "a.doc"], ["--dark", "up"]):
        assert run("lobes", "loose.json", *options)[0] == 2
    assert run("lobes")[0] == 2
