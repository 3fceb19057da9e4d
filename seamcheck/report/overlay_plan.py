"""How an inch in plan lies in the photo near one tip, from what the inspection itself says."""

from __future__ import annotations

import numpy as np

from ..basis.frames import Array, unit_of_bearing
from ..result import Inspection, Tip

# A homography has eight unknowns, so the centre and three tips would do; a fourth makes a bad one show.
LEAST_TIPS = 4
# Where the fitted map disagrees with the scale at the centre by more than tilt (to 25 deg) and nearness can
# explain, or stretches one way more than that, it isn't believed.
MOST_STRETCH = 1.5


def _homography(plan_in: Array, px: Array) -> Array:
    """(3, 3) that takes plan points to photo pixels, by the normalised direct linear transform (least squares)."""

    def normaliser(points: Array) -> Array:
        middle = points.mean(axis=0)
        spread = np.sqrt(2) / max(float(np.hypot(*(points - middle).T).mean()), 1e-9)
        return np.array([[spread, 0, -spread * middle[0]], [0, spread, -spread * middle[1]], [0, 0, 1.0]])

    a, b = normaliser(plan_in), normaliser(px)
    x, y = (plan_in @ a[:2, :2].T + a[:2, 2]).T
    u, v = (px @ b[:2, :2].T + b[:2, 2]).T
    one, zero = np.ones_like(x), np.zeros_like(x)
    rows_u = np.stack([x, y, one, zero, zero, zero, -u * x, -u * y, -u], axis=-1)
    rows_v = np.stack([zero, zero, zero, x, y, one, -v * x, -v * y, -v], axis=-1)
    h = np.linalg.svd(np.concatenate([rows_u, rows_v]))[2][-1].reshape(3, 3)
    return np.asarray(np.linalg.inv(b) @ h @ a)


class PlanMap:
    """Local maps from plan inches to photo pixels, fitted to the tips' own reaches, bearings and pixels.

    The lens's distortion is left out: over an inset's half inch only the local scale and slant matter. With
    too few tips (loose lobes, most of the rose hidden) an inch is taken to be equally long in every direction.
    """

    def __init__(self, inspection: Inspection) -> None:
        self._px_per_in = inspection.scale.px_per_in
        self._map: Array | None = None
        placed = [tip for tip in inspection.tips if tip.reach is not None]
        if inspection.centre_px is None or len(placed) < LEAST_TIPS:
            return
        plan = [np.zeros(2)] + [tip.reach.value * unit_of_bearing(tip.bearing) for tip in placed if tip.reach is not None]
        px = [np.asarray(inspection.centre_px, float)] + [np.asarray(tip.tip_px, float) for tip in placed]
        self._map = _homography(np.array(plan), np.array(px))

    def local(self, tip: Tip) -> Array:
        """(2, 2): photo pixels (u, v) per inch (x, y) in plan, near the tip's face."""
        if self._map is not None:
            place = np.linalg.solve(self._map, np.append(np.asarray(tip.tip_px, float), 1.0))
            top = self._map @ (place / place[2])
            jacobian = (self._map[:2, :2] - np.outer(top[:2] / top[2], self._map[2, :2])) / top[2]
            stretch = np.linalg.svd(jacobian, compute_uv=False) / self._px_per_in
            facing = np.linalg.det(jacobian) < 0  # y is up in plan, v down in the photo
            if facing and stretch[0] < MOST_STRETCH and stretch[1] > 1 / MOST_STRETCH:
                return np.asarray(jacobian)
        scale = self._px_per_in
        if tip.reach is None and tip.length is not None:
            root, _, point, _ = np.asarray(tip.outline_px, float)
            along = float(np.hypot(*(point - root))) / max(tip.length.value, 1e-9)
            if 1 / MOST_STRETCH < along / scale < MOST_STRETCH:
                scale = along
        return np.array([[scale, 0.0], [0.0, -scale]])
