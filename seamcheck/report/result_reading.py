"""A result file read back, as far as planning and deciding need it: a `Fit`, in inches on the top.

The file holds places as the photo shows them. Where five or more places are known both ways (each tip by its pixel and by
reach and bearing, and the centre) the photo's perspective is undone exactly; otherwise the scale at the centre serves, good to
a few per cent, which is enough for lever arms. Gaps and offsets are taken as they were measured.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from math import isfinite, radians
from pathlib import Path
from typing import Any

import numpy as np

from ..advise.fit import Fit, FitJoint, FitLobe, opening_at_ends, standard
from ..basis.errors import NewerResult, NotADryFit, NotAResult, ResultMissing, ResultUnreadable, SpoiltResult
from ..basis.frames import Array, unit_of_bearing
from ..basis.reasons import Reason
from ..basis.uncertain import Estimate
from ..judge import judge_joint, judge_tip
from ..photo import shown_name
from ..result import Verdict
from .json_file import SCHEMA_VERSION

MOST_BYTES = 50_000_000  # a result is some tens of kilobytes
LEAST_PLACES = 5  # known both ways, for eight unknowns
WORST_PLACE_IN = 0.05  # a place that the perspective misses by more than this says that reach and pixel don't belong together

# Files of the first version may not hold what was asked for: then it was this.
USUAL_TOLERANCES = (("tolerance_in", 1 / 64), ("gap_tolerance_in", 0.010))

STAGES = {"dry-fit": "a dry fit", "inlaid": "an inlaid rose", "loose": "loose lobes", "bare": "a bare top"}


def read_fit(path: Path) -> Fit:
    """The dry fit in a result file. Raises a FileError with a plain sentence for anything else."""
    name = shown_name(path)
    return fit_of(read_document(path, name), name)


def fit_of(document: Mapping[str, Any], name: str) -> Fit:
    """The same from the file's document; name: what it is called in a refusal."""
    if document["stage"] != "dry-fit":
        raise NotADryFit(file=name, stage=STAGES.get(document["stage"], "something else"))
    try:
        return _fit(document)
    except (KeyError, TypeError, ValueError, IndexError, AttributeError, np.linalg.LinAlgError):
        raise SpoiltResult(file=name) from None


def read_document(path: Path, name: str) -> dict[str, Any]:
    """A result file's document, of this schema. Raises a FileError; `name` is what the file is called in it."""
    try:
        if not path.exists():
            raise ResultMissing(file=name)
        if not path.is_file() or path.stat().st_size > MOST_BYTES:
            raise NotAResult(file=name)
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        raise ResultUnreadable(file=name, why=getattr(error, "strerror", None) or "its name can't be used") from None
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        raise NotAResult(file=name) from None
    version = document.get("schema_version") if isinstance(document, dict) else None
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise NotAResult(file=name)
    refuse_newer(version, name)
    if not {"photo", "stage", "tips", "joints"} <= document.keys():
        raise NotAResult(file=name)
    return document


def refuse_newer(version: object, name: str) -> None:
    """Raises NewerResult where a result file's version is one that this program doesn't know yet."""
    if isinstance(version, int) and version > SCHEMA_VERSION:
        raise NewerResult(file=name, version=version, known=SCHEMA_VERSION)


def _fit(document: Mapping[str, Any]) -> Fit:
    plan = _Plan(document)
    tolerance_in, gap_tolerance_in = (_positive(document.get(name, usual)) for name, usual in USUAL_TOLERANCES)
    lobes = tuple(_lobe(tip, plan, tolerance_in) for tip in document["tips"])
    numbers = {lobe.number for lobe in lobes}
    if len(numbers) != len(lobes):
        raise ValueError("two lobes of one number")
    joints = tuple(_joint(joint, plan, gap_tolerance_in) for joint in document["joints"] if None not in joint["lobes"])
    if not all(numbers >= set(joint.lobes) and joint.lobes[0] != joint.lobes[1] for joint in joints):
        raise ValueError("a joint of no lobe")
    orientation = document.get("orientation") or {}
    return Fit(
        str(document["photo"]["file"]),
        tolerance_in,
        gap_tolerance_in,
        lobes,
        joints,
        tuple(int(lobe) for lobe in orientation.get("odd_lobes") or []),
        tuple(str(sentence) for sentence in document.get("disagreements") or []),
        orientation.get("consistent") is False and not orientation.get("odd_lobes"),
    )


