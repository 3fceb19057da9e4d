"""What is good with a student's rose and what matters most, chosen from made-up numbers; and the words for it."""

from __future__ import annotations

from dataclasses import replace
from math import radians, tan

import numpy as np
import pytest

from seamcheck.advise.card_notes import BARS_UNREAD
from seamcheck.advise.class_look import Kind, Look, judged, look
from seamcheck.advise.class_marks import KEYS, Marks, marks_of
from seamcheck.advise.fit_plan import PlanSettings, plan_fit
from seamcheck.advise.go_no_go import Call
from seamcheck.basis.errors import BadMark, MarksUnreadable, UnknownMark
from seamcheck.basis.reasons import Reason
from seamcheck.basis.units import Units, spoken
from seamcheck.pages.class_content import row_of, seen_of, student_sheet
from seamcheck.report.class_mend import amount
from seamcheck.report.class_words import good_words, photo_words, things_of, untold_words
from seamcheck.result import Inspection, Stage, Verdict
from tests.made_up import ALL_WELL, DRY_FIT, LOOSE, estimate, joint, tip
from tests.made_up_fit import rose, seen

MARKS = Marks()


def with_offsets(*offsets: tuple[float, float] | None) -> Inspection:
    """A first ring, its points so far off their seams, each with its u95; None: under tape. Nothing else is wrong."""
    step = 360 / len(offsets)
    tips = tuple(
        tip(k + 1, step * k, None, Verdict.UNMEASURED, Reason.TIP_COVERED)
        if one is None
        else tip(k + 1, step * k, estimate(*one), Verdict.ON)
        for k, one in enumerate(offsets)
    )
    return replace(ALL_WELL, tips=tips, joints=())


def kinds(one: Look) -> list[Kind]:
    return [group.kind for group in one.groups]


def things(one: Look) -> str:
    settings = PlanSettings()
    plan = plan_fit(one.fit, settings) if one.fit else None
    told = things_of(one, plan, settings)
    return "\n".join(" ".join([thing.heading, thing.count, *thing.found, *thing.mend, thing.practise]) for thing in told)


def test_all_well_is_go_with_nothing_to_mend() -> None:
    one = seen_of(ALL_WELL, MARKS)
    assert one.call is Call.GO
    assert one.groups == ()
    assert [good.kind for good in one.goods] == [Kind.POINT, Kind.GAP, Kind.OWN_SEAM]
    assert all(good.count == good.all == 4 for good in one.goods)


def test_only_what_is_surely_beyond_is_a_fault_and_only_what_is_surely_within_is_good() -> None:
    """Of a mark of 1/64 (.0156): .012 ±.003 is well, .012 ±.004 and .019 ±.004 are neither, .020 ±.004 is wrong."""
    one = look(judged(with_offsets((0.012, 0.003), (0.012, 0.004), (0.019, 0.004), (-0.020, 0.004)), MARKS), None, MARKS)
    (group,) = one.groups
    assert group.kind is Kind.POINT
    assert [fault.lobes for fault in group.faults] == [(4,)]
    (good,) = [good for good in one.goods if good.kind is Kind.POINT]
    assert good.lobes == (1,)
    assert one.doubtful[Kind.POINT] == (2, 3)


def test_worst_first_by_how_far_it_is_surely_beyond_its_mark() -> None:
    fit = with_offsets((0.050, 0.040), (0.030, 0.002), (0.001, 0.002), (0.060, 0.003))
    one = look(judged(fit, MARKS), None, MARKS)
    assert [fault.lobes for fault in one.groups[0].faults] == [(4,), (2,)]
    # A gap 5 marks wide comes before a point 3 marks off; with a mark for points of 1/128 the point comes first.
    gaping = replace(fit, joints=(joint(1, 2, 45, estimate(0.055, 0.004), Verdict.OPEN),))
    assert kinds(look(judged(gaping, MARKS), None, MARKS)) == [Kind.GAP, Kind.POINT]
    strict = Marks(point_off=1 / 128)
    assert kinds(look(judged(gaping, strict), None, strict)) == [Kind.POINT, Kind.GAP]


def test_a_lobe_the_wrong_way_round_comes_before_everything_and_nothing_else_is_planed_before() -> None:
    one = seen_of(DRY_FIT, MARKS)
    assert kinds(one)[0] is Kind.TURNED
    first, second = things(one).split("\n")
    assert "Lobe 3, at 6 o'clock: its dark half lies on the other hand" in first
    assert "First put 1 right and take a new photo" in second
    assert "ease" not in second.split("First put 1")[1].split("Hold two")[0]


