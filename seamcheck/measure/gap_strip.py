"""The photo round a joint, as profiles across it: the photo's own pixels sorted by place, nothing resampled."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, right_of
from ..edges import LUMA_BGR, SRGB_TO_LINEAR, LinearPatch, Sharpening
from ..plane.camera import Camera
from .gap_sites import JointSite

BLOCK_IN = 0.045  # along the joint; short enough that an edge 1 degree askew moves less than a fifth of a pixel within one
BIN_PX = 0.5  # across the joint: half a pixel keeps what the photo holds
ENDS_IN = 0.05  # left out at both ends of the nominal edge, where other edges meet the joint
AXIS_CLEAR_IN = 0.045  # wood nearer than this to a lobe's rough own seam is left out: the rough place's error and the glue line

_LINEAR_STEPS = 1 << 14
_CODE_OF_LINEAR = np.interp(np.arange(_LINEAR_STEPS) / (_LINEAR_STEPS - 1), SRGB_TO_LINEAR, np.arange(256) / 255).astype(np.float32)


@dataclass(frozen=True, eq=False)
class JointStrip:
    """Blocks along a joint, bins across it. Code values are sRGB 0..1, means over a bin's pixels."""

    code: Array  # (n_blocks, n_bins, 3), B G R; 0 where a bin is empty
    count: Array  # (n_blocks, n_bins): pixels in the bin
    along: Array  # (n_blocks,) 0..1, inner to outer end of the nominal edge
    across_in: Array  # (n_blocks, n_bins) mean place of a bin's pixels, positive to the right
    px_per_in: Array  # (n_blocks,) photo pixels per inch across the joint
    bin_in: float


def sample_joint(patch: LinearPatch, camera: Camera, site: JointSite, z_in: float, half_width_in: float) -> JointStrip | None:
    """The photo's pixels within half_width_in of the nominal edge, at height z_in; None where the photo doesn't show it."""
    start, direction, length = site.ends_in[0], site.direction, site.length_in
    normal = right_of(direction)
    grid_s, grid_d = np.meshgrid(np.linspace(ENDS_IN, length - ENDS_IN, 5), np.linspace(-half_width_in, half_width_in, 5), indexing="ij")
    grid_px = camera.px_from_plane(start + grid_s[..., None] * direction + grid_d[..., None] * normal, z_in)
    middle, reach = grid_px.mean(axis=(0, 1)), np.ptp(grid_px, axis=(0, 1)).max() / 2
    width, height = patch.size_px
    low = np.maximum(np.floor(grid_px.min(axis=(0, 1))).astype(int) - [patch.left_px, patch.top_px], 0)
    high = np.minimum(np.ceil(grid_px.max(axis=(0, 1))).astype(int) - [patch.left_px, patch.top_px], [width - 1, height - 1])
    if np.any(high - low < 4):
        return None
    # Over so small a piece of the photo a cubic gives the plane's coordinates to a thousandth of a pixel.
    of_px = np.linalg.lstsq(_cubic((grid_px - middle) / reach).reshape(25, 10), np.stack([grid_s, grid_d], -1).reshape(25, 2), rcond=None)[
        0
    ]
    rows = np.arange(low[1], high[1] + 1)
    u, v = _inside(grid_px[[0, 0, -1, -1], [0, -1, -1, 0]] - [patch.left_px, patch.top_px], rows, low[0], high[0])
    if len(u) < 200:
        return None
    s, d = (_cubic((np.stack([u + patch.left_px, v + patch.top_px], axis=-1) - middle) / reach) @ of_px).T
    keep = (s > ENDS_IN) & (s < length - ENDS_IN) & (np.abs(d) < half_width_in) & _within_lobes(site, start, direction, normal, s, d)
    u, v, s, d = u[keep], v[keep], s[keep], d[keep]
    linear = patch.pixels(v, u)
    code = _CODE_OF_LINEAR[(np.clip(linear, 0, 1) * (_LINEAR_STEPS - 1) + 0.5).astype(np.int32)]
    corners = camera.px_from_plane(start + np.outer([ENDS_IN, length / 2, length - ENDS_IN], direction), z_in)
    beside = camera.px_from_plane(start + np.outer([ENDS_IN, length / 2, length - ENDS_IN], direction) + 0.01 * normal, z_in)
    tangent = corners[2] - corners[0]
    tangent = tangent / np.hypot(*tangent)
    scale = np.abs((beside - corners) @ np.array([tangent[1], -tangent[0]])) / 0.01
    n_blocks = max(4, round((length - 2 * ENDS_IN) / BLOCK_IN))
    bin_in = BIN_PX / float(scale[1])
    n_bins = int(2 * half_width_in / bin_in) + 1
    block = np.minimum(((s - ENDS_IN) / (length - 2 * ENDS_IN) * n_blocks).astype(int), n_blocks - 1)
    cell = block * n_bins + np.minimum(((d + half_width_in) / bin_in).astype(int), n_bins - 1)
    shape, size = (n_blocks, n_bins), n_blocks * n_bins
    count = np.bincount(cell, minlength=size)
    share = 1 / np.maximum(count, 1)
    mean = [np.bincount(cell, weights=value, minlength=size) * share for value in (*code.T, d)]
    centre = np.broadcast_to((np.arange(n_bins) + 0.5) * bin_in - half_width_in, shape)
    across = np.where(count.reshape(shape) > 0, mean[3].reshape(shape), centre)
    along = (ENDS_IN + (np.arange(n_blocks) + 0.5) / n_blocks * (length - 2 * ENDS_IN)) / length
    px_per_in = np.interp(along, [ENDS_IN / length, 0.5, 1 - ENDS_IN / length], scale)
    return JointStrip(np.stack(mean[:3], -1).reshape(*shape, 3), count.reshape(shape).astype(float), along, across, px_per_in, bin_in)


