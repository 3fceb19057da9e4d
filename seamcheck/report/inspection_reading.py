"""A result file of a rose read back whole, as the `Inspection` that it was made from: for comparing it with another.

What the file holds for people (pixels, verdicts, reasons) is read as it stands there; the numbers come from `working`, with what each
is uncertain by, source by source.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import radians
from pathlib import Path
from typing import Any

import numpy as np

from ..basis.errors import NothingToCompare, OlderResult, SpoiltResult
from ..basis.frames import Array
from ..basis.reasons import Reason
from ..basis.uncertain import Estimate
from ..photo import shown_name
from ..result import Inspection, Joint, OutlineEdge, Scale, Stage, Tip, TipPlace, Together, Verdict
from .json_file import TIP_NUMBERS
from .result_reading import STAGES, number_of, places_of, read_document

COMPARED = (Stage.DRY_FIT, Stage.INLAID)


def read_inspection(path: Path) -> Inspection:
    """A dry fit or an inlaid rose from its result file. Raises a FileError with a plain sentence for anything else."""
    name = shown_name(path)
    return inspection_of(read_document(path, name), name)


def inspection_of(document: Mapping[str, Any], name: str, stages: tuple[Stage, ...] = COMPARED) -> Inspection:
    """The same from the file's document; name: what it is called in a refusal. Of loose lobes, all but their edges' shape."""
    if document["stage"] not in {stage.value for stage in stages}:
        raise NothingToCompare(file=name, stage=STAGES.get(document["stage"], "something else"))
    if "working" not in document:
        raise OlderResult(file=name)
    try:
        return _inspection(document)
    except (KeyError, TypeError, ValueError, IndexError, AttributeError):
        raise SpoiltResult(file=name) from None


def _inspection(document: Mapping[str, Any]) -> Inspection:
    working, scale = document["working"], document["scale"]
    tips = [_tip(tip, more) for tip, more in zip(document["tips"], working["tips"], strict=True)]
    joints = [_joint(joint, more) for joint, more in zip(document["joints"], working["joints"], strict=True)]
    photos = [str(photo) for photo in document["photos"]]
    disagree = tuple(str(sentence) for sentence in document["disagreements"])
    width, height = document["photo"]["size_px"]
    return Inspection(
        str(document["photo"]["file"]),
        (int(width), int(height)),
        Stage(document["stage"]),
        bool(document["stage_told"]),
        number_of(document["tolerance_in"]),
        number_of(document["gap_tolerance_in"]),
        Scale(
            tuple(int(card) for card in scale["cards"]),
            number_of(scale["px_per_in"]),
            number_of(scale["reprojection_rms_px"]),
            number_of(scale["u95_rel"]),
            bool(scale["bars_read"]),
            {int(card): places_of(place, (2,)) for card, place in working["card_places_in"].items() if place is not None},
            str(scale["source"]),
            card_moves={int(card): _moves(moves) for card, moves in working.get("card_moves", {}).items()},
            one_bar_read=bool(scale.get("one_bar_read")),
        ),
        _maybe_places(document["centre_px"], (2,)),
        tuple(tips),
        tuple(joints),
        tuple(int(lobe) for lobe in document["orientation"]["odd_lobes"]),
        warnings=tuple(str(words) for words in document["warnings"]),
        together=Together(tuple(photos), disagree) if len(photos) > 1 else None,
    )


def _tip(tip: Mapping[str, Any], working: Mapping[str, Any]) -> Tip:
    numbers = {name: _estimate(working[name]) for name in TIP_NUMBERS}
    return Tip(
        lobe=int(tip["lobe"]),
        ring=None if tip["ring"] is None else int(tip["ring"]),
        bearing=radians(number_of(tip["bearing_deg"])),
        tip_px=places_of(tip["tip_px"], (2,)),
        outline_px=places_of(tip["outline_px"], (4, 2)),
        own_seam_px=_maybe_places(tip["own_seam_px"], (2, 2)),
        seam_px=_maybe_places(tip["seam_px"], (2, 2)),
        seam_cue=tip["seam_cue"],
        verdict=None if tip["verdict"] is None else Verdict(tip["verdict"]),
        reason=_reason(tip["reason"]),
        dark_side=tip["dark_side"],
        place_in=_maybe_places(working["place_in"], (2,)),
        shape=None,  # comparing knows lobes by where they lie
        place=_place(working.get("place")),  # files of earlier versions don't have it
        edges=_edges(working.get("edges")),
        **numbers,
    )


def _place(told: Mapping[str, Any] | None) -> TipPlace | None:
    if told is None:
        return None
    return TipPlace(places_of(told["at_in"], (2,)), number_of(told["bearing"]), _moves(told["moves"]))


def _moves(told: Mapping[str, Any]) -> dict[str, Array]:
    return {str(source): places_of(own, (len(own), 2)) for source, own in told.items() if own}


def _edges(told: Any) -> tuple[OutlineEdge | None, OutlineEdge | None] | None:
    if told is None:
        return None
    left, right = (None if edge is None else _edge(edge) for edge in told)
    return left, right


def _edge(told: Mapping[str, Any]) -> OutlineEdge:
    first, both, second = (number_of(part) for part in told["cov"])
    causes = tuple(str(cause) for cause in told["causes"])
    u_model = number_of(told["u_model_in"])
    if not (first > 0 and second > 0 and both**2 <= first * second * (1 + 1e-4) and u_model >= 0):
        raise ValueError("no uncertainty")
    ends = places_of(told["ends_in"], (2, 2))
    if not np.hypot(*(ends[1] - ends[0])) > 0:
        raise ValueError("no edge")
    moves = places_of(told["moves_in"], (len(causes), 2)) if causes else np.zeros((0, 2))
    return OutlineEdge(ends, np.array([[first, both], [both, second]]), u_model, causes, moves)


def _joint(joint: Mapping[str, Any], working: Mapping[str, Any]) -> Joint:
    first, second = (None if lobe is None else int(lobe) for lobe in joint["lobes"])
    return Joint(
        (first, second),
        places_of(joint["edge_px"], (2, 2)),
        _estimate(working["max_gap"]),
        None if joint["mean_in"] is None else number_of(joint["mean_in"]),
        _maybe_places(joint["max_at_px"], (2,)),
        number_of(joint["measured_fraction"]),
        Verdict(joint["verdict"]),
        _reason(joint["reason"]),
    )


def _estimate(told: Mapping[str, Any] | None) -> Estimate | None:
    if told is None:
        return None
    parts = {str(source): number_of(part) for source, part in told["parts"].items()}
    shifts = {str(source): tuple(number_of(move) for move in moves) for source, moves in told["shifts"].items()}
    if any(part < 0 for part in parts.values()) or not any(parts.values()):
        raise ValueError("no uncertainty")
    return Estimate(number_of(told["value"]), parts, shifts)


def _reason(name: Any) -> Reason | None:
    return None if name is None else Reason[str(name).upper()]


def _maybe_places(value: Any, shape: tuple[int, ...]) -> Array | None:
    return None if value is None else places_of(value, shape)
