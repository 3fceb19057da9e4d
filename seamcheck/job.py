"""A job's folder: one SQLite file with a note on the top, the patterns, and every inspection with its photos' fingerprints.

Why a database and not files beside each other: an inspection and its fingerprints are kept together or not at all, even where the machine
loses power in between (SQLite's rollback journal, synchronous to the disk); two programs can't write over each other; the schema has a
number of its own and is brought up to date in one transaction.
Nothing that was kept is ever changed or merged: a photo measured again is another inspection, and one that should not count is left out,
not deleted. Photos stay where they are; their SHA-256 says which they were.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from .basis.errors import CantWrite, JobBusy, JobMissing, JobSpoilt, JobThere, NewerJob, NoSuchInspection, NotAJob
from .folders import folder_for
from .photo import read_bytes, shown_name

FILE_NAME = "seamcheck-job.sqlite"
APPLICATION_ID = 0x5EA3C4EC  # in the file's header, to know it as ours
WAIT_S = 10  # for another program that has the file in hand

# Each brings a file from the schema before it to its own; the first begins with an empty file. What stands here is never changed: add one.
MIGRATIONS = (
    """
    CREATE TABLE told (name TEXT PRIMARY KEY, value TEXT NOT NULL);
    CREATE TABLE inspection (
        number INTEGER PRIMARY KEY, kept_at TEXT NOT NULL, stage TEXT NOT NULL, document TEXT NOT NULL, left_out INTEGER NOT NULL DEFAULT 0
    );
    CREATE TABLE photo (
        inspection INTEGER NOT NULL REFERENCES inspection, place INTEGER NOT NULL, name TEXT NOT NULL, sha256 TEXT NOT NULL,
        PRIMARY KEY (inspection, place)
    );
    CREATE INDEX photo_by_fingerprint ON photo (sha256);
    CREATE TABLE pattern (number INTEGER PRIMARY KEY, kept_at TEXT NOT NULL, document TEXT NOT NULL);
    """,
)


@dataclass(frozen=True)
class Fingerprint:
    """A photo file: its name, and the SHA-256 of its bytes in hexadecimal."""

    name: str
    sha256: str


@dataclass(frozen=True)
class Kept:
    """One inspection of the job."""

    number: int  # 1, 2, ... as they were added
    kept_at: str  # UTC, ISO 8601
    stage: str
    photos: tuple[Fingerprint, ...]
    document: dict[str, Any]  # the result file's
    left_out: bool


@dataclass(frozen=True)
class Pattern:
    """One rose that was drawn for the job."""

    number: int
    kept_at: str
    document: dict[str, Any]


def fingerprint(path: Path) -> Fingerprint:
    """Of a photo file as it is now."""
    return Fingerprint(shown_name(path), sha256(read_bytes(path)).hexdigest())


def is_job(folder: Path) -> bool:
    """Whether a job's file lies in this folder."""
    return (folder / FILE_NAME).is_file()


class Job:
    """An open job. Use `open_job` or `new_job`, and `with`."""

    def __init__(self, base: sqlite3.Connection, name: str) -> None:
        self._base, self.name = base, name

    def keep_inspection(self, document: Mapping[str, Any], photos: Sequence[Fingerprint]) -> tuple[int, tuple[int, ...]]:
        """Keep one; its number, and the numbers of those that are already there of one of these photos. Whole or not at all."""
        with self._written():
            asked = ",".join("?" * len(photos))
            rows = self._base.execute(
                f"SELECT DISTINCT inspection FROM photo WHERE sha256 IN ({asked}) ORDER BY 1", [one.sha256 for one in photos]
            ).fetchall()
            number = self._base.execute(
                "INSERT INTO inspection (kept_at, stage, document) VALUES (?, ?, ?)",
                (_now(), str(document["stage"]), json.dumps(document, ensure_ascii=False, allow_nan=False)),
            ).lastrowid
            assert number is not None
            self._base.executemany(
                "INSERT INTO photo VALUES (?, ?, ?, ?)", [(number, place, one.name, one.sha256) for place, one in enumerate(photos)]
            )
        return number, tuple(row[0] for row in rows)

    def inspections(self, stage: str | None = None, left_out_too: bool = False) -> list[Kept]:
        """Those that count, in the order in which they were added."""
        with _told(self.name):
            photos: dict[int, list[Fingerprint]] = {}
            for number, name, digest in self._base.execute("SELECT inspection, name, sha256 FROM photo ORDER BY inspection, place"):
                photos.setdefault(number, []).append(Fingerprint(name, digest))
            rows = self._base.execute("SELECT number, kept_at, stage, document, left_out FROM inspection ORDER BY number").fetchall()
            kept = [
                Kept(number, at, its_stage, tuple(photos.get(number, ())), json.loads(document), bool(out))
                for number, at, its_stage, document, out in rows
            ]
        return [one for one in kept if (stage is None or one.stage == stage) and (left_out_too or not one.left_out)]

    def inspection(self, number: int) -> Kept:
        """One by its number, left out or not. Raises NoSuchInspection."""
        every = self.inspections(left_out_too=True)
        for one in every:
            if one.number == number:
                return one
        raise NoSuchInspection(job=self.name, number=number, count=len(every))

    def leave_out(self, number: int, out: bool = True) -> None:
        """Whether an inspection is left out of what is compared and drawn. Raises NoSuchInspection."""
        self.inspection(number)
        with self._written():
            self._base.execute("UPDATE inspection SET left_out = ? WHERE number = ?", (int(out), number))

    def keep_pattern(self, document: Mapping[str, Any]) -> int:
        """Keep a rose that was drawn; its number."""
        with self._written():
            number = self._base.execute(
                "INSERT INTO pattern (kept_at, document) VALUES (?, ?)", (_now(), json.dumps(document, ensure_ascii=False, allow_nan=False))
            ).lastrowid
        assert number is not None
        return number

    def patterns(self) -> list[Pattern]:
        """In the order in which they were added."""
        with _told(self.name):
            rows = self._base.execute("SELECT number, kept_at, document FROM pattern ORDER BY number").fetchall()
            return [Pattern(number, at, json.loads(document)) for number, at, document in rows]

    def tell(self, name: str, value: str) -> None:
        """Keep a word about the job, in the place of what stood there."""
        with self._written():
            self._base.execute("INSERT INTO told VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value", (name, value))

    def told(self) -> dict[str, str]:
        with _told(self.name):
            return dict(self._base.execute("SELECT name, value FROM told ORDER BY name").fetchall())

    @contextmanager
    def _written(self) -> Iterator[None]:
        with _told(self.name), _transaction(self._base):
            yield


