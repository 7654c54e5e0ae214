"""Solving: values for the open figures of a line with which it ends at its joint, in place and in heading."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

from gradehaul.track.fit.reach import Figure, Reach
from gradehaul.track.map.closing import PERFECT
from gradehaul.track.map.plane import Leg
from gradehaul.track.piecewise import FloatArray

if TYPE_CHECKING:
    from shapely import LineString

SHARPEST = 10.0
"""Radii under so many gauges are hardly run by any model (common practice; NEM 111 permits none so sharp)."""
_SHORTEST = 1e-6
"""What is shorter than this, m, or turns by less, rad, is no track."""
_ANGLES = (0.15, 0.5, 1.2, 2.2)
"""Where the search for an angle starts, rad."""
_RADII = (20.0, 45.0, 100.0)
"""Where the search for a radius starts, gauges."""
_FREE = 1e-7
"""Figures that can be traded for one another: the least of the singular values over the greatest."""
_STEPS = 200
"""Trials of the line in one search: some 20 lead to where it closes."""
_TRIALS = 4
"""Starts from which the nearest track is looked for where none closes."""


@dataclass(frozen=True, slots=True)
class Beside:
    """The middle of the line lies at a distance from another line, m; both as seen from where the line starts."""

    line: LineString
    distance: float


@dataclass(frozen=True, slots=True)
class Fit:
    """Values for the figures of a line, SI, and by how much it misses with them: m, rad, and m beside another line."""

    values: tuple[float, ...]
    distance: float
    angle: float
    beside: float
    length: float

    @property
    def closes(self) -> bool:
        """Whether it closes as well as track is laid."""
        return self.distance < PERFECT[0] and self.angle < PERFECT[1] and self.beside < PERFECT[0]


@dataclass(frozen=True, slots=True)
class Solved:
    """What was found for a line: the shortest track that closes, or the nearest that can be laid.

    `unlaid` is a fit that closes but cannot be laid, with the figure that stands in the way. `free` means that figures
    can be traded for one another, so that nothing fixes them.
    """

    found: Fit | None
    nearest: Fit | None = None
    unlaid: tuple[Fit, Figure] | None = None
    free: bool = False


def solve(reach: Reach, target: Leg, gauge: float, beside: Beside | None = None) -> Solved:
    """Find the figures of a line by least squares, from a few starts that are always the same.

    The residual is where the closed form of the line ends, less where it should, with the heading as a unit vector.
    Of the tracks that close and can be laid, the shortest is taken.

    Parameters
    ----------
    reach
        Where the line leads by its figures.
    target
        Where its joint lies as seen from its start, and the heading there.
    gauge
        Distance between the rails, m: no radius is under ten gauges.
    beside
        The line beside which its middle lies, if any.
    """
    problem = _Problem(reach, target, gauge, beside)
    fits: list[tuple[Fit, FloatArray]] = []
    for start in problem.starts():
        values, jacobian = problem.improved(start)
        fit = problem.fit(values)
        if fit.closes:
            fits.append((fit, jacobian))
        if problem.linear and beside is None:
            break
    laid = [each for each in fits if problem.hinders(each[0]) is None]
    if laid:
        best, jacobian = min(laid, key=lambda each: each[0].length)
        return Solved(best, free=problem.free(jacobian))
    if fits and problem.free(fits[0][1]):
        return Solved(None, free=True)
    unlaid = min((fit for fit, _ in fits), key=lambda fit: abs(fit.length), default=None)
    hinders = problem.hinders(unlaid) if unlaid is not None else None
    return Solved(None, problem.nearest(unlaid), (unlaid, hinders) if unlaid is not None and hinders else None)


class _Problem:
    """The residual of one line, the bounds of its figures and where the search for them starts."""

    def __init__(self, reach: Reach, target: Leg, gauge: float, beside: Beside | None) -> None:
        self.reach, self.target, self.gauge, self.beside = reach, target, gauge, beside
        known = sum(track.length for track in reach.line.tracks if not track.open)
        self.size = max(abs(target.chord), known, 20 * gauge)
        self.scale = np.array([1.0 if figure.kind == "angle" else self.size for figure in reach.figures])
        self._heading = cmath.exp(1j * target.turn)

    @property
    def linear(self) -> bool:
        """Whether all figures are lengths of straights."""
        return all(figure.track.kind == "straight" for figure in self.reach.figures)

    def residual(self, scaled: FloatArray) -> FloatArray:
        values = (scaled * self.scale).tolist()
        leg = self.reach.end(values)
        off = (leg.chord - self.target.chord) / self.size
        turned = cmath.exp(1j * leg.turn) - self._heading
        rows = [off.real, off.imag, turned.real, turned.imag]
        if self.beside is not None:
            rows.append(self._beside(values) / self.size)
        return np.array(rows)

    def _beside(self, values: Sequence[float]) -> float:
        """Return by how much the middle of the line is too far from the other line, m."""
        from shapely import Point

        assert self.beside is not None
        middle = self.reach.middle(values)
        return float(self.beside.line.distance(Point(middle.real, middle.imag))) - self.beside.distance

    def starts(self) -> Iterator[FloatArray]:
        choices = [self._choices(figure) for figure in self.reach.figures]
        for values in product(*choices):
            yield np.array(values) / self.scale

    def _choices(self, figure: Figure) -> Sequence[float]:
        if figure.unknown == "angle":
            return _ANGLES
        if figure.unknown == "radius":
            return tuple(each * self.gauge for each in _RADII)
        return (0.4 * self.size,)

    def improved(self, start: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the values to which least squares lead from a start, and the Jacobian there."""
        from scipy.optimize import least_squares

        done = least_squares(self.residual, start, method="lm", xtol=1e-13, ftol=1e-13, gtol=1e-13, max_nfev=_STEPS)
        return done.x * self.scale, np.asarray(done.jac, dtype=float)

    def fit(self, values: FloatArray) -> Fit:
        pairs = zip(self.reach.figures, values.tolist(), strict=True)
        found = tuple(value % math.tau if figure.kind == "angle" else value for figure, value in pairs)
        leg = self.reach.end(found)
        angle = math.remainder(leg.turn - self.target.turn, math.tau)
        beside = abs(self._beside(found)) if self.beside is not None else 0.0
        length = sum(length for length, _ in self.reach.legs(found))
        return Fit(found, abs(leg.chord - self.target.chord), abs(angle), beside, length)

    def bounds(self, figure: Figure) -> tuple[float, float]:
        """Return the least and the greatest value that a figure can have."""
        if figure.unknown == "radius":
            return SHARPEST * self.gauge, math.inf
        if figure.unknown == "length":
            return max(2 * figure.track.ease, _SHORTEST), math.inf
        least = figure.track.ease * abs(figure.track.curvature) if "radius" not in figure.track.fit else 0.0
        return max(least, _SHORTEST), math.pi

    def hinders(self, fit: Fit) -> Figure | None:
        """Return the figure whose value cannot be laid, if any."""
        for figure, value in zip(self.reach.figures, fit.values, strict=True):
            least, most = self.bounds(figure)
            if not least <= value <= most * (1 + 1e-12):
                return figure
        short = [track for track in self.reach.tracks(fit.values) if track.length < 2 * track.ease * (1 - 1e-9)]
        return next((figure for figure in self.reach.figures if short and figure.track.id == short[0].id), None)

    def free(self, jacobian: FloatArray) -> bool:
        """Return whether the figures can be changed together and the line still ends where it does."""
        values = np.linalg.svd(jacobian, compute_uv=False)
        return bool(values[-1] < _FREE * max(values[0], _FREE))

    def nearest(self, unlaid: Fit | None) -> Fit:
        """Return the fit that misses least with figures that can be laid."""
        from scipy.optimize import least_squares

        low, high = np.array([self.bounds(figure) for figure in self.reach.figures]).T / self.scale
        starts: list[Any] = [] if unlaid is None else [np.array(unlaid.values) / self.scale]
        everywhere = list(self.starts())
        starts += everywhere[:: max(1, len(everywhere) // _TRIALS)]
        inside = [np.clip(start, low * (1 + 1e-9), np.minimum(high, 1e3) * (1 - 1e-9)) for start in starts]
        fits = [self.fit(least_squares(self.residual, start, bounds=(low, high)).x * self.scale) for start in inside]
        return min(fits, key=lambda fit: fit.distance / self.size + fit.angle)
