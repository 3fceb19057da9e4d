"""How often the truth lies inside u95, over scenes rendered at random (tests/scenes), told and with nothing said.

    python tests/benchmarks/coverage_study.py COUNT [--first SEED] [--keep FOLDER] [--rows FILE]

`--keep` keeps the rendered photos and takes them from there the next time; `--rows` adds every number compared to a file of
JSON lines, one photo at a time, so that a study can be stopped and taken up. Each line of the report is a quantity: how many,
the share inside u95 with its bounds (Clopper and Pearson, 95 %), median and 95 % error, the mean u95, and the worst error over u.
Lengths in thousandths of an inch, angles in hundredths of a degree. A study, not a test: COUNT scenes take some 6 s each.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass
from math import degrees
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from seamcheck.basis.errors import SeamcheckError
from seamcheck.basis.uncertain import Estimate
from seamcheck.photo import read_photo
from seamcheck.pipeline import Settings, inspect
from seamcheck.result import Inspection, Stage, Verdict
from tests.scenes.draw import Scene, draw
from tests.scenes.kept import photos_of

TOLERANCE_IN = 1 / 64
TIP_MATCH_IN = 0.2
JOINT_MATCH_IN = 0.15
EDGE_HIDDEN, SEAM_HIDDEN, JOINT_HIDDEN = 0.75, 0.5, 0.5  # more than this hidden: not asked for


@dataclass(frozen=True)
class Row:
    """One number compared, or (quantity in capitals) one thing that happened."""

    seed: int
    told: bool
    stage: str
    quantity: str
    what: str  # which lobe or joint, woods, resolution: to group by and to look for
    cue: str
    error: float = 0.0
    u: float = 1.0
    parts: tuple[tuple[str, float], ...] = ()

    @property
    def z(self) -> float:
        return self.error / self.u if self.u else np.inf

    @property
    def inside(self) -> bool:
        return abs(self.z) <= 1.959964


def look_at(scene: Scene, told: bool, path: Path) -> list[Row]:
    """Inspect a scene's photo and compare."""
    named = f"{scene.field_wood}/{scene.dark_wood}/{scene.light_wood}"

    def row(quantity: str, what: str, error: float = 0.0, estimate: Estimate | None = None, scale: float = 1.0) -> Row:
        parts = () if estimate is None else tuple((name, part * scale) for name, part in estimate.parts.items())
        u = 1.0 if estimate is None else estimate.u * scale
        return Row(scene.seed, told, scene.stage, quantity, f"{what} {named}", scene.seam_cue, error, u, parts)

    across, along = scene.bars_in
    settings = Settings(Stage(scene.stage), bar_across_in=round(across, 4), bar_along_in=round(along, 4)) if told else Settings()
    try:
        found = inspect(read_photo(path), settings)
    except SeamcheckError as error:
        return [row("REFUSED", str(error))]
    rows = [row("PHOTO", "")]
    if found.stage.value != scene.stage:
        rows.append(row("STAGE WRONG", found.stage.value))
    return rows + list(_tips(scene, found, row)) + list(_joints(scene, found, row))


def _tips(scene: Scene, found: Inspection, row: Callable[..., Row]) -> Iterator[Row]:
    ppi = scene.view.f_px / (scene.view.rotation @ np.zeros(3) + scene.view.translation)[2]
    matched = _nearest([scene.tip_px(lobe) for lobe in scene.rose.lobes], [tip.tip_px for tip in found.tips], TIP_MATCH_IN * ppi)
    for _ in range(len(found.tips) - len(matched)):
        yield row("SPURIOUS TIP", "")
    for k, lobe in enumerate(scene.rose.lobes):
        asked = scene.edge_hidden(k) <= EDGE_HIDDEN and scene.seam_hidden(k) <= SEAM_HIDDEN
        tip = found.tips[matched[k]] if k in matched else None
        what = f"lobe {k} at {int(ppi)} px/in"
        if asked:
            yield row("ASKED", what)
        if tip is None:
            if asked:
                yield row("MISSED TIP", what)
            continue
        if tip.dark_side is not None and tip.dark_side != lobe.dark_side:
            yield row("SIDE WRONG", what)
        truth = scene.offset_in(k)
        if tip.seam_offset is not None:
            quantity = f"seam by {scene.seam_cue}" if asked else "seam, hidden"
            yield row(quantity, f"{what} followed {tip.seam_cue}", tip.seam_offset.value - truth, tip.seam_offset)
        elif asked:
            yield row("UNMEASURED", f"{what} {tip.reason.name if tip.reason else ''}")
        if tip.verdict is Verdict.ON and abs(truth) > TOLERANCE_IN:
            yield row("FALSE ON", f"{what} {truth:.4f}")
        if tip.verdict is Verdict.OFF and abs(truth) <= TOLERANCE_IN:
            yield row("FALSE OFF", f"{what} {truth:.4f}")
        if asked and not 0.5 <= abs(truth) / TOLERANCE_IN <= 1.5:
            yield row("DECIDED" if tip.verdict in (Verdict.ON, Verdict.OFF) else "UNDECIDED", what)
        if not asked:
            continue
        if tip.own_seam_offset is not None:
            yield row("own seam", what, tip.own_seam_offset.value - lobe.own_offset_in, tip.own_seam_offset)
        if tip.reach is not None:
            yield row("reach", what, tip.reach.value - scene.reach_in(k), tip.reach)
        if tip.length is not None:
            yield row("length", what, tip.length.value - lobe.length_in, tip.length)
        if tip.root_angle is not None:
            # Tens of degrees, so that the thousandths of the report are hundredths of a degree.
            yield row("root angle", what, degrees(tip.root_angle.value - lobe.root_angle) / 10, tip.root_angle, degrees(1) / 10)


