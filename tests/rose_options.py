"""A rose by its options, read apart from the command line's own reader."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Sequence
from math import radians

from seamcheck.basis.units import parse_length
from seamcheck.design.draw_up import draw_up
from seamcheck.design.rose import Rose
from seamcheck.design.wish import Top, Wish


def rose_named(words: Sequence[str]) -> Rose:
    """Of all words of a command line those that say something of the rose, drawn up."""
    reader = ArgumentParser(allow_abbrev=False)
    reader.add_argument("--points", type=int, default=8)
    reader.add_argument("--rings", type=int)
    for name in ("--reach", "--short-edge"):
        reader.add_argument(name, type=parse_length, action="append", default=[])
    reader.add_argument("--root-angle", type=lambda text: radians(float(text)), action="append", default=[])
    for name in ("--strip", "--top", "--band"):
        reader.add_argument(name, type=parse_length)
    told, _ = reader.parse_known_args(list(words))
    top = Top(told.top, told.band or 0.0) if told.top else None
    return draw_up(Wish(told.points, tuple(told.reach), told.rings, tuple(told.short_edge), tuple(told.root_angle), told.strip, top))
