"""Which lobes were moved between two photos, and whether a whole ring was: the fewest motions that explain all differences.

Motions are taken in one after another, always that which chance explains least (forward selection), till chance explains all that is
left; each must hold in the end beside the others. Cards that were laid elsewhere are found in the same way, and then hold nothing. Where
another lobe's motion would explain the same about as well, neither is named: both are then held against the rest alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..basis.frames import Array
from ..basis.uncertain import Estimate
from .laid_over import CARD, EDGES, SEAM, Fitted, Laid

# A lobe (or ring) is named only where it is so likely among all that would explain the differences, each as likely as any other before.
# (Of four lobes, each a little surer than that would do for eight: made-up pairs named another one in 4 of 100 at .95.)
LIKELY = 0.99
# What is left over scatters by more than it's uncertain by where chance brings that about less often: then all is less certain.
BY_CHANCE = 1 / 20
LEAST_HELD = 3  # seams, or cards, hold the field where fewer than half of the lobes lie still
SCATTER = "scatter"

LOBE, RING, CARDS = "lobe", "ring", "cards"
WHOLE = (RING, CARDS)
Key = tuple[str, tuple[int, ...]]  # LOBE, RING, CARD or CARDS, and of lobes their places in the list of pairs, of cards their numbers


@dataclass(frozen=True)
class RingMoved:
    """Lobes that moved all together against the field: a ring or the whole rose, laid anew."""

    lobes: tuple[int, ...]
    turn: Estimate  # rad, clockwise
    shift: tuple[Estimate, Estimate]  # inches along the first photo's x and y, of the middle of all lobes


@dataclass(frozen=True)
class Moved:
    """What moved across its seam. By a lobe's place in the list of pairs."""

    by: Mapping[int, Estimate]  # inches, positive clockwise; of every lobe that could be held against the rest
    real: frozenset[int]  # more than the errors can make of nothing
    alone: frozenset[int]  # of these, lobes that moved by themselves, and not only with their ring
    rings: tuple[RingMoved, ...]


def find_moved(laid: Laid, rings: Mapping[int, int | None], odd: frozenset[int], wrongly: float) -> Moved | None:
    """What moved; None where too little lies still to be held against.

    rings: each lobe's ring; odd: lobes whose point and own seam contradict each other, of which nothing is told; wrongly: how often
    anything at all may be claimed wrongly.
    """
    from scipy.stats import norm

    seen = laid.seen
    lobes = [k for k in _numbers(laid, EDGES) if k not in odd]
    cards = _numbers(laid, CARD)
    candidates: dict[Key, Array] = {(LOBE, (k,)): laid.lobe(k) for k in lobes}
    candidates |= {(RING, key): laid.ring(key) for key in _rings(lobes, rings)}
    candidates |= {(CARD, (card,)): laid.card(card) for card in cards}
    candidates |= {(CARDS, tuple(cards)): laid.all_cards()} if len(cards) > 1 else {}
    level = 1 - (1 - wrongly) ** (1 / max(len(candidates), 1))
    loose = [laid.loose(k) for k in sorted(odd) if k in seen.number[[kind == EDGES for kind in seen.kind]]]
    chosen = _held(laid, candidates, _chosen(laid, candidates, loose, level), loose, level)
    gone = {k for kind, key in chosen for k in key if kind in (LOBE, RING)}
    lifted = {card for kind, key in chosen for card in key if kind in (CARD, CARDS)}
    if len(lobes) - len(gone) < len(lobes) / 2 and max(seen.kind.count(SEAM), len(cards) - len(lifted)) < LEAST_HELD:
        return None
    doubtful = _doubtful(laid, candidates, chosen, loose)
    free = [*chosen, *sorted(doubtful - set(chosen))]
    limit = float(norm.isf(level / 2))
    by, real, alone = {}, set(), set()
    for k in lobes:
        mine = free if (LOBE, (k,)) in free else [*free, (LOBE, (k,))]
        estimate, is_told = _motion(laid, [*loose, *(candidates[key] for key in mine)], _shares(laid, loose, candidates, mine, k))
        if not is_told:
            continue
        by[k] = estimate
        if any(k in key for kind, key in free if kind in (LOBE, RING)) and abs(estimate.value) > limit * estimate.u:
            real.add(k)
            alone |= {k} if (LOBE, (k,)) in free else set()
    told = [key for key in chosen if key[0] == RING and key not in doubtful]
    return Moved(by, frozenset(real), frozenset(alone), tuple(_ring_moved(laid, loose, candidates, free, key) for key in told))


def _numbers(laid: Laid, kind: str) -> list[int]:
    return sorted({int(number) for number, one in zip(laid.seen.number, laid.seen.kind, strict=True) if one == kind})


def _rings(lobes: Sequence[int], rings: Mapping[int, int | None]) -> list[tuple[int, ...]]:
    """Each ring, and the whole rose where it's more than one."""
    each = [tuple(k for k in lobes if rings[k] == ring) for ring in sorted({rings[k] for k in lobes}, key=lambda ring: ring or 0)]
    return [key for key in dict.fromkeys([*each, tuple(lobes)]) if len(key) > 2]