class _Plan:
    """The way from the photo's pixels to inches about the centre."""

    def __init__(self, document: Mapping[str, Any]) -> None:
        self.centre_px = places_of(document["centre_px"], (2,))
        self.px_per_in = _positive(document["scale"]["px_per_in"])
        known = [tip for tip in document["tips"] if tip["reach_in"] is not None and tip["bearing_deg"] is not None]
        px = [places_of(tip["tip_px"], (2,)) for tip in known] + [self.centre_px]
        inches = [number_of(tip["reach_in"]) * unit_of_bearing(radians(number_of(tip["bearing_deg"]))) for tip in known] + [np.zeros(2)]
        self.matrix = _perspective(self._flat(np.stack(px)), np.stack(inches)) if len(known) + 1 >= LEAST_PLACES else None

    def _flat(self, px: Array) -> Array:
        return (px - self.centre_px) / self.px_per_in * [1, -1]

    def inches(self, px: Any, shape: tuple[int, ...]) -> Array:
        """Places of that shape, (..., 2)."""
        flat = self._flat(places_of(px, shape))
        if self.matrix is None:
            return flat
        whole = np.concatenate([flat, np.ones((*flat.shape[:-1], 1))], axis=-1) @ self.matrix.T
        return whole[..., :2] / whole[..., 2:]


def _perspective(seen: Array, true: Array) -> Array | None:
    """(3, 3) homography from places (n, 2) to places (n, 2), least squares; None where they don't belong together."""
    rows = []
    for (x, y), (u, v) in zip(seen, true, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
    answer, _, rank, _ = np.linalg.lstsq(np.array(rows), true.ravel(), rcond=1e-9)
    if rank < 8:
        return None
    matrix = np.append(answer, 1.0).reshape(3, 3)
    whole = np.column_stack([seen, np.ones(len(seen))]) @ matrix.T
    missed = np.hypot(*(whole[:, :2] / whole[:, 2:] - true).T)
    return matrix if np.isfinite(missed).all() and missed.max() < WORST_PLACE_IN else None


def _lobe(tip: dict[str, Any], plan: _Plan, tolerance_in: float) -> FitLobe:
    bearing = radians(number_of(tip["bearing_deg"]))
    outline = plan.inches(tip["outline_px"], (4, 2))
    if tip["seam_px"] is None:
        seam_out = unit_of_bearing(bearing)
    else:
        way = np.diff(plan.inches(tip["seam_px"], (2, 2)), axis=0)[0]
        seam_out = way / np.hypot(*way)
        if seam_out @ unit_of_bearing(bearing) < 0:
            seam_out = -seam_out
    offset, u95 = tip["seam_offset_in"], tip["seam_offset_u95_in"]
    told = offset is not None and u95 is not None
    verdict = Verdict(tip["verdict"]) if told else Verdict.UNMEASURED
    if verdict is Verdict.UNMEASURED:
        told = False
    if verdict is Verdict.ON and judge_tip(_estimate(offset, u95), tolerance_in) is not Verdict.ON:
        raise ValueError("on, but not by its numbers")
    return FitLobe(
        int(tip["lobe"]),
        int(tip["ring"]),
        bearing,
        outline,
        seam_out,
        number_of(offset) if told else None,
        _positive(u95) if told else None,
        verdict,
        _reason(tip.get("reason")),
    )


def _joint(joint: dict[str, Any], plan: _Plan, gap_tolerance_in: float) -> FitJoint:
    first, second = (int(lobe) for lobe in joint["lobes"])
    edge = plan.inches(joint["edge_px"], (2, 2))
    if joint["max_in"] is None or joint["u95_in"] is None or joint["verdict"] == "unmeasured":
        return FitJoint((first, second), edge, None, None, Verdict.UNMEASURED, _reason(joint.get("reason")))
    max_in = number_of(joint["max_in"])
    mean_in = None if joint["mean_in"] is None else number_of(joint["mean_in"])
    max_at = None
    if joint["max_at_px"] is not None:
        way = edge[1] - edge[0]
        max_at = float((plan.inches(joint["max_at_px"], (2,)) - edge[0]) @ way / (way @ way))
    opening, verdict = opening_at_ends(max_in, mean_in, max_at), Verdict(joint["verdict"])
    if verdict is Verdict.CLOSED and judge_joint(_estimate(max_in, joint["u95_in"]), gap_tolerance_in) is not Verdict.CLOSED:
        raise ValueError("closed, but not by its numbers")
    return FitJoint((first, second), edge, opening, _positive(joint["u95_in"]), verdict, None, max_in)


def _estimate(value: Any, u95: Any) -> Estimate:
    return Estimate(number_of(value), {"measured": standard(_positive(u95))})


def _reason(name: Any) -> Reason | None:
    return Reason.__members__.get(name.upper()) if isinstance(name, str) else None


def number_of(value: Any) -> float:
    """A finite number, or ValueError."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise ValueError("not a number")
    return float(value)


def _positive(value: Any) -> float:
    if number_of(value) <= 0:
        raise ValueError("not above zero")
    return float(value)


def places_of(value: Any, shape: tuple[int, ...]) -> Array:
    """Finite places of that shape, or ValueError."""
    places = np.asarray(value, float)
    if places.shape != shape or not np.isfinite(places).all():
        raise ValueError("not places")
    return places
