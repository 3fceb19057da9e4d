"""A photo and what was said about it, to everything that can be said of the fit: the order of the steps, no arithmetic of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from .advise.bare_top import bare_top
from .advise.card_notes import card_notes
from .advise.known_notes import known_notes
from .advise.photo_notes import copy_notes, photo_notes, unseen_ring_notes
from .advise.rose_place import RosePattern
from .advise.what_helps import Known as Told
from .advise.what_helps import Rose, what_helps
from .basis.errors import MarksOutside, NoRoseFound, NothingFound, PhotoError, PhotoTooSoft
from .basis.frames import Array, bearing_of
from .basis.language import say
from .basis.lines import Line
from .basis.reasons import Reason
from .basis.threads import one_thread
from .basis.uncertain import COVERAGE_95, Estimate
from .basis.veneer import thickness
from .cards.detect import CardSearch, find_cards
from .cards.print_check import PrintScale, print_scale
from .cards.unread import why_cards_fail, why_no_card
from .edges import LinearPatch
from .find.field import find_field
from .find.stage import find_all
from .judge import judge_joint, judge_tip, odd_lobes
from .kite import FoundLobe, FoundRose
from .measure.field_seams import measure_field_seams
from .measure.gap_field import field_tone
from .measure.gap_sites import JointSite, joints_of
from .measure.gaps import GapFit, measure_gaps
from .measure.known_plane import Known, known_plane
from .measure.lobes import LobeFit, measure_lobes
from .measure.loose_numbers import lobe_shape
from .measure.outline import outline_edge
from .measure.places import card_moves, tip_place
from .measure.rings import rings_that_show
from .measure.round_edge import RoundEdge, edge_of_circle, field_reach, measure_round_edge
from .measure.seam_pattern import FAINTEST_U_IN, with_the_others
from .measure.seams import SeamFit, measure_seam
from .measure.tips import (
    FIELD_SEAM,
    Lines,
    Sight,
    bearing_from,
    centre_of,
    centre_scatter,
    tip_numbers,
)
from .optics import Optics, card_edges, learn_optics, light_exponent, straightened
from .photo import Photo
from .plane.camera import Camera
from .plane.known import KnownSolve, Lens, beyond_rim
from .plane.solve import PlaneSolve, solve_plane
from .plane.spread import KNOWN
from .result import Help, Inspection, Joint, OutlineEdge, Scale, Stage, Tip
from .staging import staged

# How far a rose's points reach on a bare top where nothing is said, as a share of the leaves' length (common practice, no source).
USUAL_REACH_SHARE = 0.55
# The patch of the photo that is looked at runs this far beyond the rose, inches: the seams lie there.
AROUND_ROSE_IN = 2.9


@dataclass(frozen=True)
class Settings:
    """What a person may say about a photo."""

    stage: Stage | None = None
    tolerance_in: float = 1 / 64
    veneer_in: float | None = None
    bar_across_in: float | None = None
    bar_along_in: float | None = None
    gap_tolerance_in: float = 0.010
    points: int | None = None  # bare top: of the rose to be placed; None: as many as there are seams
    reaches_in: tuple[float, ...] | None = None  # bare top: of the rose to be placed, ring by ring
    known_in: float | None = None  # no cards: the round top's diameter
    rim: bool = False  # no cards: the person has seen that the round edge that was taken is the rim
    marks_px: tuple[float, ...] | None = None  # no cards: u, v, u, v of two marks in the upright photo at its full size
    apart_in: float | None = None  # and how far they lie apart
    lens: Lens | None = None  # no cards: what another photo by the same phone told of the lens
    budget: bool = False  # whether to work out what would make each number surer


def settings_of(said: Mapping[str, Any]) -> Settings:
    """What was said on the command line, as a result file records it; what wasn't said is left to the defaults."""
    given = {
        name: value for name, value in said.items() if value is not None and name not in ("version", "units", "lens_photo", "photo_sha256")
    }
    if "stage" in given:
        given["stage"] = Stage(given["stage"])
    if "lens" in given:
        given["lens"] = Lens(*given["lens"])
    return Settings(**given)


