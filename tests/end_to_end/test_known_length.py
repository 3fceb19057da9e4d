"""A finished top without a card, rendered: measured by its diameter, refused without it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tests.command_line import Run, command_line
from tests.scenes.draw import draw
from tests.scenes.render import render
from tests.scenes.whole_top import draw_whole

SEED, BARE_SEED = 2, 502


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.chdir(tmp_path)
    return command_line(monkeypatch, capsys)


def test_a_finished_top_is_measured_by_its_diameter(run: Run, tmp_path: Path) -> None:
    scene = draw_whole(SEED, megapixels=(4.0, 4.0))
    (tmp_path / "top.jpg").write_bytes(render(scene))
    status, _, err = run("inspect", "top.jpg", "--stage", "inlaid")
    assert status == 1
    assert "No scale card can be read in top.jpg" in err
    diameter = f"{2 * scene.top_radius_in:.3f}"
    status, out, err = run("inspect", "top.jpg", "--stage", "inlaid", "--known", diameter, "--rim", "--json", "top.json")
    assert (status, err) == (0, "")
    words = " ".join(out.split())
    assert "Scale from a known length" in words
    assert "The scale rests on the top's rim" in words
    assert "By a published standard (Architectural Woodwork Standards" in words
    result = json.loads((tmp_path / "top.json").read_text())
    assert (result["scale"]["source"], result["scale"]["cards"]) == ("known length", [])
    # At the middle of the rose, whatever way the photo is turned.
    px = scene.view.px(np.array([[0.5, 0], [-0.5, 0], [0, 0.5], [0, -0.5]]))
    across, up = px[0] - px[1], px[2] - px[3]
    truth = abs(across[0] * up[1] - across[1] * up[0]) ** 0.5
    assert result["scale"]["px_per_in"] == pytest.approx(truth, rel=0.005)
    measured = 0
    for tip in result["tips"]:
        away = [float(np.hypot(*(scene.tip_px(lobe) - tip["tip_px"]))) for lobe in scene.rose.lobes]
        number = int(np.argmin(away))
        if tip["seam_offset_in"] is not None and away[number] < 0.2 * truth:
            measured += 1
            # Twice u95: of a dozen points one may lie outside it.
            assert abs(tip["seam_offset_in"] - scene.offset_in(number)) < 2 * tip["seam_offset_u95_in"]
    assert measured >= 6


def test_a_photo_with_cards_by_the_same_phone_tells_the_lens(run: Run, tmp_path: Path) -> None:
    """In a folder too, which is skipped when it's measured again; and the budget of one lobe is told."""
    scene = draw_whole(SEED, megapixels=(2.5, 2.5))
    (tmp_path / "tops").mkdir()
    (tmp_path / "tops" / "top.jpg").write_bytes(render(scene))
    (tmp_path / "cards.jpg").write_bytes(render(draw(SEED, "inlaid", megapixels=(2.5, 2.5))))
    said = ("--known", f"{2 * scene.top_radius_in:.3f}", "--rim", "--stage", "inlaid")
    status, out, err = run("folder", "tops", "results", *said, "--lens", "cards.jpg")
    assert (status, err) == (0, "")
    result = json.loads((tmp_path / "results" / "top.jpg.json").read_text())
    assert result["scale"]["source"] == "known length"
    assert result["made_with"]["lens_photo"] == "cards.jpg"
    assert 0 < result["scale"]["u95_rel"] < 0.006  # without it two to four times as much, nearly all of it the lens
    again = run("folder", "tops", "results", *said, "--lens", "cards.jpg")[1]
    assert "measured before, with the same options" in again
    status, out, err = run("inspect", "tops/top.jpg", *said, "--lens", "cards.jpg", "--budget", "1")
    assert (status, err) == (0, "")
    assert "finding the top's round edge in the picture" in out
    assert "Off its seam, now" in out
    status, _, err = run("inspect", "tops/top.jpg", *said, "--lens", "tops/top.jpg")
    assert status == 1
    assert "No scale card can be read in top.jpg" in err


