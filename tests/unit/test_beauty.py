"""The beauty picture against exact truth: its scale, its straight lines, its light and its colours, on rendered photos."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms
from scipy.optimize import least_squares

from seamcheck.basis.frames import unit_of_bearing
from seamcheck.beauty.daylight import PAPER_SHARE, colour_matrix, in_srgb, learn_daylight, lit_evenly
from seamcheck.beauty.straight import View
from seamcheck.beauty.studio import Studio, cut_out, disc, on_white, studio
from seamcheck.edges import srgb_decode, srgb_encode
from seamcheck.pages.portfolio_content import accuracy, clocks_in, with_bar
from seamcheck.photo import read_photo
from seamcheck.report.words import clock_of
from seamcheck.result import Inspection, Stage, Verdict
from tests.made_up import DRY_FIT
from tests.scenes.draw import Scene, draw
from tests.scenes.render import PAPER, render
from tests.scenes.woods import WOODS

ROOT = Path(__file__).parents[2]
MOST_SCALE_ERROR = 0.002
MOST_BEND_PX = 1.0
SEEDS = (3, 8)


@dataclass(frozen=True)
class Shown:
    """A rendered scene and what was made of its photo."""

    scene: Scene
    studio: Studio


@pytest.fixture(scope="module", params=SEEDS)
def shown(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Shown:
    scene = draw(request.param, "inlaid", megapixels=(2.0, 2.2))
    file = tmp_path_factory.mktemp("scene") / "scene.jpg"
    file.write_bytes(render(scene))
    photo = read_photo(file)
    bars = tuple(nominal * scale for nominal, scale in zip((6.0, 10.0), scene.cards[0].print_scale, strict=True))
    middle = np.mean([lobe.tip_in for lobe in scene.rose.lobes], axis=0)
    tips = np.array([scene.tip_px(lobe) for lobe in scene.rose.lobes])
    return Shown(scene, studio(photo, found_at(photo.size_px, tips, scene.view.px(middle)), (bars[0], bars[1])))


def found_at(size_px: tuple[int, int], tips_px: np.ndarray, centre_px: np.ndarray) -> Inspection:
    """An inlaid rose whose points and centre lie there, as far as showing it needs them: nothing is measured."""
    one = DRY_FIT.tips[0]
    tips = tuple(replace(one, lobe=k, tip_px=px) for k, px in enumerate(tips_px, 1))
    return replace(DRY_FIT, stage=Stage.INLAID, size_px=size_px, tips=tips, joints=(), centre_px=centre_px)


def through(shown: Shown, plan: np.ndarray, view: View) -> np.ndarray:
    """Pixels of the view at which true plane points (..., 2) come to lie: by the true camera into the photo, by ours out of it."""
    return view.px_of(shown.studio.camera.plane_from_px(shown.scene.view.px(plan)))


def test_inches_are_as_long_as_the_picture_says(shown: Shown) -> None:
    """Between all points of the rose, each way."""
    view = shown.studio.whole
    tips = np.array([lobe.tip_in for lobe in shown.scene.rose.lobes])
    at = through(shown, tips, view)
    first, second = np.triu_indices(len(tips), 1)
    true = np.hypot(*(tips[first] - tips[second]).T)
    measured = np.hypot(*(at[first] - at[second]).T) / view.px_per_in
    assert np.abs(measured / true - 1).max() < MOST_SCALE_ERROR


def test_straight_lines_are_straight(shown: Shown) -> None:
    """Across the whole picture, in every direction, beside the middle too."""
    view, reach = shown.studio.whole, shown.studio.disc_in
    middle = np.mean([lobe.tip_in for lobe in shown.scene.rose.lobes], axis=0)
    for bearing in np.arange(0, np.pi, np.pi / 12):
        for beside in (-0.6, 0.0, 0.6):
            run = np.sqrt(1 - beside**2) * reach * np.linspace(-1, 1, 41)
            across = beside * reach * unit_of_bearing(bearing + np.pi / 2)
            at = through(shown, middle + across + run[:, None] * unit_of_bearing(bearing), view)
            centred = at - at.mean(axis=0)
            normal = np.linalg.svd(centred)[2][1]
            assert np.abs(centred @ normal).max() < MOST_BEND_PX


def test_the_picture_itself_holds_it(shown: Shown) -> None:
    """The cards' own corners, found again in the straightened picture: as far apart as they truly lie, and in line."""
    base = shown.studio
    wide = View(base.centre_in, base.up, 2.4 * base.reach_in, base.px_per_in)
    grey = cv2.cvtColor(base.shown(wide), cv2.COLOR_BGR2GRAY)
    corners, places = [], []
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 1e-3)
    for card in shown.scene.cards:
        drawn = np.array([[x, y] for y in (0.5, 0.0, -0.5) for x in (-0.75, -0.25, 0.25, 0.75)]) * np.array(card.print_scale)
        true = card.place(drawn)
        start = through(shown, true, wide)
        if start.min() < 12 or start.max() > wide.side_px - 13:
            continue
        found = cv2.cornerSubPix(grey, start.astype(np.float32)[:, None].copy(), (5, 5), (-1, -1), stop)[:, 0]
        if np.abs(found - start).max() < 4:
            corners.append(found)
            places.append(true)
    assert len(corners) >= 2
    at, true = np.concatenate(corners).astype(float), np.concatenate(places)
    first, second = np.triu_indices(len(at), 1)
    far = np.hypot(*(true[first] - true[second]).T) > 2.0
    measured = np.hypot(*(at[first] - at[second]).T)[far] / wide.px_per_in
    assert np.abs(measured / np.hypot(*(true[first] - true[second]).T)[far] - 1).max() < 1.5 * MOST_SCALE_ERROR
    assert abs(np.median(measured / np.hypot(*(true[first] - true[second]).T)[far]) - 1) < MOST_SCALE_ERROR
    for found in corners:
        for row in found.reshape(3, 4, 2):
            centred = row - row.mean(axis=0)
            assert np.abs(centred @ np.linalg.svd(centred)[2][1]).max() < MOST_BEND_PX


