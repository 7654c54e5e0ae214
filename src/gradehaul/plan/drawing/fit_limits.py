"""What a fit of drawn chords has to hold, and what the vertices themselves tell of their scatter."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.curvature_steps import PRICE
from gradehaul.plan.drawing.tangent_arcs import Arcs

FloatArray = NDArray[np.float64]


SYSTEMATIC = 1 / 20
"""How far, in tolerances and root mean square, a curve may stray from its vertices beyond their scatter.

Curves are not stretched until they reach the tolerance: an arc that swallows a bit of the straight beside it holds
within a twentieth of the gauge while its radius is several per cent off.
"""


EXPECTED = 1 / 10
"""In tolerances: the scatter of vertices that is expected before any of them are seen."""


DOUBT = 4.0
"""How many vertices that expectation counts for."""


COARSE = 16.0
"""In tolerances: how far apart the vertices are in which steps of curvature are looked for, at the least."""


class Fit(NamedTuple):
    """What a fit has to hold: tolerance, m, kink, radians, and the scatter expected of the vertices, m."""

    tolerance: float
    kink: float
    noise: float


def holds(off: FloatArray, noise: float, tolerance: float) -> bool:
    """Return whether vertices lie no further off than the tolerance and their scatter let them."""
    if not len(off):
        return True
    strays = math.sqrt(float(off @ off) / len(off))
    return float(np.abs(off).max()) <= tolerance and strays <= math.hypot(1.6 * noise, 1.5 * SYSTEMATIC * tolerance)


def freedom(arcs: Arcs, *, closed: bool) -> int:
    """Return how many more vertices there are than the chain has unknowns to fit them."""
    unknowns = arcs.count + int((~arcs.straight).sum()) + (0 if closed else 1)
    return len(arcs.off) - unknowns


def noise_of(arcs: Arcs, tolerance: float, *, closed: bool) -> float:
    """Return the scatter of the vertices about a chain, m, held near what is expected where few vertices tell it."""
    squares = float(arcs.off @ arcs.off) + DOUBT * (EXPECTED * tolerance) ** 2
    return math.sqrt(squares / (max(freedom(arcs, closed=closed), 0) + DOUBT))


def cost_of(elements: int, squares: float, fit: Fit) -> float:
    """Return what a chain costs: its elements, and the squares of how far the vertices lie off it, m²."""
    return PRICE * elements + squares / (fit.noise**2 + (SYSTEMATIC * fit.tolerance) ** 2)


def student(squares: float, freedom: int) -> float:
    """Return half the width of the interval for one quantity that holds 68.3 % of cases, m."""
    from scipy.special import stdtrit

    if freedom < 1:
        return math.inf
    return math.sqrt(squares / freedom) * float(stdtrit(freedom, 0.841345))


def as_good_as_straight(curvature: float, length: float, fit: Fit) -> bool:
    """Return whether a whole run bulges by less than the tolerance, and its ends turn by far less than a kink."""
    turn = abs(curvature) * length
    return turn * length / 8 <= fit.tolerance and turn <= fit.kink / 2
