"""A photo of the recess and the rose that is to go in, to everything that can be said of the two: the order of the steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .advise.card_notes import card_notes
from .advise.outline import Outline, crossing_of_edges, rose_outline
from .advise.photo_notes import photo_notes
from .advise.seat import Seated, seat, turns_of
from .basis.clock import clock_of
from .basis.errors import PhotoError, PhotoTooSoft
from .basis.frames import Array, bearing_of, wrap_angle
from .basis.seat_errors import NoPointThere, NoRecessFound, NothingToSeat, WhichWayIn
from .basis.threads import one_thread
from .basis.uncertain import COVERAGE_95
from .basis.veneer import thickness
from .cards.detect import find_cards
from .cards.print_check import print_scale
from .cards.unread import why_cards_fail, why_no_card
from .edges import LinearPatch
from .find.recess import find_recess
from .judge import judge_point, judge_room
from .measure.outline import outline_edge
from .measure.recess_point import Cleared, measure_point
from .measure.recess_rim import RimEdge, measure_rim
from .measure.tips import FIELD_SEAM, Sight
from .optics import card_edges, learn_optics, light_exponent, straightened
from .photo import Photo
from .plane.solve import PlaneSolve, solve_plane
from .result import Inspection, Scale, SeatedEdge, SeatedPoint, Seating, Stage, StandingWood, Tip

# Turns of the rose are told apart by their outlines where one is so many times likelier than the next.
LIKELIER = float(np.log(1e4))
# ... and a turn that the photo's up suggests is taken where no other is more than so many times likelier.
STILL_LIKELY = float(np.log(10))
# Of the edges so large a share has to be measured in rose and recess, or nothing is said of how they lie to each other.
LEAST_SHARE = 0.4
# Of the way from one point that the first lobe could go into to the next: said farther from both, it can't be told which is meant.
MEANT = 1 / 3
# So many cards that lie to each other as they lay in the rose's photo, to within this (inches), tell how that photo was turned.
SAME_PLACES, SAME_PLACE_IN = 2, 0.03


@dataclass(frozen=True)
class SeatSettings:
    """What a person may say about a photo of the recess."""

    gap_tolerance_in: float = 0.010
    veneer_in: float | None = None  # the recess's depth
    bar_across_in: float | None = None
    bar_along_in: float | None = None
    same_cards: bool = False  # the cards are those of the rose's photo: their print's error is the same, and so cancels
    lobe_1_at: float | None = None  # rad, from the photo's up: where the rose's first lobe goes


def seat_rose(photo: Photo, rose: Inspection, settings: SeatSettings) -> Seating:
    """Raises PhotoError where the photo can't be measured, NothingToSeat where the inspection is of no rose that can be lifted."""
    with one_thread():
        return _seat_rose(photo, rose, settings)


