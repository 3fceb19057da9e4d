"""How well a rose's room in its recess is told, over scenes rendered at random: errors, uncertainties, verdicts.

    python tests/benchmarks/recess_study.py COUNT [--first SEED] [--keep FOLDER] [--no-bars] [--other-cards]

Each scene is a dry fit and, from another side, the recess that was cut for it (`tests/scenes/recess.py` says what goes wrong there). Both
are measured by one sheet's cards, with the bars read and the veneer told unless it says otherwise. Which turn is meant is told, but what
the program would have taken is counted. Each scene's bare top and its rose in the recess's place are tried as well: neither may be taken
for the recess. --keep holds photos and the roses' inspections. A study, not a test: a scene takes half a minute.
"""

from __future__ import annotations

import argparse
import pickle
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from seamcheck.basis.errors import SeamcheckError
from seamcheck.basis.seat_errors import WhichWayIn
from seamcheck.photo import read_photo
from seamcheck.pipeline import Settings, inspect
from seamcheck.result import Inspection, Room, Seating, Stage
from seamcheck.seating import SeatSettings, seat_rose
from tests.scenes.geometry import Rose
from tests.scenes.kept import photos_of
from tests.scenes.recess import RecessScene, draw_recess, render_recess, true_seat
from tests.scenes.render import render

NEAR_IN = 0.2


def rose_of(scene: RecessScene, folder: Path, bars: bool) -> Inspection:
    """The dry fit's inspection, kept beside its photo."""
    seed = scene.top.seed
    kept = folder / f"{seed}-rose.{int(bars)}.pkl"
    if kept.exists():
        return pickle.loads(kept.read_bytes())
    ((_, path),) = photos_of([seed], lambda _: scene.dry_fit, folder, "{seed}-rose.jpg", render)
    across, along = scene.bars_in if bars else (None, None)
    found = inspect(read_photo(path), Settings(Stage.DRY_FIT, bar_across_in=across, bar_along_in=along, veneer_in=scene.depth_in))
    kept.write_bytes(pickle.dumps(found))
    return found


def lobe_order(scene: RecessScene, rose: Inspection) -> dict[int, int]:
    """The place in the scene's `lobes` of each lobe that was found."""
    near_px = NEAR_IN * rose.scale.px_per_in
    result = {}
    for tip in rose.tips:
        away = [float(np.hypot(*(scene.dry_fit.tip_px(scene.dry_fit.rose.lobes[k]) - tip.tip_px))) for k in scene.lobes]
        if min(away) < near_px:
            result[tip.lobe] = int(np.argmin(away))
    return result


def first_at(scene: RecessScene, rose: Inspection) -> float:
    """Where the first lobe's point goes in the photo of the recess: clockwise from its up, rad."""
    k = lobe_order(scene, rose)[rose.tips[0].lobe]
    tip, middle = scene.top.view.px(np.stack([scene.corners_in[2 * k], scene.middle_in]))
    return float(np.arctan2(tip[0] - middle[0], middle[1] - tip[1]))


def is_turned_rightly(scene: RecessScene, rose: Inspection, found: Seating) -> bool:
    order = lobe_order(scene, rose)
    tips = scene.top.view.px(scene.corners_in[0::2])
    away = [np.hypot(*(tips[order[p.lobe]] - px)) for p, px in zip(found.points, found.recess_px[0::2], strict=True) if p.lobe in order]
    return bool(np.median(away) < NEAR_IN * found.scale.px_per_in)


