"""Samples of wood: found, measured against their exact colours, paired, and laid into a rose."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from seamcheck.basis.errors import NamesDontFit, NoSamples
from seamcheck.design.draw_up import draw_up
from seamcheck.design.wish import Wish
from seamcheck.find.light import LogLight
from seamcheck.photo import read_photo
from seamcheck.report.woods_picture import preview
from seamcheck.woods.colour import contrast, difference, lab_of
from seamcheck.woods.look import Looked, is_wet, look
from seamcheck.woods.pairs import Grade, apart, pairs_of
from seamcheck.woods.samples import LOOK_PPI, Sample, _like_beside, _open_square, grain_turn, largest_box
from seamcheck.woods.white import PAPER_REFLECTANCE
from tests.scenes.render import PAPER
from tests.scenes.samples import Samples, lay_samples, render_samples, true_colours

WOODS = [("walnut", 1.0), ("maple", 1.0), ("striped", 1.0), ("cherry", 1.0), ("walnut", 0.55), ("black", 1.0)]
NAMES = ["walnut", "maple", "striped", "cherry", "walnut-wet", "black"]


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Samples, Path]]:
    """The same samples in two photos: warm light from one side, and cool light from the other."""
    folder = tmp_path_factory.mktemp("woods")
    photos = []
    for k, (cast, slope) in enumerate([((0.75, 0.92, 1.05), (0.02, 0.01)), ((1.05, 0.98, 0.9), (-0.02, 0.0))]):
        laid = lay_samples(WOODS, "oak", cast=cast, slope=slope, ppi=82.0, megapixels=1.25)
        path = folder / f"{k}.jpg"
        path.write_bytes(render_samples(laid))
        photos.append((laid, path))
    return photos


@pytest.fixture(scope="module")
def looked(seen: list[tuple[Samples, Path]]) -> list[Looked]:
    return [look(read_photo(path), NAMES) for _, path in seen]


@cache
def truths(seed: int) -> tuple[np.ndarray, ...]:
    laid = lay_samples(WOODS, "oak", seed=seed, ppi=82.0, megapixels=1.25)
    return tuple(true_colours(laid))


def truth(laid: Samples, k: int) -> np.ndarray:
    """A piece's reflectance on the scale that takes the drawn paper for usual paper (its tint is the paper's own)."""
    return truths(laid.scene.seed)[k] * PAPER_REFLECTANCE / PAPER[::-1]


def test_all_are_found_in_reading_order(seen: list[tuple[Samples, Path]], looked: list[Looked]) -> None:
    for (laid, _), found in zip(seen, looked, strict=True):
        assert [sample.name for sample in found.samples] == NAMES
        for sample, piece in zip(found.samples, laid.pieces, strict=True):
            low, high = sample.outline_px.min(axis=0), sample.outline_px.max(axis=0)
            assert np.hypot(*((low + high) / 2 - laid.scene.view.px(piece.middle, 1 / 42))) < 8
        assert found.bench is not None
        assert not found.of_lobes


def test_colours_are_the_true_ones(seen: list[tuple[Samples, Path]], looked: list[Looked]) -> None:
    """Under both lights: within two of CIEDE2000, which hardly anyone sees."""
    for (laid, _), found in zip(seen, looked, strict=True):
        for k, sample in enumerate(found.samples):
            assert difference(sample.colour, truth(laid, k)) < 2.0, sample.name


def test_two_photos_compare(looked: list[Looked]) -> None:
    for one, other in zip(looked[0].samples, looked[1].samples, strict=True):
        assert difference(one.colour, other.colour) < 2.0


def test_differences_lie_within_their_uncertainty(seen: list[tuple[Samples, Path]], looked: list[Looked]) -> None:
    for (laid, _), found in zip(seen, looked, strict=True):
        for i in range(len(found.samples)):
            for j in range(i):
                one = apart(found.samples[i], found.samples[j])
                a, b = truth(laid, i), truth(laid, j)
                assert abs(one.ratio.value - contrast(a, b)) < one.ratio.u95
                assert abs(one.colours.value - difference(a, b)) < one.colours.u95
                assert one.ratio.u95 > 0


def test_what_they_lie_on_is_what_lies_beside_them() -> None:
    """A round top of 8 in radius with a dark band, on a floor of nearly its own lightness; samples across its middle leave narrow
    segments of field, and squares that take in band and floor too are larger."""
    ppi, side = 24.0, 600
    y, x = (np.mgrid[:side, :side] - side / 2) / ppi
    radius = np.hypot(x, y)
    rng = np.random.default_rng(4)
    channels = rng.normal(0, 0.03, (side, side, 3)).astype(np.float32)
    channels[(radius > 8) & (radius < 9), 0] -= 0.8
    channels[radius >= 9, 1] -= 0.3
    pieces = ((np.abs(x) < 5.5) & (np.abs(y) < 4.0)).astype(np.uint8)
    light = LogLight(channels, np.ones((side, side), np.float32), SimpleNamespace(px_per_in=ppi), None)  # type: ignore[arg-type]
    clear = pieces == 0
    for wood, reaches in ((clear, True), (clear & _like_beside(light, pieces, clear), False)):
        square = _open_square(wood, ppi)
        assert square is not None
        (column, row), half = square
        corners = np.array([[column, row]]) + half * ppi * np.array([[-1, -1], [-1, 1], [1, 1], [1, -1]])
        assert bool(np.hypot(*((corners - side / 2) / ppi).T).max() > 8.1) is reaches
        assert half > 0.5
    assert _like_beside(light, np.zeros_like(pieces), clear).all()


def test_what_they_lie_on_is_called_what_is_known_of_it(looked: list[Looked]) -> None:
    bench = looked[0].bench
    assert bench is not None
    assert bench.name == "what they lie on"
    assert looked[0].named("bench") is looked[0].named("What they lie on") is bench


def test_names_that_dont_fit_and_photos_without_samples(seen: list[tuple[Samples, Path]], tmp_path: Path) -> None:
    with pytest.raises(NamesDontFit, match="6 samples, but 2 names"):
        look(read_photo(seen[0][1]), ["walnut", "maple"])
    bare = lay_samples([], "oak", ppi=70.0, megapixels=0.6, card_count=2)
    (tmp_path / "bare.jpg").write_bytes(render_samples(bare))
    with pytest.raises(NoSamples):
        look(read_photo(tmp_path / "bare.jpg"), [])


def made(name: str, colour: tuple[float, float, float], spread: float = 0.02, number: int = 1) -> Sample:
    rng = np.random.default_rng(number)
    cells = np.array(colour) * np.exp(rng.normal(0, spread, (2000, 1)))
    texture = np.tile(np.array(colour), (150, 90, 1))
    return Sample(number, name, np.zeros((4, 2)), np.zeros(2), cells, texture, 0.03)


WALNUT, MAPLE, OAK = (0.155, 0.095, 0.06), (0.68, 0.56, 0.42), (0.44, 0.29, 0.165)


def test_grades_and_their_order() -> None:
    walnut, maple, birch, oak = made("walnut", WALNUT), made("maple", MAPLE), made("birch", (0.66, 0.55, 0.42)), made("oak", OAK)
    assert apart(walnut, maple).grade is Grade.CLEAR
    assert apart(maple, birch).grade is Grade.LOST
    pairs = pairs_of([maple, walnut, birch], oak)
    assert [pair.worst for pair in pairs][-1] is Grade.LOST
    assert pairs[0].between.first.name == "walnut"  # the darker is told first
    assert {pairs[-1].between.first.name, pairs[-1].between.second.name} == {"maple", "birch"}
    assert pairs_of([maple, walnut], None)[0].on_field is None


def test_a_striped_wood_is_judged_by_its_stripes() -> None:
    """The same mean, but stripes as pale as the other wood: a grade less, though the means are as far apart."""
    plain, striped, cherry = made("plain", WALNUT), made("striped", WALNUT, 0.95, 2), made("cherry", (0.36, 0.22, 0.13), 0.1, 3)
    assert striped.colour == pytest.approx(plain.colour, rel=0.8)
    even = replace(striped, cells=striped.cells * (plain.colour / striped.colour))
    assert apart(plain, cherry).figure > 0 > apart(even, cherry).figure
    order = list(Grade)
    assert order.index(apart(even, cherry).grade) == order.index(apart(plain, cherry).grade) + 1


def test_what_a_colour_blind_eye_loses() -> None:
    """A reddish and a greenish wood of one lightness: far apart to most eyes, one colour to red- or green-blind ones."""
    red, green = made("red", (0.30, 0.15, 0.10)), made("green", (0.17, 0.20, 0.10))
    one = apart(red, green)
    assert one.colours.value > 15
    assert one.least_blind[1] < 0.5 * one.colours.value
    assert one.least_blind[0] in ("protan", "deutan")
    assert one.grade is not Grade.CLEAR


def test_wetted_ones_are_told_by_their_names(looked: list[Looked]) -> None:
    wet = [sample for sample in looked[0].samples if is_wet(sample)]
    assert [sample.name for sample in wet] == ["walnut-wet"]
    dry = looked[0].named("walnut")
    assert dry is not None
    assert lab_of(wet[0].colour)[0] < lab_of(dry.colour)[0] - 5


@pytest.mark.parametrize("bearing", [0.0, 0.4, 1.2, 2.6])
def test_grain_is_found_and_laid_upright(bearing: float) -> None:
    y, x = np.mgrid[:160, :160] / LOOK_PPI
    across = x * np.cos(bearing) - (-y) * np.sin(bearing)
    light = np.exp(0.3 * np.sin(across * 60))[..., None] * np.array(OAK)
    turn = grain_turn(light, np.ones((160, 160), bool), np.array([[0, 0], [0, 1.6], [1.6, 1.6], [1.6, 0]]))
    assert abs((turn - bearing + np.pi / 2) % np.pi - np.pi / 2) < 0.03


def test_the_largest_box_is_that_of_trying_all() -> None:
    rng = np.random.default_rng(3)
    for _ in range(5):
        within = np.ones((120, 100), bool)
        for _ in range(6):
            row, column = rng.integers(0, 100, 2)
            within[row : row + 6, column : column + 6] = False
        box = largest_box(within)
        assert box is not None
        top, bottom, left, right = box
        assert within[top:bottom, left:right].all()
        coarse = within.reshape(30, 4, 25, 4).all(axis=(1, 3))
        best = max(
            (b - t) * (r - q)
            for t in range(30)
            for b in range(t + 1, 31)
            for q in range(25)
            for r in range(q + 1, 26)
            if min(b - t, r - q) * 4 >= 0.15 * LOOK_PPI and coarse[t:b, q:r].all()
        )
        assert (bottom - top) * (right - left) == 16 * best


class TestPreview:
    rose = draw_up(Wish(8, (3.0,)))

    def test_every_half_is_of_its_wood(self) -> None:
        """At places well inside: dark on the right of every axis, light on the left, field beyond."""
        page = preview(made("d", WALNUT), made("l", MAPLE), made("f", OAK), self.rose, 60.0)
        reach = self.rose.reach_in + 1.0

        def at(place: np.ndarray) -> np.ndarray:
            return page[int((reach - place[1]) * 60), int((place[0] + reach) * 60)]

        for lobe in self.rose.lobes():
            root, left, tip, right = lobe.kite.corners_in
            assert at((root + tip + right) / 3) == pytest.approx(WALNUT)
            assert at((root + tip + left) / 3) == pytest.approx(MAPLE)
        assert page[3, 3] == pytest.approx(OAK)

    def test_grain_runs_along_every_lobe(self) -> None:
        """A texture whose light changes across its grain only: along an axis, well inside a half, it stays as it is."""
        stripes = 0.3 + 0.2 * np.sin(np.arange(90) / 5.0)
        dark = replace(made("d", WALNUT), texture=np.tile(stripes[None, :, None], (150, 1, 3)))
        page = preview(dark, made("l", MAPLE), made("f", OAK), self.rose, 60.0)
        reach = self.rose.reach_in + 1.0
        for lobe in self.rose.lobes():
            root, _, tip, right = lobe.kite.corners_in
            middle, way = (root + tip + right) / 3, (tip - root) / np.hypot(*(tip - root))
            across = np.array([way[1], -way[0]])
            ahead, aside = (
                [page[int((reach - y) * 60), int((x + reach) * 60), 0] for x, y in middle + steps[:, None] * unit]
                for unit, steps in ((way, np.linspace(0, 0.25, 6)), (across, np.linspace(-0.1, 0.1, 12)))
            )
            assert np.ptp(ahead) < 0.13  # a pixel aside changes it by up to .1
            assert np.ptp(aside) > 0.2

    def test_the_same_twice(self) -> None:
        one = [preview(made("d", WALNUT), made("l", MAPLE), made("f", OAK), self.rose, 30.0) for _ in range(2)]
        assert (one[0] == one[1]).all()
