"""What everything else buys: a plain way to measure a rose beside the real one, on the same photos in the same run.

    python tests/benchmarks/baseline.py FOLDER [PATTERN]      photos with their truth beside them, such as sample_images
    python tests/benchmarks/baseline.py --scenes COUNT        scenes rendered by the tests

The plain way: one card's homography, from its markers' corners; the rose's outline by a threshold on how far colours lie from
the field's; a tip is where that outline lies farthest out; the seam is the straight ray beyond it that differs most from what lies
beside it. No lens, no lean, no print scale, no uncertainty: a tip within the tolerance is `on`, any other `off`.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from time import process_time

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from seamcheck.basis.errors import SeamcheckError
from seamcheck.photo import read_photo
from seamcheck.pipeline import Settings, inspect
from seamcheck.result import Stage, Verdict
from tests.scenes.draw import draw
from tests.scenes.render import render

TOLERANCE_IN = 1 / 64
TIP_MATCH_IN = 0.2
FLAT_PPI = 60  # of the flattened picture
LEAST_AREA_IN2 = 1.5  # of a rose's outline
LEAST_PROMINENCE_IN = 0.3  # of a tip over the outline beside it
SEAM_WITHIN = np.radians(3.0)  # of the tip's bearing
SEAM_FROM_IN, SEAM_TO_IN = 0.12, 1.2  # beyond the tip
CARD_IN = np.array([2.5, 2.0])  # a card's chessboard


@dataclass(frozen=True, eq=False)
class SeenTip:
    px: np.ndarray
    offset_in: float | None
    reach_in: float | None
    verdict: str


@dataclass(frozen=True, eq=False)
class TrueTip:
    px: np.ndarray
    offset_in: float
    reach_in: float
    asked: bool


def plain(photo: np.ndarray) -> list[SeenTip]:
    """The plain way: (h, w, 3) B G R to tips; none where it doesn't get so far."""
    found = _card_homography(photo)
    if found is None:
        return []
    plane_from_photo, cards = found
    height, width = photo.shape[:2]
    corners = cv2.perspectiveTransform(np.array([[[0, 0], [width, 0], [width, height], [0, height]]], np.float64), plane_from_photo)[0]
    low, high = corners.min(axis=0), corners.max(axis=0)
    if not np.isfinite(corners).all() or (high - low).max() > 60:
        return []
    flat_from_plane = np.array([[FLAT_PPI, 0, -low[0] * FLAT_PPI], [0, FLAT_PPI, -low[1] * FLAT_PPI], [0, 0, 1.0]])
    flat_from_photo = flat_from_plane @ plane_from_photo
    size = tuple(int(n) for n in np.ceil((high - low) * FLAT_PPI))
    flat = cv2.warpPerspective(photo, flat_from_photo, size, flags=cv2.INTER_AREA)
    seen = cv2.warpPerspective(np.ones((height, width), np.uint8), flat_from_photo, size)
    for card in cards:
        cv2.fillConvexPoly(seen, cv2.perspectiveTransform(card[None], flat_from_photo)[0].astype(int), 0)
    beside_cards = (cv2.erode(seen, np.ones((31, 31), np.uint8)) < seen) & (seen > 0)  # the field, as the cards lie on it
    lab = cv2.cvtColor(cv2.GaussianBlur(flat, (0, 0), 2), cv2.COLOR_BGR2LAB).astype(np.float32)
    away = np.linalg.norm(lab - np.median(lab[beside_cards], axis=0), axis=2)
    away = np.where(seen > 0, np.clip(away * 2, 0, 255), 0).astype(np.uint8)
    level, _ = cv2.threshold(away[seen > 0], 0, 255, cv2.THRESH_OTSU)
    mask = cv2.morphologyEx((away > level).astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8))
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    middle = cv2.perspectiveTransform(np.array([[[width / 2, height / 2]]]), flat_from_photo)[0, 0]
    large = [outline for outline in outlines if cv2.contourArea(outline) > LEAST_AREA_IN2 * FLAT_PPI**2]
    if not large:
        return []
    outline = min(large, key=lambda one: float(np.hypot(*(one[:, 0].mean(axis=0) - middle))))[:, 0].astype(float)
    grey = cv2.cvtColor(flat, cv2.COLOR_BGR2GRAY).astype(np.float32)
    return list(_tips(outline, grey, np.linalg.inv(flat_from_photo)))


