"""Which lobe of one photo is which of another, however the phone was turned in between.

Tips and cards have places on the plane, the same in every photo but for a turn and a shift. A rose fits itself in as many turns as it
has points, so what tells one turn from the next are the cards, where they still lie as they lay, and the lobes' own numbers.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from ..basis.errors import NotOneFit, WhichPointIsWhich
from ..basis.frames import Array
from ..basis.uncertain import Estimate
from ..result import Inspection, Tip

# How well tips' and cards' places are repeated from photo to photo, inches: their uncertainties, and an unread print's scale.
U_PLACE_IN = 0.03
# A lobe that lies farther than this from where it lay is another one.
FARTHEST_IN = 0.4
# What one place or number may speak against a match: a lobe or a card may have been moved.
MOST_AGAINST = 25.0
# By how much the best match must beat the next, in chi-squared: odds of some 10,000 to 1.
CLEARLY = 18.0
ANCHORS = 3  # pairs of tips from which turns are proposed
LEAST_MATCHED = 0.6  # of the lobes of the photo that shows fewer


@dataclass(frozen=True)
class _Match:
    pairs: tuple[tuple[int, int], ...]  # (index in the other photo, index in the first)
    against: float


def match(first: Inspection, other: Inspection) -> dict[int, int]:
    """The first photo's number of each lobe of the other that has its like there.

    Raises NotOneFit, or WhichPointIsWhich where two answers are about as good.
    """
    found = sorted(_matches(first, other), key=lambda one: one.against) if first.tips and other.tips else []
    least = LEAST_MATCHED * min(len(first.tips), len(other.tips))
    if not found or len(found[0].pairs) < max(least, 1) or first.stage is not other.stage:
        raise NotOneFit(photo=other.photo_name, first=first.photo_name)
    best = found[0]
    mine = dict(best.pairs)
    rival = next((one for one in found if any(mine.get(k, i) != i for k, i in one.pairs)), None)
    if rival is not None and rival.against - best.against < CLEARLY:
        raise WhichPointIsWhich(photo=other.photo_name, first=first.photo_name)
    return {other.tips[k].lobe: first.tips[i].lobe for k, i in best.pairs}


def _matches(first: Inspection, other: Inspection) -> Iterator[_Match]:
    there, here = _places(first), _places(other)
    allowed = np.array([[a.ring == b.ring for b in first.tips] for a in other.tips], bool)
    number = np.array([[_numbers_against(a, b) for b in first.tips] for a in other.tips])
    for turn, shift in _moves(first, other, there, here):
        pairs = _nearest(here @ turn.T + shift, there, allowed)
        if not pairs:
            continue
        if len(pairs) > 1:  # again, by all of them
            turn, shift = rigid_motion(here[[k for k, _ in pairs]], there[[i for _, i in pairs]])
            pairs = _nearest(here @ turn.T + shift, there, allowed)
        moved = here @ turn.T + shift
        against = sum(_capped(float(np.sum((moved[k] - there[i]) ** 2)) / (2 * U_PLACE_IN**2)) + number[k, i] for k, i in pairs)
        against += MOST_AGAINST * (min(len(here), len(there)) - len(pairs))
        against += _cards_against(first.scale.card_places_in, other.scale.card_places_in, turn, shift)
        yield _Match(tuple(pairs), against)


def _places(inspection: Inspection) -> Array:
    return np.array([np.full(2, np.nan) if tip.place_in is None else tip.place_in for tip in inspection.tips]).reshape(-1, 2)


def _moves(first: Inspection, other: Inspection, there: Array, here: Array) -> Iterator[tuple[Array, Array]]:
    """(turn (2, 2), shift (2,)) that lay two tips of the other photo on two of the first, or all its cards."""
    common = sorted(set(first.scale.card_places_in) & set(other.scale.card_places_in))
    if len(common) > 1:
        yield rigid_motion(*(np.array([one.scale.card_places_in[card] for card in common]) for one in (other, first)))
    if len(there) == 1 and len(here) == 1:
        yield np.eye(2), there[0] - here[0]
    placed = np.flatnonzero(np.isfinite(there).all(axis=1))
    for i in placed[:ANCHORS] if len(placed) > 1 else ():
        j = int(placed[np.argmax(np.sum((there[placed] - there[i]) ** 2, axis=1))])
        length = float(np.linalg.norm(there[j] - there[i]))
        for k, m in permutations(range(len(here)), 2):
            rings = other.tips[k].ring == first.tips[i].ring and other.tips[m].ring == first.tips[j].ring
            if rings and abs(float(np.linalg.norm(here[m] - here[k])) - length) < FARTHEST_IN:
                yield rigid_motion(here[[k, m]], there[[i, j]])


def rigid_motion(points: Array, onto: Array) -> tuple[Array, Array]:
    """The turn and the shift that lay points (n, 2) best on others (W. Kabsch, Acta Cryst. A32, 1976)."""
    middle, target = points.mean(axis=0), onto.mean(axis=0)
    u, _, vt = np.linalg.svd((points - middle).T @ (onto - target))
    turn = vt.T @ np.diag([1.0, np.sign(np.linalg.det(vt.T @ u.T)) or 1.0]) @ u.T
    return turn, target - turn @ middle


def _nearest(moved: Array, there: Array, allowed: Array) -> list[tuple[int, int]]:
    """(index in moved, index there) of those that are nearest to each other, and near enough."""
    apart = np.linalg.norm(moved[:, None] - there[None], axis=-1)
    # A tip without a place is near to none: argmin would take what isn't a number for the least.
    apart = np.where(allowed & np.isfinite(apart), apart, np.inf)
    pairs = [(k, int(np.argmin(apart[k]))) for k in range(len(moved)) if np.isfinite(apart[k]).any()]
    return [(k, i) for k, i in pairs if apart[k, i] < FARTHEST_IN and int(np.argmin(apart[:, i])) == k]


def _capped(chi2: float) -> float:
    return min(chi2, MOST_AGAINST)


def _numbers_against(a: Tip, b: Tip) -> float:
    against = sum(_apart(x, y) for x, y in ((a.seam_offset, b.seam_offset), (a.own_seam_offset, b.own_seam_offset)))
    return against + (MOST_AGAINST if None not in (a.dark_side, b.dark_side) and a.dark_side != b.dark_side else 0.0)


def _apart(a: Estimate | None, b: Estimate | None) -> float:
    return 0.0 if a is None or b is None else _capped((a.value - b.value) ** 2 / max(a.u**2 + b.u**2, 1e-12))


def _cards_against(there: Mapping[int, Array], here: Mapping[int, Array], turn: Array, shift: Array) -> float:
    common = set(there) & set(here)
    return sum(_capped(float(np.sum((turn @ here[card] + shift - there[card]) ** 2)) / (2 * U_PLACE_IN**2)) for card in common)
