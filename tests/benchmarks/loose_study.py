"""How often the truth lies inside u95 on loose lobes rendered at random (tests/scenes).

    python tests/benchmarks/loose_study.py COUNT [--first SEED] [--keep FOLDER]

`--keep` keeps the rendered photos and takes them from there the next time. Each line of the report is a quantity, as in coverage_study.py:
lengths in thousandths of an inch, angles in hundredths of a degree. A study, not a test: a scene takes some 40 s.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator
from math import degrees
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from seamcheck.basis.errors import SeamcheckError
from seamcheck.basis.uncertain import Estimate
from seamcheck.photo import read_photo
from seamcheck.pipeline import Settings, inspect
from seamcheck.result import Stage, Tip
from tests.benchmarks.coverage_study import Row, figures
from tests.scenes.draw import Scene
from tests.scenes.geometry import Lobe, meet, right
from tests.scenes.kept import photos_of
from tests.scenes.loose import draw_loose

MATCH_IN = 0.2


def look_at(scene: Scene, path: Path) -> list[Row]:
    across, along = scene.bars_in
    woods = f"{scene.field_wood}/{scene.dark_wood}/{scene.light_wood}"

    def row(quantity: str, what: str, truth: float = 0.0, estimate: Estimate | None = None, scale: float = 1.0) -> Row:
        error, u = (0.0, 1.0) if estimate is None else ((estimate.value - truth) * scale, estimate.u * scale)
        return Row(scene.seed, True, "loose", quantity, f"{what} {woods}", "", error, u)

    try:
        found = inspect(read_photo(path), Settings(Stage.LOOSE, bar_across_in=round(across, 4), bar_along_in=round(along, 4)))
    except SeamcheckError as error:
        return [row("REFUSED", str(error))]
    rows = [row("PHOTO", "")]
    free = list(found.tips)
    for lobe in scene.rose.lobes:
        near = [tip for tip in free if np.hypot(*(tip.tip_px - scene.tip_px(lobe))) < MATCH_IN * found.scale.px_per_in]
        if not near:
            rows.append(row("MISSED", ""))
            continue
        tip = near[0]
        free.remove(tip)
        rows.append(row("DARK SIDE RIGHT" if tip.dark_side == lobe.dark_side else "DARK SIDE WRONG", f"lobe {tip.lobe}"))
        what = f"lobe {tip.lobe}, ring {lobe.ring}"
        hundredths = degrees(1) / 10  # figures come in thousandths
        for quantity, truth, estimate, scale in (
            ("own seam at tip", lobe.own_offset_in, tip.own_seam_offset, 1.0),
            ("length", lobe.length_in, tip.length, 1.0),
            ("root angle", lobe.root_angle, tip.root_angle, hundredths),
        ):
            rows.append(row(f"NO {quantity}".upper(), what) if estimate is None else row(quantity, what, truth, estimate, scale))
        rows += [row(*compared) for compared in of_shape(lobe, tip, what)]
    rows += [row("SPURIOUS", "") for _ in free]
    return rows


def of_shape(lobe: Lobe, tip: Tip, what: str) -> Iterator[tuple[str, str, float, Estimate, float]]:
    """(quantity, what, truth, estimate, scale) of a lobe's edges and half angles."""
    assert tip.shape is not None
    root, tip_in = lobe.root_in, lobe.tip_in
    shoulders = [
        meet(*lobe.edges[0].fitted(0, 1), *lobe.edges[1].fitted(0.4, 1)),
        meet(*lobe.edges[2].fitted(0, 0.6), *lobe.edges[3].fitted(0, 1)),
    ]
    axis = (tip_in - root) / np.hypot(*(tip_in - root))
    for k, side in enumerate(("left", "right")):
        for name, end, sign in ((f"{side}_short", root, 1), (f"{side}_long", tip_in, -1)):
            way = (shoulders[k] - end) / np.hypot(*(shoulders[k] - end))
            edge = lobe.edges[{"left_short": 0, "left_long": 1, "right_long": 2, "right_short": 3}[name]]
            length = float(np.hypot(*(edge.b - edge.a)))
            seen = length - 0.12 if sign > 0 else 0.6 * length - 0.08
            if name in tip.shape.lengths:
                yield f"{name[-5:].strip('_')} edge", what, float(np.hypot(*(shoulders[k] - end))), tip.shape.lengths[name], 1.0
                angle = f"{side}_{'root' if sign > 0 else 'tip'}"
                yield (
                    f"half {angle.split('_')[1]} angle",
                    what,
                    float(np.arccos(sign * way @ axis)),
                    tip.shape.angles[angle],
                    degrees(1) / 10,
                )
            if name in tip.shape.bows:
                yield f"bow of {name[-5:].strip('_')} edge", what, edge.bow_in * (seen / length) ** 2, tip.shape.bows[name], 1.0
    if tip.shape.own_root_offset is not None:
        own = lobe.own_tip - lobe.own_root
        yield "own seam at root", what, float((root - lobe.own_root) @ right(own / np.hypot(*own))), tip.shape.own_root_offset, 1.0


def report(rows: list[Row]) -> None:
    happened = [row.quantity for row in rows if row.quantity.isupper()]
    print(", ".join(f"{name.lower()} {happened.count(name)}" for name in sorted(set(happened))))
    for quantity in sorted({row.quantity for row in rows if not row.quantity.isupper()}):
        print("   " + figures(quantity, [row for row in rows if row.quantity == quantity]))
    for row in sorted((row for row in rows if not row.quantity.isupper()), key=lambda row: -abs(row.z))[:20]:
        print(f"   seed {row.seed} {row.quantity} {row.z:+.1f} u, {1000 * row.error:+.2f} ({1000 * row.u:.2f}) {row.what}")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("count", type=int)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--keep", type=Path)
    options = parser.parse_args()
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as folder:
        seeds = range(options.first, options.first + options.count)
        for scene, path in photos_of(seeds, draw_loose, options.keep or Path(folder)):
            rows += look_at(scene, path)
    report(rows)


if __name__ == "__main__":
    main()
