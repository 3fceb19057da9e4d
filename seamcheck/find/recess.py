"""Where a recess lies: the rose's own outline is looked for, as an edge all round between one thing inside and another outside.

Along the rim of a recess the field's wood gives way to the floor, and mostly to the same side: lighter or darker, redder or paler all
round. So the photo's steps across a laid outline, added up with their signs, are large at one place and turn alone. A rose that still lies
there has such an outline too, where its field is lighter or darker than both its woods; it is told by its halves, one dark and one light.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array, right_of
from ..basis.seat_errors import NoRecessFound, RoseInRecess
from ..plane.camera import Camera
from ..plane.rectify import flatten, reduced, seen_box
from .light import LogLight, log_light, sample

COARSE_PPI, FINE_PPI = 20.0, 50.0
# Farther than this from the photo's middle nothing is looked for (inches).
LIMIT_IN = 11.0
# Corners are chipped, rounded or not cleared: so much of an edge is left out at either end (inches).
CORNER_IN = 0.12
# The outline is laid in steps of turn that move its points by no more than this (inches), and blurred by as much as leaves no gap.
STEP_IN, BLUR_PX = 0.09, 1.3
# Places that are looked at again, and how far about them (inches): first in steps, halved each time.
TRIED, ABOUT_IN, ROUNDS = 4, 0.08, 7
# One peak takes some hundred of the best places, turns and all: so many are looked through for peaks apart from each other.
MOST_PEAKS = 8000
# The steps across the rim, each limited to 1 in three channels, come to this share of one channel's most at least. 42 rendered recesses
# give .54 and more, all but three of them more than 1; bare tops .41 at most, recesses of another shape .47 (as
# tests/benchmarks/recess_study.py draws them).
LEAST_SHARE = 0.5
# Halves of lobes that are one dark and one light differ by this much (log light) in the mean of all lobes; shadow and light that slope
# across the top cancel in it.
HALVES_DIFFER = 0.22


@dataclass(frozen=True)
class FoundRecess:
    """The outline as laid in the photo: place = turn (corner - middle) + shift. Good to a few hundredths of an inch."""

    corners_in: Array  # (2 n, 2): tip, notch, ... clockwise, plane frame
    share: float  # of the largest step that all of the rim could show


def find_recess(bgr: NDArray[np.uint8], camera: Camera, card_outlines_in: Sequence[Array], outline_in: Array, fold: int) -> FoundRecess:
    """outline_in: (2 n, 2) tip, notch, ... clockwise, in any place; fold: in how many turns it fits itself, nearly.

    Which of these turns is meant isn't told. Raises NoRecessFound and RoseInRecess (their photo to be named).
    """
    outline = outline_in - outline_in[1::2].mean(axis=0)
    size = bgr.shape[1], bgr.shape[0]
    low, high = seen_box(camera, size, 0.0, LIMIT_IN)
    coarse = _look(bgr, camera, card_outlines_in, (low, high), COARSE_PPI)
    best: tuple[float, Array] | None = None
    reach = float(np.hypot(*outline.T).max())
    for pose in _coarse(coarse, outline, 2 * np.pi / fold, STEP_IN / reach):
        about = np.array([pose[:2] - reach - 0.4, pose[:2] + reach + 0.4])
        fine = _look(bgr, camera, card_outlines_in, (np.maximum(low, about[0]), np.minimum(high, about[1])), FINE_PPI, coarse.white)
        share, pose = _finely(fine, outline, pose, reach)
        if best is None or share > best[0]:
            best = share, pose
            light = fine
    if best is None or best[0] < LEAST_SHARE:
        raise NoRecessFound(photo="the photo")
    corners = laid(outline, best[1])
    if abs(_halves(light, corners)) > HALVES_DIFFER:
        raise RoseInRecess(photo="the photo")
    return FoundRecess(corners, best[0])


def laid(outline: Array, pose: Array) -> Array:
    """Points (n, 2) turned clockwise by pose[2] and moved by pose[:2]."""
    c, s = np.cos(pose[2]), np.sin(pose[2])
    return outline @ np.array([[c, -s], [s, c]]) + pose[:2]


def _look(
    bgr: NDArray[np.uint8], camera: Camera, cards: Sequence[Array], box: tuple[Array, Array], ppi: float, white: Array | None = None
) -> LogLight:
    """white: as `log_light` has it."""
    middle = camera.plane_from_px((np.array(bgr.shape[1::-1], float) - 1) / 2)
    factor = max(1, int(camera.px_per_in_at(middle) / ppi))
    return log_light(flatten(reduced(bgr, factor), camera, *box, 0.0, ppi, factor), cards, white)


def _rim(outline: Array, step_in: float) -> tuple[Array, Array]:
    """Places (m, 2) along a clockwise outline's edges, corners left out, and the inward unit vectors there."""
    places, inward = [], []
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        length = float(np.hypot(*(b - a)))
        along = np.arange(min(CORNER_IN, length / 3), length - min(CORNER_IN, length / 3), step_in)
        places.append(a + along[:, None] / length * (b - a))
        inward.append(np.tile(right_of((b - a) / length), (len(along), 1)))
    return np.concatenate(places), np.concatenate(inward)


