"""What the person should know of the photo itself, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..basis.language import say, say_count
from ..optics import Optics

# Motion shorter than this, and blur less than this, cost little (standard deviation of the blur, photo pixels).
MOVED_PX, OUT_OF_FOCUS_PX = 3.0, 1.8

# What messaging apps make of a photo is no longer than this (pixels, common practice, no source), and where it has fewer pixels to the inch
# than this, the original, twice to three times as long, would tell much more.
COPY_LONG_PX, COPY_PX_PER_IN = 2100, 100.0


def copy_notes(size_px: tuple[int, int], was_exif: bool, px_per_in: float) -> tuple[str, ...]:
    """A sentence where the photo looks like a messaging app's copy. size_px: of the file's picture; px_per_in: at the rose."""
    if was_exif or max(size_px) > COPY_LONG_PX or px_per_in >= COPY_PX_PER_IN:
        return ()
    return (
        say(
            "The photo is small ({count} pixels to the inch) and has no camera data, as a messaging app's copy has none: measure the "
            "original file, of which more can be told.",
            count=round(px_per_in),
        ),
    )


def photo_notes(optics: Optics, light_exponent: float = 1.0) -> tuple[str, ...]:
    """Plain sentences, worst first."""
    words = []
    moved_px = float(np.hypot(*optics.motion_px))
    if moved_px > MOVED_PX:
        words.append(
            say(
                "The phone moved by {moved} pixels while the shutter was open, so less can be told; hold it still against something, "
                "and give it more light.",
                moved=round(moved_px),
            )
        )
    elif optics.blur_px > OUT_OF_FOCUS_PX:
        words.append(say("The photo is out of focus, so less can be told; tap on the rose to focus, and give it more light."))
    if light_exponent > 1:
        words.append(
            say("The photo's dark tones were made darker than a camera does, so gaps in dark wood are doubtful; give the unedited photo.")
        )
    return tuple(words)


def unseen_ring_notes(lobes: Sequence[int]) -> tuple[str, ...]:
    """A sentence for each ring that was made out but shows nothing to measure; lobes: how many each would have."""
    return tuple(
        say_count(
            "A further ring of {count} lobe was made out, but hardly any of its edges shows, so it isn't reported: "
            "the field's figure draws such. If it's there, lift the tape from its points.",
            "A further ring of {count} lobes was made out, but hardly any of their edges shows, so it isn't reported: "
            "the field's figure draws such. If it's there, lift the tape from its points.",
            count,
        )
        for count in lobes
    )