@contextmanager
def empty_is_nan() -> Iterator[None]:
    """In here the mean or median of nothing is NaN without a warning."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        yield


def luma_of(strip: JointStrip) -> Array:
    """(n_blocks, n_bins) luma in code values 0..1, empty bins filled."""
    return filled(strip.code @ LUMA_BGR, strip.count)


def unsharpened(code: Array, strength: float, radius_px: float) -> Array:
    """Profiles (n, n_bins) of code values with a phone's sharpening undone.

    A phone sharpens the luma of the finished picture: code + strength (code - code blurred by radius_px). Along a straight
    edge that acts across the edge alone, so it is undone profile by profile.
    """
    return Sharpening(strength, radius_px).code_undone(code, BIN_PX)


def slope_of_light(code: Array) -> Array:
    """How fast linear light grows with the sRGB code."""
    code = np.clip(code, 0.004, 1.0)
    return np.where(code <= 0.04045, 1 / 12.92, 2.4 / 1.055 * ((code + 0.055) / 1.055) ** 1.4)


def filled(values: Array, count: Array) -> Array:
    """Empty bins filled from their neighbours in the same block, ends with the nearest."""
    values = values.copy()
    places = np.arange(values.shape[1])
    for row, seen in zip(values, count > 0, strict=True):
        if seen.any() and not seen.all():
            row[~seen] = np.interp(places[~seen], places[seen], row[seen])
    return values


def _cubic(place: Array) -> Array:
    x, y = place[..., 0], place[..., 1]
    one = np.ones_like(x)
    xx, yy = x * x, y * y
    return np.stack([one, x, y, xx, x * y, yy, xx * x, xx * y, x * yy, yy * y], axis=-1)


def _inside(corners: Array, rows: Array, low_u: int, high_u: int) -> tuple[Array, Array]:
    """Integer pixels (u, v) inside a convex quadrangle, row by row."""
    left, right = np.full(len(rows), np.inf), np.full(len(rows), -np.inf)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if abs(b[1] - a[1]) < 1e-9:
            continue
        share = (rows - a[1]) / (b[1] - a[1])
        u = np.where((share >= 0) & (share <= 1), a[0] + share * (b[0] - a[0]), np.nan)
        left, right = np.fmin(left, u), np.fmax(right, u)
    first = np.maximum(np.ceil(np.where(np.isfinite(left), left, 1)), low_u).astype(int)
    last = np.minimum(np.floor(np.where(np.isfinite(right), right, 0)), high_u).astype(int)
    number = np.maximum(last - first + 1, 0)
    v = np.repeat(rows, number)
    u = np.arange(number.sum()) - np.repeat(np.cumsum(number) - number, number) + np.repeat(first, number)
    return u, v


def _within_lobes(site: JointSite, start: Array, direction: Array, normal: Array, s: Array, d: Array) -> Array:
    """Which places lie on the two halves that meet at the joint, clear of the lobes' own seams."""
    keep = np.ones(s.shape, bool)
    for axis, side in ((site.left_axis_in, 1), (site.right_axis_in, -1)):
        if axis is not None:
            run = axis[1] - axis[0]
            out = right_of(run / np.hypot(*run))
            keep &= side * ((start - axis[0]) @ out + s * (direction @ out) + d * (normal @ out)) > AXIS_CLEAR_IN
    return keep
