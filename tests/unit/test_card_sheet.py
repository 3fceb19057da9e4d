"""The printed sheet: cards that the detector reads where the geometry says, and bars of exactly the right length."""

from __future__ import annotations

import re
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pypdf
import pypdfium2
import pytest

from seamcheck.cards.geometry import CARD_COUNT, MARKERS_PER_CARD, marker_corners_in, saddles_in
from seamcheck.printed.card_sheet import board_modules, card_places, card_sheet, outlines
from seamcheck.sheet import PAPERS, UNPRINTABLE_IN, PdfKind, is_pdf

DPI = 600
PAPER_NAMES = sorted(PAPERS)


@pytest.fixture(scope="module", params=PAPER_NAMES)
def paper(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="module")
def page(paper: str) -> np.ndarray:
    """The page as a printer would see it, grey, (h, w)."""
    document = pypdfium2.PdfDocument(card_sheet(paper))
    try:
        return np.asarray(document[0].render(scale=DPI / 72, grayscale=True).to_numpy()).squeeze()
    finally:
        document.close()


def places_px(places_in: np.ndarray, page: np.ndarray, paper: str) -> np.ndarray:
    """Where points of the page (inches, y up) fall in its picture: its left edge lies at u = -0.5, its top at v = -0.5.

    The renderer fits the page to a whole number of pixels, so the scale is the picture's own in either direction.
    """
    width_in, height_in = PAPERS[paper]
    scale = np.array([page.shape[1] / width_in, page.shape[0] / height_in])
    return np.stack([places_in[..., 0], height_in - places_in[..., 1]], axis=-1) * scale - 0.5


def strokes(data: bytes) -> list[tuple[float, float, float, float]]:
    """Every straight stroke in the file, in points."""
    content = pypdf.PdfReader(BytesIO(data)).pages[0].get_contents()
    assert content is not None
    number = rb"(-?[\d.]+)"
    found = re.findall(rb"n %s %s m %s %s l S" % (number, number, number, number), content.get_data())
    return [tuple(float(value) for value in stroke) for stroke in found]  # type: ignore[misc]


def test_opencv_reads_all_eighty_markers_in_their_places(page: np.ndarray, paper: str) -> None:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(page)
    assert sorted(ids.ravel()) == list(range(CARD_COUNT * MARKERS_PER_CARD))
    found = {int(marker): corner.reshape(4, 2) for marker, corner in zip(ids.ravel(), corners, strict=True)}
    for card, middle in enumerate(card_places(*PAPERS[paper])):
        for place in range(MARKERS_PER_CARD):
            want = places_px(marker_corners_in(place) + middle, page, paper)
            # Corners by contour: to the pixel. The saddles below are what is measured from.
            assert np.abs(found[card * MARKERS_PER_CARD + place] - want).max() < 1.5


def test_the_saddles_lie_where_the_geometry_says(page: np.ndarray, paper: str) -> None:
    grey = cv2.GaussianBlur(page, (0, 0), 2.0)  # as a lens would: a saddle of hard squares has no slope to follow
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 100, 1e-5)
    for middle in card_places(*PAPERS[paper]):
        want = places_px(saddles_in() + middle, page, paper)
        start = (want + 1.3).astype(np.float32).reshape(-1, 1, 2)
        found = cv2.cornerSubPix(grey, start, (12, 12), (-1, -1), stop).reshape(-1, 2)
        assert np.abs(found - want).max() < 0.02


