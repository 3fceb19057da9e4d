"""How many leaves a bare matched top has, and roughly where their seams lie.

Neighbouring leaves are mirror images about the seam between them. Round the right centre the picture therefore equals its mirror image
about every seam's bearing, as many times as there are leaves; a seam that shows as a line or a step adds a radial ridge there. Both are
looked for at all bearings at once in a polar copy. Mirrors are only places to look at: leaves lose wood at the joint, so the
mirror's axis lies a few hundredths of an inch beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array, right_of, unit_of_bearing
from ..plane.camera import Camera
from ..plane.rectify import flatten, reduced, seen_box
from .centre import distinct, match_with_turned, peaks
from .light import Floats, LogLight, log_light, sample

# Numbers of leaves that matched tops are made of (book-matched all round: even), and the turns that bring such a top onto itself:
# by two leaves, or by any whole number of pairs.
LEAF_COUNTS = (4, 6, 8, 10, 12, 14, 16, 20, 24)
TURNS_DEG = (180.0, 120.0, 90.0, 72.0, 60.0, 45.0)
SEARCH_PPI, POLAR_PPI = 12.0, 24.0
SEARCH_LIMIT_IN = 14.0
# The polar copy: from where leaves are wide enough to compare, to the largest field (inches); steps (inches, bearings in a full turn).
INNERMOST_IN, OUTERMOST_IN, RADIAL_STEP_IN, BEARINGS = 0.7, 9.0, 0.06, 1440
STEP = 2 * np.pi / BEARINGS
# Slow changes round the top (light, wood) are taken off over this much of a turn; what hugs the axis is its own mirror image.
HILL_SHARE, LEAST_ASIDE_IN = 1 / 16, 0.06
# Where the mirrors between the seams are worth less than this share of those on them, the leaves are only half as many.
HALF_SHARE = 0.45
# A pattern is there when its mirrors and ridges stand so far over what bearings usually show (as many standard deviations of one ridge).
# On rendered bare tops 26 and more, on noise 5.
LEAST_CLEAR = 10.0
# One bearing's ridge counts for no more than this (standard deviations): one scratch makes no pattern.
RIDGE_BOUND = 6.0
# A bearing about which the wood is wholly its own mirror image counts as a ridge of so many: a stripe down the middle of each leaf is as
# loud as a seam, and repeats as often.
MIRROR_WORTH = 15.0
# Likely patterns that are looked at again.
FULL_LOOKS = 5
# Seams lie this near to even turns (rad), and their mirrors' axes this near to where they are looked for (inches).
UNEVEN, MIRROR_REACH_IN = np.radians(1.25), 0.14


@dataclass(frozen=True)
class FoundField:
    """A bare top's pattern, good enough to measure from."""

    centre_in: Array  # (2,) plane
    bearings: Array  # (n,) rad, rising
    clear: float  # how far the pattern stands out (as LEAST_CLEAR)


def find_field(bgr: NDArray[np.uint8], camera: Camera, card_outlines_in: Sequence[Array]) -> FoundField | None:
    """The pattern of leaves; None where none stands out. `bgr` is the upright photo (h, w, 3)."""
    box = seen_box(camera, (bgr.shape[1], bgr.shape[0]), 0.0, SEARCH_LIMIT_IN)
    density = camera.px_per_in_at((box[0] + box[1]) / 2)

    def look(px_per_in: float) -> LogLight:
        factor = max(1, int(density / (1.25 * px_per_in)))
        return log_light(flatten(reduced(bgr, factor), camera, *box, 0.0, px_per_in, factor), card_outlines_in)

    coarse, fine = look(SEARCH_PPI), look(POLAR_PPI)
    # Few hundredths of an inch blur the mirrors, and with them the count: what looks likely from afar is looked at again from the centre
    # that its own seams give.
    likely = [found for place in _places(coarse) for found in _patterns(fine, place, strict=False)[:2]]
    best = FoundField(np.zeros(2), np.zeros(0), 0.0)
    for rough in sorted(likely, key=lambda found: -found.clear)[:FULL_LOOKS]:
        centre, _ = _drawn(fine, rough.centre_in, rough.bearings)
        for found in _patterns(fine, centre, strict=True)[:1]:
            best = max(best, found, key=lambda one: one.clear)
    for _ in range(2):
        if best.clear < LEAST_CLEAR:
            return None
        centre, bearings = _drawn(fine, best.centre_in, best.bearings)
        for found in _patterns(fine, centre, strict=True)[:1]:
            best = max(best, found, key=lambda one: one.clear)
    centre, bearings = _drawn(fine, best.centre_in, best.bearings)
    return replace(best, centre_in=centre, bearings=bearings)


