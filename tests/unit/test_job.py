"""A job's file: what is kept stays whole, through interruption, other programs and other versions; nothing is merged."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from seamcheck import job as job_module
from seamcheck.basis.errors import JobBusy, JobMissing, JobSpoilt, JobThere, NewerJob, NoSuchInspection, NotAJob
from seamcheck.job import FILE_NAME, MIGRATIONS, Fingerprint, Job, fingerprint, new_job, open_job

ROOT = Path(__file__).parents[2]
A, B = Fingerprint("a.jpg", "a" * 64), Fingerprint("b.jpg", "b" * 64)


def document(stage: str = "dry-fit") -> dict[str, Any]:
    return {"schema_version": 1, "stage": stage, "tips": [], "joints": []}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with new_job(tmp_path / "shop") as job:
        job.keep_inspection(document(), [A])
    return tmp_path / "shop"


def test_what_is_kept_comes_back_in_order(folder: Path) -> None:
    with open_job(folder) as job:
        assert job.keep_inspection(document("bare"), [A, B]) == (2, (1,))
        job.tell("note", "oak")
        job.tell("note", "oak, 16 in")
        assert job.keep_pattern({"points": 8}) == 1
    with open_job(folder) as job:
        kept = job.inspections()
        assert [(one.number, one.stage, one.photos) for one in kept] == [(1, "dry-fit", (A,)), (2, "bare", (A, B))]
        assert kept[0].document == document()
        assert [one.number for one in job.inspections("bare")] == [2]
        assert job.told() == {"note": "oak, 16 in"}
        assert job.patterns()[0].document == {"points": 8}


def test_one_photo_measured_twice_is_kept_twice(folder: Path) -> None:
    with open_job(folder) as job:
        assert job.keep_inspection(document(), [A]) == (2, (1,))
        assert job.keep_inspection(document(), [B]) == (3, ())
        assert len(job.inspections()) == 3


def test_an_inspection_left_out_can_be_taken_in_again(folder: Path) -> None:
    with open_job(folder) as job:
        job.leave_out(1)
        assert job.inspections() == []
        assert job.inspections(left_out_too=True)[0].left_out
        job.leave_out(1, out=False)
        assert len(job.inspections()) == 1
        with pytest.raises(NoSuchInspection, match="has no inspection 7: it has 1"):
            job.leave_out(7)


def test_a_program_that_dies_while_it_writes_leaves_what_was_there(folder: Path) -> None:
    """Killed after the rows are in and before they are settled, with the journal lying beside the file."""
    dies = (
        "import os, pathlib, sys\n"
        "from seamcheck.job import open_job, Fingerprint\n"
        "with open_job(pathlib.Path(sys.argv[1])) as job, job._written():\n"
        "    job._base.execute('PRAGMA cache_spill = 1')\n"
        "    for k in range(2000):\n"
        "        job._base.execute(\"INSERT INTO inspection (kept_at, stage, document) VALUES ('', 'bare', ?)\", ('x' * 5000,))\n"
        "    os._exit(9)\n"
    )
    done = subprocess.run([sys.executable, "-c", dies, str(folder)], cwd=ROOT, check=False)
    assert done.returncode == 9
    assert (folder / f"{FILE_NAME}-journal").exists()
    with open_job(folder) as job:
        assert [one.number for one in job.inspections()] == [1]
        assert job.keep_inspection(document(), [B]) == (2, ())


def test_an_inspection_and_its_photos_are_kept_together_or_not_at_all(folder: Path) -> None:
    with open_job(folder) as job:
        with pytest.raises(JobSpoilt):
            job.keep_inspection(document(), [Fingerprint("c.jpg", None)])  # type: ignore[arg-type]
        assert [one.number for one in job.inspections()] == [1]


def test_an_older_schema_is_brought_up_to_date_and_a_newer_one_refused(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    later = (*MIGRATIONS, "ALTER TABLE inspection ADD COLUMN bench TEXT NOT NULL DEFAULT ''; CREATE TABLE bench (name TEXT)")
    monkeypatch.setattr(job_module, "MIGRATIONS", later)
    with open_job(folder) as job:
        assert [one.photos for one in job.inspections()] == [(A,)]
        assert job._base.execute("SELECT bench FROM inspection").fetchall() == [("",)]
    monkeypatch.setattr(job_module, "MIGRATIONS", MIGRATIONS)
    with pytest.raises(NewerJob, match="its version is 2, this program knows 1"), open_job(folder):
        pass


def test_a_step_that_fails_leaves_the_schema_before_it(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(job_module, "MIGRATIONS", (*MIGRATIONS, "CREATE TABLE bench (name TEXT); CREATE TABLE told (name TEXT)"))
    with pytest.raises(Exception, match="told"), open_job(folder):
        pass
    monkeypatch.setattr(job_module, "MIGRATIONS", MIGRATIONS)
    with open_job(folder) as job:
        assert len(job.inspections()) == 1
        assert not job._base.execute("SELECT count(*) FROM sqlite_master WHERE name = 'bench'").fetchone()[0]


def test_two_programs_do_not_write_at_once(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(job_module, "WAIT_S", 0.05)
    with open_job(folder) as one, open_job(folder) as other, one._written(), pytest.raises(JobBusy, match="is in use by another program"):
        other.keep_inspection(document(), [B])


def test_what_is_no_job_is_refused_and_stays(tmp_path: Path, folder: Path) -> None:
    with pytest.raises(JobMissing, match="begin one by `seamcheck job"), open_job(tmp_path):
        pass
    with pytest.raises(JobThere), new_job(folder):
        pass
    (tmp_path / FILE_NAME).write_bytes(b"my own notes, nothing of yours" * 100)
    with pytest.raises(JobSpoilt), open_job(tmp_path):
        pass
    assert (tmp_path / FILE_NAME).read_bytes().startswith(b"my own notes")
    other = tmp_path / "other"
    other.mkdir()
    base = sqlite3.connect(other / FILE_NAME)
    base.execute("CREATE TABLE mine (a)")
    base.commit()
    base.close()
    before = (other / FILE_NAME).read_bytes()
    with pytest.raises(NotAJob), open_job(other):
        pass
    assert (other / FILE_NAME).read_bytes() == before


def test_a_damaged_job_is_told(folder: Path) -> None:
    path = folder / FILE_NAME
    data = bytearray(path.read_bytes())
    data[4096:] = b"\x5a" * (len(data) - 4096)  # all pages but the first
    path.write_bytes(data)

    def look() -> None:
        with open_job(folder) as job:
            assert isinstance(job, Job)
            job.inspections()
            job.told()

    with pytest.raises(JobSpoilt, match="is damaged"):
        look()


def test_a_fingerprint_is_of_the_bytes(tmp_path: Path) -> None:
    (tmp_path / "p.jpg").write_bytes(b"abc")
    # FIPS 180-2, B.1: the SHA-256 of "abc".
    assert fingerprint(tmp_path / "p.jpg") == Fingerprint("p.jpg", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad")
