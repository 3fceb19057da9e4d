"""What several pages say."""

from __future__ import annotations

from math import ceil

from ..basis.language import say
from ..basis.units import lengths
from ..report.words import list_words
from ..result import Inspection


def scale_words(inspection: Inspection) -> str:
    """How the scale was got, and how well."""
    scale = inspection.scale
    cards = list_words([str(card) for card in scale.cards])
    bars = say("check bars read") if scale.bars_read else say("check bars not read")
    return say(
        "Scale from printed cards {cards} ({bars}): {density}, lengths good to {percent} %, the cards' corners met to {rms} pixels.",
        cards=cards,
        bars=bars,
        density=lengths().density(scale.px_per_in),
        percent=_rounded_up(100 * scale.u95_rel),
        rms=format(scale.reprojection_rms_px, ".2f"),
    )


def _rounded_up(percent: float) -> str:

    return format(ceil(percent * 100 - 1e-6) / 100, ".2f")
