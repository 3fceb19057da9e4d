"""The photo round a joint, as profiles across it: the photo's own pixels sorted by place, nothing resampled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..basis.frames import Array, right_of
from ..basis.order import median
from ..edges import LUMA_BGR, LinearPatch, Sharpening, srgb_encode
from ..plane.camera import Camera
from .gap_sites import JointSite

BLOCK_IN = 0.045  # along the joint; short enough that an edge 1 degree askew moves less than a fifth of a pixel within one
BIN_PX = 0.5  # across the joint: half a pixel keeps what the photo holds
ENDS_IN = 0.05  # left out at both ends of the nominal edge, where other edges meet the joint
AXIS_CLEAR_IN = 0.045  # wood nearer than this to a lobe's rough own seam is left out: the rough place's error and the glue line


@dataclass(frozen=True, eq=False)
class JointStrip:
    """Blocks along a joint, bins across it. Code values are sRGB 0..1, means over a bin's pixels."""

    code: Array  # (n_blocks, n_bins, 3), B G R; 0 where a bin is empty
    count: Array  # (n_blocks, n_bins): pixels in the bin
    along: Array  # (n_blocks,) 0..1, inner to outer end of the nominal edge
    across_in: Array  # (n_blocks, n_bins) mean place of a bin's pixels, positive to the right
    px_per_in: Array  # (n_blocks,) photo pixels per inch across the joint
    bin_in: float

    @cached_property
    def scale(self) -> float:
        """Photo pixels per inch across the joint, usually."""
        return float(median(self.px_per_in))

    @cached_property
    def luma(self) -> Array:
        """(n_blocks, n_bins) luma in code values 0..1, empty bins filled from their neighbours in the same block."""
        held = self.count > 0
        luma = self.code @ LUMA_BGR
        if held.all():
            return luma
        places = np.broadcast_to(np.arange(luma.shape[1], dtype=float), luma.shape)
        return np.where(held.any(axis=1, keepdims=True), interp_rows(places, places, [luma], held)[0], luma)

    @cached_property
    def sides(self) -> tuple[Array, Array]:
        """Mean code (n_blocks, 3) of each block's left and right wood, clear of the joint; NaN where none is seen."""
        n_bins = self.count.shape[1]
        place = (np.arange(n_bins) + 0.5) / n_bins * 2 - 1
        return self._mean_code((place > -0.9) & (place < -0.35)), self._mean_code((place > 0.35) & (place < 0.9))

    def _mean_code(self, bins: Array) -> Array:
        count = self.count[:, bins]
        total = count.sum(axis=1)[:, None]
        return np.where(total > 0, np.einsum("bnc,bn->bc", self.code[:, bins], count) / np.maximum(total, 1), np.nan)


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
    products = _cubic(*np.moveaxis((grid_px - middle) / reach, -1, 0)).reshape(25, 10)
    of_px = np.linalg.lstsq(products, np.stack([grid_s, grid_d], -1).reshape(25, 2), rcond=None)[0]
    rows = np.arange(low[1], high[1] + 1)
    u, v = _inside(grid_px[[0, 0, -1, -1], [0, -1, -1, 0]] - [patch.left_px, patch.top_px], rows, low[0], high[0])
    if len(u) < 200:
        return None
    x, y = (u + (patch.left_px - middle[0])) / reach, (v + (patch.top_px - middle[1])) / reach
    s, d = (_cubic_at(x, y, factors) for factors in of_px.T)
    keep = (s > ENDS_IN) & (s < length - ENDS_IN) & (np.abs(d) < half_width_in) & _within_lobes(site, start, direction, normal, s, d)
    u, v, s, d = u[keep], v[keep], s[keep], d[keep]
    code = _codes(patch, v, u)
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


def _codes(patch: LinearPatch, row: Array, column: Array) -> Array:
    """Code values (n, 3), 0..1, of the patch's own pixels."""
    picked = patch.picture[row, column]
    return picked * (1 / 255) if picked.dtype == np.uint8 else srgb_encode(picked)


def interp_rows(places: Array, at: Array, values: Sequence[Array], held: Array) -> Array:
    """Each of the values (n, k), known at its row's own ascending places `at` (n, k) where held, read at places (n, m), linearly.

    Beyond a row's ends they stay as they are there; a row with nothing held is NaN. (n_values, n, m). One call of NumPy's for all rows:
    each is set apart from the next.
    """
    seen = held.any(axis=1)
    first, last = np.where(held, at, np.inf).min(axis=1)[:, None], np.where(held, at, -np.inf).max(axis=1)[:, None]
    apart = (np.ptp(at) + 1) * np.arange(len(at))[:, None]
    wanted = (np.clip(places, first, last) + apart)[seen]
    known = (at + apart)[held]
    out = np.full((len(values), *places.shape), np.nan)
    for k, value in enumerate(values):
        out[k, seen] = np.interp(wanted, known, value[held])
    return out


def median_known(values: Array, axis: int) -> Array:
    """The median of what isn't NaN; NaN where nothing is known."""
    values = np.sort(np.moveaxis(values, axis, -1), axis=-1)  # NaN last
    count = np.isfinite(values).sum(axis=-1, keepdims=True)
    low, high = (np.take_along_axis(values, place, axis=-1)[..., 0] for place in (np.maximum(count - 1, 0) // 2, count // 2))
    return np.asarray((low + high) / 2)


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


def _cubic(x: Array, y: Array) -> Array:
    """The ten products (..., 10) of a cubic in two unknowns."""
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3], axis=-1)


def _cubic_at(x: Array, y: Array, factors: Array) -> Array:
    """The cubic of these factors (10,), in the order of _cubic."""
    one, fx, fy, fxx, fxy, fyy, fxxx, fxxy, fxyy, fyyy = factors
    by_y = x * (x * fxxy + fxy) + fy
    by_yy = x * fxyy + fyy + y * fyyy
    return x * (x * (x * fxxx + fxx) + fx) + one + y * (by_y + y * by_yy)


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
