"""Lengths as they're written, and fractions as they're said."""

import pytest

from seamcheck.basis.errors import BadLength
from seamcheck.basis.units import INCHES, Lengths, Units, fraction_words, lengths, parse_length, spoken


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


MILLIMETRES = Lengths(Units.MM)


@pytest.mark.parametrize(
    ("inches", "in_inches", "in_millimetres"),
    [
        (0.0466, "3/64 in", "1.2 mm"),
        (-0.0466, "3/64 in", "1.2 mm"),
        (0.001, "under 1/128 in", "under 0.05 mm"),
        (0.0, "under 1/128 in", "under 0.05 mm"),
        (0.0030, "under 1/128 in", "0.1 mm"),
        (2.5, "2 1/2 in", "63.5 mm"),
        (16.0, "16 in", "406.4 mm"),
    ],
)
def test_a_length_is_said_as_a_rule_of_either_kind_shows_it(inches: float, in_inches: str, in_millimetres: str) -> None:
    assert INCHES.words(inches) == in_inches
    assert MILLIMETRES.words(inches) == in_millimetres


@pytest.mark.parametrize(
    ("inches", "in_inches", "in_millimetres"),
    [(1 / 64, "1/64 in", "0.397 mm"), (0.010, ".010 in", "0.254 mm"), (0.4 / 25.4, ".0157 in", "0.4 mm"), (0.5, "1/2 in", "12.7 mm")],
)
def test_a_tolerance_is_said_as_exactly_as_it_is_judged_by(inches: float, in_inches: str, in_millimetres: str) -> None:
    assert INCHES.limit(inches) == in_inches
    assert MILLIMETRES.limit(inches) == in_millimetres


@pytest.mark.parametrize("said", [INCHES, MILLIMETRES], ids=str)
@pytest.mark.parametrize("places", [3, 4])
def test_no_uncertainty_is_said_smaller_than_it_is(said: Lengths, places: int) -> None:
    per = 25.4 if said.metric else 1.0
    for k in range(1, 400):
        inches = k * 0.000137
        shown = float(said.upward(inches, places)) / per
        step = 10 ** -(places - said.metric) / per
        assert inches - 1e-6 * step <= shown < inches + step


def test_an_option_reads_back_as_itself_in_either_kind() -> None:
    for units in Units:
        with spoken(units) as said:
            assert lengths() is said
            for inches in (2.5, 13 / 16, 0.7113, 1 / 3):
                assert parse_length(said.option(inches)) == pytest.approx(inches, abs=2e-5)


def test_a_bare_number_is_of_the_kind_that_is_spoken_and_a_fraction_always_of_an_inch() -> None:
    with spoken(Units.MM):
        assert parse_length("76.2") == pytest.approx(3.0)
        assert parse_length("3 in") == 3.0
        assert parse_length("1/64") == 1 / 64
        assert parse_length("2-1/2") == 2.5
    assert parse_length("76.2") == 76.2


def test_areas_and_designed_lengths() -> None:
    assert INCHES.area(12.0) == "12.0 square inches"
    assert MILLIMETRES.area(1.0, 2) == "6.45 square centimetres"
    assert INCHES.exact(2.4926) == "2 1/2 in (2.4926)"
    assert MILLIMETRES.exact(2.4926) == "63.31 mm"
    assert INCHES.pair(36, 5) == "36 by 5 in"
    assert MILLIMETRES.pair(36, 5) == "914.4 by 127.0 mm"
