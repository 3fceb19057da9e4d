"""One number from several photos of it: a weighted mean in which only what differs from photo to photo averages out.

Three kinds of error (JCGM 100:2008, 5.2.2 and F.1.2: inputs that share an error are correlated):
- sampling, by what each photo's pixels say: independent, as far as the photos' own scatter bears it out;
- unknowns that are the same in every photo (`Estimate.shifts`): their covariance between photos is known, sign and all;
- everything else (shadow, blur, bow, the lens): nobody knows how far it repeats. Whatever claims less is assumed: in the mean, that it
  repeats wholly, so that it never averages out; in the test of whether the photos agree, that it doesn't.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..basis.frames import Array
from ..basis.uncertain import Estimate

# What is read off the pixels, and so differs from photo to photo.
SAMPLING = ("edges", "own seam", "seam", "centre", "cards", "opening", "sampling")


def combined(estimates: Sequence[Estimate], own_share: float = 1.0) -> Estimate:
    """The mean of at least one estimate, each weighed by one over its variance.

    (Weights that make the mean's uncertainty least would follow the one photo that claims most.)
    own_share: of the sampling variance, how much is each photo's own. What is left of 1 is taken to repeat in every photo (the same
    wood's figure); above 1 the photos scatter more than they say, and their sampling variance is enlarged by it.
    """
    weight = _weights(estimates)
    sampling = set(source_names(estimates)) & set(SAMPLING)
    parts: dict[str, float] = {}
    shifts: dict[str, tuple[float, ...]] = {}
    for name in source_names(estimates):
        each = np.array([estimate.parts.get(name, 0.0) for estimate in estimates])
        signed = shared_shifts(estimates, name)
        if signed is not None:
            moved = weight @ signed
            parts[name], shifts[name] = float(np.sqrt(moved @ moved)), tuple(float(move) for move in moved)
        elif name in sampling:
            own, repeated = float(np.sum((weight * each) ** 2)), float(weight @ each) ** 2
            parts[name] = float(np.sqrt(own_share * own + max(1 - own_share, 0.0) * repeated))
        else:
            parts[name] = float(weight @ each)
    return Estimate(float(weight @ [estimate.value for estimate in estimates]), parts, shifts)


def disagreement(estimates: Sequence[Estimate]) -> float:
    """Chi-squared, with one degree of freedom fewer than there are estimates, of the values about their common mean."""
    values = np.array([estimate.value for estimate in estimates])
    covariance = np.zeros((len(estimates), len(estimates)))
    for name in source_names(estimates):
        signed = shared_shifts(estimates, name)
        if signed is not None:
            covariance += signed @ signed.T
        else:
            covariance += np.diag([estimate.parts.get(name, 0.0) ** 2 for estimate in estimates])
    # Differences from the first leave the mean, and what all share, out.
    differ = np.eye(len(estimates))[1:] - np.eye(len(estimates))[0]
    apart = differ @ values
    spread = differ @ covariance @ differ.T
    spread += 1e-12 * max(float(np.trace(covariance)), 1e-18) * np.eye(len(apart))
    return float(apart @ np.linalg.solve(spread, apart))


def source_names(estimates: Sequence[Estimate]) -> list[str]:
    return list(dict.fromkeys(name for estimate in estimates for name in estimate.parts))


def shared_shifts(estimates: Sequence[Estimate], name: str) -> Array | None:
    """(estimates, unknowns): each unknown's signed effect; None where it isn't known for every estimate."""
    known = [estimate.shifts.get(name, () if estimate.parts.get(name, 0.0) else None) for estimate in estimates]
    lengths = {len(shift) for shift in known if shift is not None}
    if len(lengths) != 1 or 0 in lengths:
        return None
    (count,) = lengths
    return np.array([np.zeros(count) if shift is None else shift for shift in known], float)


def _weights(estimates: Sequence[Estimate]) -> Array:
    """One over each estimate's variance, their sum 1."""
    variance = np.array([estimate.u**2 for estimate in estimates])
    if variance.min() <= 0:
        variance = np.ones(len(estimates))
    return np.asarray(variance.min() / variance / np.sum(variance.min() / variance))
