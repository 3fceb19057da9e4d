"""The solve of camera, plane and cards, on cards seen by a known camera."""

from __future__ import annotations

from math import comb

import cv2
import numpy as np
import pytest

from seamcheck.cards.detect import SeenCard, find_cards
from seamcheck.cards.geometry import PAPER_THICKNESS_IN, outline_in, saddles_in
from seamcheck.cards.print_check import print_scale
from seamcheck.plane.camera import Camera
from seamcheck.plane.known import U_LENS_REPEATS, lens_of
from seamcheck.plane.solve import PlaneSolve, solve_plane
from seamcheck.plane.spread import CARDS

SIZE_PX = (4000, 3000)
FOCAL_PX = 3050.0
PLACES = ((-6.0, 3.5, 0.3), (5.5, 4.0, 1.9), (6.0, -3.5, 4.0), (-5.0, -4.0, 5.2), (0.5, 5.5, 2.5))


def camera(tilt: float = 0.15) -> Camera:
    down = cv2.Rodrigues(cv2.Rodrigues(np.array([tilt, -0.6 * tilt, 0.0]))[0] @ np.diag([1.0, -1.0, -1.0]))[0].ravel()
    return Camera(3000.0, 1.0002, 1995.0, 1506.0, -0.012, 0.006, 2e-4, -3e-4, down, np.array([0.2, -0.1, 18.0]))


def laid(points: np.ndarray, x: float, y: float, angle: float, scale: tuple[float, float]) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    px, py = points[:, 0] * scale[0], points[:, 1] * scale[1]
    return np.stack([x + c * px + s * py, y - s * px + c * py], axis=-1)


def seen(
    noise_px: float, rng: np.random.Generator, scale: tuple[float, float] = (1.0, 1.0), count: int = 5, by: Camera | None = None
) -> list[SeenCard]:
    by = by or camera()
    cards = []
    for number, (x, y, angle) in enumerate(PLACES[:count], 1):
        px = by.px_from_plane(laid(saddles_in(), x, y, angle, scale), PAPER_THICKNESS_IN)
        outline = by.px_from_plane(laid(outline_in(), x, y, angle, scale), PAPER_THICKNESS_IN)
        cards.append(SeenCard(number, saddles_in(), px + rng.normal(0, noise_px, px.shape), outline))
    return cards


def across(solve: PlaneSolve, which: Camera | None = None) -> float:
    """The length of a line 8 in long on the field, as solved."""
    ends = camera().px_from_plane(np.array([[-4.0, -1.0], [4.0, -1.0]]))
    a, b = (which or solve.camera).plane_from_px(ends)
    return float(np.hypot(*(b - a)))


def test_exact_saddles_give_exact_lengths() -> None:
    solve = solve_plane(seen(0.0, np.random.default_rng(1)), SIZE_PX, FOCAL_PX, print_scale(6.0, 10.0))
    assert solve.cards == (1, 2, 3, 4, 5)
    assert solve.rms_px < 0.01
    assert abs(across(solve) - 8.0) < 0.0005


def test_bars_read_put_the_print_right() -> None:
    cards = seen(0.0, np.random.default_rng(1), (0.994, 1.003))
    solve = solve_plane(cards, SIZE_PX, FOCAL_PX, print_scale(6 * 0.994, 10 * 1.003))
    assert abs(across(solve) - 8.0) < 0.001


def test_each_bar_s_reading_goes_to_its_own_side_of_a_card() -> None:
    """One card alone doesn't show how its sides compare: what is known of that is what the bars said."""
    scale = (0.994, 1.003)
    card = seen(0.0, np.random.default_rng(1), scale, count=1)[0]
    solve = solve_plane([card], SIZE_PX, FOCAL_PX, print_scale(6 * scale[0], 10 * scale[1]))
    corners = solve.camera.plane_from_px(card.outline_px, PAPER_THICKNESS_IN)
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    assert sides[[0, 2]] == pytest.approx(3.0 * scale[0], abs=0.003)
    assert sides[[1, 3]] == pytest.approx(2.5 * scale[1], abs=0.003)


def test_a_card_of_another_scale_is_left_out() -> None:
    cards = seen(0.03, np.random.default_rng(2))
    wrong = seen(0.03, np.random.default_rng(3), (0.97, 0.97))[2]
    solve = solve_plane([*cards[:2], wrong, *cards[3:]], SIZE_PX, FOCAL_PX, print_scale(6.0, 10.0))
    assert [number for number, _ in solve.other_scale] == [3]
    assert abs(across(solve) - 8.0) < 0.002


