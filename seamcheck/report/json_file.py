"""The result file: an inspection as JSON, schema_version 1.

Lengths in inches, angles in degrees, pixels of the upright photo at its full size. Unknown is null, never a guess.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from math import ceil, degrees, isfinite
from typing import Any

import numpy as np

from ..basis.frames import Array
from ..basis.uncertain import COVERAGE_95, Estimate
from ..judge import REPORTED_DECIMALS, evenly_divided, reported
from ..result import EDGES, HALF_ANGLES, BareTop, Help, Inspection, Joint, LobeShape, OutlineEdge, RosePlace, Seam, Stage, Tip, TipPlace

SCHEMA_VERSION = 1
PX_DECIMALS = 3
ANGLE_DECIMALS = 4
WORKING_DECIMALS = 8
MOVE_DECIMALS = 7

Json = dict[str, Any]


def result_bytes(
    inspection: Inspection, reduced_by: int = 1, full_size_px: tuple[int, int] | None = None, made_with: Json | None = None
) -> bytes:
    """The file's bytes, UTF-8, the same for the same inspection.

    A very large photo is measured on a copy `reduced_by` times smaller; the pixels given here are those of the
    photo itself, `full_size_px` wide and high. made_with: the program's version and the options.
    """
    document = {**result_document(inspection, reduced_by, full_size_px), "made_with": made_with}
    working = document.pop("working")  # thousands of numbers for programs alone: on one line
    text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False)
    packed = json.dumps(working, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return f'{text[:-2]},\n "working": {packed}\n}}\n'.encode()


def result_document(inspection: Inspection, reduced_by: int = 1, full_size_px: tuple[int, int] | None = None) -> Json:
    """The same as plain dictionaries and lists."""
    px = _Pixels(reduced_by)
    document: Json = {
        "schema_version": SCHEMA_VERSION,
        "photo": {"file": inspection.photo_name, "size_px": [int(side) for side in full_size_px or inspection.size_px]},
        "photos": list(inspection.together.photos) if inspection.together else [inspection.photo_name],
        "stage": inspection.stage.value,
        "stage_told": inspection.stage_told,
        "tolerance_in": float(inspection.tolerance_in),
        "gap_tolerance_in": float(inspection.gap_tolerance_in),
        "scale": {
            "source": inspection.scale.source,
            "cards": [int(card) for card in inspection.scale.cards],
            "px_per_in": _number(inspection.scale.px_per_in * reduced_by, PX_DECIMALS),
            "reprojection_rms_px": _number(inspection.scale.reprojection_rms_px * reduced_by, PX_DECIMALS),
            "u95_rel": _upward(inspection.scale.u95_rel, REPORTED_DECIMALS),
            "edge_px": px.of(inspection.scale.edge_px),
            "bars_read": inspection.scale.bars_read,
            "one_bar_read": inspection.scale.one_bar_read,
        },
        "centre_px": px.of(inspection.centre_px),
        "tips": [
            {**_tip(tip, px), "budget": _budget(tip, inspection.helps[k]) if inspection.helps else None}
            for k, tip in enumerate(inspection.tips)
        ],
        "joints": [_joint(joint, px) for joint in inspection.joints],
        "orientation": _orientation(inspection),
        "disagreements": list(inspection.together.disagree) if inspection.together else [],
        "warnings": list(inspection.warnings),
        "working": _working(inspection),
    }
    if inspection.stage is Stage.BARE:
        document["seams"] = [_seam(seam, px) for seam in inspection.seams]
        document["top"] = None if inspection.bare is None else _top(inspection.bare, px)
    return document


def is_result(data: bytes) -> bool:
    """Whether a file's bytes are such a result, of this schema or a later one."""
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return False
    return isinstance(document, dict) and isinstance(document.get("schema_version"), int) and {"photo", "stage"} <= document.keys()


class _Pixels:
    """Pixel places of the reduced copy, as pixels of the full photo."""

    def __init__(self, reduced_by: int) -> None:
        self._by = reduced_by

    def of(self, places: Array | None) -> list[Any] | None:
        """(..., 2) as nested lists; None where there is none or where any is not a finite number."""
        if places is None or not np.isfinite(places).all():
            return None
        full = (np.asarray(places, float) + 0.5) * self._by - 0.5
        rounded: list[Any] = (np.round(full, PX_DECIMALS) + 0.0).tolist()
        return rounded


def _number(value: float | None, decimals: int) -> float | None:
    """Rounded, with no minus before a zero; None for what isn't a finite number."""
    return None if value is None or not isfinite(value) else round(float(value), decimals) + 0.0


def _upward(u95: float, decimals: int) -> float | None:
    """An uncertainty, rounded up: none is written smaller than it is."""
    step = 10**decimals
    return None if not isfinite(u95) else ceil(u95 * step - 1e-6) / step


