"""Finished tops seen whole, with no card on them: the round edge against the bench, exact truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .draw import Scene, draw, draw_bare
from .view import View
from .woods import WOODS

BAND_IN_ALL = 0.25  # share of the tops with hard rims that have no band: leaves up to the edge


def draw_whole(seed: int, stage: str = "inlaid", megapixels: tuple[float, float] = (7.0, 8.0)) -> Scene:
    """One scene: the whole top, or all but a little of its edge, in the picture; no card, no tape. Of a bare one no rose either."""
    rng = np.random.default_rng([seed, 17])
    drawn = draw_bare(seed, megapixels=megapixels) if stage == "bare" else draw(seed, stage, megapixels=megapixels)
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


def draw_hard_rim(seed: int, stage: str = "inlaid", megapixels: tuple[float, float] = (7.0, 8.0)) -> Scene:
    """The same on any bench: of the band's own wood in half of them, about as light, and without a shadow; some have no band."""
    scene = draw_whole(seed, stage, megapixels)
    rng = np.random.default_rng([seed, 23])
    woods = sorted(WOODS)
    banded = rng.uniform() > BAND_IN_ALL
    band = str(rng.choice(woods)) if banded else scene.field_wood
    bench = band if rng.uniform() < 0.5 else str(rng.choice(woods))
    return replace(
        scene,
        band_wood=band,
        band_in=float(rng.uniform(0.25, 1.3)) if banded else 0.0,
        bench=(bench, float(rng.uniform(0.6, 1.1))),
    )
