"""What an inspection found: the one value that every report is made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

import numpy as np

from .basis.frames import Array, right_of
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


class Room(Enum):
    """How an edge or a point of the rose goes into its recess."""

    TIGHT = "tight"
    FITS = "fits"
    GAPES = "gapes"
    UNSURE = "unsure"
    UNMEASURED = "unmeasured"


# A lobe's edges, and its angles beside the line from root to tip; left and right as seen from the root.
EDGES = ("left_short", "right_short", "left_long", "right_long")
HALF_ANGLES = ("left_root", "right_root", "left_tip", "right_tip")


@dataclass(frozen=True)
class LobeShape:
    """The shape of a lobe that lies loose; what couldn't be had is missing."""

    lengths: Mapping[str, Estimate]  # inches, by edge: corner to corner, where the straight edges meet
    bows: Mapping[str, Estimate]  # inches, by edge: how far its middle stands out over its ends (negative: hollow), as far as it was seen
    angles: Mapping[str, Estimate]  # rad, by half angle: between the line from root to tip and the edge
    own_root_offset: Estimate | None  # inches: the root lies clockwise (to the right) of the own seam


@dataclass(frozen=True)
class TipPlace:
    """Where a measured tip lies in plan, and what it is uncertain by. Frame: the plane of its photo."""

    at_in: Array  # (2,)
    bearing: float  # rad, clockwise from +y: the lobe's axis, outward
    # What each unknown, one standard uncertainty larger, does to the place: (n, 2) inches, by source. All tips of a photo share the
    # unknowns of the camera and the veneer, in the same order; those of its edges are each tip's own.
    moves: Mapping[str, Array]


@dataclass(frozen=True)
class OutlineEdge:
    """A straight edge of an outline, in the plane frame of its photo. Across is positive to the right of notch to point."""

    ends_in: Array  # (2, 2), on the line: where the outline turns at the notch, and at the point
    cov: Array  # (2, 2) of its place across at the two ends, in^2: sampling, and how an edge bows where it wasn't seen
    u_model_in: float  # the same of the line as a whole, from what its model leaves out
    causes: tuple[str, ...]  # what all edges of a photo share: camera, print, veneer
    moves_in: Array  # (causes, 2): how far each, one standard uncertainty larger, moves the line across at the two ends

    @property
    def normal(self) -> Array:
        """(2,) unit, to the right of notch to point."""
        way = right_of(self.ends_in[1] - self.ends_in[0])
        return way / np.hypot(*way)

    def weights_at(self, place_in: Array) -> Array:
        """(2,): the line's place at a point's foot is so much of its places at the two ends."""
        way = self.ends_in[1] - self.ends_in[0]
        share = float((place_in - self.ends_in[0]) @ way / (way @ way))
        return np.array([1 - share, share])


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
    # Inches, positive clockwise: its own seam, where it passes the tip, from the field seam. The same as the seam offset less the
    # own-seam offset, but known without the edges: what tells a lobe that was moved from edges that are hard to see.
    own_end_offset: Estimate | None = None
    shape: LobeShape | None = None  # loose lobes only
    place: TipPlace | None = None  # None where an edge is missing, or several photos make the tip
    edges: tuple[OutlineEdge | None, OutlineEdge | None] | None = None  # long edges, left and right, in plan; not of loose lobes


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
    off_centre: Estimate | None  # inches, positive: it passes clockwise of where all seams meet; None where too few make a centre
    place: Estimate  # across the seam, at the middle of the stretch that was seen
    seam_px: Array  # (2, 2): where it was seen, inner and outer end
    cue: str | None = None  # "line", "grain" or "step": what most of it was followed by


@dataclass(frozen=True)
class RosePoint:
    """One point of a rose laid on a bare top."""

    ring: int
    seam: int  # its seam's number, 1, 2, ... as the leaves' seams are numbered
    bearing: float  # rad, from the photo's up, at the rose's centre
    tip_px: Array  # (2,) on the field's face
    reach_in: float
    miss: Estimate | None  # inches, positive: clockwise of its seam; None where its seam couldn't be had
    suited: bool  # its lobe is to be made to suit
    left_angle: float | None  # rad, at the root: from its own seam to the joint on its left, and on its right
    right_angle: float | None


@dataclass(frozen=True)
class RosePlace:
    """Where to lay a perfect rose on a bare top."""

    centre_px: Array  # (2,)
    shift_in: tuple[float, float]  # from where the seams meet: to the photo's right and up
    turn: float  # rad, clockwise from the mean of the seams' bearings
    points: tuple[RosePoint, ...]  # going round
    largest_in: float  # miss, of the points whose lobes aren't made to suit


