"""Whether another rose lies beside the one found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..basis.frames import Array
from ..kite import FoundRose
from .centre import harmonic_places
from .light import LogLight
from .rays import Rays, rate_rays

# Beyond the first rose's points this much isn't looked at (inches): their shadow, the beginning of seams.
RIM_IN = 0.3

# A second rose's rays score this much. Rendered: 13 and more; what else lies on benches and tops with one rose up to 6.5.
LEAST_RAYS = 8.0

# Places looked at, likeliest first.
PLACES = 3

# The rose that the cards are laid round is nearer to their middle, by at least this ratio.
NEARER_SHARE = 0.6


def rays_elsewhere(light: LogLight, rose: FoundRose) -> Rays | None:
    """The likeliest rays of another rose, the first one's place left out; None if nothing looks like one. 10 to 12 px/in."""
    if rose.centre_in is None:
        return None
    reach = max(float(np.hypot(*(lobe.kite.tip_in - rose.centre_in))) for lobe in rose.lobes) + RIM_IN
    rows, columns = np.mgrid[: light.wood.shape[0], : light.wood.shape[1]]
    column, row = light.view.px_of(rose.centre_in)
    outside = np.hypot(columns - column, rows - row) > reach * light.view.px_per_in
    rest = replace(light, wood=(light.wood * outside).astype(np.float32))
    steps = rest.limited_steps()
    rated = [rays for place in harmonic_places(rest, steps)[:PLACES] for rays in rate_rays(rest, steps, place)]
    best = max(rated, key=lambda rays: rays.score, default=None)
    return best if best is not None and best.score > LEAST_RAYS else None


def meant(roses: Sequence[FoundRose], cards: Sequence[Array]) -> FoundRose | None:
    """Of two roses the one that the cards (each an outline (4, 2)) lie round; None if they don't say."""
    if not cards:
        return None
    middle = np.mean([card.mean(axis=0) for card in cards], axis=0)
    away = [float(np.hypot(*(np.asarray(rose.centre_in) - middle))) for rose in roses]
    return roses[int(np.argmin(away))] if min(away) < NEARER_SHARE * max(away) else None
