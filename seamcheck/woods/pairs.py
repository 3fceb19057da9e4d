"""Which woods stand apart as dark and light, and both from the field: by colour, by lightness, by their figure and to colour-blind eyes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import combinations

import numpy as np

from ..basis.frames import Array
from ..basis.uncertain import Estimate
from .colour import DEFICIENCIES, contrast, difference, lab_of, luminance, seen_by
from .samples import Sample
from .white import PAPER_REFLECTANCE, U_PAPER

# WCAG 2.2, success criterion 1.4.11: what two parts of a drawing need to be told apart (the number is from memory).
CLEAR = 3.0
# Half of that, on the ratio's own scale (common practice, no source): to be seen by those who look.
FAIR = 1.5
# Above this difference most eyes call two colours two (Mahy and others 1994, of CIE 1976 differences, as quoted elsewhere).
TWO_COLOURS = 5.0
# Phones bend the tones of a picture: the power of the light that it shows is uncertain by so much (common practice, no source).
U_TONE = 0.08
# ... and their colours are off by so much from wood to wood, as a share of red and blue beside green (common practice, no source).
U_HUE = 0.03
# A wood's palest and darkest tenth are what eats a line.
TENTH = 0.10


class Grade(Enum):
    """How well two woods stand apart; the best first."""

    CLEAR = "clear"
    FAIR = "fair"
    FAINT = "faint"
    LOST = "lost"


GRADES = (Grade.CLEAR, Grade.FAIR, Grade.FAINT, Grade.LOST)


@dataclass(frozen=True)
class Apart:
    """Two woods beside each other."""

    first: Sample
    second: Sample
    colours: Estimate  # CIEDE2000
    ratio: Estimate  # of light, 1 to 21
    lightness: Estimate  # L* of the lighter less that of the darker
    figure: float  # L* of the lighter's darkest tenth less that of the darker's palest tenth: below 0 they overlap
    blind: dict[str, float]  # CIEDE2000 as colour-blind eyes see them, by deficiency
    grade: Grade
    sure: bool  # whether the grade holds over the whole interval of 95 in 100

    @property
    def least_blind(self) -> tuple[str, float]:
        return min(self.blind.items(), key=lambda one: one[1])


@dataclass(frozen=True)
class Pair:
    """A dark and a light wood on a field."""

    between: Apart  # the first is the darker
    on_field: tuple[Apart, Apart] | None  # darker, lighter; None without a field

    @property
    def worst(self) -> Grade:
        return max((one.grade for one in self.all), key=GRADES.index)

    @property
    def all(self) -> tuple[Apart, ...]:
        return (self.between, *(self.on_field or ()))

    @property
    def rank(self) -> tuple[int, float]:
        """Smaller is better: the worst of the three first, then how little light parts them (beyond CLEAR more light adds nothing).

        The line within each lobe, which makes a rose, counts double (taste, no source).
        """
        parted = [float(np.log(min(one.ratio.value, CLEAR))) for one in self.all]
        return GRADES.index(self.worst), -(parted[0] + sum(parted))


def lightness_of(cells: Array, share: float) -> float:
    """L* that so large a share of a wood's cells lies under."""
    return float(np.quantile(lab_of(cells)[:, 0], share))


def apart(first: Sample, second: Sample) -> Apart:
    """How two samples differ, with what the photo's tones, paper and light leave open."""
    one, other = first.colour, second.colour

    def number(of: Callable[[Array, Array], float]) -> Estimate:
        value = of(one, other)
        parts = {
            "tone": _change(of, value, lambda rgb: rgb ** (1 + U_TONE), one, other),
            "paper": _change(of, value, lambda rgb: rgb * (1 + U_PAPER / PAPER_REFLECTANCE), one, other),
            "light": float(np.hypot(of(one * np.exp(first.u_log), other) - value, of(one, other * np.exp(second.u_log)) - value)),
            "hue": float(np.linalg.norm([of(one * hue, other) - value for hue in _hues()])),
        }
        return Estimate(value, parts)

    light = luminance(np.stack([one, other]))
    darker, lighter = (first, second) if light[0] < light[1] else (second, first)
    colours, ratio = number(difference), number(contrast)
    lightness = number(lambda a, b: abs(float(lab_of(a)[0] - lab_of(b)[0])))
    figure = lightness_of(lighter.cells, TENTH) - lightness_of(darker.cells, 1 - TENTH)
    blind = {name: difference(seen_by(one, name), seen_by(other, name)) for name in DEFICIENCIES}
    grade = _grade(ratio.value, colours.value, figure)
    ends = {_grade(ratio.value + sign * ratio.u95, colours.value + sign * colours.u95, figure) for sign in (-1, 1)}
    return Apart(first, second, colours, ratio, lightness, figure, blind, grade, ends == {grade})


def _hues() -> tuple[Array, Array]:
    return np.array([1 + U_HUE, 1.0, 1.0]), np.array([1.0, 1.0, 1 + U_HUE])


def _change(of: Callable[[Array, Array], float], value: float, moved: Callable[[Array], Array], one: Array, other: Array) -> float:
    return abs(of(moved(one), moved(other)) - value)


def _grade(ratio: float, colours: float, figure: float) -> Grade:
    """By light first, since a line is seen by light; figure that overlaps takes a grade off."""
    if colours <= TWO_COLOURS and ratio < FAIR:
        return Grade.LOST
    grade = Grade.CLEAR if ratio >= CLEAR else Grade.FAIR if ratio >= FAIR else Grade.FAINT
    return GRADES[min(GRADES.index(grade) + (figure < 0 and grade is not Grade.FAINT), 2)]


def pairs_of(woods: Sequence[Sample], field: Sample | None) -> list[Pair]:
    """Every two woods on the field, the best first."""
    pairs = []
    for first, second in combinations(woods, 2):
        darker, lighter = sorted((first, second), key=lambda wood: float(luminance(wood.colour)))
        on_field = None if field is None else (apart(darker, field), apart(lighter, field))
        pairs.append(Pair(apart(darker, lighter), on_field))
    return sorted(pairs, key=lambda pair: pair.rank)