def test_the_cards_paper_is_white_and_evenly_lit_everywhere(shown: Shown) -> None:
    base = shown.studio
    assert base.daylight.is_known
    wide = View(base.centre_in, base.up, 1.75 * base.reach_in, 60.0)
    picture = srgb_decode(base.shown(wide) / 255)
    seen = []
    for card in shown.scene.cards:
        side = np.array(card.print_scale) * [1.375, 1.125]  # the margins' middles
        for x, y in ((0.0, 1.0), (0.0, -1.0), (1.0, 0.0), (-1.0, 0.0)):
            u, v = np.round(through(shown, card.place(np.array([[x, y]]) * side)[0], wide)).astype(int)
            if 1 <= u < wide.side_px - 1 and 1 <= v < wide.side_px - 1:
                seen.append(picture[v - 1 : v + 2, u - 1 : u + 2].mean(axis=(0, 1)))
    light = np.array(seen)
    light = light[light.min(axis=1) > 0.3]  # what lies under something is no paper
    assert len(light) >= 6
    assert np.median(light, axis=0) == pytest.approx(np.full(3, PAPER_SHARE), rel=0.05)
    assert np.std(np.log(light), axis=0).max() < 0.06


def test_woods_have_their_own_colours(shown: Shown) -> None:
    """The light and the dark wood's mean reflectance, relative to paper's, as the scene was painted with them."""
    base = shown.studio
    view = View(base.centre_in, base.up, base.disc_in, 60.0)
    picture = srgb_decode(base.shown(view) / 255)
    for wood, dark in ((shown.scene.light_wood, False), (shown.scene.dark_wood, True)):
        patches = []
        for lobe in shown.scene.rose.lobes:
            along = (lobe.tip_in - lobe.root_in) / np.hypot(*(lobe.tip_in - lobe.root_in))
            right = np.array([along[1], -along[0]])
            side = 1 if (lobe.dark_side == "cw") == dark else -1
            middle = lobe.root_in + 0.4 * (lobe.tip_in - lobe.root_in) + side * 0.12 * right
            u, v = np.round(through(shown, middle, view)).astype(int)
            patches.append(picture[v - 3 : v + 4, u - 3 : u + 4].mean(axis=(0, 1)))
        true = WOODS[wood].colour / PAPER * PAPER_SHARE
        found = np.median(patches, axis=0)
        # Figure, stray light and the phone's own smoothing are left: within a fifth in light, a tenth in hue.
        assert np.abs(np.log(found / true)).max() < 0.2
        assert np.abs(np.log(found / found[1]) - np.log(true / true[1])).max() < 0.1


