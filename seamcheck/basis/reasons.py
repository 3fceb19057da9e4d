"""Why a number is missing or weak: one table for the text, the picture and the result file."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from .language import say, to_say
from .units import lengths


@dataclass(frozen=True, slots=True)
class _Why:
    sentence: str  # what is wrong, in the trade's words; follows "unmeasured, because"
    remedy: str  # what to do about it
    of_seam: tuple[str, str] | None = None  # both as they are said of a bare top's seam, which has no point beside it


class Reason(Enum):
    """What hides or spoils a measurement. The name, in lower case, is what the result file says."""

    TIP_OUT_OF_FRAME = _Why(to_say("the point lies outside the photo"), to_say("step back until the whole rose is in view"))
    TIP_COVERED = _Why(to_say("tape or shadow hides the edges that make the point"), to_say("lift the tape near the point"))
    EDGE_AMBIGUOUS = _Why(
        to_say("the lobe's edge can't be told from its shadow or the wood beside it"), to_say("light it evenly from both sides")
    )
    EDGE_FAINT = _Why(
        to_say("an edge of the point hardly differs from the wood beside it"),
        to_say("light it low from that side, or check the point by eye and straightedge"),
    )
    SEAM_COVERED = _Why(
        to_say("tape, a card or the frame hides the field seam beyond the point"),
        to_say("clear {an_inch} of the seam beyond the point"),
        (to_say("tape, a card or the frame hides the seam"), to_say("clear the seam of tape and cards, with all of it in view")),
    )
    SEAM_FAINT = _Why(
        to_say("the field seam doesn't show beyond the point"),
        to_say("wipe the field with a damp cloth or come closer"),
        (to_say("the seam doesn't show"), to_say("wipe the field with a damp cloth or come closer")),
    )
    SEAM_AMBIGUOUS = _Why(
        to_say("two lines lie where the field seam should be"),
        to_say("rub out pencil lines, or check this point with a straightedge"),
        (to_say("two lines lie where the seam should be"), to_say("rub out pencil lines, or check this seam with a straightedge")),
    )
    OWN_SEAM_COVERED = _Why(to_say("tape hides the lobe's own dark/light line"), to_say("lift the tape from the lobe"))
    OWN_SEAM_FAINT = _Why(to_say("the lobe's dark/light line doesn't show"), to_say("take the photo in even light"))
    PHOTO_SOFT = _Why(
        to_say("the photo is blurred there"), to_say("hold the phone still, tap on the rose to focus, and give it more light")
    )
    PHOTOS_DISAGREE = _Why(
        to_say("the photos disagree about it by more than they are uncertain"), to_say("see that nothing is moved from photo to photo")
    )
    JOINT_COVERED = _Why(to_say("tape hides the joint"), to_say("lift the tape from the joint"))
    JOINT_DARK = _Why(
        to_say("a gap can't be told from the dark wood beside it"), to_say("slide a strip of white paper under the joint, or use a feeler")
    )

    FIELD_JOINT = _Why(
        to_say("a thin line of glue beside the field shows how dark it is, not how wide"),
        to_say("look along it with a loupe, or try a feeler"),
    )
    EDGE_OUT_OF_FRAME = _Why(to_say("too little of the round edge is in the photo"), to_say("step back until the whole top is in view"))
    ROUND_EDGE_UNCLEAR = _Why(
        to_say("no round edge stands out against the bench"), to_say("lay the top on a plain bench or cloth of another tone")
    )

    @property
    def sentence(self) -> str:
        return say(self.value.sentence)

    @property
    def remedy(self) -> str:
        return say(self.value.remedy, an_inch=lengths().about_an_inch())

    @property
    def seam_sentence(self) -> str:
        """The sentence of a bare top's seam."""
        return say(self.value.of_seam[0]) if self.value.of_seam else self.sentence

    @property
    def seam_remedy(self) -> str:
        """The remedy of a bare top's seam."""
        return say(self.value.of_seam[1]) if self.value.of_seam else self.remedy
