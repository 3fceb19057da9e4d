"""Scenes drawn at random: every choice from a stated range, so that a study says what it covers."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .geometry import Care, FieldSeam, Joint, Lobe, Rose, direction, lay, right
from .light import Lamp, Lighting
from .view import Phone, View
from .woods import DARK, FIELD, LIGHT, WOODS

Array = np.ndarray
THICKNESSES_IN = (1 / 42, 1 / 42, 1 / 42, 1 / 40, 1 / 32, 1 / 28)
TAPES = ((0.22, 0.42, 0.48), (0.10, 0.35, 0.12), (0.42, 0.24, 0.06), (0.35, 0.55, 0.65))  # tan, green, blue, cream: B G R
SEAM_SHOWN_IN = 1.9  # how much of a seam beyond its tip is asked about


@dataclass(frozen=True)
class Leaf:
    grain: float  # rad from the leaf's middle
    mirrored: bool
    shift: Array  # (2,) of the sheet: neighbours lose a little wood at the joint
    lightness: float


@dataclass(frozen=True)
class Card:
    number: int
    middle: Array
    bearing: float  # of its up
    print_scale: tuple[float, float]

    def place(self, drawn: Array) -> Array:
        """Plane points of points (..., 2) of the card's frame, printed inches."""
        return self.middle + drawn[..., :1] * right(direction(self.bearing)) + drawn[..., 1:] * direction(self.bearing)

    @property
    def outline(self) -> Array:
        return self.place(np.array([[-1.5, -1.25], [-1.5, 1.25], [1.5, 1.25], [1.5, -1.25]]) * np.array(self.print_scale))


@dataclass(frozen=True)
class Tape:
    middle: Array
    bearing: float
    length_in: float
    width_in: float
    colour: tuple[float, float, float]

    def frame(self, points: Array) -> tuple[Array, Array]:
        away = points - self.middle
        return away @ direction(self.bearing), away @ right(direction(self.bearing))

    def hides(self, points: Array) -> Array:
        along, across = self.frame(points)
        return (np.abs(along) < self.length_in / 2) & (np.abs(across) < self.width_in / 2)

    @property
    def corners(self) -> Array:
        along, across = self.length_in / 2 * direction(self.bearing), self.width_in / 2 * right(direction(self.bearing))
        return self.middle + np.stack([along + across, along - across, -along - across, -along + across])


