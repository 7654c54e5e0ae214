"""Leveling: railheads at free ends of tracks that make the hardest effective grade under any part of a train least."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gradehaul.design.level_program import Program, Row
from gradehaul.design.level_stations import Stations, stations_of
from gradehaul.errors import DesignError, RouteError
from gradehaul.haulage.demand import edge_weights
from gradehaul.haulage.layout import Layout
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Block, Train, made_up
from gradehaul.plan.names import instead, quoted
from gradehaul.plan.records import Loco, Plan
from gradehaul.track.piecewise import FloatArray, polyline, shifted_sum

CLOSE = 1e-5
"""An effective grade that is higher by no more than this, 0.001 %, is no worse."""
MOST_CHANGE = 0.02
"""Change of grade from one stretch to the next, at the most, unless the stretched string has more there already."""
_MOST_ROUNDS = 200


@dataclass(frozen=True, slots=True)
class Hardest:
    """The hardest effective grade under a train from its locomotives alone up to all of it: the worst number of cars.

    `string` is the hardest grade with heights of a stretched string, `leveled` with those found; both without vertical
    curves, which only take from a change of grade.
    """

    train: str
    string: float
    leveled: float
    cars: int
    head: float
    track: str


@dataclass(frozen=True, slots=True, eq=False)
class Leveled:
    """The railheads found: for every line its stations, m from its `from`, and heights, m; those of the string too."""

    plan: Plan
    stations: Stations
    string: FloatArray
    heights: FloatArray
    hardest: tuple[Hardest, ...]

    @property
    def joints(self) -> Mapping[str, float]:
        """The railhead of every joint, m."""
        return {name: float(self.heights[k]) for name, k in self.stations.joints.items()}


def leveled(
    layout: Layout,
    *,
    trains: Sequence[str] = (),
    least: Mapping[str, float] | None = None,
    most: Mapping[str, float] | None = None,
    change: float = MOST_CHANGE,
) -> Leveled:
    """Return the railheads that make the hardest effective grade as low as possible.

    The hardest grade is the greatest, over the named trains, over every number of their cars from none, and over every
    place of the head, of the effective grade averaged by weight under the train. It is linear in the heights where
    the head is held, so the heights come from a linear program to which the exact engine's worst places are added as
    rows until none is worse by 0.001 %. Among equal answers the one whose grades change least in sum is taken. Where
    the stretched string climbs nothing falls, and where it falls nothing climbs; so the string is always allowed, and
    no train gets it harder than there, unless limits of joints forbid the string.

    Parameters
    ----------
    layout
        The layout.
    trains
        Names of trains; all where empty. On a route with reversals each leg is judged, on a lap with the lap behind it.
    least, most
        Heights, m, that free joints must clear or must not exceed.
    change
        The change of grade from one stretch to the next at the most, where the string has no more.

    Raises
    ------
    RouteError
        No train, or none that can be judged.
    DesignError
        No free height, a joint that does not exist, or limits that contradict one another.

    Examples
    --------
    Half of a rise is on a curve of 1 m, which asks for 0.8 % more; so the curve climbs at 0.8 % less:

    >>> from gradehaul.plan import read_plan
    >>> layout = Layout(read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead = { Foot = 0, Top = 0.12 }
    ... curve_resistance = { model = "coefficient", coefficient = 0.008 }
    ... line.Hill = { from = "Foot", to = "Top", track = [{ straight = 3 }, { left = 1, length = 3 }] }
    ... loco.tank = { mass = "400 g", length = 0.2, pull.clean = "80 gf" }
    ... car.ore = { mass = "100 g", length = 0.14 }
    ... route.Up = { from = "Foot", to = "Top" }
    ... train.up = { route = "Up", consist = ["tank", "4 ore"] }
    ... '''))
    >>> [(round(100 * each.string, 2), round(100 * each.leveled, 2)) for each in leveled(layout).hardest]
    [(2.8, 2.4)]
    """
    plan = layout.plan
    stations = stations_of(plan)
    if not stations.free.any():
        raise DesignError(
            "every railhead is fixed: there is nothing to level",
            file=plan.file,
            write="tracks without rise, grade or railhead between joints whose height is given",
        )
    cases = [case for name in _names(plan, trains) for case in _cases(layout, stations, name)]
    if not cases:
        raise RouteError(
            "no train is named, or none is as short as its route",
            file=plan.file,
            write="[train.NAME] with a consist, and a route over the hill",
        )
    program = Program(stations, change)
    program.limit(plan, least or {}, most or {})
    # what no train runs over is kept even too
    orders = [(case.order, case.places) for case in cases] + [*stations.lines.values()]
    program.follow([order for order, _ in orders], [places for _, places in orders])
    own: dict[str, float] = {}
    if not program.limited:
        for case in cases:
            own[case.name] = max(own.get(case.name, -np.inf), case.worst(stations.string).value)

    def worst(case: _Case, heights: FloatArray) -> Row:
        return case.worst(heights)._replace(most=own.get(case.name, np.inf))

    rows = [worst(case, stations.string) for case in cases]
    heights = stations.string
    top: float | None = None
    for _ in ("hardest grade", "evenness"):
        for _round in range(_MOST_ROUNDS):
            heights, bound = program.solve(rows, smooth=top)
            now = [worst(case, heights) for case in cases]
            worse = [row for row in now if row.value > min(bound, row.most) + 0.5 * CLOSE]
            if not worse:
                break
            rows += worse
        top = bound + 0.25 * CLOSE
    before, after = (max(case.worst(each).value for case in cases) for each in (stations.string, heights))
    if not program.limited and after > before:
        heights = stations.string  # it was best already, and the program found it but for its tolerance
    return Leveled(plan, stations, stations.string, heights, tuple(_hardest(cases, stations.string, heights)))


def _names(plan: Plan, names: Sequence[str]) -> tuple[str, ...]:
    for name in names:
        if name not in plan.trains:
            write = instead(name, plan.trains)
            raise RouteError("the plan has no train of this name", place="--train", found=quoted(name), write=write)
    return tuple(dict.fromkeys(names or plan.trains))


@dataclass(frozen=True, slots=True, eq=False)
class _Case:
    """One train on one route, or leg of one from `start`: the stations it passes, in order, and where they are, m."""

    name: str
    cars: int
    train: Train
    profile: RouteProfile
    coefficient: float
    order: NDArray[np.intp]
    places: FloatArray
    start: float

    def worst(self, heights: FloatArray) -> Row:
        """Return the hardest place under the train with some heights, as a row of the program."""
        effort = polyline(self.places, heights[self.order]) + self.profile.turning * self.coefficient
        weights = edge_weights(self.train)
        asked = shifted_sum(
            replace(self.profile, effort=effort, _behind={}, _rows={}).with_track_behind(self.train.length),
            weights.tolist(),
            self.train.edges.tolist(),
            self.profile.first_head(self.train.length),
            self.profile.length,
        )
        top = asked.greatest()
        whole = float((self.train.line_weights * np.diff(self.train.edges)).sum())
        at = top.at - self.train.edges
        rounds = np.floor(at / self.profile.length) if self.profile.route.lap else np.zeros(at.size)
        at = np.clip(at - rounds * self.profile.length, 0.0, self.profile.length)
        turned = self.profile.turning.at(at) + rounds * self.profile.turning(self.profile.length)
        bends = float((weights * turned).sum()) * self.coefficient / whole
        parts = np.zeros(heights.size)
        left = np.clip(np.searchsorted(self.places, at, side="right") - 1, 0, self.places.size - 2)
        share = (at - self.places[left]) / (self.places[left + 1] - self.places[left])
        np.add.at(parts, self.order[left], weights * (1 - share) / whole)
        np.add.at(parts, self.order[left + 1], weights * share / whole)
        return Row(parts, bends, top.value / whole, self.start + top.at)


def _cases(layout: Layout, stations: Stations, name: str) -> list[_Case]:
    """Return a case for every number of cars of a train on its route; on one with reversals, on each of its legs."""
    plan = layout.plan
    named = plan.trains[name]
    route = next((each for each in layout.routes if each.name == named.route), None)
    if route is None:
        return []
    found = []
    trains = _shorter(made_up(plan, named))
    for profile, start in layout.profile(route).runs:
        order, places = stations.along(profile.route)
        places[-1] = profile.length
        for cars, train in trains:
            if train.length <= profile.length:
                run = train.after(profile.route.run_rounds)
                found.append(_Case(name, cars, run, profile, layout.coefficient, order, places, start))
    return found


def _shorter(train: Train) -> list[tuple[int, Train]]:
    """Return a train with none of its cars, with the first, with the first two, and so on; locomotives all stay."""
    total = sum(count for _, count in train.cars)
    found = []
    for cars in range(total + 1):
        left = cars
        blocks: list[Block] = []
        for block in train.blocks:
            count = block.count if isinstance(block.vehicle, Loco) else min(block.count, left)
            left -= 0 if isinstance(block.vehicle, Loco) else count
            if count:
                blocks.append(Block(block.vehicle, count))
        found.append((cars, Train(tuple(blocks), train.together, train.together_basis)))
    return found


def _hardest(cases: Sequence[_Case], string: FloatArray, heights: FloatArray) -> list[Hardest]:
    found: dict[str, Hardest] = {}
    for case in cases:
        before, after = case.worst(string).value, case.worst(heights)
        told = found.get(case.name)
        top = max(before, told.string) if told else before
        if told is None or after.value > told.leveled:
            track = case.profile.track_at(after.head - case.start)
            found[case.name] = Hardest(case.name, top, after.value, case.cars, after.head, track)
        else:
            found[case.name] = Hardest(case.name, top, told.leveled, told.cars, told.head, told.track)
    return [*found.values()]
