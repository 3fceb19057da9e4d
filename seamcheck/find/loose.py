"""Lobes lying apart on a bench, at any angle.

What differs in colour from the bench is outlined at several levels, each outline made into possible
kites (four corners; or, where one half hardly differs from the bench, a triangle and its mirror image),
and every possible kite judged by the steps along its four edges and its own seam. The best that don't
overlap are the lobes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array, right_of
from ..kite import FoundLobe, Kite
from .light import Floats, LogLight, sample

# How many robust standard deviations from the bench's colour an outline is drawn at.
LEVELS = (3.0, 5.0, 8.0, 12.0)

# Lobes' sizes with room to spare (inches, square inches).
LENGTH_FROM_IN, LENGTH_TO_IN = 0.9, 6.5
AREA_FROM_IN2 = 0.25

# Shapes a kite can have: the shoulders' place along it and its half width, as shares of its length.
SHOULDER_FROM, SHOULDER_TO = 0.05, 0.48
HALF_WIDTH_FROM, HALF_WIDTH_TO = 0.12, 0.95

# Left and right edges may differ by this share of the length (outlines are rough).
LOPSIDED_SHARE = 0.12

# The two woods differ by at least this in colour (logarithmic light). Texture parts two halves of one wood by up to 0.1; the woods
# of rendered lobes differ by 0.4 and more, under much tape too.
LEAST_WOODS = 0.2

# The difference of the two woods, in colour, may vary by this share from lobe to lobe: light, figure.
ODD_WOODS = 0.6

# Lobes don't lie on each other; rough outlines may touch (share of the area).
OVERLAP_SHARE = 0.15

# Loose lobes are laid at least about this far apart (inches).
CLEAR_IN = 0.1

# So many lobes with an end within this distance of one lobe's end meet there (inches).
MEETING_LOBES, MEETING_IN = 3, 0.6

# Outlines are smoothed by this much before corners are sought (pixels).
ROUGH_PX = 1.0

# Strips along a possible kite's lines: stations, offsets across (inches).
STATIONS = 24
OFFSETS_IN = np.linspace(-0.15, 0.15, 7)

# A loose lobe lies on the bench: so far outside its edges (inches; its own shadow is narrower) little looks more like its own woods
# than like the bench: on all edges together, and along any one, where another field of a pattern would lie. The middle of all lobes'
# shares. A bench as light as one of the woods looks like either, half of the time.
RING_IN, MOST_WOOD_ROUND, MOST_WOOD_ALONG = (0.12, 0.2), 0.3, 0.65

# A lobe's own seam and its edges step at least this much, in limited steps; and its weakest edge this much.
LEAST_OWN, LEAST_EDGES, LEAST_EDGE = 0.35, 0.45, 0.12


def find_loose(light: LogLight) -> tuple[FoundLobe, ...]:
    """Every loose lobe that shows, roughly drawn, numbered by size in `ring` (1 the longer). The view should have about 20 px/in."""
    kites = list(_possible_kites(light))
    if not kites:
        return ()
    corners = np.stack(kites)
    own, edges, weakest = _judge(light, corners)
    good = np.nonzero((own > LEAST_OWN) & (edges > LEAST_EDGES) & (weakest > LEAST_EDGE))[0]
    kept = _without_overlap(light, corners, good[np.argsort(-(own + 2 * edges + weakest)[good])])
    kept = [i for i, alike in zip(kept, _of_the_same_woods(light, corners[kept]), strict=True) if alike]
    if not kept:
        return ()
    rings = _by_size(np.array([_length(corners[i]) for i in kept]))
    return tuple(FoundLobe(ring, Kite(*corners[i]), _darker(light, corners[i])) for i, ring in zip(kept, rings, strict=True))


def apart(lobes: Sequence[FoundLobe]) -> bool:
    """Whether most lobes lie clear of all others and no three have their ends in one place, as loose ones do.

    A rose's lobes touch, and lobes and a wheel's wedges meet in the middle.
    """
    import cv2

    ends = np.stack([lobe.kite.corners_in[[0, 2]] for lobe in lobes])  # (n, 2, 2) roots and tips
    near = np.linalg.norm(ends[:, :, None, None] - ends[None, None], axis=-1).min(axis=3) < MEETING_IN  # end of one, any end of another
    if near.sum(axis=2).max() >= MEETING_LOBES:
        return False

    corners = [lobe.kite.corners_in for lobe in lobes]
    grown = [(one - one.mean(axis=0)) * (1 + CLEAR_IN / _length(one)) + one.mean(axis=0) for one in corners]
    hulls = [cv2.convexHull(one.astype(np.float32)) for one in grown]
    clear = [all(cv2.intersectConvexConvex(one, other)[0] <= 0 for other in hulls if other is not one) for one in hulls]
    return sum(clear) > len(clear) / 2


def on_the_bench(light: LogLight, lobes: Sequence[FoundLobe]) -> bool:
    """Whether what lies round most lobes is the bench, as round loose ones; a chequer's or a wheel's fields lie among others."""
    bench = np.median(light.channels[light.wood > 0], axis=0).astype(float)
    round_each = np.stack([_wood_round(light, bench, lobe.kite.corners_in) for lobe in lobes])  # (lobes, 4)
    usual, worst = np.median(round_each.mean(axis=1)), np.median(round_each.max(axis=1))
    return bool(usual < MOST_WOOD_ROUND and worst < MOST_WOOD_ALONG)


def _wood_round(light: LogLight, bench: Array, corners: Array) -> Array:
    """(4,): just outside each of a kite's edges, the share of places that look more like one of its woods than like the bench.

    0 where nothing shows.
    """
    root, left, tip, right = corners
    woods = [_half_colour(light, np.stack([root, tip, shoulder])) for shoulder in (left, right)]
    starts, ends = corners[:, None], np.roll(corners, -1, axis=0)[:, None]
    outward = -right_of(ends - starts)  # root, left, tip, right runs clockwise: outside lies to the left
    outward = outward / np.linalg.norm(outward, axis=-1, keepdims=True)
    along = ((np.arange(STATIONS, dtype=float) + 0.5) / STATIONS)[:, None]
    places = np.concatenate([starts + along * (ends - starts) + away * outward for away in RING_IN], axis=1)  # (4, places, 2)
    colours = sample(light.channels, light.view, places)
    shows = sample(light.wood, light.view, places) > 0.5
    from_wood = np.min([np.linalg.norm(colours - wood, axis=-1) for wood in woods], axis=0)
    like_wood = shows & (from_wood < np.linalg.norm(colours - bench, axis=-1))
    return np.asarray(like_wood.sum(axis=1) / np.maximum(shows.sum(axis=1), 1), float)


def _without_overlap(light: LogLight, corners: Array, best_first: NDArray[np.int_]) -> list[int]:
    """Those that lie, but for a sliver, beside all better ones."""
    import cv2

    taken = np.zeros(light.wood.shape, np.uint8)
    kept = []
    for i in best_first:
        mine = cv2.fillPoly(np.zeros_like(taken), [np.round(light.view.px_of(corners[i])).astype(np.int32)], 1)
        if (mine & taken).sum() < OVERLAP_SHARE * mine.sum():
            kept.append(int(i))
            taken |= mine
    return kept


def _of_the_same_woods(light: LogLight, corners: Array) -> list[bool]:
    """Whether each kite's halves differ, and as the other kites' do: lobes of one rose are sawn from one pair of woods."""
    jumps = [_jump(light, one) for one in corners]
    differ = [float(np.linalg.norm(jump)) > LEAST_WOODS for jump in jumps]
    if not any(differ):
        return differ
    usual = np.median([jump for jump, two in zip(jumps, differ, strict=True) if two], axis=0)
    size = float(usual @ usual)
    alike = [abs(float(jump @ usual) / size - 1) < ODD_WOODS and np.linalg.norm(jump - usual) < ODD_WOODS * np.sqrt(size) for jump in jumps]
    return [bool(two and like) for two, like in zip(differ, alike, strict=True)]


def is_of_two_woods(light: LogLight, lobe: FoundLobe) -> bool:
    """Whether a lobe's halves differ as two woods do."""
    return float(np.linalg.norm(_jump(light, lobe.kite.corners_in))) > LEAST_WOODS


