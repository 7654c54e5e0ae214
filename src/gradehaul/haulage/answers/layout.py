"""A layout ready for questions: a plan with its geometry, routes and pulls, each calculated once."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace
from itertools import pairwise

from gradehaul.errors import QuantityError, RouteError, quoted
from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.bench.reduction import outliers
from gradehaul.haulage.longest import Load, LoadSearch, Room
from gradehaul.haulage.profile import RouteProfile, route_profile, steepest_on_ways, way_profiles
from gradehaul.haulage.resistance import curve_costs
from gradehaul.haulage.train import Engine, build_train
from gradehaul.haulage.verdict import Verdict, judge
from gradehaul.network.film_spread import Stretches, Wheels, turning_places, wheels
from gradehaul.network.graph import MovementGraph
from gradehaul.network.route import Route, Tail
from gradehaul.network.routes import find_routes
from gradehaul.plan.names import look_up
from gradehaul.plan.rail_condition import AS_PLANNED, CLEAN, PLANNED, RailCondition, conditions
from gradehaul.plan.records import NamedTrain, Plan
from gradehaul.track.alignment import align
from gradehaul.track.fit import fitted
from gradehaul.track.proximity.fouling import clear_lengths

LONGEST_AGE = 1e6
"""The greatest age of a film, hours: over a century."""


def _with_bench(plan: Plan, hours: float | None) -> Plan:
    """Return a plan with what was read at the bench; where nothing changes, the module for it is not even loaded."""
    if hours is not None and not 0.0 <= hours <= LONGEST_AGE:
        raise QuantityError(f"the age of a film is from 0 to {LONGEST_AGE:g} hours", place="hours", found=f"{hours:g}")
    tables = (table for loco in plan.locos.values() for table in (loco.pull, loco.slipping))
    rows = ([force.value for force in forces] for table in tables for forces in table.values())
    if plan.book.empty and not any(map(outliers, rows)):
        return plan
    from gradehaul.haulage.bench.benched import with_bench

    return with_bench(plan, hours=hours)


class Layout:
    """A plan with all that its answers rest on.

    Attributes
    ----------
    plan
        The plan.
    written
        The plan as it came, its readings not taken in.
    alignment
        Curvature, railhead and position of every track.
    movements
        The movement graph; ``movements.graph`` is a networkx DiGraph.
    routes
        The routes of the plan; ``found`` has them with the notes on them.
    steepest
        The steepest effective grade on each way.
    curves, coefficient
        What curves cost, and the curve coefficient of it, m.
    hours
        The age of every film, hours; None for both conditions of each, fresh and rested.
    rails
        The rail conditions that can be named.
    all_routes
        Whether every route is listed.
    """

    def __init__(self, plan: Plan, *, all_routes: bool = False, hours: float | None = None) -> None:
        self.written = plan
        self.plan = plan = fitted(_with_bench(plan, hours))
        self.all_routes, self.hours = all_routes, hours
        self.alignment = align(plan)
        self.movements = MovementGraph(plan)
        self.curves = curve_costs(plan.curve_resistance, plan.scale)
        self.coefficient = self.curves.coefficient
        self.clear = clear_lengths(self.alignment)
        self.pulls = Pulls(plan)
        self._ways = way_profiles(self.alignment)
        self.steepest = steepest_on_ways(self._ways, self.coefficient)
        self.found = find_routes(self.movements, self.steepest, list_all=all_routes)
        has = {n: self.aged(track.rail) for n, track in enumerate(plan.tracks.values()) if track.rail is not None}
        films = {n: rail for n, rail in has.items() if rail != CLEAN}
        if films:
            rails = dict(zip(plan.tracks, self.wheels().rails(films), strict=True))
            self._ways = {way: each._replace(rails=rails[way.track]) for way, each in self._ways.items()}
        self.rails = tuple(dict.fromkeys(map(self.aged, (*conditions(plan.films), *_planned(has.values())))))

    def aged(self, rail: str) -> str:
        """Return a rail condition at the age of every film, where there is one."""
        return rail if self.hours is None else RailCondition.named(rail).at(self.hours).name

    @property
    def planned(self) -> tuple[str, ...]:
        """The names of what tracks' own conditions come to: rested and fresh, or the one that the age has."""
        return tuple(dict.fromkeys(map(self.aged, PLANNED)))

    @property
    def routes(self) -> tuple[Route, ...]:
        """The declared routes; where there are none, those with the lowest and highest ruling grade, and laps."""
        return self.found.routes

    @property
    def film_spreads(self) -> bool:
        """Whether wheels carry a film onto track that is planned without."""
        return any(len(each.rails) > 1 for each in self._ways.values())

    def wheels(self, stretches: Stretches | None = None, carry: float | None = None) -> Wheels:
        """Return where wheels of the plan's trains carry film.

        `stretches` are those of its tracks, None for whole tracks, numbered in their order; `carry` how far wheels
        carry the film, m, None for the carry-over of the plan.
        """
        plan = self.plan
        if stretches is None:
            lengths = [track.length for track in plan.tracks.values()]
            stretches = Stretches(lengths, {name: (n,) for n, name in enumerate(plan.tracks)})
        longest = max((build_train(plan, named).length for named in plan.trains.values()), default=0.0)
        rounds = [tail.run_round for route in self.routes for tail in route.tails if tail.run_round is not None]
        spurs = [spur for each in rounds for spur in each.spurs]
        turning = turning_places(stretches, self.movements, longest, spurs)
        return wheels(stretches, self.movements, plan.carry_over if carry is None else carry, turning)

    def route(self, name: str) -> Route:
        """Return a route by name, or a leg of one with reversals, as ``Up, leg 2``.

        Parameters
        ----------
        name
            Its name.

        Raises
        ------
        RouteError
            No route of this name.

        Examples
        --------
        >>> from gradehaul.plan import load_plan
        >>> layout = Layout(load_plan("plans/first-hill.toml"))
        >>> layout.route("Uphill").origin
        'Harbor yard'
        """
        routes = {each.name: each for route in self.routes for each in (route, *route.legs)}
        return look_up(name, routes, "route", file=self.plan.file)

    def train(self, name: str) -> NamedTrain:
        """Return a train of the plan by name.

        Raises
        ------
        RouteError
            No train of this name.
        """
        return look_up(name, self.plan.trains, "train", file=self.plan.file)

    def profile(self, route: str | Route) -> RouteProfile:
        """Return the compensated profile of a route: functions of the distance along it, m.

        Parameters
        ----------
        route
            The route, or its name.

        Raises
        ------
        RouteError
            No route of this name, or a route of another layout.

        Notes
        -----
        Railhead plus curve coefficient times summed curvature (docs/computation.md); exact, never sampled.

        Examples
        --------
        >>> from gradehaul.plan import load_plan
        >>> layout = Layout(load_plan("plans/first-hill.toml"))
        >>> round(layout.profile("Uphill").climb, 4)
        0.1016
        """
        return route_profile(self._ways, self._own(route), self.curves)

    def _own(self, route: str | Route) -> Route:
        """Return a route of this layout, by name or as it is."""
        if isinstance(route, str):
            return self.route(route)
        if not all(way in self.movements.lengths for way in route.ways):
            raise RouteError("this route is another layout's", file=self.plan.file, found=quoted(route.name))
        return route

    def rooms(self, route: Route) -> tuple[Room, ...]:
        """Return the places of a route that must hold a whole train."""
        self._own(route)
        rooms = [
            Room(f'berth "{name}"', self.clear[name].length, "berth")
            for name in dict.fromkeys((route.start_berth, route.end_berth))
            if name is not None
        ]
        rooms += [Room(tail.name, self.tail_room(tail), "tail") for tail in route.tails]
        if route.lap:
            rooms.append(Room("the lap", self.movements.length_of(route.ways), "lap"))
        elif not rooms:
            name = "the route and the track behind it" if route.track_behind else "the route"
            rooms.append(Room(name, self.movements.length_of(route.ways) + route.track_behind, "route"))
        if route.tightest_loop is not None:
            rooms.append(Room(f'the loop at "{route.tightest_loop.joint}"', route.tightest_loop.length, "loop"))
        ways = (*route.ways, route.ways[0]) if route.lap else route.ways
        for joint in dict.fromkeys(self.movements.joint_between(*pair) for pair in pairwise(ways)):
            if joint is not None and (bridge := self.plan.joints[joint].length) is not None:
                rooms.append(Room(f'the turntable "{joint}"', bridge, "turntable"))
        return tuple(rooms)

    def tail_room(self, tail: Tail) -> float:
        """Return the longest train that reverses in a tail, m."""
        clear = self.clear[tail.berth].length if tail.within and tail.berth is not None else tail.length
        return min(clear, tail.length)

    def loads(self, profile: RouteProfile, power: str, car: str, rails: Iterable[str]) -> tuple[Load, ...]:
        """Return the longest trains of one kind of car behind a power on a route, one for each rail condition.

        On a route with reversals there are two: with the locomotives leading as the train starts, and trailing.
        """
        engines: tuple[Engine, ...] = ("leading", "trailing") if profile.legs else ("leading",)
        return tuple(load for engine in engines for load in self._loads(profile, power, car, rails, engine))

    def _loads(
        self, profile: RouteProfile, power: str, car: str, rails: Iterable[str], engine: Engine
    ) -> tuple[Load, ...]:
        climb = LoadSearch(
            self.plan,
            profile,
            look_up(power, self.plan.powers, "power", file=self.plan.file),
            look_up(car, self.plan.cars, "car", file=self.plan.file),
            self.pulls,
            engine=engine,
        )
        shut_in = climb.train(1).too_long_round(profile.route.tails)
        rooms = (
            *self.rooms(profile.route),
            *(Room(f"the run-round {tail.place}", 0.0, "run-round") for tail, *_ in shut_in),
        )
        loads = (climb.load(self._rail(rail), rooms) for rail in rails)
        return tuple(
            load
            if load.to_run or not profile.fall
            else replace(load, holds_back=judge(profile, climb.train(0), load.rail, self.pulls).holds_back)
            for load in loads
        )

    def longest_train(
        self, route: str, power: str, car: str, *, rail: str = "clean", engine: Engine = "leading"
    ) -> Load:
        """Return the longest train of one kind of car that a power takes over a route on a rail condition.

        Parameters
        ----------
        route, power, car
            Their names.
        rail
            The rail condition.
        engine
            Where the locomotives stand as the train starts, ``leading`` or ``trailing``, which matters where it is
            reversed.

        Raises
        ------
        RouteError
            A route, power, car or rail condition that the plan does not have, or an engine in neither place.

        Notes
        -----
        The number before the first that fails: more cars are not always heavier work (docs/computation.md).

        Examples
        --------
        >>> from gradehaul.plan import load_plan
        >>> layout = Layout(load_plan("plans/first-hill.toml"))
        >>> load = layout.longest_train("Uphill", "switcher", "boxcar")
        >>> load.rated, load.limit
        (8, 12)
        """
        look_up(engine, {"leading": 0, "trailing": 0}, "place for an engine", file=self.plan.file)
        (load,) = self._loads(self.profile(route), power, car, [self._rail(rail)], engine)
        return load

    def verdict(self, train: str, *, rail: str = "clean") -> Verdict:
        """Return what becomes of a named train on its route on a rail condition: forces in N, places in m.

        Parameters
        ----------
        train
            The train's name.
        rail
            The rail condition.

        Raises
        ------
        RouteError
            A train, its route, or a rail condition that the plan does not have.

        Notes
        -----
        What it has to spare is the least of pull less demand over every place of its head (docs/computation.md).

        Examples
        --------
        >>> from gradehaul.plan import load_plan
        >>> layout = Layout(load_plan("plans/first-hill.toml"))
        >>> verdict = layout.verdict("local", rail="treated")
        >>> verdict.outcome, verdict.track, round(verdict.spare, 3)
        ('stalls', 'Lower bend', -0.255)
        """
        named = self.train(train)
        return judge(self.profile(named.route), build_train(self.plan, named), self._rail(rail), self.pulls)

    def judged(self, rails: Iterable[str] | None = None) -> tuple[str, ...]:
        """Return the rail conditions to judge by: those named, else as planned where the plan says so, else clean.

        Raises
        ------
        RouteError
            A rail condition that the plan does not have.
        """
        return tuple(dict.fromkeys(map(self._rail, rails or judged_rails(self.rails))))

    def _rail(self, rail: str) -> str:
        names = {RailCondition.named(name).rested.name: name for name in self.rails} if self.hours is not None else {}
        return look_up(rail, {**names, **{name: name for name in self.rails}}, "rail condition", file=self.plan.file)


def _planned(rails: Iterable[str]) -> tuple[str, ...]:
    """Return the names of what tracks' own conditions come to: none where the plan says none, two where films age."""
    named = set(map(RailCondition.named, rails))
    return () if not named else PLANNED if any(rail.on_first_day not in named for rail in named) else (AS_PLANNED,)


def judged_rails(rails: Collection[str]) -> tuple[str, ...]:
    """Return the rail conditions by which a layout passes or fails: as planned where it says so, else clean rail.

    Film in the plan is judged at both ages, for a plan does not say how old it is, and the first day must be lived
    through.
    """
    return tuple(rail for rail in rails if rail in PLANNED) or (CLEAN,)


def film_rails(rails: Collection[str]) -> tuple[str, ...]:
    """Return the rail conditions with a film everywhere, each film at both ages."""
    return tuple(rail for rail in rails if rail != CLEAN and rail not in PLANNED)
