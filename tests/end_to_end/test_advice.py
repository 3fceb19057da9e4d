"""`plan` and `decide` as a person runs them, in a folder that holds only a result file."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from seamcheck.report.json_file import result_bytes
from tests.made_up_fit import rose, seen

ROOT = Path(__file__).parents[2]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    lobes = rose(np.random.default_rng(3), points=4)
    (tmp_path / "fit.json").write_bytes(result_bytes(seen(lobes, "made-up.jpg", hidden=(2,))))
    return tmp_path


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "seamcheck", *words]
    return subprocess.run(command, capture_output=True, text=True, cwd=folder, check=False, env={"PYTHONPATH": str(ROOT), "PATH": ""})


def test_plan_says_what_to_do_and_draws_it(folder: Path) -> None:
    done = run(folder, "plan", "fit.json", "--keep", "1,4", "--shaving", "0.001", "--picture", "plan.png")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    for words in (
        "Kept where they lie: lobes 1 and 4",
        "a light stroke takes .001 in",
        "What should come of it",
        "point 8",
        "Check by eye first",
    ):
        assert words in " ".join(done.stdout.split())
    before = (folder / "plan.png").read_bytes()
    assert before.startswith(b"\x89PNG")
    # Run again it replaces its own picture with the same one, and nothing else.
    assert run(folder, "plan", "fit.json", "--keep", "1,4", "--shaving", "0.001", "--picture", "plan.png").returncode == 0
    assert (folder / "plan.png").read_bytes() == before
    (folder / "mine.png").write_bytes(b"not ours")
    refused = run(folder, "plan", "fit.json", "--picture", "mine.png")
    assert refused.returncode == 1
    assert "is not a picture of ours" in refused.stderr
    assert (folder / "mine.png").read_bytes() == b"not ours"
    assert sorted(path.name for path in folder.iterdir()) == ["fit.json", "mine.png", "plan.png"]


@pytest.mark.parametrize("wood", ["sure", "likely", "safe"])
def test_plan_takes_its_words_for_wood(folder: Path, wood: str) -> None:
    assert run(folder, "plan", "fit.json", "--wood", wood, "--keep", "on").returncode == 0


def test_all_points_may_be_said_to_be_checked(folder: Path) -> None:
    """It is the same page as with every one of them named."""
    every = ",".join(str(tip["lobe"]) for tip in json.loads((folder / "fit.json").read_text())["tips"])
    said, named, untold = (
        run(folder, "decide", "fit.json", *words) for words in (("--checked-tips", "all"), ("--checked-tips", every), ())
    )
    assert said.returncode == named.returncode == 0, said.stderr
    assert said.stdout == named.stdout
    assert said.stdout != untold.stdout


def test_decide_keeps_a_page(folder: Path) -> None:
    done = run(folder, "decide", "fit.json", "--checked-tips", "3", "--checked-joints", "all", "--page", "page.txt")
    assert done.returncode == 0, done.stderr
    assert (folder / "page.txt").read_text() == done.stdout
    assert "NOT YET" in done.stdout  # tips of this fit lie .02 in off
    (folder / "notes.txt").write_text("mine")
    assert run(folder, "decide", "fit.json", "--page", "notes.txt").returncode == 1
    assert (folder / "notes.txt").read_text() == "mine"


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("plan", "none.json"), 1, "There is no result file none.json"),
        (("plan", "fit.json", "--keep", "99"), 1, "fit.json has no lobe 99: its lobes are 1, 2, 3"),
        (("plan", "fit.json", "--keep", "one"), 2, "is no list of lobes"),
        (("plan", "fit.json", "--shaving", "1"), 2, "no light stroke's shaving"),
        (("plan", "fit.json", "--picture", "plan.gif"), 2, "must end in .png or .jpg"),
        (("decide", "fit.json", "--checked-tips", "99"), 1, "has no lobe 99"),
        (("decide", "fit.json", "--checked-joints", "1-9"), 1, "fit.json has no joint 1-9"),
        (("decide", "fit.json", "--checked-joints", "1"), 2, "is no list of joints"),
        (("decide", "fit.json", "--page", "page.pdf"), 2, "must end in .txt"),
    ],
)
def test_slips_are_answered_in_a_sentence(folder: Path, words: tuple[str, ...], status: int, said: str) -> None:
    done = run(folder, *words)
    assert done.returncode == status
    assert said in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_a_photo_given_instead_of_its_result_is_told(folder: Path) -> None:
    (folder / "photo.jpg").write_bytes(b"\xff\xd8\xff\xe0" + b"\0" * 100)
    done = run(folder, "decide", "photo.jpg")
    assert done.returncode == 1
    assert "seamcheck inspect PHOTO --json FILE" in done.stderr


def test_a_newer_result_is_told(folder: Path) -> None:
    document = json.loads((folder / "fit.json").read_text())
    (folder / "fit.json").write_text(json.dumps({**document, "schema_version": 7}))
    done = run(folder, "plan", "fit.json")
    assert done.returncode == 1
    assert "made by a newer seamcheck (its version is 7, this program knows 1)" in done.stderr
