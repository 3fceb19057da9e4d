"""A made-up inspection for the tests of what is made from one: no photo, no measuring, every kind of answer once."""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, radians, sin

import numpy as np

from seamcheck.basis.reasons import Reason
from seamcheck.basis.uncertain import COVERAGE_95, Estimate
from seamcheck.result import BareTop, Inspection, Joint, RosePlace, RosePoint, Scale, Seam, Stage, Tip, Verdict

SIZE_PX = (1200, 900)
CENTRE_PX = np.array([600.0, 450.0])
PX_PER_IN = 100.0


def estimate(value: float, u95: float) -> Estimate:
    """Two parts that together give this u95."""
    u = u95 / COVERAGE_95
    return Estimate(value, {"sampling": 0.6 * u, "model": 0.8 * u})


def at(bearing_deg: float, reach_in: float) -> np.ndarray:
    """Where a bearing and a distance from the centre lie in the photo, px."""
    bearing = radians(bearing_deg)
    return CENTRE_PX + PX_PER_IN * reach_in * np.array([sin(bearing), -cos(bearing)])


def tip(lobe: int, bearing_deg: float, offset: Estimate | None, verdict: Verdict | None, reason: Reason | None = None) -> Tip:
    """A first-ring lobe, 3 in long."""
    return Tip(
        lobe=lobe,
        ring=1,
        bearing=radians(bearing_deg),
        tip_px=at(bearing_deg, 3.0),
        outline_px=np.stack([at(bearing_deg, 0), at(bearing_deg - 20, 0.8), at(bearing_deg, 3.0), at(bearing_deg + 20, 0.8)]),
        own_seam_px=np.stack([at(bearing_deg, 0), at(bearing_deg, 3.0)]),
        reach=estimate(3.0, 0.004),
        seam_offset=offset,
        seam_px=None if offset is None else np.stack([at(bearing_deg, 3.05), at(bearing_deg, 4.0)]),
        seam_cue=None if offset is None else "line",
        verdict=verdict,
        reason=reason,
        own_seam_offset=estimate(-0.0021, 0.003),
        length=estimate(3.0012, 0.005),
        root_angle=estimate(radians(45.1), radians(0.2)),
        dark_side="cw",
    )


def joint(
    first: int | None, second: int | None, bearing_deg: float, gap: Estimate | None, verdict: Verdict, reason: Reason | None = None
) -> Joint:
    """Along a short edge."""
    return Joint(
        lobes=(first, second),
        edge_px=np.stack([at(bearing_deg, 0.0), at(bearing_deg, 0.8)]),
        max_gap=gap,
        mean_in=None if gap is None else gap.value / 2,
        max_at_px=None if gap is None else at(bearing_deg, 0.7),
        measured_fraction=0.0 if gap is None else 0.875,
        verdict=verdict,
        reason=reason,
    )


TIPS = (
    tip(1, 2, estimate(0.0012, 0.0031), Verdict.ON),
    tip(2, 92, estimate(0.0466, 0.0040), Verdict.OFF),
    tip(3, 182, estimate(-0.0121, 0.0060), Verdict.UNSURE),
    tip(4, 272, None, Verdict.UNMEASURED, Reason.TIP_COVERED),
)
JOINTS = (
    joint(1, 2, 47, estimate(0.0185, 0.0040), Verdict.OPEN),
    joint(2, 3, 137, estimate(0.0310, 0.0050), Verdict.OPEN),
    joint(3, 4, 227, estimate(0.0090, 0.0040), Verdict.UNSURE),
    joint(4, 1, 317, None, Verdict.UNMEASURED, Reason.JOINT_DARK),
)

DRY_FIT = Inspection(
    photo_name="rose.jpg",
    size_px=SIZE_PX,
    stage=Stage.DRY_FIT,
    stage_told=True,
    tolerance_in=1 / 64,
    gap_tolerance_in=0.010,
    scale=Scale(cards=(1, 3, 4), px_per_in=PX_PER_IN, reprojection_rms_px=0.041, u95_rel=0.0011, bars_read=True),
    centre_px=CENTRE_PX,
    tips=TIPS,
    joints=JOINTS,
    odd_lobes=(3,),
    warnings=("Card 2 is curled, so it was left out.",),
)

ALL_WELL = replace(
    DRY_FIT,
    tips=tuple(tip(i + 1, 90 * i, estimate(0.001, 0.003), Verdict.ON) for i in range(4)),
    joints=tuple(joint(i + 1, (i + 1) % 4 + 1, 90 * i + 45, estimate(0.002, 0.003), Verdict.CLOSED) for i in range(4)),
    odd_lobes=(),
    warnings=(),
)

LOOSE = replace(
    DRY_FIT,
    stage=Stage.LOOSE,
    centre_px=None,
    tips=tuple(replace(one, ring=None, verdict=None, reach=None, seam_offset=None, seam_px=None, seam_cue=None) for one in TIPS[:3]),
    joints=(),
    odd_lobes=(),
)

BARE = replace(
    DRY_FIT,
    stage=Stage.BARE,
    tips=(),
    joints=(),
    odd_lobes=(),
    seams=tuple(
        Seam(
            2 * pi * i / 4, radians(0.02), estimate(0.004 * i, 0.003), estimate(0.001, 0.002), np.stack([at(90 * i, 0.5), at(90 * i, 4.0)])
        )
        for i in range(4)
    ),
)


# Two of its seams alone: they make no centre.
TWO_SEAMS = replace(BARE, seams=tuple(replace(seam, off_centre=None) for seam in BARE.seams[::2]), centre_px=None)


def _placed(suited: bool) -> RosePlace:
    points = tuple(
        RosePoint(
            1,
            k + 1,
            2 * pi * k / 4,
            at(90 * k, 3.0),
            3.0,
            None if k == 3 else estimate(0.02 - 0.01 * k, 0.003),
            suited and k == 2,
            pi / 4 - 0.01,
            pi / 4,
        )
        for k in range(4)
    )
    return RosePlace(np.array([602.0, 447.0]), (0.02, -0.01), radians(0.1), points, 0.02)


BARE_TOP = replace(
    BARE,
    seams=tuple(replace(seam, cue="line") for seam in BARE.seams[:3]),
    bare=BareTop(
        4,
        4,
        0.001,
        ((4, radians(270), Reason.SEAM_FAINT),),
        (1, 2, 3),
        estimate(16.02, 0.02),
        estimate(0.03, 0.006),
        radians(120),
        np.array([603.0, 452.0]),
        np.stack([at(10.0 * k, 4.3) for k in range(36)]),
        None,
        (3.0,),
        False,
        _placed(False),
        _placed(True),
    ),
)
NO_EDGE = replace(
    BARE_TOP,
    bare=replace(
        BARE_TOP.bare,
        diameter=None,
        edge_off=None,
        edge_off_bearing=None,
        edge_centre_px=None,
        edge_px=None,
        edge_reason=Reason.EDGE_OUT_OF_FRAME,
        even=None,
        fewest=None,
    ),
)
