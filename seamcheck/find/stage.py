"""What the photo shows, and where: the one door into the finder."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..basis.errors import CardsDisagree, NoRoseFound, PictureOfRose, TwoRosesFound
from ..basis.frames import Array, bearing_of
from ..kite import FoundLobe, FoundRose, Kite
from ..plane.camera import Camera
from ..plane.rectify import flatten, reduced, seen_box
from ..result import Stage
from .align import align
from .bare import is_bare_top
from .centre import distinct, harmonic_places, turned_places
from .evidence import shown_lobes
from .fold import fold_round
from .halves import chance_raised_by_tape, tape_odds, wood_difference
from .light import Floats, LogLight, log_light
from .lobes import refine_lobes
from .loose import apart, find_loose, is_of_two_woods, on_the_bench
from .paper import is_on_paper
from .rays import Rays, rate_rays
from .second import meant, rays_elsewhere
from .shape import RoseShape, fit_shape

# Resolutions of the flattened copies (px/in): to find the centre or loose lobes, to fit the rose's shape, to draw its edges.
SEARCH_PPI, LOOSE_PPI, SHAPE_PPI, EDGE_PPI = 12.0, 20.0, 24.0, 48.0

# Room beyond the longest lobe in the finest copy (inches).
EDGE_ROOM_IN = 0.3

# How far from the middle of the photo the plane is searched (inches): the longest bench that matters.
SEARCH_LIMIT_IN = 14.0

# The largest rose (inches from its centre to a tip).
LARGEST_REACH_IN = 6.2

# Candidates that may get a full fit; two of the same count nearer than this are one (inches).
FULL_FITS, FITS_APART_IN = 5, 0.4

# Where the whole picture fits itself when turned, a rose is likelier than elsewhere: its rays count so much more.
TURNED_FAVOUR = 1.3

# A rose: its first ring's lines show this much over chance; its long edges, its own seams and both together step by this much (in
# limited steps: 2 is as strong as steps can be); its notch lies where a kite's can; its joints don't step with its own seams.
# Measured at the least on rendered roses under much tape: 3.9; 0.64, 0.36, 1.3; 0.32. On what is no rose no more than two of
# these were passed at once: own seams without long edges on wheels of wedges (0.34), low notches on striped bare tops (0.2).
LEAST_SCORE, LEAST_EDGE, LEAST_OWN, LEAST_STEPS, LEAST_NOTCH_SHARE, LEAST_JOINT = 3.0, 0.55, 0.3, 1.1, 0.24, -0.1

# So clear a rose that no other candidate need be looked at.
CLEAR_SCORE, CLEAR_STEPS = 4.8, 1.35

# Radial lines that are no rose, but show and part colours this different (logarithmic light: a third), are another inlay. Leaves are
# of one wood: where their seams show they part a tenth or two.
INLAY_STEP, INLAY_DIFFERENCE = 0.7, 0.3

# Fewer loose lobes than this are off-cuts, unless the person says that the lobes are loose.
LEAST_LOOSE = 3

# From here on a rose is taken to stand on the field.
RAISED_FROM = 0.5

# A step in lightness alone, as `Rays.axis`.
LIGHTNESS = np.array([1.0, 0.0, 0.0])


def find_rose(bgr: NDArray[np.uint8], camera: Camera, card_outlines_in: Sequence[Array], z_in: float) -> FoundRose:
    """The rose of a dry fit or an inlay, its face at height z_in (inches); raises NoRoseFound or TwoRosesFound.

    `bgr` is the upright photo (h, w, 3) that `camera` belongs to; `card_outlines_in` are (4, 2) plane outlines.
    """
    source = _Source(bgr, camera, card_outlines_in, z_in)
    rose, _ = _meant(source)
    if rose is None:
        raise NoRoseFound(photo="the photo")
    return rose


def find_loose_lobes(bgr: NDArray[np.uint8], camera: Camera, card_outlines_in: Sequence[Array], z_in: float) -> FoundRose:
    """Lobes lying apart, their faces at height z_in, clockwise as the photo's middle sees them; raises NoRoseFound if there are none."""
    lobes = _loose_lobes(_Source(bgr, camera, card_outlines_in, z_in))
    if not lobes:
        raise NoRoseFound(photo="the photo")
    return FoundRose(None, lobes, 1.0)


def find_all(
    bgr: NDArray[np.uint8], camera: Camera, card_outlines_in: Sequence[Array], stage: Stage | None, z_in: float
) -> tuple[Stage, FoundRose]:
    """The stage, as told or as the photo shows it, and what was found; raises NoRoseFound where it shows none of them, TwoRosesFound.

    z_in is the veneer's thickness: lobes are looked for at that height, in an inlay (told) at 0. A bare top has no lobes. Dry fit or
    inlaid is told apart by tape alone here.
    """
    source = _Source(bgr, camera, card_outlines_in, 0.0 if stage is Stage.INLAID else z_in)
    if stage is Stage.BARE:
        return stage, FoundRose(None, (), 0.0)
    if stage is Stage.LOOSE:
        return stage, find_loose_lobes(bgr, camera, card_outlines_in, z_in)
    rose, shapes = _meant(source)
    if rose is not None and (stage or rose.raised >= RAISED_FROM):
        return stage or Stage.DRY_FIT, rose
    if rose is not None:
        return Stage.INLAID, moved_to(rose, camera, z_in, 0.0)
    if stage is None:
        lobes = _loose_lobes(source)
        if len(lobes) >= LEAST_LOOSE and apart(lobes) and on_the_bench(source.look(*source.box, LOOSE_PPI), lobes):
            return Stage.LOOSE, FoundRose(None, lobes, 1.0)
        if not any(_is_inlay(source, shape) for shape in shapes) and is_bare_top(source.overall):
            return Stage.BARE, FoundRose(None, (), 0.0)
    raise NoRoseFound(photo="the photo")


