"""`seamcheck seat` on rendered photos of a dry fit and of the recess cut for it: numbers within what they claim, plain refusals."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.scenes.geometry import Rose
from tests.scenes.recess import RecessScene, draw_recess, render_recess, true_seat
from tests.scenes.render import render

SEED = 9  # a black board under teak; two stretches that weren't pared, one point that a round bit left
# Standard uncertainties: one in sixteen thousand lies beyond, were the numbers normal.
FAR = 4.0


def run(*words: str | Path, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "seamcheck", *map(str, words)]
    ours = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, env=ours, check=False)


@pytest.fixture(scope="module")
def scene() -> RecessScene:
    return draw_recess(SEED, megapixels=(1.3, 1.3))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, scene: RecessScene) -> Path:
    """The two photos, the rose's result file, and what `seat` wrote of them."""
    place = tmp_path_factory.mktemp("seat")
    (place / "rose.jpg").write_bytes(render(scene.dry_fit))
    (place / "recess.jpg").write_bytes(render_recess(scene))
    done = run("inspect", "rose.jpg", "--stage", "dry-fit", *told(scene), "--json", "rose.json", cwd=place)
    assert done.returncode == 0, done.stderr
    names = ("--json", "seat.json", "--csv", "seat.csv", "--picture", "seat.png")
    done = run("seat", "recess.jpg", "rose.json", "--same-cards", "--lobe-1-at", clock_of_first(scene, place), *names, cwd=place)
    assert done.returncode == 0, done.stderr
    (place / "report.txt").write_text(done.stdout)
    return place


def told(scene: RecessScene) -> list[str]:
    across, along = scene.bars_in
    return ["--bar-across", f"{across:.5f}", "--bar-along", f"{along:.5f}", "--veneer", f"{scene.depth_in:.5f}"]


def place_of(scene: RecessScene, place: Path, lobe: int) -> int:
    """The place in the scene's `lobes` of a lobe of the result file."""
    tips = json.loads((place / "rose.json").read_text())["tips"]
    px = next(tip["tip_px"] for tip in tips if tip["lobe"] == lobe)
    away = [float(np.hypot(*(scene.dry_fit.tip_px(scene.dry_fit.rose.lobes[k]) - px))) for k in scene.lobes]
    return int(np.argmin(away))


def clock_of_first(scene: RecessScene, place: Path) -> str:
    """Where lobe 1's point goes, as a person reads it off the photo of the recess."""
    tip, middle = scene.top.view.px(np.stack([scene.corners_in[2 * place_of(scene, place, 1)], scene.middle_in]))
    minutes = round(float(np.arctan2(tip[0] - middle[0], middle[1] - tip[1])) / (2 * np.pi) * 720) % 720
    return f"{minutes // 60 or 12}:{minutes % 60:02d}"


def test_every_room_lies_within_what_it_is_uncertain_by(folder, scene):
    found, true = json.loads((folder / "seat.json").read_text()), true_seat(scene)
    assert found["turn_by"] == "you"
    seen = 0
    for point in found["points"]:
        k = place_of(scene, folder, point["lobe"])
        for side, name in enumerate(("left", "right")):
            edge = point[name]
            for end, truth in zip(("at_notch", "at_tip"), true.rooms_in[k, side], strict=True):
                if edge[f"{end}_in"] is not None:
                    seen += 1
                    assert abs(edge[f"{end}_in"] - truth) < FAR / 1.96 * edge[f"{end}_u95_in"]
            if edge["verdict"] == "fits":
                assert 0 <= true.rooms_in[k, side].min() <= true.rooms_in[k, side].max() <= found["gap_tolerance_in"]
        if point["verdict"] == "fits":
            assert true.beyond_in[k] > max(true.uncut_in[k] - 0.03, 0)
    assert seen >= 12
    assert found["most_room_anywhere_in"] + found["most_room_anywhere_u95_in"] > true.most_room_in


def test_wood_that_stands_is_told_where_it_stands(folder, scene):
    found = json.loads((folder / "seat.json").read_text())
    standing = {}
    for point in found["points"]:
        k = place_of(scene, folder, point["lobe"])
        for side, name in enumerate(("left", "right")):
            cut, told_of = scene.cuts[2 * k + side], point[name]["standing"]
            assert bool(told_of) == bool(cut.left_standing)
            for (near, far), one in zip(cut.left_standing, told_of, strict=True):
                standing[k, side] = point[name]["verdict"]
                assert one["from_tip_in"] == pytest.approx(near, abs=0.08)
                assert one["to_in"] == pytest.approx(far, abs=0.08)
                assert one["by_in"] == pytest.approx(1 / 16, abs=0.012)
        if true_seat(scene).uncut_in[k] > 0.05:
            assert point["verdict"] == "tight"
            assert point["uncut_in"] == pytest.approx(true_seat(scene).uncut_in[k], abs=point["uncut_u95_in"])
        else:
            assert point["uncut_in"] is None
    assert standing
    assert set(standing.values()) == {"tight"}
    report = (folder / "report.txt").read_text()
    assert "of wood stands inside" in report
    assert "Not yet: pare the recess first" in report
    assert "Router:" in report
    assert max(map(len, report.splitlines())) <= 80


def test_table_and_picture_hold_the_same(folder):
    found = json.loads((folder / "seat.json").read_text())
    rows = list(csv.DictReader(io.StringIO((folder / "seat.csv").read_text("utf-8-sig"))))
    assert len(rows) == 3 * len(found["points"])
    first = found["points"][0]
    assert float(rows[0]["room at notch (in)"]) == first["left"]["at_notch_in"]
    assert rows[2]["verdict"] == first["verdict"]
    picture = cv2.imread(str(folder / "seat.png"))
    assert picture.shape[1] == 2160


