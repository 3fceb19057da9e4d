"""Lists of names, and names as file names and cells, whatever people and programs put there."""

from __future__ import annotations

import csv
import unicodedata
from io import StringIO

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seamcheck.basis.errors import NamesUnreadable
from seamcheck.report.class_names import MOST_FILE_BYTES, MOST_NAME, Names, file_stem, names_of, photo_key, plain_name, safe_cell
from seamcheck.report.class_table import class_table, is_class_table

ANY = st.text(st.characters(exclude_categories=("Cs",)), max_size=120)
NAMES = ANY.map(lambda text: text.replace("\0", "")).filter(lambda text: plain_name(text) != "")
PHOTOS = st.text(st.characters(categories=("L", "N"), include_characters="_- ."), min_size=1, max_size=20).filter(
    lambda text: text.strip() and photo_key(text) not in ("photo", "file", "picture")
)


@given(
    st.dictionaries(PHOTOS.map(photo_key), NAMES, min_size=1, max_size=6),
    st.sampled_from(",;\t"),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
def test_what_a_spreadsheet_writes_is_read_back(listed: dict[str, str], separator: str, encoding: str) -> None:
    text = StringIO(newline="")
    writer = csv.writer(text, delimiter=separator)
    writer.writerow(["photo", "name"])
    writer.writerows(listed.items())
    names = names_of(text.getvalue().encode(encoding), "names.csv")
    for photo, name in listed.items():
        assert names.of("any folder", photo) == plain_name(name)


@given(st.binary(max_size=200))
def test_any_bytes_are_a_list_or_one_plain_sentence(data: bytes) -> None:
    refused = ""
    try:
        names = names_of(data, "names.csv")
    except NamesUnreadable as error:
        names, refused = Names({}), str(error)
    assert refused == "" or (refused.startswith("names.csv ") and "\n" not in refused)
    assert all(name and "\n" not in name for name in names.by_photo.values())


@given(ANY)
def test_a_name_is_one_line_of_letters_that_can_be_seen(told: str) -> None:
    name = plain_name(told)
    assert name == plain_name(name)
    assert len(name) <= MOST_NAME
    assert not any(unicodedata.category(letter) in ("Cc", "Zl", "Zp") for letter in name)
    assert not set(name) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")  # that turn words about


@given(st.lists(ANY, min_size=1, max_size=8))
def test_file_names_are_safe_and_no_two_alike(names: list[str]) -> None:
    taken: set[str] = set()
    stems = [file_stem(plain_name(name), taken) for name in names]
    assert len({photo_key(stem) for stem in stems}) == len(stems)
    for stem in stems:
        assert stem
        assert len(stem.encode()) <= MOST_FILE_BYTES + 8
        assert not set(stem) & set('/\\:*?"<>|\n\r\t\0.')
        assert stem[0] not in " -"
        assert stem.split()[0].casefold() not in ("con", "nul", "com1")


@given(ANY)
def test_no_cell_is_taken_for_a_formula(told: str) -> None:
    row = {"student": told, "photo": plain_name(told)}
    data = class_table([row])
    assert is_class_table(data)
    rows = list(csv.reader(StringIO(data.decode("utf-8-sig"), newline="")))
    assert len(rows) == 2
    for cell, value in ((rows[1][0], told), (rows[1][2], plain_name(told))):
        assert cell in (value, f"'{value}")
        assert not cell.lstrip().startswith(("=", "+", "-", "@"))


@pytest.mark.parametrize("told", ["=1+1", " =1+1", "+A1", "-2", "@SUM(A1)", "\t=1", "\r=1"])
def test_formulas_are_disarmed(told: str) -> None:
    assert safe_cell(told) == f"'{told}"


def test_numbers_stay_numbers() -> None:
    assert safe_cell(-0.5) == -0.5


def test_photos_are_found_with_their_folder_or_without_their_ending() -> None:
    names = names_of("week 1/a.jpg,Ann\nb,Bea\nCAFÉ.JPG,Cay\n".encode(), "n.csv")
    assert names.of("week 1", "a.jpg") == "Ann"
    assert names.of("week 2", "a.jpg") is None
    assert names.of("x", "B.png") == "Bea"
    assert names.of("x", unicodedata.normalize("NFD", "café.jpg")) == "Cay"


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("a.jpg", "line 1 has no photo or no name"),
        ("photo,name\na.jpg,", "line 2 has no photo or no name"),
        ("a.jpg,Ann\nA.JPG,Bea", "A.JPG stands there twice, with two names"),
        ("a.jpg,x\n" * 2001, "more than 2000 lines"),
    ],
)
def test_what_is_no_list_is_refused(text: str, why: str) -> None:
    with pytest.raises(NamesUnreadable, match=why):
        names_of(text.encode(), "names.csv")


def test_older_spreadsheets_are_read() -> None:
    assert names_of("a.jpg;Zoë\r\n".encode("cp1252"), "n.csv").of("x", "a.jpg") == "Zoë"
