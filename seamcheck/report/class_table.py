"""A class as a table that a spreadsheet opens: one row for each photo. UTF-8 with the mark that spreadsheets look for."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from io import StringIO

from ..judge import REPORTED_DECIMALS
from .class_names import safe_cell
from .csv_file import BYTE_ORDER_MARK

COLUMNS = (
    "student",
    "session",
    "photo",
    "stage",
    "stands",
    "points on",
    "points off",
    "points measured",
    "points",
    "worst point (in)",
    "worst point u95 (in)",
    "joints closed",
    "joints open",
    "joints measured",
    "joints",
    "widest gap (in)",
    "widest gap u95 (in)",
    "faults, what matters most first",
    "why not measured",
    "sheet",
)


def class_table(rows: Iterable[Mapping[str, object]]) -> bytes:
    """The file's bytes. rows: cells by column; lengths, as (value, u95) in inches or None, under "worst point" and "widest gap"."""
    text = StringIO()
    writer = csv.DictWriter(text, COLUMNS, restval="", extrasaction="ignore")
    writer.writeheader()
    for row in rows:
        lengths = {name: row.get(name) for name in ("worst point", "widest gap")}
        cells = {name: safe_cell(value) for name, value in row.items()}
        for name, pair in lengths.items():
            if isinstance(pair, tuple):
                cells |= {f"{name} (in)": f"{pair[0]:.{REPORTED_DECIMALS}f}", f"{name} u95 (in)": f"{pair[1]:.{REPORTED_DECIMALS}f}"}
        writer.writerow(cells)
    return (BYTE_ORDER_MARK + text.getvalue()).encode(errors="replace")


def is_class_table(data: bytes) -> bool:
    """Whether a file's bytes are such a table."""
    return data.startswith((BYTE_ORDER_MARK + ",".join(COLUMNS[:6])).encode())
