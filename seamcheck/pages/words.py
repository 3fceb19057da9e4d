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
    told = {
        "cards": cards,
        "density": lengths().density(scale.px_per_in),
        "percent": _rounded_up(100 * scale.u95_rel),
        "rms": format(scale.reprojection_rms_px, ".2f"),
    }
    if scale.bars_read:
        return say(
            "Scale from printed cards {cards} (check bars read): {density}, lengths good to {percent} %, the cards' corners met to {rms} "
            "pixels.",
            **told,
        )
    if scale.one_bar_read:
        return say(
            "Scale from printed cards {cards} (one check bar read): {density}, lengths good to {percent} %, the cards' corners met to "
            "{rms} pixels.",
            **told,
        )
    return say(
        "Scale from printed cards {cards} (check bars not read): {density}, lengths good to {percent} % if printed at 100 %, the cards' "
        "corners met to {rms} pixels.",
        **told,
    )


def _rounded_up(percent: float) -> str:
    return format(ceil(percent * 100 - 1e-6) / 100, ".2f")
