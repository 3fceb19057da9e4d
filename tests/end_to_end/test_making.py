"""`template` and `recess` through the command line: files, words, refusals and exit status."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.command_line import Run, command_line

OURS = ["--points", "8", "--reach", "3", "--short-edge", "13/16"]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """The command line in an empty folder: (exit status, standard output, standard error)."""
    monkeypatch.chdir(tmp_path)
    return command_line(monkeypatch, capsys)


def test_numbers_alone_need_no_file(run: Run, tmp_path: Path) -> None:
    status, out, err = run("template", *OURS, "--strip", "5/8")
    assert (status, err) == (0, "")
    for part in ("2 1/2 in (2.4926)", "116.65 degrees", "5/8 in wide", "spare at each end               1/8 in"):
        assert part in out
    assert not list(tmp_path.iterdir())


def test_what_was_chosen_is_marked_and_the_rose_is_named(run: Run) -> None:
    """A strip chose ring 2's short edge: another command that knows of no strip is given that, or says what it chose itself."""
    out = run("template", "--reach", "3", "--short-edge", "13/16", "--strip", "5/8")[1]
    assert "8 points (chosen) in two rings (chosen), tips 3 in and 2 5/8 in" in out
    assert re.findall(r"(\S+ in) \([\d.]+\), chosen", out) == ["11/16 in", "5/8 in"]
    name = out.splitlines()[-1].split()
    assert name == ["--points", "8", "--rings", "2", "--reach", "3", "--reach", "2-5/8", "--short-edge", "13/16", "--short-edge", "11/16"]
    told = " ".join(run("recess", *name)[1].split())
    assert "8 points in two rings; ring 1 reaches 3 in, short edge 13/16 in; ring 2 reaches 2 5/8 in, short edge 11/16 in." in told
    assert "chosen" not in told
    same = run("recess", "--reach", "3", "--short-edge", "13/16", "--strip", "5/8")[1]
    assert "short edge 11/16 in (chosen)" in " ".join(same.split())
    assert same.splitlines()[-8:] == run("recess", *name)[1].splitlines()[-8:]
    assert "short edge 15/16 in (chosen)" in " ".join(run("recess", *OURS)[1].split())


@pytest.mark.parametrize("units", ["in", "mm"])
def test_a_rose_by_its_name_is_the_same_when_its_short_edge_follows_from_angles(run: Run, units: str) -> None:
    out = run("template", "--reach", "3 in", "--root-angle", "90", "--root-angle", "120", "--units", units)[1]
    name = out.splitlines()[-1].split()
    again = run("template", *name, "--units", units)[1]
    assert again.splitlines()[-1].split() == name
    assert [line.replace(", chosen", "") for line in out.splitlines()[1:20]] == again.splitlines()[1:20]


def test_each_ending_gives_its_kind_and_is_replaced(run: Run, tmp_path: Path) -> None:
    for _ in range(2):
        assert run("template", "a.pdf", "a.svg", "a.DXF", *OURS, "--paper", "a4")[0] == 0
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF")
    assert b"<svg" in (tmp_path / "a.svg").read_bytes()
    assert b"LWPOLYLINE" in (tmp_path / "a.DXF").read_bytes()


def test_what_is_not_ours_stays(run: Run, tmp_path: Path) -> None:
    for name in ("a.pdf", "a.svg", "a.dxf"):
        (tmp_path / name).write_text("mine")
        status, _, err = run("template", name, *OURS)
        assert status == 1
        assert "not a drawing of ours" in err
        assert (tmp_path / name).read_text() == "mine"


