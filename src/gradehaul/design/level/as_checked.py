"""The leveled hill as `check` has it: its vertical curves included, at the heights that a copy of the plan holds."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import ClassVar, NamedTuple

import numpy as np

from gradehaul.design.level.hills import GAIN
from gradehaul.design.level.stations import Stations
from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.answers.berths import stays, steepest_grade
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.demand import gravity_and_curves
from gradehaul.haulage.train import build_train
from gradehaul.plan.records import Plan
from gradehaul.quantities import conversion
from gradehaul.quantities.si import Meters, Ratio
from gradehaul.track.piecewise import FloatArray


class HardestPlace(NamedTuple):
    """The hardest effective grade under a train: how many of its cars, where its head is on its route, which track."""

    grade: Ratio
    cars: int
    head: Meters
    track: str


@dataclass(frozen=True, slots=True)
class RulingGrade:
    """The ruling grade of a route as `check` shows it: with even heights and with those found, and on which track."""

    KEYS: ClassVar[str] = "route even leveled track"

    route: str
    even: Ratio
    leveled: Ratio
    track: str


@dataclass(frozen=True, slots=True)
class ParkedGrade:
    """The steepest grade of a berth that gets steeper, and the cars that would roll away from it, before and after."""

    KEYS: ClassVar[str] = "berth even leveled rolled_before roll_after"

    berth: str
    even: Ratio
    leveled: Ratio
    rolled_before: tuple[str, ...]
    roll_after: tuple[str, ...]

    @property
    def fails(self) -> bool:
        """Whether cars roll away from it as leveled: newly, or faster than before."""
        return bool(self.roll_after)


def as_written(heights: FloatArray, unit: str) -> FloatArray:
    """Return heights, m, to the digits with which a copy of a plan has them in its unit: to some 10 nm."""
    times, over = conversion(unit)
    written: FloatArray = np.round(heights * over / times, digits_written(unit)) * times / over
    return written


def digits_written(unit: str) -> int:
    """Return how many digits a height has behind the point in a unit, for some 10 nm.

    Examples
    --------
    >>> digits_written("mm"), digits_written("in"), digits_written("m")
    (5, 6, 8)
    """
    times, over = conversion(unit)
    return 8 - round(math.log10(over / times))


def plan_at(plan: Plan, stations: Stations, heights: FloatArray) -> Plan:
    """Return a plan with the height of every station given, m, shape (stations,)."""
    lines = {
        name: replace(
            line,
            tracks=tuple(replace(track, rise=None, grade=None, railhead=None) for track in line.tracks),
            railhead_at=tuple(
                (at, float(heights[number]))
                for number, at in zip(*(each[1:-1].tolist() for each in stations.lines[name]), strict=True)
            ),
        )
        for name, line in plan.lines.items()
    }
    railhead = {name: float(heights[number]) for name, number in stations.joints.items()}
    return replace(plan, railhead=railhead, lines=lines)


def hardest_under(layout: Layout, name: str) -> HardestPlace:
    """Return where a named train has it hardest on its route, with none of its cars up to all of them."""
    train = build_train(layout.plan, layout.plan.trains[name])
    found: list[HardestPlace] = []
    for cars in range(sum(count for _, count in train.cars) + 1):
        part = train.with_cars(0, cars)
        weight = GRAVITY * sum(block.mass for block in part.blocks)
        for profile, start in layout.profile(layout.plan.trains[name].route).approached:
            if part.length <= profile.length:
                top = gravity_and_curves(profile, part.after(profile.route.run_rounds)).greatest()
                found.append(HardestPlace(top.value / weight, cars, start + top.at, profile.track_at(top.at)))
    return max(found, key=lambda each: round(each.grade, 9))  # of equal ones that with the fewest cars


def ruling_grades(before: Layout, after: Layout) -> tuple[RulingGrade, ...]:
    """Return the ruling grade of every route, before and after."""
    found = []
    for route in before.routes:
        even, leveled = (layout.profile(route.name).ruling() for layout in (before, after))
        found.append(RulingGrade(route.name, even.effective, leveled.effective, leveled.track))
    return tuple(found)


def steeper_berths(before: Layout, after: Layout) -> tuple[ParkedGrade, ...]:
    """Return the berths that get steeper by more than 0.01 %, or from which more kinds of car roll away."""
    found = []
    for name, berth in before.plan.berths.items():
        even, leveled = (steepest_grade(each.alignment, berth, each.clear[name]) for each in (before, after))
        rolled, roll = (
            tuple(car.name for car in before.plan.cars.values() if not stays(car, grade)) for grade in (even, leveled)
        )
        if leveled > even + GAIN or len(roll) > len(rolled):
            found.append(ParkedGrade(name, even, leveled, rolled, roll))
    return tuple(found)
