"""Folders for what is written: made where they're missing, and taken away again where nothing came of the work."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from .basis.errors import CantMakeFolder, NoFolder, NoFolderThere
from .photo import shown_name


def make_folder(folder: Path) -> bool:
    """Make a folder where it's missing; the one it lies in must be there. Whether it was made now. Raises a FileError."""
    name, above = shown_name(folder), shown_name(folder.parent)
    try:
        folder.mkdir()
    except FileExistsError:
        if folder.is_dir():
            return False
        raise NoFolderThere(file=name) from None
    except FileNotFoundError:
        raise NoFolder(folder=above, file=name) from None
    except NotADirectoryError:
        raise NoFolderThere(file=above) from None
    except OSError as error:
        raise CantMakeFolder(folder=name, why=(error.strerror or "no reason given").lower()) from None
    except ValueError:  # a zero byte
        raise CantMakeFolder(folder=name, why="its name can't be used") from None
    return True


@contextmanager
def folder_for(folder: Path) -> Iterator[None]:
    """A folder while something is made for it: one that was missing is taken away again where nothing came of it."""
    made = make_folder(folder)
    try:
        yield
    except BaseException:
        if made:
            with suppress(OSError):  # what lies in it already is kept
                folder.rmdir()
        raise