def test_a_pdf_of_ours_is_replaced_by_its_own_kind_alone(run: Run, tmp_path: Path) -> None:
    commands = {"template": ["template", "a.pdf", *OURS], "recess": ["recess", "a.pdf", *OURS], "cards": ["cards", "a.pdf"]}
    for first, words in commands.items():
        (tmp_path / "a.pdf").unlink(missing_ok=True)
        assert run(*words)[0] == 0
        before = (tmp_path / "a.pdf").read_bytes()
        for other, others in commands.items():
            assert run(*others)[0] == (0 if other == first else 1)
            assert (tmp_path / "a.pdf").read_bytes() == before
    (tmp_path / "a.jpg").write_bytes(b"no photo")
    assert "a.pdf is already there and is not a bench sheet of ours" in run("sheet", "a.jpg", "a.pdf")[2]


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ("--reach 3 --short-edge 1 --strip 5/8", "strips 5/8 in wide are too narrow for its shoulder"),
        ("--reach 9 --top 16 --band 3/4", "past the edge band"),
        ("--reach 3 --reach 1", "Rings overlap"),
        ("--reach 3 --root-angle 88", "4 root angles of 88 degrees come to 352"),
        ("--reach 3 --points 9 --rings 2", "can't be shared out"),
        ("--reach 3 --points 16 --reach 2-1/2 --reach 2", "With three rings"),
    ],
)
def test_what_cant_be_built_is_refused_and_what_is_offered_can(run: Run, options: str, why: str, tmp_path: Path) -> None:
    status, out, err = run("template", "a.pdf", *options.split())
    assert (status, out) == (1, "")
    assert why in err
    assert not list(tmp_path.iterdir())
    offered = err.split("The nearest that can be built: ")[1].split()
    assert run("template", *offered)[0] == 0


@pytest.mark.parametrize(
    "options",
    [
        "",
        "--reach 0",
        "--reach 3x",
        "--reach 3 --root-angle 200",
        "--reach 3 --band 1",
        "--reach 3 --spare -1",
        "a.doc --reach 3",
        "--reach 3 --bar-across 7",
        "--reach 999",
    ],
)
def test_a_wrong_command_line(run: Run, options: str) -> None:
    status, out, err = run("template", *options.split())
    assert (status, out) == (2, "")
    assert "Error" in err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ("--units cm", "cm won't do: write in or mm."),
        ("--spare 21", "21 won't do: write a whole number from 0 to 20."),
        ("--dark up", "up won't do: write left or right."),
        ("--points x", "x won't do: write a whole number of 1 or more."),
    ],
)
def test_what_wont_do_is_said_in_plain_words(run: Run, options: str, said: str) -> None:
    status, out, err = run("template", "--reach", "3", *options.split())
    assert (status, out) == (2, "")
    assert said in " ".join(err.split())


def test_a_leaf_that_is_too_small_is_refused_with_one_that_will_do(run: Run) -> None:
    status, _, err = run("template", *OURS, "--leaf-length", "2", "--leaf-width", "1/2")
    assert status == 1
    offered = err.split("The nearest that can be built: ")[1].split()
    assert run("template", *OURS, *offered)[0] == 0


def test_the_recess_by_design(run: Run, tmp_path: Path) -> None:
    status, out, err = run("recess", "r.pdf", "r.svg", "r.dxf", *OURS)
    assert (status, err) == (0, "")
    assert ".0238 in (0.60 mm)" in out
    assert re.search(r"1 to 4 +26\.7 degrees +17/64 in \(0\.2712\) +31/64 in \(0\.4798\)", out)
    assert len(list(tmp_path.iterdir())) == 3


def test_a_bit_that_is_too_large_is_refused_with_one_that_will_do(run: Run) -> None:
    status, _, err = run("recess", *OURS, "--bit", "1")
    assert status == 1
    offered = err.split("The nearest that can be built: ")[1].split()
    assert run("recess", *OURS, *offered)[0] == 0


