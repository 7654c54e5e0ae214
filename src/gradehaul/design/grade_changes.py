"""Changes of grade along a railhead: kinks, and the vertical curves that round them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from gradehaul.quantities.si import Meters, Ratio
from gradehaul.track.heights.vertical import UNCHANGED
from gradehaul.track.piecewise import PiecewiseQuadratic

_ALIKE = 1e-9
"""Pieces whose curvature differs by no more than this share are one vertical curve."""


class GradeChange(NamedTuple):
    """A change of grade, a plain ratio, and where it begins and ends, m: at one place for a kink."""

    start: Meters
    stop: Meters
    change: Ratio

    @property
    def middle(self) -> Meters:
        """The middle of it, m."""
        return 0.5 * (self.start + self.stop)


def changes_along(railhead: PiecewiseQuadratic) -> Iterator[GradeChange]:
    """Yield every change of grade along a railhead, in order.

    Examples
    --------
    >>> import numpy as np
    >>> level, curve, hill = (np.array(each) for each in ([0, 0, 0.005], [0, 0, 0.02], [0, 0.04, 0]))
    >>> list(changes_along(PiecewiseQuadratic(np.array([0, 1, 1.5, 2.0]), level, curve, hill)))
    [GradeChange(start=1.0, stop=1.5, change=0.02)]
    """
    breaks, slopes, seconds = railhead.breaks.tolist(), railhead.slopes.tolist(), railhead.seconds.tolist()
    begin, change, slope = 0.0, 0.0, slopes[0]
    for k, second in enumerate(seconds):
        kink, before = slopes[k] - slope, seconds[k - 1] if k else 0.0
        goes_on = before != 0.0 and abs(second - before) <= _ALIKE * abs(before) and abs(kink) <= UNCHANGED
        if not goes_on:
            if abs(change) > UNCHANGED:
                yield GradeChange(begin, breaks[k], change)
            begin, change = breaks[k], 0.0
        if abs(kink) > UNCHANGED:
            yield GradeChange(breaks[k], breaks[k], kink)
        bend = second * (breaks[k + 1] - breaks[k])
        slope, change = slopes[k] + bend, change + bend
    if abs(change) > UNCHANGED:
        yield GradeChange(begin, breaks[-1], change)