def inspect(photo: Photo, settings: Settings) -> Inspection:
    """Measure one photo. Raises PhotoError where it can't be measured at all."""
    with one_thread():
        return _inspect(photo, settings)


def _inspect(photo: Photo, settings: Settings) -> Inspection:
    import cv2

    grey = cv2.cvtColor(photo.bgr, cv2.COLOR_BGR2GRAY)
    search = find_cards(grey)
    print_check = print_scale(settings.bar_across_in, settings.bar_along_in)
    solve: PlaneSolve | KnownSolve
    if search.cards:
        solve = solve_plane(search.cards, photo.size_px, photo.focal_px, print_check, photo.is_whole)
        if solve.hopeless:
            raise why_cards_fail(grey, len(search.cards), photo.name)
    elif _is_known(settings):
        solve = _known(photo, settings)
    else:
        raise why_no_card(grey, photo.name)
    cards = [*solve.outlines_in, *(solve.camera.plane_from_px(outline) for outline in search.others_px)]
    veneer_in, _ = thickness(settings.veneer_in)
    try:
        stage, rose = find_all(photo.bgr, solve.camera, cards, settings.stage, veneer_in)
    except PhotoError as error:
        # The finder doesn't know the photo's name, nor that no card was read.
        lost = isinstance(solve, KnownSolve) and isinstance(error, NoRoseFound)
        raise (NothingFound if lost else type(error))(photo=photo.name) from None
    if stage is Stage.BARE:
        return _bare(photo, solve, settings, print_check, search, cards)
    edges = card_edges(photo.bgr, solve.camera, cards)
    exponent = light_exponent(edges)
    if exponent > 1:
        photo = replace(photo, bgr=straightened(photo.bgr, exponent))
        edges = card_edges(photo.bgr, solve.camera, cards)
    patch = _patch(photo, solve, rose)
    optics = learn_optics(edges)
    if optics.is_hopeless:
        raise PhotoTooSoft(photo=photo.name)
    laid = staged(patch, solve.camera, optics, stage, rose, settings.stage is not None, settings.veneer_in)
    stage, rose = laid.stage, laid.rose
    lobes, face = list(laid.begun.context.lobes), laid.begun.context.face
    fits = measure_lobes(laid.begun)
    sight = Sight(solve.camera, solve.variants, face.z_in, face.u_in)
    lobes, fits, unseen = rings_that_show(lobes, fits)
    centre_in, u_centre_in = _centre(rose, fits)
    apart = [_seam(patch, solve.camera, optics, lobe, fit, centre_in, cards) for lobe, fit in zip(lobes, fits, strict=True)]
    seams = with_the_others(apart, [_tip_place(lobe, fit) for lobe, fit in zip(lobes, fits, strict=True)])
    owns = [fit.own.line for fit in fits if fit.own is not None]
    lines = [_lines(fit, seam) for fit, seam in zip(fits, seams, strict=True)]
    sight.look_at(lines)
    tips = tuple(
        _tip(k + 1, lobe, fit, seam, lines[k], sight, photo, centre_in, u_centre_in, owns, settings)
        for k, (lobe, fit, seam) in enumerate(zip(lobes, fits, seams, strict=True))
    )
    helps: tuple[Mapping[str, tuple[Help, ...]], ...] = ()
    if settings.budget:
        told = Told(print_check.read, settings.veneer_in is not None, settings.stage is not None, stage)
        helps = what_helps(Rose(solve, sight, tuple(lines), tuple(owns) if centre_in is not None else (), u_centre_in, photo.size_px), told)
    ordered = FoundRose(rose.centre_in, tuple(lobes), 1.0 if stage is Stage.DRY_FIT else 0.0)
    sites = joints_of(ordered)
    field = field_tone(patch, solve.camera, ordered, cards) if face.raised else None
    gaps = measure_gaps(patch, solve.camera, sites, face.z_in, veneer_in, field, optics)
    at = centre_in if centre_in is not None else np.mean([lobe.kite.tip_in for lobe in lobes], axis=0)
    scale = _scale(solve, at, face.z_in, print_check)
    return Inspection(
        photo.name,
        photo.size_px,
        stage,
        settings.stage is not None,
        settings.tolerance_in,
        settings.gap_tolerance_in,
        scale,
        None if centre_in is None else solve.camera.px_from_plane(centre_in, face.z_in),
        tips,
        tuple(_joint(site, gap, sight, solve, settings) for site, gap in zip(sites, gaps, strict=True)),
        odd_lobes(tips),
        (),
        (
            *photo.notes,
            *copy_notes(_full_px(photo), photo.was_exif, scale.px_per_in),
            *photo_notes(optics, exponent),
            *unseen_ring_notes(unseen),
            *_scale_notes(search, solve, at, print_check, settings),
        ),
        helps=helps,
    )


