"""`job` and `compare` as a person runs them: a folder of its own, result files, and what slips come to."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from seamcheck.job import Fingerprint, new_job
from seamcheck.report.json_file import result_bytes
from seamcheck.result import Inspection
from tests.command_line import Run, command_line
from tests.made_up_fit import moved, rose, seen


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.chdir(tmp_path)
    return command_line(monkeypatch, capsys)


def session() -> list[Inspection]:
    """Three photos: as it lay, turned, and with lobe 3 pushed."""
    lobes = rose(np.random.default_rng(3), points=4)
    return [seen(lobes, "a.jpg"), seen(lobes, "b.jpg", 1.0, hidden=(4,)), seen(moved(lobes, 2, 0.02), "c.jpg", 4.0)]


def kept(folder: Path) -> None:
    with new_job(folder) as job:
        for one in session():
            job.keep_inspection(json.loads(result_bytes(one)), [Fingerprint(one.photo_name, one.photo_name)])


def test_a_job_from_its_beginning(run: Run, tmp_path: Path) -> None:
    status, out, _ = run("job", "shop", "--new", "--note", "oak")
    assert status == 0
    assert "Job shop: oak" in out
    assert "No inspection yet" in out
    status, out, _ = run("template", "--points", "8", "--reach", "3", "--job", "shop")
    assert status == 0
    assert "Kept as pattern 1 of the job shop." in out
    assert "Pattern 1" in run("job", "shop")[1]
    assert [path.name for path in (tmp_path / "shop").iterdir()] == ["seamcheck-job.sqlite"]
    assert "make one by" not in run("compare", "shop")[2]
    assert "holds no inspection of a rose yet" in run("compare", "shop")[2]


def test_the_recess_takes_the_jobs_last_pattern_as_its_own_options_give_it(run: Run) -> None:
    run("job", "shop", "--new")
    status, _, err = run("recess", "--job", "shop")
    assert status == 1
    assert "The job in shop keeps no pattern: draw it by `seamcheck template ... --job shop`" in err
    run("template", "--points", "8", "--reach", "3", "--job", "shop")
    named = run("template", "--points", "16", "--reach", "101.3mm", "--strip", "22mm", "--job", "shop")[1].splitlines()[-1].split()
    told = run("recess", *named)
    assert told[0] == 0
    status, out, _ = run("recess", "--job", "shop")
    assert status == 0
    assert "Pattern 2 of the job shop. The rose: 16 points" in " ".join(out.split())
    assert out.replace("Pattern 2 of the job shop. ", "").split() == told[1].split()
    for more in (["--reach", "3"], ["--result", "fit.json"]):
        status, _, err = run("recess", "--job", "shop", *more)
        assert status == 2
        assert "give either" in err


def test_the_last_two_photos_are_compared_or_any_two(run: Run, tmp_path: Path) -> None:
    kept(tmp_path / "shop")
    status, out, err = run("compare", "shop")
    assert (status, err) == (0, "")
    words = " ".join(out.split())
    assert words.startswith("3 (c.jpg) after 2 (b.jpg): dry fit.")
    assert "'s point has come .020 in clockwise" in words
    assert "Nothing is seen to have moved" in " ".join(run("compare", "shop", "--from", "1", "--to", "2")[1].split())
    run("job", "shop", "--leave-out", "2")
    assert "3 (c.jpg) after 1 (a.jpg)" in " ".join(run("compare", "shop")[1].split())
    assert "Left out." in " ".join(run("job", "shop")[1].split())
    run("job", "shop", "--take-in", "2")
    assert "Left out." not in " ".join(run("job", "shop")[1].split())


def test_plan_and_decide_take_the_jobs_last_dry_fit(run: Run, tmp_path: Path) -> None:
    kept(tmp_path / "shop")
    status, out, _ = run("decide", "shop")
    assert status == 0
    assert "Go or no go, before knifing in: c.jpg." in out
    assert run("plan", "shop")[0] == 0
    (tmp_path / "empty").mkdir()
    assert "There is no job in empty" in run("plan", "empty")[2]


def test_the_timeline_is_drawn_and_replaces_only_itself(run: Run, tmp_path: Path) -> None:
    kept(tmp_path / "shop")
    status, _, err = run("job", "shop", "--timeline", "points.png")
    assert (status, err) == (0, "")
    before = (tmp_path / "points.png").read_bytes()
    assert before.startswith(b"\x89PNG")
    assert run("job", "shop", "--timeline", "points.png")[0] == 0
    assert (tmp_path / "points.png").read_bytes() == before
    (tmp_path / "mine.png").write_bytes(b"not ours")
    assert run("job", "shop", "--timeline", "mine.png")[0] == 1
    assert (tmp_path / "mine.png").read_bytes() == b"not ours"


def test_two_result_files_are_compared(run: Run, tmp_path: Path) -> None:
    for one, name in zip(session(), ("a.json", "b.json", "c.json"), strict=True):
        (tmp_path / name).write_bytes(result_bytes(one))
    status, out, err = run("compare", "a.json", "c.json")
    assert (status, err) == (0, "")
    assert "c.jpg after a.jpg" in out
    document = json.loads((tmp_path / "a.json").read_text())
    del document["working"]
    (tmp_path / "old.json").write_text(json.dumps(document))
    (tmp_path / "copy.json").write_bytes((tmp_path / "a.json").read_bytes())
    for twice in ("a.json", "copy.json"):
        status, out, err = run("compare", "a.json", twice)
        assert (status, out) == (1, "")
        assert f"a.json and {twice} are one and the same result" in err
    assert "old.json was made by an older seamcheck" in run("compare", "old.json", "c.json")[2]
    (tmp_path / "bare.json").write_text(json.dumps({**document, "stage": "bare"}))
    assert "bare.json shows a bare top" in run("compare", "bare.json", "c.json")[2]


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("compare", "one.json"), 1, "There is no job in one.json"),
        (("compare", "a", "b", "c"), 2, "give two result files"),
        (("compare", "a.json", "b.json", "--from", "1"), 2, "choose among a job's inspections"),
        (("compare", "none.json", "nor.json"), 1, "There is no result file none.json"),
        (("compare", "shop", "--from", "9"), 1, "The job in shop has no inspection 9: it has 3"),
        (("compare", "shop", "--from", "2", "--to", "2"), 1, "inspection 2 and inspection 2 of shop are one and the same result"),
        (("job", "nowhere"), 1, "begin one by `seamcheck job nowhere --new`"),
        (("job", "shop", "--new"), 1, "There is a job in shop already"),
        (("job", "shop", "--leave-out", "12"), 1, "has no inspection 12"),
        (("job", "shop", "--timeline", "t.gif"), 2, "must end in .png or .jpg"),
        (("inspect", "p.jpg", "--job", "nowhere"), 1, "There is no job in nowhere"),
    ],
)
def test_slips_are_answered_in_a_sentence(run: Run, tmp_path: Path, words: tuple[str, ...], status: int, said: str) -> None:
    kept(tmp_path / "shop")
    got, out, err = run(*words)
    assert (got, out) == (status, "")
    assert said in " ".join(err.split())
