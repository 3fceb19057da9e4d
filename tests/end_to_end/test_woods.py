"""`woods` as a person runs it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.command_line import Run, command_line
from tests.scenes.geometry import direction, right
from tests.scenes.samples import lay_samples, render_samples

SAMPLE = Path(__file__).parents[2] / "sample_images" / "loose-lobes.jpg"


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    woods = [("walnut", 1.0), ("maple", 1.0), ("cherry", 1.0), ("walnut", 0.6), ("maple", 0.7), ("ash", 1.0)]
    return render_samples(lay_samples(woods, "curly brown", seed=2, ppi=82.0, megapixels=1.25))


@pytest.fixture
def run(tmp_path: Path, photo: bytes, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    (tmp_path / "s.jpg").write_bytes(photo)
    monkeypatch.chdir(tmp_path)
    return command_line(monkeypatch, capsys)


def test_named_dry_and_wet_and_drawn(run: Run, tmp_path: Path) -> None:
    names = "walnut,maple,cherry,walnut-wet,maple-wet,ash"
    status, out, err = run("woods", "s.jpg", "--names", names, "--field", "cherry", "--picture", "w.png", "--reach", "3")
    assert (status, err) == (0, "")
    words = " ".join(out.split())
    for part in (
        "6 samples",
        "The field is cherry",
        "Pairs, best first",
        "walnut + maple",
        "Wetted, best first",
        "walnut-wet + maple-wet",
        "WCAG 2.2",
    ):
        assert part in words
    assert "cherry +" not in words  # the field isn't one of the pair
    assert (tmp_path / "w.png").read_bytes().startswith(b"\x89PNG")
    first = (tmp_path / "w.png").read_bytes()
    assert run("woods", "s.jpg", "--names", names, "--field", "cherry", "--picture", "w.png", "--reach", "3")[0] == 0
    assert (tmp_path / "w.png").read_bytes() == first
    assert max(len(line) for line in out.splitlines()) <= 80


def test_by_numbers_on_what_they_lie_on(run: Run) -> None:
    status, out, _ = run("woods", "s.jpg")
    assert status == 0
    assert "The field is what they lie on" in " ".join(out.split())
    assert "1 + 2" in out


def test_two_samples_that_touch_are_told_as_two_woods_in_one(run: Run, tmp_path: Path) -> None:
    apart = lay_samples([("walnut", 1.0), ("ash", 1.0), ("striped", 1.0), ("maple", 1.0)], "oak", seed=1, columns=2, ppi=100.0)
    first = apart.pieces[0]
    beside = replace(first, wood="maple", middle=first.middle + right(direction(first.grain)) * first.size_in[1])
    touching = replace(apart, pieces=(first, beside, *apart.pieces[2:]))
    told = []
    for name, laid in (("apart.jpg", apart), ("touching.jpg", touching)):
        (tmp_path / name).write_bytes(render_samples(laid))
        status, out, _ = run("woods", name)
        assert status == 0
        told.append(" ".join(out.split()))
    assert "4 samples" in told[0]
    assert "pale on the other" not in told[0]  # nor are stripes two woods
    assert "Sample 1 is dark on one side and pale on the other, and its numbers are of both together" in told[1]
    assert told[1].count("pale on the other") == 1


def test_what_is_refused(run: Run, tmp_path: Path) -> None:
    status, out, err = run("woods", "s.jpg", "--names", "a,b")
    assert (status, out) == (1, "")
    assert "s.jpg shows 6 samples, but 2 names were given" in err
    assert "no sample teak" in run("woods", "s.jpg", "--field", "teak")[2]
    assert run("woods", "missing.jpg")[0] == 1
    for options in (["--names", "a,,b"], ["--names", "a,a"], ["--picture", "w.doc"], ["--reach", "0"]):
        assert run("woods", "s.jpg", *options)[0] == 2
    (tmp_path / "mine.png").write_bytes(b"mine")
    assert run("woods", "s.jpg", "--picture", "mine.png")[0] == 1
    assert (tmp_path / "mine.png").read_bytes() == b"mine"
    assert run("woods", "s.jpg", "--picture", "s.jpg")[0] == 1


def test_cut_lobes_show_their_two_woods(run: Run) -> None:
    status, out, _ = run("woods", str(SAMPLE))
    assert status == 0
    assert "the two woods of cut lobes" in " ".join(out.split())
    assert "dark + light" in out


def test_a_roses_woods_are_named_dark_then_light_and_lie_on_its_field(run: Run) -> None:
    status, out, _ = run("woods", str(SAMPLE.with_name("dry-fit.jpg")), "--names", "walnut,maple")
    words = " ".join(out.split())
    assert status == 0
    assert "The dark wood is called walnut, the light one maple." in words
    assert "the field" in words
    assert "what they lie on" not in words
    for grade in ("clear:", "fair:", "faint:", "lost:", "?:"):
        assert grade in words
