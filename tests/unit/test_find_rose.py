"""The finder on made-up tops, where every corner is known."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from seamcheck.basis.errors import CardsDisagree, NoRoseFound, PictureOfRose, TwoRosesFound
from seamcheck.basis.frames import unit_of_bearing
from seamcheck.cards.detect import find_cards
from seamcheck.cards.print_check import print_scale
from seamcheck.find.bare import is_bare_top
from seamcheck.find.light import log_light
from seamcheck.find.lobes import refine_lobes
from seamcheck.find.loose import on_the_bench
from seamcheck.find.stage import find_all, find_loose_lobes, find_rose
from seamcheck.kite import FoundLobe, Kite
from seamcheck.plane.rectify import flatten
from seamcheck.plane.solve import solve_plane
from seamcheck.result import Stage
from tests.made_up_tops import (
    DARK,
    FIELD,
    LIGHT,
    PAPER,
    MadeUpLobe,
    blades,
    camera_above,
    chequer,
    fill,
    picture,
    picture_of_a_rose,
    pinwheel,
    rose,
    tumbling_blocks,
    wheel,
    with_cards,
)
from tests.scenes.draw import draw
from tests.scenes.render import render

# The measuring stage looks .06 in to either side of what is found: half of that is well within reach.
CLOSE_IN = 0.03


def matched(found, made: list[MadeUpLobe]) -> list[tuple]:
    """Each made-up lobe with the found one whose corners are nearest, none used twice."""
    left = list(found.lobes)
    pairs = []
    for lobe in made:
        nearest = min(left, key=lambda one: np.abs(one.kite.corners_in - lobe.corners_in).max())
        left = [one for one in left if one is not nearest]
        pairs.append((lobe, nearest))
    return pairs


def assert_same(found, made: list[MadeUpLobe], rings: bool = True, close_in: float = CLOSE_IN) -> None:
    assert len(found.lobes) == len(made)
    for lobe, nearest in matched(found, made):
        assert np.abs(nearest.kite.corners_in - lobe.corners_in).max() < close_in
        assert nearest.dark_side == lobe.dark_side
        assert nearest.ring == (lobe.ring if rings else None)


@pytest.mark.parametrize(
    "shape",
    [
        {"count": 3, "notch_in": 1.3, "reach_in": 3.6, "second": (1.0, 3.1)},
        {"count": 4, "notch_in": 1.4, "reach_in": 3.8},
        {"count": 4, "notch_in": 1.5, "reach_in": 4.0, "second": (1.1, 3.5)},
        {"count": 6, "notch_in": 1.8, "reach_in": 4.9, "second": (1.2, 4.3)},
        {"count": 8, "notch_in": 1.7, "reach_in": 4.2},
        {"count": 12, "notch_in": 1.9, "reach_in": 4.6},
        {"count": 16, "notch_in": 2.2, "reach_in": 4.6},
    ],
    ids=lambda shape: f"{shape['count']}{'+' if 'second' in shape else ''}",
)
@pytest.mark.parametrize("dark_side", ["cw", "ccw"])
def test_a_rose_of_any_count_is_found(shape, dark_side):
    made = rose(**shape, dark_side=dark_side, bearing=0.31, centre_in=(0.4, -0.3))
    found = find_rose(picture(made), camera_above(), [], 0.0)
    assert found.centre_in == pytest.approx([0.4, -0.3], abs=CLOSE_IN)
    assert_same(found, made)


def rendered(seed: int):
    """A drawn scene's photo, its camera and its cards' outlines."""
    photo = cv2.imdecode(np.frombuffer(render(draw(seed)), np.uint8), cv2.IMREAD_COLOR)
    search = find_cards(cv2.cvtColor(photo, cv2.COLOR_BGR2GRAY))
    solve = solve_plane(search.cards, (photo.shape[1], photo.shape[0]), None, print_scale(None, None))
    return photo, solve.camera, list(solve.outlines_in)


def test_joints_are_not_taken_for_own_seams():
    # Four points in one ring whose light halves are of the field's own lightness: its joints show better than its own seams.
    photo, camera, outlines = rendered(12)
    assert len(find_rose(photo, camera, outlines, 1 / 42).lobes) == len(draw(12).rose.lobes) == 4


def test_a_lobe_laid_the_other_way_round_is_told():
    made = rose(4, second=(1.1, 3.5), turned_over=(2,))
    # Where it meets its neighbours dark lies on dark and light on light: those joints can't be seen.
    assert_same(find_rose(picture(made), camera_above(), [], 0.0), made, close_in=0.06)


def test_lobes_begun_far_too_short_are_drawn_on_till_they_settle():
    made = rose(8, notch_in=1.0, reach_in=4.2, bearing=0.2)
    light = log_light(flatten(picture(made), camera_above(), np.full(2, -5.0), np.full(2, 5.0), 0.0, 45.0, 1), [])
    short = []
    for lobe in made:
        root, left, tip, right = np.array(lobe.corners_in)
        short.append(FoundLobe(1, Kite(root, left, root + 0.82 * (tip - root), right), lobe.dark_side))
    drawn = refine_lobes(light, short)
    for lobe, one in zip(made, drawn, strict=True):
        # They began 0.7 in off; a point this sharp is where edges a few hundredths off say it is.
        assert np.abs(one.kite.corners_in - lobe.corners_in).max() < 0.2


def test_a_sliver_of_a_card_in_view_says_nothing_of_white():
    """A box round the rose that holds only a card's rim, over brown wood: paper is what the whole view shows."""
    whole = flatten(picture(rose(4)), camera_above(), np.full(2, -6.0), np.full(2, 6.0), 0.0, 12.0, 1)
    whole.picture[:20, :40] = 235
    card = whole.in_of(np.array([[0.0, 0.0], [39.0, 0.0], [39.0, 19.0], [0.0, 19.0]]))
    white = log_light(whole, [card]).white
    box = flatten(picture(rose(4)), camera_above(), np.full(2, -4.0), np.full(2, 4.0), 0.0, 24.0, 1)
    sliver = np.array([[-4.3, 0.0], [-3.9, 0.0], [-3.9, 0.3], [-4.3, 0.3]])
    seen = log_light(box, [sliver], white)
    assert seen.white is white
    inside = np.hypot(*np.moveaxis(box.in_of(np.stack(np.meshgrid(*map(np.arange, box.picture.shape[1::-1])), axis=-1)), -1, 0)) < 2.0
    assert seen.wood[inside].mean() > 0.99


