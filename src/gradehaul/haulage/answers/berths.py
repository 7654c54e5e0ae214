"""Berths: how many cars stand in them, whether these stay put, and how far they would roll off."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal

from gradehaul.haulage.resistance import lowest
from gradehaul.network.graph import MovementGraph, Way
from gradehaul.network.search import dijkstra
from gradehaul.plan.records import Berth, Car
from gradehaul.quantities.si import Meters, Ratio
from gradehaul.track.alignment import Alignment
from gradehaul.track.piecewise import PiecewiseQuadratic, join, polyline
from gradehaul.track.proximity.fouling import ClearLength, Fouling


@dataclass(frozen=True, slots=True)
class Roll:
    """How a car rolls off: toward which joint at first, how far it runs, m, and on which track it stops.

    `end` is the end of track that it reaches before the grade stops it, None where the grade does.
    """

    KEYS: ClassVar[str] = "toward runs=length stops_on=track end_of_track=end"

    toward: str
    length: Meters
    track: str
    end: str | None = None


def rolls(
    graph: MovementGraph, alignment: Alignment, berth: Berth, clear: ClearLength, resistance: float
) -> tuple[Roll, ...]:
    """Return how a car that stands in a berth would roll off, the furthest run each way; none where it stays.

    A car begins to roll where the grade is more than its resistance, and runs on until all the height that it has lost
    is spent on resistance: z(0) = z(s) + r s. It is taken as a point without curve resistance, so it starts earlier
    and runs further than a cut of cars would. It minds no rule of running, and where track divides it takes the way on
    which it gets furthest.

    `resistance` is the lowest to allow for per unit of weight, as a grade; a film on the rail does not change it.
    """
    free = graph.run_both_ways
    found: list[Roll] = []
    for forward in (True, False):
        ways = [Way(track, forward) for track in (berth.tracks if forward else berth.tracks[::-1])]
        runs = [
            _furthest(free, alignment, way, offset, resistance)
            for way, offset in _starts(alignment, ways, clear, resistance)
        ]
        if runs:
            line = alignment.plan.lines[free.line_of[ways[-1].track]]
            length, way, end = max(runs, key=lambda run: (run[2] is not None, run[0]))
            name = alignment.plan.tracks[way.track].name
            found.append(Roll(line.joint("to" if forward else "from"), length, name, end))
    return tuple(found)


def _heights(alignment: Alignment, way: Way) -> PiecewiseQuadratic:
    railhead = alignment.tracks[way.track].railhead
    return railhead if way.forward else railhead.reverse()


def _starts(
    alignment: Alignment, ways: list[Way], clear: ClearLength, resistance: float
) -> Iterator[tuple[Way, float]]:
    """Yield the places in a berth where a car that rolls this way is highest: each way and how far along it."""
    whole = join([_heights(alignment, way) for way in ways])
    forward = ways[0].forward
    start, stop = (clear.start, clear.stop) if forward else (whole.stop - clear.stop, whole.stop - clear.start)
    for begin, _ in (whole.restrict(start, stop).derivative() + resistance).below(-1e-9 * resistance):
        here = 0.0
        for way in ways:
            length = alignment.tracks[way.track].railhead.stop
            if begin < here + length or way is ways[-1]:
                yield way, max(0.0, float(begin) - here)
                break
            here += length


def _furthest(
    graph: MovementGraph, alignment: Alignment, way: Way, offset: float, resistance: float
) -> tuple[float, Way, str | None]:
    """Return how far a car runs that starts to roll on a way, where it stops, and the end of track it reaches, if any.

    At one place a car has the more left the shorter its way there was, so the nearest places are looked at first.
    """
    height = _heights(alignment, way)(offset)
    found: list[tuple[float, Way, str | None]] = [(0.0, way, None)]

    def onward(here: Way, run: float) -> Iterator[tuple[float, Way]]:
        railhead = _heights(alignment, here)
        start = max(-run, 0.0)
        spent = railhead + polyline([0.0, railhead.stop], [resistance * run, resistance * (run + railhead.stop)])
        rolling = (spent.restrict(start, railhead.stop) - height).below(0.0)
        stop = float(rolling[0][1]) if rolling.size else start
        end = None
        if stop >= railhead.stop - 1e-12:
            yield from ((run + railhead.stop, new) for new in graph.successors[here])
            end = graph.joint_ahead.get(here) if not graph.successors[here] else None
        found.append((run + stop, here, end))

    dijkstra([(-offset, way)], onward)
    return max(found, key=lambda each: (each[2] is not None, each[0]))


@dataclass(frozen=True, slots=True)
class BerthAnswer:
    """A berth: its clear length, m, and how that is known, its steepest grade, and what each kind of car does in it."""

    KEYS: ClassVar[str] = "name clear_length clear_length_basis=basis steepest cars_fit cars_stay rolls fouled_by"

    name: str
    clear_length: Meters
    basis: Literal["stated", "map", "whole"]
    steepest: Ratio
    cars_fit: Mapping[str, int]
    """The most cars of a kind, without locomotives, that stand clear."""
    cars_stay: Mapping[str, bool]
    """Whether cars of a kind stay put: their lowest rolling resistance against the steepest grade."""
    rolls: Mapping[str, tuple[Roll, ...]]
    """How cars of each kind that do not stay would roll off, on clean and on treated rail alike."""
    fouled_by: tuple[Fouling, ...] = ()
    """Other track that ends its clear length, or leaves nothing of it."""


def berth_answer(graph: MovementGraph, alignment: Alignment, berth: Berth, clear: ClearLength) -> BerthAnswer:
    """Say what stands in a berth.

    Cars stay where the steepest grade of the clear length is no more than the rolling resistance they fall short of in
    one case of twenty. That is on the safe side: it leaves curves out and takes the steepest place for the whole cut.
    """
    cars = graph.plan.cars.values()
    steepest = steepest_grade(alignment, berth, clear)
    stay = {car.name: stays(car, steepest) for car in cars}
    return BerthAnswer(
        name=berth.name,
        clear_length=clear.length,
        basis=clear.basis,
        steepest=steepest,
        cars_fit={car.name: math.floor(clear.length / car.length + 1e-9) for car in cars},
        cars_stay=stay,
        rolls={
            car.name: rolls(graph, alignment, berth, clear, lowest(car.rolling, car.rolling_drop))
            for car in cars
            if not stay[car.name]
        },
        fouled_by=clear.fouled_by,
    )


def stays(car: Car, steepest: float) -> bool:
    """Return whether a car stays put on a grade: its lowest rolling resistance holds it even once it has been moved."""
    return steepest <= lowest(car.rolling, car.rolling_drop) * (1 + 1e-9)


def steepest_grade(alignment: Alignment, berth: Berth, clear: ClearLength) -> float:
    """Return the steepest grade of the clear length of a berth, either way, without sign."""
    railhead = join([alignment.tracks[track].railhead for track in berth.tracks])
    grade = railhead.restrict(clear.start, clear.stop).derivative()
    return max(abs(grade.greatest().value), abs(grade.least().value))