def test_two_things_matter_and_no_more() -> None:
    tips = tuple(replace(one, own_seam_offset=estimate(0.04, 0.003)) for one in DRY_FIT.tips)
    one = seen_of(replace(DRY_FIT, tips=tips), MARKS)
    assert len(one.groups) > 2
    assert len(one.things) == len(things(one).split("\n")) == 2


def test_what_was_not_measured_is_neither_good_nor_wrong() -> None:
    one = look(judged(with_offsets(None, None, None, (0.001, 0.002)), MARKS), None, MARKS)
    points = [good for good in one.goods if good.kind is Kind.POINT]
    assert [(good.count, good.measured, good.all) for good in points] in ([], [(1, 1, 4)])
    assert all("all 4" not in good_words(good, one.inspection) for good in points)
    assert Kind.POINT not in kinds(one)
    nothing = look(judged(replace(with_offsets(None, None, None, None), odd_lobes=()), MARKS), None, MARKS)
    assert Kind.POINT not in {good.kind for good in nothing.goods}


def test_the_teachers_marks_judge_anew_and_never_what_was_unmeasured() -> None:
    inspection = judged(DRY_FIT, Marks(point_off=1 / 8, gap=1 / 16))
    assert [one.verdict for one in inspection.tips] == [Verdict.ON, Verdict.ON, Verdict.ON, Verdict.UNMEASURED]
    assert [one.verdict for one in inspection.joints] == [Verdict.CLOSED, Verdict.CLOSED, Verdict.CLOSED, Verdict.UNMEASURED]


def test_loose_lobes_are_held_against_their_ring() -> None:
    """Angles 90 and 90.0 and one of 91.2 degrees; lengths, one 1/16 in short; one own seam 1/32 in beside its point."""
    loose = [replace(one, ring=None, verdict=None, seam_offset=None, reach=None) for one in with_offsets(*[(0.0, 0.001)] * 5).tips]
    loose = [replace(one, length=estimate(3.0, 0.004), root_angle=estimate(radians(90), radians(0.1))) for one in loose]
    loose[1] = replace(loose[1], root_angle=estimate(radians(91.2), radians(0.1)))
    loose[2] = replace(loose[2], length=estimate(3.0 - 1 / 16, 0.004))
    loose[3] = replace(loose[3], own_seam_offset=estimate(1 / 32, 0.004))
    one = seen_of(replace(LOOSE, tips=tuple(loose)), MARKS)
    found = {group.kind: group.faults for group in one.groups}
    assert {kind: [fault.lobes for fault in faults] for kind, faults in found.items()} == {
        Kind.ROOT_ANGLE: [(2,)],
        Kind.LENGTH: [(3,)],
        Kind.OWN_SEAM: [(4,)],
    }
    assert found[Kind.LENGTH][0].size == pytest.approx(-1 / 16)
    assert found[Kind.LENGTH][0].u95 == pytest.approx(0.004 * 2**0.5, rel=0.01)
    assert one.call is None
    words = things(one)
    short_in = float(np.hypot(*(loose[1].outline_px[1] - loose[1].outline_px[0]))) / 100
    assert f"{amount(short_in * tan(radians(1.2)))} in all at the shoulders and nothing at the root" in words


def test_two_rings_of_loose_lobes_are_not_compared_with_each_other() -> None:
    loose = [
        replace(one, ring=None, verdict=None, seam_offset=None, reach=None, length=estimate(3.0 if k % 2 else 2.0, 0.004))
        for k, one in enumerate(with_offsets(*[(0.0, 0.001)] * 8).tips)
    ]
    assert seen_of(replace(LOOSE, tips=tuple(loose)), MARKS).groups == ()


def test_an_overlap_is_told_from_a_closed_joint() -> None:
    over = replace(ALL_WELL, joints=(*ALL_WELL.joints[:3], joint(4, 1, 315, estimate(-0.020, 0.004), Verdict.CLOSED)))
    one = look(judged(over, MARKS), None, MARKS)
    assert kinds(one) == [Kind.OVERLAP]
    assert one.groups[0].faults[0].lobes == (4, 1)


def test_what_is_judged_closed_counts_as_well() -> None:
    """A gap of -.004 ±.012 ends at .008, within a mark of .010: closed, and well; no overlap, and nothing gapes."""
    fit = replace(ALL_WELL, joints=(*ALL_WELL.joints[:3], joint(4, 1, 315, estimate(-0.004, 0.012), Verdict.CLOSED)))
    one = look(judged(fit, MARKS), None, MARKS)
    assert one.inspection.joints[3].verdict is Verdict.CLOSED
    (good,) = [good for good in one.goods if good.kind is Kind.GAP]
    assert (good.count, good.measured, good.all) == (4, 4, 4)
    assert one.groups == ()


