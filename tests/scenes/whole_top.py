"""Finished tops seen whole, with no card on them: the round edge against the bench, exact truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .draw import Scene, draw
from .view import View


def draw_whole(seed: int, stage: str = "inlaid", megapixels: tuple[float, float] = (7.0, 8.0)) -> Scene:
    """One scene: the whole top, or all but a little of its edge, in the picture; no card, no tape."""
    rng = np.random.default_rng([seed, 17])
    drawn = draw(seed, stage, megapixels=megapixels)
    now = drawn.view
    radius_in = rng.uniform(6.3, 8.5)
    ppi = now.height / (2 * radius_in * rng.uniform(0.97, 1.08))
    height_in = now.f_px / ppi
    tilt = np.radians(min(abs(rng.normal(0, 8)), 20))
    off = (now.cx - (now.width - 1) / 2, now.cy - (now.height - 1) / 2)
    view = View.over(
        now.width,
        now.height,
        now.f_px,
        off,
        now.k1,
        now.k2,
        rng.normal(0, 0.15, 2),
        height_in,
        tilt,
        rng.uniform(0, 2 * np.pi),
        rng.uniform(0, 2 * np.pi),
    )
    return replace(
        drawn,
        view=view,
        top_radius_in=radius_in,
        band_in=rng.uniform(0.4, 0.9),
        top_centre_in=tuple(rng.normal(0, 0.02, 2)),
        cards=(),
        tapes=(),
    )
