"""One photo of a fit laid over another by all that lies still: the field's seams, the cards, and the lobes that nobody moved.

Where a tip, an own seam, a field seam and a card lie is known in either photo's plane. Between two photos of an untouched fit all of
these differ by one rigid motion of the plane and by their errors. What camera, print and veneer do to all places of a photo is known,
sign and all, and so part of the covariance of all these differences together (generalised least squares: Aitken, Proc. R. Soc.
Edinburgh 55, 1935). A lobe that was moved is one unknown more: tip and own seam have gone by so much across it, and the rest has not; a
card that was laid elsewhere is two, a ring that was laid anew three. So a lobe's motion is held against everything that lies still, and
not only against its own field seam.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..basis.frames import Array, right_of, unit_of_bearing
from ..basis.uncertain import Estimate
from ..measure.tips import SAME_IN_EVERY_PHOTO
from ..result import Scale, Tip
from .numbers import shared_shifts, source_names

EDGES, OWN_SEAM, SEAM, CARD = "edges", "own seam", "seam", "card"
LINES = tuple(name + part for name in (EDGES, OWN_SEAM, SEAM) for part in ("", " model"))
# Rows farther from the common motion than so many times the median, or than this (inches), don't make the rough one.
ROUGH_TIMES, ROUGH_IN = 3.0, 0.002
# How well a card's middle keeps its place in a photo where nobody touches it, along either axis, inches: paper stands off the top by a
# hundredth here and there, and is seen at a slant (common practice, no source). It counts as so many of the cards' own differences.
U_CARD_LIES_IN, CARDS_SAY = 0.002, 4
CARD_KICKED = 0.01  # cards that differ by more than chance makes them so often: one was touched
RANK = 1e-6  # motions that differ by less than this share do the same to all differences


@dataclass(frozen=True)
class Differences:
    """How far each tip, own seam and field seam lies elsewhere across its lobe, and each card, in the later photo.

    Inches, in the first photo's frame.
    """

    kind: tuple[str, ...]  # (m,) EDGES (the tip), OWN_SEAM, SEAM or CARD
    number: Array  # (m,) whose row it is: the lobe's place in the list of pairs, or the card's number
    way: Array  # (m, 2) along which it's told
    by_in: Array  # (m,) positive clockwise; the rough motion of all is taken out
    rigid: Array  # (m, 3): what a shift of the plane along x and along y, and a clockwise turn about the rose's middle, do to each
    own_var: Array  # (m,) of the row's own line
    sources: tuple[str, ...]  # (s,) of what moves many rows together
    shared: Array  # (m, s) one standard uncertainty of each
    middle_in: Array  # (2,) what the turn is about

    def of(self, rows: Array) -> Differences:
        """Only these rows, (m,) true or false."""
        return Differences(
            tuple(kind for kind, kept in zip(self.kind, rows, strict=True) if kept),
            self.number[rows],
            self.way[rows],
            self.by_in[rows],
            self.rigid[rows],
            self.own_var[rows],
            self.sources,
            self.shared[rows],
            self.middle_in,
        )

    @property
    def cov(self) -> Array:
        return np.asarray(np.diag(self.own_var) + self.shared @ self.shared.T)


@dataclass(frozen=True)
class _Row:
    kind: str
    number: int
    way: Array  # (2,)
    by_in: float
    rigid: Array  # (3,)
    own_var: float
    together: dict[tuple[str, str], Array]  # by source and photo


def differences(
    pairs: Sequence[tuple[Tip, Tip]], scales: tuple[Scale, Scale], apart: Callable[[str, float, float], float]
) -> Differences | None:
    """Of the lobes whose places both photos know, first and later, and of their cards; None where fewer than three lobes are.

    apart: of a source's standard uncertainties in either photo, what is left in the difference.
    """
    placed = [(k, *pair, pair[0].place, pair[1].place) for k, pair in enumerate(pairs)]
    known = [(k, old, new, was, now) for k, old, new, was, now in placed if was is not None and now is not None]
    if len(known) < 3:
        return None
    there, here = np.array([was.at_in for *_, was, _ in known]), np.array([now.at_in for *_, now in known])
    turn, shift = _rough(here, there)
    middle = there.mean(axis=0)
    rows = []
    for (k, old, new, was, now), at in zip(known, here @ turn.T + shift, strict=True):
        across = right_of(unit_of_bearing(np.array(was.bearing)))
        by = float((at - was.at_in) @ across)
        rigid = _rigid(was.at_in - middle, across)
        before = {source: moves @ across for source, moves in was.moves.items()}
        after = {source: moves @ turn.T @ across for source, moves in now.moves.items()}
        together = _together(before, after)
        edges = sum(apart(name, _size(before, name), _size(after, name)) ** 2 for name in LINES if name in before or name in after)
        rows.append(_Row(EDGES, k, across, by, rigid, edges, together))
        for kind, first, later in ((OWN_SEAM, old.own_seam_offset, new.own_seam_offset), (SEAM, old.seam_offset, new.seam_offset)):
            if first is not None and later is not None:
                var, line = _line(first, later, apart)
                less = {key: effect - line.get(key, 0.0) for key, effect in together.items()}
                rows.append(_Row(kind, k, across, by - (later.value - first.value), rigid, var, less))
    rows += _card_rows(scales, turn, shift, middle)
    widths: dict[tuple[str, str], int] = {}
    for row in rows:
        widths |= {key: len(effect) for key, effect in row.together.items()}
    shared = np.array([np.concatenate([row.together.get(key, np.zeros(width)) for key, width in widths.items()]) for row in rows])
    seen = Differences(
        tuple(row.kind for row in rows),
        np.array([row.number for row in rows]),
        np.array([row.way for row in rows]),
        np.array([row.by_in for row in rows]),
        np.array([row.rigid for row in rows]),
        np.array([row.own_var for row in rows]),
        tuple(source for (source, _), width in widths.items() for _ in range(width)),
        shared,
        middle,
    )
    return _with_cards_heard(seen)


def _card_rows(scales: tuple[Scale, Scale], turn: Array, shift: Array, middle: Array) -> list[_Row]:
    """Of each card that both photos show: along x and along y."""
    first, later = scales
    rows = []
    for card in sorted(set(first.card_moves) & set(later.card_moves)):
        was, now = first.card_places_in[card], later.card_places_in[card]
        for way in np.eye(2):
            before = {source: moves @ way for source, moves in first.card_moves[card].items()}
            after = {source: moves @ turn.T @ way for source, moves in later.card_moves[card].items()}
            by = float((turn @ now + shift - was) @ way)
            rows.append(_Row(CARD, card, way, by, _rigid(was - middle, way), 2 * U_CARD_LIES_IN**2, _together(before, after)))
    return rows


def _with_cards_heard(seen: Differences) -> Differences:
    """The same without cards that were laid elsewhere, as far as the others say so; all of them where fewer than half agree, or but one.

    What is supposed of the others' own variance counts as CARDS_SAY differences beside theirs, and is made smaller where they bear it out.
    """
    from scipy.stats import chi2

    laid = Laid(seen)
    is_card = np.array([kind == CARD for kind in seen.kind])
    agree = sorted({int(number) for number in seen.number[is_card]})
    least = max(len(agree) / 2, 2)
    rest = np.eye(len(seen.kind))[:, ~is_card]  # lobes and seams say nothing here
    gone: list[int] = []
    while len(agree) >= least:
        fit = laid.fitted([rest, *(laid.card(card) for card in gone)])
        if fit.against <= float(chi2.isf(CARD_KICKED, max(fit.freedom, 1))):
            share = (CARDS_SAY + fit.against) / (CARDS_SAY + fit.freedom)
            return replace(seen, own_var=np.where(is_card, min(share, 1.0), 1.0) * seen.own_var).of(~is_card | np.isin(seen.number, agree))
        left = {card: laid.fitted([rest, *(laid.card(one) for one in (*gone, card))]).against for card in agree}
        gone.append(min(left, key=lambda card: left[card]))
        agree.remove(gone[-1])
    return seen.of(~is_card)


def _rigid(from_middle: Array, way: Array) -> Array:
    """(3,): what a shift along x and along y, and a clockwise turn, do to a place along a way."""
    return np.array([*way, right_of(from_middle) @ way])


def _size(moves: dict[str, Array], source: str) -> float:
    return float(np.linalg.norm(moves.get(source, np.zeros(1))))


def _together(before: dict[str, Array], after: dict[str, Array]) -> dict[tuple[str, str], Array]:
    """By source and photo: what one standard uncertainty of each unknown of the whole photo does to a place's difference."""
    effects = {}
    for source in dict.fromkeys([*before, *after]):
        if source in LINES:
            continue
        was, now = (one.get(source, np.zeros(0)) for one in (before, after))
        if source in SAME_IN_EVERY_PHOTO and (len(was) == len(now) or not len(was) or not len(now)):
            effects[source, "both"] = (now if len(now) else 0.0) - (was if len(was) else 0.0)
        else:
            effects |= {(source, photo): way * one for photo, way, one in (("first", -1, was), ("later", 1, now)) if len(one)}
    return {key: np.atleast_1d(effect) for key, effect in effects.items()}