def _is_known(settings: Settings) -> bool:
    return settings.known_in is not None or (settings.marks_px is not None and settings.apart_in is not None)


def _known(photo: Photo, settings: Settings) -> KnownSolve:
    marks_px = None
    if settings.marks_px is not None:
        marks_px = photo.in_bgr(np.array(settings.marks_px, float).reshape(2, 2))
        if np.any(marks_px > photo.size_px):
            raise MarksOutside(photo=photo.name)
    return known_plane(photo, Known(settings.known_in, settings.rim, settings.apart_in, marks_px, settings.lens))


def _scale_notes(
    search: CardSearch, solve: PlaneSolve | KnownSolve, at_in: Array, check: PrintScale, settings: Settings
) -> tuple[str, ...]:
    if isinstance(solve, KnownSolve):
        return known_notes(solve, settings.known_in)
    used = (say("Cards were read, so the length that you gave wasn't needed."),) if _is_known(settings) else ()
    return (*used, *card_notes(search, solve, at_in, check))


def _patch(photo: Photo, solve: PlaneSolve | KnownSolve, rose: FoundRose) -> LinearPatch:
    """The part of the photo that shows the rose and the seams beyond it."""
    corners = np.concatenate([lobe.kite.corners_in for lobe in rose.lobes])
    low, high = corners.min(axis=0) - AROUND_ROSE_IN, corners.max(axis=0) + AROUND_ROSE_IN
    box = np.array([low, [low[0], high[1]], high, [high[0], low[1]], (low + high) / 2])
    px = solve.camera.px_from_plane(box)
    return LinearPatch.cut(photo.bgr, px.min(axis=0), px.max(axis=0))


