"""Stretches of a route: grades and vertical curves, curves and easements, tracks; and the joints it passes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.profile import RouteProfile
from gradehaul.quantities.si import Meters, PerMeter, Ratio
from gradehaul.track.heights.vertical import UNCHANGED
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic, distinct

Hand = Literal["left", "right"]


_NO_WIDTH = 1e-9
"""What is shorter than this, m, is rounding."""


@dataclass(frozen=True, slots=True)
class GradeStretch:
    """A stretch of unchanged grade, or a vertical curve, on which the grade runs evenly from one to another.

    Places and rise in m, grades as plain ratios, positive when climbing in running order.
    """

    KEYS: ClassVar[str] = "from=start to=stop grade rise vertical_curve"

    start: Meters
    stop: Meters
    first: Ratio
    last: Ratio
    rise: Meters
    vertical_curve: bool

    @property
    def grade(self) -> tuple[Ratio, Ratio]:
        """The grade where it starts and where it stops."""
        return self.first, self.last


@dataclass(frozen=True, slots=True)
class CurveStretch:
    """A stretch that is not straight: curvature, 1/m, from `first` to `last`, positive for left in running order.

    It is one radius from end to end, or tapers: an easement, from one curvature to another of the same hand.
    """

    KEYS: ClassVar[str] = "from=start to=stop hand radius curvature"

    start: Meters
    stop: Meters
    first: PerMeter
    last: PerMeter

    @property
    def hand(self) -> Hand:
        """The hand to which it turns, in running order."""
        return "left" if self.first + self.last > 0 else "right"

    @property
    def radius(self) -> Meters:
        """The least radius on it, m."""
        return 1.0 / max(abs(self.first), abs(self.last))

    @property
    def tapers(self) -> bool:
        """Whether the curvature changes along it."""
        return self.first != self.last

    @property
    def curvature(self) -> tuple[PerMeter, PerMeter]:
        """The curvature where it starts and where it stops."""
        return self.first, self.last


@dataclass(frozen=True, slots=True)
class TrackStretch:
    """A track where a route runs over it: its places, m, its name, and whether the builder gave it that name."""

    KEYS: ClassVar[str] = "from=start to=stop id name line berth rail"

    start: Meters
    stop: Meters
    id: str
    name: str
    named: bool
    line: str
    berth: str | None
    rail: str


@dataclass(frozen=True, slots=True)
class RouteElement:
    """A stretch with one track, one grade or vertical curve, and one curve or easement: a row of the numbers.

    Pairs are values where the element starts and where it stops: grades and effective grades as plain ratios,
    curvature in 1/m, positive for left. `railhead` is that at its end, m.
    """

    KEYS: ClassVar[str] = "from=start to=stop track grade hand radius curvature effective railhead"

    start: Meters
    stop: Meters
    track: str
    grade: tuple[Ratio, Ratio]
    curvature: tuple[PerMeter, PerMeter]
    effective: tuple[Ratio, Ratio]
    railhead: Meters

    @property
    def hand(self) -> Hand | None:
        """The hand to which it turns in running order, None where it is straight."""
        turn = sum(self.curvature)
        return None if self.radius is None else "left" if turn > 0 else "right"

    @property
    def radius(self) -> Meters | None:
        """The least radius on it, m, None where it is straight."""
        sharpest = max(map(abs, self.curvature))
        return 1.0 / sharpest if sharpest else None


def grade_stretches(railhead: PiecewiseQuadratic) -> Iterator[GradeStretch]:
    """Yield the stretches of unchanged grade and the vertical curves of a railhead, in order.

    They run across the ends of tracks, so that splitting a track changes nothing.
    """
    width = np.diff(railhead.breaks)
    bend = width * railhead.seconds
    bent = np.abs(bend) > UNCHANGED
    wide = np.flatnonzero(width > _NO_WIDTH)
    here, before = wide[1:], wide[:-1]
    # a straight grade goes on where the slope does, a vertical curve where slope and bend do
    goes_on = np.abs(railhead.slopes[here] - (railhead.slopes + bend)[before]) <= UNCHANGED
    second, last_second = railhead.seconds[here], railhead.seconds[before]
    alike = np.abs(second - last_second) <= 1e-6 * np.abs(last_second)
    goes_on &= np.where(bent[before], bent[here] & alike, ~bent[here])
    first = wide[np.concatenate([[True], ~goes_on])]
    stops = np.append(railhead.breaks[first[1:]], railhead.stop)
    ends = railhead.slopes + bend
    last = np.append(before[~goes_on], wide[-1])
    for a, b, stop in zip(first, last, stops, strict=True):
        vertical = bool(bent[a])
        yield GradeStretch(
            start=float(railhead.breaks[a]),
            stop=float(stop),
            first=_rounded(railhead.slopes[a]),
            last=_rounded(ends[b] if vertical else railhead.slopes[a]),
            rise=float(railhead.ends[b] - railhead.values[a]),
            vertical_curve=vertical,
        )


def _rounded(grade: float) -> float:
    """Return a grade, level to rounding as level."""
    return 0.0 if abs(grade) < UNCHANGED else float(grade)


def curve_stretches(layout: Layout, profile: RouteProfile) -> Iterator[CurveStretch]:
    """Yield what is not straight, a curve of one radius across the ends of tracks as one."""
    open_curve: CurveStretch | None = None
    for way, start in zip(profile.route.ways, profile.starts[:-1], strict=True):
        here = float(start)
        own = layout.alignment.tracks[way.track].sections
        order = own if way.forward else [part.reversed() for part in own[::-1]]
        for part in (each for section in order for each in section.of_one_hand()):
            begin, here = here, here + part.length
            curve = CurveStretch(_on_break(profile, begin), _on_break(profile, here), part.first, part.last)
            if open_curve is not None:
                if curve.first == curve.last == open_curve.first == open_curve.last:
                    open_curve = CurveStretch(open_curve.start, curve.stop, curve.first, curve.last)
                    continue
                yield open_curve
            straight = part.first == part.last == 0
            open_curve = None if straight or curve.stop - curve.start <= _NO_WIDTH else curve
    if open_curve is not None:
        yield open_curve


def _on_break(profile: RouteProfile, place: float) -> float:
    """Return the breakpoint of the profile nearest to a place that another sum may round differently."""
    breaks = profile.railhead.breaks
    near = int(np.searchsorted(breaks, place))
    around = breaks[max(near - 1, 0) : near + 1]
    return float(around[np.argmin(np.abs(around - place))])


def track_stretches(layout: Layout, profile: RouteProfile) -> Iterator[TrackStretch]:
    """Yield the tracks of a route in running order."""
    tracks = layout.plan.tracks
    for number, way in enumerate(profile.route.ways):
        track = tracks[way.track]
        yield TrackStretch(
            start=float(profile.starts[number]),
            stop=float(profile.starts[number + 1]),
            id=track.id,
            name=track.name,
            named=track.name != track.id,
            line=track.line,
            berth=layout.movements.berth_of.get(track.id),
            rail=profile.rails[number][0],
        )


def elements_along(
    profile: RouteProfile, grades: Sequence[GradeStretch], curves: Sequence[CurveStretch]
) -> Iterator[RouteElement]:
    """Yield what lies between two places at which the track, the grade or the curvature changes, in order."""
    spans = [(each.start, each.stop) for each in grades] + [(each.start, each.stop) for each in curves]
    places = distinct(np.concatenate([profile.starts, np.ravel(spans)]))
    places = places[np.concatenate([[True], np.diff(places) > _NO_WIDTH])]
    starts, stops = places[:-1], places[1:]
    effective = profile.effective_grade()
    numbers = np.searchsorted(profile.starts, 0.5 * (starts + stops)) - 1
    grade = _at_both_ends(profile.railhead.derivative(), starts, stops)
    at_ends = _at_both_ends(effective, starts, stops)
    curvature = _curvature_at_both_ends(curves, starts, stops)
    railhead = profile.railhead.at(stops)
    for k, number in enumerate(numbers):
        yield RouteElement(
            start=float(starts[k]),
            stop=float(stops[k]),
            track=profile.tracks[number],
            grade=(_rounded(grade[k, 0]), _rounded(grade[k, 1])),
            curvature=(float(curvature[k, 0]), float(curvature[k, 1])),
            effective=(_rounded(at_ends[k, 0]), _rounded(at_ends[k, 1])),
            railhead=float(railhead[k]),
        )


def _at_both_ends(slope: PiecewiseQuadratic, starts: FloatArray, stops: FloatArray) -> FloatArray:
    """Return a function that is linear on each element where the element starts and stops, shape (n, 2)."""
    third = (stops - starts) / 3
    one, two = slope.at(starts + third), slope.at(stops - third)
    return np.stack([2 * one - two, 2 * two - one], axis=1)


def _curvature_at_both_ends(curves: Sequence[CurveStretch], starts: FloatArray, stops: FloatArray) -> FloatArray:
    result = np.zeros((starts.size, 2))
    middle = 0.5 * (starts + stops)
    for curve in curves:
        inside = slice(*np.searchsorted(middle, [curve.start, curve.stop]))
        along = np.stack([starts[inside], stops[inside]], axis=1) - curve.start
        share = (along / (curve.stop - curve.start)).round(9)  # so that an easement ends at none at all
        result[inside] = curve.first * (1 - share) + curve.last * share
    return result


@dataclass(frozen=True, slots=True)
class JointPlace:
    """A joint where a route passes it, m from where the route begins."""

    at: Meters
    name: str
    kind: Literal["end", "plain", "turnout", "crossing", "table"]


def joints_along(layout: Layout, profile: RouteProfile) -> Iterator[JointPlace]:
    """Yield the joints that a route passes, in running order, with those at its ends."""
    for at, name in zip(profile.starts, layout.movements.joints_met(profile.route.ways), strict=True):
        if name is not None:
            yield JointPlace(float(at), name, layout.plan.joints[name].kind)


@dataclass(frozen=True, slots=True, order=True)
class OnTrack:
    """A stretch of one track: its id, and two distances from the start of the track, m, rising."""

    KEYS: ClassVar[str] = "track from=start to=stop"

    track: str
    start: Meters
    stop: Meters


def on_tracks(profile: RouteProfile, start: float, stop: float) -> Iterator[OnTrack]:
    """Yield the tracks under a stretch of a route, m, each with the part of it in the track's own direction."""
    route = profile.route
    for way, begin, end in zip(route.ways, profile.starts[:-1].tolist(), profile.starts[1:].tolist(), strict=True):
        low, high = max(start, begin), min(stop, end)
        if low < high or (low == high and start == stop):
            part = (low - begin, high - begin) if way.forward else (end - high, end - low)
            yield OnTrack(way.track, *part)
