"""How often the truth lies inside u95 on bare tops rendered at random (tests/scenes).

    python tests/benchmarks/bare_study.py COUNT [--first SEED] [--keep FOLDER] [--plain]

`--keep` keeps the rendered photos and takes them from there the next time; `--plain` tells nothing (else the stage and the bars'
readings). Each line of the report is a quantity, as in coverage_study.py: lengths in thousandths of an inch, bearings in hundredths of a
degree. A study, not a test: a scene takes some 20 s.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from math import degrees
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from seamcheck.basis.errors import SeamcheckError
from seamcheck.photo import read_photo
from seamcheck.pipeline import Settings, inspect
from seamcheck.result import Inspection, Stage
from tests.benchmarks.coverage_study import Row, figures
from tests.scenes.draw import Scene, draw_bare
from tests.scenes.geometry import direction, right
from tests.scenes.kept import photos_of

LEAST_SHOWN_IN = 1.5  # a seam that shows over less than this isn't asked for
NEAR = np.radians(2.0)


def look_at(scene: Scene, path: Path, told: bool) -> list[Row]:
    across, along = scene.bars_in
    settings = Settings(Stage.BARE, bar_across_in=round(across, 4), bar_along_in=round(along, 4)) if told else Settings()

    def row(quantity: str, what: str, error: float = 0.0, u: float = 1.0) -> Row:
        where = f"{what}, {scene.field_wood} at {_density(scene):.0f} px/in"
        return Row(scene.seed, told, "bare", quantity, where, scene.seam_cue, error, u)

    try:
        found = inspect(read_photo(path), settings)
    except SeamcheckError as error:
        return [row("REFUSED", str(error))]
    if found.stage is not Stage.BARE:
        return [row("STAGE WRONG", found.stage.value)]
    return [row("PHOTO", ""), *_seams(scene, found, row), *_edge(scene, found, row)]


def _density(scene: Scene) -> float:
    at = scene.view.px(np.array([[-0.5, 0.0], [0.5, 0.0]]))
    return float(np.hypot(*(at[1] - at[0])))


def _seams(scene: Scene, found: Inspection, row) -> list[Row]:  # type: ignore[no-untyped-def]
    rows, turns = [], []
    centre = scene.seams_centre_in
    up = scene.view.plan(scene.view.px(centre) + np.array([[0.0, -10.0], [0.0, 10.0]]))
    up_bearing = np.arctan2(*(up[0] - up[1]))
    free = list(found.seams)
    for seam in scene.seams:
        asked = len(scene.shown(seam)) * 0.05 >= LEAST_SHOWN_IN
        if asked:
            rows.append(row("ASKED", ""))
        turn = {k: _wrap(one.bearing + up_bearing - seam.bearing) for k, one in enumerate(free)}
        best = min(turn, key=lambda k: abs(turn[k]), default=None)
        if best is None or abs(turn[best]) > NEAR:
            rows += [row("MISSED", "")] if asked else []
            continue
        one = free.pop(best)
        turns.append((turn[best], one))
        middle = scene.view.plan(np.mean(one.seam_px, axis=0)[None])[0]
        rows.append(row(f"place by {scene.seam_cue}", f"followed {one.cue}", float(seam.offset_of(middle)), one.place.u))
        if one.off_centre is not None:
            truth = -seam.offset_of(centre)
            rows.append(row(f"off centre by {scene.seam_cue}", f"followed {one.cue}", one.off_centre.value - truth, one.off_centre.u))
    rows += [row("SPURIOUS", "") for _ in free]
    common = np.mean([turn for turn, _ in turns]) if turns else 0.0
    for turn, one in turns:
        rows.append(row(f"bearing by {scene.seam_cue}", f"followed {one.cue}", degrees(turn - common) / 10, degrees(one.u_bearing) / 10))
    return rows


def _edge(scene: Scene, found: Inspection, row) -> list[Row]:  # type: ignore[no-untyped-def]
    top = found.bare
    rim = np.array(scene.top_centre_in) + scene.top_radius_in * np.stack([direction(a) for a in np.linspace(0, 2 * np.pi, 360)])
    px = scene.view.px(rim)
    shown = np.all((px > 0) & (px < np.array([scene.view.width, scene.view.height])), axis=1).mean()
    if top is None or top.diameter is None or top.edge_off is None or top.edge_off_bearing is None:
        return [row("NO EDGE", f"{shown:.2f} of it shown")]
    away = np.array(scene.top_centre_in) - scene.seams_centre_in
    up = scene.view.plan(scene.view.px(scene.seams_centre_in) + np.array([[0.0, -10.0], [0.0, 10.0]]))
    way = direction(top.edge_off_bearing + float(np.arctan2(*(up[0] - up[1]))))
    miss = top.edge_off.value * way - away
    return [
        row("diameter", f"{shown:.2f} of it shown", top.diameter.value - 2 * scene.top_radius_in, top.diameter.u),
        row("edge's centre", "along", float(miss @ way), top.edge_off.u),
        row("edge's centre", "across", float(miss @ right(way)), top.edge_off.u),
    ]


def _wrap(angle: float) -> float:
    return float((angle + np.pi) % (2 * np.pi) - np.pi)


def report(rows: list[Row]) -> None:
    happened = [row.quantity for row in rows if row.quantity.isupper()]
    print(", ".join(f"{name.lower()} {happened.count(name)}" for name in sorted(set(happened))))
    for quantity in sorted({row.quantity for row in rows if not row.quantity.isupper()}):
        print("   " + figures(quantity, [row for row in rows if row.quantity == quantity]))
    for row in sorted((row for row in rows if not row.quantity.isupper()), key=lambda row: -abs(row.z))[:20]:
        print(f"   seed {row.seed} {row.quantity} {row.z:+.1f} u, {1000 * row.error:+.2f} ({1000 * row.u:.2f}) {row.what}")
    for row in rows:
        if row.quantity in ("REFUSED", "STAGE WRONG", "NO EDGE", "MISSED", "SPURIOUS"):
            print(f"   {row.quantity}: seed {row.seed} {row.what}")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("count", type=int)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--plain", action="store_true")
    options = parser.parse_args()
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as folder:
        seeds = range(options.first, options.first + options.count)
        for scene, path in photos_of(seeds, draw_bare, options.keep or Path(folder)):
            rows += look_at(scene, path, not options.plain)
    report(rows)


if __name__ == "__main__":
    main()
