"""What a person can do to make a number surer, and how much surer it would become: worked out, not guessed.

Each action is taken by itself: the lines, the camera's spread and the veneer are made as they would be after it, and the
number's uncertainty is propagated again by the same code. Where an action's success can't be known beforehand (light, a wiped
seam), the photo's own clearest quarter says what it would bring; where there are two answers, the one that promises less.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.language import say
from ..basis.lines import Line, crossing
from ..basis.uncertain import COVERAGE_95, Estimate
from ..basis.units import lengths
from ..basis.veneer import U_VENEER_IN, U_VENEER_TOLD_IN
from ..cards.geometry import CARD_HEIGHT_IN, CARD_WIDTH_IN, outline_in
from ..cards.print_check import print_scale
from ..measure.tips import FIELD_SEAM, Lines, Sight, TipNumbers, centre_of, tip_numbers
from ..plane.camera import Camera
from ..plane.known import KnownSolve
from ..plane.solve import PlaneSolve
from ..plane.what_if import camera_if
from ..result import Help, Stage

NUMBERS = ("seam_offset", "reach", "own_seam_offset", "length")
# What shrinks u95 by less than this share isn't worth the walk to the bench.
WORTH_WHILE = 0.03
# A card laid for a point lies so far from it, beside the seam, inches.
CARD_CLEAR_IN = 0.3
# What must stay in view: the seams so far beyond the points, and the cards; and the picture's edge stays so far off, as a share.
SEAM_IN_VIEW_IN, FRAME_KEPT = 1.0, 0.95
LEAST_CLOSER, MOST_CLOSER = 1.1, 2.0
CLEAREST = 0.25  # quantile of the photo's edges and seams that stands for what good light brings
LESS_SEEN = 0.9  # of a line: below it something hides a part of it
MORE_PHOTOS = 3
# What is read off the pixels anew in every photo.
SAMPLING = ("edges", "seam", "own seam", "centre", "cards")

EDGES = ("left", "right")


@dataclass(frozen=True)
class Known:
    """What the person has said already."""

    bars_read: bool
    veneer_told: bool
    stage_told: bool
    stage: Stage


@dataclass(frozen=True, eq=False)
class Rose:
    """What the numbers were computed from."""

    solve: PlaneSolve | KnownSolve
    sight: Sight
    lines: tuple[Lines, ...]  # of each lobe
    owns: tuple[Line, ...]  # all own seams; none for loose lobes
    u_centre_in: float
    size_px: tuple[int, int]


@dataclass(frozen=True)
class _Case:
    """How things would be after an action."""

    sight: Sight
    edges: Callable[[Line], Line] = lambda line: line
    seam: Callable[[Line], Line] = lambda line: line
    owns: Callable[[Line], Line] = lambda line: line
    u_centre_in: float | None = None  # None: as it is


def what_helps(rose: Rose, known: Known) -> tuple[Mapping[str, tuple[Help, ...]], ...]:
    """Of each lobe, for each of NUMBERS that it has: the actions that are worth while, the one that shrinks u95 most first."""
    common = list(_for_all(rose, known))
    return tuple(_of_one(rose, k, common) for k in range(len(rose.lines)))


def _of_one(rose: Rose, k: int, common: Sequence[tuple[str, str, _Case]]) -> Mapping[str, tuple[Help, ...]]:
    lines = rose.lines[k]
    now = tip_numbers(rose.sight, lines, rose.owns, rose.u_centre_in)
    after = [(name, words, _numbers(rose, lines, case)) for name, words, case in [*common, *_for_one(rose, lines)]]
    result = {}
    for number in NUMBERS:
        estimate: Estimate | None = getattr(now, number)
        if estimate is None or not np.isfinite(estimate.u):
            continue
        found = [Help(name, words, getattr(then, number).u95) for name, words, then in after if getattr(then, number) is not None]
        found.append(Help("more_photos", say("take two more photos from other sides, and give all three"), _photos_u95(estimate)))
        worth = [one for one in found if one.u95_after < (1 - WORTH_WHILE) * estimate.u95]
        result[number] = tuple(sorted(worth, key=lambda one: one.u95_after))
    return result


def _numbers(rose: Rose, lines: Lines, case: _Case) -> TipNumbers:
    changed = {name: case.seam(line) if name == FIELD_SEAM else case.edges(line) for name, line in lines.items()}
    owns = [case.owns(line) for line in rose.owns]
    return tip_numbers(case.sight, changed, owns, rose.u_centre_in if case.u_centre_in is None else case.u_centre_in)


def _photos_u95(now: Estimate) -> float:
    """Sampling averages out; print, veneer and what the models leave out stay."""
    squares = [part**2 / (MORE_PHOTOS if name in SAMPLING else 1) for name, part in now.parts.items()]
    return COVERAGE_95 * float(np.sqrt(sum(squares)))


def _for_all(rose: Rose, known: Known) -> Iterator[tuple[str, str, _Case]]:
    """(name, words, case) of the actions that serve every lobe alike."""
    sight, solve = rose.sight, rose.solve
    if isinstance(solve, PlaneSolve) and not known.bars_read:
        _, moved = camera_if(solve, bars=print_scale(6.0, 10.0))
        yield (
            "read_bars",
            say("read both check bars with a steel rule (--bar-across, --bar-along)"),
            _Case(_sight(sight, sight.camera, moved)),
        )
    yield from _face_known(sight, known)
    closer = _closer(rose, solve) if isinstance(solve, PlaneSolve) else 1.0  # a top's whole edge has to stay in view
    if isinstance(solve, PlaneSolve) and closer >= LEAST_CLOSER:
        camera, moved = camera_if(solve, closer=closer)

        def nearer(line: Line, by: float = closer) -> Line:  # as many pixels of error as before, each of fewer inches
            return replace(line, cov=line.cov / by**2)

        near = _Case(_sight(sight, camera, moved), nearer, nearer, nearer)
        yield "come_closer", say("come closer, till rose and cards fill the picture ({closer} times)", closer=format(closer, ".1f")), near
    if rose.u_centre_in > 0:
        bare = _Case(sight, u_centre_in=0.0)
        yield "uncover_own_seams", say("lift the tape from the lobes' own seams, which make the rose's centre"), bare
    least = _clearest([line for lines in rose.lines for name, line in lines.items() if name in EDGES])
    if least is not None:
        lit = _Case(sight, edges=lambda line: replace(line, u_model_in=min(line.u_model_in, least)))
        yield "even_light", say("light the top evenly from two sides, with no shadow beside the edges"), lit


def _face_known(sight: Sight, known: Known) -> Iterator[tuple[str, str, _Case]]:
    """What would tell how high the lobes' faces lie. Their uncertainty is that of the thickness and of a guessed stage (`measure/face`)."""

    def case(u_face_in: float) -> _Case:
        return _Case(_sight(sight, sight.camera, sight.variants, u_face_in))

    if known.stage is Stage.INLAID:
        if not known.stage_told:
            yield "tell_stage", say("say that it is inlaid (--stage inlaid)"), case(0.0)
        return
    u_thick_in = U_VENEER_TOLD_IN if known.veneer_told else U_VENEER_IN
    doubt_in = 0.0 if known.stage_told else sqrt(max(0.0, sight.u_face_in**2 - u_thick_in**2))
    if not known.veneer_told:
        yield "measure_veneer", say("measure the veneer's thickness (--veneer)"), case(hypot(U_VENEER_TOLD_IN, doubt_in))
    if known.stage is Stage.DRY_FIT and not known.stage_told:
        yield "tell_stage", say("say that it is a dry fit (--stage dry-fit)"), case(u_thick_in)