def _jump(light: LogLight, corners: Array) -> Array:
    """(3,): the brighter half's colour less the other's."""
    root, left, tip, right = corners
    one, other = (_half_colour(light, np.stack([root, tip, shoulder])) for shoulder in (left, right))
    return one - other if one[0] > other[0] else other - one


def _half_colour(light: LogLight, triangle: Array) -> Array:
    """The median colour (3,) well within a triangle."""
    share = (np.arange(10, dtype=float) + 0.5) / 10
    middle = triangle.mean(axis=0)
    places = middle + 0.7 * share[:, None, None] * (triangle - middle)
    return np.median(sample(light.channels, light.view, places).reshape(-1, 3), axis=0).astype(float)


def _length(corners: Array) -> float:
    return float(np.linalg.norm(corners[2] - corners[0]))


def _by_size(lengths: Array) -> list[int]:
    """1 for the longer and 2 for the shorter lobes, where lengths fall into two groups, else 1."""
    order = np.sort(lengths)
    ratio = order[1:] / order[:-1]
    if not len(ratio) or ratio.max() < 1.15:
        return [1] * len(lengths)
    split = order[int(ratio.argmax())]
    return [2 if length <= split else 1 for length in lengths]


def strangeness(light: LogLight, with_brightness: bool) -> Floats:
    """(h, w): how many robust standard deviations each place's colour lies from the bench's."""
    import cv2

    seen = light.wood > 0
    colours = light.channels if with_brightness else light.channels[..., 1:]
    small = cv2.blur(colours, (3, 3)).reshape(*seen.shape, -1)
    middle = np.median(small[seen], axis=0)
    away = small - middle
    spread = 1.4826 * np.median(np.abs(away[seen]), axis=0) + 1e-3
    usual = away[seen & (np.abs(away) < 3 * spread).all(axis=2)]
    cov = usual.T @ usual / max(len(usual), 1) + 1e-4 * np.eye(away.shape[2])
    return np.sqrt(np.einsum("hwc,cd,hwd->hw", away, np.linalg.inv(cov), away)).astype(np.float32) * seen


