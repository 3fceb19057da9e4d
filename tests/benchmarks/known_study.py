"""How good a finished top's scale is that comes from its diameter alone, over scenes rendered at random.

    python tests/benchmarks/known_study.py COUNT [--first SEED] [--hard] [--lens] [--rim] [--keep FOLDER]

Whole tops without a card on a bench of one wood; --hard: on any bench, half of them of the band's own wood, some tops without a band.
--lens: with a photo by the same phone, cards in it, that tells of the lens; --rim: the person has looked. --keep holds the pictures. A
study, not a test: a scene takes some 15 s.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from seamcheck.basis.errors import SeamcheckError
from seamcheck.basis.threads import one_thread
from seamcheck.basis.uncertain import COVERAGE_95
from seamcheck.measure.known_plane import Known, known_plane, lens_from
from seamcheck.photo import read_photo
from tests.scenes.draw import Scene, draw
from tests.scenes.render import render
from tests.scenes.whole_top import draw_hard_rim, draw_whole


def scale_at_middle(scene: Scene) -> tuple[float, np.ndarray]:
    """Pixels to the inch at the top's middle, whatever way the photo is turned, and where that shows."""
    middle = np.array(scene.top_centre_in)
    right, left, up, down = scene.view.px(np.array([[0.5, 0], [-0.5, 0], [0, 0.5], [0, -0.5]]) + middle)
    across, along = right - left, up - down
    return float(abs(across[0] * along[1] - across[1] * along[0]) ** 0.5), scene.view.px(middle)


def picture(scene: Scene, path: Path) -> Path:
    if not path.exists():
        path.write_bytes(render(scene))
    return path


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--hard", action="store_true")
    parser.add_argument("--lens", action="store_true")
    parser.add_argument("--rim", action="store_true")
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    rows: list[tuple[float, float, bool]] = []
    refused = 0
    with tempfile.TemporaryDirectory() as place:
        folder = asked.keep or Path(place)
        for seed in range(asked.first, asked.first + asked.count):
            scene = (draw_hard_rim if asked.hard else draw_whole)(seed)
            try:
                lens = lens_from(read_photo(picture(draw(seed, "inlaid"), folder / f"{seed}-cards.jpg"))) if asked.lens else None
                photo = read_photo(picture(scene, folder / f"{seed}.jpg"))
                with one_thread():
                    found = known_plane(photo, Known(2 * scene.top_radius_in, asked.rim, lens=lens))
            except SeamcheckError as error:
                refused += 1
                print(seed, error, flush=True)
                continue
            truth, at_px = scale_at_middle(scene)
            error = found.camera.px_per_in_at(found.camera.plane_from_px(at_px)) / truth - 1
            rows.append((100 * error, 100 * COVERAGE_95 * found.u_scale, found.is_rim))
            print(f"{seed} off {100 * error:+.2f} %, u95 {rows[-1][1]:.2f} %, rim {'sure' if found.is_rim else 'open'}", flush=True)
    for sure in (True, False):
        off, u95 = np.abs([row[:2] for row in rows if row[2] is sure]).reshape(-1, 2).T
        if len(off):
            print(
                f"rim {'sure' if sure else 'open'}: {len(off)}, off {np.median(off):.2f} % in median, {off.max():.2f} % at most, "
                f"u95 {u95.min():.2f} to {u95.max():.2f} %, inside {np.mean(off <= u95):.2f}"
            )
    print("refused:", refused)


if __name__ == "__main__":
    main()