def _for_one(rose: Rose, lines: Lines) -> Iterator[tuple[str, str, _Case]]:
    """The same of those that serve one lobe."""
    if not set(EDGES) <= set(lines):
        return
    tip = crossing(lines["left"], lines["right"])
    place = _card_place(rose, tip)
    if place is not None and isinstance(rose.solve, PlaneSolve):
        _, moved = camera_if(rose.solve, card_at_in=place)
        yield "card_near_tip", say("lay one more card near the point, beside its seam"), _Case(_sight(rose.sight, rose.sight.camera, moved))
    hidden = [line for name, line in lines.items() if name in (*EDGES, FIELD_SEAM) and line.seen_fraction < LESS_SEEN]
    if hidden:

        def bared(line: Line) -> Line:
            return replace(line, cov=line.cov * line.seen_fraction)

        yield (
            "lift_tape",
            say("clear the point's edges and {an_inch} of its seam of tape", an_inch=lengths().about_an_inch()),
            _Case(rose.sight, bared, bared),
        )
    seam = lines.get(FIELD_SEAM)
    others = [_u_seam(one) for one in rose.lines if FIELD_SEAM in one and set(EDGES) <= set(one)]
    if seam is not None and len(others) > 1:
        share = min(1.0, float(np.quantile(others, CLEAREST)) / max(_u_seam(lines), 1e-9))

        def wiped(line: Line) -> Line:
            return replace(line, cov=line.cov * share**2, u_model_in=line.u_model_in * share)

        yield (
            "clear_seam",
            say("make its seam show as the clearest do: wipe the field beyond the point with a damp cloth"),
            _Case(rose.sight, seam=wiped),
        )


