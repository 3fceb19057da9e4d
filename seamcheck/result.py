"""What an inspection found: the one value that every report is made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from .basis.frames import Array
from .basis.reasons import Reason
from .basis.uncertain import Estimate


class Stage(Enum):
    """What the photo shows; the value is what the command line and the result file say."""

    DRY_FIT = "dry-fit"
    INLAID = "inlaid"
    LOOSE = "loose"
    BARE = "bare"


class Verdict(Enum):
    """Tips: on, off, unsure, unmeasured. Joints: closed, open, unsure, unmeasured."""

    ON = "on"
    OFF = "off"
    CLOSED = "closed"
    OPEN = "open"
    UNSURE = "unsure"
    UNMEASURED = "unmeasured"


@dataclass(frozen=True)
class Tip:
    """One lobe's tip. Pixels are those of the upright photo, on the lobe's face."""

    lobe: int  # 1, 2, ... ring by ring, clockwise
    ring: int | None  # None for loose lobes
    bearing: float  # rad, clockwise from the photo's up at the centre
    tip_px: Array  # (2,)
    outline_px: Array  # (4, 2): root, left shoulder, tip, right shoulder, as measured or supposed
    own_seam_px: Array | None  # (2, 2): root end, tip end
    reach: Estimate | None  # inches
    seam_offset: Estimate | None  # inches, positive clockwise about the centre
    seam_px: Array | None  # (2, 2): where the field seam was seen, inner and outer end, at the field's face
    seam_cue: str | None  # "line", "grain" or "step": what the seam was followed by
    verdict: Verdict | None  # None for loose lobes
    reason: Reason | None  # why unmeasured
    own_seam_offset: Estimate | None  # inches, positive clockwise
    length: Estimate | None  # inches, root to tip
    root_angle: Estimate | None  # rad
    dark_side: str | None  # "cw" or "ccw", looking from root to tip
    place_in: Array | None = None  # (2,) the tip in plan, in the plane frame of its photo


@dataclass(frozen=True)
class Joint:
    """Two edges that should close on each other. `lobes` has None in place of the field."""

    lobes: tuple[int | None, int | None]
    edge_px: Array  # (2, 2): the nominal edge, inner to outer end
    max_gap: Estimate | None  # inches; 95th percentile along the joint
    mean_in: float | None
    max_at_px: Array | None  # (2,)
    measured_fraction: float  # of the edge's length
    verdict: Verdict
    reason: Reason | None


@dataclass(frozen=True)
class Seam:
    """A field seam of a bare top."""

    bearing: float  # rad
    u_bearing: float
    off_centre_in: float
    place: Estimate  # across the seam, at the middle of the stretch that was seen
    seam_px: Array  # (2, 2)


@dataclass(frozen=True)
class Scale:
    """How the photo was scaled."""

    cards: tuple[int, ...]  # numbers of the cards that were used
    px_per_in: float  # at the centre
    reprojection_rms_px: float
    u95_rel: float  # of lengths, print scale included
    bars_read: bool
    card_places_in: Mapping[int, Array] = field(default_factory=dict)  # (2,) each used card's middle, in the plane frame of its photo


@dataclass(frozen=True)
class Help:
    """One thing that a person can do about a number's uncertainty."""

    action: str  # its name in the result file
    words: str  # "lay a card near the point"
    u95_after: float  # what u95 would come to, in the number's unit


@dataclass(frozen=True)
class Together:
    """Several photos of one fit, from which one result was made. Lobes and pixels are those of the first."""

    photos: tuple[str, ...]  # the files' names, the first's first
    disagree: tuple[str, ...]  # plain sentences: what lies elsewhere in one photo than in another


@dataclass(frozen=True)
class Inspection:
    """Everything found in one photo, or in several of one fit."""

    photo_name: str
    size_px: tuple[int, int]  # width, height of the upright photo
    stage: Stage
    stage_told: bool  # by the person; else the photo decided
    tolerance_in: float
    gap_tolerance_in: float
    scale: Scale
    centre_px: Array | None  # (2,), on the rose's face
    tips: tuple[Tip, ...] = ()
    joints: tuple[Joint, ...] = ()
    odd_lobes: tuple[int, ...] = ()  # laid the wrong way round
    seams: tuple[Seam, ...] = ()  # bare tops only
    warnings: tuple[str, ...] = field(default=())  # plain sentences
    together: Together | None = None  # None for one photo
    # Of each tip, by the number's name (a field of Tip): what would help, most first; empty unless it was asked for.
    helps: tuple[Mapping[str, tuple[Help, ...]], ...] = ()
