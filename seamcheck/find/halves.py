"""The two halves of each lobe, compared across its own seam: which is dark, and where tape hides the difference.

Pairs of places left and right of the seam share their light, so shadows and lamps cancel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array, right_of
from ..basis.order import median
from ..kite import FoundLobe
from .light import LogLight, sample

# Where along the seam (shares of its length) and how far from it (inches) the halves are compared.
ALONG = np.linspace(0.1, 0.85, 40)
ACROSS_IN = np.linspace(0.04, 0.2, 5)

# Nowhere farther out than this share of the way to the lobe's edge.
WIDTH_SHARE = 0.8

# Texture and noise below this (log light) are not trusted to be the woods' real spread.
COLOUR_FLOOR = 0.03

# A lobe is laid the other way round if this share of its stations shows the opposite of what the others show,
# and twice as many do so as show the same. A full difference is 1.
REVERSED_SHARE, CLEARLY = 0.35, 0.5

# Where coloured tape masks more than this share of the stations, there is tape: of 102 rendered roses without none shows any.
MASKED_SHARE, MASKED_ODDS = 0.02, 100.0
# Stations that show less than this of the woods' difference are under pale tape, or the wood's figure does it. So large a share of them,
# this much for noise included, is as likely with tape as without; twice as much twice as likely (fitted to 132 drawn scenes, together
# with the own seams' part in `measure.standing`, by logistic regression).
COVERED_BELOW, EVEN_COVERED, NOISE_COVERED = 0.35, 0.0235, 0.01

# Luminance (Rec. 709 weights, on logarithms) in terms of the channels: mean brightness, red less green, blue less green.
TO_LUMINANCE = np.array([1.0, 0.2126 - 1 / 3, 0.0722 - 1 / 3])

# So many dry fits are held by tape, not by pins or weights, and on so many inlays some is left (common practice, no source).
TAPED_DRY_FITS, TAPED_INLAYS = 0.7, 0.02


def tell_dark_sides(light: LogLight, lobes: Sequence[FoundLobe]) -> tuple[FoundLobe, ...]:
    """The lobes with their dark sides as the photo shows them.

    What most lobes agree on, station by station, is the woods' difference; a lobe that clearly shows the
    opposite is laid the other way round. Tape shows none.
    """
    difference, shows, _ = seam_contrast(light, lobes)
    if _brightness_jump(light, lobes, shows & (difference > CLEARLY)) < 0:  # the rough fit took the brighter half for the dark one
        lobes = [_turned_over(lobe) for lobe in lobes]
    told = []
    for lobe, one in zip(lobes, (row[clear] for row, clear in zip(difference, shows, strict=True)), strict=True):
        against, along = int((one < -CLEARLY).sum()), int((one > CLEARLY).sum())
        turned = against > REVERSED_SHARE * max(len(one), 1) and against > 2 * along
        told.append(_turned_over(lobe) if turned else lobe)
    return tuple(told)


def _turned_over(lobe: FoundLobe) -> FoundLobe:
    return replace(lobe, dark_side="ccw" if lobe.dark_side == "cw" else "cw")


def _brightness_jump(light: LogLight, lobes: Sequence[FoundLobe], where: NDArray[np.bool_]) -> float:
    """How much brighter the supposedly lighter half is (log luminance), middle of the stations told."""
    dark, bright, _, _ = _half_colours(light, lobes)
    return float(np.median((bright - dark)[where] @ TO_LUMINANCE)) if where.any() else 0.0


def wood_difference(light: LogLight, lobes: Sequence[FoundLobe]) -> float:
    """How far the two halves' colours lie apart (logarithmic light), middle of all stations."""
    dark, bright, clear, _ = _half_colours(light, lobes)
    return float(np.linalg.norm(np.median((bright - dark)[clear], axis=0))) if clear.any() else 0.0


