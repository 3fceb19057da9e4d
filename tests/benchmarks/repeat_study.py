"""What several photos of one fit come to, over scenes rendered at random: coverage, size of u95, and how often they disagree.

    python tests/benchmarks/repeat_study.py COUNT [--first SEED] [--photos 3]

Each scene is seen by one phone from other sides, turned otherwise each time, in the same light; nothing is moved. A study, not a
test: a scene takes some 30 s.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from seamcheck.basis.errors import SeamcheckError
from seamcheck.basis.reasons import Reason
from seamcheck.combine.fit import together
from seamcheck.photo import read_photo
from seamcheck.pipeline import Settings, inspect
from seamcheck.result import Inspection, Stage
from tests.scenes.draw import Scene, draw
from tests.scenes.render import render
from tests.scenes.view import View

TIP_MATCH_IN = 0.2


def other_view(scene: Scene, rng: np.random.Generator) -> View:
    """Of the same phone, from about the same height, leaning and turned otherwise."""
    now = scene.view
    eye = -now.rotation.T @ now.translation
    off = (now.cx - (now.width - 1) / 2, now.cy - (now.height - 1) / 2)
    tilt = np.radians(min(abs(rng.normal(0, 7)), 18))
    return View.over(
        now.width,
        now.height,
        now.f_px,
        off,
        now.k1,
        now.k2,
        rng.normal(0, 0.2, 2),
        float(eye[2]) * rng.uniform(1.0, 1.08),
        tilt,
        rng.uniform(0, 2 * np.pi),
        rng.uniform(0, 2 * np.pi),
    )


def look(scene: Scene, folder: Path, name: str) -> Inspection:
    path = folder / name
    path.write_bytes(render(scene))
    across, along = scene.bars_in
    settings = Settings(Stage(scene.stage), bar_across_in=round(across, 4), bar_along_in=round(along, 4))
    return inspect(read_photo(path), settings)


def errors(scene: Scene, found: Inspection, quantity: str) -> list[tuple[float, float]]:
    """(error, u95) of one quantity, tips matched by place in the first photo."""
    rows = []
    for tip in found.tips:
        estimate = getattr(tip, quantity)
        if estimate is None:
            continue
        away = [float(np.hypot(*(scene.tip_px(lobe) - tip.tip_px))) for lobe in scene.rose.lobes]
        number = int(np.argmin(away))
        if away[number] < TIP_MATCH_IN * found.scale.px_per_in:
            truth = scene.offset_in(number) if quantity == "seam_offset" else scene.reach_in(number)
            rows.append((estimate.value - truth, estimate.u95))
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--photos", type=int, default=3)
    asked = parser.parse_args()
    single: dict[str, list[tuple[float, float]]] = {"seam_offset": [], "reach": []}
    joined: dict[str, list[tuple[float, float]]] = {"seam_offset": [], "reach": []}
    counts = dict.fromkeys(("sets", "refused", "photos lost", "sets that disagree", "points that disagree"), 0)
    with tempfile.TemporaryDirectory() as place:
        for seed in range(asked.first, asked.first + asked.count):
            rng = np.random.default_rng([seed, 11])
            scenes = [draw(seed, "dry-fit")]
            scenes += [replace(scenes[0], view=other_view(scenes[0], rng), noise_seed=k) for k in range(1, asked.photos)]
            found = []
            for k, scene in enumerate(scenes):
                try:
                    found.append((scene, look(scene, Path(place), f"{seed}-{k}.jpg")))
                except SeamcheckError:
                    counts["photos lost"] += 1
            if len(found) < 2:
                continue
            counts["sets"] += 1
            try:
                all_found = together([one for _, one in found])
            except SeamcheckError as error:
                counts["refused"] += 1
                print(seed, error)
                continue
            assert all_found.together is not None
            counts["sets that disagree"] += bool(all_found.together.disagree)
            counts["points that disagree"] += sum(tip.reason is Reason.PHOTOS_DISAGREE for tip in all_found.tips)
            for sentence in all_found.together.disagree:
                print(seed, sentence)
            for quantity in single:
                single[quantity] += errors(*found[0], quantity)
                joined[quantity] += errors(found[0][0], all_found, quantity)
            for name, rows in (("one photo", single), ("together", joined)):
                for quantity, pairs in rows.items():
                    error, u95 = np.abs(np.array(pairs)).T * 1000
                    inside = float(np.mean(error <= u95))
                    print(
                        f"{seed:4} {name:10} {quantity:12} n {len(error):4}  inside {inside:.3f}  median {np.median(error):.2f}"
                        f"  95 % {np.quantile(error, 0.95):.2f}  mean u95 {u95.mean():.2f}",
                        flush=True,
                    )
            print(counts, flush=True)


if __name__ == "__main__":
    main()
