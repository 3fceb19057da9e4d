"""What is asked of an edge, what it gives, and its strip of the photo cut into blocks along it, tape left out."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.lines import Line
from ..edges import NO_SHARPENING, LinearPatch, Sharpening, Strip, sample_strip, tone_of
from ..optics import Optics
from ..plane.camera import Camera
from .edge_profile import Beyond

# Rows of one block along the edge, photo pixels: long enough to average noise, short enough that tape spoils few of at least
# WANTED_BLOCKS blocks, and leaves LEAST_BLOCKS of them where it covers most of the edge.
MOST_ROWS, LEAST_ROWS, WANTED_BLOCKS, LEAST_BLOCKS = 14, 6, 18, 8
BLUR_PX = (0.6, 0.8, 1.1, 1.5, 2.0)
# The blur at the rose, as a share of that at the cards: focus and the lens differ a little across the photo.
BLUR_SHARES = (0.8, 1.0, 1.25)
# What a profile model misses (halos of sharpening, the wood's figure), as shares of the light and of the jump.
MISS_OF_LIGHT, MISS_OF_JUMP = 0.03, 0.03
# How far a wood may differ from its usual tone, log light: in lightness by the lighting across the top, and in colour.
WOOD_LIGHTNESS, WOOD_COLOUR = 0.7, 0.2
# A row shows wood where at least so much of what lies well inside looks like it, and a block where so many of its rows do.
WOOD_SHARE = 0.6


@dataclass(frozen=True)
class Wood:
    """What a wood of this rose looks like in this photo: log light, B G R."""

    tone: Array  # (3,)
    spread: Array  # (3,) from lobe to lobe

    def is_like(self, tone: Array) -> Array:
        """Whether tones (..., 3) are this wood's in colour, and roughly in lightness."""
        away = tone - self.tone
        lighter = away.mean(axis=-1)
        colour = np.abs(away - lighter[..., None]) < WOOD_COLOUR + 3 * self.spread
        return np.asarray(colour.all(axis=-1) & (np.abs(lighter) < WOOD_LIGHTNESS + 3 * float(self.spread.mean())))


@dataclass(frozen=True)
class EdgeTask:
    """One edge to be measured."""

    from_in: Array  # (2,) rough line's first point, plane frame at the face's height
    to_in: Array  # (2,)
    outside: int  # +1: the outside lies to the right of from -> to; -1: to the left
    beyond: Beyond
    room: Array  # (k, 3): along, inward and outward room (inches) at places along the rough line
    search_in: float  # how far to either side the edge may lie
    u_place_in: float  # how far it usually lies off, standard deviation
    u_turn: float  # rad, the same of its direction
    blurs_px: tuple[float, ...] = BLUR_PX  # the photo's blur, as far as it is known
    sharpening: Sharpening = NO_SHARPENING  # to be undone in the profiles
    smear_px: float = 0.0  # how far the phone moved across the edge while the shutter was open
    softness_px: float = 0.0  # by how much farther than usual the edge's blur reaches to either side
    inside_wood: Wood | None = None  # what lies inside, where known: rows that show something else are covered
    outside_wood: Wood | None = None

    @property
    def direction(self) -> Array:
        return (self.to_in - self.from_in) / self.length_in

    @property
    def length_in(self) -> float:
        return float(np.linalg.norm(self.to_in - self.from_in))

    @property
    def outward(self) -> Array:
        return self.outside * right_of(self.direction)

    def drawn_by(self, optics: Optics, camera: Camera, z_in: float) -> EdgeTask:
        """The same task, told how the photo draws this edge: its blur at the rose (the cards', a little less and more) and so on."""
        normal_px = camera.normal_px(self.from_in, self.to_in, z_in)
        blurs = tuple(optics.blur_px * share for share in BLUR_SHARES)
        smear_px, softness_px = optics.smear_px(normal_px), optics.softness_px(normal_px)
        return replace(self, blurs_px=blurs, sharpening=optics.sharpening, smear_px=smear_px, softness_px=softness_px)

    def moved(self, offset_in: float, slope: float) -> EdgeTask:
        """The same task about another line: offset outward at the first point, slope outward along."""
        first, last = offset_in, offset_in + slope * self.length_in
        room = self.room + np.outer(offset_in + slope * self.room[:, 0], [0, 1, -1])
        return replace(self, from_in=self.from_in + first * self.outward, to_in=self.to_in + last * self.outward, room=room)