def test_a_rose_of_striped_wood_is_found_by_lightness():
    # A wood whose stripes differ in colour from each other more than its mean does from the light wood.
    photo, camera, outlines = rendered(9302)
    assert len(find_rose(photo, camera, outlines, 1 / 42).lobes) == 8


def test_tape_hides_edges_but_not_the_lobes():
    made = rose(4, second=(1.1, 3.5), bearing=-0.2)
    photo = picture(made).astype(np.float32)
    for middle, colour in (((0.0, 0.0), (190, 110, 40)), ((1.8, 1.2), (160, 205, 215)), ((-1.0, 1.9), (160, 205, 215))):
        fill(photo, np.array(middle) + np.array([[-0.9, -0.3], [0.8, -0.5], [0.9, 0.1], [-0.8, 0.3]]), colour)
    found = find_rose(photo.astype(np.uint8), camera_above(), [], 0.0)
    assert found.raised > 0.9
    assert found.tape_odds is not None
    assert found.tape_odds > 50
    assert len(found.lobes) == len(made)
    worst = [np.abs(nearest.kite.corners_in - lobe.corners_in).max() for lobe, nearest in matched(found, made)]
    assert np.median(worst) < CLOSE_IN
    assert max(worst) < 0.12  # a corner whose edges lie wholly under tape is where its ring would have it


def test_a_rose_without_tape_is_more_likely_an_inlay():
    assert find_rose(picture(rose(4, second=(1.1, 3.5))), camera_above(), [], 0.0).raised < 0.5


@pytest.mark.parametrize("pairs", [5, 8, 10, 12])
def test_a_wheel_of_wedges_is_refused(pairs):
    with pytest.raises(NoRoseFound):
        find_all(wheel(pairs), camera_above(), [], None, 0.02)


OTHER_INLAYS = {
    "pinwheel": lambda: pinwheel(6),
    "six blades": lambda: blades(6),
    "eight blades": lambda: blades(8),
    "chequer": lambda: chequer(0.6, 3.0),
    "turned chequer": lambda: chequer(0.6, 3.0, 0.4),
    "large chequer": lambda: chequer(0.8, 3.2),
    "tumbling blocks": lambda: tumbling_blocks(0.7, 4.5),
    "narrow points whose count could be doubled": lambda: picture(rose(4, notch_in=0.9, reach_in=4.0, bearing=0.2)),
}


@pytest.mark.parametrize("inlay", OTHER_INLAYS.values(), ids=OTHER_INLAYS.keys())
def test_another_inlay_is_refused(inlay):
    with pytest.raises(NoRoseFound):
        find_all(inlay(), camera_above(), [], None, 0.02)


@pytest.mark.parametrize("inlay", [lambda: chequer(0.8, 3.2), lambda: tumbling_blocks(0.7, 4.5)], ids=["chequer", "tumbling blocks"])
def test_pieces_of_one_wood_are_no_loose_lobes(inlay):
    with pytest.raises(NoRoseFound):
        find_loose_lobes(inlay(), camera_above(), [], 0.0)