def _joints(scene: Scene, found: Inspection, row: Callable[..., Row]) -> Iterator[Row]:
    ppi = scene.view.f_px / scene.view.translation[2]
    given = [joint for joint in found.joints if joint.max_gap is not None and None not in joint.lobes]
    true_px = [scene.view.px(joint.ends, scene.height_in).mean(axis=0) for joint in scene.rose.joints]
    matched = _nearest(true_px, [joint.edge_px.mean(axis=0) for joint in given], JOINT_MATCH_IN * ppi)
    for k, joint in enumerate(scene.rose.joints):
        if scene.joint_hidden(joint) < JOINT_HIDDEN and k in matched:
            seen = given[matched[k]].max_gap
            assert seen is not None
            yield row("gap", f"joint {joint.lobes} at {int(ppi)} px/in true {joint.max_in:.4f}", seen.value - joint.max_in, seen)


def _nearest(true_px: list[np.ndarray], seen_px: list[np.ndarray], limit_px: float) -> dict[int, int]:
    """One-to-one matches, the nearest first."""
    matches: dict[int, int] = {}
    if not true_px or not seen_px:
        return matches
    apart = np.linalg.norm(np.array(true_px)[:, None] - np.array(seen_px)[None], axis=2)
    while apart.min() <= limit_px:
        i, j = np.unravel_index(np.argmin(apart), apart.shape)
        matches[int(i)] = int(j)
        apart[i, :] = apart[:, j] = np.inf
    return matches


def bounds(inside: int, count: int) -> tuple[float, float]:
    """The 95 % interval of a share, after Clopper and Pearson."""
    from scipy.stats import beta

    low = beta.ppf(0.025, inside, count - inside + 1) if inside else 0.0
    high = beta.ppf(0.975, inside + 1, count - inside) if inside < count else 1.0
    return float(low), float(high)


def figures(name: str, rows: list[Row]) -> str:
    errors = 1000 * np.abs([row.error for row in rows])
    u95 = 1000 * 1.959964 * np.array([row.u for row in rows])
    inside = sum(row.inside for row in rows)
    low, high = bounds(inside, len(rows))
    z = np.array([row.z for row in rows])
    return (
        f"{name:34s} n {len(rows):5d}  inside {100 * inside / len(rows):5.1f} % ({100 * low:.1f} to {100 * high:.1f})"
        f"  error median {np.median(errors):6.2f}, 95 % {np.quantile(errors, 0.95):6.2f}  mean u95 {u95.mean():6.2f}"
        f"  rms error/u {np.sqrt(np.mean(np.clip(z, -9, 9) ** 2)):.2f}  worst {np.abs(z).max():.1f}"
    )


def report(rows: list[Row], split: str | None) -> None:
    for told in (True, False):
        for stage in ("dry-fit", "inlaid"):
            mine = [row for row in rows if row.told == told and row.stage == stage]
            if not mine:
                continue
            print(f"== {stage}, {'told' if told else 'nothing said'}")
            happened = [row.quantity for row in mine if row.quantity.isupper()]
            print("   " + ", ".join(f"{name.lower()} {happened.count(name)}" for name in sorted(set(happened))))
            for quantity in sorted({row.quantity for row in mine if not row.quantity.isupper()}):
                some = [row for row in mine if row.quantity == quantity]
                print("   " + figures(quantity, some))
                if split:
                    for value in sorted({_of(row, split) for row in some}):
                        print("      " + figures(value, [row for row in some if _of(row, split) == value]))
    worst = sorted((row for row in rows if not row.quantity.isupper()), key=lambda row: -abs(row.z))[:25]
    print("== worst")
    for row in worst:
        parts = " ".join(f"{name} {1000 * part:.2f}" for name, part in row.parts)
        where = f"seed {row.seed} {'told' if row.told else 'plain'}"
        print(f"   {where} {row.quantity} {row.z:+.1f} u, {1000 * row.error:+.2f} ({parts}) {row.what}")
    for name in ("FALSE ON", "FALSE OFF", "SPURIOUS TIP", "SIDE WRONG", "REFUSED"):
        for row in rows:
            if row.quantity == name:
                print(f"   {name}: seed {row.seed} {'told' if row.told else 'plain'} {row.what}")


def _of(row: Row, split: str) -> str:
    words = row.what.split()[-1].split("/")
    return words[("field", "dark", "light").index(split)] if len(words) == 3 else "?"


def load(path: Path) -> list[Row]:
    return [Row(**json.loads(line)) for line in path.read_text().splitlines()] if path.exists() else []


def study(seeds: Iterable[int], keep: Path, into: Path | None) -> list[Row]:
    rows = load(into) if into else []
    done = {row.seed for row in rows}
    for scene, path in photos_of((seed for seed in seeds if seed not in done), draw, keep, "scene-{seed}.jpg"):
        new = look_at(scene, True, path) + look_at(scene, False, path)
        rows += new
        if into:
            with into.open("a") as file:
                file.writelines(json.dumps(asdict(row)) + "\n" for row in new)
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("count", type=int)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--rows", type=Path)
    parser.add_argument("--split", choices=("field", "dark", "light"))
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        report(study(range(options.first, options.first + options.count), options.keep or Path(folder), options.rows), options.split)


if __name__ == "__main__":
    main()
