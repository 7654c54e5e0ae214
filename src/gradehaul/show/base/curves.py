"""Points by which a piecewise quadratic function is drawn: its breakpoints, and enough along each parabola."""

from __future__ import annotations

import numpy as np

from gradehaul.quantities import convert
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic

ON_PARABOLA = 16
"""Points for a parabola: from the 15 chords between them it departs by 1/15² of what it departs from a single one."""


def curve_points(function: PiecewiseQuadratic) -> tuple[FloatArray, FloatArray]:
    """Return places and values to be joined by straight lines; a jump has both its values at one place.

    Examples
    --------
    >>> from gradehaul.track.piecewise import steps
    >>> curve_points(steps([0.0, 1.0, 3.0], [5.0, 7.0]))
    (array([0., 1., 1., 3.]), array([5., 5., 7., 7.]))
    """
    width = np.diff(function.breaks)
    count = np.where(function.seconds == 0, 2, ON_PARABOLA)
    piece = np.repeat(np.arange(width.size), count)
    first = np.repeat(np.cumsum(count) - count, count)
    t = width[piece] * (np.arange(piece.size) - first) / (count[piece] - 1)
    x = function.breaks[piece] + t
    x[np.cumsum(count) - 1] = function.breaks[1:]
    return x, function.values[piece] + t * (function.slopes[piece] + 0.5 * t * function.seconds[piece])


def curve_points_in(function: PiecewiseQuadratic, across: str, up: str) -> tuple[FloatArray, FloatArray]:
    """Return such places and values in the units in which they are drawn."""
    x, y = curve_points(function)
    return convert(1.0, across) * x, convert(1.0, up) * y
