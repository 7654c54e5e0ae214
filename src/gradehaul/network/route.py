"""A route: the ways a train runs over in order, from one place to another or round a lap, and where it reverses."""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, takewhile
from typing import ClassVar

from gradehaul.errors import RouteError
from gradehaul.network.engine_moves import RunRound, no_run_round, run_round
from gradehaul.network.graph import MovementGraph, Way
from gradehaul.network.search import Runs, dijkstra
from gradehaul.plan.records import NamedRoute, Note
from gradehaul.quantities.si import Meters, Ratio

MOST_BEHIND = 8
"""Ways on to the start of a route that are followed at the most; beyond that each counts as far as it is followed."""


@dataclass(frozen=True, slots=True)
class Approach:
    """A way on to the start of a route, on which the tail of its train may stand: ways in running order, their length.

    It goes back to where track ends or the train would meet itself, or where `cut` as far as it was followed.
    """

    ways: tuple[Way, ...]
    length: Meters
    cut: bool


@dataclass(frozen=True, slots=True)
class Loop:
    """Track that leads a route back to a joint it has passed: its joint and its length, m."""

    joint: str
    length: Meters


@dataclass(frozen=True, slots=True)
class Tail:
    """Where a train reverses: a berth or an end of track, and the track it must stand on, all of it, to go on.

    That is the track which it runs over both ways, from the joint at which it then leaves it, m long. `within` is
    whether all of it lies in the berth. Where its locomotives run round it, that is track of the berth alone, and
    `run_round` is their way; else None.
    """

    joint: str | None
    berth: str | None
    length: Meters
    within: bool = False
    run_round: RunRound | None = None

    @property
    def place(self) -> str:
        """Its place in messages."""
        return f'in berth "{self.berth}"' if self.berth is not None else f'at "{self.joint}"'

    @property
    def name(self) -> str:
        """Its name in messages: a berth that is not all of it holds less than it does."""
        return f'the tail with berth "{self.berth}"' if self.berth and not self.within else f"the tail {self.place}"

    @property
    def round_room(self) -> Meters | None:
        """How long locomotives may be that run round a train in it, m; None where they stay."""
        return None if self.run_round is None else self.run_round.room


@dataclass(frozen=True, slots=True)
class Route:
    """A way for trains: tracks in running order.

    `start_berth` and `end_berth` are the berths it begins and ends in; a train starts with its tail at the far end of
    the first. On a lap, `origin` and `destination` are the line it begins with. `track_behind` is how far track goes on
    behind its start, m, where it is no lap and neither begins nor ends in a berth. `approaches` are the ways on to its
    start where it has no berth there: its train stands on one of them with what is not yet on the route.

    A route with reversals has `legs`: routes run in one direction each, by turns with the train's order as it started
    and turned, and between them the `tails` in which the whole train stands. A leg is `number` from 1, 0 for a route
    that is none; `run_rounds` has for each tail before it the way round the train there, None where they stay.
    """

    name: str
    origin: str
    destination: str
    ways: tuple[Way, ...]
    lap: bool = False
    start_berth: str | None = None
    end_berth: str | None = None
    track_behind: Meters = 0.0
    approaches: tuple[Approach, ...] = ()
    tightest_loop: Loop | None = None
    legs: tuple[Route, ...] = ()
    tails: tuple[Tail, ...] = ()
    number: int = 0
    run_rounds: tuple[RunRound | None, ...] = ()

    @property
    def whole(self) -> str:
        """The name of the route that it is, or is a leg of."""
        return self.name.removesuffix(f", leg {self.number}") if self.number else self.name

    @property
    def starts_whole(self) -> bool:
        """Whether a train starts with all of it on the route: in a berth, or in a tail where it has reversed."""
        return self.start_berth is not None or self.number > 1


@dataclass(frozen=True, slots=True)
class Between:
    """How many routes lead from one place to another; a lower bound where not `exact`.

    `highest_bound` is the steepest effective grade of any track between the two: an upper bound of the highest ruling
    grade, reached where `exact`.
    """

    KEYS: ClassVar[str] = "from=origin to=destination routes=count exact highest_ruling_bound=highest_bound"

    origin: str
    destination: str
    count: int
    exact: bool
    highest_bound: Ratio


@dataclass(frozen=True, slots=True)
class RouteList:
    """The routes of a plan, how many there are between places where none were declared, and notes."""

    routes: tuple[Route, ...]
    between: tuple[Between, ...]
    notes: tuple[Note, ...]


def route_of(graph: MovementGraph, name: str, origin: str, destination: str, ways: Sequence[Way]) -> Route:
    """Return a route of ways that are run over in one direction."""
    start_berth, end_berth = graph.berth_of.get(ways[0].track), graph.berth_of.get(ways[-1].track)
    return Route(
        name,
        origin,
        destination,
        tuple(ways),
        start_berth=start_berth,
        end_berth=end_berth,
        track_behind=_track_behind(graph, ways) if start_berth is None and end_berth is None else 0.0,
        approaches=approaches(graph, ways) if start_berth is None else (),
        tightest_loop=_tightest_loop(graph, ways, lap=False),
    )


def _track_behind(graph: MovementGraph, ways: Sequence[Way]) -> float:
    """Return how far track goes on behind the start of a route, to the farthest place by the shortest way there, m.

    No joint is passed twice, those of the route included: a train that stood there would meet itself.
    """
    passed: dict[str | Way, Way | None] = {graph.joint_ahead[way]: None for way in ways if way in graph.joint_ahead}

    def behind(way: Way, length: float) -> list[tuple[float, Way]]:
        return [
            (length + graph.lengths[before], before)
            for before in graph.predecessors[way]
            if passed.setdefault(graph.joint_between(before, way) or way, way) == way
        ]

    return max(length for length, _ in dijkstra([(0.0, ways[0])], behind).values())


