"""Lengths, angles and paragraphs as they are put on a pattern and in the terminal."""

from __future__ import annotations

from math import degrees

from ..basis.language import say
from ..basis.units import lengths
from ..sheet import text_width_in
from .drawing import TEXT_IN, Drawing

LINE_SPACE = 1.45  # of the type's size


def length_words(inches: float) -> str:
    """To the 64th and to the ten-thousandth: 2 1/2 in (2.4926)."""
    return lengths().exact(inches)


def rule_words(inches: float) -> str:
    """To the 64th, where no more is known: 17/64 in."""
    return lengths().rule(inches)


def angle_words(angle: float) -> str:
    """Degrees, of radians."""
    return say("{angle} degrees", angle=f"{degrees(angle):.2f}")


def wrapped(text: str, width_in: float, size_in: float = TEXT_IN) -> list[str]:
    """A paragraph as lines no wider than that."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and text_width_in(longer, size_in) > width_in:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


class Column:
    """Lines of text one below the other in a drawing."""

    def __init__(self, drawing: Drawing, left_in: float, top_in: float, width_in: float, size_in: float = TEXT_IN) -> None:
        self.drawing, self.left_in, self.y, self.width_in, self.size_in = drawing, left_in, top_in, width_in, size_in

    def paragraph(self, text: str) -> None:
        for line in wrapped(text, self.width_in, self.size_in):
            self.y -= LINE_SPACE * self.size_in
            self.drawing.words(line, (self.left_in, self.y), self.size_in)

    def heading(self, text: str) -> None:
        self.skip(0.6)
        self.y -= LINE_SPACE * 1.25 * self.size_in
        self.drawing.words(text, (self.left_in, self.y), 1.25 * self.size_in)
        self.skip(0.25)

    def row(self, cells: list[tuple[float, str]]) -> None:
        """Cells at places from the column's left, on one line."""
        self.y -= LINE_SPACE * self.size_in
        for at, text in cells:
            self.drawing.words(text, (self.left_in + at, self.y), self.size_in)

    def skip(self, lines: float = 0.5) -> None:
        self.y -= lines * LINE_SPACE * self.size_in