@dataclass(frozen=True)
class Scene:
    seed: int
    noise_seed: int
    stage: str  # "dry-fit", "inlaid" or "bare"
    height_in: float  # of the rose's face over the field
    veneer_in: float
    view: View
    phone: Phone
    lighting: Lighting
    field_wood: str
    dark_wood: str
    light_wood: str
    top_radius_in: float
    band_in: float
    seams: tuple[FieldSeam, ...]
    seam_cue: str  # "line", "grain"
    leaves: tuple[Leaf, ...]
    rose: Rose
    halves: tuple[tuple[tuple[float, Array], tuple[float, Array]], ...]  # each lobe's halves, left and right: grain, shift
    pockets_in: tuple[tuple[float, float, float, float], ...]  # inlaid: glue beyond each lobe's edges
    glue: tuple[float, float, float]
    cards: tuple[Card, ...]
    tapes: tuple[Tape, ...]
    top_centre_in: tuple[float, float] = (0.0, 0.0)
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)  # the light's colour, B G R
    band_wood: str = "mahogany"  # of the top's edge
    bench: tuple[str, float] = ("ash", 0.6)  # the wood that the top lies on, and how light it is

    @property
    def bars_in(self) -> tuple[float, float]:
        """What an exact rule reads on the sheet's check bars."""
        x, y = self.cards[0].print_scale
        return 6 * x, 10 * y

    def tip_px(self, lobe: Lobe) -> Array:
        return self.view.px(lobe.tip_in, self.height_in)

    def offset_in(self, number: int) -> float:
        """A tip's true distance clockwise of its seam."""
        rose = self.rose
        return self.seams[rose.seam_of[number]].offset_of(rose.lobes[number].tip_in)

    def reach_in(self, number: int) -> float:
        return float(np.hypot(*(self.rose.lobes[number].tip_in - self.rose.centre_in)))

    def edge_hidden(self, number: int) -> float:
        """The larger share of the outer 60 % of a long edge under tape or out of the picture."""
        lobe = self.rose.lobes[number]
        share = np.linspace(0.4, 1, 61)[:, None]
        return max(self._hidden(end + share * (lobe.tip - end), self.height_in) for end in (lobe.left, lobe.right))

    def seam_hidden(self, number: int) -> float:
        """The share of the seam beyond a tip under tape, cards or the band, or out of the picture."""
        seam = self.seams[self.rose.seam_of[number]]
        tip = self.rose.lobes[number].tip_in
        start = seam.point + ((tip - seam.point) @ direction(seam.bearing) + 0.1) * direction(seam.bearing)
        points = start + np.linspace(0, SEAM_SHOWN_IN, 60)[:, None] * direction(seam.bearing)
        return self._hidden(points, 0.0)

    @property
    def seams_centre_in(self) -> Array:
        """The point with the least sum of squared distances to the field seams."""
        normals = np.stack([right(direction(seam.bearing)) for seam in self.seams])
        return np.linalg.lstsq(normals, np.array([n @ seam.point for n, seam in zip(normals, self.seams, strict=True)]), rcond=None)[0]

    def shown(self, seam: FieldSeam, inner_in: float = 0.3) -> Array:
        """(n, 2): the places along a bare top's seam, every 1/20 in from inner_in outward, that nothing hides."""
        reach = np.arange(inner_in, self.top_radius_in, 0.05)
        points = seam.at(0.0) + reach[:, None] * direction(seam.bearing)
        return points[[self._hidden(point[None], 0.0) == 0 for point in points]]

    def joint_hidden(self, joint: Joint) -> float:
        return self._hidden(joint.ends[0] + np.linspace(0, 1, 60)[:, None] * (joint.ends[1] - joint.ends[0]), self.height_in)

    def _hidden(self, points: Array, z: float) -> float:
        px = self.view.px(points, z)
        away = np.any((px < 2) | (px > np.array([self.view.width, self.view.height]) - 3), axis=1)
        away |= np.hypot(*(points - np.array(self.top_centre_in)).T) > self.top_radius_in - self.band_in
        for tape in self.tapes:
            away |= tape.hides(points)
        if z == 0.0:
            for card in self.cards:
                turned = (points - card.middle) @ np.stack([right(direction(card.bearing)), direction(card.bearing)], axis=1)
                away |= np.all(np.abs(turned) < np.array([1.5, 1.25]) * np.array(card.print_scale), axis=1)
        return float(away.mean())


