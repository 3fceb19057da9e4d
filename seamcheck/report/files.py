"""Writing files whole or not at all, and only over what is ours to replace."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterable
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path

from ..basis.errors import CantWrite, NoFolder, NotOurs, OutputIsPhoto, OutputTwice
from ..photo import shown_name

# The most of an existing file that is read to see whose it is: our largest are pictures of some tens of megabytes.
MOST_BYTES_READ = 200_000_000


@dataclass(frozen=True)
class Target:
    """A file to be written."""

    path: Path
    what: str  # "a result file", in a sentence
    is_ours: Callable[[bytes], bool]  # whether a file's bytes are such a thing, made by this program


def check_targets(targets: Iterable[Target], photo: Path | None = None) -> None:
    """Refuse, before any work is done, what could not or should not be written. Nothing is changed.

    Raises a FileError: for the photo itself, for a name given twice, for a missing folder, for a file that is
    there but isn't ours, and where writing isn't allowed.
    """
    seen: set[Path] = set()
    for target in targets:
        real, name = _real(target.path), shown_name(target.path)
        if real in seen:
            raise OutputTwice(file=name)
        seen.add(real)
        if photo is not None and _same_file(real, photo):
            raise OutputIsPhoto(file=name)
        _check_target(target, real, name)


def write_all(written: Iterable[tuple[Target, bytes]]) -> None:
    """Write every file beside its place first, and only then put all of them there.

    Raises a FileError, with every file as it was, when any can't be written.
    """
    with ExitStack() as leftovers:
        ready = []
        for target, data in written:
            real, name = _real(target.path), shown_name(target.path)
            _check_target(target, real, name)
            try:
                beside = _write_beside(real, data, leftovers)
            except OSError as error:
                raise CantWrite(file=name, why=_why(error)) from None
            ready.append((beside, real, name))
        for beside, real, name in ready:
            try:
                os.replace(beside, real)
            except OSError as error:
                raise CantWrite(file=name, why=_why(error)) from None


def _real(path: Path) -> Path:
    """Where the file really is, links followed: a link is kept, and what it points at replaced."""
    try:
        return Path(os.path.realpath(path))
    except (OSError, ValueError):
        raise CantWrite(file=shown_name(path), why="its name can't be used") from None


def _same_file(real: Path, photo: Path) -> bool:
    try:
        return os.path.samefile(real, photo)
    except (OSError, ValueError):
        return False


def _check_target(target: Target, real: Path, name: str) -> None:
    try:
        if not real.parent.is_dir():
            raise NoFolder(folder=shown_name(real.parent), file=name)
        there = real.exists()
        if there and not (real.is_file() and target.is_ours(_beginning(real))):
            raise NotOurs(file=name, what=target.what)
    except OSError as error:
        raise CantWrite(file=name, why=_why(error)) from None
    if there and not os.access(real, os.W_OK):
        raise CantWrite(file=name, why="it is write-protected")
    if not os.access(real.parent, os.W_OK | os.X_OK):
        raise CantWrite(file=name, why="the folder is write-protected")


def _beginning(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(MOST_BYTES_READ)


def _write_beside(real: Path, data: bytes, leftovers: ExitStack) -> str:
    """The name of a finished file in the same folder, with the rights that its place has or would get."""
    handle, beside = tempfile.mkstemp(prefix=".", suffix=".part", dir=real.parent)
    leftovers.callback(_remove, beside)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    os.chmod(beside, real.stat().st_mode & 0o777 if real.exists() else 0o666 & ~_umask())
    return beside


def _remove(beside: str) -> None:
    with suppress(FileNotFoundError):  # it has been put in its place
        os.remove(beside)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _why(error: OSError) -> str:
    return (error.strerror or "no reason given").lower()