def _possible_kites(light: LogLight) -> Iterator[Array]:
    """(4, 2) corners each: root, left, tip, right."""
    import cv2

    ppi = light.view.px_per_in
    for with_brightness in (True, False):
        strange = strangeness(light, with_brightness)
        for level in LEVELS:
            mask = cv2.morphologyEx((strange > level).astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
            outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
            for outline in outlines:
                area = cv2.contourArea(outline) / ppi**2
                if area < AREA_FROM_IN2 or area > LENGTH_TO_IN**2:
                    continue
                if not light.view.seen[_grown(outline, mask.shape)].all():
                    continue  # cut by the frame
                hull = light.view.in_of(cv2.approxPolyDP(cv2.convexHull(outline), ROUGH_PX, True)[:, 0].astype(float))
                if len(hull) < 3:
                    continue
                hull_area = cv2.contourArea(hull.astype(np.float32))
                if area < 0.75 * hull_area:
                    continue
                yield from _kites_of(_simplified(hull, 4))
                triangle = _simplified(hull, 3)
                for i in range(3):
                    a, b, c = np.roll(triangle, -i, axis=0)
                    along = (b - a) / np.linalg.norm(b - a)
                    mirrored = c - 2 * right_of(along) * ((c - a) @ right_of(along))
                    yield from _kites_of(np.stack([a, c, b, mirrored]))


def _grown(outline: NDArray[np.int32], shape: tuple[int, ...]) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """Rows and columns two pixels outside an outline's corners, within the picture."""
    points = outline[:, 0].astype(float)
    away = points - points.mean(axis=0)
    points = np.round(points + 2 * np.sign(away)).astype(int)
    return np.clip(points[:, 1], 0, shape[0] - 1), np.clip(points[:, 0], 0, shape[1] - 1)


def _simplified(polygon: Array, count: int) -> Array:
    """A convex polygon (n, 2) brought down to `count` corners by extending the sides beside the one that adds least area."""
    polygon = polygon.copy()
    while len(polygon) > count:
        n = len(polygon)
        best: tuple[float, int, Array] | None = None
        for i in range(n):
            before, a, b, after = (polygon[(i + k) % n] for k in (-1, 0, 1, 2))
            first, last = a - before, after - b
            cross = first[0] * last[1] - first[1] * last[0]
            if abs(cross) < 1e-9:
                continue
            t = ((b - a)[0] * last[1] - (b - a)[1] * last[0]) / cross
            if t < 0:
                continue
            meet = a + t * first
            added = 0.5 * abs((b - a)[0] * (meet - a)[1] - (b - a)[1] * (meet - a)[0])
            if best is None or added < best[0]:
                best = (added, i, meet)
        if best is None:
            return polygon[:count]
        _, i, meet = best
        polygon[i] = meet
        polygon = np.delete(polygon, (i + 1) % n, axis=0)
    return polygon


def _kites_of(polygon: Array) -> Iterator[Array]:
    """The ways in which a four-cornered outline can be a kite: (4, 2) root, left, tip, right."""
    if len(polygon) != 4:
        return
    for i in range(4):
        root, one, tip, other = np.roll(polygon, -i, axis=0)
        axis = tip - root
        length = float(np.linalg.norm(axis))
        if not LENGTH_FROM_IN < length < LENGTH_TO_IN:
            continue
        axis = axis / length
        sides = np.array([one - root, other - root])
        along, across = sides @ axis / length, sides @ right_of(axis) / length
        if across[0] * across[1] >= 0:
            continue
        left, right = (one, other) if across[0] < 0 else (other, one)
        lopsided = max(abs(along[0] - along[1]), abs(across[0] + across[1]))
        width = np.abs(across).mean()
        if lopsided < LOPSIDED_SHARE and SHOULDER_FROM < along.mean() < SHOULDER_TO and HALF_WIDTH_FROM < width < HALF_WIDTH_TO:
            yield np.stack([root, left, tip, right])


def _judge(light: LogLight, corners: Array) -> tuple[Array, Array, Array]:
    """For kites (n, 4, 2): the steps across their own seams, across their four edges on average, and across the weakest edge."""
    steps = light.limited_steps()
    a = corners[:, [0, 0, 3, 2, 1]]
    b = corners[:, [2, 3, 2, 1, 0]]
    direction = b - a
    direction = direction / np.linalg.norm(direction, axis=-1, keepdims=True)
    normal = right_of(direction)
    along = 0.06 + 0.88 * (np.arange(STATIONS) + 0.5) / STATIONS
    places = a[:, :, None, None] + (b - a)[:, :, None, None] * along[:, None] + OFFSETS_IN[:, None, None] * normal[:, :, None, None]
    flat = places.reshape(-1, STATIONS, 2)
    strength = np.zeros((*places.shape[:3], 3))
    for i in range(3):
        gradient = sample(steps[i], light.view, flat).reshape(*places.shape)
        step = gradient[..., 0] * normal[:, :, None, None, 0] - gradient[..., 1] * normal[:, :, None, None, 1]
        strength[..., i] = step.mean(axis=3)
    size = np.linalg.norm(strength, axis=-1) - 0.3 * np.abs(OFFSETS_IN)
    best = size.max(axis=2)
    return best[:, 0], best[:, 1:].mean(axis=1), best[:, 1:].min(axis=1)


def _darker(light: LogLight, corners: Array) -> str:
    """Which half is darker, "cw" (right) or "ccw" (left)."""
    root, left, tip, right = corners
    left_colour, right_colour = (_half_colour(light, np.stack([root, tip, shoulder])) for shoulder in (left, right))
    return "cw" if right_colour[0] < left_colour[0] else "ccw"
