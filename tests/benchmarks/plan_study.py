"""Plans for made-up fits, carried out on exact polygons with a hand's errors: what was predicted against what comes of it.

python tests/benchmarks/plan_study.py [COUNT]
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from time import process_time

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from seamcheck.advise.fit_plan import PLACING_U_IN, SHAVING_IN, PlanSettings, plan_fit
from seamcheck.advise.fit_program import Wood
from tests.made_up_lobes import carried_out, make, measured, widest

KINDS = ((4, 1), (6, 1), (4, 2), (8, 1))  # points and rings


@dataclass
class Studied:
    """Errors over predicted u95, and how the fits came out."""

    tips: list[float]
    gaps: list[float]
    seconds: list[float]
    eased_kept: int = 0
    eased: int = 0
    missed: int = 0


def study(count: int, seed: int = 5, wood: Wood = Wood.LIKELY) -> Studied:
    """Fits one after another, each with a photo's errors, up to two lobes to keep, and a plan carried out by a hand that errs."""
    found = Studied([], [], [])
    rng = np.random.default_rng(seed)
    for k in range(count):
        points, rings = KINDS[k % len(KINDS)]
        made = make(rng, points, rings)
        u_gap, u_tip = rng.uniform(0.001, 0.004), rng.uniform(0.0005, 0.002)
        fit = measured(made, rng, u_gap, u_tip)
        keep = frozenset(int(n) for n in rng.choice([lobe.number for lobe in fit.lobes], k % 3, replace=False))
        start = process_time()
        plan = plan_fit(fit, PlanSettings(keep, wood))
        found.seconds.append(process_time() - start)
        found.eased += len(plan.eases)
        found.eased_kept += sum(ease.lobe in keep for ease in plan.eases) + sum(move.lobe in keep for move in plan.moves)
        found.missed += bool(plan.tip_misses or plan.gap_misses)
        done = carried_out(made, fit, plan, rng, PLACING_U_IN, SHAVING_IN / 2)
        for after in plan.tips:
            found.tips.append((done.pieces[after.lobe - 1].offset - after.offset.value) / after.offset.u95)
        for joint, pair in zip(plan.joints, made.pairs, strict=True):
            found.gaps.append((widest(done, pair) - joint.widest.value) / joint.widest.u95)
    return found


if __name__ == "__main__":
    for wood in Wood:
        found = study(int(sys.argv[1]) if len(sys.argv) > 1 else 500, wood=wood)
        tips, gaps = np.abs(found.tips), np.abs(found.gaps)
        print(
            f"{wood.value:7} tips within u95 {(tips <= 1).mean():.3f} of {len(tips)}, joints {(gaps <= 1).mean():.3f} of {len(gaps)}; "
            f"edges eased {found.eased}, of kept lobes {found.eased_kept}; fits that can't close {found.missed}; "
            f"{1000 * np.median(found.seconds):.1f} ms (longest {1000 * max(found.seconds[1:]):.1f})"
        )