def _seat_rose(photo: Photo, rose: Inspection, settings: SeatSettings) -> Seating:
    import cv2

    made = rose_outline(rose)
    if rose.stage not in (Stage.DRY_FIT, Stage.INLAID) or (rose.stage is Stage.INLAID and rose.stage_told) or made is None:
        raise NothingToSeat(photo=rose.photo_name)
    outline, lobes = made
    grey = cv2.cvtColor(photo.bgr, cv2.COLOR_BGR2GRAY)
    search = find_cards(grey)
    if not search.cards:
        raise why_no_card(grey, photo.name)
    check = print_scale(settings.bar_across_in, settings.bar_along_in)
    solve = solve_plane(search.cards, photo.size_px, photo.focal_px, check, photo.is_whole)
    if solve.hopeless:
        raise why_cards_fail(grey, len(search.cards), photo.name)
    cards = [*solve.outlines_in, *(solve.camera.plane_from_px(one) for one in search.others_px)]
    edges = card_edges(photo.bgr, solve.camera, cards)
    exponent = light_exponent(edges)
    bgr = photo.bgr if exponent <= 1 else straightened(photo.bgr, exponent)
    if exponent > 1:
        edges = card_edges(bgr, solve.camera, cards)
    optics = learn_optics(edges)
    if optics.is_hopeless:
        raise PhotoTooSoft(photo=photo.name)
    try:
        found = find_recess(bgr, solve.camera, cards, outline.corners_in, outline.fold)
    except PhotoError as error:
        raise type(error)(photo=photo.name) from None  # the finder doesn't know its name
    depth_in, u_depth_in = thickness(settings.veneer_in)
    patch = LinearPatch(bgr, 0, 0)
    rim = measure_rim(patch, solve.camera, optics, found.corners_in, depth_in, u_depth_in)
    sight = Sight(solve.camera, solve.variants, 0.0, 0.0)
    recess = _outline(sight, rim, found.corners_in)
    if sum(edge is not None for pair in recess.edges for edge in pair) < LEAST_SHARE * 2 * recess.count:
        raise NoRecessFound(photo=photo.name)
    shifts = turns_of(outline, recess)
    if not shifts:
        raise NoRecessFound(photo=photo.name)  # found, but its points reach otherwise
    seated, told_by = _turned(outline, recess, shifts, rose, solve, settings)
    if seated is None:
        raise WhichWayIn(photo=photo.name) if told_by == "none" else NoRecessFound(photo=photo.name)
    cleared = [
        None if left is None or right is None else measure_point(patch, solve.camera, left.line, right.line, depth_in)
        for left, right in rim
    ]
    return Seating(
        photo.name,
        photo.size_px,
        rose.photo_name,
        settings.gap_tolerance_in,
        settings.same_cards,
        told_by,
        tuple(_point(k, lobes[k], seated, rim, cleared, solve, outline, settings) for k in range(outline.count)),
        seated.least_anywhere,
        solve.camera.px_from_plane(seated.pose.of(outline.corners_in)),
        solve.camera.px_from_plane(np.roll(recess.corners_in, -2 * seated.shift, axis=0)),
        solve.camera.px_from_plane(seated.pose.of(outline.middle_in)),
        Scale(
            solve.cards,
            solve.camera.px_per_in_at(found.corners_in.mean(axis=0)),
            solve.rms_px,
            COVERAGE_95 * solve.u_scale,
            check.read,
            solve.card_places_in,
            one_bar_read=check.bars_read == 1,
        ),
        (*photo.notes, *photo_notes(optics, exponent), *card_notes(search, solve, found.corners_in.mean(axis=0), check)),
    )


def _outline(sight: Sight, rim: Sequence[tuple[RimEdge | None, RimEdge | None]], corners_in: Array) -> Outline:
    """The recess as measured; its corners where measured edges meet."""
    count = len(rim)
    lines = [{FIELD_SEAM: edge.line} for pair in rim for edge in pair if edge is not None]
    sight.look_at(lines)
    edges = []
    for k, pair in enumerate(rim):
        ends = [(corners_in[(2 * k + side) % (2 * count)], corners_in[2 * k]) for side in (-1, 1)]
        left, right = (
            None if edge is None else outline_edge(sight, FIELD_SEAM, edge.line, *end) for edge, end in zip(pair, ends, strict=True)
        )
        edges.append((left, right))
    corners = corners_in.copy()
    for k, (left, right) in enumerate(edges):
        after = edges[(k + 1) % count][0]
        if left is not None and right is not None:
            corners[2 * k] = crossing_of_edges(left, right)
        if right is not None and after is not None:
            corners[2 * k + 1] = crossing_of_edges(right, after)
    return Outline(tuple(edges), corners)


def _turned(
    outline: Outline, recess: Outline, shifts: list[int], rose: Inspection, solve: PlaneSolve, settings: SeatSettings
) -> tuple[Seated | None, str]:
    """The rose seated in the turn that is meant, and what told it: "you", "cards", "shape", "up", "only", or "none"."""
    if len(shifts) == 1:
        return seat(outline, recess, shifts, settings.same_cards), "only"
    if settings.lobe_1_at is not None:
        up = solve.camera.up_bearing_at(recess.middle_in)
        shift = _asked_for(outline, recess, shifts, up, settings.lobe_1_at, rose)
        return seat(outline, recess, [shift], settings.same_cards), "you"
    turn = _turn_by_cards(rose, solve)
    first = float(bearing_of(outline.corners_in[0] - outline.middle_in))
    if turn is not None:
        return seat(outline, recess, [_nearest(outline, recess, shifts, first + turn)], settings.same_cards), "cards"
    best = seat(outline, recess, shifts, settings.same_cards)
    if best is not None and best.likelier >= LIKELIER:
        return best, "shape"
    # As the rose's photo was held: the first lobe lies as far from the photo's up as it did.
    as_held = _nearest(outline, recess, shifts, solve.camera.up_bearing_at(recess.middle_in) + rose.tips[0].bearing)
    if best is not None and best.odds.get(as_held, np.inf) > STILL_LIKELY:
        return None, "none"
    return seat(outline, recess, [as_held], settings.same_cards), "up"