def _sight(now: Sight, camera: Camera, moved: tuple[tuple[str, Camera], ...], u_face_in: float | None = None) -> Sight:
    return Sight(camera, moved, now.face_in, now.u_face_in if u_face_in is None else u_face_in)


def _u_seam(lines: Lines) -> float:
    """Standard uncertainty of the field seam beside the tip."""
    seam = lines[FIELD_SEAM]
    return float(np.hypot(seam.u_sampling_at(crossing(lines["left"], lines["right"])), seam.u_model_in))


def _clearest(lines: Sequence[Line]) -> float | None:
    return float(np.quantile([line.u_model_in for line in lines], CLEAREST)) if len(lines) > 1 else None


def _middle(rose: Rose) -> Array:
    tips = [crossing(lines["left"], lines["right"]) for lines in rose.lines if set(EDGES) <= set(lines)]
    return np.asarray(centre_of(rose.owns) if len(rose.owns) > 1 else np.mean(tips, axis=0))


def _card_place(rose: Rose, tip_in: Array) -> Array | None:
    """(2,): where a card has room beyond the tip, to the right of its seam or to the left, in view; None where it has none."""
    outward = tip_in - _middle(rose)
    outward = outward / max(float(np.linalg.norm(outward)), 1e-9)
    half = np.hypot(CARD_WIDTH_IN, CARD_HEIGHT_IN) / 2
    for side in (1.0, -1.0):
        place = tip_in + (CARD_CLEAR_IN + CARD_HEIGHT_IN / 2) * outward + side * (CARD_CLEAR_IN + half) * right_of(outward)
        px = rose.solve.camera.px_from_plane(place + outline_in())
        if np.all(px > 0) and np.all(px < np.array(rose.size_px) - 1):
            return place
    return None


def _closer(rose: Rose, solve: PlaneSolve) -> float:
    """How many times closer the phone could be held with the rose, an inch of seam and the cards still in view."""
    tips = np.array([crossing(lines["left"], lines["right"]) for lines in rose.lines if set(EDGES) <= set(lines)])
    if len(tips) < 2:
        return 1.0
    outward = tips - _middle(rose)
    beyond = tips + SEAM_IN_VIEW_IN * outward / np.maximum(np.linalg.norm(outward, axis=1), 1e-9)[:, None]
    used = solve.outlines_in[: len(solve.cards)].reshape(-1, 2)
    extent = np.ptp(solve.camera.px_from_plane(np.concatenate([beyond, used])), axis=0)
    return float(min(MOST_CLOSER, FRAME_KEPT * np.min(np.array(rose.size_px) / extent)))