def _with_u95(name: str, unit: str, estimate: Estimate | None, scale: float = 1.0) -> Json:
    value, u95 = reported(estimate, scale) or (None, None)
    return {f"{name}_{unit}": value, f"{name}_u95_{unit}": u95}


def _bearing_deg(bearing: float) -> float:
    """In [0, 360)."""
    return round(degrees(bearing) % 360, ANGLE_DECIMALS) % 360 + 0.0


def _tip(tip: Tip, px: _Pixels) -> Json:
    return {
        "lobe": int(tip.lobe),
        "ring": None if tip.ring is None else int(tip.ring),
        "bearing_deg": _bearing_deg(tip.bearing),
        "tip_px": px.of(tip.tip_px),
        **_with_u95("reach", "in", tip.reach),
        **_with_u95("seam_offset", "in", tip.seam_offset),
        "seam_px": px.of(tip.seam_px),
        "seam_cue": tip.seam_cue,
        "verdict": tip.verdict.value if tip.verdict else None,
        "reason": tip.reason.name.lower() if tip.reason else None,
        **_with_u95("own_seam_offset", "in", tip.own_seam_offset),
        "own_seam_px": px.of(tip.own_seam_px),
        **_with_u95("length", "in", tip.length),
        **_with_u95("root_angle", "deg", tip.root_angle, degrees(1)),
        "dark_side": tip.dark_side,
        "outline_px": px.of(tip.outline_px),
        **({} if tip.shape is None else {"shape": _shape(tip.shape)}),
    }


def _shape(shape: LobeShape) -> Json:
    """Edge by edge, angle by angle; null where it couldn't be had."""
    numbers: Json = {}
    for edge in EDGES:
        numbers |= _with_u95(edge, "in", shape.lengths.get(edge)) | _with_u95(f"{edge}_bow", "in", shape.bows.get(edge))
    for angle in HALF_ANGLES:
        numbers |= _with_u95(angle, "deg", shape.angles.get(angle), degrees(1))
    return numbers | _with_u95("own_root_offset", "in", shape.own_root_offset)


TIP_NUMBERS = ("seam_offset", "reach", "own_seam_offset", "length", "root_angle", "own_end_offset")


def _working(inspection: Inspection) -> Json:
    """What a later comparison needs: places on the plane of this photo (inches), and what each number is uncertain by.

    Of each tip and joint, in the file's order: standard uncertainties by source (inches or rad), and of the sources that are one unknown
    in every photo of a fit, what each does to the number, with its sign.
    """
    return {
        "card_places_in": {str(card): _place(place) for card, place in inspection.scale.card_places_in.items()},
        "card_moves": {str(card): _moves(moves) for card, moves in inspection.scale.card_moves.items()},
        "tips": [
            {"place_in": _place(tip.place_in), "place": _whole_place(tip.place)}
            | {name: _shares(getattr(tip, name)) for name in TIP_NUMBERS}
            | ({} if tip.edges is None else {"edges": [_outline_edge(edge) for edge in tip.edges]})
            for tip in inspection.tips
        ],
        "joints": [{"max_gap": _shares(joint.max_gap)} for joint in inspection.joints],
    }


def _outline_edge(edge: OutlineEdge | None) -> Json | None:
    """A long edge in plan, left then right; null where it wasn't measured."""
    if edge is None or not all(np.isfinite(part).all() for part in (edge.ends_in, edge.cov, edge.u_model_in, edge.moves_in)):
        return None
    return {
        "ends_in": np.round(edge.ends_in, WORKING_DECIMALS).tolist(),
        "cov": [float(f"{part:.6g}") for part in edge.cov[[0, 0, 1], [0, 1, 1]]],
        "u_model_in": round(edge.u_model_in, WORKING_DECIMALS),
        "causes": list(edge.causes),
        "moves_in": np.round(edge.moves_in, WORKING_DECIMALS).tolist(),
    }


def _place(place_in: Array | None) -> list[float] | None:
    if place_in is None or not np.isfinite(place_in).all():
        return None
    rounded: list[float] = (np.round(np.asarray(place_in, float), REPORTED_DECIMALS) + 0.0).tolist()
    return rounded


def _whole_place(place: TipPlace | None) -> Json | None:
    """Where a tip lies (inches), which way its lobe points (rad), and what each unknown does to the place (inches)."""
    if place is None or not isfinite(place.bearing) or not all(np.isfinite(one).all() for one in (place.at_in, *place.moves.values())):
        return None
    at_in = [round(float(one), WORKING_DECIMALS) for one in place.at_in]
    return {"at_in": at_in, "bearing": float(place.bearing), "moves": _moves(place.moves)}


def _moves(moves: Mapping[str, Array]) -> Json:
    return {source: (np.round(np.asarray(own, float), MOVE_DECIMALS) + 0.0).tolist() for source, own in moves.items()}


