"""The plane of a top that shows no card: by its round edge, if its diameter is known, or by two marks at a known distance, or both."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..basis.errors import KnownLengthsDisagree, NoRoundEdge, OtherLens, PhotoError
from ..basis.frames import Array
from ..basis.reasons import Reason
from ..basis.threads import one_thread
from ..basis.units import lengths
from ..cards.detect import find_cards
from ..cards.print_check import print_scale
from ..cards.unread import why_cards_fail, why_no_card
from ..edges import LinearPatch
from ..find.field import find_field
from ..find.stage import find_rose
from ..find.top_outline import COPY_PX, find_outline
from ..photo import Photo
from ..plane.camera import Camera
from ..plane.known import LEAST_EDGE_PX, U_MARK_PX, U_MARKS_IN, KnownSolve, Lens, Seen, beyond_rim, lens_of, solve_known
from ..plane.solve import solve_plane
from .round_edge import sharp_circle

# No place of the outline as it was first found is known better than to this, px of the copy that it is found in.
COARSE_NOISE = 0.3
# Focal lengths by EXIF that differ by more than this, relative, are of two lenses: makers round them to a millimetre of 26 or so.
OTHER_LENS = 0.06
# Places of the outline that lie farther off than so many times the median do aren't the rim's, over so many rounds.
TRIM_TIMES, TRIMS = 4.0, 3
# A sharp edge whose radius differs from the outline's by more than this, relative, is another one.
OTHER_EDGE = 0.004
# A diameter and a distance of two marks that disagree by more than so many standard uncertainties aren't both of this top.
LENGTHS_DIFFER = 3.0


@dataclass(frozen=True)
class Known:
    """What a person says instead of laying cards."""

    diameter_in: float | None = None  # of the round top
    no_band: bool = False  # no band runs round the top, so the round edge that shows is its rim
    marks_in: float | None = None  # between two marks
    marks_px: Array | None = None  # (2, 2) where they show in the photo in memory
    lens: Lens | None = None  # from another photo by the same phone


def known_plane(photo: Photo, known: Known) -> KnownSolve:
    """The camera over the top. Raises NoRoundEdge where the edge is needed and doesn't show."""
    lens = known.lens if photo.is_whole else None  # an edited photo may have been straightened otherwise
    if lens is not None and lens.focal_share is not None and photo.focal_px is not None:
        share = photo.focal_px / max(photo.size_px)
        if abs(np.log(share / lens.focal_share)) > OTHER_LENS:
            raise OtherLens(photo=photo.name)
    seen = Seen(
        photo.size_px, photo.focal_px, photo.is_whole, known.diameter_in, marks_px=known.marks_px, marks_in=known.marks_in, lens=lens
    )
    patch = LinearPatch(photo.bgr, 0, 0)
    edge = _edge(photo, patch, seen, known.no_band)
    if edge is None and known.diameter_in is not None:
        raise NoRoundEdge(photo=photo.name)
    if edge is None:
        return solve_known(seen, _ppi_of_marks(seen), (np.array(photo.size_px) - 1) / 2)
    seen, solve = edge
    at_in = _rose_or_seams(photo, solve)
    return solve if at_in is None else _solved(replace(seen, rose_px=solve.camera.px_from_plane(at_in)), solve)


def _rose_or_seams(photo: Photo, solve: KnownSolve) -> Array | None:
    """(2,) where a rose's middle lies, or a bare top's seams meet; None where neither is found (the pipeline will say what is wrong)."""
    try:
        return find_rose(photo.bgr, solve.camera, [], 0.0).centre_in
    except PhotoError:
        field = find_field(photo.bgr, solve.camera, beyond_rim(solve))
        return None if field is None else field.centre_in


def lens_from(photo: Photo) -> Lens:
    """What a photo with cards tells of the phone's lens. Raises PhotoError where no card can be read, or they don't agree at all."""
    import cv2

    with one_thread():
        grey = cv2.cvtColor(photo.bgr, cv2.COLOR_BGR2GRAY)
        cards = find_cards(grey).cards
        if not cards:
            raise why_no_card(grey, photo.name)
        solve = solve_plane(cards, photo.size_px, photo.focal_px, print_scale(None, None), photo.is_whole)
        if solve.hopeless:
            raise why_cards_fail(grey, len(cards), photo.name)
        return lens_of(solve, photo.focal_px)