def test_a_sample_is_to_scale() -> None:
    """The rendered sample set-in.jpg, with the bars' readings: the points' distances from the centre, as its truth gives them."""
    truth = json.loads((ROOT / "sample_images" / "set-in.json").read_text())
    photo = read_photo(ROOT / "sample_images" / "set-in.jpg")
    bars = 6.0 * truth["print_scale"][0], 10.0 * truth["print_scale"][1]
    tips = np.array([lobe["tip_px"] for lobe in truth["lobes"]])
    base = studio(photo, found_at(photo.size_px, tips, tips.mean(axis=0)), bars)
    at = base.whole.px_of(base.camera.plane_from_px(tips)) / base.whole.px_per_in
    true = np.array([lobe["reach_in"] for lobe in truth["lobes"]])

    def misses(unknown: np.ndarray) -> np.ndarray:  # the true centre isn't known as a pixel: it is found along with the scale
        return np.hypot(*(at - unknown[:2]).T) - unknown[2] * true

    solved = least_squares(misses, [*at.mean(axis=0), 1.0])
    assert abs(solved.x[2] - 1) < MOST_SCALE_ERROR
    assert np.abs(solved.fun).max() < 0.005
    # At 12 o'clock stands the first point, over the picture's middle.
    assert abs(at[0, 0] * base.whole.px_per_in - (base.whole.side_px - 1) / 2) < 1e-6
    assert at[0, 1] == min(at[:, 1])
    assert base.whole.px_per_in == pytest.approx(truth["ppi_at_centre"], rel=0.02)


TURNED_DEG = 25.0  # counterclockwise


def test_the_clock_is_that_of_the_picture(tmp_path: Path) -> None:
    """A sample turned before it is given: where a point stands in the picture is what is said of it, not where it stood in the photo."""
    truth = json.loads((ROOT / "sample_images" / "set-in.json").read_text())
    tips = np.array([lobe["tip_px"] for lobe in truth["lobes"]])
    with Image.open(ROOT / "sample_images" / "set-in.jpg") as image:
        turned = image.rotate(TURNED_DEG, expand=True)
        middle = (np.array(image.size) - 1) / 2
    turned.save(tmp_path / "turned.jpg", quality=93)
    cos, sin = np.cos(np.radians(TURNED_DEG)), np.sin(np.radians(TURNED_DEG))
    at = (tips - middle) @ np.array([[cos, -sin], [sin, cos]]) + (np.array(turned.size) - 1) / 2
    photo = read_photo(tmp_path / "turned.jpg")
    found = found_at(photo.size_px, at, at.mean(axis=0))
    base = studio(photo, found)
    clocks = clocks_in(base, found)
    right, up = ((base.whole.px_of(base.camera.plane_from_px(at)) - (base.whole.side_px - 1) / 2) * [1, -1]).T
    for lobe, bearing in enumerate(np.arctan2(right, up), 1):
        assert clocks[lobe] == clock_of(bearing)
    assert clocks[1] == "12 o'clock"
    said = " ".join(accuracy(replace(found, tips=tuple(replace(one, verdict=Verdict.OFF) for one in found.tips)), clocks))
    assert [f"lobe {lobe} at {clock}" in said for lobe, clock in clocks.items()] == [True] * len(clocks)