def tape_odds(light: LogLight, lobes: Sequence[FoundLobe]) -> float:
    """How many times likelier what shows of the lobes' own seams is with tape on them than without."""
    difference, shows, in_photo = seam_contrast(light, lobes)
    if not shows.any() or (in_photo & ~shows).sum() > MASKED_SHARE * in_photo.sum():
        return MASKED_ODDS
    return float((difference[shows] < COVERED_BELOW).mean() + NOISE_COVERED) / EVEN_COVERED


def chance_raised_by_tape(odds: float) -> float:
    """How likely it is that the lobes stand on the field, 0..1, where tape on them is so many times likelier than none (`tape_odds`).

    A dry fit is held by tape until it is knifed in; an inlay has hardly any left.
    """
    standing, let_in = (share * odds + 1 - share for share in (TAPED_DRY_FITS, TAPED_INLAYS))
    return standing / (standing + let_in)


def seam_contrast(light: LogLight, lobes: Sequence[FoundLobe]) -> tuple[Array, NDArray[np.bool_], NDArray[np.bool_]]:
    """The light half less the dark half as `dark_side` has them, 1 where the woods show fully; where wood shows; where the photo reaches.

    Each (lobes, stations).
    """
    dark, bright, clear, reached = _half_colours(light, lobes)
    if not clear.any():
        return np.zeros(clear.shape), clear, reached
    direction, _ = discriminant(dark[clear], bright[clear])
    return np.asarray(np.clip((bright - dark) @ direction, -1.5, 1.5), float), clear, reached


def _half_colours(light: LogLight, lobes: Sequence[FoundLobe]) -> tuple[Array, Array, NDArray[np.bool_], NDArray[np.bool_]]:
    """Colours (lobes, stations, 3) of the dark and the light half; where both are wood; where both lie within the photo."""
    root, left, tip, right = np.moveaxis(np.stack([lobe.kite.corners_in for lobe in lobes]), 1, 0)
    axis = tip - root
    clockwise = right_of(axis / np.linalg.norm(axis, axis=1, keepdims=True))
    foot = root[:, None] + axis[:, None] * ALONG[:, None]
    # A kite is widest about a third of the way out.
    half_width = 0.5 * np.linalg.norm(right - left, axis=1)[:, None] * np.minimum(ALONG / 0.3, (1 - ALONG) / 0.7)
    across = np.minimum(ACROSS_IN, WIDTH_SHARE * half_width[..., None])[..., None] * clockwise[:, None, None]
    colours, shows, in_photo = [], [], []
    reach = light.view.seen.astype(np.float32)
    for places in (foot[:, :, None] + across, foot[:, :, None] - across):
        colours.append(sample(light.channels, light.view, places).mean(axis=2).astype(float))
        shows.append(sample(light.wood, light.view, places).min(axis=2) > 0.99)
        in_photo.append(sample(reach, light.view, places).min(axis=2) > 0.99)
    right_dark = np.array([lobe.dark_side == "cw" for lobe in lobes])[:, None, None]
    dark, bright = np.where(right_dark, *colours), np.where(right_dark, *colours[::-1])
    return dark, bright, shows[0] & shows[1], in_photo[0] & in_photo[1]


def discriminant(inner: Array, outer: Array) -> tuple[Array, float]:
    """Fisher's linear discriminant of paired colours (n, 3): the direction (3,) along which outer less inner is 1, and the distance.

    The jump is the median of the pairs' differences; the spread that of the colours about their medians, with far ones limited.
    """
    jump = median(outer - inner)
    spread = COLOUR_FLOOR**2 * np.eye(3)
    for side in (inner, outer):
        away = side - median(side)
        limit = 3 * median(np.abs(away)) + 1e-6
        away = np.clip(away, -limit, limit)
        spread = spread + away.T @ away / len(away) / 2
    axis = np.asarray(np.linalg.solve(spread, jump), float)
    square = float(axis @ jump)
    return np.asarray(axis / max(square, 1e-9), float), float(np.sqrt(max(square, 0.0)))
