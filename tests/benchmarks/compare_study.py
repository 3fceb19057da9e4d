"""What `compare` says of two photos of one fit, over scenes rendered at random: how often a push is seen, and what is claimed of the rest.

    python tests/benchmarks/compare_study.py COUNT [--first SEED] [--push 0.010] [--keep FOLDER] [--cards-anew]

Each scene is seen twice by one phone, from another side and turned otherwise, in the same light. In between one lobe's point is pushed by
so much about its root, to a side drawn at random; nothing else is touched, so all other lobes' changes are nothing. A third photo, from yet
another side, shows the first fit untouched. --keep holds what was measured, so that a second run only compares; --cards-anew
compares as if the cards had been laid elsewhere in between. A study, not a test: a
scene takes some 30 s.
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
from seamcheck.combine.change import Comparison, compare
from seamcheck.result import Inspection
from tests.benchmarks.repeat_study import TIP_MATCH_IN, look, other_view
from tests.scenes.draw import Scene, draw


def pushed(scene: Scene, number: int, by_in: float) -> Scene:
    """The same fit after a lobe was turned about its root, its point clockwise by so much."""
    lobe = scene.rose.lobes[number]
    angle = by_in / float(np.hypot(*(lobe.tip - lobe.root)))
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, s], [-s, c]])
    names = ("left", "tip", "right", "own_root", "own_tip")
    moved = replace(lobe, **{name: lobe.root + turn @ (getattr(lobe, name) - lobe.root) for name in names})
    return replace(scene, rose=replace(scene.rose, lobes=(*scene.rose.lobes[:number], moved, *scene.rose.lobes[number + 1 :])))


def scenes_of(seed: int, push_in: float, other_light: bool = False) -> tuple[list[Scene], int, float]:
    """First, untouched from another side, pushed from a third; which lobe, and by how much clockwise."""
    rng = np.random.default_rng([seed, 13])
    first = draw(seed, "dry-fit")
    number, by_in = int(rng.integers(len(first.rose.lobes))), push_in * float(rng.choice([-1.0, 1.0]))
    untouched = replace(first, view=other_view(first, rng), noise_seed=1)
    after = replace(pushed(first, number, by_in), view=other_view(first, rng), noise_seed=2)
    if other_light:
        lighting = draw(seed + 5000, "dry-fit").lighting
        untouched, after = replace(untouched, lighting=lighting), replace(after, lighting=lighting)
    return [first, untouched, after], number, by_in


def looked_at(seed: int, push_in: float, keep: Path | None, other_light: bool = False) -> list[Inspection | None]:
    """The three photos' inspections; None for one that can't be measured."""
    kept = keep / f"{seed}-{push_in}{'-lamps' if other_light else ''}.pickle" if keep else None
    if kept and kept.exists():
        return pickle.loads(kept.read_bytes())
    found: list[Inspection | None] = []
    with tempfile.TemporaryDirectory() as place:
        for k, scene in enumerate(scenes_of(seed, push_in, other_light)[0]):
            try:
                found.append(look(scene, Path(place), f"{seed}-{k}.jpg"))
            except SeamcheckError as error:
                print(seed, k, error)
                found.append(None)
    if kept:
        kept.write_bytes(pickle.dumps(found))
    return found


def lobe_pushed(scene: Scene, number: int, found: Comparison) -> int | None:
    """The later photo's number of a lobe of the scene; None where it wasn't found."""
    away = [float(np.hypot(*(scene.tip_px(scene.rose.lobes[number]) - one.after.tip_px))) for one in found.tips]
    near = min(away, default=np.inf) < TIP_MATCH_IN * found.later.scale.px_per_in
    return found.tips[int(np.argmin(away))].lobe if near else None


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--push", type=float, default=0.010)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--other-light", action="store_true", help="the later photos under other lamps")
    parser.add_argument("--cards-anew", action="store_true", help="let the cards tell nothing")
    asked = parser.parse_args()
    counts = dict.fromkeys(("photos lost", "pairs", "not matched", "pairs with a false claim"), 0)
    counts |= dict.fromkeys(("pushed", "pushed lobe not measured twice", "push seen", "push contradicted"), 0)
    still, errors, uncertain = [], [], []
    for seed in range(asked.first, asked.first + asked.count):
        scenes, number, by_in = scenes_of(seed, asked.push, asked.other_light)
        first, *later = looked_at(seed, asked.push, asked.keep, asked.other_light)
        counts["photos lost"] += sum(one is None for one in (first, *later))
        for scene, one, is_pushed in zip(scenes[1:], later, (False, True), strict=True):
            if first is None or one is None:
                continue
            try:
                found = compare(first, replace(one, scale=replace(one.scale, card_moves={})) if asked.cards_anew else one)
            except SeamcheckError as error:
                counts["not matched"] += 1
                print(seed, error)
                continue
            counts["pairs"] += 1
            mine = lobe_pushed(scene, number, found) if is_pushed else None
            rest = [tip for tip in found.tips if tip.lobe != mine]
            joints = [joint for joint in found.joints if mine is None or mine not in joint.lobes]
            wrong = [tip.lobe for tip in rest if tip.moved] + [joint.lobes for joint in joints if joint.gap and joint.gap.is_real]
            counts["pairs with a false claim"] += bool(wrong)
            if wrong:
                print(seed, "wrongly claimed:", wrong)
            still += [(tip.across.by.value / tip.across.by.u) for tip in rest if tip.across]
            if is_pushed:
                change = next((tip for tip in found.tips if tip.lobe == mine), None)
                counts["pushed"] += 1
                if change is None or change.across is None:
                    counts["pushed lobe not measured twice"] += 1
                    continue
                counts["push seen"] += change.across.is_real
                counts["push contradicted"] += change.contradicts
                errors.append(change.across.by.value - by_in)
                uncertain.append(change.across.by.u95)
    print(counts)
    print(
        f"unmoved points: {len(still)}, change over its u: rms {np.sqrt(np.mean(np.square(still))):.2f}, largest {np.abs(still).max():.2f}"
    )
    inside = np.mean(np.abs(errors) <= uncertain)
    print(f"pushed points: error median {np.median(np.abs(errors)):.4f}, 95 % {np.quantile(np.abs(errors), 0.95):.4f}, ", end="")
    print(f"mean u95 {np.mean(uncertain):.4f}, inside u95 {inside:.2f}")


if __name__ == "__main__":
    main()