def test_faults_are_counted_among_what_was_measured() -> None:
    lost = replace(joint(2, 3, 135, estimate(0.0, 0.1), Verdict.UNMEASURED), max_gap=None, reason=Reason.SEAM_FAINT)
    fit = replace(ALL_WELL, joints=(joint(1, 2, 45, estimate(0.055, 0.004), Verdict.OPEN), lost, *ALL_WELL.joints[2:]))
    assert "Joints that gape 1 of the 3 that could be measured" in things(look(judged(fit, MARKS), None, MARKS))


def test_lobes_are_named_in_order() -> None:
    """Loose lobes are compared length by length, the longest first; they are named by number."""
    lengths = (2.0, 2.001, 3.0, 3.001, 1.999, 2.999)
    loose = [
        replace(one, ring=None, verdict=None, seam_offset=None, reach=None, length=estimate(size, 0.004))
        for one, size in zip(with_offsets(*[(0.0, 0.001)] * 6).tips, lengths, strict=True)
    ]
    one = seen_of(replace(LOOSE, tips=tuple(loose)), MARKS)
    assert [good.lobes for good in one.goods if good.kind is Kind.LENGTH] == [(1, 2, 3, 4, 5, 6)]
    strict = Marks(length=0.005)
    assert seen_of(replace(LOOSE, tips=tuple(loose)), strict).doubtful[Kind.LENGTH] == (1, 2, 3, 4, 5, 6)


def test_a_photo_is_praised_only_where_nothing_is_amiss_in_it() -> None:
    plain = replace(ALL_WELL, warnings=())
    (praise,) = photo_words(plain)
    assert "cards read, their corners" in praise
    assert photo_words(replace(plain, warnings=(BARS_UNREAD,))) == (praise,)
    assert photo_words(replace(plain, warnings=(BARS_UNREAD, "The photo is out of focus."))) == ()
    assert "1 card read, its corners" in photo_words(replace(plain, scale=replace(plain.scale, cards=(3,))))[0]


def test_glued_joints_are_looked_at_and_loose_ones_tried() -> None:
    unsure = replace(ALL_WELL, joints=(joint(1, 2, 45, estimate(0.010, 0.004), Verdict.UNSURE), *ALL_WELL.joints[1:]))
    dry, inlaid = (" ".join(untold_words(seen_of(replace(unsure, stage=stage), MARKS))) for stage in (Stage.DRY_FIT, Stage.INLAID))
    assert "Joints too close to call: 1-2. Try a strip of printer paper." in dry
    assert "Joints too close to call: 1-2. Look at them from near by." in inlaid


def test_mending_is_the_plans() -> None:
    """Every lobe that is told to move is moved by the plan, by as much and to the same side."""
    fit = seen(rose(np.random.default_rng(3), points=4, scatter_in=0.03), "made up.jpg")
    one = seen_of(fit, MARKS)
    assert one.fit is not None
    plan = plan_fit(one.fit, PlanSettings())
    told = things(one)
    assert "Move lobe" in told
    for move in plan.moves:
        if f"Move lobe {move.lobe}: its point" in told:
            side = "clockwise" if move.tip_right_in > 0 else "counterclockwise"
            assert f"Move lobe {move.lobe}: its point {amount(move.tip_right_in)} {side}" in told


@pytest.mark.parametrize("divided", [False, True])
def test_nothing_is_told_to_be_moved_before_a_lobe_is_turned(divided: bool) -> None:
    """Nor where as many dark halves lie on one hand as on the other, so that nobody knows which are wrong."""
    fit = seen(rose(np.random.default_rng(3), points=4, scatter_in=0.03), "made up.jpg")
    assert "Move lobe" in things(seen_of(fit, MARKS))
    if divided:
        sides = ("cw", "ccw") * len(fit.tips)
        fit = replace(fit, tips=tuple(replace(one, dark_side=side) for one, side in zip(fit.tips, sides, strict=False)), odd_lobes=())
    else:
        fit = replace(fit, odd_lobes=(2,))
    told = things(seen_of(fit, MARKS))
    assert ("told by a new photo, once what lies the wrong way round is turned" if divided else "First put 1 right") in told
    for words in ("Move lobe", "Move its point", "ease lobe", "Move all lobes", "the joints hold it"):
        assert words not in told