def test_predicted_spread_is_that_of_solving_again() -> None:
    """First-order covariance against re-solved noisy scenes, as in Criminisi, Reid, Zisserman (BMVC 1997, section 7)."""
    rng = np.random.default_rng(4)
    noise = 0.2  # above the floor that the solve allows for
    solves = [solve_plane(seen(noise, rng), SIZE_PX, FOCAL_PX, print_scale(6.0, 10.0)) for _ in range(60)]
    lengths = np.array([across(solve) for solve in solves])
    predicted = []
    for solve in solves:
        moves = [across(solve, variant) - across(solve) for source, variant in solve.variants if source == CARDS]
        predicted.append(np.sqrt(np.sum(np.square(moves))))
    # The priors' own errors are the same in all: only the saddles' share may show. Sixty scenes tell a spread to about 9 %.
    assert 0.8 * np.median(predicted) < lengths.std() < 1.25 * np.median(predicted)


def test_lengths_lie_inside_u95_for_any_phone() -> None:
    """Cameras, prints and readings drawn at random as the solve supposes them: inside u95 as often as the binomial allows (5 %)."""
    rng = np.random.default_rng(8)
    trials, inside = 40, 0
    reading = print_scale(6.0, 10.0)
    a, b = np.array([-3.0, -2.0]), np.array([3.5, 1.5])
    for _ in range(trials):
        down = cv2.Rodrigues(cv2.Rodrigues(np.array([*rng.uniform(-0.3, 0.3, 2), 0.0]))[0] @ np.diag([1.0, -1.0, -1.0]))[0].ravel()
        by = Camera(
            FOCAL_PX * float(np.exp(rng.normal(0, 0.03))),
            1 + rng.normal(0, 5e-4),
            1999.5 + rng.normal(0, 10),
            1499.5 + rng.normal(0, 10),
            *rng.normal(0, 0.02, 2),
            *rng.normal(0, 4e-4, 2),
            down,
            np.array([*rng.uniform(-1, 1, 2), rng.uniform(16, 24)]),
        )
        scale = (1 + rng.normal(0, reading.u_across), 1 + rng.normal(0, reading.u_along))
        solve = solve_plane(seen(0.04, rng, scale, int(rng.integers(2, 6)), by), SIZE_PX, FOCAL_PX, reading)
        px = by.px_from_plane(np.stack([a, b]))

        def length(camera: Camera, px: np.ndarray = px) -> float:
            return float(np.hypot(*np.diff(camera.plane_from_px(px), axis=0)[0]))

        u = np.sqrt(sum((length(variant) - length(solve.camera)) ** 2 for _, variant in solve.variants))
        inside += abs(length(solve.camera) - float(np.hypot(*(b - a)))) < 1.96 * u
    chance_of_fewer = sum(comb(trials, k) * 0.95**k * 0.05 ** (trials - k) for k in range(inside + 1))
    assert chance_of_fewer > 0.05


def test_a_homography_is_what_it_comes_to_without_a_lens() -> None:
    """With no lens terms, plane and photo are a homography; OpenCV's own fit of the same saddles agrees with the solve at the rose."""
    down = cv2.Rodrigues(cv2.Rodrigues(np.array([0.2, -0.1, 0.0]))[0] @ np.diag([1.0, -1.0, -1.0]))[0].ravel()
    by = Camera(FOCAL_PX, 1.0, 1999.5, 1499.5, 0.0, 0.0, 0.0, 0.0, down, np.array([0.0, 0.0, 19.0]))
    cards = seen(0.0, np.random.default_rng(9), by=by)
    solve = solve_plane(cards, SIZE_PX, FOCAL_PX, print_scale(6.0, 10.0))
    drawn = np.concatenate([laid(saddles_in(), *place, (1.0, 1.0)) for place in PLACES])
    matrix, _ = cv2.findHomography(np.concatenate([card.saddles_px for card in cards]), drawn)
    px = by.px_from_plane(np.array([[-3.0, 2.0], [2.0, -2.5]]), PAPER_THICKNESS_IN)
    theirs = cv2.perspectiveTransform(px[:, None], matrix)[:, 0]
    ours = solve.camera.plane_from_px(px, PAPER_THICKNESS_IN)
    assert abs(np.hypot(*(ours[1] - ours[0])) - np.hypot(*(theirs[1] - theirs[0]))) < 0.0005


def test_more_cards_know_more() -> None:
    spread = []
    for count in (1, 3, 5):
        solve = solve_plane(seen(0.05, np.random.default_rng(5), count=count), SIZE_PX, FOCAL_PX, print_scale(6.0, 10.0))
        moves = [across(solve, variant) - across(solve) for _, variant in solve.variants]
        spread.append(float(np.sqrt(np.sum(np.square(moves)))))
    assert spread[0] > spread[1] > spread[2]


