"""What a long section tells: grades, curves, tracks and joints along a route, and a train's pull against its demand."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from gradehaul.errors import RouteError
from gradehaul.haulage.demand import gravity_and_curves, supply
from gradehaul.haulage.joint_places import JointPlace, joints_along
from gradehaul.haulage.layout import Layout, judged_rails
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train, made_up
from gradehaul.haulage.verdict import Verdict, judge
from gradehaul.network.routes import Route
from gradehaul.plan.names import listed, nearest, quoted
from gradehaul.plan.records import NamedTrain, Plan
from gradehaul.plan.stock import CLEAN
from gradehaul.track.curvature import Section
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic, distinct, steps
from gradehaul.track.vertical import UNCHANGED

Hand = Literal["left", "right"]

_NO_WIDTH = 1e-9
"""What is shorter than this, m, is rounding."""


@dataclass(frozen=True, slots=True)
class GradeStretch:
    """A stretch of unchanged grade, or a vertical curve, on which the grade runs evenly from one to another.

    Places and rise in m, grades as plain ratios, positive when climbing in running order.
    """

    start: float
    stop: float
    first: float
    last: float
    rise: float
    vertical_curve: bool

    @property
    def length(self) -> float:
        """Level length, m."""
        return self.stop - self.start


@dataclass(frozen=True, slots=True)
class CurveStretch:
    """A stretch that is not straight: curvature, 1/m, from `first` to `last`, positive for left in running order.

    It is one radius from end to end, or tapers: an easement, from one curvature to another of the same hand.
    """

    start: float
    stop: float
    first: float
    last: float

    @property
    def hand(self) -> Hand:
        """The hand to which it turns, in running order."""
        return "left" if self.first + self.last > 0 else "right"

    @property
    def radius(self) -> float:
        """The least radius on it, m."""
        return 1.0 / max(abs(self.first), abs(self.last))

    @property
    def tapers(self) -> bool:
        """Whether the curvature changes along it."""
        return self.first != self.last


@dataclass(frozen=True, slots=True)
class TrackStretch:
    """A track where a route runs over it: its places, m, its name, and whether the builder gave it that name."""

    start: float
    stop: float
    id: str
    name: str
    named: bool
    line: str
    berth: str | None
    rail: str


@dataclass(frozen=True, slots=True)
class Element:
    """A stretch with one track, one grade or vertical curve, and one curve or easement: a row of the numbers.

    Pairs are values where the element starts and where it stops: grades and effective grades as plain ratios,
    curvature in 1/m, positive for left. `railhead` is that at its end, m.
    """

    start: float
    stop: float
    track: str
    grade: tuple[float, float]
    curvature: tuple[float, float]
    effective: tuple[float, float]
    railhead: float

    @property
    def hand(self) -> Hand | None:
        """The hand to which it turns in running order, None where it is straight."""
        turn = sum(self.curvature)
        return None if self.radius is None else "left" if turn > 0 else "right"

    @property
    def radius(self) -> float | None:
        """The least radius on it, m, None where it is straight."""
        sharpest = max(map(abs, self.curvature))
        return 1.0 / sharpest if sharpest else None


@dataclass(frozen=True, slots=True, eq=False)
class PullGiven:
    """What a train's locomotives give on one rail condition, N, by the place of its head, and what becomes of it."""

    rail: str
    standing: PiecewiseQuadratic
    slipping: PiecewiseQuadratic
    verdict: Verdict


@dataclass(frozen=True, slots=True, eq=False)
class Haul:
    """A train on a route: what it asks and what its locomotives give, N, by the place of its head, m.

    `running` and `starting` are what grades and curves ask of the whole train, locomotives included, plus the rolling
    or starting resistance of its cars; a pull is what the balance reads on level straight track, where the resistance
    of the locomotives is in it already. So the two are compared as they stand.
    """

    name: str
    train: Train
    running: PiecewiseQuadratic
    starting: PiecewiseQuadratic
    given: tuple[PullGiven, ...]


@dataclass(frozen=True, slots=True, eq=False)
class LongSection:
    """A route laid out along its length, in running order, and what a train meets on it; no train where `haul` is None.

    Nothing is sampled: functions are piecewise quadratic and stretches have exact ends.
    """

    plan: Plan
    profile: RouteProfile
    effective: PiecewiseQuadratic
    """Effective grade along the route."""
    grades: tuple[GradeStretch, ...]
    curves: tuple[CurveStretch, ...]
    tracks: tuple[TrackStretch, ...]
    joints: tuple[JointPlace, ...]
    elements: tuple[Element, ...]
    haul: Haul | None

    @property
    def route(self) -> Route:
        """The route."""
        return self.profile.route


