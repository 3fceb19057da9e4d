"""The camera over the plane: from the cards that agree with each other, under suppositions that agree with the cards.

First everything is supposed to be as it should be: flat cards from one sheet, bars read rightly, a whole photo. Where the cards
then miss by more than their saddles' own noise, or can only be had by straining what is supposed, the explanation that costs
least is taken: the photo was cropped, zoomed or taken by an uncorrected lens; the readings don't suit the cards; some cards are
curled, lifted or from another sheet. What none of them explains is no photo of flat cards on one plane.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..basis.frames import Array
from ..cards.detect import SeenCard
from ..cards.geometry import PAPER_THICKNESS_IN
from ..cards.print_check import PrintScale
from .adjust import Adjustment, Supposed, huber_weight
from .camera import Camera
from .spread import camera_moves, relative_spread, variants

# No saddle is known better than so, however well this photo's residuals agree, px.
SADDLE_FLOOR_PX = 0.03
# Median distance over standard deviation along one axis, of a normal scatter in two (square root of 2 ln 2).
MEDIAN_DISTANCE = 1.1774
# A card's saddles may miss by so many times the noise that all cards show one by one, and by so much in any case (px): rendered
# cards lying flat reach 2.0 times and .1 px.
MOST_STRAIN, STRAIN_FLOOR_PX = 2.5, 0.085
# Saddles of flat cards scatter by less than this however soft the photo (px; .09 measured at 67 px/in in a messaging app's copy):
# more is the cards' bend or the photo's, and no excuse for it.
MOST_NOISE_PX = 0.1
# What is supposed may be strained so far: chi-squared of the camera's eight priors, at about 1 in 400, and of the print's two, at
# 1 in 1,000.
MOST_PULL_CAMERA, MOST_PULL_PRINT = 24.0, 14.0
# What an explanation costs, beside what it leaves unexplained: as much as ten saddles that fit.
COST_OF_EXPLANATION = 20.0
# So many cards are tried, of those that miss most, when one is to be left out.
WORST_CARDS = 4
# A lens can be made to explain whatever three cards show.
LEAST_TO_FREE_CAMERA = 4
# Fewer cards can't be parted into two sheets.
LEAST_TO_TELL_SHEETS = 4
# So many solves are made at most: a twentieth of a second each.
MOST_TRIALS = 24
# Readings that don't suit the cards, and prints that are stretched: how far the print may then be off.
U_PRINT_DOUBTED = 0.02
# A card differs from the others' scale by so much before it counts as from another sheet and not as curled: humidity and hands
# move paper by less (common practice, no source); and its shape then misses by no more than this share of what it did.
LEAST_SCALE_DIFFERENCE, SHAPE_SHARE = 0.002, 0.35
# From this share of the cards on, those of another sheet may be the ones whose bars were read.
DOUBTFUL_SHARE = 0.3
# Misses that belong to a card, not to a saddle, are common to about so many of its numbers (24 numbers, six ways to be bent).
COMMON_NUMBERS = 4.0
# Cards that miss by more than this (px) with no explanation, or of which so large a share isn't flat, are no fault of a card's own.
HOPELESS_PX, HOPELESS_SHARE = 0.25, 0.5


@dataclass(frozen=True)
class PlaneSolve:
    """The camera over the plane, and how well it is known."""

    camera: Camera
    variants: tuple[tuple[str, Camera], ...]  # (source, camera): each one standard uncertainty away along one independent direction
    cards: tuple[int, ...]  # numbers of the cards that were used
    faulty: tuple[int, ...]  # left out: curled, creased or lifted
    other_scale: tuple[tuple[int, float], ...]  # left out: (number, scale over that of the cards used)
    rms_px: float
    outlines_in: Array  # (n, 4, 2): every card's outline on the plane, those left out too
    u_scale: float  # standard uncertainty of lengths, relative
    looks_cropped: bool  # or zoomed, or taken by a wide lens, though nothing had said so: the camera is known by the cards alone
    print_suits: bool  # False: the bars' readings, or usual printing, don't suit the cards
    sheet_doubtful: bool  # whether the bars may have been those of the sheet that was left out
    strained: bool  # the cards miss by more than their noise, or what is supposed is strained, and nothing explains it
    hopeless: bool  # no camera over flat cards makes such a photo
    # What the answer was made from, for asking what another card or a closer photo would do to it (plane/what_if.py).
    problem: Adjustment
    unknowns: Array  # in the problem's order
    weight: Array  # (n,) of each saddle, robust, over its variance, 1/px2

    @property
    def card_places_in(self) -> dict[int, Array]:
        """(2,): the middle of each card that was used."""
        return {card: outline.mean(axis=0) for card, outline in zip(self.cards, self.outlines_in, strict=False)}


def solve_plane(
    cards: Sequence[SeenCard], size_px: tuple[int, int], focal_px: float | None, print_scale: PrintScale, is_whole: bool = True
) -> PlaneSolve:
    """Solve from one or more cards. size_px: (width, height); focal_px from EXIF, or None; is_whole: nothing says it was cropped."""
    first = _Trial(tuple(cards), (), Supposed(size_px, focal_px, is_whole, print_scale), print_scale)
    return _result(first if first.agrees else _explained(first))


def _explained(first: _Trial) -> _Trial:
    """The cheapest explanation under which the cards agree, or the cheapest of all.

    Best first: whatever costs least so far is looked at next, and if it doesn't agree, tried again without each of the cards
    that miss most. At least half the cards must stay, or anything could be made of them.
    """
    noise_px = first.noise_px
    enough_cards = len(first.cards) >= LEAST_TO_FREE_CAMERA
    freed = [first, first.with_camera_free()] if first.supposed.is_whole and enough_cards else [first]
    waiting = [*freed, *(trial.with_print_doubted() for trial in freed)]
    waiting += [trial.without_cards(group) for trial in freed for group in _of_another_sheet(trial)]
    if len(first.cards) > 1:
        waiting += [first.without(int(k)) for k in np.argsort(-first.misfits(noise_px))[:WORST_CARDS]]
    seen = list(waiting)
    while waiting and len(seen) < MOST_TRIALS:
        trial = min(waiting, key=lambda one: one.cost(noise_px))
        if trial.agrees:
            return trial
        waiting.remove(trial)
        if len(trial.cards) > (len(first.cards) + 1) // 2:
            for k in np.argsort(-trial.misfits(noise_px))[:WORST_CARDS]:
                if not any(trial.is_without(trial.cards[k], other) for other in seen):
                    waiting.append(trial.without(int(k)))
                    seen.append(waiting[-1])
    return min(seen, key=lambda one: (not one.agrees, one.cost(noise_px)))


def _of_another_sheet(trial: _Trial) -> list[set[int]]:
    """Numbers of the cards that may be another sheet's, by the scales that they have when each may have its own.

    The cards are parted where their scales lie farthest apart; of two groups alike in number either may be the other sheet's.
    """
    if len(trial.cards) < LEAST_TO_TELL_SHEETS:
        return []
    adjustment = Adjustment(trial.cards, trial.supposed, sheets_differ=True)
    scales = adjustment.scales(adjustment.solve()[0])
    order = np.argsort(scales)
    steps = np.diff(scales[order])
    if steps.max() < LEAST_SCALE_DIFFERENCE:
        return []
    split = int(np.argmax(steps)) + 1
    groups = [{trial.cards[k].number for k in part} for part in (order[:split], order[split:])]
    return [group for group in groups if 2 * len(group) <= len(trial.cards)]


@dataclass(frozen=True)
class _Trial:
    """One way to explain the photo."""

    cards: tuple[SeenCard, ...]
    left_out: tuple[SeenCard, ...]
    supposed: Supposed
    told: PrintScale  # as it was before it was doubted
    frees_camera: bool = False
    doubts_print: bool = False

    @cached_property
    def adjustment(self) -> Adjustment:
        return Adjustment(self.cards, self.supposed)

    @cached_property
    def _solved(self) -> tuple[Array, list[Array]]:
        return self.adjustment.solve()

    @property
    def unknowns(self) -> Array:
        return self._solved[0]

    @property
    def residual_px(self) -> list[Array]:
        return self._solved[1]

    @cached_property
    def camera(self) -> Camera:
        return self.adjustment.camera(self.unknowns)

    @cached_property
    def noise_px(self) -> float:
        """Standard deviation of saddles along one axis, by how each card agrees with itself: the middle of all cards."""
        each = sorted(_own_noise(self.camera, card) for card in (*self.cards, *self.left_out))
        return max(SADDLE_FLOOR_PX, each[(len(each) - 1) // 2])

    @cached_property
    def miss_px(self) -> Array:
        """(n,) standard deviation of each card's misses along one axis, odd saddles left aside."""
        return np.array([np.sqrt(np.median(np.sum(r**2, axis=1))) for r in self.residual_px]) / MEDIAN_DISTANCE

    @cached_property
    def pulls(self) -> Array:
        """(14,) how many standard deviations each shared unknown lies from what was supposed."""
        return (self.unknowns[: len(self.adjustment.prior)] - self.adjustment.prior) / self.adjustment.u_prior

    @property
    def print_pull(self) -> float:
        return float(np.sum(self.pulls[11:13] ** 2))

    @property
    def agrees(self) -> bool:
        """Whether what is left over looks like noise, and what was supposed isn't strained."""
        flat = self.miss_px.max() <= max(STRAIN_FLOOR_PX, MOST_STRAIN * min(self.noise_px, MOST_NOISE_PX))
        return bool(flat and np.sum(self.pulls[:8] ** 2) <= MOST_PULL_CAMERA and self.print_pull <= MOST_PULL_PRINT)

    @property
    def explained(self) -> int:
        """How many explanations this one takes."""
        return len(self.left_out) + self.doubts_print + self.frees_camera

    def misfits(self, noise_px: float) -> Array:
        """(n,) each card's misses over noise, squared and summed, from three on growing only linearly."""
        norms = [np.linalg.norm(r, axis=1) / noise_px for r in self.residual_px]
        return np.array([np.where(norm < 3, norm**2, 6 * norm - 9).sum() for norm in norms])

    def cost(self, noise_px: float) -> float:
        """Misses over noise and priors over their width, squared; a card that is left out costs what it would if it fitted."""
        absent = sum(card.saddles_px.size for card in self.left_out)
        return float(self.misfits(noise_px).sum() + np.sum(self.pulls**2)) + absent + COST_OF_EXPLANATION * self.explained

    def without(self, k: int) -> _Trial:
        rest = self.cards[:k] + self.cards[k + 1 :]
        return replace(self, cards=rest, left_out=(*self.left_out, self.cards[k]))

    def without_cards(self, numbers: set[int]) -> _Trial:
        rest = tuple(card for card in self.cards if card.number not in numbers)
        return replace(self, cards=rest, left_out=tuple(card for card in self.cards if card.number in numbers))

    def is_without(self, card: SeenCard, other: _Trial) -> bool:
        """Whether `other` is this one without that card."""
        same = other.frees_camera == self.frees_camera and other.doubts_print == self.doubts_print
        return same and {c.number for c in other.left_out} == {c.number for c in (*self.left_out, card)}

    def with_camera_free(self) -> _Trial:
        return replace(self, supposed=replace(self.supposed, is_whole=False), frees_camera=True)

    def with_print_doubted(self) -> _Trial:
        doubted = replace(self.told, u_across=U_PRINT_DOUBTED, u_along=U_PRINT_DOUBTED)
        return replace(self, supposed=replace(self.supposed, print_scale=doubted), doubts_print=True)