def test_two_marks_are_places_in_the_photo_at_its_full_size(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a photo that is measured on a smaller copy too."""
    scene = draw_whole(SEED, megapixels=(6.0, 6.0))
    (tmp_path / "top.jpg").write_bytes(render(scene))
    marks = np.round(scene.view.px(np.array([[-3.0, 0.5], [3.0, 0.5]]))).astype(int).ravel()
    monkeypatch.setattr("seamcheck.photo.FULL_SIZE_PIXELS", 3e6)
    said = ("--stage", "inlaid", "--apart", "6", "--marks")
    status, out, err = run("inspect", "top.jpg", *said, ",".join(map(str, marks)), "--json", "top.json")
    assert (status, err) == (0, "")
    assert "measured at 1/2 of its size" in " ".join(out.split())
    px = scene.view.px(np.array([[-3.0, 0.5], [3.0, 0.5]]))
    result = json.loads((tmp_path / "top.json").read_text())
    assert result["scale"]["px_per_in"] == pytest.approx(float(np.hypot(*(px[1] - px[0]))) / 6, rel=0.03)
    status, _, err = run("inspect", "top.jpg", *said, "10,10,9000,50")
    assert status == 1
    assert "The two marks don't both lie within top.jpg: give them in pixels of the upright photo" in " ".join(err.split())


def test_a_diameter_and_marks_that_gainsay_each_other_give_no_scale(run: Run, tmp_path: Path) -> None:
    """Both at once are well and good where they agree; else one of them is wrong, and no camera that suits both is right."""
    scene = draw_whole(SEED, megapixels=(2.5, 2.5))
    (tmp_path / "top.jpg").write_bytes(render(scene))
    px = scene.view.px(np.array([[-3.0, 0.0], [3.0, 0.0]]))
    said = ["--stage", "inlaid", "--known", f"{2 * scene.top_radius_in:.3f}", "--rim"]
    said += ["--marks", ",".join(map(str, np.round(px).astype(int).ravel())), "--json", "top.json", "--apart"]
    assert run("inspect", "top.jpg", *said, "6")[0] == 0
    truth = float(np.hypot(*(px[1] - px[0]))) / 6
    assert json.loads((tmp_path / "top.json").read_text())["scale"]["px_per_in"] == pytest.approx(truth, rel=0.01)
    for apart in ("6.3", "3", "9"):
        status, out, err = run("inspect", "top.jpg", *said, apart)
        assert (status, out) == (1, "")
        assert "By the top's diameter the two marks in top.jpg lie about 5 31/32 in apart, not" in err


def test_a_bare_top_is_measured_by_its_diameter_or_refused_in_a_sentence(run: Run, tmp_path: Path) -> None:
    scene = draw_whole(BARE_SEED, "bare", (5.0, 5.0))
    (tmp_path / "top.jpg").write_bytes(render(scene))
    diameter = f"{2 * scene.top_radius_in:.3f}"
    status, out, err = run("inspect", "top.jpg", "--stage", "bare", "--known", diameter, "--json", "top.json", "--picture", "top.png")
    assert (status, err) == (0, "")
    result = json.loads((tmp_path / "top.json").read_text())
    assert result["top"]["leaves"] == len(scene.seams)
    assert result["top"]["diameter_in"] == pytest.approx(2 * scene.top_radius_in, rel=0.005)
    truth = sorted(np.degrees(np.diff(sorted(seam.bearing % (2 * np.pi) for seam in scene.seams))))
    bearings = sorted(seam["bearing_deg"] for seam in result["seams"])
    assert sorted(np.diff(bearings))[0] == pytest.approx(truth[0], abs=1.0)
    assert "Scale from a known length" in " ".join(out.split())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--lens", "cards.jpg"), "it goes with a known length: give --known too"),
        (("--marks", "1,2,3", "--apart", "4"), "is no two places in a photo"),
        (("--marks", "1,2,3,4"), "give --marks and --apart together"),
        (("--known", "none"), "is not a length above zero"),
    ],
)
def test_slips_are_answered_in_a_sentence(run: Run, words: tuple[str, ...], said: str) -> None:
    status, _, err = run("inspect", "top.jpg", *words)
    assert status == 2
    assert said in " ".join(err.split())
