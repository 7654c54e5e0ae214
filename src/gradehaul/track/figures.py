"""Open figures of a line: where it leads by them, and values with which it ends at its joint, in place and heading."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, reduce
from itertools import product
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from gradehaul.plan.records import Line, Track, Unknown
from gradehaul.quantities import Kind, convert
from gradehaul.quantities.si import Meters, PerMeter, Radians
from gradehaul.track.curvature import Section, sections_in_order
from gradehaul.track.map.closing import PERFECT
from gradehaul.track.map.plane import Leg, Pose, lay_out, legs_of
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
_NEWTON_STEPS, _STEP, _ENOUGH = 20, 1e-6, 1e-14
"""Newton's method for straights: the most steps, how far the line is tried beside each, and the last change."""
_TRIALS = 4
"""Starts from which the nearest track is looked for where none closes."""


class OpenFigure(NamedTuple):
    """One figure that is to be found: of which track of a line, counted from 0, and which."""

    place: int
    track: Track
    unknown: Unknown

    @property
    def name(self) -> str:
        """What it is called: a straight by its number, a curve's angle, length or radius."""
        own = f" ({self.track.name})" if self.track.name != self.track.id else ""
        what = f"{self.track.kind} {self.track.number}{own}"
        return what if self.track.kind == "straight" else f"the {self.unknown} of {what}"

    @property
    def kind(self) -> Kind:
        """What it is measured in."""
        return "angle" if self.unknown == "angle" else "length"

    def of(self, track: Track) -> float:
        """Return the figure as a track has it, SI."""
        if self.unknown == "radius":
            return 1.0 / abs(track.curvature)
        return track.length if self.unknown == "length" else abs(track.curvature) * (track.length - track.ease)

    def shown(self, value: float, unit: str) -> str:
        """Return a value of it in the plan's unit, or in degrees, to a tenth of a millimeter and a thousandth."""
        unit = unit if self.kind == "length" else "deg"
        decimals = 3 if self.kind == "angle" else max(0, math.ceil(4 - math.log10(convert(1.0, unit)) - 1e-9))
        text = f"{convert(value, unit):.{decimals}f}"
        return f"{text.rstrip('0').rstrip('.') if decimals else text} {unit}"


def figures_of(line: Line) -> tuple[OpenFigure, ...]:
    """Return the figures of a line that the builder left to be found, in order."""
    return tuple(OpenFigure(place, track, unknown) for place, track in enumerate(line.tracks) for unknown in track.fit)


def tracks_with(line: Line, values: Sequence[float]) -> tuple[Track, ...]:
    """Return the tracks of a line with values for its figures, SI."""
    found: dict[int, dict[Unknown, float]] = {}
    for figure, value in zip(figures_of(line), values, strict=True):
        found.setdefault(figure.place, {})[figure.unknown] = float(value)
    tracks = list(line.tracks)
    for place, own in found.items():
        track = tracks[place]
        curvature = math.copysign(1.0, track.curvature) / own["radius"] if "radius" in own else track.curvature
        length, turn = own.get("length", track.length), own.get("angle", track.turn)
        if turn is not None:
            length = turn / abs(curvature) + track.ease
        tracks[place] = replace(track, length=length, curvature=curvature)
    return tuple(tracks)


@dataclass(frozen=True, slots=True)
class LineBeside:
    """The middle of the line lies at a distance from another line, m; both as seen from where the line starts."""

    line: LineString
    distance: Meters


@dataclass(frozen=True, slots=True)
class LineFit:
    """Values for the figures of a line, SI, and by how much it misses with them: m, rad, and m beside another line."""

    values: tuple[float, ...]
    distance: Meters
    angle: Radians
    beside: Meters
    length: Meters

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

    found: LineFit | None
    nearest: LineFit | None = None
    unlaid: tuple[LineFit, OpenFigure] | None = None
    free: bool = False


