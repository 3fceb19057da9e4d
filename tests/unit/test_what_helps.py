"""What an action is said to bring is what doing it brings; and the budget's words."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from seamcheck.advise.what_helps import Known, Rose, _face_known, what_helps
from seamcheck.basis.frames import bearing_of
from seamcheck.basis.lines import Line
from seamcheck.basis.uncertain import Estimate
from seamcheck.cards.detect import SeenCard
from seamcheck.cards.geometry import PAPER_THICKNESS_IN, outline_in, saddles_in
from seamcheck.cards.print_check import PrintScale, print_scale
from seamcheck.measure.face import face
from seamcheck.measure.tips import FIELD_SEAM, Lines, Sight, tip_numbers
from seamcheck.plane.camera import Camera
from seamcheck.plane.solve import PlaneSolve, solve_plane
from seamcheck.plane.what_if import camera_if
from seamcheck.report.budget import budget_lines
from seamcheck.result import Help, Stage
from tests.made_up import DRY_FIT
from tests.made_up_fit import rose, seen

SIZE_PX = (4000, 3000)
DOWN = np.array([np.pi, 0.0, 0.0])
PLACES = ((-6.0, 3.5, 0.3), (-5.0, -4.0, 5.2), (-6.5, -0.5, 1.1))  # all on one side
UNREAD, READ = print_scale(None, None), print_scale(6.0, 10.0)


def camera(height_in: float = 20.0) -> Camera:
    return Camera(3000.0, 1.0, 1999.5, 1499.5, 0.0, 0.0, 0.0, 0.0, DOWN, np.array([0.0, 0.0, height_in]))


def card(number: int, x: float, y: float, angle: float, by: Camera, noise_px: float = 0.05) -> SeenCard:
    c, s = np.cos(angle), np.sin(angle)
    turned = np.array([[c, -s], [s, c]])

    def px(drawn: np.ndarray) -> np.ndarray:
        return by.px_from_plane(np.array([x, y]) + drawn @ turned, PAPER_THICKNESS_IN)

    noise = np.random.default_rng(number).normal(0, noise_px, (12, 2))
    return SeenCard(number, saddles_in(), px(saddles_in()) + noise, px(outline_in()))


@cache
def solved(height_in: float, places: tuple[tuple[float, float, float], ...] = PLACES, bars: PrintScale = UNREAD) -> PlaneSolve:
    return solve_plane([card(k, *place, camera(height_in)) for k, place in enumerate(places, 1)], SIZE_PX, 3000.0, bars)


def spread(best: Camera, variants: tuple[tuple[str, Camera], ...], at_px: tuple[float, float], source: str = "") -> float:
    """Standard uncertainty of an inch's length about a pixel."""
    px = np.array(at_px) + np.array([[0.0, 0.0], [150.0, 0.0]])

    def length(by: Camera) -> float:
        return float(np.hypot(*np.diff(by.plane_from_px(px), axis=0)[0]))

    return float(np.sqrt(sum((length(one) - length(best)) ** 2 for name, one in variants if not source or name == source)))


RIGHT_EDGE = (2900.0, 1500.0)


def test_bars_read_is_what_reading_them_brings() -> None:
    real = solved(20.0, bars=READ)
    told = camera_if(solved(20.0), bars=READ)
    assert spread(*told, RIGHT_EDGE) == pytest.approx(spread(real.camera, real.variants, RIGHT_EDGE), rel=0.02)
    now = solved(20.0)
    assert spread(*told, RIGHT_EDGE, "print") < 0.2 * spread(now.camera, now.variants, RIGHT_EDGE, "print")


def test_one_more_card_is_what_laying_it_brings() -> None:
    now = solved(20.0)
    real = solved(20.0, (*PLACES, (5.5, 0.5, 0.0)))
    at = now.camera.plane_from_px(camera().px_from_plane(np.array([5.5, 0.5])))
    told = camera_if(now, card_at_in=at)
    before = spread(now.camera, now.variants, RIGHT_EDGE, "cards")
    assert spread(*told, RIGHT_EDGE, "cards") < 0.8 * before
    assert spread(*told, RIGHT_EDGE, "cards") == pytest.approx(spread(real.camera, real.variants, RIGHT_EDGE, "cards"), rel=0.3)


