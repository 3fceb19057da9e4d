"""One inspection from several photos of one fit, lobe by lobe and joint by joint, and where the photos disagree."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..basis.errors import NotOneFit
from ..basis.frames import Array
from ..basis.reasons import Reason
from ..basis.uncertain import Estimate
from ..basis.units import lengths
from ..judge import judge_joint, judge_tip, odd_lobes
from ..result import Inspection, Joint, Tip, Together
from .match import match
from .numbers import combined, disagreement
from .shapes import shapes_together

# Photos of one untouched fit are wrongly said to disagree anywhere once in so many sets.
WRONGLY_DOUBTED = 1 / 100
# All numbers of a kind together scatter by chance more than this level's chi-squared once in so many sets.
BY_CHANCE = 1 / 20
# A photo in which more than this share of the points lies elsewhere shows another fit.
MOST_MOVED = 0.5

TIP_NUMBERS = ("seam_offset", "reach", "own_seam_offset", "length", "root_angle")


@dataclass(frozen=True)
class _Seen:
    """One photo, as the first photo numbers and places things."""

    inspection: Inspection
    tips: dict[int, Tip]  # by the first photo's numbers
    joints: dict[tuple[int | None, int | None], Joint]
    onto_first: Callable[[Array], Array]  # pixels (..., 2) of this photo -> of the first


def together(inspections: Sequence[Inspection]) -> Inspection:
    """One result from the inspections of two photos or more. Numbers and pixels are those of the first.

    Raises NotOneFit or WhichPointIsWhich where they can't be laid on each other.
    """
    first = inspections[0]
    seen = [_seen(first, one) for one in inspections]
    tips = {tip.lobe: [one.tips[tip.lobe] for one in seen if tip.lobe in one.tips] for tip in first.tips}
    joints = {joint.lobes: [one.joints[joint.lobes] for one in seen if joint.lobes in one.joints] for joint in first.joints}
    groups = [[_given([getattr(tip, name) for tip in tips[lobe]]) for lobe in tips] for name in TIP_NUMBERS]
    groups.append([_given([joint.max_gap for joint in same]) for same in joints.values()])
    limit = _limit(sum(len(values) > 1 for group in groups for values in group))
    share = {name: _own_share(group, limit) for name, group in zip((*TIP_NUMBERS, "max_gap"), groups, strict=True)}
    new_tips, said = [], []
    for tip in first.tips:
        new, doubts = _tip(tip.lobe, seen, share, limit, first.tolerance_in)
        new_tips.append(new)
        said += doubts
    _refuse_another_fit(new_tips, tips, inspections)
    new_joints = []
    for joint in first.joints:
        new_joint, doubts = _joint(joint, seen, share["max_gap"], limit, first.gap_tolerance_in)
        new_joints.append(new_joint)
        said += doubts
    return replace(
        first,
        tips=tuple(new_tips),
        joints=tuple(new_joints),
        odd_lobes=odd_lobes(new_tips),
        warnings=(*_elsewhere(first, new_tips), *_warnings(inspections)),
        helps=(),  # worked out for one photo, they'd promise too much for several
        together=Together(tuple(one.photo_name for one in inspections), tuple(said)),
    )


def _seen(first: Inspection, one: Inspection) -> _Seen:
    number = {tip.lobe: tip.lobe for tip in first.tips} if one is first else match(first, one)
    tips = {number[tip.lobe]: replace(tip, lobe=number[tip.lobe]) for tip in one.tips if tip.lobe in number}
    joints = {}
    for joint in one.joints:
        if all(lobe is None or lobe in number for lobe in joint.lobes):
            left, right = (None if lobe is None else number[lobe] for lobe in joint.lobes)
            joints[left, right] = joint
    by_number = {tip.lobe: tip for tip in first.tips}
    pairs = [(tip.outline_px, by_number[lobe].outline_px) for lobe, tip in tips.items()]
    return _Seen(
        one, tips, joints, (lambda px: px) if one is first else _mapping(*(np.concatenate(side) for side in zip(*pairs, strict=True)))
    )


def _mapping(points_px: Array, onto_px: Array) -> Callable[[Array], Array]:
    """The plane's own map from one photo to another, by the lobes' corners: for drawing, not for numbers."""
    import cv2

    good = np.isfinite(points_px).all(axis=1) & np.isfinite(onto_px).all(axis=1)
    matrix, _ = cv2.findHomography(points_px[good], onto_px[good], 0)

    def onto(px: Array) -> Array:
        flat = np.asarray(px, float).reshape(-1, 2)
        ahead = np.column_stack([flat, np.ones(len(flat))]) @ matrix.T
        return (ahead[:, :2] / ahead[:, 2:]).reshape(np.shape(px))

    return onto


def _given(values: Sequence[Estimate | None]) -> list[Estimate]:
    return [value for value in values if value is not None and np.isfinite(value.value) and np.isfinite(value.u)]


def _limit(tests: int) -> float:
    """The level of each of so many independent tests, of which none may be wrong more often than WRONGLY_DOUBTED (Sidak's)."""
    return 1 - (1 - WRONGLY_DOUBTED) ** (1 / max(tests, 1))


def _disagree(values: Sequence[Estimate], level: float) -> bool:
    from scipy.stats import chi2

    return len(values) > 1 and disagreement(values) > float(chi2.isf(level, len(values) - 1))


def _own_share(group: Sequence[Sequence[Estimate]], level: float) -> float:
    """Of the sampling variance of one kind of number, how much is each photo's own, by how far the photos scatter.

    1 where they scatter as much as independent errors of the stated size would; 0 where they say the very same; above 1 only where
    they scatter more than chance allows. What is shown to disagree doesn't count.
    """
    from scipy.stats import chi2

    tested = [values for values in group if len(values) > 1 and not _disagree(values, level)]
    freedom = sum(len(values) - 1 for values in tested)
    if not freedom:
        return 1.0
    scatter = sum(disagreement(values) for values in tested)
    return scatter / freedom if scatter > float(chi2.isf(BY_CHANCE, freedom)) else min(scatter / freedom, 1.0)


def _tip(lobe: int, seen: Sequence[_Seen], share: dict[str, float], level: float, tolerance_in: float) -> tuple[Tip, list[str]]:
    mine = [(one, one.tips[lobe]) for one in seen if lobe in one.tips]
    base = mine[0][1]
    numbers: dict[str, Estimate | None] = {}
    doubts: list[str] = []
    for name in TIP_NUMBERS:
        values = _given([getattr(tip, name) for _, tip in mine])
        apart = _disagree(values, level)
        numbers[name] = combined(values, share[name]) if values and not apart else None
        if apart:
            doubts.append(name)
    sides = {tip.dark_side for _, tip in mine if tip.dark_side is not None}
    offset = numbers["seam_offset"]
    moved = "seam_offset" in doubts or "reach" in doubts
    if moved:  # neither can be trusted where the lobe lay in two places
        offset = numbers["seam_offset"] = numbers["reach"] = None
    own_ends = _given([tip.own_end_offset for _, tip in mine])
    shown = _best_shown(mine)
    new = replace(
        shown,
        seam_offset=offset,
        reach=numbers["reach"],
        own_seam_offset=numbers["own_seam_offset"],
        length=numbers["length"],
        root_angle=numbers["root_angle"],
        own_end_offset=None if moved or not own_ends else combined(own_ends, share["seam_offset"]),
        verdict=None if base.verdict is None else judge_tip(offset, tolerance_in),
        reason=Reason.PHOTOS_DISAGREE if moved else None if offset is not None or _whole(base, numbers) else base.reason,
        dark_side=sides.pop() if len(sides) == 1 else None,
        shape=shapes_together([tip.shape for _, tip in mine], share),
        place=None,  # one photo's own, and its errors don't make these numbers
    )
    return new, _told(lobe, mine, doubts)


def _whole(base: Tip, numbers: dict[str, Estimate | None]) -> bool:
    """A loose lobe has no offset from a field seam: its own seam says whether it's measured."""
    return base.verdict is None and numbers["own_seam_offset"] is not None


def _best_shown(mine: Sequence[tuple[_Seen, Tip]]) -> Tip:
    """The first photo's tip; where that doesn't have the offset, with its places as the photo shows them that knows the offset best."""
    base = mine[0][1]
    measured = [(tip.seam_offset.u, one, tip) for one, tip in mine if tip.seam_offset is not None]
    if base.seam_offset is not None or not measured:
        return base
    _, one, tip = min(measured, key=lambda row: row[0])
    return replace(
        base,
        tip_px=one.onto_first(tip.tip_px),
        outline_px=one.onto_first(tip.outline_px),
        own_seam_px=None if tip.own_seam_px is None else one.onto_first(tip.own_seam_px),
        seam_px=None if tip.seam_px is None else one.onto_first(tip.seam_px),
        seam_cue=tip.seam_cue,
    )


def _told(lobe: int, mine: Sequence[tuple[_Seen, Tip]], doubts: Sequence[str]) -> list[str]:
    """What disagrees about a lobe, each in a sentence with what every photo says."""
    words = {
        "seam_offset": ("off its seam", True),
        "reach": ("from the centre", False),
        "own_seam_offset": ("off its own seam", True),
        "length": ("long", False),
        "root_angle": ("wide at the root", False),
    }
    sentences = []
    for name in doubts:
        what, signed = words[name]
        each = [f"{_value(name, getattr(tip, name), signed)} in {one.inspection.photo_name}" for one, tip in mine if getattr(tip, name)]
        moved = "it was moved in between, or one photo misleads" if name in ("seam_offset", "reach") else "one photo misleads"
        sentences.append(f"Lobe {lobe} is {', '.join(each)} {what}: {moved}.")
    return sentences


def _value(name: str, estimate: Estimate, signed: bool) -> str:
    if name == "root_angle":
        return f"{np.degrees(estimate.value):.2f} deg"
    side = "" if not signed else " clockwise" if estimate.value > 0 else " counterclockwise"
    return f"{_in_words(estimate)}{side}"


def _in_words(length: Estimate) -> str:
    return f"{lengths().number(length.value)} {lengths().symbol}"


def _refuse_another_fit(new: Sequence[Tip], tips: dict[int, list[Tip]], inspections: Sequence[Inspection]) -> None:
    tested = [tip for tip in new if sum(one.seam_offset is not None for one in tips[tip.lobe]) > 1]
    moved = sum(tip.reason is Reason.PHOTOS_DISAGREE for tip in tested)
    if len(tested) > 1 and moved > MOST_MOVED * len(tested):
        raise NotOneFit(photo=inspections[-1].photo_name if len(inspections) == 2 else "One of the photos", first=inspections[0].photo_name)


def _joint(base: Joint, seen: Sequence[_Seen], share: float, level: float, tolerance_in: float) -> tuple[Joint, list[str]]:
    mine = [(one, one.joints[base.lobes]) for one in seen if base.lobes in one.joints]
    measured = [(one, joint, joint.max_gap) for one, joint in mine if joint.max_gap is not None and np.isfinite(joint.max_gap.u)]
    if not measured:
        return base, []
    values = [gap for _, _, gap in measured]
    lobes = " and ".join("the field" if lobe is None else f"lobe {lobe}" for lobe in base.lobes)
    if _disagree(values, level):
        each = ", ".join(f"{_in_words(gap)} in {one.inspection.photo_name}" for one, _, gap in measured)
        gone = replace(
            base, max_gap=None, mean_in=None, max_at_px=None, verdict=judge_joint(None, tolerance_in), reason=Reason.PHOTOS_DISAGREE
        )
        return gone, [f"The joint of {lobes} gapes by {each}: something was moved in between, or one photo misleads."]
    gap = combined(values, share)
    means = [joint.mean_in for _, joint, _ in measured if joint.mean_in is not None]
    one, best, _ = min(measured, key=lambda row: row[2].u)
    at_px = base.max_at_px if base.max_gap is not None or best.max_at_px is None else one.onto_first(best.max_at_px)
    new = replace(
        base,
        max_gap=gap,
        mean_in=float(np.mean(means)) if means else None,
        max_at_px=at_px,
        measured_fraction=max(joint.measured_fraction for _, joint, _ in measured),
        verdict=judge_joint(gap, tolerance_in),
        reason=None,
    )
    return new, []


def _elsewhere(first: Inspection, tips: Sequence[Tip]) -> list[str]:
    """Which points the first photo doesn't show, so that nobody looks for them in its picture."""
    pairs = zip(first.tips, tips, strict=True)
    lobes = [str(tip.lobe) for one, tip in pairs if one.seam_offset is None and tip.seam_offset is not None]
    if not lobes:
        return []
    which = f"Lobe {lobes[0]} is" if len(lobes) == 1 else f"Lobes {', '.join(lobes[:-1])} and {lobes[-1]} are"
    return [f"{which} measured by the other photos alone: {first.photo_name} doesn't show all that is needed there."]


def _warnings(inspections: Sequence[Inspection]) -> tuple[str, ...]:
    """What holds for every photo, once; the rest with the photo's name."""
    shared = [words for words in inspections[0].warnings if all(words in one.warnings for one in inspections)]
    rest = [f"{one.photo_name}: {words}" for one in inspections for words in one.warnings if words not in shared]
    return (*shared, *dict.fromkeys(rest))