def draw(seed: int, stage: str | None = None, noise_seed: int = 0, megapixels: tuple[float, float] = (3.0, 4.5)) -> Scene:
    """One scene. Two in three are dry fits, unless `stage` says otherwise; `noise_seed` alone changes the noise alone."""
    rng = np.random.default_rng([seed, 1])
    stage_drawn = "dry-fit" if rng.random() < 0.67 else "inlaid"
    stage = stage or stage_drawn
    veneer_in = float(rng.choice(THICKNESSES_IN))
    count, rings = ((4, 2), (4, 2), (4, 1), (6, 1), (8, 1), (6, 2))[rng.integers(6)]
    leaves = count * rings
    notch_in = rng.uniform(0.9, 1.2) * (1.0 if count == 4 else 1.25)
    reach_in = rng.uniform(2.4, 3.0)
    second_in = (rng.uniform(0.55, 0.75) * (0.8 if count == 6 else 1.0), reach_in * rng.uniform(0.78, 0.92))
    cue = "line" if rng.random() < 0.6 else "grain"
    start = rng.uniform(0, 2 * np.pi)
    dark_line = bool(rng.random() < 0.7)
    seams = tuple(
        FieldSeam(
            rng.normal(0, 0.012, 2),
            start + 2 * np.pi * k / leaves + rng.normal(0, 0.003),
            rng.uniform(0.002, 0.007) if cue == "line" else 0.0,
            dark_line,
        )
        for k in range(leaves)
    )
    care = Care(gap_in=rng.uniform(0.002, 0.012), tip_in=rng.uniform(0.004, 0.012))
    rose = lay(rng, seams, count, rings, notch_in, reach_in, second_in, rng.normal(0, 0.012, 2), rng.normal(0, 0.002), care)
    field_wood, dark_wood, light_wood = _woods(rng)
    laid = _leaves(rng, leaves)
    ppi = rng.uniform(105, 215)
    pixels = rng.uniform(*megapixels) * 1e6
    width = int(np.sqrt(pixels * 4 / 3)) // 16 * 16
    height = width * 3 // 4
    need_in = 2 * reach_in + 2.4  # of the picture's short side
    ppi = min(ppi, height / need_in)
    f_px = width * rng.uniform(0.66, 0.85)
    height_in = f_px / ppi
    view = View.over(
        width,
        height,
        f_px,
        (rng.normal(0, 0.004 * width), rng.normal(0, 0.004 * width)),
        rng.normal(0, 0.012),
        rng.normal(0, 0.008),
        rng.normal(0, 0.25, 2),
        height_in,
        np.radians(min(abs(rng.normal(0, 9)), 24)),
        rng.uniform(0, 2 * np.pi),
        rng.uniform(0, 2 * np.pi),
    )
    phone = Phone(
        blur_px=rng.uniform(0.5, 1.1),
        read_noise=rng.uniform(0.001, 0.003),
        shot_noise=rng.uniform(0.004, 0.018),
        smoothing=rng.uniform(0, 0.5),
        sharpening=rng.uniform(0, 1.0),
        sharpening_px=rng.uniform(0.8, 1.4),
        exposure=rng.uniform(0.85, 1.2),
        vignette=rng.uniform(0, 0.25),
        quality=int(rng.integers(82, 97)),
        subsampled=bool(rng.random() < 0.8),
        focal_35mm=round(36 * f_px / width * rng.normal(1, 0.01)) if rng.random() < 0.8 else None,
    )
    lamps = tuple(
        Lamp(rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(30, 75)), rng.uniform(0.03, 0.25), rng.uniform(0.15, 0.4))
        for _ in range(rng.integers(0, 3))
    )
    lighting = Lighting(lamps, (rng.normal(0, 0.01), rng.normal(0, 0.01)), rng.uniform(0.15, 0.35))
    halves = tuple(tuple((_bearing(lobe) + rng.normal(0, 0.15), rng.uniform(0, 8, 2)) for _ in range(2)) for lobe in rose.lobes)
    usual_glue = 0.0 if rng.random() < 0.25 else rng.uniform(0.001, 0.006)
    pockets = _pockets(rng, rose, usual_glue)
    glue = tuple(np.array([0.035, 0.055, 0.085]) * rng.uniform(0.6, 2.5)) if rng.random() < 0.8 else (0.25, 0.32, 0.38)
    print_scale = (float(np.clip(rng.normal(1, 0.003), 0.99, 1.01)), float(np.clip(rng.normal(1, 0.003), 0.99, 1.01)))
    cards = _cards(rng, view, rose, seams, reach_in, print_scale, 6.9)
    tapes = _tapes(rng, rose) if stage == "dry-fit" and rng.random() < 0.7 else ()
    height_of_face = veneer_in if stage == "dry-fit" else 0.0
    top = rng.uniform(6.3, 8.5), rng.uniform(0.25, 0.6)
    woods = field_wood, dark_wood, light_wood
    seen = view, phone, lighting
    laid_out = seams, cue, laid, rose, halves
    return Scene(seed, noise_seed, stage, height_of_face, veneer_in, *seen, *woods, *top, *laid_out, pockets, glue, cards, tapes)