def test_closer_is_what_coming_closer_brings() -> None:
    """At the same place on the plane, which lies farther out in the closer picture."""
    places = tuple((0.6 * x, 0.6 * y, angle) for x, y, angle in PLACES)
    now, real = solved(20.0, places), solved(14.0, places)
    told_camera, told = camera_if(now, closer=20 / 14)
    px = tuple(camera(14.0).px_from_plane(np.array([2.0, 0.0])))
    assert told_camera.eye_in[2] == pytest.approx(14.0, rel=0.01)
    assert spread(told_camera, told, px, "cards") == pytest.approx(spread(real.camera, real.variants, px, "cards"), rel=0.3)


def lines(tip: np.ndarray, u_edge: float = 0.0008, u_model: float = 0.0005, u_seam: float = 0.0008, seen_fraction: float = 1.0) -> Lines:
    outward = float(bearing_of(tip))

    def line(turn: float, u: float, model: float, z_in: float, fraction: float) -> Line:
        middle = tip - 1.0 * np.array([np.sin(outward + turn), np.cos(outward + turn)])
        return Line(middle, outward + turn, np.diag([u**2, (u / 0.5) ** 2]), model, z_in, 0.8, fraction)

    return {
        "left": line(0.3, u_edge, u_model, 0.024, seen_fraction),
        "right": line(-0.3, u_edge, u_model, 0.024, seen_fraction),
        "own": line(0.0, 0.0005, 0.0002, 0.024, 1.0),
        FIELD_SEAM: line(0.0, u_seam, 0.0002, 0.0, 1.0),
    }


TIPS = [4.0 * np.array([np.sin(b), np.cos(b)]) for b in np.arange(8) * np.pi / 4]
DRY = Known(bars_read=True, veneer_told=True, stage_told=True, stage=Stage.DRY_FIT)


def rose_of(*each: Lines, bars: PrintScale = READ, u_face_in: float = 0.001, u_centre_in: float = 0.0) -> Rose:
    solve = solved(20.0, (*PLACES, (5.5, 4.0, 1.9), (6.0, -3.5, 4.0)), bars)
    sight = Sight(solve.camera, solve.variants, 0.024, u_face_in)
    return Rose(solve, sight, each, tuple(one["own"] for one in each), u_centre_in, SIZE_PX)


def first(rose: Rose, known: Known, k: int, number: str) -> Help:
    return what_helps(rose, known)[k][number][0]


def test_what_weighs_most_decides_what_helps_most() -> None:
    plain = [lines(tip) for tip in TIPS]
    faint = [*plain[:2], lines(TIPS[2], u_seam=0.006), *plain[3:]]
    assert first(rose_of(*faint), DRY, 2, "seam_offset").action == "clear_seam"
    shaded = [*plain[:2], lines(TIPS[2], u_model=0.004), *plain[3:]]
    assert first(rose_of(*shaded), DRY, 2, "seam_offset").action == "even_light"
    taped = [*plain[:2], lines(TIPS[2], u_edge=0.005, seen_fraction=0.2), *plain[3:]]
    assert first(rose_of(*taped), DRY, 2, "seam_offset").action == "lift_tape"
    unread = rose_of(*plain, bars=UNREAD)
    assert first(unread, replace(DRY, bars_read=False), 2, "reach").action == "read_bars"
    thick = rose_of(*plain, u_face_in=0.02)
    assert first(thick, replace(DRY, veneer_told=False), 2, "reach").action == "measure_veneer"
    hidden = rose_of(*plain, u_centre_in=0.02)
    assert first(hidden, DRY, 2, "reach").action == "uncover_own_seams"


def test_what_was_done_already_is_not_advised() -> None:
    plain = [lines(tip) for tip in TIPS]
    said = {one.action for helps in what_helps(rose_of(*plain), DRY) for found in helps.values() for one in found}
    assert not said & {"read_bars", "measure_veneer", "tell_stage", "uncover_own_seams", "lift_tape"}


