"""Numbers along an axis: values in its unit, round marks, and their text."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.ticker import MaxNLocator

from gradehaul.quantities import convert
from gradehaul.track.piecewise import FloatArray


def convert_all(values: FloatArray, unit: str) -> FloatArray:
    """Return values in SI units in another unit.

    Examples
    --------
    >>> convert_all(np.array([0.0, 0.0254]), "in")
    array([0., 1.])
    """
    return np.asarray(values * convert(1.0, unit), dtype=float)


def nice(low: float, high: float, about: int) -> list[float]:
    """Return round numbers from low to high, about so many.

    Examples
    --------
    >>> nice(0.0, 7.3, 4)
    [0.0, 2.0, 4.0, 6.0]
    """
    ticks = MaxNLocator(nbins=max(about, 1), steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
    edge = 1e-9 * (high - low)
    return [0.0 if abs(tick) <= edge else float(tick) for tick in ticks if low - edge <= tick <= high + edge]


def numbers(values: Sequence[float]) -> list[str]:
    """Return round numbers as text, all with the same decimals.

    Examples
    --------
    >>> numbers([0.0, 2.5, 5.0])
    ['0.0', '2.5', '5.0']
    """
    decimals = next((k for k in range(9) if all(abs(v - round(v, k)) < 1e-9 * max(1.0, abs(v)) for v in values)), 9)
    return [f"{value:.{decimals}f}".replace("-", "\N{MINUS SIGN}") for value in values]