def _result(best: _Trial) -> PlaneSolve:
    faulty, other_scale = [], []
    for card in best.left_out:
        scale = _scale_of(best, card)
        if scale is None:
            faulty.append(card.number)
        else:
            other_scale.append((card.number, scale))
    total = len(best.cards) + len(best.left_out)
    share = len(other_scale) / total
    if share >= DOUBTFUL_SHARE:
        best = _with_sheet_doubted(best, share * float(np.mean([(scale - 1) ** 2 for _, scale in other_scale])))
    unknowns, problem = best.unknowns, best.adjustment
    residual = np.concatenate(best.residual_px)
    weight = huber_weight(np.linalg.norm(residual, axis=1))
    freedom = max(2 * weight.sum() - 3 * len(best.cards) - 6, 4.0)
    square = float(np.sum(weight[:, None] * residual**2) / freedom)
    # What the cards miss by beyond their own noise isn't independent from saddle to saddle.
    square += (COMMON_NUMBERS - 1) * max(square - best.noise_px**2, 0.0)
    sigma = max(SADDLE_FLOOR_PX, float(np.sqrt(square)))
    jacobian = problem.jacobian(unknowns)
    saddles = jacobian.T @ (jacobian * np.repeat(weight / sigma**2, 2)[:, None])
    camera = best.camera
    hopeless = _is_hopeless(best, len(faulty))
    moved = () if hopeless else variants(camera_moves(saddles, problem.u_prior), unknowns, problem.camera, problem.size_px)
    if any(not np.isfinite(variant.plane_from_px(problem.seen)).all() for _, variant in moved):
        hopeless, moved = True, ()  # so little is known of the lens that it may fold over itself
    u_scale = relative_spread(camera, [variant for _, variant in moved], problem.size_px)
    return PlaneSolve(
        camera,
        moved,
        tuple(card.number for card in best.cards),
        tuple(sorted(faulty)),
        tuple(sorted(other_scale)),
        float(np.sqrt(np.sum(weight[:, None] * residual**2) / (2 * weight.sum()))),
        np.array([_outline(camera, card) for card in (*best.cards, *best.left_out)]),
        u_scale,
        best.frees_camera,
        not best.doubts_print,
        share >= DOUBTFUL_SHARE,
        not best.agrees,
        hopeless,
        problem,
        unknowns,
        weight / sigma**2,
    )