def _shares(estimate: Estimate | None) -> Json | None:
    if estimate is None or not (isfinite(estimate.value) and isfinite(estimate.u)):
        return None
    return {
        "value": round(float(estimate.value), WORKING_DECIMALS),
        "parts": {source: round(float(part), WORKING_DECIMALS) for source, part in estimate.parts.items()},
        "shifts": {source: [round(float(one), WORKING_DECIMALS) for one in moves] for source, moves in estimate.shifts.items()},
    }


def _budget(tip: Tip, helps: Mapping[str, tuple[Help, ...]]) -> Json:
    """By number: each source's share as u95, inches, and what would help, most first."""
    return {
        name: {
            "parts_u95_in": {source: _number(COVERAGE_95 * part, REPORTED_DECIMALS) for source, part in getattr(tip, name).parts.items()},
            "helps": [{"action": one.action, "u95_in": _number(one.u95_after, REPORTED_DECIMALS)} for one in found],
        }
        for name, found in helps.items()
    }


def _joint(joint: Joint, px: _Pixels) -> Json:
    max_in, u95_in = reported(joint.max_gap) or (None, None)
    return {
        "lobes": [None if lobe is None else int(lobe) for lobe in joint.lobes],
        "edge_px": px.of(joint.edge_px),
        "max_in": max_in,
        # A number that is given has its u95, and the mean's is the widest gap's.
        "mean_in": None if max_in is None else _number(joint.mean_in, REPORTED_DECIMALS),
        "u95_in": u95_in,
        "max_at_px": px.of(joint.max_at_px),
        "measured_fraction": _number(joint.measured_fraction, 3),
        "verdict": joint.verdict.value,
        "reason": joint.reason.name.lower() if joint.reason else None,
    }


def _seam(seam: Seam, px: _Pixels) -> Json:
    _, place_u95 = reported(seam.place) or (None, None)
    off_in, off_u95 = reported(seam.off_centre) or (None, None)
    return {
        "bearing_deg": _bearing_deg(seam.bearing),
        "bearing_u95_deg": _upward(degrees(COVERAGE_95 * seam.u_bearing), ANGLE_DECIMALS),
        "off_centre_in": off_in,
        "place_u95_in": place_u95,
        "seam_px": px.of(seam.seam_px),
        "off_centre_u95_in": off_u95,
        "seam_cue": seam.cue,
    }


def _top(top: BareTop, px: _Pixels) -> Json:
    """A bare top besides its seams. Bearings from the photo's up; misses and turns positive clockwise."""
    return {
        "leaves": top.leaves,
        "seams_looked_for": top.looked_for,
        "seam_numbers": list(top.numbers),
        "unmeasured_seams": [{"seam": k, "bearing_deg": _bearing_deg(bearing), "reason": why.name.lower()} for k, bearing, why in top.lost],
        "centre_u95_in": _upward(COVERAGE_95 * top.u_centre_in, REPORTED_DECIMALS),
        **_with_u95("diameter", "in", top.diameter),
        **_with_u95("edge_off_centre", "in", top.edge_off),
        "edge_off_bearing_deg": None if top.edge_off_bearing is None else _bearing_deg(top.edge_off_bearing),
        "edge_centre_px": px.of(top.edge_centre_px),
        "edge_reason": top.edge_reason.name.lower() if top.edge_reason else None,
        "rose_reaches_in": [_number(reach, REPORTED_DECIMALS) for reach in top.reaches_in],
        "rose_reach_told": top.reach_told,
        "rose_least_miss": None if top.even is None else _rose_place(top.even, px),
        "rose_fewest_suited": None if top.fewest is None else _rose_place(top.fewest, px),
    }


def _rose_place(place: RosePlace, px: _Pixels) -> Json:
    def angle(value: float | None) -> float | None:
        return None if value is None else _number(degrees(value), ANGLE_DECIMALS)

    return {
        "centre_px": px.of(place.centre_px),
        "shift_right_in": _number(place.shift_in[0], REPORTED_DECIMALS),
        "shift_up_in": _number(place.shift_in[1], REPORTED_DECIMALS),
        "turn_deg": angle(place.turn),
        "largest_miss_in": _number(place.largest_in, REPORTED_DECIMALS),
        "points": [
            {
                "seam": point.seam,
                "ring": point.ring,
                "bearing_deg": _bearing_deg(point.bearing),
                "tip_px": px.of(point.tip_px),
                "reach_in": _number(point.reach_in, REPORTED_DECIMALS),
                **_with_u95("miss", "in", point.miss),
                "made_to_suit": point.suited,
                "left_angle_deg": angle(point.left_angle),
                "right_angle_deg": angle(point.right_angle),
            }
            for point in place.points
        ],
    }


def _orientation(inspection: Inspection) -> Json:
    known = sum(tip.dark_side is not None for tip in inspection.tips)
    odd = [int(lobe) for lobe in inspection.odd_lobes]
    alike = not odd and not evenly_divided(inspection.tips)
    return {"consistent": alike if known > 1 else None, "odd_lobes": odd}