def test_a_two_toned_inlay_is_no_bare_top():
    """A dart board fills so much of the top that its middle is like what lies round it."""

    def bare(tones):
        drawn = picture([], grain=0.015).astype(np.float32)
        for row, k in np.ndindex(5, 16):
            edges = unit_of_bearing(np.pi / 8 * np.linspace(k, k + 1, 4))
            fill(drawn, np.vstack([1.3 * (row + 1) * edges, 1.3 * row * edges[::-1]]), tones[(k + row) % 2])
        view = flatten(drawn.astype(np.uint8), camera_above(), np.array([-10.5, -9.5]), np.array([10.5, 9.5]), 0.0, 12.0, 1)
        return is_bare_top(log_light(view, []))

    assert bare((FIELD, (90, 128, 186)))
    assert not bare((LIGHT, DARK))


PARTLY_LAID = {
    "one of the second ring is missing": (rose(4, second=(1.1, 3.5)), {7}),
    "one of the first ring is missing": (rose(4, second=(1.1, 3.5)), {1}),
    "half of the second ring": (rose(4, second=(1.1, 3.5)), {6, 7}),
    "three and the two between them": (rose(4, second=(1.1, 3.5)), {3, 6, 7}),
    "half of a single ring": (rose(8, notch_in=1.7, reach_in=4.2), {4, 5, 6, 7}),
    "two apart are missing": (rose(8, notch_in=1.7, reach_in=4.2), {3, 7}),
    "two of four": (rose(4, second=(1.1, 3.5)), {2, 3, 4, 5, 6, 7}),
}


@pytest.mark.parametrize(("made", "missing"), PARTLY_LAID.values(), ids=PARTLY_LAID.keys())
def test_lobes_not_yet_laid_are_not_invented(made, missing):
    laid = [lobe for k, lobe in enumerate(made) if k not in missing]
    stage, found = find_all(picture(laid), camera_above(), [], None, 0.0)
    assert stage is Stage.DRY_FIT  # an inlay has no lobes missing
    assert_same(found, laid, close_in=0.06)


def test_a_lobe_wholly_under_tape_may_be_there():
    made = rose(4, second=(1.1, 3.5))
    photo = picture(made).astype(np.float32)
    root, _, tip, _ = made[5].corners_in
    out = unit_of_bearing(np.arctan2(*(tip - root)))
    side = np.array([out[1], -out[0]])
    fill(
        photo, np.stack([root - 1.2 * side, tip + 0.3 * out - 1.2 * side, tip + 0.3 * out + 1.2 * side, root + 1.2 * side]), (160, 205, 215)
    )
    found = find_rose(photo.astype(np.uint8), camera_above(), [], 0.0)
    assert len(found.lobes) == len(made)


def two_roses() -> np.ndarray:
    small = {"notch_in": 0.9, "reach_in": 2.6, "second": (0.7, 2.3)}
    return picture(rose(4, centre_in=(-5.2, 0), **small) + rose(4, centre_in=(5.2, 1), bearing=0.3, **small))


def cards_round(x: float, y: float) -> list[np.ndarray]:
    outline = np.array([[-0.5, -0.4], [-0.5, 0.4], [0.5, 0.4], [0.5, -0.4]])
    return [outline + [x + 3.6 * a, y + 3.6 * b] for a, b in ((1, 1), (-1, 1), (1, -1), (-1, -1))]


@pytest.mark.parametrize(("x", "y"), [(-5.2, 0.0), (5.2, 1.0)])
def test_of_two_roses_the_one_with_the_cards_is_meant(x, y):
    found = find_rose(with_cards(two_roses(), cards_round(x, y)), camera_above(), cards_round(x, y), 0.0)
    assert found.centre_in == pytest.approx([x, y], abs=CLOSE_IN)
    assert len(found.lobes) == 8


@pytest.mark.parametrize(
    "cards", [[], [card + [0.0, y] for card in cards_round(-3.6, -3.6)[:1] for y in (-3.0, 0.0, 3.0)]], ids=["none", "between"]
)
def test_two_roses_with_the_cards_round_neither_are_refused(cards):
    with pytest.raises(TwoRosesFound):
        find_all(with_cards(two_roses(), cards), camera_above(), cards, None, 0.0)


CORNER_CARDS = [card + [5.4 * np.sign(x), 4.7 * np.sign(y)] for x, y in ((1, 1), (-1, -1)) for card in cards_round(-3.6, -3.6)[:1]]


@pytest.mark.parametrize(("share", "margin_in"), [(0.4, 0.25), (0.7, 0.5), (1.0, 0.3)])
def test_a_picture_of_a_rose_is_refused(share, margin_in):
    cards = [card + [2.5, 4.0] for card in CORNER_CARDS]
    with pytest.raises(PictureOfRose):
        find_all(with_cards(picture_of_a_rose(share, margin_in), cards), camera_above(), cards, None, 0.0)


