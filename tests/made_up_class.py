"""A made-up class: students' sheets and a teacher's overview, from made-up inspections."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from seamcheck.advise.class_marks import Marks
from seamcheck.pages.bench_pictures import photo_picture
from seamcheck.pages.class_content import PHOTO_PX, Row, StudentSheet, retake_row, retake_sheet, row_of, seen_of, student_sheet
from seamcheck.pages.class_overview import Overview, overview
from seamcheck.result import Inspection
from tests.made_up import ALL_WELL, DRY_FIT, LOOSE
from tests.made_up_fit import rose, seen
from tests.made_up_picture import picture_of

MARKS = Marks()
SIXTEEN = seen(rose(np.random.default_rng(5), points=8), "a photo with a rather long name.jpg", hidden=(3, 9))
FAULT = "No scale card can be read in lost.jpg: lay printed cards flat round the rose, in view and in even light, and take the photo again."
NAMES = (
    "<b>Ann</b>",
    "=1+1",
    "Лена",
    'O\'Neil & "Q"',
    "A student with a rather long name, as some people have",
    "Verylongnamewithoutanyspace" * 2,
)


def row(inspection: Inspection, student: str, session: int = 0) -> Row:
    return row_of(seen_of(inspection, MARKS), student, session, f"week {session + 1}", "sheet")


def student_of(inspection: Inspection, student: str = "<b>Ann</b>", earlier: bool = True) -> StudentSheet:
    before = [row(DRY_FIT, student)] if earlier else []
    picture = photo_picture(picture_of(inspection), inspection, PHOTO_PX).data
    return student_sheet(seen_of(inspection, MARKS), row(inspection, student, len(before)), before, picture)


def retake_of() -> StudentSheet:
    return retake_sheet(retake_row("=1+1", 0, "week 1", "lost.jpg", "sheet", FAULT), [])


def overview_of(students: int, sessions: int) -> Overview:
    rows = []
    rng = np.random.default_rng(4)
    for k in range(students):
        name = NAMES[k] if k < len(NAMES) else f"Student {k}"
        for session in range(sessions):
            if k % 7 == 1:
                rows.append(retake_row(name, session, f"week {session + 1}", "lost.jpg", "sheet", FAULT))
            elif k % 7 == 3:
                rows.append(row(LOOSE, name, session))
            elif k % 7 == 5:
                rows.append(row(ALL_WELL, name, session))
            else:
                fit = seen(rose(rng, points=4, scatter_in=0.02 / (session + 1)), f"IMG_{k}.jpg")
                rows.append(row(fit, name, session))
    named = [replace(one, sheet=f"sheet {one.student[:5]}") for one in rows]
    return overview(named, [f"week {session + 1}" for session in range(sessions)], MARKS, ["No photo was found of: Bea."])
