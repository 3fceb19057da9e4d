"""Places round a top, as on a clock's face."""

from __future__ import annotations

from math import pi

from .language import say


def clock_of(bearing: float) -> str:
    """Where a bearing (rad, clockwise from 12) points on a clock's face, to the quarter hour: "12 o'clock", "1:30"."""
    quarters = round((bearing % (2 * pi)) / (2 * pi) * 48) % 48
    hour, minute = quarters // 4 or 12, quarters % 4 * 15
    return f"{hour}:{minute:02d}" if minute else say("{hour} o'clock", hour=hour)
