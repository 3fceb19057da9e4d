"""Scenes with far more tape than a maker leaves, or a lobe too few: what is given must hold, what can't be seen has a reason."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from seamcheck.photo import read_photo
from seamcheck.pipeline import Settings, inspect
from seamcheck.result import Inspection, Stage, Verdict
from tests.scenes.draw import Scene, Tape, draw
from tests.scenes.render import render

TOLERANCE_IN = 1 / 64
# Standard uncertainties: one in sixteen thousand lies beyond, were the numbers normal; a mechanism that fails goes far past it.
FAR = 4.0
TAN = (0.22, 0.42, 0.48)


def taped(seed: int) -> Scene:
    """Tape across every second lobe near its tip, and along a long edge of every third."""
    scene = draw(seed, megapixels=(2.0, 2.0))
    rng = np.random.default_rng(seed)
    tapes = []
    for lobe in scene.rose.lobes[::2]:
        tapes.append(Tape(lobe.tip - 0.25 * lobe.axis, np.arctan2(*lobe.axis) + rng.normal(1.57, 0.4), 1.2, 0.5, TAN))
    for lobe in scene.rose.lobes[1::3]:
        tapes.append(Tape((lobe.left + lobe.tip) / 2, np.arctan2(*lobe.axis) + 0.3, 1.6, 0.45, TAN))
    return replace(scene, tapes=tuple(tapes))


def half_laid(seed: int, left_out: int) -> Scene:
    """One lobe not yet laid."""
    scene = draw(seed, megapixels=(2.0, 2.0))
    laid = [k for k in range(len(scene.rose.lobes)) if k != left_out]
    rose = replace(
        scene.rose,
        lobes=tuple(scene.rose.lobes[k] for k in laid),
        seam_of=tuple(scene.rose.seam_of[k] for k in laid),
        joints=tuple(joint for joint in scene.rose.joints if left_out not in joint.lobes),
    )
    return replace(scene, rose=rose, halves=tuple(scene.halves[k] for k in laid), tapes=())


def inspected(scene: Scene, path: Path, settings: Settings) -> Inspection:
    path.write_bytes(render(scene))
    return inspect(read_photo(path), settings)


def hold(found: Inspection, scene: Scene) -> int:
    """Whether all that is given holds against the scene; how many numbers that are."""
    near_in_px = 0.2 * scene.view.f_px / scene.view.translation[2]
    given = 0
    for tip in found.tips:
        away = [float(np.hypot(*(scene.tip_px(lobe) - tip.tip_px))) for lobe in scene.rose.lobes]
        k = int(np.argmin(away))
        assert away[k] < near_in_px, "a tip where no lobe lies"
        lobe = scene.rose.lobes[k]
        assert (tip.seam_offset is None) == (tip.reason is not None)
        for estimate, truth in (
            (tip.seam_offset, scene.offset_in(k)),
            (tip.own_seam_offset, lobe.own_offset_in),
            (tip.reach, scene.reach_in(k)),
        ):
            if estimate is not None:
                given += 1
                assert abs(estimate.value - truth) < FAR * estimate.u
        assert not (tip.verdict is Verdict.ON and abs(scene.offset_in(k)) > TOLERANCE_IN)
        assert not (tip.verdict is Verdict.OFF and abs(scene.offset_in(k)) <= TOLERANCE_IN)
    return given


@pytest.mark.parametrize("seed", [2, 10, 20, 33])
def test_what_is_given_under_much_tape_holds(tmp_path, seed):
    scene = taped(seed)
    across, along = scene.bars_in
    found = inspected(scene, tmp_path / "taped.jpg", Settings(Stage(scene.stage), bar_across_in=across, bar_along_in=along))
    assert hold(found, scene) >= len(scene.rose.lobes) // 2


@pytest.mark.parametrize(("seed", "left_out"), [(22, 1), (8017, 3)])
def test_a_rose_with_a_lobe_still_to_be_laid_is_a_dry_fit_with_nothing_said(tmp_path, seed, left_out):
    scene = half_laid(seed, left_out)
    found = inspected(scene, tmp_path / "half-laid.jpg", Settings())
    assert found.stage is Stage.DRY_FIT
    assert len(found.tips) == len(scene.rose.lobes)
    assert hold(found, scene) >= len(scene.rose.lobes)
