"""Inches and fractions against outside values."""

import pytest

from seamcheck.basis.units import fraction_words, parse_length


def test_the_inch_is_25_4_millimetres() -> None:
    # The international yard and pound agreement of 1959; not the survey inch, 25.4000508 mm.
    assert parse_length("25.4mm") == 1.0
    assert parse_length("254mm") == 10.0


@pytest.mark.parametrize(
    ("text", "decimal"), [("1/64", 0.015625), ("3/64", 0.046875), ("11/16", 0.6875), ("57/64", 0.890625), ("1/128", 0.0078125)]
)
def test_decimal_equivalents(text: str, decimal: float) -> None:
    # Arithmetic: the table of decimal equivalents that hangs in every shop.
    assert parse_length(text) == decimal
    assert fraction_words(decimal, 128) == text


@pytest.mark.parametrize(("inches", "words"), [(2.2822, "2 9/32"), (0.5303, "17/32"), (0.999, "1"), (-0.003, "0")])
def test_rounding_to_a_64th(inches: float, words: str) -> None:
    # Arithmetic: 2.2822 is 146.06 64ths, .5303 is 33.94, .999 is 63.94, .003 is .19.
    assert fraction_words(inches) == words