def _middle(places: Array) -> Array:
    """(2,): of the oval that places (n, 2) lie on, though a part of it be missing: least squares on a circle."""
    design = np.column_stack([2 * places, np.ones(len(places))])
    return np.asarray(np.linalg.lstsq(design, np.sum(places**2, axis=1), rcond=None)[0][:2])


def _edge(photo: Photo, patch: LinearPatch, seen: Seen, told_rim: bool) -> tuple[Seen, KnownSolve] | None:
    """What is seen, with the round edge to a fraction of a pixel, and the camera from it; None where no edge is sharp."""
    middle = (np.array(photo.size_px, float) - 1) / 2
    outline = find_outline(photo.bgr, middle)
    if outline is not None:  # again about its own middle, from where all rays see it alike
        outline = find_outline(photo.bgr, _middle(outline.places_px)) or outline
    if outline is None:
        return None
    places: Array = outline.places_px
    middle = _middle(places)
    radius_px = float(np.mean(np.hypot(*(places - middle).T)))
    copy_px = max(photo.size_px) / COPY_PX
    coarse = replace(seen, edge_px=places, edge_noise_px=copy_px, is_rim=outline.is_rim or told_rim)
    guess = _ppi_of_marks(seen) if seen.diameter_in is None else 2 * radius_px / seen.diameter_in
    if seen.diameter_in is not None and seen.marks_px is not None:
        _hold_together(photo, coarse, guess, middle)
    solve = solve_known(coarse, guess, middle)
    for _ in range(TRIMS):  # without what lies on another edge: a shadow's beside the rim, say
        out_in = np.hypot(*solve.camera.plane_from_px(places).T)
        away = np.abs(out_in - np.median(out_in))
        kept = away <= TRIM_TIMES * max(float(np.median(away)), 0.2 * copy_px / solve.camera.px_per_in_at(np.zeros(2)))
        if kept.all():
            break
        places = places[kept]
        coarse = replace(coarse, edge_px=places)
        solve = _solved(coarse, solve)
    found = replace(coarse, edge_noise_px=max(COARSE_NOISE * copy_px, solve.rms_px))
    for _ in range(2):
        radius_in = solve.radius_in or 0.0
        edge = sharp_circle(patch, solve.camera, photo.size_px, (np.zeros(2), radius_in), [])
        if isinstance(edge, Reason) or abs(edge[0].radius_in / radius_in - 1) > OTHER_EDGE:
            break  # nowhere sharp, or sharp elsewhere: the outline as it was found says less, but says it of the rim
        places_px = solve.camera.px_from_plane(edge[0].places_in)
        solve = _solved(replace(coarse, edge_px=places_px, edge_noise_px=LEAST_EDGE_PX), solve)
        found = replace(coarse, edge_px=places_px, edge_noise_px=max(LEAST_EDGE_PX, solve.rms_px))
    return found, _solved(found, solve)


def _hold_together(photo: Photo, seen: Seen, guess: float, middle: Array) -> None:
    """Raises KnownLengthsDisagree where the marks don't lie as far apart, by the round edge, as was said: a camera that is to suit both
    would bend itself to do so, and say nothing of it."""
    marks_px, said = seen.marks_px, seen.marks_in
    assert marks_px is not None
    assert said is not None
    alone = solve_known(replace(seen, marks_px=None, marks_in=None), guess, middle)

    def apart(camera: Camera) -> float:
        one, other = camera.plane_from_px(marks_px)
        return float(np.hypot(*(other - one)))

    found = apart(alone.camera)
    read = 2**0.5 * U_MARK_PX / alone.camera.px_per_in_at(np.zeros(2))
    u = float(np.linalg.norm([U_MARKS_IN, read, *(apart(camera) - found for _, camera in alone.variants)]))
    if not abs(found - said) <= LENGTHS_DIFFER * u:
        raise KnownLengthsDisagree(photo=photo.name, found=lengths().words(found), said=lengths().limit(said))


def _solved(seen: Seen, before: KnownSolve) -> KnownSolve:
    at_px = before.camera.px_from_plane(np.zeros(2))
    return solve_known(seen, before.camera.px_per_in_at(np.zeros(2)), at_px)


def _ppi_of_marks(seen: Seen) -> float:
    assert seen.marks_px is not None
    assert seen.marks_in is not None
    return float(np.hypot(*(seen.marks_px[1] - seen.marks_px[0])) / seen.marks_in)
