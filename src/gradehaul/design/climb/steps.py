"""Steps to which designs are rounded: whole ones of the plan's unit, so that its figures are exact."""

from __future__ import annotations

from typing import NamedTuple, TypeVar

import numpy as np

from gradehaul.quantities import conversion
from gradehaul.track.piecewise import FloatArray

_Length = TypeVar("_Length", float, FloatArray)

_HAIR = 1e-6
"""What is so little over a whole number of steps, in steps, is whole."""


class Steps(NamedTuple):
    """The steps of lengths and radii, at most 1 mm, and of rises, about a tenth of one, m."""

    length: float
    rise: float

    def upward(self, length: _Length) -> _Length:
        """Return the least whole number of steps that is no less than a length, m; of an array, each."""
        whole: _Length = np.ceil(length / self.length - _HAIR) * self.length
        return whole


_STEPS = {"in": (0.025, 0.005), "ft": (0.002, 0.0005), "yd": (0.001, 0.0001)}
"""In the unit: each is shown exactly with the decimals of fine lengths."""


def steps_of(unit: str) -> Steps:
    """Return the steps of designs in a unit of length; millimeters and tenths of them in metric ones.

    Examples
    --------
    >>> steps_of("mm")
    Steps(length=0.001, rise=0.0001)
    >>> round(float(steps_of("in").upward(0.2)) / 0.0254, 6)
    7.875
    """
    length, rise = _STEPS.get(unit, (0.0, 0.0))
    if not length:
        return Steps(1e-3, 1e-4)
    times, over = conversion(unit)
    return Steps(length * times / over, rise * times / over)
