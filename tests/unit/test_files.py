"""Outputs are written whole or not at all, and only over our own."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from seamcheck.basis.errors import CantMakeFolder, CantWrite, FileError, NoFolder, NoFolderThere, NotOurs, OutputIsPhoto, OutputTwice
from seamcheck.folders import folder_for, make_folder
from seamcheck.report.files import Target, check_targets, write_all


def target(path: Path) -> Target:
    return Target(path, "a note", lambda data: data.startswith(b"ours"))


def test_a_new_file_is_written_with_the_usual_rights(tmp_path: Path) -> None:
    write_all([(target(tmp_path / "a"), b"ours 1")])
    assert (tmp_path / "a").read_bytes() == b"ours 1"
    (tmp_path / "usual").write_bytes(b"")
    assert (tmp_path / "a").stat().st_mode == (tmp_path / "usual").stat().st_mode
    assert sorted(os.listdir(tmp_path)) == ["a", "usual"]


def test_our_own_file_is_replaced_and_keeps_its_rights(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"ours 1")
    path.chmod(0o640)
    write_all([(target(path), b"ours 2")])
    assert path.read_bytes() == b"ours 2"
    assert path.stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize("data", [b"", b"not ours", b"\xff\x00"])
def test_anything_else_stays_as_it_is(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "a"
    path.write_bytes(data)
    for act in (lambda: write_all([(target(path), b"ours")]), lambda: check_targets([target(path)])):
        with pytest.raises(NotOurs, match="a is already there and is not a note of ours"):
            act()
    assert path.read_bytes() == data
    assert os.listdir(tmp_path) == ["a"]


def test_a_folder_or_a_pipe_is_not_written_to(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    for name in ("folder", "pipe"):
        with pytest.raises(NotOurs):
            check_targets([target(tmp_path / name)])


def test_a_link_is_kept_and_what_it_points_at_replaced(tmp_path: Path) -> None:
    (tmp_path / "real").write_bytes(b"ours 1")
    (tmp_path / "link").symlink_to("real")
    write_all([(target(tmp_path / "link"), b"ours 2")])
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_bytes() == b"ours 2"


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(NoFolder, match=r"There is no folder nowhere to write a in"):
        check_targets([target(tmp_path / "nowhere" / "a")])


def test_the_photo_is_never_an_output(tmp_path: Path) -> None:
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(b"ours, by bad luck")
    (tmp_path / "link").symlink_to(photo)
    os.link(photo, tmp_path / "second name")
    for name in ("photo.jpg", "link", "second name"):
        with pytest.raises(OutputIsPhoto, match="is the photo itself"):
            check_targets([target(tmp_path / name)], photo)


def test_one_file_for_two_outputs_is_refused(tmp_path: Path) -> None:
    with pytest.raises(OutputTwice):
        check_targets([target(tmp_path / "a"), target(tmp_path / "." / "a")])


def test_a_name_that_no_file_can_have(tmp_path: Path) -> None:
    for name in ("a\0b", "x" * 300):
        with pytest.raises(FileError) as refused:
            write_all([(target(tmp_path / name), b"ours")])
        assert "\n" not in str(refused.value)
    assert os.listdir(tmp_path) == []


def test_when_one_of_two_cannot_be_written_neither_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a").write_bytes(b"ours 1")

    def full_disk(handle: int) -> None:
        raise OSError(28, "No space left on device")

    written = [(target(tmp_path / "a"), b"ours 2"), (target(tmp_path / "b"), b"ours 2")]
    calls = iter([lambda handle: None, full_disk])
    monkeypatch.setattr(os, "fsync", lambda handle: next(calls)(handle))
    with pytest.raises(CantWrite, match=r"b can't be written \(no space left on device\)"):
        write_all(written)
    assert (tmp_path / "a").read_bytes() == b"ours 1"
    assert os.listdir(tmp_path) == ["a"]


def test_protection_is_asked_for_before_anything_is_done(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    with pytest.raises(CantWrite, match="write-protected"):
        check_targets([target(tmp_path / "a")])


def test_a_folder_is_made_or_a_folder_is_asked_for(tmp_path: Path) -> None:
    assert make_folder(tmp_path / "new")
    assert not make_folder(tmp_path / "new")
    (tmp_path / "mine.pdf").write_bytes(b"mine")
    with pytest.raises(NoFolderThere, match=r"^mine\.pdf is a file, and a folder is wanted there: name a folder"):
        make_folder(tmp_path / "mine.pdf")
    with pytest.raises(NoFolderThere, match=r"^mine\.pdf is a file"):
        make_folder(tmp_path / "mine.pdf" / "x")
    with pytest.raises(NoFolder, match=r"^There is no folder missing to write x in: make it first"):
        make_folder(tmp_path / "missing" / "x")
    with pytest.raises(CantMakeFolder, match=r"can't be made \(file name too long\): name one within a folder"):
        make_folder(tmp_path / ("long" * 100))
    assert (tmp_path / "mine.pdf").read_bytes() == b"mine"


def test_a_folder_for_which_nothing_came_is_taken_away(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError), folder_for(tmp_path / "new"):
        raise RuntimeError
    assert not (tmp_path / "new").exists()
    (tmp_path / "old").mkdir()
    with pytest.raises(RuntimeError), folder_for(tmp_path / "old"):
        raise RuntimeError
    assert (tmp_path / "old").is_dir()

    def half_done() -> None:
        with folder_for(tmp_path / "filled"):
            (tmp_path / "filled" / "a").write_bytes(b"kept")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        half_done()
    assert (tmp_path / "filled" / "a").read_bytes() == b"kept"