def test_a_rose_that_is_let_in_is_told_to_be_moved_nowhere() -> None:
    told = things(seen_of(replace(DRY_FIT, stage=Stage.INLAID, odd_lobes=()), MARKS))
    assert told.count("The rose is let in") == 2
    assert "First do what" not in told
    assert "Move lobe" not in told
    assert "ease lobe" not in told


def test_sheets_speak_millimetres() -> None:
    with spoken(Units.MM):
        one = seen_of(replace(DRY_FIT, odd_lobes=()), MARKS)
        assert "1.184 mm" not in things(one)  # to the hundredth
        assert "1.18 mm" in things(one)  # .0466 in


def test_more_points_on_than_before_is_said_first() -> None:
    before, now = seen_of(DRY_FIT, MARKS), seen_of(ALL_WELL, MARKS)
    earlier = row_of(before, "A", 0, "first", "A")
    sheet = student_sheet(now, row_of(now, "A", 1, "second", "A"), [earlier], None)
    assert sheet.good[0] == "More points on their seams than in first: 1 on, 1 off, 2 can't tell then, 4 on, 0 off now."
    assert len(sheet.progress) == 2
    # Of a rose of eight four on are more than three of four, but a smaller share.
    eight = replace(row_of(now, "A", 1, "second", "A"), on=4, off=4, points_measured=8, points=8)
    three = replace(earlier, on=3, off=1, points_measured=4)
    assert not student_sheet(now, eight, [three], None).good[0].startswith("More points")
    worse = student_sheet(before, row_of(before, "A", 1, "second", "A"), [row_of(now, "A", 0, "first", "A")], None)
    assert not worse.good[0].startswith("More points")


def test_better_and_worse_are_said_only_where_points_too_close_to_call_cant_make_them() -> None:
    """The same rose seen badly, then well, isn't a better one: points too close to call then may have been on."""
    sure, near, out = (0.001, 0.002), (0.012, 0.008), (0.04, 0.002)
    rows = {
        name: row_of(seen_of(with_offsets(*offsets), MARKS), "A", 0, name, "A")
        for name, offsets in {
            "blurred": (sure, near, near, near, out, None),
            "sharp": (sure, sure, sure, sure, out, sure),
            "poor": (sure, out, out, out, out, out),
            "middling": (sure, near, out, out, out, out),
        }.items()
    }

    def told(first: str, then: str) -> str:
        shown = ALL_WELL  # what it shows isn't asked: only the rows are
        sheet = student_sheet(seen_of(shown, MARKS), rows[then], [rows[first]], None)
        return "\n".join((*sheet.good, *sheet.progress))

    assert "More points" not in told("blurred", "sharp")
    assert "Whether more or fewer points lie on their seams than in blurred, these photos can't tell." in told("blurred", "sharp")
    assert "More points on their seams than in middling: 1 on, 4 off, 1 can't tell then, 5 on, 1 off now." in told("middling", "sharp")
    assert "Fewer points on their seams than in sharp." in told("sharp", "poor")
    assert "Fewer points" not in told("sharp", "blurred")
    assert "can't tell." not in told("sharp", "sharp")


def test_marks_are_read_from_one_small_file() -> None:
    told = marks_of(b'point_off = "1/32"\ngap = 0.015\nown_seam_off = "0.5mm"\nroot_angle = 1\nmost = 0.5\n', "marks.toml")
    assert (told.point_off, told.gap, told.own_seam_off) == (1 / 32, 0.015, pytest.approx(0.5 / 25.4))
    assert (told.root_angle, told.most, told.length) == (1.0, 0.5, Marks().length)
    assert marks_of(b"", "marks.toml") == Marks()
    with spoken(Units.MM):
        assert marks_of(b"gap = 0.25", "m").gap == pytest.approx(0.25 / 25.4)


@pytest.mark.parametrize(
    ("data", "error"),
    [
        (b"point_off = ", MarksUnreadable),
        (b"\xff\xfe\x00", MarksUnreadable),
        (b"a=" + b"[" * 100_000, MarksUnreadable),
        (b"points_off = 0.01", UnknownMark),
        *[(f"{key} = {value}".encode(), BadMark) for key in KEYS for value in ("true", "-1", "0", "nan", '"x"', "[1]", "{a=1}", "99")],
    ],
)
def test_marks_that_wont_do_are_refused_in_one_sentence(data: bytes, error: type[Exception]) -> None:
    with pytest.raises(error) as refused:
        marks_of(data, "marks.toml")
    assert "\n" not in str(refused.value)
    assert str(refused.value).startswith("marks.toml ")