def long_section(
    layout: Layout, route: str | None = None, *, train: str | None = None, rails: Sequence[str] | None = None
) -> LongSection:
    """Return what a long section of a route tells.

    Parameters
    ----------
    layout
        The layout.
    route
        The route's name; None where the plan has only one.
    train
        A named train, which need not be meant for this route; None for the first that is, if any.
    rails
        The rail conditions to reckon with; None for clean rail and those by which the layout is judged: as planned
        where the plan says so, else every film.

    Raises
    ------
    RouteError
        A route, train or rail condition that the plan does not have, no route named where there are several, or a
        train longer than the lap or the loop it would run on.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> section = long_section(Layout(read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead.Foot = 0
    ... line.Hill = { from = "Foot", to = "Top", track = [{ straight = 4, grade = "2 %" }, { left = 1, angle = 90 }] }
    ... route.Up = { from = "Foot", to = "Top" }
    ... ''')))
    >>> [(stretch.start, stretch.stop, stretch.first) for stretch in section.grades]
    [(0.0, 4.0, 0.02), (4.0, 5.570796326794897, 0.0)]
    >>> [(stretch.start, stretch.hand, stretch.radius) for stretch in section.curves]
    [(4.0, 'left', 1.0)]
    """
    chosen = _route(layout, route)
    profile = layout.profile(chosen)
    grades = tuple(grade_stretches(profile.railhead))
    curves = tuple(_curves(layout, profile))
    return LongSection(
        plan=layout.plan,
        profile=profile,
        effective=profile.effective_grade(),
        grades=grades,
        curves=curves,
        tracks=tuple(_tracks(layout, profile)),
        joints=tuple(joints_along(layout, profile)),
        elements=tuple(_elements(profile, grades, curves)),
        haul=_haul(layout, profile, train, rails),
    )


# What the plan has


def _route(layout: Layout, name: str | None) -> Route:
    file, routes = layout.plan.file, layout.routes
    if name is not None:
        try:
            return _one_direction(layout.route(name), file)
        except RouteError as error:
            raise error.at(file=file) from None
    if not routes:
        raise RouteError("no train can run from one end or berth to another, so there is no route to show", file=file)
    if len(routes) > 1:
        names = ", ".join(quoted(route.name) for route in routes)
        wrong = f"which route to show must be told, for there are {len(routes)}"
        raise RouteError(wrong, file=file, found="none", write=f"the name of one behind the plan: {names}")
    return _one_direction(routes[0], file)


def _one_direction(route: Route, file: str) -> Route:
    """Refuse a route with reversals, for a long section is run in one direction."""
    if route.legs:
        many = "a reversal" if len(route.tails) == 1 else f"{len(route.tails)} reversals"
        legs = [quoted(leg.name) for leg in route.legs]
        raise RouteError(
            f"a long section shows one leg of a route with {many}",
            file=file,
            found=quoted(route.name),
            write=" or ".join((", ".join(legs[:-1]), legs[-1])),
        )
    return route


def _named_train(layout: Layout, route: Route, name: str | None) -> NamedTrain | None:
    trains = layout.plan.trains
    if name is None:
        return next((named for named in trains.values() if named.route == route.whole), None)
    if name not in trains:
        write = _one_of(trains, name) if trains else "[train.NAME] with a route and a consist"
        raise RouteError("the plan has no train of this name", file=layout.plan.file, found=quoted(name), write=write)
    return trains[name]


def _rails(layout: Layout, asked: Sequence[str] | None) -> tuple[str, ...]:
    if asked is None:
        return (CLEAN, *judged_rails(layout.rails))
    for name in asked:
        if name not in layout.rails:
            raise RouteError(
                "the plan has no rail condition of this name",
                file=layout.plan.file,
                found=quoted(name),
                write=_one_of(layout.rails, name),
            )
    return tuple(dict.fromkeys(asked))


def _one_of(names: Collection[str], name: str) -> str:
    near = nearest(name, names)
    if near is not None:
        return quoted(near)
    return f"one of {listed(names)}" if len(names) > 1 else listed(names)


# Along the route


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
            first=_told(railhead.slopes[a]),
            last=_told(ends[b] if vertical else railhead.slopes[a]),
            rise=float(railhead.ends[b] - railhead.values[a]),
            vertical_curve=vertical,
        )


