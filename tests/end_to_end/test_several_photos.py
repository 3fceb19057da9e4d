"""Photos of one fit, rendered from several sides: from the files to one result, through the command line."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.scenes.draw import Scene, Tape, draw
from tests.scenes.geometry import direction
from tests.scenes.render import render
from tests.scenes.view import View

ROOT = Path(__file__).parents[2]
SEED = 5
TAPED, PUSHED = 2, 3  # lobes, as the scene numbers them
PUSHED_IN = 0.06


def scene() -> Scene:
    return replace(draw(SEED, "dry-fit", megapixels=(2.6, 2.6)), tapes=())


def from_another_side(one: Scene) -> Scene:
    """The phone turned by a third of a turn and leaning the other way."""
    now = one.view
    height = float((-now.rotation.T @ now.translation)[2])
    view = View.over(now.width, now.height, now.f_px, (5.0, -3.0), now.k1, now.k2, np.zeros(2), height, 0.12, 2.0, 2.1)
    return replace(one, view=view, noise_seed=1)


def taped(one: Scene) -> Scene:
    """Tape over the outer half of a lobe."""
    lobe = one.rose.lobes[TAPED]
    middle = lobe.tip - 0.35 * (lobe.tip - lobe.root)
    way = lobe.tip - lobe.root
    bearing = float(np.arctan2(way[0], way[1]))
    piece = Tape(middle + 0.2 * direction(bearing), bearing, 0.95 * float(np.hypot(*way)), 1.5, (0.55, 0.62, 0.7))
    return replace(one, tapes=(piece,))


def pushed(one: Scene) -> Scene:
    """A lobe turned about the centre, its point clockwise."""
    lobe = one.rose.lobes[PUSHED]
    angle = PUSHED_IN / float(np.hypot(*(lobe.tip - one.rose.centre_in)))
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, s], [-s, c]])
    names = ("root", "left", "tip", "right", "own_root", "own_tip")
    moved = replace(lobe, **{name: one.rose.centre_in + turn @ (getattr(lobe, name) - one.rose.centre_in) for name in names})
    lobes = (*one.rose.lobes[:PUSHED], moved, *one.rose.lobes[PUSHED + 1 :])
    return replace(one, rose=replace(one.rose, lobes=lobes))


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """taped.jpg, clear.jpg (from another side) and pushed.jpg (that side again, after a lobe was pushed)."""
    folder = tmp_path_factory.mktemp("photos")
    first = scene()
    for name, one in (("taped", taped(first)), ("clear", from_another_side(first)), ("pushed", from_another_side(pushed(first)))):
        (folder / f"{name}.jpg").write_bytes(render(one))
    return folder


def inspect(photos: Path, result: Path, *names: str) -> tuple[dict, str]:
    across, along = scene().bars_in
    told = ["--stage", "dry-fit", "--bar-across", f"{across:.4f}", "--bar-along", f"{along:.4f}", "--json", str(result)]
    command = [sys.executable, "-m", "seamcheck", "inspect", *names, *told]
    done = subprocess.run(command, capture_output=True, text=True, cwd=photos, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(result.read_text()), done.stdout


def scene_number(tip: dict) -> int:
    """Which of the scene's lobes a tip of a result in the first view's pixels is."""
    one = scene()
    away = [float(np.hypot(*(one.tip_px(lobe) - np.array(tip["tip_px"])))) for lobe in one.rose.lobes]
    assert min(away) < 0.2 * 150
    return int(np.argmin(away))


def test_two_photos_of_one_fit(photos: Path, tmp_path: Path) -> None:
    alone, _ = inspect(photos, tmp_path / "alone.json", "taped.jpg")
    result, words = inspect(photos, tmp_path / "both.json", "taped.jpg", "clear.jpg")
    assert result["photo"]["file"] == "taped.jpg"
    assert result["photos"] == ["taped.jpg", "clear.jpg"]
    assert result["disagreements"] == []
    assert "The 2 photos agree wherever two of them show the same." in words
    assert [tip["bearing_deg"] for tip in result["tips"]] == [tip["bearing_deg"] for tip in alone["tips"]]
    numbers = [scene_number(tip) for tip in result["tips"]]
    assert sorted(numbers) == list(range(len(scene().rose.lobes)))
    hidden = numbers.index(TAPED)
    assert alone["tips"][hidden]["verdict"] == "unmeasured"
    for number, tip in zip(numbers, result["tips"], strict=True):
        # A rose of 4 has too few numbers to count how many lie inside; that none lies far outside is what can be asked.
        assert abs(tip["seam_offset_in"] - scene().offset_in(number)) < 1.5 * tip["seam_offset_u95_in"]
        assert tip["verdict"] in ("on", "off", "unsure")


def test_a_lobe_pushed_in_between_is_found(photos: Path, tmp_path: Path) -> None:
    result, words = inspect(photos, tmp_path / "moved.json", "taped.jpg", "pushed.jpg")
    (moved,) = [tip for tip in result["tips"] if tip["reason"] == "photos_disagree"]
    assert scene_number(moved) == PUSHED
    assert moved["seam_offset_in"] is None
    assert moved["verdict"] == "unmeasured"
    assert any(sentence.startswith(f"Lobe {moved['lobe']} is ") for sentence in result["disagreements"])
    assert f"The photos disagree: lobe {moved['lobe']} is" in words