def approaches(graph: MovementGraph, ways: Sequence[Way]) -> tuple[Approach, ...]:
    """Return the ways on to the start of a route, none where no track lies behind it; no joint is passed twice."""
    ahead = frozenset(graph.joint_ahead[way] for way in ways if way in graph.joint_ahead)

    def longer(
        length: float, path: tuple[Way, ...], passed: frozenset[str]
    ) -> Iterator[tuple[float, tuple[Way, ...], frozenset[str]]]:
        for before in graph.predecessors[path[0]]:
            joint = graph.joint_between(before, path[0])
            if joint not in passed:
                met = passed if joint is None else passed | {joint}
                yield length + graph.lengths[before], (before, *path), met

    # the shortest is followed first, so that all are known as far as one that is cut
    followed: list[tuple[float, tuple[Way, ...], frozenset[str]]] = [(0.0, (ways[0],), ahead)]
    done: list[Approach] = []
    while followed:
        length, path, passed = heapq.heappop(followed)
        on = list(longer(length, path, passed))
        if len(followed) + len(done) + len(on) > MOST_BEHIND:
            done.append(Approach(path[:-1], length, cut=True))
            break
        if not on:
            done.append(Approach(path[:-1], length, cut=False))
        for each in on:
            heapq.heappush(followed, each)
    done += [Approach(path[:-1], length, cut=any(longer(length, path, passed))) for length, path, passed in followed]
    return tuple(each for each in done if each.ways or each.cut)


def route_of_runs(graph: MovementGraph, wanted: NamedRoute, runs: Runs) -> Route:
    """Return a route of runs between reversals; refuse a run-round that cannot be."""
    tails = tuple(_tail(graph, wanted, run, following) for run, following in pairwise(runs))
    check_run_rounds(wanted, tails)
    places = [wanted.origin, *(tail.berth or tail.joint or "" for tail in tails), wanted.destination]
    along = (
        route_of(graph, f"{wanted.name}, leg {number}", places[number - 1], places[number], run)
        for number, run in enumerate(runs, 1)
    )
    legs = tuple(
        replace(
            leg,
            number=number,
            approaches=leg.approaches if number == 1 else (),
            run_rounds=tuple(tail.run_round for tail in tails[: number - 1]),
        )
        for number, leg in enumerate(along, 1)
    )
    loops = [leg.tightest_loop for leg in legs if leg.tightest_loop is not None]
    return Route(
        wanted.name,
        wanted.origin,
        wanted.destination,
        tuple(way for run in runs for way in run),
        start_berth=legs[0].start_berth,
        end_berth=legs[-1].end_berth,
        tightest_loop=min(loops, key=lambda loop: loop.length, default=None),
        legs=legs,
        tails=tails,
    )


def check_run_rounds(wanted: NamedRoute, tails: Sequence[Tail] = ()) -> None:
    """Refuse a run-round in a berth in which a route does not reverse."""
    there = [tail.berth for tail in tails if tail.berth is not None]
    for berth in wanted.run_round:
        if berth not in there:
            write = " or ".join(f'"{name}"' for name in dict.fromkeys(there))
            raise RouteError(
                "locomotives run around where their train reverses in a berth, and it does not reverse in this one",
                found=f'run_round = ["{berth}"]',
                write=write or "no run_round",
            )


def tail_between(graph: MovementGraph, run: Sequence[Way], following: Sequence[Way]) -> Tail:
    """Return the tail in which a train stands between one run and the next."""
    shared = list(takewhile(lambda pair: pair[0].turned() == pair[1], zip(reversed(run), following, strict=False)))
    berth = graph.berth_of.get(run[-1].track)
    return Tail(
        joint=graph.joint_ahead.get(run[-1]),
        berth=berth,
        length=sum(graph.lengths[way] for way, _ in shared),
        within=berth is not None and all(graph.berth_of.get(way.track) == berth for way, _ in shared),
    )


def _tail(graph: MovementGraph, wanted: NamedRoute, run: Sequence[Way], following: Sequence[Way]) -> Tail:
    """Return the tail between two runs: where locomotives run round their train it must be clear of their way."""
    tail = tail_between(graph, run, following)
    if tail.berth not in wanted.run_round:
        return tail
    around = run_round(graph, run[-1])
    if around is None:
        raise no_run_round(graph, run[-1])
    berth = graph.length_of(Way(track, forward=run[-1].forward) for track in graph.plan.berths[tail.berth].tracks)
    return replace(tail, length=min(tail.length, berth), within=True, run_round=around)


def lap_of(graph: MovementGraph, name: str, ways: Sequence[Way]) -> Route:
    """Return a lap of ways that close."""
    line = graph.line_of[ways[0].track]
    return Route(name, line, line, tuple(ways), lap=True, tightest_loop=_tightest_loop(graph, ways, lap=True))


def _tightest_loop(graph: MovementGraph, ways: Sequence[Way], *, lap: bool) -> Loop | None:
    """Return the shortest part of a route that leads back to a joint it has passed.

    A train longer than that meets itself there: on a reversing loop, on a lap crossed on the level, or between two
    runs over one track in opposite directions. The lap itself is not counted.
    """
    passed: dict[str, list[float]] = {}
    here = 0.0
    for one, following in pairwise((*ways, ways[0]) if lap else ways):
        here += graph.lengths[one]
        joint = graph.joint_between(one, following)
        if joint is not None:
            passed.setdefault(joint, []).append(here)
    loops: list[Loop] = []
    for joint, places in passed.items():
        if lap and len(places) > 1:
            places.append(here + places[0])
        loops += [Loop(joint, far - near) for near, far in pairwise(places)]
    return min(loops, key=lambda loop: loop.length, default=None)