def _line(first: Estimate, later: Estimate, apart: Callable[[str, float, float], float]) -> tuple[float, dict[tuple[str, str], Array]]:
    """What makes the difference of two offsets uncertain besides the tip: (variance, what is one unknown in both photos).

    What camera and lens do to an offset has no sign here; it is small, and taken to be each line's own.
    """
    var, signed = 0.0, {}
    for name in source_names([first, later]):
        shifts = shared_shifts([first, later], name)
        if shifts is not None:
            signed[name, "both"] = shifts[1] - shifts[0]
        elif not name.startswith(EDGES):
            var += apart(name, first.parts.get(name, 0.0), later.parts.get(name, 0.0)) ** 2
    return var, signed


def _rough(points: Array, onto: Array) -> tuple[Array, Array]:
    """The turn (2, 2) and the shift that lay most points (n, 2) on others."""
    from .match import rigid_motion

    kept = np.ones(len(points), bool)
    for _ in range(6):
        turn, shift = rigid_motion(points[kept], onto[kept])
        away = np.hypot(*(points @ turn.T + shift - onto).T)
        new = away <= max(ROUGH_TIMES * float(np.median(away)), ROUGH_IN)
        if new.sum() < 3 or (new == kept).all():
            break
        kept = new
    return turn, shift


