"""Who took which photo: a teacher's list of names, and names as file names and as cells of a table that nothing can misread."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from io import StringIO
from pathlib import PurePosixPath
from unicodedata import bidirectional, category, normalize

from ..basis.errors import NamesUnreadable
from ..basis.language import say

MOST_NAME = 80  # letters
MOST_ROWS = 2000
MOST_FILE_BYTES = 100  # of a file's name, before its ending and number: file systems end at 255
SEPARATORS = ",;\t"
HEADS = ("photo", "file", "picture")  # what a first row that names no photo begins with
JOINERS = "\u200c\u200d"  # that some scripts are written with: all other invisible letters are left out
# Names that Windows keeps for itself, with any ending (Microsoft, "Naming Files, Paths, and Namespaces"; from memory).
KEPT = {"con", "prn", "aux", "nul", *(f"{port}{k}" for port in ("com", "lpt") for k in range(10))}
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "|", "%")  # what a spreadsheet may take for a formula


@dataclass(frozen=True)
class Names:
    """A list of names, by photo."""

    by_photo: Mapping[str, str]

    def of(self, folder: str, photo: str) -> str | None:
        """The name in the list for a photo (`IMG_1.jpg`, or `week 1/IMG_1.jpg`, with or without its ending), or None."""
        stem = PurePosixPath(photo).stem
        for told in (f"{folder}/{photo}", f"{folder}/{stem}", photo, stem):
            if (found := self.by_photo.get(photo_key(told))) is not None:
                return found
        return None


def photo_key(told: str) -> str:
    """A photo's name as it is looked up: letters composed (some systems take them apart), large and small alike."""
    return normalize("NFC", told.strip().replace("\\", "/")).casefold()


def names_of(data: bytes, file: str) -> Names:
    """From a CSV file's bytes: photo, name; a heading is passed over. Raises NamesUnreadable; file: what it is called in that."""
    text = _text(data, file)
    first = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(SEPARATORS, key=lambda one: (first.count(one), -SEPARATORS.index(one)))
    try:
        rows = [row for row in csv.reader(StringIO(text, newline=""), delimiter=separator) if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise NamesUnreadable(file=file, why=str(error)) from None
    if len(rows) > MOST_ROWS:
        raise NamesUnreadable(file=file, why=say("it has more than {most} lines", most=MOST_ROWS))
    found: dict[str, str] = {}
    for number, row in enumerate(rows):
        if number == 0 and photo_key(row[0]) in HEADS:
            continue
        name = plain_name(row[1]) if len(row) > 1 else ""
        if not name or not row[0].strip():
            raise NamesUnreadable(file=file, why=say("line {number} has no photo or no name", number=number + 1))
        key = photo_key(row[0])
        if found.setdefault(key, name) != name:
            raise NamesUnreadable(file=file, why=say("{photo} stands there twice, with two names", photo=plain_name(row[0])))
    return Names(found)


def _text(data: bytes, file: str) -> str:
    """UTF-8; UTF-16 with its mark; otherwise as older Windows spreadsheets write (cp1252)."""
    for encoding in ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise NamesUnreadable(file=file, why=say("it is no text"))


def plain_name(told: str) -> str:
    """A name in one line, without what can't be seen or would turn other words about; cut short where it is endless."""
    spaced = "".join(" " if letter.isspace() else letter for letter in told)
    kept = "".join(letter for letter in spaced if letter in JOINERS or not category(letter).startswith("C"))
    return normalize("NFC", " ".join(kept.split()))[:MOST_NAME].strip()


def file_stem(name: str, taken: set[str]) -> str:
    """A file's name (without ending) that every file system takes, unlike those taken before, and is added to them."""
    kept = "".join(letter if category(letter)[0] in "LMN" or letter in " -_()" else "-" for letter in name)
    stem = kept.encode()[:MOST_FILE_BYTES].decode(errors="ignore").strip(" -") or "student"
    if stem.casefold() in KEPT:
        stem = f"{stem}-"
    number, tried = 1, stem
    while photo_key(tried) in taken:
        number += 1
        tried = f"{stem} {number}"
    taken.add(photo_key(tried))
    return tried


def safe_cell(value: object) -> object:
    """A table's cell that no spreadsheet takes for a formula: words that look like one get an apostrophe before them."""
    if isinstance(value, str) and value.lstrip().startswith(FORMULA_STARTS):
        return f"'{value}"
    return value


def runs_leftward(name: str) -> bool:
    """Whether it has letters that are written from right to left."""
    return any(bidirectional(letter) in ("R", "AL") for letter in name)