def _chance(laid: Laid, before: Fitted, columns: Sequence[Array], scatter: float = 1.0) -> float:
    """How likely chance makes the last of these motions as large as it is, as a logarithm; 0 where it can't be told from the others."""
    from scipy.stats import chi2

    fit = laid.fitted(columns)
    more = before.freedom - fit.freedom
    if more < columns[-1].shape[1]:
        return 0.0
    return float(chi2.logsf(max(before.against - fit.against, 0.0) / scatter, more))


def _chosen(laid: Laid, candidates: Mapping[Key, Array], loose: list[Array], level: float) -> list[Key]:
    chosen: list[Key] = []
    while len(chosen) < len(candidates):
        now = [*loose, *(candidates[key] for key in chosen)]
        before = laid.fitted(now)
        chances = {key: _chance(laid, before, [*now, columns]) for key, columns in candidates.items() if key not in chosen}
        best = min(chances, key=lambda key: chances[key])
        if chances[best] >= np.log(level):
            break
        chosen.append(best)
    return chosen


def _held(laid: Laid, candidates: Mapping[Key, Array], chosen: list[Key], loose: list[Array], level: float) -> list[Key]:
    """Without those that the others have made needless, or that what is left over could be as well."""
    while chosen:
        scatter = _scatter(laid.fitted([*loose, *(candidates[key] for key in chosen)]))
        chances = {}
        for key in chosen:
            others = [*loose, *(candidates[one] for one in chosen if one != key)]
            chances[key] = _chance(laid, laid.fitted(others), [*others, candidates[key]], scatter)
        worst = max(chances, key=lambda key: chances[key])
        if chances[worst] < np.log(level):
            break
        chosen = [key for key in chosen if key != worst]
    return chosen


def _doubtful(laid: Laid, candidates: Mapping[Key, Array], chosen: list[Key], loose: list[Array]) -> set[Key]:
    """Of lobes and of rings, those of which one can't be told from others that weren't chosen, or from cards; and those others."""
    doubtful: set[Key] = set()
    best = laid.fitted([*loose, *(candidates[key] for key in chosen)])
    scatter = _scatter(best)
    for key in (one for one in chosen if one[0] in (LOBE, RING)):
        rest = [*loose, *(candidates[one] for one in chosen if one != key)]
        rivals = [other for other in candidates if other not in chosen and (other[0] in WHOLE) == (key[0] in WHOLE)]
        against = [laid.fitted([*rest, candidates[other]]).against - best.against for other in rivals]
        odds = {other: float(np.exp(-max(more, 0.0) / (2 * scatter))) for other, more in zip(rivals, against, strict=True)}
        if 1 / (1 + sum(odds.values())) < LIKELY:
            # All that together make the doubt: what is left of it without them is small.
            doubtful |= {key, *(other for other, one in odds.items() if one > (1 - LIKELY) / len(odds))}
    return doubtful


def _scatter(fit: Fitted) -> float:
    """By how much more than it should what is left over scatters, as a variance; 1 where chance would do.

    R. T. Birge, Phys. Rev. 40, 1932 (from memory).
    """
    from scipy.stats import chi2

    if fit.freedom < 1 or fit.against <= float(chi2.isf(BY_CHANCE, fit.freedom)):
        return 1.0
    return max(fit.against / fit.freedom, 1.0)


def _shares(laid: Laid, loose: list[Array], candidates: Mapping[Key, Array], free: Sequence[Key], k: int) -> Array:
    """(p,): of each value of the fit, how much goes into how far a lobe's point has gone across it."""
    row = next(i for i, (number, kind) in enumerate(zip(laid.seen.number, laid.seen.kind, strict=True)) if number == k and kind == EDGES)
    return np.concatenate([np.zeros(3), *(np.zeros(columns.shape[1]) for columns in loose), *(candidates[key][row] for key in free)])


def _motion(laid: Laid, columns: list[Array], shares: Array) -> tuple[Estimate, bool]:
    """A sum of the fit's values, and whether the differences tell it."""
    fit = laid.fitted(columns)
    told = laid.is_told(columns, shares)
    estimate = laid.estimate(fit, shares)
    more = _scatter(fit) - 1
    return (replace(estimate, parts={**estimate.parts, SCATTER: estimate.u * more**0.5}) if more > 0 else estimate), told


def _ring_moved(laid: Laid, loose: list[Array], candidates: Mapping[Key, Array], free: list[Key], key: Key) -> RingMoved:
    columns = [*loose, *(candidates[one] for one in free)]
    before = 3 + sum(one.shape[1] for one in columns[: len(loose) + free.index(key)])
    size = 3 + sum(one.shape[1] for one in columns)
    x, y, turn = (_motion(laid, columns, np.eye(size)[before + k])[0] for k in range(3))
    return RingMoved(key[1], turn, (x, y))
