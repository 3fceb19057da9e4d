"""A rose in its recess as files: all numbers as JSON, and a table for a spreadsheet."""

from __future__ import annotations

import csv
import json
from io import StringIO
from math import degrees
from typing import Any

import numpy as np

from ..basis.frames import Array
from ..basis.uncertain import COVERAGE_95, Estimate
from ..basis.units import MM_PER_IN, lengths
from ..judge import REPORTED_DECIMALS, reported
from ..result import SeatedEdge, SeatedPoint, Seating
from .csv_file import BYTE_ORDER_MARK
from .json_file import ANGLE_DECIMALS, PX_DECIMALS
from .seat_words import SIDE_WORDS
from .words import clock_of

SEAT_VERSION = 1
COLUMNS = (
    "rose in recess",
    "lobe",
    "ring",
    "clock",
    "edge",
    "verdict",
    "room at notch (in)",
    "room at notch u95 (in)",
    "room at point (in)",
    "room at point u95 (in)",
    "wood left standing (in)",
)

Json = dict[str, Any]


def seat_bytes(seating: Seating, made_with: Json, reduced_by: int = 1, full_size_px: tuple[int, int] | None = None) -> bytes:
    """The JSON file; lengths in inches, pixels of the upright photo at its full size, null for what isn't known."""
    px = _Pixels(reduced_by)
    least, u95 = reported(seating.least_anywhere) or (None, None)
    document = {
        "seat_version": SEAT_VERSION,
        "photo": {"file": seating.photo_name, "size_px": [int(side) for side in full_size_px or seating.size_px]},
        "rose": seating.rose_name,
        "gap_tolerance_in": float(seating.gap_tolerance_in),
        "same_cards": seating.same_cards,
        "turn_by": seating.turn_by,
        "scale": {
            "cards": [int(card) for card in seating.scale.cards],
            "px_per_in": round(float(seating.scale.px_per_in) * reduced_by, PX_DECIMALS),
            "u95_rel": round(float(seating.scale.u95_rel), REPORTED_DECIMALS),
            "bars_read": seating.scale.bars_read,
            "one_bar_read": seating.scale.one_bar_read,
        },
        "most_room_anywhere_in": least,
        "most_room_anywhere_u95_in": u95,
        "points": [_point(point) for point in seating.points],
        "rose_px": px.of(seating.rose_px),
        "recess_px": px.of(seating.recess_px),
        "warnings": list(seating.warnings),
        "made_with": made_with,
    }
    return (json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def is_seat(data: bytes) -> bool:
    """Whether a file's bytes are such a result."""
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return False
    return isinstance(document, dict) and isinstance(document.get("seat_version"), int) and {"photo", "rose"} <= document.keys()


class _Pixels:
    """Pixel places of the reduced copy, as pixels of the full photo."""

    def __init__(self, reduced_by: int) -> None:
        self._by = reduced_by

    def of(self, places: Array) -> list[Any]:
        result: list[Any] = np.round((np.asarray(places, float) + 0.5) * self._by - 0.5, PX_DECIMALS).tolist()
        return result


def _pair(name: str, estimate: Estimate | None) -> Json:
    value, u95 = reported(estimate) or (None, None)
    return {f"{name}_in": value, f"{name}_u95_in": u95}


def _parts(estimate: Estimate | None) -> Json | None:
    return None if estimate is None else {source: round(COVERAGE_95 * part, REPORTED_DECIMALS) for source, part in estimate.parts.items()}


def _point(point: SeatedPoint) -> Json:
    return {
        "lobe": int(point.lobe),
        "ring": point.ring,
        "bearing_deg": round(degrees(point.bearing) % 360, ANGLE_DECIMALS) % 360,
        "verdict": point.verdict.value,
        **_pair("beyond", point.beyond),
        "uncut_in": None if point.uncut_in is None else round(point.uncut_in, REPORTED_DECIMALS),
        "uncut_u95_in": None if point.uncut_u95_in is None else round(point.uncut_u95_in, REPORTED_DECIMALS),
        "point_seen": point.point_seen,
        "left": _edge(point.edges[0]),
        "right": _edge(point.edges[1]),
    }


def _edge(edge: SeatedEdge) -> Json:
    return {
        "verdict": edge.verdict.value,
        **_pair("at_notch", edge.at_notch),
        **_pair("at_tip", edge.at_tip),
        "length_in": round(float(edge.length_in), REPORTED_DECIMALS),
        "standing": [
            {
                "from_tip_in": round(float(one.from_tip_in), 3),
                "to_in": round(float(one.to_in), 3),
                "by_in": round(float(one.by_in), 3),
            }
            for one in edge.standing
        ],
        "missing_in": edge.missing,
        "parts_u95_in": {"at_notch": _parts(edge.at_notch), "at_tip": _parts(edge.at_tip)},
    }


def seat_table(seating: Seating) -> bytes:
    """A row for every edge and every point, as a spreadsheet opens it."""
    text = StringIO()
    writer = csv.DictWriter(text, COLUMNS, restval="")
    writer.writerow({name: name.replace("(in)", f"({lengths().symbol})") for name in COLUMNS})
    for point in seating.points:
        clock = clock_of(point.bearing)
        about = {
            "rose in recess": "edge",
            "lobe": point.lobe,
            "ring": "" if point.ring is None else point.ring,
            "clock": clock if "o'clock" in clock else f"{clock} o'clock",
        }
        for name, edge in zip(SIDE_WORDS, point.edges, strict=True):
            standing = max((one.by_in for one in edge.standing), default=None)
            writer.writerow(
                {
                    **about,
                    "edge": name,
                    "verdict": edge.verdict.value,
                    **_cells("room at notch", edge.at_notch),
                    **_cells("room at point", edge.at_tip),
                    "wood left standing (in)": "" if standing is None else _number(standing),
                }
            )
        writer.writerow(
            {
                **about,
                "rose in recess": "point",
                "verdict": point.verdict.value,
                **_cells("room at point", point.beyond),
                "wood left standing (in)": "" if point.uncut_in is None else _number(point.uncut_in),
            }
        )
    return (BYTE_ORDER_MARK + text.getvalue()).encode()


def is_seat_table(data: bytes) -> bool:
    """Whether a file's bytes are such a table."""
    return data.startswith((BYTE_ORDER_MARK + ",".join(COLUMNS[:6])).encode())


def _number(inches: float) -> str:
    return f"{inches * MM_PER_IN:.{REPORTED_DECIMALS - 1}f}" if lengths().metric else f"{inches:.{REPORTED_DECIMALS}f}"


def _cells(name: str, estimate: Estimate | None) -> dict[str, str]:
    given = reported(estimate)
    return {} if given is None else {f"{name} (in)": _number(given[0]), f"{name} u95 (in)": _number(given[1])}
