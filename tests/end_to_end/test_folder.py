"""A folder of photos: processes, progress, bad photos, going on, and files that aren't ours."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from hashlib import sha256
from pathlib import Path

import pytest

from seamcheck.basis.errors import NoPhotoInFolder, ResultsAmongPhotos
from seamcheck.batch import Outcome, Task, cores, is_done, measure, run, tasks

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_images" / "four-points-taped.jpg"
SETTINGS = {"version": "0", "stage": None}


def folder_run(folder: Path, *options: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "seamcheck", "folder", "photos", "results", *options]
    return subprocess.run(command, capture_output=True, text=True, cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=False)


def test_a_class_of_photos(tmp_path: Path) -> None:
    """Two good photos, one cut short, one no photo; then again; then with another option."""
    photos = tmp_path / "photos"
    photos.mkdir()
    data = SAMPLE.read_bytes()
    (photos / "a b.jpg").write_bytes(data)
    (photos / "c.JPG").write_bytes(data)
    (photos / "cut.jpg").write_bytes(data[: len(data) // 2])
    (photos / "empty.png").write_bytes(b"")
    (photos / "notes.txt").write_text("no photo")
    done = folder_run(tmp_path)
    assert done.returncode == 1
    lines = done.stdout.splitlines()
    assert [line.split("  ")[0] for line in lines] == [f"{k} of 4" for k in (1, 2, 3, 4)]
    assert sum("not measured" in line for line in lines) == 2
    assert sum("dry-fit; " in line for line in lines) == 2
    assert sorted(done.stderr.splitlines()) == [
        "cut.jpg is damaged or cut short: copy it again from the phone.",
        "empty.png is empty: copy it again from the phone.",
    ]
    results = tmp_path / "results"
    assert sorted(path.name for path in results.iterdir()) == ["a b.jpg.json", "c.JPG.json"]
    first = {path.name: path.read_bytes() for path in results.iterdir()}
    assert json.loads(first["c.JPG.json"])["photo"]["file"] == "c.JPG"
    times = {path.name: path.stat().st_mtime_ns for path in results.iterdir()}

    (photos / "cut.jpg").unlink()
    (photos / "empty.png").unlink()
    (results / "a b.jpg.json").write_bytes(first["a b.jpg.json"][:100])  # as a crash of the machine might leave it
    os.replace(results / "a b.jpg.json", results / "kept")
    again = folder_run(tmp_path)
    assert again.returncode == 0, again.stderr
    assert again.stdout.count("measured before") == 1
    assert (results / "a b.jpg.json").read_bytes() == first["a b.jpg.json"]
    assert (results / "c.JPG.json").stat().st_mtime_ns == times["c.JPG.json"]
    assert (results / "kept").read_bytes() == first["a b.jpg.json"][:100]

    pictured = folder_run(tmp_path, "--pictures", "--tolerance", "1/32")
    assert pictured.returncode == 0, pictured.stderr
    assert "measured before" not in pictured.stdout
    assert json.loads((results / "c.JPG.json").read_bytes())["tolerance_in"] == 1 / 32
    before = (results / "c.JPG.picture.jpg").read_bytes()
    assert len(before) > 100_000
    anew = folder_run(tmp_path, "--tolerance", "1/8")  # the pictures that lie there are drawn anew
    assert anew.returncode == 0, anew.stderr
    assert (results / "c.JPG.picture.jpg").read_bytes() != before


def test_what_counts_as_done(tmp_path: Path) -> None:
    photo, result = tmp_path / "a.jpg", tmp_path / "a.jpg.json"
    photo.write_bytes(b"x")
    task = Task(photo, result, None, SETTINGS)
    assert not is_done(task)
    made_with = {**SETTINGS, "photo_sha256": sha256(b"x").hexdigest()}
    whole = json.dumps({"schema_version": 1, "photo": {}, "stage": "bare", "made_with": made_with})
    result.write_text(whole)
    os.utime(photo, (1, 1))
    assert is_done(task)
    assert not is_done(Task(photo, result, tmp_path / "a.jpg.picture.jpg", SETTINGS))
    assert not is_done(Task(photo, result, None, {**SETTINGS, "stage": "inlaid"}))
    assert not is_done(Task(photo, result, None, {**SETTINGS, "version": "1"}))
    other = tmp_path / "other" / photo.name  # of the same name, as old as the first
    other.parent.mkdir()
    other.write_bytes(photo.read_bytes() + b" ")
    os.utime(other, (1e9, 1e9))
    assert not is_done(Task(other, result, None, SETTINGS))
    result.write_text(whole[:-3])
    assert not is_done(task)
    result.write_text(whole)
    os.utime(photo, (2e9, 2e9))  # taken anew
    assert not is_done(task)


def test_files_of_others_stay(tmp_path: Path) -> None:
    photo, result = tmp_path / "a.jpg", tmp_path / "a.jpg.json"
    shutil.copy(SAMPLE, photo)
    result.write_text("my notes")
    outcome = measure(Task(photo, result, None, SETTINGS))
    assert outcome.fault.startswith("a.jpg.json is already there and is not a result file of ours")
    assert result.read_text() == "my notes"


def test_a_process_that_dies_costs_one_photo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("seamcheck.batch.measure", dies_at_b)
    todo = [Task(tmp_path / f"{name}.jpg", tmp_path / f"{name}.json", None, SETTINGS) for name in "abcd"]
    outcomes = {outcome.photo: outcome for outcome in run(todo, 2)}
    assert sorted(outcomes) == ["a.jpg", "b.jpg", "c.jpg", "d.jpg"]
    assert [name for name, outcome in outcomes.items() if outcome.fault] == ["b.jpg"]
    assert "want of memory" in outcomes["b.jpg"].fault


def test_stopping_keeps_what_is_done_and_leaves_nothing_half_written(tmp_path: Path) -> None:
    photos = tmp_path / "photos"
    photos.mkdir()
    (photos / "a.jpg").write_bytes(b"")  # comes first, at once
    for name in "bcdef":
        shutil.copy(SAMPLE, photos / f"{name}.jpg")
    command = [sys.executable, "-m", "seamcheck", "folder", "photos", "results"]
    stopped = subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    assert stopped.stdout is not None
    assert stopped.stdout.readline().startswith("1 of 6  a.jpg")
    os.killpg(stopped.pid, signal.SIGINT)  # as Ctrl-C does, to every process
    _, err = stopped.communicate(timeout=300)
    assert stopped.returncode == 1
    assert err == "Stopped. What is done is kept: the same command goes on from there.\n"
    done = sorted((tmp_path / "results").iterdir())
    assert len(done) <= cores()
    for path in done:
        assert path.name.endswith(".jpg.json")
        assert json.loads(path.read_bytes())["schema_version"] == 1


def dies_at_b(task: Task) -> Outcome:
    if task.photo.name == "b.jpg":
        os._exit(9)
    return Outcome(task.photo.name, "well")


def test_folders_that_will_not_do(tmp_path: Path) -> None:
    with pytest.raises(NoPhotoInFolder):
        tasks(tmp_path, tmp_path / "results", SETTINGS, False)
    assert not (tmp_path / "results").exists()
    (tmp_path / "a.jpg").write_bytes(b"x")
    with pytest.raises(ResultsAmongPhotos):
        tasks(tmp_path, tmp_path, SETTINGS, False)


@pytest.mark.parametrize(("photos", "words"), [("nowhere", "There is no folder nowhere"), ("empty", "No photo lies in the folder empty")])
def test_the_command_says_what_is_wrong(tmp_path: Path, photos: str, words: str) -> None:
    (tmp_path / "empty").mkdir()
    done = subprocess.run(
        [sys.executable, "-m", "seamcheck", "folder", photos, "results"],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=False,
    )
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith(words)
    assert not (tmp_path / "results").exists()