def moved_to(rose: FoundRose, camera: Camera, from_z_in: float, to_z_in: float) -> FoundRose:
    """The rose as the same pixels show it at another height."""

    def moved(xy_in: Array) -> Array:
        return camera.plane_from_px(camera.px_from_plane(xy_in, from_z_in), to_z_in)

    lobes = tuple(replace(lobe, kite=Kite(*moved(lobe.kite.corners_in))) for lobe in rose.lobes)
    return replace(rose, lobes=lobes, centre_in=None if rose.centre_in is None else moved(rose.centre_in))


@dataclass(frozen=True)
class _Source:
    """The photo with the way to look at pieces of it."""

    bgr: NDArray[np.uint8]
    camera: Camera
    cards: Sequence[Array]
    z_in: float
    _copies: dict[int, NDArray[np.uint8]] = field(default_factory=dict)  # reduced, by factor
    _round: dict[tuple[float, ...], tuple[LogLight, Floats]] = field(default_factory=dict)  # `shapes_round`, by centre

    @cached_property
    def box(self) -> tuple[Array, Array]:
        low, high = seen_box(self.camera, (self.bgr.shape[1], self.bgr.shape[0]), self.z_in, SEARCH_LIMIT_IN)
        if not (np.isfinite(low).all() and np.isfinite(high).all()):
            # The lens as the cards have it shows the photo's corners nowhere: no lens that takes such a photo.
            raise CardsDisagree(photo="the photo")
        return low, high

    @cached_property
    def overall(self) -> LogLight:
        """Everything that is seen, coarsely."""
        return self._look(*self.box, SEARCH_PPI, None)

    @cached_property
    def steps(self) -> Floats:
        """Of `overall`, limited."""
        return self.overall.limited_steps()

    @cached_property
    def turned(self) -> tuple[list[Array], list[Array]]:
        """Places where a rose's centre may be, as `turned_places` has them."""
        return turned_places(self.overall, self.steps)

    @cached_property
    def harmonic(self) -> list[Array]:
        """As `harmonic_places` has them."""
        return harmonic_places(self.overall, self.steps)

    def look(self, low_in: Array, high_in: Array, px_per_in: float) -> LogLight:
        """A box of the plane in logarithmic light."""
        # Of a card's edge that a box cuts, the brightest part may be wood.
        return self._look(low_in, high_in, px_per_in, self.overall.white)

    def _look(self, low_in: Array, high_in: Array, px_per_in: float, white: Array | None) -> LogLight:
        """Made from a copy reduced to suit; white: as `log_light` has it."""
        density = self.camera.px_per_in_at((low_in + high_in) / 2, self.z_in)
        factor = max(1, int(density / (1.25 * px_per_in)))
        if factor not in self._copies:
            self._copies[factor] = reduced(self.bgr, factor)
        view = flatten(self._copies[factor], self.camera, low_in, high_in, self.z_in, px_per_in, factor)
        return log_light(view, self.cards, white)

    def shapes_round(self, centre_in: Array) -> tuple[LogLight, Floats]:
        """What shapes are fitted to round a centre, and its limited steps: several counts are tried about one place."""
        key = tuple(centre_in.tolist())
        if key not in self._round:
            light = self.look_round(centre_in, LARGEST_REACH_IN, SHAPE_PPI)
            self._round[key] = light, light.limited_steps()
        return self._round[key]

    def look_round(self, centre_in: Array, reach_in: float, px_per_in: float) -> LogLight:
        low, high = self.box
        return self.look(np.maximum(centre_in - reach_in, low), np.minimum(centre_in + reach_in, high), px_per_in)


def _meant(source: _Source) -> tuple[FoundRose | None, list[RoseShape]]:
    """As `_rose`; where two roses show, the one that the cards lie round.

    Raises TwoRosesFound where they don't say, and PictureOfRose for one on paper.
    """
    rose, shapes = _rose(source)
    if rose is not None and rose.centre_in is not None and is_on_paper(source.overall, rose.centre_in):
        raise PictureOfRose(photo="the photo")
    rays = rays_elsewhere(source.overall, rose) if rose is not None else None
    if rose is None or rays is None:
        return rose, shapes
    shape = _fit(source, rays)
    other = _drawn(source, shape) if _is_rose(shape) else None
    if other is None:
        return rose, shapes
    chosen = meant((rose, other), source.cards)
    if chosen is None:
        raise TwoRosesFound(photo="the photo")
    return chosen, shapes