@dataclass(frozen=True)
class BareTop:
    """What a bare top is, besides its seams."""

    leaves: int | None  # None where the seams that were followed don't bear a count out
    looked_for: int  # seams: as many as the likeliest pattern of leaves has
    u_centre_in: float  # standard uncertainty of where the seams meet, along the worst direction, from the seams alone
    lost: tuple[tuple[int, float, Reason], ...]  # seams that couldn't be had: number, bearing (rad, from up), why; () if leaves is None
    numbers: tuple[int, ...]  # of the seams that were measured
    diameter: Estimate | None  # inches
    edge_off: Estimate | None  # inches: how far the round edge's centre lies from where the seams meet
    edge_off_bearing: float | None  # rad, from the photo's up: which way
    edge_centre_px: Array | None  # (2,)
    edge_px: Array | None  # (n, 2) where the edge was seen, going round
    edge_reason: Reason | None  # why it isn't measured
    reaches_in: tuple[float, ...] = ()  # of the rose that was placed, ring by ring
    reach_told: bool = False
    even: RosePlace | None = None  # least largest miss
    fewest: RosePlace | None = None  # fewest lobes to make to suit; None where none need be


@dataclass(frozen=True)
class Scale:
    """How the photo was scaled."""

    cards: tuple[int, ...]  # numbers of the cards that were used
    px_per_in: float  # at the centre
    reprojection_rms_px: float
    u95_rel: float  # of lengths, print scale included
    bars_read: bool  # both check bars
    card_places_in: Mapping[int, Array] = field(default_factory=dict)  # (2,) each used card's middle, in the plane frame of its photo
    source: str = "cards"  # or "known length"
    edge_px: Array | None = None  # (n, 2) the round edge that gave it
    # What the camera's unknowns, one standard uncertainty each, do to those places: (n, 2) inches, by card and source, as in `TipPlace`.
    card_moves: Mapping[int, Mapping[str, Array]] = field(default_factory=dict)
    one_bar_read: bool = False


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
    bare: BareTop | None = None  # bare tops only
    # Of each tip, by the number's name (a field of Tip): what would help, most first; empty unless it was asked for.
    helps: tuple[Mapping[str, tuple[Help, ...]], ...] = ()


@dataclass(frozen=True)
class StandingWood:
    """A stretch of a recess's edge where wood stands inside the line: routed, not pared. Inches, from the point along the edge."""

    from_tip_in: float
    to_in: float
    by_in: float  # how far inside


@dataclass(frozen=True)
class SeatedEdge:
    """A long edge of the rose in its recess: the recess's wall outside of it is positive. Inches."""

    at_notch: Estimate | None
    at_tip: Estimate | None
    length_in: float
    standing: tuple[StandingWood, ...]
    verdict: Room
    missing: str | None  # "rose" or "recess": in which photo the edge couldn't be had


@dataclass(frozen=True)
class SeatedPoint:
    """One point of the rose in its recess."""

    lobe: int
    ring: int | None
    bearing: float  # rad, clockwise from the photo's up, as the rose goes in
    edges: tuple[SeatedEdge, SeatedEdge]  # left and right, as seen from the middle
    beyond: Estimate | None  # inches, from the rose's tip on to where the recess's edges meet
    uncut_in: float | None  # so much wood stands in the point, from where the edges meet inward; None where none is seen
    uncut_u95_in: float | None
    point_seen: bool  # whether the photo tells how far the point is cleared
    verdict: Room  # fits: its tip goes in; never gapes


@dataclass(frozen=True)
class Seating:
    """The rose in its recess, before glue."""

    photo_name: str
    size_px: tuple[int, int]
    rose_name: str  # the photo that the rose was measured in
    gap_tolerance_in: float
    same_cards: bool
    turn_by: str  # what told the rose's turn: "you", "cards", "shape", "up" or "only"
    points: tuple[SeatedPoint, ...]  # clockwise from the rose's first lobe
    least_anywhere: Estimate  # inches: no place gives the rose a least room larger than this
    rose_px: Array  # (2 n, 2) the rose as it is laid in: tip, notch, ... in the order of the points
    recess_px: Array  # (2 n, 2) the recess, the same way
    centre_px: Array  # (2,) the rose's middle
    scale: Scale
    warnings: tuple[str, ...] = ()