def _places(light: LogLight) -> list[Array]:
    """Where the top's centre may be: the picture turned upon itself fits best there."""
    steps = light.limited_steps()[0]
    places, total = [], np.zeros_like(light.wood)
    for turn in TURNS_DEG:
        match = match_with_turned(steps, np.radians(turn), light.view.px_per_in)
        places += [place for _, place in peaks(match, light, 1)]
        total += match / (float(match[light.wood > 0].std()) + 1e-12)
    return distinct([place for _, place in peaks(total, light, 1)] + places)


def _patterns(light: LogLight, centre_in: Array, strict: bool) -> list[FoundField]:
    """Counts and turns about a place, the clearest first. strict: none of which every other seam hardly shows."""
    polar = _Polar.about(light, centre_in)
    if polar is None:
        return []
    ridge = np.minimum(_standard(polar.ridges()), RIDGE_BOUND)
    found = []
    for count, mirror in zip(LEAF_COUNTS, polar.mirrors([np.pi / count for count in LEAF_COUNTS]), strict=True):
        worth = MIRROR_WORTH * mirror + ridge
        clear, phase = _rated(worth, mirror, count, strict)
        if clear > 0:
            found.append(FoundField(centre_in, _nearby(worth, count, phase), clear))
    return sorted(found, key=lambda one: -one.clear)


def _rated(worth: Floats, mirror: Floats, count: int, strict: bool) -> tuple[float, int]:
    """(how far the best turn of a pattern of `count` seams stands out, that turn in steps); 0 where (if strict) every other is none."""
    at = np.round(np.arange(count)[:, None] * (BEARINGS / count) + np.arange(int(BEARINGS / count))[None, :]).astype(int) % BEARINGS
    lifted = _lifted(worth)
    score = (lifted - np.median(lifted))[at].sum(axis=0) / np.sqrt(count)
    best = int(np.argmax(score))
    for values in (lifted, _lifted(mirror)) if strict else ():
        each = values[at[:, best]]
        halves = float(each[::2].mean()), float(each[1::2].mean())
        if min(halves) < HALF_SHARE * max(halves):
            return 0.0, best
    return float(score[best]), best


def _nearby(worth: Floats, count: int, phase: int) -> Array:
    """(count,) bearings, rad: the best near each even turn."""
    reach = int(np.ceil(UNEVEN / STEP))
    turns = []
    for k in range(count):
        near = round(phase + k * BEARINGS / count) + np.arange(-reach, reach + 1)
        turns.append(int(near[int(np.argmax(worth[near % BEARINGS]))]) % BEARINGS)
    return np.sort(np.array(turns) * STEP)


def _lifted(values: Floats) -> Floats:
    """The largest within what seams lie off even turns."""
    from scipy.ndimage import maximum_filter1d

    return maximum_filter1d(values, 5, mode="wrap")


def _standard(values: Floats) -> Floats:
    middle = np.median(values)
    spread = 1.483 * np.median(np.abs(values - middle)) + 1e-9
    return (values - middle) / spread


def _drawn(light: LogLight, centre_in: Array, bearings: Array) -> tuple[Array, Array]:
    """The centre and the bearings drawn to each seam's own mirror axis; axes that hardly mirror count little."""
    count = len(bearings)
    offsets, turns = np.linspace(-MIRROR_REACH_IN, MIRROR_REACH_IN, 15), np.linspace(-UNEVEN, UNEVEN, 11)
    widest = 1.7 * np.pi / count
    radii = np.arange(INNERMOST_IN, OUTERMOST_IN, 0.12)
    aside = np.arange(LEAST_ASIDE_IN, 0.9, 0.05)
    fits = aside[None, :] < radii[:, None] * np.tan(min(widest, 1.2))
    picture = np.stack([light.channels[..., 0], light.wood], axis=-1)
    normals, places, weights, drawn = [], [], [], []
    for bearing in bearings:
        bests = []
        for turn in turns:
            way = unit_of_bearing(bearing + turn)
            line = centre_in + radii[:, None] * way
            lateral = np.concatenate([offsets[:, None] - aside[None], offsets[:, None] + aside[None]], axis=1)  # (o, 2a)
            points = line[:, None, None] + lateral[None, ..., None] * right_of(way)
            both = sample(picture, light.view, points.reshape(len(radii), -1, 2)).reshape(*points.shape[:-1], 2)
            left, right = np.split(both, 2, axis=2)
            good = ((left[..., 1] > 0.99) & (right[..., 1] > 0.99) & fits[:, None]).astype(np.float32)
            bests.append(_correlation(left[..., 0], right[..., 0], good))
        match = np.array(bests)  # (turns, offsets)
        i, j = np.unravel_index(int(np.argmax(match)), match.shape)
        normal = right_of(unit_of_bearing(bearing + turns[i]))
        normals.append(normal)
        places.append(normal @ centre_in + offsets[j])
        weights.append(max(float(match[i, j]), 0.01) ** 2)
        drawn.append(bearing + turns[i])
    root = np.sqrt(np.array(weights))
    moved = np.linalg.lstsq(np.array(normals) * root[:, None], np.array(places) * root, rcond=None)[0]
    return moved, np.array(drawn)