def draw_bare(seed: int, noise_seed: int = 0, megapixels: tuple[float, float] = (4.0, 6.0), cue: str | None = None) -> Scene:
    """A bare matched top: leaves a little unequal, seams that miss a common centre, the round edge often partly out of the picture."""
    rng = np.random.default_rng([seed, 11])
    drawn = draw(seed, "dry-fit", noise_seed)
    count = int(rng.choice((4, 6, 8, 8, 8, 12, 16)))
    drawn_cue = "line" if rng.random() < 0.6 else "grain"
    cue = cue or drawn_cue
    start, dark_line = rng.uniform(0, 2 * np.pi), bool(rng.random() < 0.7)
    off_in, askew = rng.uniform(0.003, 0.02), rng.uniform(0.001, 0.006)
    seams = tuple(
        FieldSeam(
            rng.normal(0, off_in, 2),
            start + 2 * np.pi * k / count + rng.normal(0, askew),
            rng.uniform(0.002, 0.007) if cue == "line" else 0.0,
            dark_line,
        )
        for k in range(count)
    )
    leaves = _leaves(rng, count)
    radius_in = rng.uniform(5.0, 8.5)
    pixels = rng.uniform(*megapixels) * 1e6
    width = int(np.sqrt(pixels * 4 / 3)) // 16 * 16
    height = width * 3 // 4
    ppi = height / (radius_in * rng.uniform(1.4, 2.3))  # 2 and more: the whole edge is in the picture
    f_px = width * rng.uniform(0.66, 0.85)
    view = View.over(
        width,
        height,
        f_px,
        (rng.normal(0, 0.004 * width), rng.normal(0, 0.004 * width)),
        rng.normal(0, 0.012),
        rng.normal(0, 0.008),
        rng.normal(0, 0.25, 2),
        f_px / ppi,
        np.radians(min(abs(rng.normal(0, 7)), 18)),
        rng.uniform(0, 2 * np.pi),
        rng.uniform(0, 2 * np.pi),
    )
    nothing = Rose((), (), ())
    print_scale = drawn.cards[0].print_scale if drawn.cards else (1.0, 1.0)
    cards = _cards(rng, view, nothing, seams, 2.6, print_scale, radius_in)
    return replace(
        drawn,
        stage="bare",
        height_in=0.0,
        view=view,
        top_radius_in=radius_in,
        band_in=rng.uniform(0.25, 0.8),
        seams=seams,
        seam_cue=cue,
        leaves=leaves,
        rose=nothing,
        halves=(),
        pockets_in=(),
        cards=cards,
        tapes=(),
        top_centre_in=tuple(rng.normal(0, 0.03, 2)),
    )


def _nearest_tip(rose: Rose, place: Array) -> float:
    return float(min(np.hypot(*(lobe.tip - place)) for lobe in rose.lobes))


def _leaves(rng: np.random.Generator, count: int) -> tuple[Leaf, ...]:
    """The field's matched leaves, every second one turned over, none quite like its neighbour."""
    grain, spread = rng.uniform(-0.3, 0.3) + (0 if rng.random() < 0.5 else np.pi / 4), rng.uniform(0, 0.02)
    shift, lightness = rng.uniform(0, 8, 2), rng.uniform(0.01, 0.07)
    return tuple(
        Leaf(
            grain * (1 if k % 2 else -1),
            bool(k % 2),
            shift + [0.0, 0.02] + rng.normal(0, 0.015 + spread, 2),
            float(np.exp(rng.normal(0, lightness))),
        )
        for k in range(count)
    )


