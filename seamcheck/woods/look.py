"""From a photo to the woods in it: samples beside a card, or the two woods of cut lobes. The order of the steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..basis.errors import NamesDontFit, NoSamples
from ..basis.frames import Array
from ..basis.language import say
from ..cards.detect import find_cards
from ..cards.print_check import print_scale
from ..cards.unread import why_cards_fail, why_no_card
from ..find.loose import apart
from ..find.stage import find_loose_lobes
from ..kite import FoundLobe
from ..optics import card_edges, light_exponent, straightened
from ..photo import Photo
from ..plane.camera import Camera
from ..plane.solve import solve_plane
from .samples import Sample, find_samples, is_of_two_woods, piece_of
from .white import Whiteness, whiteness

# Samples are veneers or thin boards: their faces stand about so high, which matters for nothing but where their rims are drawn.
FACE_IN = 1 / 42
# Fewer kites than this are no cut lobes but samples that happen to look like some.
LEAST_LOBES = 2
# Pixels to the inch of any photo of samples.
LEAST_PPI, MOST_PPI = 15.0, 1500.0
STRIP_FILL = 0.75
BENCH = "bench"  # what the samples lie on, on the command line
WET = ("-wet", " wet", "_wet")


@dataclass(frozen=True)
class Looked:
    """What a photo shows of woods."""

    photo: str
    samples: tuple[Sample, ...]
    bench: Sample | None  # what they lie on, number 0
    of_lobes: bool  # whether the samples are the halves of cut lobes
    cards: tuple[int, ...]
    notes: tuple[str, ...]

    def named(self, name: str) -> Sample | None:
        """The sample of a name or number; "bench" is what they lie on."""
        if self.bench is not None and name.lower() in (self.bench.name.lower(), BENCH):
            return self.bench
        return next((sample for sample in self.samples if name.lower() in (sample.name.lower(), str(sample.number))), None)


def look(photo: Photo, names: Sequence[str]) -> Looked:
    """Find and measure the samples. names: theirs, in reading order (of cut lobes dark, light); none for their numbers.

    Raises PhotoError, NoSamples, NamesDontFit."""
    import cv2

    grey = cv2.cvtColor(photo.bgr, cv2.COLOR_BGR2GRAY)
    search = find_cards(grey)
    if not search.cards:
        raise why_no_card(grey, photo.name)
    solve = solve_plane(search.cards, photo.size_px, photo.focal_px, print_scale(None, None), photo.is_whole)
    camera = solve.camera
    notes = list(photo.notes)
    if solve.hopeless:
        # Colours need no exact plane, only about where things lie.
        at = np.concatenate([card.outline_px for card in search.cards]).mean(axis=0)
        scale = camera.px_per_in_at(camera.plane_from_px(at), 0.0)
        if not LEAST_PPI < scale < MOST_PPI:
            raise why_cards_fail(grey, len(search.cards), photo.name)
        notes.append(say("The cards don't lie flat enough to measure by; colours don't mind, but sizes in the preview may be off."))
    cards = [*solve.outlines_in, *(camera.plane_from_px(outline) for outline in search.others_px)]
    exponent = light_exponent(card_edges(photo.bgr, camera, cards))
    if exponent > 1:
        photo = replace(photo, bgr=straightened(photo.bgr, exponent))
        notes.append(say("The photo's dark tones had been made darker; they were brought back by what the cards' print shows."))
    white = whiteness(photo.bgr, camera, cards)
    if white.clipped:
        notes.append(say("The cards' paper is overexposed, so colours are less sure: tap on a card before you take the photo."))
    samples, bench = find_samples(photo.bgr, camera, cards, white, FACE_IN)
    lobes = () if _are_strips(samples) else _lobes(photo, camera, cards)
    of_lobes = len(lobes) >= LEAST_LOBES
    if of_lobes:
        samples = _halves(photo, camera, lobes, white)
    if not samples:
        raise NoSamples(photo=photo.name)
    if names and len(names) != len(samples):
        raise NamesDontFit(photo=photo.name, found=len(samples), given=len(names))
    if names:
        samples = [sample.renamed(name) for sample, name in zip(samples, names, strict=True)]
    notes += [_two_woods_words(sample) for sample in samples if not of_lobes and is_of_two_woods(sample)]
    # Lobes that touch are a rose, and a rose lies on its field; what loose ones or strips lie on, nobody knows.
    ground = say("the field") if of_lobes and not apart(lobes) else say("what they lie on")
    bench = None if bench is None else bench.renamed(ground)
    return Looked(photo.name, tuple(samples), bench, of_lobes, solve.cards, tuple(notes))


def _two_woods_words(sample: Sample) -> str:
    return say(
        "Sample {name} is dark on one side and pale on the other, and its numbers are of both together: if two samples touch, lay them "
        "apart and take the photo again.",
        name=sample.name,
    )


def _are_strips(samples: Sequence[Sample]) -> bool:
    """Whether most pieces fill the rectangle about them, as strips and off-cuts do; a kite fills half of its own."""
    import cv2

    fills = []
    for sample in samples:
        outline = sample.outline_px.astype(np.float32)
        _, (width, height), _ = cv2.minAreaRect(outline)
        fills.append(cv2.contourArea(outline) / max(width * height, 1e-6))
    return bool(fills) and float(np.median(fills)) > STRIP_FILL


def _lobes(photo: Photo, camera: Camera, cards: Sequence[Array]) -> tuple[FoundLobe, ...]:
    from ..basis.errors import NoRoseFound

    try:
        return tuple(lobe for lobe in find_loose_lobes(photo.bgr, camera, cards, FACE_IN).lobes if lobe.dark_side is not None)
    except NoRoseFound:
        return ()


def _halves(photo: Photo, camera: Camera, lobes: Sequence[FoundLobe], white: Whiteness) -> list[Sample]:
    """The dark and the light wood of all lobes together; each one's texture from the half that shows most of it."""
    samples = []
    for number, (name, is_dark) in enumerate(((say("dark"), True), (say("light"), False)), 1):
        pieces, middles = [], []
        for lobe in lobes:
            kite = lobe.kite
            shoulder = kite.right_in if (lobe.dark_side == "cw") == is_dark else kite.left_in
            outline = np.stack([kite.root_in, shoulder, kite.tip_in])
            piece = piece_of(photo.bgr, camera, outline, FACE_IN, white)
            if piece is not None:
                pieces.append(piece)
                middles.append((outline, white.u_log(outline.mean(axis=0))))
        if not pieces:
            return []
        best = max(range(len(pieces)), key=lambda k: pieces[k][1].size)
        outline, u_log = middles[best]
        cells = np.concatenate([cells for cells, _ in pieces])
        samples.append(Sample(number, name, camera.px_from_plane(outline, FACE_IN), outline.mean(axis=0), cells, pieces[best][1], u_log))
    return samples


def is_wet(sample: Sample) -> bool:
    """Whether a sample is named as a wetted one."""
    return sample.name.lower().endswith(WET)


def dry_name(sample: Sample) -> str:
    """The name without what says that it's wet."""
    return sample.name[: -len(WET[0])] if is_wet(sample) else sample.name
