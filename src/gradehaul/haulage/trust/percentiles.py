"""Percentiles of draws, as numpy's, but without loading its masked arrays, which takes longer than a small plan."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gradehaul.track.piecewise import FloatArray


def quantiles(values: FloatArray, shares: Sequence[float]) -> list[float]:
    """Return what given shares of the values lie below, straight between two values that lie around it.

    Examples
    --------
    >>> quantiles(np.array([4.0, 1.0, 3.0, 2.0]), (0.05, 0.5)), np.quantile([4.0, 1.0, 3.0, 2.0], 0.05).tolist()
    ([1.15, 2.5], 1.15)
    """
    places = [share * (values.size - 1) for share in shares]
    below = [int(place) for place in places]
    above = [min(number + 1, values.size - 1) for number in below]
    ordered = np.partition(values, sorted({*below, *above}))
    found = []
    for place, low, high in zip(places, below, above, strict=True):
        along, step = place - low, float(ordered[high] - ordered[low])
        # from the nearer of the two, as numpy does
        found.append(float(ordered[low]) + step * along if along < 0.5 else float(ordered[high]) - step * (1 - along))
    return found


def median(values: FloatArray) -> float:
    """Return the middle of values: the mean of the two in the middle where their number is even.

    Examples
    --------
    >>> median(np.array([4.0, 1.0, 3.0, 2.0])), median(np.array([4.0, 1.0, 3.0]))
    (2.5, 3.0)
    """
    middle = values.size // 2
    if values.size % 2:
        return float(np.partition(values, middle)[middle])
    ordered = np.partition(values, (middle - 1, middle))
    return float((ordered[middle - 1] + ordered[middle]) / 2)