def _is_hopeless(best: _Trial, bent: int) -> bool:
    total = len(best.cards) + len(best.left_out)
    if total == 1:
        return not best.agrees
    return (not best.agrees and best.miss_px.max() > HOPELESS_PX) or (bent > 1 and bent >= HOPELESS_SHARE * total)


def _with_sheet_doubted(best: _Trial, square: float) -> _Trial:
    """The same, with the print uncertain by the square root of this too (relative)."""
    scale = best.supposed.print_scale
    wider = replace(scale, u_across=float(np.hypot(scale.u_across, square**0.5)), u_along=float(np.hypot(scale.u_along, square**0.5)))
    return replace(best, supposed=replace(best.supposed, print_scale=wider))


def _own_noise(camera: Camera, card: SeenCard) -> float:
    """Standard deviation along one axis (px) of a card's saddles about the homography that suits them best.

    On the plane, so that the lens, which no homography has, is taken out first.
    """
    import cv2

    seen = camera.plane_from_px(card.saddles_px, PAPER_THICKNESS_IN)
    matrix, _ = cv2.findHomography(card.saddles_in, seen, 0)
    if matrix is None:
        return float("inf")
    mapped = cv2.perspectiveTransform(card.saddles_in[:, None], matrix)[:, 0]
    numbers = 2 * len(seen)
    lost = numbers / max(numbers - 8, 2)  # to the homography's eight unknowns
    miss_in = np.sqrt(np.median(np.sum((mapped - seen) ** 2, axis=1)) * lost) / MEDIAN_DISTANCE
    return float(miss_in * camera.px_per_in_at(seen.mean(axis=0)))


def _scale_of(best: _Trial, card: SeenCard) -> float | None:
    """A left-out card's scale over the others', where nothing but scale is wrong with it; None for one that isn't flat."""
    seen = best.camera.plane_from_px(card.saddles_px, PAPER_THICKNESS_IN)
    drawn = card.saddles_in * best.unknowns[11:13]
    seen_from_mean, drawn_from_mean = seen - seen.mean(axis=0), drawn - drawn.mean(axis=0)
    u, sizes, v = np.linalg.svd(drawn_from_mean.T @ seen_from_mean)
    turn = u @ v
    scale = float(sizes.sum() / np.sum(drawn_from_mean**2))
    as_drawn = np.sum((drawn_from_mean @ turn - seen_from_mean) ** 2)
    scaled = np.sum((scale * drawn_from_mean @ turn - seen_from_mean) ** 2)
    return scale if abs(scale - 1) > LEAST_SCALE_DIFFERENCE and scaled < SHAPE_SHARE**2 * as_drawn else None


def _outline(camera: Camera, card: SeenCard) -> Array:
    return camera.plane_from_px(card.outline_px, PAPER_THICKNESS_IN)
