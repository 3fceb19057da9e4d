"""Why a number is missing or weak: one table for the text, the picture and the result file."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


@dataclass(frozen=True, slots=True)
class _Why:
    sentence: str  # what is wrong, in the trade's words; follows "unmeasured, because"
    remedy: str  # what to do about it


class Reason(Enum):
    """What hides or spoils a measurement. The name, in lower case, is what the result file says."""

    TIP_OUT_OF_FRAME = _Why("the point lies outside the photo", "step back until the whole rose is in view")
    TIP_COVERED = _Why("tape or shadow hides the edges that make the point", "lift the tape near the point")
    EDGE_AMBIGUOUS = _Why("the lobe's edge can't be told from its shadow or the wood beside it", "light it evenly from both sides")
    SEAM_COVERED = _Why("tape, a card or the frame hides the field seam beyond the point", "clear an inch of the seam beyond the point")
    SEAM_FAINT = _Why("the field seam doesn't show beyond the point", "wipe the field with a damp cloth or come closer")
    SEAM_AMBIGUOUS = _Why("two lines lie where the field seam should be", "rub out pencil lines, or check this point with a straightedge")
    OWN_SEAM_COVERED = _Why("tape hides the lobe's own dark/light line", "lift the tape from the lobe")
    OWN_SEAM_FAINT = _Why("the lobe's dark/light line doesn't show", "take the photo in even light")
    PHOTO_SOFT = _Why("the photo is blurred there", "hold the phone still, tap on the rose to focus, and give it more light")
    PHOTOS_DISAGREE = _Why("the photos disagree about it by more than they are uncertain", "see that nothing is moved from photo to photo")
    JOINT_COVERED = _Why("tape hides the joint", "lift the tape from the joint")
    JOINT_DARK = _Why("a gap can't be told from the dark wood beside it", "slide a strip of white paper under the joint, or use a feeler")

    EDGE_OUT_OF_FRAME = _Why("too little of the round edge is in the photo", "step back until the whole top is in view")
    ROUND_EDGE_UNCLEAR = _Why("no round edge stands out against the bench", "lay the top on a plain bench or cloth of another tone")

    @property
    def sentence(self) -> str:
        return self.value.sentence

    @property
    def remedy(self) -> str:
        return self.value.remedy