def test_millimetres_and_a_second_run_over_its_own_files(folder, tmp_path, scene):
    for name in ("seat.csv", "seat.json"):
        (tmp_path / name).write_bytes((folder / name).read_bytes())
    outputs = ("--csv", tmp_path / "seat.csv", "--json", tmp_path / "seat.json", "--units", "mm")
    done = run("seat", "recess.jpg", "rose.json", "--same-cards", "--lobe-1-at", clock_of_first(scene, folder), *outputs, cwd=folder)
    assert done.returncode == 0, done.stderr
    assert "0.254 mm" in done.stdout
    assert " in " not in done.stdout.split("point ")[2].split("beyond")[0]
    inches, metric = (json.loads((place / "seat.json").read_text()) for place in (folder, tmp_path))
    assert metric["points"] == inches["points"]


def refused(*words: str | Path, cwd: Path, status: int = 1) -> str:
    done = run(*words, cwd=cwd)
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    return done.stderr


def test_what_is_no_recess_is_refused(folder, scene):
    bare = replace(scene.top, rose=Rose((), (), ()), stage="bare")
    (folder / "bare.jpg").write_bytes(render(bare))
    assert "no recess in the shape of the rose was found" in refused("seat", "bare.jpg", "rose.json", cwd=folder)
    assert "A rose lies where the recess should be" in refused("seat", "rose.jpg", "rose.json", cwd=folder)
    picture = cv2.imread(str(folder / "recess.jpg"))
    for card in scene.top.cards:
        cv2.fillPoly(
            picture, [np.round(scene.top.view.px(1.2 * (card.outline - card.middle) + card.middle)).astype(np.int32)], (90, 120, 140)
        )
    cv2.imwrite(str(folder / "no-cards.jpg"), picture)
    assert "No scale card can be read" in refused("seat", "no-cards.jpg", "rose.json", cwd=folder)


def test_what_is_no_rose_for_it_is_refused(folder):
    document = json.loads((folder / "rose.json").read_text())
    for name, changed in (
        (
            "fewer.json",
            {**document, "tips": document["tips"][:3], "working": {**document["working"], "tips": document["working"]["tips"][:3]}},
        ),
        ("loose.json", {**document, "stage": "loose"}),
        ("let-in.json", {**document, "stage": "inlaid", "stage_told": True}),
        (
            "older.json",
            {**document, "working": {**document["working"], "tips": [{**t, "edges": None} for t in document["working"]["tips"]]}},
        ),
        (
            "spoilt.json",
            {**document, "working": {**document["working"], "tips": [{**t, "edges": [1, 2]} for t in document["working"]["tips"]]}},
        ),
    ):
        (folder / name).write_text(json.dumps(changed))
    no_rose = "shows no rose that can be laid into a recess"
    assert no_rose in refused("seat", "recess.jpg", "fewer.json", cwd=folder)
    assert "loose lobes" in refused("seat", "recess.jpg", "loose.json", cwd=folder)
    assert no_rose in refused("seat", "recess.jpg", "let-in.json", cwd=folder)
    assert "older seamcheck" in refused("seat", "recess.jpg", "older.json", cwd=folder)
    assert "missing or was changed" in refused("seat", "recess.jpg", "spoilt.json", cwd=folder)
    (folder / "no.json").write_text("[1, 2")
    assert "is not a result file" in refused("seat", "recess.jpg", "no.json", cwd=folder)
    assert "There is no result file" in refused("seat", "recess.jpg", "nowhere.json", cwd=folder)
    assert "There is no file" in refused("seat", "nowhere.jpg", "rose.json", cwd=folder)
    assert "no place on a clock" in refused("seat", "recess.jpg", "rose.json", "--lobe-1-at", "13", cwd=folder, status=2)
    other = refused("seat", "recess.jpg", "rose.json", "--same-cards", "--bar-across", "6.05", cwd=folder, status=2)
    assert "another reading" in other
    assert "photo" in refused("seat", "recess.jpg", "rose.json", "--picture", "recess.jpg", cwd=folder)


def test_a_clock_between_two_points_is_refused_with_both_named(tmp_path):
    samples = Path(__file__).parents[2] / "sample_images"
    said = refused("seat", samples / "recess.jpg", samples / "recess-rose.json", "--lobe-1-at", "1", cwd=tmp_path)
    assert "lies at 1 o'clock" in said
    assert "the nearest lie at 12 o'clock and at 2 o'clock" in said


def test_the_sample_picture_holds_to_its_truth(tmp_path):
    samples = Path(__file__).parents[2] / "sample_images"
    done = run("seat", samples / "recess.jpg", samples / "recess-rose.json", "--same-cards", "--json", "seat.json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    found, true = json.loads((tmp_path / "seat.json").read_text()), json.loads((samples / "recess.json").read_text())
    for point, tip_px in zip(found["points"], found["recess_px"][0::2], strict=True):
        truth = min(true["points"], key=lambda one: float(np.hypot(*np.subtract(one["tip_px"], tip_px))))
        assert np.hypot(*np.subtract(truth["tip_px"], tip_px)) < 0.1 * found["scale"]["px_per_in"]
        for name in ("left", "right"):
            edge = point[name]
            assert bool(edge["standing"]) == bool(truth[f"standing_{name}_in"])
            for end, room in zip(("at_notch", "at_tip"), truth[f"room_{name}_in"], strict=True):
                assert abs(edge[f"{end}_in"] - room) < FAR / 1.96 * edge[f"{end}_u95_in"]
        assert (point["verdict"] == "tight") == (truth["uncut_in"] > 0.05)