def test_what_reaches_into_the_picture_is_told_by_what_it_shows() -> None:
    truth = json.loads((ROOT / "sample_images" / "set-in.json").read_text())
    photo = read_photo(ROOT / "sample_images" / "set-in.jpg")
    tips = np.array([lobe["tip_px"] for lobe in truth["lobes"]])
    found = found_at(photo.size_px, tips, tips.mean(axis=0))
    for around, clear in ((None, True), (0.07, True), (2.0, False)):
        base = studio(photo, found, around_in=around)
        assert base.is_clear is clear
        assert base.room_in is not None
        grey = base.shown(base.whole).min(axis=2)
        paper = (grey > 225) & (disc(len(grey)) == 1)
        assert bool(paper.mean() > 0.01) is not clear  # white paper, in the picture itself
    # As far as there is said to be room, and a little farther.
    assert studio(photo, found, around_in=base.room_in - 0.001).is_clear
    assert not studio(photo, found, around_in=base.room_in + 0.001).is_clear


# ICC profile tags of Display P3's primaries (X, Y, Z against D50; SMPTE EG 432-1 primaries adapted by Bradford, from memory).
P3 = {b"rXYZ": (0.51512, 0.24120, -0.00105), b"gXYZ": (0.29198, 0.69225, 0.04189), b"bXYZ": (0.15710, 0.06657, 0.78407)}
# Linear Display P3 to linear sRGB, from CSS Color Module Level 4's conversion matrices (from memory).
P3_TO_SRGB = [[1.22494, -0.22494, 0.0], [-0.04206, 1.04206, 0.0], [-0.01964, -0.07864, 1.09827]]


def test_a_phones_wide_colours_are_brought_into_srgb() -> None:
    plain = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    assert colour_matrix(bytes(plain)) is None
    for k in range(int.from_bytes(plain[128:132], "big")):  # the tag table (ICC.1, 7.3)
        entry = 132 + 12 * k
        tag, offset = bytes(plain[entry : entry + 4]), int.from_bytes(plain[entry + 4 : entry + 8], "big")
        if tag in P3:
            for axis, value in enumerate(P3[tag]):
                plain[offset + 8 + 4 * axis : offset + 12 + 4 * axis] = round(value * 65536).to_bytes(4, "big", signed=True)
    matrix = colour_matrix(bytes(plain))
    assert matrix == pytest.approx(np.array(P3_TO_SRGB), abs=0.002)
    assert in_srgb(np.array([1.0, 1.0, 1.0]), matrix) == pytest.approx(np.ones(3), abs=0.002)  # white stays white
    red = in_srgb(np.array([0.0, 0.0, 1.0]), matrix)  # B G R
    assert red[2] == pytest.approx(1.225, abs=0.003)
    assert colour_matrix(b"no profile") is None
    assert colour_matrix(None) is None


def test_light_of_one_colour_that_slopes_is_taken_out() -> None:
    """A grey board under a lamp at its side, its light blue, with four cards of paper on it: an even grey."""

    class Above:
        def px_from_plane(self, xy_in: np.ndarray, z_in: float = 0.0) -> np.ndarray:
            return np.asarray(xy_in) * [40.0, -40.0] + 400

    y, x = np.mgrid[:801, :801] / 40.0 - 10.0
    lamp = np.exp(0.05 * x + 0.02 * y)[..., None] * np.array([0.55, 0.5, 0.42])
    share = np.full((801, 801, 1), 0.3)
    outlines = []
    for middle in ((-7, 0), (7, 0.5), (0, 7), (0.5, -7)):
        outline = np.array(middle) + np.array([[-1.5, 1.25], [1.5, 1.25], [1.5, -1.25], [-1.5, -1.25]])
        outlines.append(outline)
        cv2.fillPoly(share, [np.round(Above().px_from_plane(outline)).astype(np.int32)], PAPER_SHARE)
    photo = np.round(255 * srgb_encode(lamp * share)).astype(np.uint8)
    light = learn_daylight(photo, Above(), outlines, np.zeros(2))  # type: ignore[arg-type]
    at = np.linspace(-10, 10, 33)
    grid = np.stack(np.meshgrid(at, -at), axis=-1)
    done = srgb_decode(lit_evenly(photo, light.gain(grid)) / 255)
    middle = done[200:600:40, 200:600:40].reshape(-1, 3)
    assert np.abs(middle / 0.3 - 1).max() < 0.05
    assert np.abs(middle / middle.mean(axis=1, keepdims=True) - 1).max() < 0.02