def others(scene: RecessScene, folder: Path, rose: Inspection, settings: SeatSettings) -> list[str]:
    """What was wrongly taken for the recess."""
    seed = scene.top.seed
    bare = replace(scene.top, rose=Rose((), (), ()), stage="bare")
    ((_, top),) = photos_of([seed], lambda _: bare, folder, "{seed}-bare.jpg", render)
    wrong = []
    for name, path in (("bare top", top), ("its own rose", folder / f"{seed}-rose.jpg")):
        try:
            seat_rose(read_photo(path), rose, settings)
            wrong.append(name)
        except SeamcheckError:
            pass
    return wrong


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--no-bars", action="store_true", help="nobody read the bars")
    parser.add_argument("--other-cards", action="store_true", help="nobody said that the cards are the same")
    parser.add_argument("--no-others", action="store_true", help="leave out what isn't a recess")
    asked = parser.parse_args()
    folder = asked.keep or Path(tempfile.mkdtemp())
    counts: dict[str, int] = dict.fromkeys(("scenes", "rose refused", "recess refused", "others taken"), 0)
    turns = dict.fromkeys(("shape", "shape, wrongly", "up", "up, wrongly", "asked for"), 0)
    rows: list[tuple[float, float, float, str, int]] = []  # room's truth, value, u95, verdict of the edge, scene
    tips: list[tuple[float, float, float, float, float | None, str]] = []
    whole: list[tuple[float, float, float]] = []
    stands = dict.fromkeys(("standing", "seen", "by off > .01", "claimed, none there"), 0)
    points = dict.fromkeys(("round", "round seen", "round called in", "cleared", "cleared called round"), 0)
    edges_false = dict.fromkeys(("fits", "false fits", "tight", "false tight", "gapes", "false gapes", "unsure", "unmeasured"), 0)
    for seed in range(asked.first, asked.first + asked.count):
        scene = draw_recess(seed)
        counts["scenes"] += 1
        try:
            rose = rose_of(scene, folder, not asked.no_bars)
        except SeamcheckError as error:
            counts["rose refused"] += 1
            print(seed, error, flush=True)
            continue
        ((_, path),) = photos_of([seed], lambda _, scene=scene: scene, folder, "{seed}-recess.jpg", render_recess)
        across, along = (None, None) if asked.no_bars else scene.bars_in
        settings = SeatSettings(0.010, scene.depth_in, across, along, not asked.other_cards)
        if not asked.no_others and (taken := others(scene, folder, rose, settings)):
            print(seed, "wrongly taken for the recess:", taken, flush=True)
            counts["others taken"] += len(taken)
        try:
            found = seat_rose(read_photo(path), rose, replace(settings, lobe_1_at=first_at(scene, rose)))
        except SeamcheckError as error:
            counts["recess refused"] += 1
            print(seed, scene.floor, scene.top.field_wood, error, flush=True)
            continue
        try:
            untold = seat_rose(read_photo(path), rose, settings)
            turn_by = untold.turn_by
            turns[turn_by if is_turned_rightly(scene, rose, untold) else f"{turn_by}, wrongly"] += 1
        except WhichWayIn:
            turn_by = "asked for"
            turns[turn_by] += 1
        if not is_turned_rightly(scene, rose, found):
            print(seed, "turned wrongly", flush=True)
            continue
        true, order = true_seat(scene), lobe_order(scene, rose)
        whole.append((true.most_room_in, found.least_anywhere.value, found.least_anywhere.u95))
        before = len(rows)
        for point in found.points:
            k = order.get(point.lobe)
            if k is None:
                continue
            for side, edge in enumerate(point.edges):
                cut = scene.cuts[2 * k + side]
                name = edge.verdict.value
                edges_false[name] += 1
                low, high = true.rooms_in[k, side].min(), true.rooms_in[k, side].max()
                if edge.verdict is Room.FITS and (low < 0 or high > 0.010 or cut.left_standing):
                    edges_false["false fits"] += 1
                if edge.verdict is Room.TIGHT and low >= 0 and not cut.left_standing:
                    edges_false["false tight"] += 1
                if edge.verdict is Room.GAPES and high <= 0.010:
                    edges_false["false gapes"] += 1
                stands["standing"] += bool(cut.left_standing)
                if cut.left_standing and edge.standing:
                    stands["seen"] += 1
                    stands["by off > .01"] += abs(edge.standing[0].by_in - 1 / 16) > 0.01
                stands["claimed, none there"] += bool(edge.standing) and not cut.left_standing
                for value, truth in zip((edge.at_notch, edge.at_tip), true.rooms_in[k, side], strict=True):
                    if value is not None:
                        rows.append((float(truth), value.value, value.u95, name, seed))
            if point.beyond is not None:
                tips.append(
                    (true.beyond_in[k], point.beyond.value, point.beyond.u95, true.uncut_in[k], point.uncut_in, point.verdict.value)
                )
            if point.point_seen:
                is_round = true.uncut_in[k] > 0.03
                points["round"] += is_round
                points["cleared"] += not is_round
                points["round seen"] += is_round and point.uncut_in is not None
                points["round called in"] += is_round and point.verdict is Room.FITS and true.uncut_in[k] > true.beyond_in[k]
                points["cleared called round"] += not is_round and point.uncut_in is not None
        mine = np.array([row[:3] for row in rows[before:]])
        if len(mine):
            off = np.abs(mine[:, 1] - mine[:, 0])
            inside = np.mean(off <= mine[:, 2])
            print(
                f"{seed} {len(found.points)} points, {scene.floor} in {scene.top.field_wood}: "
                f"room off {np.median(off):.4f} / {off.max():.4f}, u95 {np.median(mine[:, 2]):.4f}, "
                f"inside {inside:.2f}; turn by {turn_by}",
                flush=True,
            )
    print(counts, turns)
    table = np.array([row[:3] for row in rows])
    off = np.abs(table[:, 1] - table[:, 0])
    inside = off <= table[:, 2]
    print(f"{len(off)} rooms: off {np.median(off):.4f} median, {np.quantile(off, 0.95):.4f} 95 %; inside u95 {inside.mean():.3f}")
    print(f"u95: {np.quantile(table[:, 2], [0.1, 0.5, 0.9]).round(4)}; signed error {np.mean(table[:, 1] - table[:, 0]):.4f}")
    sure = table[:, 2] <= 0.008
    print(f"known to .008 or better: {sure.mean():.2f}; of these inside {inside[sure].mean():.3f}, off {np.median(off[sure]):.4f}")
    beyond = np.array([tip[:3] for tip in tips])
    far = np.abs(beyond[:, 1] - beyond[:, 0])
    print(f"{len(far)} tips: beyond off {np.median(far):.4f} / {np.quantile(far, 0.95):.4f}, inside {np.mean(far <= beyond[:, 2]):.3f}")
    false_in = sum(verdict == "fits" and (truth < 0 or uncut > truth + 0.03) for truth, _, _, uncut, _, verdict in tips)
    false_out = sum(verdict == "tight" and truth >= 0 and uncut < truth + 0.005 for truth, _, _, uncut, _, verdict in tips)
    judged = {name: sum(tip[5] == name for tip in tips) for name in ("fits", "tight", "unsure")}
    print(f"tips: {judged}, false in {false_in}, out {false_out}")
    uncut = [(tip[3], tip[4]) for tip in tips if tip[4] is not None and tip[3] > 0.03]
    if uncut:
        print(f"uncut: off {np.median(np.abs(np.diff(uncut, axis=1))):.4f} / {np.quantile(np.abs(np.diff(uncut, axis=1)), 0.95):.4f}")
    print(edges_false, stands, points)
    most = np.array(whole)
    print(
        f"whole: surely binds {np.sum(most[:, 1] + most[:, 2] < 0)}, of these it goes in after all "
        f"{np.sum((most[:, 1] + most[:, 2] < 0) & (most[:, 0] >= 0))}; goes in truly {np.sum(most[:, 0] >= 0)} of {len(most)}"
    )


if __name__ == "__main__":
    main()