def test_a_help_gives_what_doing_it_would() -> None:
    """The veneer, measured: u95 as the same lines give it with the thickness known."""
    plain = [lines(tip) for tip in TIPS]
    thick, thin = rose_of(*plain, u_face_in=0.02), rose_of(*plain, u_face_in=0.001)
    promised = first(thick, replace(DRY, veneer_told=False), 0, "reach")
    assert promised.u95_after == pytest.approx(tip_numbers(thin.sight, plain[0], thin.owns, 0.0).reach.u95, rel=1e-6)


@pytest.mark.parametrize("wrong", [0.01, 0.2])
def test_of_a_guessed_dry_fit_each_help_leaves_the_other_doubt(wrong: float) -> None:
    """The face is known as it would be after it."""
    guessed = replace(DRY, veneer_told=False, stage_told=False)

    def after(told_in: float | None, known: Known) -> dict[str, float]:
        sight = rose_of(lines(TIPS[0]), u_face_in=face(False, wrong, told_in).u_in).sight
        return {name: case.sight.u_face_in for name, _, case in _face_known(sight, known)}

    assert after(None, guessed) == pytest.approx(
        {"measure_veneer": face(False, wrong, 1 / 42).u_in, "tell_stage": face(False, 0.0, None).u_in}, rel=1e-9
    )
    assert after(1 / 42, replace(guessed, veneer_told=True)) == pytest.approx({"tell_stage": face(False, 0.0, 1 / 42).u_in}, rel=1e-9)
    assert after(None, replace(guessed, stage_told=True)) == pytest.approx({"measure_veneer": face(False, 0.0, 1 / 42).u_in}, rel=1e-9)


def test_a_guessed_stage_is_worth_telling() -> None:
    plain = [lines(tip) for tip in TIPS]
    doubted = rose_of(*plain, u_face_in=face(False, 0.2, None).u_in)
    helps = what_helps(doubted, replace(DRY, veneer_told=False, stage_told=False))[0]["reach"]
    assert "tell_stage" in {one.action for one in helps}


def test_a_covered_point_has_no_budget() -> None:
    plain = [lines(tip) for tip in TIPS]
    covered = {FIELD_SEAM: plain[3][FIELD_SEAM], "own": plain[3]["own"]}
    assert what_helps(rose_of(*plain[:3], covered, *plain[4:]), DRY)[3] == {}


def test_the_budget_in_words() -> None:
    photo = seen(rose(np.random.default_rng(1)), "a.jpg")
    helps = tuple({"seam_offset": (Help("even_light", "light it", 0.001), Help("read_bars", "read them", 0.002))} for _ in photo.tips)
    words = "\n".join(budget_lines(replace(photo, helps=helps), 2))
    assert words.count("what makes its numbers uncertain") == 1
    assert "Lobe 2 at 1:30" in words
    assert "What would shrink it most: light it: ±.0010. Next: read them: ±.0020." in " ".join(words.split())
    assert "Reach, now ±.0024. No single thing that you can do would shrink it by much." in words
    shown = [line.split()[-2:] for line in words.splitlines() if "  ." in line]
    squares = [sum(float(cell) ** 2 for cell in column) for column in zip(*shown[:-1], strict=True)]
    assert np.allclose(np.sqrt(squares), [float(cell) for cell in shown[-1]], atol=2e-4)
    assert all(len(line) <= 80 for line in words.splitlines())


def test_a_budget_without_numbers() -> None:
    photo = replace(DRY_FIT, tips=tuple(replace(tip, seam_offset=None, reach=None) for tip in DRY_FIT.tips))
    assert "none of its numbers is measured" in "\n".join(budget_lines(photo, 4))
    assert budget_lines(photo, 9) == []


def test_a_source_without_words_is_named_as_it_is() -> None:
    odd = replace(DRY_FIT.tips[0], seam_offset=Estimate(0.0, {"moonlight": 0.001}), reach=None)
    assert "moonlight" in "\n".join(budget_lines(replace(DRY_FIT, tips=(odd,)), None))