def _rose(source: _Source) -> tuple[FoundRose | None, list[RoseShape]]:
    """The best rose of which the photo shows the lobes, if any, and what fits best at the likeliest places, rose or not.

    No further place is looked at once a clear rose is found. A wood's stripes may differ in colour more than the two woods do: where no
    rose is found so, the woods are supposed to differ in lightness.
    """
    shapes: list[RoseShape] = []
    for axis in (None, LIGHTNESS):
        fitted: list[RoseShape] = []
        for rays in _likeliest(source, axis):
            shape = _fit(source, rays)
            rose = _drawn(source, shape) if _is_clear(shape) else None
            if rose is not None:
                return rose, [*shapes, *fitted, shape]
            fitted.append(shape)
        shapes += fitted
        for shape in sorted(fitted, key=lambda one: -one.score):
            if _is_rose(shape) and not _is_clear(shape):
                rose = _drawn(source, shape)
                if rose is not None:
                    return rose, shapes
    return None, shapes


def _drawn(source: _Source, shape: RoseShape) -> FoundRose | None:
    """A rose with its lobes drawn to the wood: those that are laid; None if the photo doesn't show them."""
    reach = max([shape.reach_in, *(ring.reach_in for ring in shape.later)]) + EDGE_ROOM_IN
    light = source.look_round(shape.centre_in, reach, EDGE_PPI)
    drawn = refine_lobes(light, shape.lobes())
    lobes = shown_lobes(light, drawn)
    if not lobes:
        return None
    # A rose is let in as a whole: where lobes are still to be laid it stands on the field.
    if len(lobes) < len(drawn):
        return FoundRose(shape.centre_in, lobes, 1.0)
    odds = tape_odds(light, lobes)
    return FoundRose(shape.centre_in, lobes, chance_raised_by_tape(odds), odds)


def _loose_lobes(source: _Source) -> tuple[FoundLobe, ...]:
    found = find_loose(source.look(*source.box, LOOSE_PPI))
    if not found:
        return ()
    light = source.look(*source.box, EDGE_PPI)
    # Roughly drawn, a kite of one wood may reach across its edge.
    lobes = [lobe for lobe in refine_lobes(light, found) if is_of_two_woods(light, lobe)]
    middle = (source.box[0] + source.box[1]) / 2
    placed = sorted(lobes, key=lambda lobe: float(bearing_of(lobe.kite.corners_in.mean(axis=0) - middle)))
    return tuple(replace(lobe, ring=None) for lobe in placed)


def _likeliest(source: _Source, axis: Array | None) -> Iterator[Rays]:
    """Rays worth a full fit, at most FULL_FITS. The first comes from the turned picture alone, and is mostly enough. axis: `rate_rays`."""
    light, steps = source.overall, source.steps
    best, further = source.turned
    rated = [(TURNED_FAVOUR * rays.score, rays) for place in best for rays in rate_rays(light, steps, place, axis)]
    kept = [max(rated, key=lambda one: one[0])[1]] if rated else []
    yield from kept
    others = distinct(best + further + source.harmonic)[len(best) :]
    rated += [(rays.score, rays) for place in others for rays in rate_rays(light, steps, place, axis)]
    for _, rays in sorted(rated, key=lambda one: -one[0]):
        if len(kept) == FULL_FITS:
            break
        if all(rays.count != other.count or np.hypot(*(rays.centre_in - other.centre_in)) > FITS_APART_IN for other in kept):
            kept.append(rays)
            yield rays


def _fit(source: _Source, rays: Rays) -> RoseShape:
    """The rose that fits best where `rays` says. Joints may have been taken for own seams: unless it's clear, both are tried."""
    light, steps = source.shapes_round(rays.centre_in)

    def fitted(these: Rays) -> RoseShape:
        centre, bearing = align(light, steps, these)
        return fit_shape(fold_round(light, steps, centre, bearing, these.count, LARGEST_REACH_IN - 0.2), these, centre, bearing)

    shape = fitted(rays)
    if _is_clear(shape):
        return shape
    other = fitted(replace(rays, bearing=rays.bearing + np.pi / rays.count, dark_right=not rays.dark_right))
    return max(shape, other, key=lambda one: (_is_rose(one), one.score))


def _is_inlay(source: _Source, shape: RoseShape) -> bool:
    return shape.own_step > INLAY_STEP and wood_difference(source.overall, shape.lobes()[: shape.count]) > INLAY_DIFFERENCE


def _is_clear(shape: RoseShape) -> bool:
    return _is_rose(shape) and shape.score > CLEAR_SCORE and shape.own_step + shape.edge_step > CLEAR_STEPS


def _is_rose(shape: RoseShape) -> bool:
    shows = shape.edge_step > LEAST_EDGE and shape.own_step > LEAST_OWN and shape.own_step + shape.edge_step > LEAST_STEPS
    is_kite = shape.notch_in > LEAST_NOTCH_SHARE * shape.reach_in and shape.joint_step > LEAST_JOINT
    return shows and is_kite and shape.score > LEAST_SCORE
