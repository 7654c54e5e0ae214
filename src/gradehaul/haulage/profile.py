"""The compensated profile: railhead plus summed curve resistance along a route."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import accumulate
from typing import ClassVar, NamedTuple

import numpy as np

from gradehaul.errors import RouteError
from gradehaul.haulage.resistance import CurveCosts
from gradehaul.network.graph import Way
from gradehaul.network.route import Route
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.plan.resolve.stock import MOST_CARS
from gradehaul.quantities.si import Meters, Ratio
from gradehaul.track.alignment import Alignment
from gradehaul.track.piecewise import ROUNDING, Extreme, FloatArray, PiecewiseQuadratic, distinct, join, sum_of_shifted

_LEVEL = 1e-6
"""Rises or falls of no more, m, are none."""

_ROW_PARTS = (64, 32, 16, 8, 4, 2, 1)
"""Numbers of cars in a row whose steepest place is looked up, to bound what any number of cars can need."""


class WayProfile(NamedTuple):
    """A track as it is run over one way: railhead, m, and summed curvature, rad, which break at the same places."""

    name: str
    rails: tuple[str, ...]
    """The conditions that it may have: first the planned one, clean where nothing is said."""
    railhead: PiecewiseQuadratic
    summed_curvature: PiecewiseQuadratic


def way_profiles(alignment: Alignment) -> dict[Way, WayProfile]:
    """Return the profile of every way over the tracks of an alignment, of which routes are made."""
    found: dict[Way, WayProfile] = {}
    for track in alignment.tracks.values():
        # both reach to the end of the track, but for rounding
        breaks = distinct(np.concatenate([track.railhead.breaks, track.summed_curvature.breaks[:-1]]))
        railhead, summed_curvature = track.railhead.divided(breaks), track.summed_curvature.divided(breaks)
        rails = (track.rail or CLEAN,)
        found[Way(track.id, forward=True)] = WayProfile(track.name, rails, railhead, summed_curvature)
        back = -summed_curvature.reverse() + float(summed_curvature.ends[-1])
        found[Way(track.id, forward=False)] = WayProfile(track.name, rails, railhead.reverse(), back)
    return found


def steepest_on_ways(profiles: Mapping[Way, WayProfile], coefficient: float) -> dict[Way, float]:
    """Return the steepest effective grade on every way: grade plus curve resistance, at a point."""
    grades = {
        way: compensated_profile(each.railhead, each.summed_curvature, coefficient).derivative()
        for way, each in profiles.items()
    }
    return {way: float(max(grade.values.max(), grade.ends.max())) for way, grade in grades.items()}


@dataclass(frozen=True, slots=True)
class Ruling:
    """The ruling grade at a point: the effective grade, its two parts, and the stretch over which it rules."""

    KEYS: ClassVar[str] = "effective grade curve from=start to=stop track"

    effective: Ratio
    grade: Ratio
    curve: Ratio
    start: Meters
    stop: Meters
    track: str


@dataclass(frozen=True, slots=True, eq=False)
class RouteProfile:
    """A route with its railhead, summed curvature and compensated profile, in running order.

    Attributes
    ----------
    route
        The route.
    curves
        What curves cost; `coefficient`, m, is that of the compensated profile.
    railhead, summed_curvature, compensated
        Railhead z, m; summed curvature K, radians; and compensated profile E = z + C K, m; all from 0 to the length.
    starts
        Where each track begins, m, with the end of the last, shape (tracks + 1,).
    tracks, rails
        Name of each track, and the rail conditions that it may have: its planned one, then films that wheels carry
        onto it.
    legs
        The profile of each leg where the route has reversals, else none. What holds at a point holds along the whole
        route in running order; what concerns a train belongs to the legs.
    behind
        For each way on to the start of the route the same profile with that track laid before it, from less than 0;
        what its `tracks`, `starts` and route have begins there too.
    """

    route: Route
    curves: CurveCosts
    railhead: PiecewiseQuadratic
    summed_curvature: PiecewiseQuadratic
    compensated: PiecewiseQuadratic
    starts: FloatArray
    tracks: tuple[str, ...]
    rails: tuple[tuple[str, ...], ...]
    legs: tuple[RouteProfile, ...] = ()
    behind: tuple[RouteProfile, ...] = ()
    _behind: dict[int, PiecewiseQuadratic] = field(default_factory=dict, repr=False, init=False)
    _rows: dict[float, FloatArray] = field(default_factory=dict, repr=False, init=False)
    _variants: dict[float, RouteProfile] = field(default_factory=dict, repr=False, init=False)

    @property
    def coefficient(self) -> Meters:
        """Curve coefficient, m."""
        return self.curves.coefficient

    @property
    def film_spreads(self) -> bool:
        """Whether wheels carry a film onto track of it that is planned without."""
        return any(len(own) > 1 for own in self.rails)

    @property
    def starting(self) -> RouteProfile:
        """The profile for a train that starts, with the curve coefficient that holds then."""
        return self._with_curves(self.curves.starting)

    @property
    def lowest(self) -> RouteProfile:
        """The profile for a train that must be held back, with the least curve coefficient to be relied on."""
        return self._with_curves(self.curves.lowest)

    @property
    def descent(self) -> RouteProfile:
        """The lowest profile of one direction upside down: what pushes a train that must be held back."""
        if -math.inf not in self._variants:
            self._variants[-math.inf] = self.shaped(self.lowest.compensated * -1.0)
        return self._variants[-math.inf]

    @property
    def heights(self) -> RouteProfile:
        """The profile of the railhead alone."""
        return self._with_curves(0.0)

    @property
    def bends(self) -> RouteProfile:
        """The profile of the summed curvature alone, in place of heights."""
        if math.inf not in self._variants:
            self._variants[math.inf] = self.shaped(self.summed_curvature)
        return self._variants[math.inf]

    def _with_curves(self, times: float) -> RouteProfile:
        """Return the profile of one direction with so many times the curve coefficient."""
        if times == 1.0 or (not np.any(self.summed_curvature.slopes) and not np.any(self.summed_curvature.seconds)):
            return self
        if times not in self._variants:
            compensated = compensated_profile(self.railhead, self.summed_curvature, times * self.coefficient)
            self._variants[times] = self.shaped(compensated)
        return self._variants[times]

    def shaped(self, compensated: PiecewiseQuadratic) -> RouteProfile:
        """Return the profile of one direction with another function of the place for its compensated profile."""
        return replace(self, compensated=compensated, legs=(), behind=())

    @property
    def runs(self) -> tuple[tuple[RouteProfile, float], ...]:
        """The legs, or the whole where there are none, each with the place on the route where it begins."""
        legs = self.legs or (self,)
        return tuple(zip(legs, accumulate((leg.length for leg in legs), initial=0.0), strict=False))

    @property
    def approached(self) -> tuple[tuple[RouteProfile, float], ...]:
        """The same for a train that is followed: the first once for each way on which its tail may stand at first."""
        return tuple((each, start) for leg, start in self.runs for each in leg.behind or (leg,))

    @property
    def length(self) -> Meters:
        """Length of the route, m."""
        return self.compensated.stop

    @property
    def climb(self) -> Meters:
        """Sum of all rises, m."""
        return float(np.maximum(_gains(self.railhead), 0.0).sum())

    @property
    def fall(self) -> Meters:
        """Sum of all falls, m, as a positive figure."""
        return float(np.maximum(-_gains(self.railhead), 0.0).sum())

    @property
    def goes_up(self) -> bool:
        """Whether it climbs anywhere, or is level all the way: False where it only goes down."""
        return self.climb > _LEVEL or self.fall <= _LEVEL

    def effective_grade(self) -> PiecewiseQuadratic:
        """Return the effective grade along the route; it jumps where the grade or the curvature does."""
        return self.compensated.derivative()

    def track_at(self, place: float, *, ahead: bool = False) -> str:
        """Return the track that a place on the route lies on; at a joint, the one before it, or the one ahead.

        Raises
        ------
        RouteError
            The place is not on the route, by more than rounding.
        """
        if not -ROUNDING <= place <= self.length + ROUNDING:
            raise RouteError(f"a place must be from 0 to {self.length:g} m", found=f"{place:g}")
        return self.tracks[self.number_at(place, ahead=ahead)]

    def number_at(self, place: float, *, ahead: bool = False) -> int:
        """Return the number, from 0, of the track at a place: at a joint the one behind, or `ahead`."""
        ahead = ahead or place <= 0  # what lies behind the start is no track of the route
        number = int(np.searchsorted(self.starts, place + (1e-9 if ahead else -1e-9), side="right")) - 1
        return min(max(number, 0), len(self.tracks) - 1)

    def first_head(self, train_length: float) -> float:
        """Return the head's first position: the train's length where it starts whole on the route, else the origin."""
        return min(train_length, self.length) if self.route.starts_whole else 0.0

    def with_track_behind(self, back: float) -> PiecewiseQuadratic:
        """Return the compensated profile carried on behind where it begins by at least a length.

        What is not known there is straight and level; on a lap it is the lap again, E(s - L) = E(s) - C K(L).
        """
        rounds = math.ceil(back / self.length) if self.route.lap and back > 0 else 0
        if rounds not in self._behind:
            compensated = self.compensated
            if self.route.lap:
                turns = join([compensated] * (rounds + 1), follow_on=True)
                gain = float(compensated.ends[-1] - compensated.values[0])
                self._behind[rounds] = turns.shift(-rounds * self.length) + (-rounds * gain)
            else:
                # a piece without slope serves for any distance behind
                before = np.array([compensated.start - 1.0, compensated.start])
                level = PiecewiseQuadratic(before, compensated.values[:1], np.zeros(1), np.zeros(1))
                self._behind[rounds] = join([level, compensated])
        return self._behind[rounds]

    def ruling(self) -> Ruling:
        """Return the ruling grade at a point and the whole stretch that rules with it."""
        grade = self.effective_grade()
        top = float(max(grade.values.max(), grade.ends.max()))
        flat = top - 1e-7
        rules = (grade.values >= flat) & (grade.ends >= flat)
        if rules.any():
            first = int(np.argmax(rules))
            last = first
            while last + 1 < rules.size and rules[last + 1]:
                last += 1
            start, stop = float(grade.breaks[first]), float(grade.breaks[last + 1])
            piece, at_end = first, False
        else:
            at_end = bool(grade.ends.max() > grade.values.max())
            piece = int(np.argmax(grade.ends if at_end else grade.values))
            start = stop = float(grade.breaks[piece + (1 if at_end else 0)])
        slopes = self.railhead.derivative(), self.summed_curvature.derivative()
        own, bend = (float((s.ends if at_end else s.values)[piece]) for s in slopes)
        middle = 0.5 * float(grade.breaks[piece] + grade.breaks[piece + 1])
        return Ruling(top, own + 0.0, self.coefficient * bend, start, stop, self.track_at(middle))

    def ruling_under_train(self, train_length: float) -> Extreme:
        """Return the greatest effective grade averaged under a train of a length, and where its head is then.

        The train's weight is taken as even over its length.

        Raises
        ------
        RouteError
            The length is not more than 0, or not finite.
        """
        if not 0.0 < train_length < math.inf:
            raise RouteError("a train's length is more than 0 and finite", found=f"{train_length:g}")
        if self.legs:
            each = [(leg.ruling_under_train(train_length), start) for leg, start in self.runs]
            worst, start = max(each, key=lambda pair: pair[0].value)
            return Extreme(worst.value, start + worst.at)
        return self.averaged(train_length, self.first_head(train_length)).greatest()

    def rows_of_cars(self, length: float) -> FloatArray:
        """Return no less than rows of 1, 2, 3 … cars of one length need anywhere, in weights of one car, shape (999,).

        A row needs no more than the parts it is made of, each on the place that is worst for it.
        """
        if length not in self._rows:
            most = np.zeros(MOST_CARS)
            left = np.arange(1, MOST_CARS + 1)
            for size in _ROW_PARTS:
                if size > 1 and size * length > self.length - self.compensated.start:
                    continue
                # a train longer than its berth stands with cars on the level track behind it: a row may straddle the
                # place where the profile begins
                steepest = self.averaged(size * length, self.compensated.start).greatest().value
                parts, left = left // size, left % size
                most += parts * size * max(steepest, 0.0)
            self._rows[length] = most
        return self._rows[length]

    def averaged(self, length: float, first: float) -> PiecewiseQuadratic:
        """Return the effective grade averaged over a length, by the place of its front from `first` to the end."""
        behind = self.with_track_behind(length)
        return sum_of_shifted([(behind, 1.0 / length, 0.0), (behind, -1.0 / length, length)], first, self.length)


def _gains(function: PiecewiseQuadratic) -> FloatArray:
    """Return the rises and falls of a function, piece by piece, those that turn inside in their two parts."""
    piece, t = function.vertices()
    whole = function.ends - function.values
    to_vertex = 0.5 * function.slopes[piece] * t
    rest = whole[piece] - to_vertex
    whole[piece] = to_vertex
    gains = np.concatenate([whole, rest])
    return np.where(np.abs(gains) > 1e-12, gains, 0.0)  # level to rounding is level


def compensated_profile(
    railhead: PiecewiseQuadratic, summed_curvature: PiecewiseQuadratic, coefficient: float
) -> PiecewiseQuadratic:
    """Return railhead + coefficient × summed curvature, m, of two functions that break at the same places."""
    return PiecewiseQuadratic(
        railhead.breaks,
        railhead.values + coefficient * summed_curvature.values,
        railhead.slopes + coefficient * summed_curvature.slopes,
        railhead.seconds + coefficient * summed_curvature.seconds,
    )


def route_profile(profiles: Mapping[Way, WayProfile], route: Route, curves: CurveCosts) -> RouteProfile:
    """Return the profile of a route.

    E(s) = z(s) + C K(s), with K(s) = ∫|κ| ds; the effective grade is dE/ds. Exact: z and K are linear or quadratic
    on every piece, and so is E.
    """
    profile = _along(profiles, route, curves)
    before = [_along(profiles, replace(route, ways=each.ways), curves) for each in route.approaches if each.ways]
    legs = tuple(route_profile(profiles, leg, curves) for leg in route.legs)
    return replace(profile, legs=legs, behind=tuple(_with_approach(each, profile) for each in before))


def _along(profiles: Mapping[Way, WayProfile], route: Route, curves: CurveCosts) -> RouteProfile:
    parts = [profiles[way] for way in route.ways]
    railhead = join([part.railhead for part in parts], follow_on=True)
    summed_curvature = join([part.summed_curvature for part in parts], follow_on=True)
    return RouteProfile(
        route=route,
        curves=curves,
        railhead=railhead,
        summed_curvature=summed_curvature,
        compensated=compensated_profile(railhead, summed_curvature, curves.coefficient),
        starts=railhead.breaks[np.cumsum([0, *(part.railhead.values.size for part in parts)])],
        tracks=tuple(part.name for part in parts),
        rails=tuple(part.rails for part in parts),
    )


def _with_approach(before: RouteProfile, profile: RouteProfile) -> RouteProfile:
    """Return a profile with another laid before it, which ends where it begins."""

    def laid(one: PiecewiseQuadratic, two: PiecewiseQuadratic) -> PiecewiseQuadratic:
        return PiecewiseQuadratic(
            np.concatenate([one.breaks - one.stop, two.breaks[1:]]),
            np.concatenate([one.values + (two.values[0] - one.ends[-1]), two.values]),
            np.concatenate([one.slopes, two.slopes]),
            np.concatenate([one.seconds, two.seconds]),
        )

    return replace(
        profile,
        route=replace(profile.route, ways=(*before.route.ways, *profile.route.ways)),
        railhead=laid(before.railhead, profile.railhead),
        summed_curvature=laid(before.summed_curvature, profile.summed_curvature),
        compensated=laid(before.compensated, profile.compensated),
        starts=np.concatenate([before.starts - before.starts[-1], profile.starts[1:]]),
        tracks=(*before.tracks, *profile.tracks),
        rails=(*before.rails, *profile.rails),
    )