def _told(grade: float) -> float:
    """Return a grade, level to rounding as level."""
    return 0.0 if abs(grade) < UNCHANGED else float(grade)


def _curves(layout: Layout, profile: RouteProfile) -> Iterator[CurveStretch]:
    """Yield what is not straight, a curve of one radius across the ends of tracks as one."""
    open_curve: CurveStretch | None = None
    for way, start in zip(profile.route.ways, profile.starts[:-1], strict=True):
        here = float(start)
        own = layout.alignment.tracks[way.track].sections
        for part in _split_at_zero(own if way.forward else [part.reversed() for part in own[::-1]]):
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


def _split_at_zero(parts: Sequence[Section]) -> Iterator[Section]:
    for part in parts:
        if part.first * part.last < 0:
            to_zero = part.length * part.first / (part.first - part.last)
            yield Section(to_zero, part.first, 0.0)
            yield Section(part.length - to_zero, 0.0, part.last)
        else:
            yield part


def _on_break(profile: RouteProfile, place: float) -> float:
    """Return the breakpoint of the profile at a place reckoned with another sum, hence other rounding."""
    breaks = profile.railhead.breaks
    near = int(np.searchsorted(breaks, place))
    around = breaks[max(near - 1, 0) : near + 1]
    return float(around[np.argmin(np.abs(around - place))])


def _tracks(layout: Layout, profile: RouteProfile) -> Iterator[TrackStretch]:
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
            berth=layout.graph.berth_of.get(track.id),
            rail=profile.rails[number],
        )


def _elements(
    profile: RouteProfile, grades: Sequence[GradeStretch], curves: Sequence[CurveStretch]
) -> Iterator[Element]:
    spans = [(each.start, each.stop) for each in grades] + [(each.start, each.stop) for each in curves]
    places = distinct(np.concatenate([profile.starts, np.ravel(spans)]))
    places = places[np.concatenate([[True], np.diff(places) > _NO_WIDTH])]
    starts, stops = places[:-1], places[1:]
    effective = profile.effective_grade()
    numbers = np.searchsorted(profile.starts, 0.5 * (starts + stops)) - 1
    grade = _at_both_ends(profile.railhead.derivative(), starts, stops)
    asks = _at_both_ends(effective, starts, stops)
    curvature = _curvature_at_both_ends(curves, starts, stops)
    railhead = profile.railhead.at(stops)
    for k, number in enumerate(numbers):
        yield Element(
            start=float(starts[k]),
            stop=float(stops[k]),
            track=profile.tracks[number],
            grade=(_told(grade[k, 0]), _told(grade[k, 1])),
            curvature=(float(curvature[k, 0]), float(curvature[k, 1])),
            effective=(_told(asks[k, 0]), _told(asks[k, 1])),
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
        result[inside] = curve.first + (curve.last - curve.first) * along / (curve.stop - curve.start)
    return result


# The train


def _haul(layout: Layout, profile: RouteProfile, name: str | None, rails: Sequence[str] | None) -> Haul | None:
    named = _named_train(layout, profile.route, name)
    told_rails = _rails(layout, rails)
    if named is None:
        return None
    started = made_up(layout.plan, named)
    train = started.turned() if profile.route.turned else started
    for room in layout.rooms(layout.route(profile.route.whole)):
        if not room.berth and train.length > room.length * (1 + 1e-9):
            raise RouteError(
                f"it must be no longer than {room.name} of the route",
                file=layout.plan.file,
                place=f"train {quoted(named.name)} on route {quoted(profile.route.name)}",
                write="another train",
            )
    asked = gravity_and_curves(profile, train)
    return Haul(
        name=named.name,
        train=train,
        running=asked + train.rolling,
        starting=asked + train.starting,
        given=tuple(_given(layout, profile, started, rail, asked) for rail in told_rails),
    )


def _given(layout: Layout, profile: RouteProfile, started: Train, rail: str, asked: PiecewiseQuadratic) -> PullGiven:
    train = started.turned() if profile.route.turned else started
    given = supply(profile, train, rail, layout.pulls)
    standing, slipping = (
        pull.restrict(asked.start, asked.stop)
        if isinstance(pull, PiecewiseQuadratic)
        else steps([asked.start, asked.stop], [pull])
        for pull in (given.standing, given.slipping)
    )
    return PullGiven(rail, standing, slipping, judge(profile, started, rail, layout.pulls))
