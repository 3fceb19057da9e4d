"""The table as a spreadsheet reads it."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace

from seamcheck.report.csv_file import csv_bytes, is_table
from seamcheck.report.json_file import result_document
from tests.made_up import BARE, BARE_TOP, DRY_FIT, LOOSE


def rows(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_one_row_for_every_tip_and_joint_in_order() -> None:
    table = rows(csv_bytes(DRY_FIT))
    assert [(row["kind"], row["lobe"], row["other lobe"]) for row in table] == [
        ("tip", "1", ""),
        ("tip", "2", ""),
        ("tip", "3", ""),
        ("tip", "4", ""),
        ("joint", "1", "2"),
        ("joint", "2", "3"),
        ("joint", "3", "4"),
        ("joint", "4", "1"),
    ]


def test_a_tips_numbers() -> None:
    row = rows(csv_bytes(DRY_FIT))[1]
    assert float(row["seam offset (in, + clockwise)"]) == 0.0466
    assert float(row["seam offset u95 (in)"]) == 0.004
    assert float(row["root angle (deg)"]) == 45.1
    assert (row["verdict"], row["in words"], row["clock"], row["dark half"]) == ("off", "3/64 in clockwise", "3 o'clock", "clockwise side")


def test_what_is_unknown_is_empty_and_says_why() -> None:
    row = rows(csv_bytes(DRY_FIT))[3]
    assert row["seam offset (in, + clockwise)"] == row["seam offset u95 (in)"] == row["in words"] == ""
    assert row["verdict"] == "unmeasured"
    assert "tape or shadow hides" in row["why"]


def test_a_joints_numbers() -> None:
    table = rows(csv_bytes(DRY_FIT))
    assert float(table[4]["widest gap (in)"]) == 0.0185
    assert float(table[4]["widest gap u95 (in)"]) == 0.004
    assert table[4]["joint measured (%)"] == "88"
    assert table[7]["widest gap (in)"] == table[7]["mean gap (in)"] == ""


def test_loose_lobes_and_bare_tops() -> None:
    assert all(row["verdict"] == row["clock"] == row["ring"] == "" for row in rows(csv_bytes(LOOSE)))
    seams = rows(csv_bytes(BARE))
    assert [row["kind"] for row in seams] == ["seam"] * 4
    assert float(seams[1]["bearing (deg)"]) == 90
    assert [row["seam"] for row in seams] == ["1", "2", "3", "4"]


def test_a_bare_top_s_rows_are_the_result_file_s() -> None:
    """How each seam misses the centre has its own uncertainty, not the seam's place's; and what wasn't measured has its row too."""
    table, document = rows(csv_bytes(BARE_TOP)), result_document(BARE_TOP)
    given = [(float(row["seam off centre (in)"]), float(row["seam off centre u95 (in)"])) for row in table[:3]]
    assert given == [(seam["off_centre_in"], seam["off_centre_u95_in"]) for seam in document["seams"]]
    assert [row["verdict"] for row in table] == ["", "", "", "unmeasured"]
    numbers = [int(row["seam"]) for row in table]
    assert numbers == [*document["top"]["seam_numbers"], *(lost["seam"] for lost in document["top"]["unmeasured_seams"])]


def test_no_cell_is_taken_for_a_date_a_time_or_a_formula() -> None:
    inspection = replace(DRY_FIT, tips=tuple(replace(tip, bearing=tip.bearing + 0.79) for tip in DRY_FIT.tips))
    for row in rows(csv_bytes(inspection)):
        for cell in row.values():
            assert not re.fullmatch(r"\d+[/:]\d+", cell)
            assert not cell.startswith(("=", "@", "+"))


def test_every_number_column_names_its_unit_and_stands_alone() -> None:
    data = csv_bytes(DRY_FIT)
    assert data.startswith(b"\xef\xbb\xbf")
    assert b"\r\n" in data
    for name, cell in rows(data)[0].items():
        if re.fullmatch(r"-?\d+\.\d+", cell):
            assert re.search(r"\((in|deg|%)", name)


def test_our_tables_are_told_from_others() -> None:
    assert is_table(csv_bytes(DRY_FIT))
    assert csv_bytes(DRY_FIT) == csv_bytes(replace(DRY_FIT))
    assert not any(map(is_table, [b"", b"kind,lobe\r\n", b"\xef\xbb\xbfname,price\r\n", b"\xff"]))


def test_leaves_that_cannot_be_counted_have_a_row() -> None:
    assert BARE_TOP.bare is not None
    *seams, last = rows(csv_bytes(replace(BARE_TOP, bare=replace(BARE_TOP.bare, leaves=None, looked_for=20, lost=()))))
    assert [row["kind"] for row in seams] == ["seam"] * 3
    assert (last["kind"], last["verdict"]) == ("top", "unmeasured")
    assert "of 20 seams that were looked for, 3 could be followed" in last["why"]
