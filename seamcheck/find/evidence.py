"""Whether the photo shows each lobe that was drawn, and whether what it shows is a rose's lobes at all.

The pattern says where lobes belong; this asks the wood. Each lobe needs steps of its own: a dark and a light half on either
side of its own seam, and long edges. Where plain field lies in a lobe's place none was laid, and none is reported. Where tape,
a card or the frame hides the place the lobe may be there, so it stays, and what is hidden is for the measuring to say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array
from ..kite import FoundLobe
from .halves import seam_contrast
from .light import LogLight, sample
from .lobes import edge_steps

# A station of an own seam shows if its halves differ by this share of the woods' whole difference; a station of an edge if the
# step at the line is this share of the usual one.
OWN_SHOWS, EDGE_SHOWS = 0.5, 0.3

# A lobe shows by this share of the stations of its own seam, or of one of its long edges. On rendered pictures lobes that
# aren't laid show up to 0.05 and 0.45, the least of those that aren't under tape 0.4 and 0.5.
LEAST_OWN, LEAST_LONG = 0.2, 0.5

# It isn't there if so much of its place, besides, looks like the field: within so many robust deviations of the colour round
# the rose, and this (logarithmic light) for texture.
FIELD_SHARE, FIELD_DEVIATIONS, FIELD_FLOOR = 0.6, 3.0, 0.05

# The field's colour is taken from this far outside the lobes (inches): clear of glue and shadow.
FIELD_FROM_IN = 0.15

# Of a rose at least this share of the lobes is laid, and two: else one may as well see another shape in it.
LEAST_LAID, FEWEST = 0.3, 2

# A rose's lobes, all together: the least share of stations that show along long edges on the dark halves' side and on the light
# halves', and along short edges; the most of own seams' stations that show the woods the wrong way round. Measured on rendered
# roses under much tape: 0.64, 0.66, 0.43; 0.04. Stars, pinwheels, chequers and roses of half the count have no edges on one
# side, on either, or no short ones (0.0 to 0.57, 0.0), or own seams that change sides (0.1 and more).
LEAST_LONG_SIDE, LEAST_SHORT, MOST_WRONG = 0.55, 0.25, 0.08
# Halves of the field's own tone have no long edges that show, nor have taped ones. Such a rose is told by its short edges and own
# seams alone, which then have to show all round: 0.92 and more, and none the wrong way round, on rendered ones under much tape.
SURE_SHORT, SURE_WRONG = 0.8, 0.02

# Places within a kite where its colour is looked at: shares of the way from the axis to the shoulders' side, and along.
PLACES = np.array([[across, along] for along in np.linspace(0.08, 0.8, 13) for across in np.linspace(-0.7, 0.7, 8)])

# Long and short edges among an edge's number in lobes.EDGES.
SHORT, LONG = (0, 3), (1, 2)


def shown_lobes(light: LogLight, lobes: Sequence[FoundLobe]) -> tuple[FoundLobe, ...]:
    """The lobes that the photo shows or something may cover; none if what it shows is no rose. Lobes as `refine_lobes` drew them."""
    laid, evidence = tuple(lobes), _look(light, lobes)
    gone = evidence.absent & (_share_like_field(light, lobes) > FIELD_SHARE)
    if gone.any():
        laid = tuple(lobe for lobe, absent in zip(lobes, gone, strict=True) if not absent)
        if len(laid) < max(FEWEST, LEAST_LAID * len(lobes)) or _no_neighbours(lobes, gone):
            return ()
        evidence = _look(light, laid)  # what is usual is learnt from the lobes that are there
    return laid if evidence.fits_a_rose else ()


@dataclass(frozen=True)
class _Evidence:
    own: Array  # (lobes, stations) the woods' difference across own seams, 1 where it shows fully
    own_seen: NDArray[np.bool_]
    edges: Array  # (lobes, 4, stations) steps across EDGES, 1 as usual
    edges_seen: NDArray[np.bool_]
    dark_right: NDArray[np.bool_]  # (lobes,)

    @property
    def absent(self) -> NDArray[np.bool_]:
        """(lobes,) that show neither an own seam nor a long edge."""
        own = _share(self.own > OWN_SHOWS, self.own_seen)
        long = _share(self.edges > EDGE_SHOWS, self.edges_seen)[:, LONG].max(axis=1)
        return np.asarray((own < LEAST_OWN) & (long < LEAST_LONG))

    @property
    def fits_a_rose(self) -> bool:
        shows, seen, rows = self.edges > EDGE_SHOWS, self.edges_seen, np.arange(len(self.own))
        right, left = LONG
        sides = [np.where(on_right, right, left) for on_right in (self.dark_right, ~self.dark_right)]
        long = min(float(_share(shows[rows, side].ravel(), seen[rows, side].ravel())) for side in sides)
        short = float(_share(shows[:, SHORT].ravel(), seen[:, SHORT].ravel()))
        wrong = float(_share((self.own < -OWN_SHOWS).ravel(), self.own_seen.ravel()))
        if long < LEAST_LONG_SIDE:  # halves of the field's own tone, or tape?
            return short >= SURE_SHORT and wrong <= SURE_WRONG
        return short >= LEAST_SHORT and wrong <= MOST_WRONG


def _no_neighbours(lobes: Sequence[FoundLobe], gone: NDArray[np.bool_]) -> bool:
    """Whether no two neighbours of the first ring are there: a rose of half the count, say, between whose lobes others were seen."""
    first = ~gone[[lobe.ring == 1 for lobe in lobes]]
    return not (first & np.roll(first, 1)).any()


def _look(light: LogLight, lobes: Sequence[FoundLobe]) -> _Evidence:
    own, own_seen, _ = seam_contrast(light, lobes)
    edges, edges_seen = edge_steps(light, lobes)
    return _Evidence(own, own_seen, edges, edges_seen, np.array([lobe.dark_side == "cw" for lobe in lobes]))


def _share(shows: NDArray[np.bool_], seen: NDArray[np.bool_]) -> Array:
    """Of the stations (last axis) that are seen, the share that shows; 0 where none is."""
    return np.asarray((shows & seen).sum(axis=-1) / np.maximum(seen.sum(axis=-1), 1), float)


def _share_like_field(light: LogLight, lobes: Sequence[FoundLobe]) -> Array:
    """(lobes,) how much of each lobe's place looks like the wood round the rose; what is masked doesn't."""
    import cv2

    corners = np.stack([lobe.kite.corners_in for lobe in lobes])
    smooth = cv2.blur(light.channels, (3, 3))
    rose = np.zeros(light.wood.shape, np.uint8)
    for one in corners:
        cv2.fillPoly(rose, [np.round(light.view.px_of(one)).astype(np.int32)], 1)
    rim = 2 * int(np.ceil(FIELD_FROM_IN * light.view.px_per_in)) + 1
    field = smooth[(cv2.dilate(rose, np.ones((rim, rim), np.uint8)) == 0) & (light.wood > 0)]
    if not len(field):
        return np.zeros(len(lobes))
    middle = np.median(field, axis=0)
    spread = FIELD_DEVIATIONS * (1.4826 * np.median(np.abs(field - middle), axis=0) + FIELD_FLOOR)
    root, left, tip, right = np.moveaxis(corners, 1, 0)
    along = PLACES[:, 1]
    # A kite is widest about a third of the way out.
    across = PLACES[:, 0] * np.minimum(along / 0.3, (1 - along) / 0.7) / 2
    places = root[:, None] + along[:, None] * (tip - root)[:, None] + across[:, None] * (right - left)[:, None]
    alike = (np.abs(sample(smooth, light.view, places) - middle) < spread).all(axis=-1)
    return np.asarray((alike & (sample(light.wood, light.view, places) > 0.99)).mean(axis=1), float)