def _bare(
    photo: Photo, solve: PlaneSolve | KnownSolve, settings: Settings, check: PrintScale, search: CardSearch, cards: list[Array]
) -> Inspection:
    """A bare matched top: its seams, its round edge, and the place for a rose."""
    beyond = beyond_rim(solve) if isinstance(solve, KnownSolve) else []
    field = find_field(photo.bgr, solve.camera, [*cards, *beyond])
    if field is None:
        raise (NothingFound if isinstance(solve, KnownSolve) else NoRoseFound)(photo=photo.name)
    sight = Sight(solve.camera, solve.variants, 0.0, 0.0)
    patch = LinearPatch(photo.bgr, 0, 0)
    edge: RoundEdge | Reason
    if isinstance(solve, KnownSolve) and solve.edge_px is not None and solve.radius_in is not None:
        edge = edge_of_circle(solve.radius_in, solve.camera.plane_from_px(solve.edge_px))
    else:
        edge = measure_round_edge(patch, solve.camera, photo.size_px, field.centre_in, cards)
    outer_in = field_reach(patch, solve.camera, photo.size_px, field.centre_in, edge, cards)
    fits = measure_field_seams(patch, solve.camera, field.centre_in, field.bearings, outer_in, cards)
    pattern = None
    if settings.points is None or settings.points > 0:
        pattern = RosePattern(settings.points or len(fits), settings.reaches_in or (USUAL_REACH_SHARE * outer_in,))
    seams, top, centre_in = bare_top(sight, field.bearings, field.centre_in, fits, edge, pattern, settings.tolerance_in)
    if pattern is not None and top.leaves is not None:
        top = replace(top, reaches_in=pattern.reaches_in, reach_told=settings.reaches_in is not None)
    at = field.centre_in if centre_in is None else centre_in
    scale = _scale(solve, at, 0.0, check)
    return Inspection(
        photo.name,
        photo.size_px,
        Stage.BARE,
        settings.stage is not None,
        settings.tolerance_in,
        settings.gap_tolerance_in,
        scale,
        None if centre_in is None else solve.camera.px_from_plane(centre_in),
        seams=seams,
        warnings=(
            *photo.notes,
            *copy_notes(_full_px(photo), photo.was_exif, scale.px_per_in),
            *_scale_notes(search, solve, at, check, settings),
        ),
        bare=top,
    )


def _full_px(photo: Photo) -> tuple[int, int]:
    width, height = photo.size_px
    return width * photo.reduced_by, height * photo.reduced_by


def _scale(solve: PlaneSolve | KnownSolve, at_in: Array, face_in: float, check: PrintScale) -> Scale:
    px_per_in = solve.camera.px_per_in_at(at_in, face_in)
    if isinstance(solve, KnownSolve):
        return Scale((), px_per_in, solve.rms_px, COVERAGE_95 * solve.u_scale, False, {}, KNOWN, solve.edge_px)
    places = solve.card_places_in
    return Scale(
        solve.cards,
        px_per_in,
        solve.rms_px,
        COVERAGE_95 * solve.u_scale,
        check.read,
        places,
        card_moves=card_moves(solve.camera, solve.variants, places),
        one_bar_read=check.bars_read == 1,
    )


def _centre(rose: FoundRose, fits: Sequence[LobeFit]) -> tuple[Array | None, float]:
    """The centre and its standard uncertainty from own seams that are missing; None for loose lobes."""
    if rose.centre_in is None:
        return None, 0.0
    owns = [fit.own.line for fit in fits if fit.own is not None]
    if len(owns) < 3:
        return rose.centre_in, 0.02
    return centre_of(owns), centre_scatter(owns, len(fits) - len(owns))


def _tip_place(lobe: FoundLobe, fit: LobeFit) -> Array:
    """(2,): the tip as measured, or else as found."""
    return fit.tip_in if fit.tip_in is not None else lobe.kite.tip_in


def _seam(
    patch: LinearPatch, camera: Camera, optics: Optics, lobe: FoundLobe, fit: LobeFit, centre_in: Array | None, cards: list[Array]
) -> SeamFit | Reason | None:
    if centre_in is None:
        return None
    tip_in = _tip_place(lobe, fit)
    blur_px = optics.whole_blur_px(camera.normal_px(centre_in, tip_in))
    return measure_seam(
        patch, camera, tip_in, float(bearing_of(tip_in - centre_in)), blocked=cards, blur_px=blur_px, faint_u_in=FAINTEST_U_IN
    )


def _lines(fit: LobeFit, seam: SeamFit | Reason | None) -> Lines:
    """The lines that a lobe's numbers are computed from, as far as they were measured."""
    edges = {"left": fit.left, "right": fit.right, "own": fit.own, "left short": fit.left_short, "right short": fit.right_short}
    lines = {name: edge.line for name, edge in edges.items() if edge is not None}
    return {**lines, FIELD_SEAM: seam.line} if isinstance(seam, SeamFit) else lines


