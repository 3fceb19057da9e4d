"""Places where the rose's centre may be.

Two cues, neither of which needs the other:

- The whole picture turned about the rose's centre by 90 or 120 degrees looks like itself: lobes fall on
  lobes, leaves on leaves, the round top on itself. Correlating the picture with its turned copy gives
  the shift that fits best, and the fixed point of turn and shift is the centre. This holds when tape
  hides the middle of the rose.
- Round the centre the own seams and the joints of the first ring are radial steps that alternate in
  sign. The step across the direction to a place, summed with the weight exp(-i n angle), is large at
  the centre and nearly nowhere else (a circular harmonic). This holds when the top is cut by the frame.

Both are correlations of limited gradients (tape and cards are stronger than wood), so Fourier
transforms give them for all places at once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array
from .light import Floats, LogLight

# Lobes in the first ring that a rose may have.
FIRST_RING_COUNTS = (3, 4, 5, 6, 8, 12, 16)

# Turns that bring every first ring of those counts, but five, onto itself (degrees).
TURNS_DEG = (90.0, 120.0)

# The ring of radii where the harmonic looks: outside the mess of many points meeting, inside the usual first notch (inches).
HARMONIC_FROM_IN, HARMONIC_TO_IN = 0.2, 1.4

# A share of the possible step energy added to what is seen, so that flat places don't score by their noise.
QUIET_SHARE = 0.05

# Two candidates nearer than this are one (inches).
APART_IN = 0.1

# Peaks of the turned picture's correlation stand on a broad hill of the top's own shape; it is taken off with this width (inches).
HILL_IN = 0.7

# How many places each cue names.
HARMONIC_KEEPS, TURN_KEEPS = 6, 3


def turned_places(light: LogLight, steps: Floats) -> tuple[list[Array], list[Array]]:
    """Where the picture fits itself when turned: the best place (2,) inches of each turn, and the next best ones.

    The view should have 10 to 12 px/in; `steps` are light.limited_steps().
    """
    best: list[Array] = []
    further: list[Array] = []
    for turn in TURNS_DEG:
        found = [place for _, place in peaks(match_with_turned(steps[0], np.radians(turn), light.view.px_per_in), light, TURN_KEEPS)]
        best += found[:1]
        further += found[1:]
    return distinct(best), further


def harmonic_places(light: LogLight, steps: Floats) -> list[Array]:
    """Where steps turn evenly round a place, for any count; likeliest first. As `turned_places`."""
    rated: list[tuple[float, Array]] = []
    for score in _harmonic_scores(steps, light):
        high = peaks(score, light, 2 * HARMONIC_KEEPS)
        usual = float(np.median([value for value, _ in high])) if high else 1.0
        rated += [(value / max(usual, 1e-9), place) for value, place in high[:2]]
    rated.sort(key=lambda one: -one[0])
    return [place for _, place in rated[:HARMONIC_KEEPS]]


def distinct(places: list[Array]) -> list[Array]:
    """The places without those that lie beside an earlier one."""
    kept: list[Array] = []
    for place in places:
        if all(np.hypot(*(place - other)) > APART_IN for other in kept):
            kept.append(place)
    return kept


def peaks(score: Floats, light: LogLight, keep: int) -> list[tuple[float, Array]]:
    """The strongest local maxima of a map, as (value, place on the plane)."""
    import cv2

    reach = 2 * int(0.3 * light.view.px_per_in) + 1
    highest = (score == cv2.dilate(score, np.ones((reach, reach), np.uint8))) & light.view.seen
    rows, columns = np.nonzero(highest)
    best = np.argsort(-score[rows, columns])[:keep]
    return [(float(score[rows[i], columns[i]]), light.view.in_of(np.array([columns[i], rows[i]], float))) for i in best]


def match_with_turned(steps: Floats, turn: float, px_per_in: float) -> Floats:
    """(h, w): how well the gradient field (h, w, 2) fits itself turned by `turn` (rad) about each place, its broad hill taken off."""
    import cv2
    from scipy import fft

    height, width = steps.shape[:2]
    side = int(np.hypot(height, width)) + 2
    cos, sin = np.cos(turn), np.sin(turn)
    middle, turned_middle = np.array([(width - 1) / 2, (height - 1) / 2]), (side - 1) / 2
    rotation = np.array([[cos, -sin], [sin, cos]])
    to_turned = np.column_stack([rotation, turned_middle - rotation @ middle])
    moved = cv2.warpAffine(steps, to_turned, (side, side))
    turned = (moved[..., 0] + 1j * moved[..., 1]).astype(np.complex64) * np.complex64(np.exp(1j * turn))
    size = [fft.next_fast_len(extent + side) for extent in (height, width)]
    still = fft.fft2(steps[..., 0] + 1j * steps[..., 1], size)
    match = fft.ifft2(fft.fft2(turned, size) * np.conj(still)).real.astype(np.float32)
    # Shift (column, row) that belongs to each fixed point p: rotation p + offset - p.
    columns, rows = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    across = (cos - 1) * columns - sin * rows + to_turned[0, 2]
    down = sin * columns + (cos - 1) * rows + to_turned[1, 2]
    match = np.roll(match, (height, width), axis=(0, 1))
    score = cv2.remap(match, (across + width).astype(np.float32), (down + height).astype(np.float32), cv2.INTER_LINEAR)
    score = cv2.GaussianBlur(score, (0, 0), 0.8)
    return score - cv2.GaussianBlur(score, (0, 0), HILL_IN * px_per_in)


def _harmonic_scores(steps: NDArray[np.float32], light: LogLight) -> list[Floats]:
    """For each count, the (h, w) map of the share of step energy that alternates evenly round each place."""
    from scipy import fft

    ppi = light.view.px_per_in
    radius = int(np.ceil(HARMONIC_TO_IN * ppi))
    y, x = np.mgrid[-radius : radius + 1, -radius : radius + 1] / ppi
    r, angle = np.hypot(x, y), np.arctan2(x, -y)  # clockwise from up; rows grow downward
    weight = ((r > HARMONIC_FROM_IN) & (r < HARMONIC_TO_IN)) / np.sqrt(np.maximum(r, HARMONIC_FROM_IN))
    height, width = light.wood.shape
    size = [fft.next_fast_len(extent + 2 * radius, real=True) for extent in (height, width)]

    def spectrum(picture: Array) -> Array:
        return fft.rfft2(picture.astype(np.float32), size)

    def correlate(spectra: Array) -> Floats:
        return fft.irfft2(spectra, size)[radius : radius + height, radius : radius + width]

    spectra = [(spectrum(channel[..., 0]), spectrum(channel[..., 1])) for channel in steps]
    energy = correlate(spectrum((steps**2).sum(axis=(0, 3))) * spectrum(weight[::-1, ::-1]))
    energy = np.maximum(energy, 0) + QUIET_SHARE * weight.sum()
    scores = []
    for count in FIRST_RING_COUNTS:
        total = np.zeros((height, width), np.float32)
        for wave in (np.cos(count * angle), np.sin(count * angle)):
            kernel = [spectrum((weight * wave * side)[::-1, ::-1]) for side in (np.cos(angle), np.sin(angle))]
            for right, down in spectra:
                total += correlate(right * kernel[0] + down * kernel[1]) ** 2
        scores.append((total / (weight.sum() * energy)).astype(np.float32))
    return scores