def test_a_rose_on_a_panel_on_a_white_bench_is_no_picture():
    made = rose(4, second=(1.1, 3.5))
    photo = with_cards(picture(made, top_radius_in=None), CORNER_CARDS)
    photo[:40], photo[-40:], photo[:, :80], photo[:, -80:] = PAPER, PAPER, PAPER, PAPER
    assert_same(find_rose(photo, camera_above(), CORNER_CARDS, 0.0), made)


def test_a_lens_that_shows_the_corners_nowhere_is_refused():
    bent = replace(camera_above(), k1=-2.0)
    with pytest.raises(CardsDisagree):
        find_all(two_roses(), bent, [], None, 0.0)


def test_a_bare_top_is_bare():
    """Eight leaves, every other a little lighter."""
    leaves = picture([], grain=0.015).astype(np.float32)
    for k in range(8):
        edges = 8.4 * unit_of_bearing(np.pi / 4 * np.linspace(k, k + 1, 6))
        fill(leaves, np.vstack([np.zeros((1, 2)), edges]), (90, 128, 186) if k % 2 else FIELD)
    noise = np.random.default_rng(1).normal(0, 3, leaves.shape)
    stage, found = find_all(np.clip(leaves + noise, 0, 255).astype(np.uint8), camera_above(), [], None, 0.02)
    assert stage is Stage.BARE
    assert found.lobes == ()


def test_a_bench_with_nothing_on_it_is_refused():
    with pytest.raises(NoRoseFound):
        find_all(picture([], top_radius_in=None), camera_above(), [], None, 0.02)


def scattered() -> list[MadeUpLobe]:
    """Lobes of two sizes, strewn."""
    large, small = rose(4)[0], rose(4, second=(1.1, 3.5))[4]
    places = [(-6, -5, 0.3), (-2, -7, 2.0), (4, -4, 4.0), (0.5, 1.0, 5.2), (-7, 5, 1.0), (7, 2, 3.3), (-2, 6, 0.1), (5, 7, 2.6)]
    made = []
    for k, (x, y, turn) in enumerate(places):
        lobe = large if k % 2 == 0 else small
        cos, sin = np.cos(turn), np.sin(turn)
        local = lobe.corners_in - lobe.corners_in.mean(axis=0)
        made.append(MadeUpLobe(0, local @ np.array([[cos, -sin], [sin, cos]]) + [x, y], "ccw"))
    return made


def test_loose_lobes_are_found_at_any_angle():
    made = [lobe for lobe in scattered() if np.abs(lobe.corners_in).max(axis=0)[0] < 10.5 and np.abs(lobe.corners_in).max(axis=0)[1] < 9.5]
    assert len(made) >= 6
    photo = picture(made, ground=(105, 110, 112), top_radius_in=None)
    stage, found = find_all(photo, camera_above(), [], None, 0.0)
    assert stage is Stage.LOOSE
    assert found.centre_in is None
    assert_same(found, made, rings=False)


def test_an_off_cut_is_no_lobe():
    photo = picture([], ground=(105, 110, 112), top_radius_in=None).astype(np.float32)
    fill(photo, np.array([[-2, -1], [1.5, -1.2], [1.4, 0.3], [-2.2, 0.4]]), LIGHT)
    with pytest.raises(NoRoseFound):
        find_loose_lobes(photo.astype(np.uint8), camera_above(), [], 0.0)


def test_loose_lobes_lie_on_the_bench_and_fields_of_a_dart_board_among_others():
    def lobes_and_light(photo, made):
        view = flatten(photo, camera_above(), np.array([-10.5, -9.5]), np.array([10.5, 9.5]), 0.0, 20.0, 1)
        return log_light(view, []), [FoundLobe(1, Kite(*lobe.corners_in), lobe.dark_side) for lobe in made]

    apart = scattered()[:6]
    assert on_the_bench(*lobes_and_light(picture(apart, ground=(105, 110, 112), top_radius_in=None), apart))
    board, fields = picture([]).astype(np.float32), []
    for row, k in np.ndindex(3, 16):
        edges = unit_of_bearing(np.pi / 8 * np.array([k, k + 0.5, k + 1]))
        inner, outer = 1.9 * row + 0.5, 1.9 * (row + 1) + 0.5
        fill(board, np.vstack([inner * edges[:1], outer * edges, inner * edges[-1:]]), DARK if (k + row) % 2 else LIGHT)
        if row == 1:  # a kite on the border of two fields
            fields.append(
                MadeUpLobe(1, np.stack([inner * edges[0], 2.9 * edges[0] - [0.5, 0], outer * edges[0], 2.9 * edges[0] + [0.5, 0]]), "cw")
            )
    assert not on_the_bench(*lobes_and_light(np.clip(board, 0, 255).astype(np.uint8), fields))