def _nearest(outline: Outline, recess: Outline, shifts: list[int], bearing: float) -> int:
    """The turn in which the rose's first point lies nearest to a bearing."""
    ways = bearing_of(recess.corners_in[0::2] - recess.middle_in)
    return min(shifts, key=lambda shift: abs(float(wrap_angle(ways[shift % outline.count] - bearing))))


def _asked_for(outline: Outline, recess: Outline, shifts: list[int], up: float, lobe_1_at: float, rose: Inspection) -> int:
    """The turn that the person means; refused where what they say lies about as near to another point. up: the photo's, lobe_1_at: rad."""
    ways = bearing_of(recess.corners_in[0::2] - recess.middle_in)
    past = {shift: (float(ways[shift % outline.count]) - up - lobe_1_at) % (2 * np.pi) for shift in shifts}
    after, before = min(shifts, key=lambda shift: past[shift]), max(shifts, key=lambda shift: past[shift])
    ahead, behind = past[after], 2 * np.pi - past[before]
    if min(ahead, behind) > MEANT * (ahead + behind):
        clocks = {
            "clock": clock_of(lobe_1_at),
            "before": clock_of(lobe_1_at - behind),
            "after": clock_of(lobe_1_at + ahead),
        }
        raise NoPointThere(lobe=rose.tips[0].lobe, **clocks)
    return after if ahead < behind else before


def _turn_by_cards(rose: Inspection, solve: PlaneSolve) -> float | None:
    """How far clockwise the plane's frame is turned from the rose's photo's, where cards lie as they lay; None where they don't."""
    before, now = rose.scale.card_places_in, solve.card_places_in
    both = sorted(set(before) & set(now))
    if len(both) < SAME_PLACES:
        return None
    a, b = (np.array([places[card] for card in both]) for places in (before, now))
    a, b = a - a.mean(axis=0), b - b.mean(axis=0)
    turn = float(np.arctan2(np.sum(a[:, 1] * b[:, 0] - a[:, 0] * b[:, 1]), np.sum(a * b)))
    c, s = np.cos(turn), np.sin(turn)
    return turn if np.abs(a @ np.array([[c, -s], [s, c]]) - b).max() < SAME_PLACE_IN else None


def _point(
    k: int,
    tip: Tip,
    seated: Seated,
    rim: Sequence[tuple[RimEdge | None, RimEdge | None]],
    cleared: Sequence[Cleared | None],
    solve: PlaneSolve,
    outline: Outline,
    settings: SeatSettings,
) -> SeatedPoint:
    there = (k + seated.shift) % outline.count
    place = seated.pose.of(outline.corners_in[2 * k])
    up = solve.camera.up_bearing_at(seated.pose.of(outline.middle_in))
    bearing = float((bearing_of(place - seated.pose.of(outline.middle_in)) - up) % (2 * np.pi))
    edges = []
    for side, room, wall, mine in zip((0, 1), seated.rooms[k], rim[there], outline.edges[k], strict=True):
        standing = () if wall is None else tuple(StandingWood(one.from_tip_in, one.to_in, one.by_in) for one in wall.standing)
        at_notch, at_tip = (None, None) if room is None else (room.at_notch, room.at_tip)
        why = None if room is not None else "rose" if mine is None else "recess"
        verdict = judge_room((at_notch, at_tip), settings.gap_tolerance_in, bool(standing))
        length = float(np.hypot(*(outline.corners_in[2 * k] - outline.corners_in[(2 * k + (1 if side else -1)) % (2 * outline.count)])))
        edges.append(SeatedEdge(at_notch, at_tip, length, standing, verdict, why))
    left = cleared[there]
    uncut = None if left is None or left.left_in <= left.least_in else (left.left_in, left.u_in)
    verdict = judge_point(seated.beyond[k], uncut, left is not None)
    return SeatedPoint(
        tip.lobe,
        tip.ring,
        bearing,
        (edges[0], edges[1]),
        seated.beyond[k],
        None if uncut is None else uncut[0],
        None if uncut is None else COVERAGE_95 * uncut[1],
        left is not None,
        verdict,
    )