def test_the_board_is_opencvs_own(paper: str) -> None:
    """Module for module the picture that OpenCV draws of the board."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    for card in range(1, CARD_COUNT + 1):
        ids = np.arange(MARKERS_PER_CARD * (card - 1), MARKERS_PER_CARD * card)
        board = cv2.aruco.CharucoBoard((5, 4), 0.5, 0.375, dictionary, ids)
        drawn = board.generateImage((40 * 8, 32 * 8), marginSize=0)
        assert np.array_equal(board_modules(card), drawn[4::8, 4::8] == 0)


def test_the_page_is_black_and_white_where_it_should_be(page: np.ndarray, paper: str) -> None:
    """No hairline shows between modules: away from true edges every pixel is pure."""
    for card, middle in enumerate(card_places(*PAPERS[paper]), start=1):
        u, v = np.meshgrid(np.linspace(-1.25, 1.25, 1500), np.linspace(1.0, -1.0, 1200))  # the board, 600 to the inch
        places = places_px(np.stack([u, v], axis=-1) + middle, page, paper)
        shown = cv2.remap(page, places.astype(np.float32), None, cv2.INTER_NEAREST)
        want = np.kron(board_modules(card), np.ones((38, 38), np.uint8))
        want = cv2.resize(want, (1500, 1200), interpolation=cv2.INTER_NEAREST)
        clear = cv2.morphologyEx(want, cv2.MORPH_GRADIENT, np.ones((7, 7), np.uint8)) == 0
        clear[:3] = clear[-3:] = clear[:, :3] = clear[:, -3:] = False
        assert clear.mean() > 0.7
        assert (shown[clear & (want == 1)] == 0).all()
        assert (shown[clear & (want == 0)] == 255).all()


def test_the_bars_are_six_and_ten_inches(paper: str) -> None:
    lines = strokes(card_sheet(paper))
    lengths = [(abs(x1 - x0), abs(y1 - y0)) for x0, y0, x1, y1 in lines]
    across = [length for length in lengths if length == pytest.approx((432, 0), abs=2e-3)]
    along = [length for length in lengths if length == pytest.approx((0, 720), abs=2e-3)]
    assert len(across) == 1 + 5  # the bar, and the cuts along the cards
    assert len(along) == 1 + 3
    ticks = [line for line, length in zip(lines, lengths, strict=True) if max(length) < 20]
    upright = sorted(line[0] for line in ticks if line[0] == line[2])
    level = sorted(line[1] for line in ticks if line[1] == line[3])
    assert len(upright) == len(level) == 2
    assert upright[1] - upright[0] == pytest.approx(432, abs=2e-3)
    assert level[1] - level[0] == pytest.approx(720, abs=2e-3)


def test_nothing_reaches_into_the_unprintable_border(page: np.ndarray) -> None:
    ink = np.argwhere(page < 250)
    border = UNPRINTABLE_IN * DPI
    assert ink.min(axis=0).min() >= border
    assert (np.array(page.shape) - 1 - ink.max(axis=0)).min() >= border


def test_the_page_has_the_papers_size(paper: str) -> None:
    box = pypdf.PdfReader(BytesIO(card_sheet(paper))).pages[0].mediabox
    want = {"letter": (612.0, 792.0), "a4": (595.276, 841.890)}[paper]  # points
    assert (float(box.width), float(box.height)) == pytest.approx(want, abs=0.001)


def test_the_sheet_says_how_to_use_it(paper: str) -> None:
    words = pypdf.PdfReader(BytesIO(card_sheet(paper))).pages[0].extract_text()
    for card in range(1, CARD_COUNT + 1):
        assert f"Card {card}: these five squares measure 2 1/2 in" in words
    for part in ("100 %", "--bar-across", "--bar-along", "Glue", "four or more", "6 in, across", "10 in, along"):
        assert part in words


def test_the_same_sheet_twice_is_the_same_file(paper: str) -> None:
    assert card_sheet(paper) == card_sheet(paper)
    assert is_pdf(PdfKind.CARDS)(card_sheet(paper))


def test_the_ready_made_sheets_are_these(paper: str) -> None:
    ready = Path(__file__).parents[2] / "calibration" / f"cards-{paper}.pdf"
    assert ready.read_bytes() == card_sheet(paper), f"make it again: seamcheck cards {ready} --paper {paper}"


class TestOutlines:
    def area(self, loops: list[list[tuple[int, int]]]) -> float:
        """Signed, rows running down: clockwise loops count as filled."""
        return sum(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(loop, loop[1:] + loop[:1], strict=True)) / 2 for loop in loops)

    def test_one_cell(self) -> None:
        assert outlines(np.ones((1, 1), bool)) == [[(0, 0), (1, 0), (1, 1), (0, 1)]]

    def test_neighbours_are_one_shape(self) -> None:
        assert outlines(np.ones((2, 3), bool)) == [[(0, 0), (3, 0), (3, 2), (0, 2)]]

    def test_a_hole_runs_the_other_way(self) -> None:
        ring = np.ones((3, 3), bool)
        ring[1, 1] = False
        loops = outlines(ring)
        assert len(loops) == 2
        assert self.area(loops) == 8

    def test_any_grid_keeps_its_area(self) -> None:
        rng = np.random.default_rng(3)
        for _ in range(20):
            grid = rng.random((7, 9)) < 0.5
            assert self.area(outlines(grid)) == grid.sum()
