"""The report as it's read in a terminal or a file."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest

from seamcheck.basis.reasons import Reason
from seamcheck.judge import odd_lobes
from seamcheck.report.bare_words import rose_parts
from seamcheck.report.closing import closing_sentence
from seamcheck.report.csv_file import csv_bytes
from seamcheck.report.json_file import result_document
from seamcheck.report.text import WIDTH, print_report, report_lines
from seamcheck.report.words import decimals, length_words, limit_words, list_words, offset_words, u95_decimals
from seamcheck.result import Inspection, Stage, Together, Verdict
from tests import made_up
from tests.made_up import ALL_WELL, BARE, BARE_TOP, DRY_FIT, JOINTS, LOOSE, NO_EDGE, TIPS, TWO_SEAMS, estimate

EVERY_KIND = [DRY_FIT, ALL_WELL, LOOSE, BARE, BARE_TOP, NO_EDGE, replace(DRY_FIT, stage=Stage.INLAID, stage_told=False)]
EMPTY = [replace(kind, tips=(), joints=(), seams=(), odd_lobes=()) for kind in EVERY_KIND]


def text_of(inspection: Inspection) -> str:
    return "\n".join(line.words for line in report_lines(inspection))


def one_line(inspection: Inspection) -> str:
    return " ".join(text_of(inspection).split())


def test_a_tip_has_clock_ring_fraction_decimals_and_verdict() -> None:
    (line,) = [line.words for line in report_lines(DRY_FIT) if "3/64" in line.words and "●" not in line.words and "look" not in line.words]
    assert line.split() == ["2", "3", "o'clock", "1", "3/64", "in", "clockwise", ".0466", "±.0040", "◆", "off"]


def test_tips_come_in_the_order_in_which_one_goes_round() -> None:
    shuffled = replace(DRY_FIT, tips=(TIPS[0], TIPS[2], TIPS[3], TIPS[1]))
    text = text_of(shuffled)
    assert text.index("12 o'clock") < text.index("3 o'clock") < text.index("6 o'clock") < text.index("9 o'clock")


def test_an_unmeasured_tip_says_why_and_what_to_do() -> None:
    because = "unmeasured, because tape or shadow hides the edges that make the point: lift the tape near the point."
    assert because in one_line(DRY_FIT)


def test_gaping_joints_come_widest_first() -> None:
    text = text_of(DRY_FIT)
    assert text.index("lobes 2 and 3") < text.index("lobes 1 and 2")
    assert "The other joints: 1 too close to tell, 1 unmeasured." in text
    assert "4-1 unmeasured, because a gap can't be told from the dark wood beside it" in text


def test_a_reversed_lobe_is_named() -> None:
    assert "Lobe 3 lies the wrong way round" in one_line(DRY_FIT)
    assert "Lobes 1 and 3 lie the wrong way round" in one_line(replace(DRY_FIT, odd_lobes=(1, 3)))


def test_warnings_are_shown() -> None:
    assert "Card 2 is curled" in one_line(DRY_FIT)


def test_the_caution_comes_last_and_only_before_the_cut() -> None:
    dry = one_line(DRY_FIT)
    assert dry.endswith("A sharp knife, light passes, and the other hand never ahead of the blade.")
    assert "by eye and with a straightedge" in dry
    assert "knife" not in one_line(replace(ALL_WELL, stage=Stage.INLAID))


@pytest.mark.parametrize(
    ("inspection", "sentence"),
    [
        (ALL_WELL, "All 4 points lie on their seams and every joint is closed: it is safe to knife in, as far as the photo shows."),
        (replace(ALL_WELL, odd_lobes=(2,)), "Not yet: look first at lobe 2, which lies the wrong way round."),
        (
            replace(ALL_WELL, tips=TIPS),
            "Not yet: look first at lobe 2 at 3 o'clock, 3/64 in clockwise off its seam.",
        ),
        (
            replace(ALL_WELL, joints=JOINTS),
            "Not yet: look first at the joint of lobes 2 and 3, which gapes by 1/32 in, the widest of 2 that do.",
        ),
        (
            replace(ALL_WELL, tips=(*ALL_WELL.tips[:2], *TIPS[2:])),
            "Can't tell yet: lobe 4 at 9 o'clock is unmeasured, so lift the tape near the point, and take the photo again "
            "(and 1 more point that can't be told).",
        ),
        (
            replace(ALL_WELL, tips=(*ALL_WELL.tips[:2], TIPS[2])),
            "Can't tell yet: lay a straightedge along the seam at lobe 3 at 6 o'clock, which is too close to call.",
        ),
        (
            replace(ALL_WELL, joints=(*ALL_WELL.joints[:2], *JOINTS[2:])),
            "All 4 points lie on their seams, but 2 of the 4 joints can't be told: "
            "look those over, and if they are tight it is safe to knife in.",
        ),
        (replace(ALL_WELL, tips=()), "Can't tell yet: no point was found, so nothing is known of this rose."),
        (replace(DRY_FIT, stage=Stage.INLAID, odd_lobes=()), "Look first at lobe 2 at 3 o'clock, 3/64 in clockwise off its seam."),
        (LOOSE, "Lobe 1's point lies farthest off its own seam, under 1/128 in."),
        (BARE, "4 seams found: the one at 9 o'clock misses the best common centre by most, 1/64 in."),
        (TWO_SEAMS, "2 seams found: too few to say where all meet."),
    ],
)
def test_the_closing_sentence(inspection: Inspection, sentence: str) -> None:
    assert closing_sentence(inspection) == sentence


@pytest.mark.parametrize("verdict", [Verdict.OFF, Verdict.UNSURE, Verdict.UNMEASURED])
def test_never_called_safe_while_a_point_is_in_doubt(verdict: Verdict) -> None:
    doubtful = made_up.tip(4, 270, estimate(0.02, 0.01), verdict, Reason.SEAM_FAINT)
    for joints in (ALL_WELL.joints, JOINTS, ()):
        assert "safe" not in text_of(replace(ALL_WELL, tips=(*ALL_WELL.tips[:3], doubtful), joints=joints))


@pytest.mark.parametrize("gone", range(4))
def test_never_called_safe_where_a_joint_is_wanting(gone: int) -> None:
    joints = tuple(joint for k, joint in enumerate(ALL_WELL.joints) if k != gone)
    words = " ".join(text_of(replace(ALL_WELL, joints=joints)).split())
    assert "safe" not in words
    one, other = (gone + 1, (gone + 1) % 4 + 1)
    assert f"Can't tell yet: nothing was found where lobes {one}-{other} should meet" in words


def test_dark_halves_that_lie_as_often_either_way_are_said_without_naming_a_lobe() -> None:
    tips = tuple(replace(tip, dark_side=side) for tip, side in zip(ALL_WELL.tips, ("cw", "ccw", "cw", "ccw"), strict=True))
    divided = replace(ALL_WELL, tips=tips, odd_lobes=odd_lobes(tips))
    words = " ".join(text_of(divided).split())
    assert "As many dark halves lie to the right as to the left" in words
    assert "Not yet: look first at the dark halves" in words
    assert "wrong way round" not in words
    assert result_document(divided)["orientation"] == {"consistent": False, "odd_lobes": []}


def test_a_single_bar_is_not_called_unread() -> None:
    scale = replace(DRY_FIT.scale, bars_read=False, one_bar_read=True)
    words = " ".join(text_of(replace(DRY_FIT, scale=scale)).split())
    assert "only one check bar read" in words
    assert "not read" not in words


@pytest.mark.parametrize("inspection", [*EVERY_KIND, *EMPTY])
def test_the_report_fits_80_columns(inspection: Inspection) -> None:
    assert max(len(line.words) for line in report_lines(inspection)) <= WIDTH


@pytest.mark.parametrize("inspection", [*EVERY_KIND, *EMPTY])
def test_the_report_in_a_file_is_plain(inspection: Inspection) -> None:
    file = io.StringIO()
    print_report(inspection, file)
    assert "\x1b" not in file.getvalue()
    assert file.getvalue() == text_of(inspection) + "\n"


def test_a_terminal_without_the_marks_gets_letters() -> None:
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding="ascii")
    print_report(DRY_FIT, file)
    file.flush()
    assert "# off" in raw.getvalue().decode("ascii")
    assert "~.0040" in raw.getvalue().decode("ascii")


def test_a_name_with_brackets_is_no_markup() -> None:
    file = io.StringIO()
    print_report(replace(DRY_FIT, photo_name="[red]rose[/red]:smile:.jpg"), file)
    assert "[red]rose[/red]:smile:.jpg" in file.getvalue()


class TestWords:
    @pytest.mark.parametrize(
        ("inches", "words"), [(3 / 64, "3/64 in"), (0.0, "under 1/128 in"), (0.007, "under 1/128 in"), (0.008, "1/64 in"), (1.0, "1 in")]
    )
    def test_lengths(self, inches: float, words: str) -> None:
        assert length_words(inches) == words

    def test_offsets_have_a_side_where_the_rule_shows_one(self) -> None:
        assert offset_words(0.047) == "3/64 in clockwise"
        assert offset_words(-0.047) == "3/64 in counterclockwise"
        assert offset_words(-0.001) == "under 1/128 in"

    @pytest.mark.parametrize(("inches", "words"), [(1 / 64, "1/64 in"), (0.010, ".010 in"), (1 / 128, ".0078 in"), (0.5, "1/2 in")])
    def test_tolerances(self, inches: float, words: str) -> None:
        assert limit_words(inches) == words

    def test_an_uncertainty_is_rounded_up(self) -> None:
        assert u95_decimals(0.00301) == ".0031"
        assert u95_decimals(0.0030) == ".0030"
        assert u95_decimals(0.00001) == ".0001"
        assert decimals(-1.25) == "1.2500"

    def test_lists(self) -> None:
        assert [list_words(list("abc")[:n]) for n in (1, 2, 3)] == ["a", "a and b", "a, b and c"]


def test_several_photos_are_named_and_whether_they_agree_is_said() -> None:
    agreed = replace(DRY_FIT, together=Together(("rose.jpg", "b.jpg", "c.jpg"), ()))
    words = " ".join(line.words for line in report_lines(agreed))
    assert words.startswith("rose.jpg, b.jpg and c.jpg: dry fit.")
    assert "lobes are numbered and placed as in rose.jpg." in words
    assert "The 3 photos agree wherever two of them show the same." in words
    moved = replace(DRY_FIT, together=Together(("rose.jpg", "b.jpg"), ("Lobe 2 is here and there: it was moved.",)))
    words = " ".join(line.words for line in report_lines(moved))
    assert "The photos disagree: lobe 2 is here and there: it was moved." in words
    assert "agree wherever" not in words


@pytest.mark.parametrize(
    ("misses", "said"),
    [
        ([(0.004, 0.003)] * 4, "Within 1/64 in: no lobe need be made to suit."),
        ([(0.004, 0.003)] * 3 + [None], "Within 1/64 in where seams were measured. Seam 4 wasn't measured"),
        ([(0.004, 0.003), (-0.014, 0.003), (0.004, 0.003), (0.0, 0.02)], "Within 1/64 in as measured, but at seams 2 and 4 what"),
        ([(0.004, 0.003), (-0.014, 0.003), None, None], "check there before cutting. Seams 3 and 4 weren't measured"),
    ],
)
def test_no_lobe_need_be_made_to_suit_only_where_all_seams_say_so(misses: list[tuple[float, float] | None], said: str) -> None:
    assert BARE_TOP.bare is not None
    assert BARE_TOP.bare.even is not None
    even = BARE_TOP.bare.even
    points = tuple(
        replace(point, miss=None if miss is None else estimate(miss[0], miss[1])) for point, miss in zip(even.points, misses, strict=True)
    )
    top = replace(BARE_TOP.bare, even=replace(even, points=points, largest_in=0.014), fewest=None)
    ((_, _, after),) = rose_parts(top, 1 / 64)
    assert said in after[0]
    assert ("no lobe need" in after[0]) == (said == "Within 1/64 in: no lobe need be made to suit.")


def test_two_seams_are_not_said_to_pass_the_centre_by_nothing() -> None:
    """They meet somewhere however they lie: no number in the report, none in the result file, none in the table."""
    (row,) = (line for line in text_of(TWO_SEAMS).splitlines() if "180.00°" in line)
    assert row.endswith("too few seams to tell")
    seams = result_document(TWO_SEAMS)["seams"]
    assert [(seam["off_centre_in"], seam["off_centre_u95_in"]) for seam in seams] == [(None, None)] * 2
    assert all(seam["place_u95_in"] > 0 for seam in seams)
    cells = csv.DictReader(io.StringIO(csv_bytes(TWO_SEAMS).decode("utf-8-sig")))
    assert [(cell["seam off centre (in)"], cell["seam off centre u95 (in)"]) for cell in cells if cell["kind"] == "seam"] == [("", "")] * 2


def test_a_bare_top_says_how_to_lay_the_rose() -> None:
    words = " ".join(" ".join(line.words.split()) for line in report_lines(BARE_TOP))
    assert "unmeasured because the seam doesn't show" in words
    assert (
        "The top has 4 leaves. It is 16 1/64 in across (16.020 ±.020), and its middle lies 1/32 in (.0300 ±.0060) toward 4 o'clock" in words
    )
    assert "A perfect rose of 4 points that reach 3 in (supposed: say --reach)" in words
    assert "turned 0.10° clockwise: no point whose seam was measured by more than 1/64 in (.0200)" in words
    assert "With the lobe at seam 3 made to suit" in words
    assert "3 6 o'clock 1 44.43° 45.00° 89.43° 3 in" in words
    assert "4 9 o'clock 1 unmeasured" in words
    assert "Seam 4 wasn't measured, so its lobe and those beside it in the ring have no angles yet" in words
    assert "all other points whose seams were measured lie within" in words
    assert "no lobe need be made to suit" not in words
    bare = " ".join(" ".join(line.words.split()) for line in report_lines(NO_EDGE))
    assert (
        "Its diameter is unmeasured, because too little of the round edge is in the photo: step back until the whole top is in view."
        in bare
    )


def test_a_bare_top_s_seam_is_spoken_of_as_a_seam() -> None:
    """There is no point yet beside which to clear an inch."""
    assert BARE_TOP.bare is not None
    lost = tuple((4 + k, 4.0 + 0.3 * k, why) for k, why in enumerate((Reason.SEAM_FAINT, Reason.SEAM_COVERED, Reason.SEAM_AMBIGUOUS)))
    words = " ".join(" ".join(line.words.split()) for line in report_lines(replace(BARE_TOP, bare=replace(BARE_TOP.bare, lost=lost))))
    assert "because the seam doesn't show: wipe the field" in words
    assert "clear the seam of tape and cards" in words
    assert "check this seam with a straightedge" in words
    assert "the point:" not in words
    assert "this point" not in words


def test_a_bare_top_whose_leaves_cannot_be_counted_is_told() -> None:
    assert BARE_TOP.bare is not None
    top = replace(BARE_TOP.bare, leaves=None, looked_for=20, lost=(), even=None, fewest=None)
    words = " ".join(" ".join(line.words.split()) for line in report_lines(replace(BARE_TOP, bare=top)))
    assert "How many leaves the top has can't be told: of 20 seams that were looked for, 3 could be followed." in words
    assert "Can't tell how many leaves it has, nor where a rose would lie: 3 seams alone could be followed." in words
    assert "The top has" not in words