def _correlation(left: Floats, right: Floats, good: Floats) -> Array:
    """(offsets,): how alike the two sides of each axis are, row by row about each row's own level; (radii, offsets, asides) each."""
    count = good.sum(axis=2, keepdims=True)
    middle = ((left + right) * good).sum(axis=2, keepdims=True) / np.maximum(2 * count, 1)
    a, b = (left - middle) * good, (right - middle) * good
    return (a * b).sum(axis=(0, 2)) / (0.5 * (a * a + b * b).sum(axis=(0, 2)) + 1e-3)


@dataclass(frozen=True)
class _Polar:
    """Brightness round a place, (radii, bearings), its slow changes taken off; 0 where wood doesn't show."""

    light: Floats
    seen: Floats  # 0 or 1
    radii_in: Array

    @staticmethod
    def about(view: LogLight, centre_in: Array) -> _Polar | None:
        from scipy.ndimage import uniform_filter1d

        radii = np.arange(INNERMOST_IN, OUTERMOST_IN, RADIAL_STEP_IN)
        turns = np.arange(BEARINGS) * STEP
        places = centre_in + radii[:, None, None] * unit_of_bearing(turns)[None]
        raw = sample(np.ascontiguousarray(view.channels[..., 0]), view.view, places)
        seen = (sample(view.wood, view.view, places) > 0.99).astype(np.float32)
        rows = seen.mean(axis=1) > 0.25
        if rows.sum() < 20:
            return None
        raw, seen, radii = raw[rows], seen[rows], radii[rows]
        size = int(BEARINGS * HILL_SHARE)
        weight = uniform_filter1d(seen, size, axis=1, mode="wrap")
        level = uniform_filter1d(raw * seen, size, axis=1, mode="wrap") / np.maximum(weight, 1e-3)
        light = (raw - level) * seen
        # Every radius has the same say, and no strong edge (tape, a card's shadow) more than three spreads.
        spread = np.sqrt((light**2).sum(axis=1, keepdims=True) / np.maximum(seen.sum(axis=1, keepdims=True), 1)) + 1e-4
        return _Polar(np.clip(light / spread, -3, 3).astype(np.float32), seen, radii)

    def mirrors(self, half_leaves: Sequence[float]) -> list[Floats]:
        """For each half leaf (rad), falling: (BEARINGS,) how well the wood about each bearing is its own mirror image, -1 to 1."""
        total, power = np.zeros(BEARINGS, np.float32), np.full(BEARINGS, 1e-3, np.float32)
        result: list[Floats] = []
        square, begin = self.light**2, 2
        for half in sorted(half_leaves):
            end = max(begin, int(1.8 * half / STEP))
            for j in range(begin, end, 2):
                far = self.radii_in * np.sin(min(j * STEP, np.pi / 2)) > LEAST_ASIDE_IN
                light, seen, power_of = self.light[far], self.seen[far], square[far]
                after, before = np.roll(light, -j, axis=1), np.roll(light, j, axis=1)
                after_seen, before_seen = np.roll(seen, -j, axis=1), np.roll(seen, j, axis=1)
                total += (after * before).sum(axis=0)
                power += (np.roll(power_of, -j, axis=1) * before_seen + np.roll(power_of, j, axis=1) * after_seen).sum(axis=0) / 2
            begin = begin + (end - begin + 1) // 2 * 2
            result.append(total / (power + 0.3 * float(np.median(power))))
        return result[::-1]

    def ridges(self) -> Floats:
        """(BEARINGS,): how much each bearing stands out as a line, dark or pale, all along."""
        from scipy.ndimage import gaussian_filter1d

        ridge = -gaussian_filter1d(self.light, 1.2, axis=1, order=2, mode="wrap")
        clear = gaussian_filter1d(self.seen, 2.0, axis=1, mode="wrap") > 0.98
        ridge = np.clip(ridge * clear, -1, 1)
        count = clear.sum(axis=0)
        return np.abs(ridge.sum(axis=0)) / np.sqrt(np.maximum(count, 10))
