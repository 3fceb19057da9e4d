"""Result files of loose lobes and of a bare top read back, as far as sorting and ordering lobes needs them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import radians
from pathlib import Path
from string import ascii_uppercase
from typing import Any

import numpy as np

from ..advise.lobe_order import Place
from ..advise.loose_set import LooseLobe
from ..basis.errors import NoRosePlaced, NotBareTop, NotLooseLobes, SpoiltResult, TooManyResults
from ..basis.language import say
from ..basis.uncertain import COVERAGE_95, Estimate
from ..photo import shown_name
from ..result import EDGES, HALF_ANGLES
from .result_reading import STAGES, number_of, places_of, read_document

# The corners of lobes that are measured twice in one photo lie no farther apart; no hand lays a lobe or holds a phone so alike again.
SAME_PHOTO_PX = 3.0
SPOILT = (KeyError, TypeError, ValueError, IndexError, AttributeError)


@dataclass(frozen=True)
class LooseSet:
    """The lobes of one result file or of several."""

    photos: tuple[str, ...]  # names of the photos
    lobes: tuple[LooseLobe, ...]
    tolerance_in: float
    gap_tolerance_in: float
    warnings: tuple[str, ...]


def read_loose(paths: Sequence[Path]) -> LooseSet:
    """All lobes of the files. Those of several are named A1, A2, ..., B1, ... Raises a FileError with a plain sentence."""
    if len(paths) > len(ascii_uppercase):
        raise TooManyResults(most=len(ascii_uppercase))
    warnings: list[str] = []
    sets: list[_OnePhoto] = []
    for path in paths:
        one = _one_photo(path)
        twin = next((other for other in sets if _same_photo(one, other)), None)
        if twin is not None:
            warnings.append(
                say("{file} holds the same lobes in the same photo as {other}, so it counts once.", file=one.file, other=twin.file)
            )
            continue
        if one.photo in [other.photo for other in sets]:
            warnings.append(
                say(
                    "{file} comes from a photo of the same name as another, {photo}: a lobe that both show is counted twice.",
                    file=one.file,
                    photo=one.photo,
                )
            )
        sets.append(one)
    lobes: list[LooseLobe] = []
    for k, one in enumerate(sets):
        letter = ascii_uppercase[k] if len(sets) > 1 else ""
        lobes += [replace(lobe, name=f"{letter}{lobe.name}", photo=k) for lobe in one.lobes]
    warnings += [words for one in sets for words in one.warnings]
    return LooseSet(tuple(one.photo for one in sets), tuple(lobes), *sets[0].tolerances, tuple(dict.fromkeys(warnings)))


@dataclass(frozen=True)
class _OnePhoto:
    """What one result file holds."""

    file: str
    photo: str
    size_px: tuple[int, ...]
    lobes: tuple[LooseLobe, ...]
    tolerances: tuple[float, float]  # of points, of gaps, inches
    warnings: tuple[str, ...]


def _one_photo(path: Path) -> _OnePhoto:
    name = shown_name(path)
    document = read_document(path, name)
    if document["stage"] != "loose":
        raise NotLooseLobes(file=name, stage=STAGES.get(document["stage"], "something else"))
    try:
        return _OnePhoto(
            name,
            str(document["photo"]["file"]),
            tuple(int(side) for side in document["photo"].get("size_px") or ()),
            tuple(_lobe(tip) for tip in document["tips"]),
            (number_of(document.get("tolerance_in", 1 / 64)), number_of(document.get("gap_tolerance_in", 0.010))),
            tuple(str(words) for words in document.get("warnings") or []),
        )
    except SPOILT:
        raise SpoiltResult(file=name) from None


def _same_photo(one: _OnePhoto, other: _OnePhoto) -> bool:
    """Whether two files come from one photo, under whatever name and however often it was measured: nothing else lies so alike."""
    if one.size_px != other.size_px or len(one.lobes) != len(other.lobes):
        return False
    apart = [a.outline_px - b.outline_px for a, b in zip(one.lobes, other.lobes, strict=True)]
    return bool(apart) and max(float(np.abs(px).max()) for px in apart) < SAME_PHOTO_PX


def _lobe(tip: dict[str, Any]) -> LooseLobe:
    shape = tip["shape"]
    numbers = {"length": _estimate(tip, "length", "in"), "own_tip": _estimate(tip, "own_seam_offset", "in")}
    numbers["own_root"] = _estimate(shape, "own_root_offset", "in")
    numbers |= {angle: _estimate(shape, angle, "deg") for angle in HALF_ANGLES}
    lengths = {edge: _estimate(shape, edge, "in") for edge in EDGES}
    bows = {edge: _estimate(shape, f"{edge}_bow", "in") for edge in EDGES}
    if tip["dark_side"] not in (None, "cw", "ccw"):
        raise ValueError("no side")
    return LooseLobe(
        str(int(tip["lobe"])),
        0,
        _given(numbers),
        _estimate(tip, "root_angle", "deg"),
        _given(lengths),
        _given(bows),
        tip["dark_side"],
        places_of(tip["outline_px"], (4, 2)),
    )


def _given(estimates: dict[str, Estimate | None]) -> dict[str, Estimate]:
    return {name: estimate for name, estimate in estimates.items() if estimate is not None}


def _estimate(numbers: dict[str, Any], name: str, unit: str) -> Estimate | None:
    """Inches as they are, degrees as rad."""
    value, u95 = numbers[f"{name}_{unit}"], numbers[f"{name}_u95_{unit}"]
    if value is None or u95 is None:
        return None
    scale = radians(1) if unit == "deg" else 1.0
    if number_of(u95) < 0:
        raise ValueError("an uncertainty below zero")
    return Estimate(number_of(value) * scale, {"photo": number_of(u95) * scale / COVERAGE_95})


@dataclass(frozen=True)
class RosePlaced:
    """A rose as it was placed on a bare top."""

    photo: str
    reaches_in: tuple[float, ...]
    places: tuple[Place, ...]  # each tip where it lies on its seam
    bearings: tuple[float, ...]  # rad, each tip's own seam as the rose was placed: on its seam only where it's made to suit
    suited: tuple[bool, ...]
    shift_in: tuple[float, float]  # of the rose's centre from where the seams meet, to the photo's right and up
    turn: float  # rad
    largest_in: float  # miss of those that aren't made to suit
    tolerance_in: float
    all_suit: bool  # more than half of the lobes would have to be made to suit
    unknown: tuple[int, ...]  # seams that weren't measured


def read_placed(path: Path) -> RosePlaced:
    """The rose that was placed on a bare top. Raises a FileError with a plain sentence."""
    name = shown_name(path)
    document = read_document(path, name)
    if document["stage"] != "bare":
        raise NotBareTop(file=name, stage=STAGES.get(document["stage"], "something else"))
    top = document.get("top")
    try:
        fewest = top and top["rose_fewest_suited"]
        placed = fewest or (top and top["rose_least_miss"])
        if not top or not placed:
            raise NoRosePlaced(file=name)
        places, bearings, suited = [], [], []
        for point in placed["points"]:
            miss = 0.0 if point["made_to_suit"] or point["miss_in"] is None else number_of(point["miss_in"])
            reach = number_of(point["reach_in"])
            if reach <= 0:
                raise ValueError("no reach")
            bearings.append(radians(number_of(point["bearing_deg"])))
            suited.append(bool(point["made_to_suit"]))
            # A tip that would lie clockwise of its seam belongs counterclockwise by as much.
            places.append(Place(int(point["seam"]), int(point["ring"]), float((bearings[-1] - miss / reach) % (2 * np.pi))))
        largest, tolerance = number_of(placed["largest_miss_in"]), number_of(document.get("tolerance_in", 1 / 64))
        return RosePlaced(
            str(document["photo"]["file"]),
            tuple(number_of(reach) for reach in top["rose_reaches_in"]),
            tuple(places),
            tuple(bearings),
            tuple(suited),
            (number_of(placed["shift_right_in"]), number_of(placed["shift_up_in"])),
            radians(number_of(placed["turn_deg"])),
            largest,
            tolerance,
            not fewest and largest > tolerance,
            tuple(int(point["seam"]) for point in placed["points"] if point["miss_in"] is None),
        )
    except SPOILT:
        raise SpoiltResult(file=name) from None