def _tip(
    number: int,
    lobe: FoundLobe,
    fit: LobeFit,
    seam: SeamFit | Reason | None,
    lines: Lines,
    sight: Sight,
    photo: Photo,
    centre_in: Array | None,
    u_centre_in: float,
    owns: list[Line],
    settings: Settings,
) -> Tip:
    camera, face_in = sight.camera, sight.face_in
    tip_in = _tip_place(lobe, fit)
    tip_px = camera.px_from_plane(tip_in, face_in)
    numbers = tip_numbers(sight, lines, owns if centre_in is not None else (), u_centre_in)
    reason = None
    if "left" not in lines or "right" not in lines:
        reason = (fit.unseen or Reason.TIP_COVERED) if _inside(tip_px, photo.size_px) else Reason.TIP_OUT_OF_FRAME
    elif isinstance(seam, Reason):
        reason = seam
    seam_line = lines.get(FIELD_SEAM)
    kite = lobe.kite
    left_in, right_in = (_on_edge(lines.get(name), corner) for name, corner in (("left", kite.left_in), ("right", kite.right_in)))
    outline = np.stack([kite.root_in, left_in, tip_in, right_in])
    up = camera.up_bearing_at(centre_in if centre_in is not None else tip_in)
    return Tip(
        number,
        lobe.ring,
        bearing_from(centre_in, tip_in, up) if centre_in is not None else float((kite.bearing - up) % (2 * np.pi)),
        tip_px,
        camera.px_from_plane(outline, face_in),
        None if fit.own is None else camera.px_from_plane(fit.own.line.ends_in, face_in),
        numbers.reach,
        numbers.seam_offset,
        None if seam_line is None else camera.px_from_plane(seam_line.ends_in, 0.0),
        seam.cue if isinstance(seam, SeamFit) else None,
        None if centre_in is None else judge_tip(numbers.seam_offset, settings.tolerance_in),
        reason,
        numbers.own_seam_offset,
        numbers.length,
        numbers.root_angle,
        lobe.dark_side,
        tip_in,
        numbers.own_end_offset,
        None if centre_in is not None else lobe_shape(sight, lines, fit),
        None if centre_in is None else tip_place(sight, lines),
        None if centre_in is None else (_outline_edge(sight, lines, "left", outline), _outline_edge(sight, lines, "right", outline)),
    )


def _outline_edge(sight: Sight, lines: Lines, name: str, outline_in: Array) -> OutlineEdge | None:
    """A long edge of a lobe whose corners (root, left, tip, right) are given; None where it wasn't measured."""
    return outline_edge(sight, name, lines[name], outline_in[1 if name == "left" else 3], outline_in[2]) if name in lines else None


def _on_edge(edge: Line | None, corner_in: Array) -> Array:
    """A found shoulder, moved onto the measured long edge."""
    return corner_in if edge is None else edge.point_in + edge.along_of(corner_in) * edge.direction


def _inside(px: Array, size_px: tuple[int, int]) -> bool:
    return bool(np.all(px >= 0) and np.all(px <= np.array(size_px) - 1))


def _joint(site: JointSite, fit: GapFit | Reason, sight: Sight, solve: PlaneSolve | KnownSolve, settings: Settings) -> Joint:
    gap = None if isinstance(fit, Reason) else Estimate(fit.max.value, {**fit.max.parts, "print": abs(fit.max.value) * solve.u_scale})
    numbers = tuple(None if lobe is None else lobe + 1 for lobe in site.lobes)
    return Joint(
        (numbers[0], numbers[1]),
        sight.camera.px_from_plane(site.ends_in, sight.face_in),
        gap,
        None if isinstance(fit, Reason) else fit.mean_in,
        None if isinstance(fit, Reason) else sight.camera.px_from_plane(fit.max_at_in, sight.face_in),
        0.0 if isinstance(fit, Reason) else fit.measured_fraction,
        judge_joint(gap, settings.gap_tolerance_in),
        fit if isinstance(fit, Reason) else None,
    )
