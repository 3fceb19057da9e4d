"""Tips, joints and seams as one table that a spreadsheet opens.

One row each, told apart by the first column, so that a filter on it gives either list. UTF-8 with the mark that spreadsheets
look for; clock places and fractions carry words, or a spreadsheet would take them for times and dates. Lengths are of the kind
that is spoken, and each heading says which.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from io import StringIO
from math import degrees

from ..basis.reasons import Reason
from ..basis.uncertain import COVERAGE_95, Estimate
from ..basis.units import MM_PER_IN, lengths
from ..judge import REPORTED_DECIMALS, reported
from ..result import Inspection, Joint, Seam, Tip, Verdict
from .bare_words import leaves_words, seam_numbers
from .words import clock_of, offset_words, round_the_top, u95_degrees

BYTE_ORDER_MARK = "\ufeff"
CLOCKWISE = ", + clockwise"

COLUMNS = (
    "kind",
    "lobe",
    "other lobe",
    "ring",
    "clock",
    "bearing (deg)",
    "verdict",
    "why",
    "in words",
    "seam offset (in, + clockwise)",
    "seam offset u95 (in)",
    "widest gap (in)",
    "widest gap u95 (in)",
    "mean gap (in)",
    "joint measured (%)",
    "own-seam offset (in, + clockwise)",
    "own-seam offset u95 (in)",
    "reach (in)",
    "reach u95 (in)",
    "length (in)",
    "length u95 (in)",
    "root angle (deg)",
    "root angle u95 (deg)",
    "dark half",
    "bearing u95 (deg)",
    "seam off centre (in)",
    "seam off centre u95 (in)",
    "seam",
)

Row = Mapping[str, object]


def csv_bytes(inspection: Inspection) -> bytes:
    """The file's bytes, the same for the same inspection."""
    text = StringIO()
    writer = csv.DictWriter(text, COLUMNS, restval="")
    writer.writerow({name: _heading(name) for name in COLUMNS})
    writer.writerows(_tip(tip) for tip in round_the_top(inspection))
    writer.writerows(_joint(joint) for joint in inspection.joints)
    writer.writerows(_seam(number, seam) for number, seam in zip(seam_numbers(inspection), inspection.seams, strict=True))
    if inspection.bare is not None:
        writer.writerows(_lost_seam(*lost) for lost in inspection.bare.lost)
        if inspection.bare.leaves is None:
            writer.writerow({"kind": "top", "verdict": Verdict.UNMEASURED.value, "why": leaves_words(inspection.bare)})
    return (BYTE_ORDER_MARK + text.getvalue()).encode()


def is_table(data: bytes) -> bool:
    """Whether a file's bytes are such a table."""
    return data.startswith((BYTE_ORDER_MARK + ",".join(COLUMNS[:6])).encode())


def _heading(column: str) -> str:
    return column.replace("(in", f"({lengths().symbol}")


def _number(inches: float) -> str:
    """A signed length of the kind that is spoken, to the result file's place or a finer one."""
    return f"{inches * MM_PER_IN:.{REPORTED_DECIMALS - 1}f}" if lengths().metric else f"{inches:.{REPORTED_DECIMALS}f}"


def _pair(name: str, unit: str, estimate: Estimate | None, scale: float = 1.0, sign: str = "") -> Row:
    """The two cells of a number, as the result file gives them: the verdict follows from them here too."""
    value, u95 = reported(estimate, scale) or (None, None)
    written = _number if unit == "in" else f"{{:.{REPORTED_DECIMALS}f}}".format
    return {
        f"{name} ({unit}{sign})": "" if value is None else written(value),
        f"{name} u95 ({unit})": "" if u95 is None else written(u95),
    }


def _clock(bearing: float) -> str:
    clock = clock_of(bearing)
    return clock if "o'clock" in clock else f"{clock} o'clock"


def _tip(tip: Tip) -> Row:
    loose = tip.verdict is None
    return {
        "kind": "tip",
        "lobe": tip.lobe,
        "ring": "" if tip.ring is None else tip.ring,
        "clock": "" if loose else _clock(tip.bearing),
        "bearing (deg)": f"{degrees(tip.bearing) % 360:.1f}",
        "verdict": tip.verdict.value if tip.verdict else "",
        "why": f"{tip.reason.sentence}: {tip.reason.remedy}" if tip.reason else "",
        "in words": offset_words(tip.seam_offset.value) if tip.seam_offset else "",
        **_pair("seam offset", "in", tip.seam_offset, sign=CLOCKWISE),
        **_pair("own-seam offset", "in", tip.own_seam_offset, sign=CLOCKWISE),
        **_pair("reach", "in", tip.reach),
        **_pair("length", "in", tip.length),
        **_pair("root angle", "deg", tip.root_angle, degrees(1)),
        "dark half": {"cw": "clockwise side", "ccw": "counterclockwise side", None: ""}[tip.dark_side],
    }


def _joint(joint: Joint) -> Row:
    first, second = ("field" if lobe is None else lobe for lobe in joint.lobes)
    return {
        "kind": "joint",
        "lobe": first,
        "other lobe": second,
        "verdict": joint.verdict.value,
        "why": f"{joint.reason.sentence}: {joint.reason.remedy}" if joint.reason else "",
        **_pair("widest gap", "in", joint.max_gap),
        "mean gap (in)": "" if joint.mean_in is None else _number(joint.mean_in),
        "joint measured (%)": f"{100 * joint.measured_fraction:.0f}",
    }


def _seam(number: int, seam: Seam) -> Row:
    return {
        "kind": "seam",
        "clock": _clock(seam.bearing),
        "bearing (deg)": f"{degrees(seam.bearing) % 360:.2f}",
        "bearing u95 (deg)": u95_degrees(COVERAGE_95 * seam.u_bearing),
        **_pair("seam off centre", "in", seam.off_centre),
        "seam": number,
    }


def _lost_seam(number: int, bearing: float, reason: Reason) -> Row:
    return {
        "kind": "seam",
        "clock": _clock(bearing),
        "bearing (deg)": f"{degrees(bearing) % 360:.2f}",
        "verdict": Verdict.UNMEASURED.value,
        "why": f"{reason.seam_sentence}: {reason.seam_remedy}",
        "seam": number,
    }