def test_too_little_paper_leaves_the_light_as_it_is() -> None:
    burnt = np.full((400, 400, 3), 255, np.uint8)

    class Above:
        def px_from_plane(self, xy_in: np.ndarray, z_in: float = 0.0) -> np.ndarray:
            return np.asarray(xy_in) * 40.0 + 200

    outline = np.array([[-1.5, -1.25], [1.5, -1.25], [1.5, 1.25], [-1.5, 1.25]])
    light = learn_daylight(burnt, Above(), [outline], np.zeros(2))  # type: ignore[arg-type]
    assert not light.is_known
    assert np.all(light.gain(np.zeros((2, 2))) == 1)


def test_a_view_and_its_inverse() -> None:
    view = View(np.array([1.0, -2.0]), 0.7, 3.0, 55.0)
    places = np.random.default_rng(1).uniform(-3, 3, (50, 2))
    assert view.in_of(view.px_of(places)) == pytest.approx(places, abs=1e-12)
    middle = (view.side_px - 1) / 2
    assert view.px_of(view.centre_in) == pytest.approx([middle, middle])
    assert view.px_of(view.centre_in + unit_of_bearing(0.7)) == pytest.approx([middle, middle - 55.0])  # its up
    assert view.px_of(view.centre_in + unit_of_bearing(0.7 + np.pi / 2)) == pytest.approx([middle + 55.0, middle])  # clockwise: right


def test_the_disc_is_round_and_the_rest_is_nothing() -> None:
    inside = disc(101)
    assert inside.sum() == pytest.approx(np.pi * 50.0**2, rel=0.02)
    assert inside[50, 50] == 1
    assert inside[0, 0] == 0
    picture = np.full((101, 101, 3), 40, np.uint8)
    assert on_white(picture)[0, 0].tolist() == [255, 255, 255]
    assert on_white(picture)[50, 50].tolist() == [40, 40, 40]
    through = cut_out(picture)
    assert through.shape == (101, 101, 4)
    assert (through[0, 0, 3], through[50, 50, 3]) == (0, 255)


@pytest.mark.parametrize("channels", [3, 4])
def test_the_scale_bar_is_as_long_as_it_says(channels: int) -> None:
    picture = np.full((900, 900, channels), 255, np.uint8)
    if channels == 4:
        picture[..., 3] = 0
    barred = with_bar(picture, 120.0)
    dark = barred[int(0.975 * 900), :, 0] < 128
    long = np.flatnonzero(dark)
    assert long[-1] - long[0] == pytest.approx(240.0, abs=3.0)  # 2 in
    assert not np.any(barred[:600, :, 0] < 128)
    if channels == 4:
        assert np.all(barred[int(0.975 * 900), long, 3] == 255)


def test_icc_bytes_of_a_photo_are_found(tmp_path: Path) -> None:
    from PIL import Image

    from seamcheck.photo import colour_profile

    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    into = BytesIO()
    Image.new("RGB", (300, 300), (90, 80, 70)).save(into, "JPEG", icc_profile=profile)
    (tmp_path / "a.jpg").write_bytes(into.getvalue())
    assert colour_profile(tmp_path / "a.jpg") == profile
    assert colour_profile(tmp_path / "missing.jpg") is None
