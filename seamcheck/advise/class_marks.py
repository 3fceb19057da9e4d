"""What a class is held to: the marks that a teacher sets in one small file, and what they are where nothing is set."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass

from ..basis.errors import BadLength, BadMark, MarksUnreadable, UnknownMark
from ..basis.language import say, to_say
from ..basis.units import parse_length

MOST_LENGTH_IN = 1 / 2  # a larger mark would pass anything: a slip of the unit or the keyboard
MOST_DEG = 10.0


@dataclass(frozen=True)
class Marks:
    """Each the most that is still well. Inches and degrees. Common practice, no source, where nothing else is said."""

    point_off: float = 1 / 64  # of a point from its field seam: what a careful maker accepts
    gap: float = 0.010  # at a joint's widest: beyond it a joint wants filling
    overlap: float = 0.004  # of one lobe over the next: a sheet of printer paper
    own_seam_off: float = 1 / 64  # of a lobe's own seam from its point: as for the point
    root_angle: float = 0.5  # degrees, of a lobe from its ring's middle: .007 in at the shoulder of a 13/16 in short edge
    root_angles_sum: float = 1.0  # degrees, of the first ring from a full turn: .014 in at such a shoulder, about one joint's worth
    length: float = 1 / 32  # of a loose lobe from its ring's middle: seen by everyone
    reach: float = 1 / 32  # of a point's distance from the centre, from its ring's middle: as for the length
    most: float = 0.75  # share of points, joints and so on that is called most of them


DEGREES = ("root_angle", "root_angles_sum")
KEYS = tuple(Marks.__dataclass_fields__)


def marks_of(data: bytes, file: str) -> Marks:
    """The marks that a file's bytes (TOML) set; the rest stay as they are. Raises a SeamcheckError with a plain sentence.

    file: what it is called in that.
    """
    try:
        told = tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise MarksUnreadable(file=file, why=say("it is no text")) from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise MarksUnreadable(file=file, why=str(error)[:80].lower()) from None
    for key in told:
        if key not in KEYS:
            raise UnknownMark(file=file, key=repr(key[:40]), known=", ".join(KEYS))
    return Marks(**{key: _value(key, value, file) for key, value in told.items()})


def _value(key: str, value: object, file: str) -> float:
    if key == "most":
        return _checked(key, value, file, _number, 0.5, 1.0, to_say("a share from 0.5 to 1"))
    if key in DEGREES:
        return _checked(key, value, file, _number, 0.01, MOST_DEG, to_say("degrees from 0.01 to 10"))
    return _checked(key, value, file, _length, 0.0001, MOST_LENGTH_IN, to_say('a length up to half an inch, as "1/64", 0.010 or "0.4mm"'))


def _checked(key: str, value: object, file: str, read: Callable[[object], float], least: float, most: float, wanted: str) -> float:
    try:
        number = read(value)
    except (BadLength, ValueError):
        number = float("nan")
    if not least <= number <= most:
        raise BadMark(file=file, key=key, value=repr(value)[:40], wanted=say(wanted))
    return number


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError
    return float(value)


def _length(value: object) -> float:
    return parse_length(value if isinstance(value, str) else f"{_number(value):.12f}")
