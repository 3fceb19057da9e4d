"""Order statistics of small arrays without the general ones' checks: in short vectors those cost far more than the sorting."""

from __future__ import annotations

import numpy as np

from .frames import Array


def median(values: Array, axis: int = 0) -> Array:
    """The median along one axis of an array without NaN; NaN of nothing."""
    n = values.shape[axis]
    if n == 0:
        return np.full(np.delete(values.shape, axis), np.nan)
    ordered = np.sort(values, axis=axis)
    middle = ordered.take(n // 2, axis=axis)
    return middle if n % 2 else (middle + ordered.take(n // 2 - 1, axis=axis)) / 2


def quantile_where(values: Array, held: Array, share: float, axis: int = -1) -> Array:
    """Along one axis, the place below which so large a share of the held values lies (linear between them); NaN where none is held."""
    held = np.broadcast_to(held, np.shape(values))
    ordered = np.sort(np.where(held, values, np.inf), axis=axis)
    last = np.maximum(np.sum(held, axis=axis, keepdims=True) - 1, 0)
    place = share * last
    low = place.astype(int)
    first, second = (np.take_along_axis(ordered, at, axis=axis) for at in (low, np.minimum(low + 1, last)))
    part = place - low
    with np.errstate(invalid="ignore"):  # nothing held: infinity less infinity
        return np.asarray(np.squeeze(first + part * (second - first), axis=axis))


def median_where(values: Array, held: Array, axis: int = -1) -> Array:
    """The median of the held values along one axis; NaN where none is held."""
    return quantile_where(values, held, 0.5, axis)