def _card_homography(photo: np.ndarray) -> tuple[np.ndarray, list[np.ndarray]] | None:
    """Plane (inches, y down, of the card nearest to the middle) from photo, and every card's outline in the photo."""
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100))
    corners, ids, _ = detector.detectMarkers(cv2.cvtColor(photo, cv2.COLOR_BGR2GRAY))
    if ids is None:
        return None
    places = [(row, column) for row in range(4) for column in range(5) if (row + column) % 2]
    best, cards, nearest = None, [], np.inf
    for card in {int(i) // 10 for i in ids.ravel()}:
        mine = [k for k, i in enumerate(ids.ravel()) if i // 10 == card]
        if len(mine) < 4:
            continue
        drawn = [np.array(places[int(ids.ravel()[k]) % 10])[::-1] * 0.5 + 0.0625 for k in mine]
        square = 0.375 * np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
        of_plane = np.concatenate([corner + square for corner in drawn])
        of_photo = np.concatenate([corners[k].reshape(4, 2) for k in mine]).astype(float)
        solved, _ = cv2.findHomography(of_photo, of_plane)
        if solved is None:
            continue
        margin = 0.3
        sheet = np.array([[-margin, -margin], [2.5 + margin, -margin], [2.5 + margin, 2 + margin], [-margin, 2 + margin]])
        cards.append(cv2.perspectiveTransform(sheet[None], np.linalg.inv(solved))[0])
        apart = float(np.hypot(*(of_photo.mean(axis=0) - np.array(photo.shape[1::-1]) / 2)))
        if apart < nearest:
            best, nearest = solved, apart
    return None if best is None else (best, cards)


def _tips(outline: np.ndarray, grey: np.ndarray, photo_from_flat: np.ndarray) -> Iterator[SeenTip]:
    from scipy.signal import find_peaks

    moments = cv2.moments(outline.astype(np.float32))
    if moments["m00"] <= 0:
        return
    centre = np.array([moments["m10"], moments["m01"]]) / moments["m00"]
    for _ in range(2):  # the middle of the tips is a better centre than the outline's
        out = np.hypot(*(outline - centre).T)
        tips, _ = find_peaks(np.tile(out, 3), prominence=LEAST_PROMINENCE_IN * FLAT_PPI, distance=max(5, len(out) // 40))
        tips = tips[(tips >= len(out)) & (tips < 2 * len(out))] - len(out)
        if not 3 <= len(tips) <= 40:
            return
        centre = outline[tips].mean(axis=0)
    reach = np.hypot(*(outline - centre).T)
    for k in tips:
        away = outline[k] - centre
        bearing = np.arctan2(away[0], -away[1])  # the flat picture's y runs down
        turns = np.linspace(-SEAM_WITHIN, SEAM_WITHIN, 121)
        steps = np.arange(reach[k] + SEAM_FROM_IN * FLAT_PPI, reach[k] + SEAM_TO_IN * FLAT_PPI)
        rays = bearing + turns
        u = (centre[0] + np.sin(rays)[:, None] * steps).astype(np.float32)
        v = (centre[1] - np.cos(rays)[:, None] * steps).astype(np.float32)
        light = cv2.remap(grey, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).mean(axis=1)
        beside = (np.roll(light, 6) + np.roll(light, -6)) / 2
        seam = turns[8:-8][int(np.argmax(np.abs(light - beside)[8:-8]))]
        offset = float(-seam * reach[k] / FLAT_PPI)
        px = cv2.perspectiveTransform(outline[k].reshape(1, 1, 2), photo_from_flat)[0, 0]
        yield SeenTip(px, offset, float(reach[k] / FLAT_PPI), "on" if abs(offset) <= TOLERANCE_IN else "off")


def real(path: Path, settings: Settings) -> list[SeenTip]:
    try:
        found = inspect(read_photo(path), settings)
    except SeamcheckError:
        return []
    return [
        SeenTip(
            tip.tip_px,
            None if tip.seam_offset is None else tip.seam_offset.value,
            None if tip.reach is None else tip.reach.value,
            (tip.verdict or Verdict.UNMEASURED).value,
        )
        for tip in found.tips
    ]


@dataclass
class Tally:
    asked: int = 0
    found: int = 0
    spurious: int = 0
    decided_wrongly: int = 0
    decided: int = 0
    seconds: float = 0.0
    offsets: list[float] = field(default_factory=list)
    reaches: list[float] = field(default_factory=list)

    def add(self, true: list[TrueTip], seen: list[SeenTip], limit_px: float) -> None:
        self.asked += sum(tip.asked for tip in true)
        free = list(seen)
        for tip in true:
            near = min(free, key=lambda one: float(np.hypot(*(one.px - tip.px))), default=None)
            if near is None or np.hypot(*(near.px - tip.px)) > limit_px:
                continue
            free.remove(near)
            if not tip.asked or near.offset_in is None:
                continue
            self.found += 1
            self.offsets.append(1000 * abs(near.offset_in - tip.offset_in))
            if near.reach_in is not None:
                self.reaches.append(1000 * abs(near.reach_in - tip.reach_in))
            if near.verdict in ("on", "off"):
                self.decided += 1
                self.decided_wrongly += (near.verdict == "on") != (abs(tip.offset_in) <= TOLERANCE_IN)
        self.spurious += len(free)

    def row(self, name: str) -> str:
        def spread(values: list[float]) -> str:
            return f"{np.median(values):.1f} / {np.quantile(values, 0.95):.1f}" if values else "-"

        return (
            f"| {name} | {self.found} of {self.asked} | {self.spurious} | {spread(self.offsets)} | {spread(self.reaches)} "
            f"| {self.decided_wrongly} of {self.decided} | {self.seconds:.1f} |"
        )


Case = tuple[Path, Settings, list[TrueTip], float]


def folder_cases(folder: Path, pattern: str) -> Iterator[Case]:
    for path in sorted(folder.glob(pattern + ".json")):
        truth = json.loads(path.read_text())
        if truth.get("stage") not in ("dry-fit", "inlaid") or not truth.get("measurable", True):
            continue
        across, along = truth.get("check_bars_in") or (6 * truth["print_scale"][0], 10 * truth["print_scale"][1])
        tips = [TrueTip(np.array(x["tip_px"]), x["offset_in"], x["reach_in"], _asked(x)) for x in truth["lobes"]]
        settings = Settings(Stage(truth["stage"]), bar_across_in=across, bar_along_in=along)
        yield path.with_suffix(".jpg"), settings, tips, truth["ppi_at_centre"]


def _asked(lobe: dict) -> bool:
    seam = (1 - lobe.get("seam_covered_fraction", 0)) * lobe.get("seam_in_frame_fraction", 1)
    whole = lobe.get("tip_in_frame", True) and not lobe.get("tip_covered", False)
    return whole and seam >= 0.5 and max(lobe.get("edge_covered_fraction", [0])) <= 0.75


def scene_cases(count: int, into: Path) -> Iterator[Case]:
    for seed in range(1, count + 1):
        scene = draw(seed)
        path = into / f"scene-{seed}.jpg"
        path.write_bytes(render(scene))
        across, along = scene.bars_in
        tips = [
            TrueTip(scene.tip_px(lobe), scene.offset_in(k), scene.reach_in(k), scene.edge_hidden(k) <= 0.75 and scene.seam_hidden(k) <= 0.5)
            for k, lobe in enumerate(scene.rose.lobes)
        ]
        ppi = float(np.hypot(*(scene.view.px(np.array([0.5, 0.0])) - scene.view.px(np.array([-0.5, 0.0])))))
        yield path, Settings(Stage(scene.stage), bar_across_in=across, bar_along_in=along), tips, ppi


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("pattern", nargs="?", default="*")
    parser.add_argument("--scenes", type=int)
    options = parser.parse_args()
    tallies = {"plain": Tally(), "seamcheck": Tally()}
    with tempfile.TemporaryDirectory() as into:
        cases = scene_cases(options.scenes, Path(into)) if options.scenes else folder_cases(options.folder, options.pattern)
        for path, settings, true, ppi in cases:
            for name, way in (("plain", lambda: plain(read_photo(path).bgr)), ("seamcheck", lambda: real(path, settings))):  # noqa: B023
                start = process_time()
                seen = way()
                tallies[name].seconds += process_time() - start
                tallies[name].add(true, seen, TIP_MATCH_IN * ppi)
    print("| way | tips measured | spurious | offset, median / 95 % | reach, median / 95 % | verdicts false | s in all |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for name, tally in tallies.items():
        print(tally.row(name))


if __name__ == "__main__":
    main()