@contextmanager
def new_job(folder: Path) -> Iterator[Job]:
    """Begin a job in a folder, which is made where it's missing. Raises JobThere where one lies there already."""
    name = shown_name(folder)
    if is_job(folder):
        raise JobThere(folder=name)
    with folder_for(folder), _opened(folder, name, begin=True) as job:
        yield job


@contextmanager
def open_job(folder: Path) -> Iterator[Job]:
    """Open the job in a folder, its schema brought up to date. Raises JobMissing, NotAJob, NewerJob, JobBusy or JobSpoilt."""
    name = shown_name(folder)
    if not is_job(folder):
        raise JobMissing(folder=name)
    with _opened(folder, name, begin=False) as job:
        yield job


@contextmanager
def _opened(folder: Path, name: str, begin: bool) -> Iterator[Job]:
    path = folder / FILE_NAME
    with _told(name):
        writable = begin or (os.access(path, os.W_OK) and os.access(folder, os.W_OK))
        where = f"{path.resolve().as_uri()}?mode={'rwc' if begin else 'rw' if writable else 'ro'}"
        base = sqlite3.connect(where, uri=True, timeout=WAIT_S, isolation_level=None)
    try:
        with _told(name):
            base.execute("PRAGMA foreign_keys = ON")
            base.execute("PRAGMA synchronous = FULL")
            _bring_up_to_date(base, name)
        yield Job(base, name)
    finally:
        base.close()


def _bring_up_to_date(base: sqlite3.Connection, name: str) -> None:
    (mark,) = base.execute("PRAGMA application_id").fetchone()
    (version,) = base.execute("PRAGMA user_version").fetchone()
    empty = not base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if mark != _signed(APPLICATION_ID) and not (empty and not version):
        raise NotAJob(folder=name, file=FILE_NAME)
    if version > len(MIGRATIONS):
        raise NewerJob(folder=name, version=version, known=len(MIGRATIONS))
    if version == len(MIGRATIONS):
        return
    with _transaction(base):  # every step or none
        (version,) = base.execute("PRAGMA user_version").fetchone()  # another program may have done it meanwhile
        for number, step in enumerate(MIGRATIONS[version:], version + 1):
            for statement in step.split(";"):
                if statement.strip():
                    base.execute(statement)
            base.execute(f"PRAGMA user_version = {number}")
        base.execute(f"PRAGMA application_id = {_signed(APPLICATION_ID)}")


@contextmanager
def _transaction(base: sqlite3.Connection) -> Iterator[None]:
    base.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        base.execute("ROLLBACK")
        raise
    base.execute("COMMIT")


@contextmanager
def _told(name: str) -> Iterator[None]:
    """What SQLite says, as a sentence."""
    try:
        yield
    except sqlite3.OperationalError as error:
        words = str(error)
        if "locked" in words:
            raise JobBusy(folder=name) from None
        raise CantWrite(file=f"{name}/{FILE_NAME}", why=words) from None
    except (sqlite3.DatabaseError, json.JSONDecodeError):
        raise JobSpoilt(folder=name, file=FILE_NAME) from None


def _signed(number: int) -> int:
    """As SQLite keeps it, in 32 bits."""
    return number - (1 << 32) if number >= 1 << 31 else number


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