def _coarse(light: LogLight, outline: Array, turns: float, step: float) -> list[Array]:
    """The likeliest poses (x, y, turn), most first, apart from each other."""
    import cv2
    from scipy.fft import irfft2, next_fast_len, rfft2

    steps = light.limited_steps()
    ppi, reach = light.view.px_per_in, float(np.hypot(*outline.T).max())
    half = int(np.ceil(reach * ppi)) + 4
    shape = tuple(next_fast_len(side + half, real=True) for side in light.wood.shape)
    spectra = [[rfft2(steps[c, ..., k], shape) for k in (0, 1)] for c in range(3)]
    places, inward = _rim(outline, 0.6 / ppi)
    count = max(1, int(np.ceil(turns / step)))
    scores = np.empty((count, *light.wood.shape), np.float32)
    for k, turn in enumerate(np.arange(count) * turns / count):
        pose = np.array([0.0, 0.0, turn])
        at, way = laid(places, pose) * [1, -1] * ppi, laid(inward, pose) * [1, -1]
        drawn = np.zeros((2, 2 * half + 1, 2 * half + 1), np.float32)
        column, row = np.round(at + half).astype(int).T
        for axis in (0, 1):
            np.add.at(drawn[axis], (row, column), way[:, axis])
            drawn[axis] = cv2.GaussianBlur(drawn[axis], (0, 0), BLUR_PX)
        template = [np.conj(rfft2(one, shape)) for one in drawn]
        for c in range(3):
            found = irfft2(spectra[c][0] * template[0] + spectra[c][1] * template[1], shape)
            found = np.roll(found, (half, half), axis=(0, 1))[: light.wood.shape[0], : light.wood.shape[1]]
            if c == 0:
                scores[k] = found**2
            else:
                scores[k] += found**2
    result: list[Array] = []
    for index in np.argsort(scores, axis=None)[::-1][:MOST_PEAKS]:
        k, row, column = np.unravel_index(index, scores.shape)
        place = light.view.in_of(np.array([column, row], float))
        if all(np.hypot(*(place - other[:2])) > 3 * ABOUT_IN for other in result):
            result.append(np.append(place, k * turns / count))
        if len(result) == TRIED:
            break
    return result


def _finely(light: LogLight, outline: Array, pose: Array, reach: float) -> tuple[float, Array]:
    """The share of the largest step and the pose, drawn tight about one."""
    steps = light.limited_steps()
    places, inward = _rim(outline, 1 / light.view.px_per_in)

    def share(at: Array) -> float:
        spots, ways = laid(places, at), laid(inward, at - [at[0], at[1], 0.0])
        sums = []
        for c in range(3):
            gradient = sample(steps[c], light.view, spots)
            sums.append(float(np.mean(gradient[..., 0] * ways[:, 0] - gradient[..., 1] * ways[:, 1])))
        return float(np.linalg.norm(sums))

    best = share(pose)
    size = np.array([ABOUT_IN, ABOUT_IN, ABOUT_IN / reach])
    for _ in range(ROUNDS):
        moved = True
        while moved:
            moved = False
            for axis in range(3):
                for way in (-1, 1):
                    trial = pose.copy()
                    trial[axis] += way * size[axis]
                    found = share(trial)
                    if found > best + 1e-6:
                        best, pose, moved = found, trial, True
        size = size / 2
    return best, pose


def _halves(light: LogLight, corners: Array) -> float:
    """How much lighter (log) the right half of the lobes is than the left, in the mean of all; 0 where nothing shows."""
    differences = []
    for k in range(0, len(corners), 2):
        tip, before, after = corners[k], corners[k - 1], corners[(k + 1) % len(corners)]
        base = (before + after) / 2
        shares = np.linspace(0.1, 0.75, 24)[:, None]
        tones = []
        for end in (before, after):
            middle = base + shares * (tip - base)
            edge = end + shares * (tip - end)
            spots = np.concatenate([middle + part * (edge - middle) for part in (0.3, 0.5, 0.7)])
            shown = sample(light.wood, light.view, spots) > 0.5
            tones.append(float(np.median(sample(light.channels, light.view, spots)[..., 0][shown])) if shown.sum() > 12 else np.nan)
        differences.append(tones[1] - tones[0])
    known = np.array(differences)[np.isfinite(differences)]
    return float(known.mean()) if len(known) else 0.0