def test_saddles_of_opencvs_own_board_lie_where_it_draws_them() -> None:
    """Pins the pixel convention: integer = centre of a pixel, so a corner on a pixel's edge reads k - .5."""
    side = 80
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    board = cv2.aruco.CharucoBoard((5, 4), 0.5, 0.375, dictionary, np.arange(20, 30))
    picture = np.full((4 * side + 400, 5 * side + 400), 255, np.uint8)
    picture[200:-200, 200:-200] = board.generateImage((5 * side, 4 * side))
    picture = cv2.GaussianBlur(picture, (0, 0), 1.2)
    (card,) = find_cards(picture).cards
    assert card.number == 3
    drawn = np.array([[200 + side * column - 0.5, 200 + side * row - 0.5] for row in (1, 2, 3) for column in (1, 2, 3, 4)])
    assert np.abs(card.saddles_px - drawn).max() < 0.02


# What can be wrong with cards and with the picture of them. Everything below is told by the cards alone.
EIGHT = (*PLACES, (-1.0, -5.5, 1.0), (3.0, -6.0, 3.3), (-7.0, 0.5, 4.6))


def bent_card(number: int, height_in: float, shape: str, by: Camera | None = None) -> SeenCard:
    """A card of EIGHT that is curled, creased, lifted at a corner or lying on something."""
    x, y, angle = EIGHT[number - 1]
    drawn = saddles_in()
    across, along = drawn[:, 0] / 1.5, drawn[:, 1] / 1.25
    up = {
        "curled": across**2,
        "creased": 1 - np.abs(across),
        "lifted at a corner": 2 * np.clip((across + along) / 2, 0, None) ** 1.5,
        "lying on something": np.ones(len(drawn)),
    }[shape]
    px = (by or camera()).px_from_plane(laid(drawn, x, y, angle, (1.0, 1.0)), PAPER_THICKNESS_IN + height_in * up)
    noise = np.random.default_rng(number).normal(0, 0.03, px.shape)
    return SeenCard(number, drawn, px + noise, px[[0, 3, 11, 8]])


def flat_cards(scales: dict[int, float] | None = None, by: Camera | None = None, warp: float = 0.0, count: int = 8) -> list[SeenCard]:
    """Cards of EIGHT, some printed at another scale; `warp` bends the whole picture by so many pixels at its sides."""
    rng = np.random.default_rng(11)
    cards = []
    for number, place in enumerate(EIGHT[:count], 1):
        scale = (scales or {}).get(number, 1.0)
        px = (by or camera()).px_from_plane(laid(saddles_in(), *place, (scale, scale)), PAPER_THICKNESS_IN)
        px[:, 1] += warp * (px[:, 0] / SIZE_PX[0] * 2 - 1) ** 2
        cards.append(SeenCard(number, saddles_in(), px + rng.normal(0, 0.03, px.shape), px[[0, 3, 11, 8]]))
    return cards


@pytest.mark.parametrize(("shape", "height_in"), [("curled", 0.03), ("curled", 0.2), ("creased", 0.12), ("lifted at a corner", 0.15)])
@pytest.mark.parametrize("count", [4, 8])
def test_a_card_that_is_not_flat_is_left_out(shape: str, height_in: float, count: int) -> None:
    cards = flat_cards(count=count)
    cards[2] = bent_card(3, height_in, shape)
    solve = solve_plane(cards, SIZE_PX, FOCAL_PX, print_scale(6.0, 10.0))
    assert solve.faulty == (3,)
    assert solve.other_scale == ()
    assert not solve.looks_cropped
    assert solve.print_suits
    assert abs(across(solve) - 8.0) < 0.004


@pytest.mark.parametrize("scale", [0.97, 0.99, 0.995, 1.01])
def test_one_card_of_another_sheet_is_told_with_its_scale(scale: float) -> None:
    solve = solve_plane(flat_cards({5: scale}), SIZE_PX, FOCAL_PX, print_scale(6.0, 10.0))
    assert solve.faulty == ()
    assert [number for number, _ in solve.other_scale] == [5]
    assert abs(solve.other_scale[0][1] - scale) < 0.001
    assert not solve.sheet_doubtful


@pytest.mark.parametrize("scale", [0.97, 0.99])
def test_half_the_cards_of_another_sheet_leave_the_scale_in_doubt(scale: float) -> None:
    other = {1: scale, 4: scale, 6: scale, 7: scale}
    solve = solve_plane(flat_cards(other), SIZE_PX, FOCAL_PX, print_scale(6.0, 10.0))
    assert set(solve.cards) in ({1, 4, 6, 7}, {2, 3, 5, 8})
    assert len(solve.other_scale) == 4
    assert solve.sheet_doubtful
    assert abs(across(solve) - 8.0) < 1.96 * solve.u_scale * 8.0


def test_readings_that_do_not_suit_the_cards_are_doubted() -> None:
    """A sixteenth misread on the short bar."""
    solve = solve_plane(flat_cards(), SIZE_PX, FOCAL_PX, print_scale(6.0625, 10.0))
    assert not solve.print_suits
    assert len(solve.cards) == 8
    assert abs(across(solve) - 8.0) < 1.96 * solve.u_scale * 8.0


