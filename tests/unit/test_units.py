"""Lengths as they're written, and fractions as they're said."""

import pytest

from seamcheck.basis.errors import BadLength
from seamcheck.basis.units import fraction_words, parse_length


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("0.0238", 0.0238),
        (".010", 0.010),
        ("3.", 3.0),
        ("1/42", 1 / 42),
        ("2 1/2", 2.5),
        ("2-1/2", 2.5),
        ("10", 10.0),
        ("0.6mm", 0.6 / 25.4),
        ("0.6 MM", 0.6 / 25.4),
        ("1/64 in", 1 / 64),
        ('1/64"', 1 / 64),
        (" 6 inches ", 6.0),
        ("254mm", 10.0),
    ],
)
def test_a_length_is_read(text: str, inches: float) -> None:
    assert parse_length(text) == pytest.approx(inches, rel=1e-15)


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "abc",
        "0",
        "0.0",
        "0/64",
        "1/0",
        "-1",
        "-1/64",
        "+1",
        "nan",
        "inf",
        "infinity",
        "1e-3",
        "1/2/3",
        "1 2",
        "1,5",
        "1/64 ft",
        "0x1",
        "٣",
        "1_0",
    ],
)
def test_what_is_no_length_is_refused_in_a_sentence(text: str) -> None:
    with pytest.raises(BadLength, match=r"is not a length above zero: write inches as"):
        parse_length(text)


def test_a_length_too_long_for_a_number_is_refused() -> None:
    with pytest.raises(BadLength):
        parse_length("9" * 400)
    with pytest.raises(BadLength):
        parse_length("1/" + "9" * 5000)


@pytest.mark.parametrize(
    ("inches", "denominator", "words"),
    [
        (0, 64, "0"),
        (1 / 128, 128, "1/128"),
        (3 / 64, 64, "3/64"),
        (1 / 64, 128, "1/64"),
        (0.5, 64, "1/2"),
        (2.5, 64, "2 1/2"),
        (-0.047, 64, "3/64"),
        (-0.5, 64, "1/2"),
    ],
)
def test_fractions_are_in_lowest_terms_and_bear_no_sign(inches: float, denominator: int, words: str) -> None:
    assert fraction_words(inches, denominator) == words