def test_the_recess_of_a_measured_rose(run: Run, tmp_path: Path) -> None:
    """Tips as the result file gives them, corners by their place in the photo: here from straight above, 100 px to the inch."""
    from math import cos, degrees, pi, sin

    from seamcheck.design.draw_up import draw_up
    from seamcheck.design.wish import Wish

    turn = 0.3
    tips = []
    for lobe in draw_up(Wish(8, (3.0,), short_edges_in=(13 / 16,))).lobes():
        corners = [(x * cos(turn) + y * sin(turn), y * cos(turn) - x * sin(turn)) for x, y in lobe.kite.corners_in]
        tips.append(
            {
                "lobe": lobe.number,
                "ring": lobe.ring.number,
                "bearing_deg": degrees((lobe.bearing + turn) % (2 * pi)),
                "reach_in": lobe.ring.reach_in,
                "tip_px": [800 + 100 * corners[2][0], 600 - 100 * corners[2][1]],
                "outline_px": [[800 + 100 * x, 600 - 100 * y] for x, y in corners],
            }
        )
    (tmp_path / "a.json").write_text(json.dumps({"tips": tips, "centre_px": [800, 600]}))
    status, out, err = run("recess", "r.pdf", "--result", "a.json")
    assert (status, err) == (0, "")
    by_design = run("recess", *OURS)[1]
    assert out.splitlines()[:4] == by_design.splitlines()[:4]
    assert len(re.findall(r"31/64 in$", out, re.MULTILINE)) == len(re.findall(r"11/64 in$", out, re.MULTILINE)) >= 1
    assert "by photo" in out
    assert "(0.4798)" not in out  # a photo doesn't know it so well
    assert "usual veneer" in out
    assert "usual veneer" not in run("recess", "--result", "a.json", "--veneer", "0.6mm")[1]


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", "null", '{"tips": [], "centre_px": null}', '{"tips": [{"ring": 1}], "centre_px": [0, 0]}']
)
def test_what_gives_no_outline(run: Run, tmp_path: Path, text: str) -> None:
    (tmp_path / "a.json").write_text(text)
    status, out, err = run("recess", "--result", "a.json")
    assert (status, out) == (1, "")
    assert err.startswith("a.json gives no outline of a rose")


@pytest.mark.parametrize(("stage", "words"), [("bare", "a bare top"), ("loose", "loose lobes")])
def test_another_stage_gives_no_outline(run: Run, tmp_path: Path, stage: str, words: str) -> None:
    (tmp_path / "a.json").write_text(json.dumps({"stage": stage, "tips": [], "centre_px": None}))
    status, _, err = run("recess", "--result", "a.json")
    assert status == 1
    assert f"it shows {words}, not a rose on its top" in err


def test_a_newer_result_gives_no_outline(run: Run, tmp_path: Path) -> None:
    (tmp_path / "a.json").write_text(json.dumps({"schema_version": 2, "stage": "dry-fit", "tips": [], "centre_px": None}))
    status, _, err = run("recess", "--result", "a.json")
    assert status == 1
    assert "made by a newer seamcheck" in err


def test_a_result_and_a_rose_at_once(run: Run, tmp_path: Path) -> None:
    (tmp_path / "a.json").write_text("{}")
    assert run("recess", "--result", "a.json", "--reach", "3")[0] == 2
    assert run("recess", "--result", "b.json")[0] == 1


def test_tips_that_lie_nowhere_are_refused(run: Run, tmp_path: Path) -> None:
    """All in one spot, at infinity, or too many brackets."""
    tip = {"lobe": 1, "ring": 1, "bearing_deg": 0.0, "reach_in": 3.0, "tip_px": [5, 5], "outline_px": [[5, 5]] * 4}
    for tips in ([{**tip, "lobe": k} for k in range(1, 9)], [{**tip, "lobe": k, "tip_px": [float("inf"), k]} for k in range(1, 9)]):
        (tmp_path / "a.json").write_text(json.dumps({"tips": tips, "centre_px": None}))
        status, _, err = run("recess", "--result", "a.json")
        assert status == 1
        assert err.startswith(("a.json gives no outline", "A bit"))
    (tmp_path / "a.json").write_text("[" * 200_000)
    assert run("recess", "--result", "a.json")[2].startswith("a.json gives no outline")


def bare_document(off_deg: dict[int, float], reaches: tuple[float, ...] = (3.0, 2.5)) -> dict[str, object]:
    """What the result file of a bare top with eight seams holds of the rose that was placed; seams in off_deg are to be made to suit."""
    points = [
        {
            "seam": k + 1,
            "ring": 1 + k % 2,
            "bearing_deg": (45 * k + off_deg.get(k + 1, 0.0)) % 360,
            "tip_px": [0, 0],
            "reach_in": reaches[k % 2],
            "miss_in": 0.004,
            "miss_u95_in": 0.003,
            "made_to_suit": k + 1 in off_deg,
        }
        for k in range(8)
    ]
    placed = {"points": points, "shift_right_in": 0.01, "shift_up_in": 0.0, "turn_deg": -0.1, "largest_miss_in": 0.009}
    top = {"rose_reaches_in": list(reaches), "rose_least_miss": placed, "rose_fewest_suited": placed if off_deg else None}
    head = {"schema_version": 1, "photo": {"file": "top.jpg"}, "stage": "bare", "tips": [], "joints": [], "tolerance_in": 1 / 64}
    return {**head, "top": top}