@dataclass(frozen=True)
class EdgeFit:
    """A measured edge."""

    line: Line
    contrast: float  # the jump over what the model misses
    inside_light: Array  # (3,) linear B, G, R of the wood just inside
    outside_light: Array  # (3,) beyond
    misfit: float  # what the model leaves, over what it is allowed to
    glue_chi: Array | None = None  # (widths,) how much worse each of GLUE_WIDTHS_IN explains a flush edge than the best, by itself
    bow_in: float = 0.0  # how far its middle stands out over the line through the ends of what was seen; negative: hollow
    u_bow_in: float = 0.0


Two = tuple[float, float]


def outward_strip(
    patch: LinearPatch,
    camera: Camera,
    task: EdgeTask,
    z_in: float,
    px_in: float,
    reach_px: tuple[float, float],
    step_px: tuple[float, float],
) -> Strip:
    """A strip along the rough line whose across axis points outward, so far inward and outward; steps along and across."""
    inward, outward = (-reach * px_in for reach in reach_px)
    low, high = (inward, -outward) if task.outside > 0 else (outward, -inward)
    strip = sample_strip(patch, camera, task.from_in, task.to_in, z_in, (low, high), step_px[0] * px_in, step_px[1] * px_in)
    return strip if task.outside > 0 else Strip(strip.light[:, ::-1], strip.along_in, -strip.across_in[::-1])


def block_rows(bare: Array) -> int:
    """How many rows make up a block, where these rows (rows,) show wood: fewer where tape leaves few."""
    return max(LEAST_ROWS, min(MOST_ROWS, len(bare) // WANTED_BLOCKS, int(bare.sum()) // LEAST_BLOCKS))


def block_means(strip: Strip, bare: Array, each: int) -> tuple[Array, Array, Array]:
    """(middle along (blocks,), mean light of bare rows (blocks, across, 3), which blocks are bare enough (blocks,)), of `each` rows."""
    count = max(1, len(strip.along_in) // each)
    rows = count * each
    weight = bare[:rows].reshape(count, each).astype(np.float32)
    shown = weight.mean(axis=1) >= WOOD_SHARE
    weight[~shown] = 1.0
    weight /= weight.sum(axis=1, keepdims=True)
    light = weight[:, None] @ strip.light[:rows].reshape(count, each, -1)
    return strip.along_in[:rows].reshape(count, each).mean(axis=1), light.reshape(count, -1, 3), shown


def bare_rows(strip: Strip, task: EdgeTask, doubt_in: float, px_in: float) -> Array:
    """(rows,) whether a row shows wood inside (and, for an own seam, beyond) and not tape; the edge lies within doubt_in."""
    bare = np.ones(len(strip.along_in), bool)
    step_in = strip.across_in[1] - strip.across_in[0]
    for wood, side, column in ((task.inside_wood, -1, 1), (task.outside_wood, 1, 2)):
        if wood is None:
            continue
        room = np.interp(strip.along_in, task.room[:, 0], task.room[:, column])
        near = np.minimum(0.3 * room, doubt_in)
        far = np.maximum(np.minimum(0.85 * room, near + 0.06), near + 0.004)
        # Samples finer than the photo's pixels repeat each other.
        depth = side * strip.across_in
        some = np.flatnonzero((depth > near.min()) & (depth < far.max()))[:: max(1, round(px_in / step_in))]
        looked = (depth[some] > near[:, None]) & (depth[some] < far[:, None])
        like = wood.is_like(tone_of(strip.light[:, some]))
        count = looked.sum(axis=1)
        bare &= (np.sum(like & looked, axis=1) >= WOOD_SHARE * count) & (count > 0)
    return bare