def _woods(rng: np.random.Generator) -> tuple[str, str, str]:
    """(field, dark half, light half): the halves apart by a half at least, the field by a tenth from either."""
    while True:
        field, dark, light = str(rng.choice(FIELD)), str(rng.choice(DARK)), str(rng.choice(LIGHT))
        tones = [np.log(np.mean(WOODS[name].colour)) for name in (field, dark, light)]
        if tones[2] - tones[1] > 0.5 and min(abs(tones[0] - tones[1]), abs(tones[0] - tones[2])) > 0.1:
            return field, dark, light


def _bearing(lobe: Lobe) -> float:
    return float(np.arctan2(lobe.axis[0], lobe.axis[1]))


def _pockets(rng: np.random.Generator, rose: Rose, usual_glue_in: float) -> tuple[tuple[float, float, float, float], ...]:
    """How far the glue reaches beyond each lobe's edges: across the joint, and beside the field as the knife went."""
    widest = {}
    for joint in rose.joints:
        for lobe in joint.lobes:
            widest[lobe] = max(widest.get(lobe, 0.0), float(joint.openings.max()))
    return tuple(
        tuple(widest.get(k, 0.0) if side in (0, 3) else max(0.0, usual_glue_in * rng.uniform(0.2, 1.8)) for side in range(4))
        for k in range(len(rose.lobes))
    )  # type: ignore[return-value]


def _cards(
    rng: np.random.Generator,
    view: View,
    rose: Rose,
    seams: tuple[FieldSeam, ...],
    reach_in: float,
    print_scale: tuple[float, float],
    out_in: float,
) -> tuple[Card, ...]:
    """Three to six cards where they fit: clear of the rose, of each other and mostly of the seams, three quarters in view."""
    wanted = int(rng.integers(3, 7))
    cards: list[Card] = []
    numbers = rng.permutation(8) + 1
    for attempt in range(600):
        if len(cards) == wanted:
            break
        at, turn = rng.uniform(0, 2 * np.pi), rng.uniform(0, 2 * np.pi)
        middle = rng.uniform(reach_in * 0.75, out_in) * direction(at)
        card = Card(int(numbers[len(cards)]), middle, turn, print_scale)
        if any(np.hypot(*(middle - other.middle)) < 3.9 for other in cards):
            continue
        share = np.linspace(0, 1, 9)[:, None]
        loop = np.concatenate([a + share * (b - a) for a, b in zip(card.outline, np.roll(card.outline, -1, axis=0), strict=True)])
        if rose.lobes and (any(lobe.inside(loop, (0.12,) * 4).max() > 0 for lobe in rose.lobes) or _nearest_tip(rose, middle) < 1.6):
            continue
        px = view.px(card.place(np.array([[x, y] for x in (-1.25, 0, 1.25) for y in (-1, 0, 1)])))
        shown = np.all((px > 8) & (px < np.array([view.width, view.height]) - 9), axis=1)
        if shown.mean() < 0.75:
            continue
        crosses = sum(np.abs((middle - s.point) @ right(direction(s.bearing))) < 1.2 and middle @ direction(s.bearing) > 0 for s in seams)
        if crosses and attempt < 400:
            continue
        cards.append(card)
    return tuple(cards)


def _tapes(rng: np.random.Generator, rose: Rose) -> tuple[Tape, ...]:
    """Up to one piece for each two lobes, across joints and long edges, now and then over a tip."""
    colour = TAPES[rng.integers(len(TAPES))]
    tapes = []
    for _ in range(rng.integers(0, len(rose.lobes) // 2 + 1)):
        lobe = rose.lobes[rng.integers(len(rose.lobes))]
        end = lobe.left if rng.random() < 0.5 else lobe.right
        place = end + rng.uniform(-0.3, 0.75) * (lobe.tip - end)
        tapes.append(Tape(place, _bearing(lobe) + rng.normal(np.pi / 2, 0.5), rng.uniform(0.7, 1.3), rng.uniform(0.25, 0.5), colour))
    return tuple(tapes)