@dataclass(frozen=True)
class OpenLine:
    """A line whose figures are to be found, with the gauge, m: no radius is under ten gauges.

    `target` is where its joint lies as seen from its start, and the heading there; `outer` the curvature of the track
    before and after it, 1/m, which its easements take; `beside` the line beside which its middle lies, if any.
    """

    line: Line
    target: Leg
    gauge: Meters
    outer: tuple[PerMeter, PerMeter] = (0.0, 0.0)
    beside: LineBeside | None = None

    def solve(self) -> Solved:
        """Find the figures by least squares, from a few starts that are always the same.

        The residual is where the line ends, less where it should, with the heading as a unit vector. Of the tracks
        that close and can be laid, the shortest is taken.
        """
        fits: list[tuple[LineFit, FloatArray]] = []
        for values, jacobian in self._solutions():
            fit = self._fit(values)
            if fit.closes:
                fits.append((fit, jacobian))
        laid = [each for each in fits if self._hinders(each[0]) is None]
        if laid:
            best, jacobian = min(laid, key=lambda each: each[0].length)
            return Solved(best, free=_free(jacobian))
        if fits and _free(fits[0][1]):
            return Solved(None, free=True)
        unlaid = min((fit for fit, _ in fits), key=lambda fit: abs(fit.length), default=None)
        hinders = self._hinders(unlaid) if unlaid is not None else None
        return Solved(None, self._nearest(unlaid), (unlaid, hinders) if unlaid is not None and hinders else None)

    @cached_property
    def _figures(self) -> tuple[OpenFigure, ...]:
        return figures_of(self.line)

    @cached_property
    def _size(self) -> float:
        """The size of the line, m, over which its lengths and misses are taken."""
        known = sum(track.length for track in self.line.tracks if not track.open)
        return max(abs(self.target.chord), known, 20 * self.gauge)

    @cached_property
    def _scale(self) -> FloatArray:
        return np.array([1.0 if figure.kind == "angle" else self._size for figure in self._figures])

    @cached_property
    def _known(self) -> dict[str, Leg]:
        """The legs of the tracks on which no figure has a part."""
        own = self._sections(self.line.tracks)
        finite = {
            track.id: own[track.id]
            for track in self.line.tracks
            if not track.open and all(math.isfinite(part.first + part.last) for part in own[track.id])
        }
        return legs_of(finite)

    def _sections(self, tracks: Sequence[Track]) -> dict[str, tuple[Section, ...]]:
        return sections_in_order([(track, True) for track in tracks], *self.outer)

    def _residual(self, scaled: FloatArray) -> FloatArray:
        tracks = tracks_with(self.line, (scaled * self._scale).tolist())
        end = self._end(tracks)
        off = (end.chord - self.target.chord) / self._size
        turned = cmath.exp(1j * end.turn) - cmath.exp(1j * self.target.turn)
        rows = [off.real, off.imag, turned.real, turned.imag]
        if self.beside is not None:
            rows.append(self._too_far(tracks, self.beside) / self._size)
        return np.array(rows)

    def _end(self, tracks: Sequence[Track]) -> Leg:
        """Return where tracks of the line lead; a length or radius of either sign will do."""
        own = self._sections(tracks)
        legs = self._known | legs_of({track: parts for track, parts in own.items() if track not in self._known})
        return reduce(Leg.then, (legs[track.id] for track in tracks))

    def _too_far(self, tracks: Sequence[Track], beside: LineBeside) -> float:
        """Return by how much the middle of the line is too far from the other line, m."""
        from shapely import Point

        parts = [part for own in self._sections(tracks).values() for part in own]
        laid = lay_out([parts], [Pose(0.0, 0.0, 0.0)])
        half = 0.5 * float(laid.parts.length.sum())
        place = max(int(np.searchsorted(laid.distance, half)) - 1, 0)
        (middle,) = laid.at(np.array([place]), half - laid.distance[[place]])
        return float(beside.line.distance(Point(middle.real, middle.imag))) - beside.distance

    def _starts(self) -> Iterator[FloatArray]:
        choices = {"angle": _ANGLES, "radius": [each * self.gauge for each in _RADII], "length": [0.4 * self._size]}
        for values in product(*(choices[figure.unknown] for figure in self._figures)):
            yield np.array(values) / self._scale

    def _solutions(self) -> Iterator[tuple[FloatArray, FloatArray]]:
        """Yield the values to which least squares lead from each start, and the Jacobian there."""
        if all(figure.track.kind == "straight" for figure in self._figures):
            # the end moves in proportion to straights: loading scipy's search would take longer than all the rest
            values, jacobian = self._by_newton()
            yield values, jacobian
            if self.beside is None or self._fit(values).closes:
                return
        from scipy.optimize import least_squares

        for start in self._starts():
            done = least_squares(
                self._residual, start, method="lm", xtol=1e-13, ftol=1e-13, gtol=1e-13, max_nfev=_STEPS
            )
            yield done.x * self._scale, np.asarray(done.jac, dtype=float)

    def _by_newton(self) -> tuple[FloatArray, FloatArray]:
        scaled = next(self._starts())
        for _ in range(_NEWTON_STEPS):
            off = self._residual(scaled)
            columns = [(self._residual(scaled + by) - off) / _STEP for by in _STEP * np.eye(scaled.size)]
            jacobian = np.column_stack(columns)
            change = np.linalg.lstsq(jacobian, -off, rcond=_FREE)[0]
            scaled = scaled + change
            if np.abs(change).max() < _ENOUGH:
                break
        return scaled * self._scale, jacobian

    def _fit(self, values: FloatArray) -> LineFit:
        pairs = zip(self._figures, values.tolist(), strict=True)
        found = tuple(value % math.tau if figure.kind == "angle" else value for figure, value in pairs)
        tracks = tracks_with(self.line, found)
        end = self._end(tracks)
        angle = math.remainder(end.turn - self.target.turn, math.tau)
        beside = abs(self._too_far(tracks, self.beside)) if self.beside is not None else 0.0
        length = sum(track.length for track in tracks)
        return LineFit(found, abs(end.chord - self.target.chord), abs(angle), beside, length)

    def _bounds(self, figure: OpenFigure) -> tuple[float, float]:
        """Return the least and the greatest value that a figure can have."""
        if figure.unknown == "radius":
            return SHARPEST * self.gauge, math.inf
        if figure.unknown == "length":
            return max(2 * figure.track.ease, _SHORTEST), math.inf
        least = figure.track.ease * abs(figure.track.curvature) if "radius" not in figure.track.fit else 0.0
        return max(least, _SHORTEST), math.pi

    def _hinders(self, fit: LineFit) -> OpenFigure | None:
        """Return the figure whose value cannot be laid, if any."""
        for figure, value in zip(self._figures, fit.values, strict=True):
            least, most = self._bounds(figure)
            if not least <= value <= most * (1 + 1e-12):
                return figure
        tracks = tracks_with(self.line, fit.values)
        short = [track.id for track in tracks if track.length < 2 * track.ease * (1 - 1e-9)]
        return next((figure for figure in self._figures if figure.track.id in short[:1]), None)

    def _nearest(self, unlaid: LineFit | None) -> LineFit:
        """Return the fit that misses least with figures that can be laid."""
        from scipy.optimize import least_squares

        low, high = np.array([self._bounds(figure) for figure in self._figures]).T / self._scale
        everywhere = list(self._starts())
        starts = [] if unlaid is None else [np.array(unlaid.values) / self._scale]
        starts += everywhere[:: max(1, len(everywhere) // _TRIALS)]
        inside = [np.clip(start, low * (1 + 1e-9), np.minimum(high, 1e3) * (1 - 1e-9)) for start in starts]
        fits = [self._fit(least_squares(self._residual, start, bounds=(low, high)).x * self._scale) for start in inside]
        return min(fits, key=lambda fit: fit.distance / self._size + fit.angle)


def _free(jacobian: FloatArray) -> bool:
    """Return whether figures can be changed together and the line still ends where it does."""
    values = np.linalg.svd(jacobian, compute_uv=False)
    return bool(values[-1] < _FREE * max(values[0], _FREE))