@dataclass(frozen=True)
class Fitted:
    """A set of motions, fitted to all differences together."""

    values: Array  # (p,) the plane's rigid motion first (3), then the motions'
    weights: Array  # (p, m): values = weights @ differences
    cov: Array  # (p, p)
    against: float  # chi-squared
    freedom: int


class Laid:
    """All differences, whitened once, and how motions fit them."""

    def __init__(self, seen: Differences) -> None:
        self.seen = seen
        scale = np.sqrt(np.diag(seen.cov))
        self._whiten = np.linalg.inv(np.linalg.cholesky(seen.cov / np.outer(scale, scale))) / scale
        self._by = self._whiten @ seen.by_in

    def fitted(self, motions: Sequence[Array]) -> Fitted:
        """motions: each (m, d), what a unit of it does to every row."""
        design = self._whiten @ np.column_stack([self.seen.rigid, *motions])
        size = np.linalg.norm(design, axis=0)
        inverse = np.linalg.pinv(design / size, rcond=RANK) / size[:, None]
        left = self._by - design @ (inverse @ self._by)
        rank = int(np.linalg.matrix_rank(design / size, rtol=RANK))
        return Fitted(inverse @ self._by, inverse @ self._whiten, inverse @ inverse.T, float(left @ left), len(left) - rank)

    def is_told(self, motions: Sequence[Array], of: Array) -> bool:
        """Whether the differences tell a sum of the fit's values, (p,) shares: no motion that leaves them all as they are changes it."""
        design = self._whiten @ np.column_stack([self.seen.rigid, *motions])
        size = np.linalg.norm(design, axis=0)
        _, values, ways = np.linalg.svd(design / size)
        unseen = ways[np.count_nonzero(values > RANK * values[0]) :]
        return bool(np.all(np.abs(unseen @ (of / size)) < 1e-6 * np.linalg.norm(of / size)))

    def lobe(self, k: int) -> Array:
        """(m, 1): a lobe's point going across it by an inch, its own seam with it."""
        return self._rows((EDGES, OWN_SEAM), (k,)).astype(float)[:, None]

    def loose(self, k: int) -> Array:
        """(m, 2): a lobe's point and its own seam going each by itself."""
        return np.column_stack([self._rows((kind,), (k,)) for kind in (EDGES, OWN_SEAM)]).astype(float)

    def card(self, card: int) -> Array:
        """(m, 2): a card laid elsewhere, by an inch along x and along y."""
        return self.seen.way * self._rows((CARD,), (card,))[:, None]

    def ring(self, lobes: Sequence[int]) -> Array:
        """(m, 3): lobes together shifted by an inch along x and along y, and turned clockwise by a radian, the field left where it is."""
        return self.seen.rigid * self._rows((EDGES, OWN_SEAM), lobes)[:, None]

    def all_cards(self) -> Array:
        """(m, 3): the same of all cards together."""
        return self.seen.rigid * np.array([kind == CARD for kind in self.seen.kind])[:, None]

    def _rows(self, kinds: tuple[str, ...], numbers: Sequence[int]) -> Array:
        return np.array([kind in kinds for kind in self.seen.kind]) & np.isin(self.seen.number, numbers)

    def estimate(self, fit: Fitted, of: Array) -> Estimate:
        """A sum of the fit's values, (p,) shares, with its parts."""
        weights = of @ fit.weights
        parts: dict[str, float] = {}
        for source, effect in zip(self.seen.sources, weights @ self.seen.shared, strict=True):
            parts[source] = float(np.hypot(parts.get(source, 0.0), effect))
        for kind in (EDGES, OWN_SEAM, SEAM, CARD):
            mine = np.array([one == kind for one in self.seen.kind])
            parts[kind] = float(np.sqrt(np.sum(weights[mine] ** 2 * self.seen.own_var[mine])))
        return Estimate(float(of @ fit.values), parts)