@pytest.mark.parametrize("said", ["by the EXIF data of the whole photo", "nothing"])
def test_a_cropped_picture_is_told_by_its_cards(said: str) -> None:
    """The left third is missing: the optical axis lies far from the picture's middle."""
    cut = 1300.0
    cards = [
        SeenCard(card.number, card.saddles_in, card.saddles_px - [cut, 0.0], card.outline_px - [cut, 0.0])
        for card in flat_cards(by=camera(0.3))
        if card.saddles_px[:, 0].min() > cut + 10
    ]
    assert len(cards) >= 4
    focal_px = FOCAL_PX if said != "nothing" else None
    solve = solve_plane(cards, (SIZE_PX[0] - int(cut), SIZE_PX[1]), focal_px, print_scale(6.0, 10.0))
    ends = camera(0.3).px_from_plane(np.array([[-1.0, -1.0], [5.0, -1.0]])) - [cut, 0.0]
    a, b = solve.camera.plane_from_px(ends)
    moves = [np.hypot(*np.diff(v.plane_from_px(ends), axis=0)[0]) - np.hypot(*(b - a)) for _, v in solve.variants]
    assert solve.looks_cropped
    assert abs(np.hypot(*(b - a)) - 6.0) < 1.96 * float(np.sqrt(np.sum(np.square(moves))))


def test_a_wide_angle_lens_is_told_by_its_cards() -> None:
    straight = camera()
    wide = Camera(2000.0, 1.0, 1995.0, 1506.0, -0.28, 0.1, 0.0, 0.0, straight.rotation_vector, np.array([0.2, -0.1, 12.0]))
    solve = solve_plane(flat_cards(by=wide), SIZE_PX, 2000.0, print_scale(6.0, 10.0))
    assert solve.looks_cropped
    assert len(solve.cards) == 8
    a, b = solve.camera.plane_from_px(wide.px_from_plane(np.array([[-4.0, -1.0], [4.0, -1.0]])))
    assert abs(np.hypot(*(b - a)) - 8.0) < 0.003


def test_the_lens_model_is_inverted_for_wide_angle_lenses_too() -> None:
    wide = Camera(2000.0, 1.0, 1995.0, 1506.0, -0.35, 0.12, 0.0, 0.0, camera().rotation_vector, np.array([0.2, -0.1, 12.0]))
    points = np.stack(np.meshgrid(np.linspace(-9, 9, 7), np.linspace(-6, 6, 5)), axis=-1)
    assert np.abs(wide.plane_from_px(wide.px_from_plane(points)) - points).max() < 1e-6


@pytest.mark.parametrize("warp", [30.0, 80.0])
def test_a_bent_picture_is_hopeless(warp: float) -> None:
    assert solve_plane(flat_cards(warp=warp), SIZE_PX, FOCAL_PX, print_scale(6.0, 10.0)).hopeless


def test_one_curled_card_alone_is_hopeless_and_a_flat_one_is_not() -> None:
    assert solve_plane([bent_card(1, 0.15, "curled")], SIZE_PX, FOCAL_PX, print_scale(6.0, 10.0)).hopeless
    assert not solve_plane(flat_cards(count=1), SIZE_PX, FOCAL_PX, print_scale(6.0, 10.0)).hopeless


def test_flat_cards_of_a_good_photo_raise_no_doubt() -> None:
    rng = np.random.default_rng(21)
    for count in (1, 2, 3, 5):
        for _ in range(4):
            solve = solve_plane(seen(rng.uniform(0.02, 0.08), rng, count=count), SIZE_PX, FOCAL_PX, print_scale(6.0, 10.0))
            assert len(solve.cards) == count
            assert not any((solve.strained, solve.looks_cropped, solve.sheet_doubtful, solve.hopeless))
            assert solve.print_suits


def test_cards_tell_the_lens_for_another_photo_by_the_same_phone() -> None:
    true = camera()
    solve = solve_plane(seen(0.05, np.random.default_rng(4)), SIZE_PX, FOCAL_PX, print_scale(None, None))
    lens = lens_of(solve, FOCAL_PX)
    # At the edge of a top that fills the picture's height: what scales lengths.
    effect = np.array([0.11, 0.11**2])
    u = float(np.sqrt(effect @ [[lens.var_k1, lens.cov_k1_k2], [lens.cov_k1_k2, lens.var_k2]] @ effect))
    assert abs(effect @ [lens.k1 - true.k1, lens.k2 - true.k2]) < 3 * u
    assert u < 0.001
    assert lens.var_k1 > U_LENS_REPEATS**2
    assert lens.focal_share == pytest.approx(FOCAL_PX / SIZE_PX[0])