def test_a_rose_made_for_a_measured_top(run: Run, tmp_path: Path) -> None:
    (tmp_path / "bare.json").write_text(json.dumps(bare_document({3: 0.6})))
    status, out, err = run("template", "r.pdf", "r.svg", "r.dxf", "--on", "bare.json", "--short-edge", "13/16")
    assert (status, err) == (0, "")
    words = " ".join(out.split())
    for part in (
        "For the top in top.jpg. Lay the rose with its centre 1/64 in (.0100) toward 3 o'clock",
        "The lobe at seam 3 is made to suit; all other points then lie within",
    ):
        assert part in words
    # The lobe itself and its neighbours in the first ring, and the two that stand in its notches.
    for name, seam in (("1A", 1), ("2A", 2), ("1B", 3), ("2B", 4), ("1C", 5)):
        assert f"Pattern {name}, for seam {seam}" in words
    assert "45.30 degrees" in words
    assert "Cut to ring 1's common pattern: seam 7." in words
    assert len(list(tmp_path.iterdir())) == 4


def unmeasured_at(seam: int, document: dict[str, object]) -> dict[str, object]:
    """The same where one seam couldn't be had: whatever was laid there has no miss, and of lobes made to suit it's one."""
    top = document["top"]
    assert isinstance(top, dict)
    changed = dict(top)
    for name in ("rose_least_miss", "rose_fewest_suited"):
        if top[name] is not None:
            points = [
                {**point, "miss_in": None, "miss_u95_in": None, "made_to_suit": name == "rose_fewest_suited"}
                if point["seam"] == seam
                else point
                for point in top[name]["points"]
            ]
            changed[name] = {**top[name], "points": points}
    return {**document, "top": changed}


@pytest.mark.parametrize("off", [{}, {3: 0.6}])
def test_a_seam_that_wasnt_measured_gets_no_pattern(run: Run, tmp_path: Path, off: dict[int, float]) -> None:
    (tmp_path / "bare.json").write_text(json.dumps(unmeasured_at(7, bare_document(off))))
    status, out, _ = run("template", "r.pdf", "--on", "bare.json", "--short-edge", "13/16")
    words = " ".join(out.split())
    assert status == 0
    assert "Seam 7 wasn't measured, and is drawn as if it were even" in words
    assert "Not cut yet: seam 7, which wasn't measured" in words
    assert "whose seam was measured" in words or "whose seams were measured" in words
    assert not re.search(r"(made to suit|common pattern: seams?)[^.;]*\b7\b", words)
    assert "Every lobe is cut" not in words


def test_an_even_top_needs_no_pattern_of_its_own(run: Run, tmp_path: Path) -> None:
    (tmp_path / "bare.json").write_text(json.dumps(bare_document({})))
    status, out, _ = run("template", "--on", "bare.json")
    assert status == 0
    assert "Every lobe is cut to its ring's common pattern." in out
    assert "8 points in two rings" in out


def test_another_rose_than_was_placed_is_refused(run: Run, tmp_path: Path) -> None:
    (tmp_path / "bare.json").write_text(json.dumps(bare_document({})))
    for options in (["--points", "6"], ["--reach", "4"], ["--rings", "1"]):
        status, out, err = run("template", "--on", "bare.json", *options)
        assert (status, out) == (2, "")
        assert "inspect the bare top again" in " ".join(err.split())
    assert run("template", "--on", "bare.json", "--reach", "3", "--reach", "2-1/2")[0] == 0
    name = run("template", "--on", "bare.json")[1].splitlines()[-1].split()
    assert name[:2] == ["--on", "bare.json"]
    assert run("template", *name)[1].splitlines()[-1].split() == name
    (tmp_path / "none.json").write_text(json.dumps({**bare_document({}), "top": None}))
    assert "holds no place for a rose" in run("template", "--on", "none.json")[2]
    (tmp_path / "spoilt.json").write_text(json.dumps({**bare_document({}), "top": {"rose_fewest_suited": {"points": [1]}}}))
    assert "missing or was changed" in run("template", "--on", "spoilt.json")[2]
    (tmp_path / "fit.json").write_text(json.dumps({**bare_document({}), "stage": "dry-fit"}))
    assert "not a bare top" in run("template", "--on", "fit.json")[2]
