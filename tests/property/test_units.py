"""What holds of every length."""

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from seamcheck.basis.errors import BadLength
from seamcheck.basis.units import fraction_words, parse_length

lengths = st.floats(min_value=-500, max_value=500)
denominators = st.sampled_from([2, 4, 8, 16, 32, 64, 128])


def value_of(words: str) -> Fraction:
    return sum((Fraction(part) for part in words.split()), Fraction(0))


@given(lengths, denominators)
def test_the_fraction_is_the_nearest_one(inches: float, denominator: int) -> None:
    assert abs(value_of(fraction_words(inches, denominator)) - abs(Fraction(inches))) <= Fraction(1, 2 * denominator)


@given(lengths, denominators)
def test_the_fraction_is_written_as_on_a_rule(inches: float, denominator: int) -> None:
    words = fraction_words(inches, denominator)
    assert "-" not in words
    *whole, last = words.split()
    assert all(part != "0" for part in whole)
    if "/" in last:
        top, bottom = map(int, last.split("/"))
        assert 0 < top < bottom <= denominator
        assert Fraction(top, bottom).denominator == bottom  # lowest terms


@given(st.integers(0, 40), st.integers(1, 63))
def test_a_written_fraction_reads_as_itself(whole: int, top: int) -> None:
    inches = whole + top / 64
    assert parse_length(fraction_words(inches)) == inches


@given(st.decimals(min_value="0.0001", max_value="1000", places=4))
def test_millimetres_are_25_4_to_the_inch(value: object) -> None:
    assert abs(parse_length(f"{value}mm") * 25.4 - float(str(value))) < 1e-12 * float(str(value))


@given(st.text(max_size=12))
def test_any_text_is_a_length_above_zero_or_refused(text: str) -> None:
    try:
        value = parse_length(text)
    except BadLength:
        return
    assert 0 < value < float("inf")
