"""Cars at the bench: rolling and starting resistance and the curve coefficient, from strings of cars and tilts."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import ClassVar

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.bench.reduction import Counted, Mean, counted, mean_of
from gradehaul.haulage.resistance import HIGHEST_SHARE, LOWEST_SHARE
from gradehaul.plan.records import Car, CarDoubts, CarFigure, Doubt, Plan
from gradehaul.quantities import Reading, describe
from gradehaul.quantities.si import Meters, Share

SINGLE_SCATTER = 0.10
"""Scatter of a single tilt or pull of a string as a share of it, where there is one alone (assumed)."""

Sets = list[tuple[str, list[Reading]]]
"""Readings of one thing row by row, each with the row's place."""


@dataclass(frozen=True, slots=True)
class CarBench:
    """Bench results for a kind of car, as pull per unit of weight; None where nothing was measured."""

    KEYS: ClassVar[str] = "car rolling starting doubts"

    car: str
    rolling: Mean | None
    starting: Mean | None
    drop: Share = 0.0
    """How much lower its rolling resistance is by the lower of readings that contradict."""
    doubtful: CarDoubts = field(default_factory=dict)
    """What of the readings of each resistance is doubtful, and what of it counts."""

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        """What is doubtful of all of its readings."""
        return tuple(itertools.chain(*self.doubtful.values()))


@dataclass(frozen=True, slots=True)
class CurveBench:
    """The curve coefficient measured with strings of cars on curves, m, and the curves it rests on.

    `error` has the error of the rolling resistance too; `assumed_rolling` means that it was not measured for all.
    """

    KEYS: ClassVar[str] = "coefficient_m=coefficient.value error rolling_assumed=assumed_rolling doubts"

    coefficient: Mean
    error: Meters
    cars: tuple[str, ...]
    assumed_rolling: bool
    least: Share = 1.0
    """What the lower of readings that contradict come to, over the coefficient."""
    doubts: tuple[Doubt, ...] = ()


def cars_at_bench(plan: Plan) -> dict[str, CarBench]:
    """Return the resistances of every kind of car that was read.

    A string of n cars of weight W kept moving by a force F on a grade g rolls with r = F / (n W) - g. A car that rolls
    on at an even pace on a track tilted by a rise over a length has that grade as its rolling resistance; the grade at
    which it starts is its starting resistance (statics).
    """
    read: dict[CarFigure, dict[str, Sets]] = {"rolling": _strings_read(plan), "starting": {}}
    for tilt in plan.book.tilts:
        for of_cars, rises in ((read["rolling"], tilt.rolls), (read["starting"], tilt.starts)):
            if rises:
                of_cars.setdefault(tilt.car, []).append((tilt.place, [Reading(rise / tilt.over) for rise in rises]))
    found = {
        kind: {car: _possible(counted(rows, SINGLE_SCATTER, _percent, highest=True)) for car, rows in of_cars.items()}
        for kind, of_cars in read.items()
    }
    return {
        name: CarBench(
            name,
            _mean(found["rolling"].get(name)),
            _mean(found["starting"].get(name)),
            _drop(read["rolling"].get(name, [])),
            {kind: of_cars[name].doubts for kind, of_cars in found.items() if name in of_cars},
        )
        for name in dict.fromkeys([*found["rolling"], *found["starting"]])
    }


def _drop(rows: Sets) -> float:
    """Return by how much the mean of what counts is more than it would be if the lower of what contradicts counted."""
    if not rows:
        return 0.0
    high, low = (counted(rows, SINGLE_SCATTER, str, highest=each).mean for each in (True, False))
    return max(high - low, 0.0)


def _possible(read: Counted) -> Counted:
    """Return what was read of a resistance, without readings that count where they come to none at all."""
    if read.mean > 0:
        return read
    text = f"it comes out at {_percent(read.mean)} of its weight, which is impossible, so that it stays as it was"
    doubt = Doubt(f"{text}: was the track level, and were all cars counted?", 1.0)
    return replace(read, readings=(), doubts=(doubt, *read.doubts))


def _percent(share: float) -> str:
    return f"{100 * share:.2f} %"


def _strings_read(plan: Plan) -> dict[str, Sets]:
    """Return the rolling resistances of strings of every kind of car, row by row, each with the row's place."""
    found: dict[str, Sets] = {}
    for row in plan.book.strings:
        if row.curvature == 0:
            weight = GRAVITY * row.cars * plan.cars[row.car].mass
            values = [Reading(force.value / weight - row.grade) for force in row.forces]
            found.setdefault(row.car, []).append((row.place, values))
    return found


def curve_at_bench(plan: Plan, cars: Mapping[str, CarBench]) -> CurveBench | None:
    """Return the curve coefficient, C = (F / (n W) - g - r) R, None where no string was pulled round a curve."""
    rows: Sets = []
    from_rolling: list[float] = []
    assumed = False
    names: dict[str, None] = {}
    for row in plan.book.strings:
        if row.curvature == 0:
            continue
        car = plan.cars[row.car]
        bench_of_car = cars.get(row.car)
        if bench_of_car is not None and bench_of_car.rolling is not None:
            rolling, error = bench_of_car.rolling.value, bench_of_car.rolling.error
        else:
            rolling, error = car.rolling.value, _spread(car)
            assumed = True
        weight = GRAVITY * row.cars * car.mass
        values = [(force.value / weight - row.grade - rolling) / row.curvature for force in row.forces]
        rows.append((row.place, [Reading(value) for value in values]))
        from_rolling.append(error / row.curvature)
        names[row.car] = None
    if not rows:
        return None
    count = counted(rows, SINGLE_SCATTER, lambda value: f"C = {describe(value, 'length', plan.unit)}", highest=True)
    found, drop = _mean_of(count.readings), _drop(rows)
    least = max(1.0 - drop / found.value, 0.0) if found.value > 0 else 1.0
    return CurveBench(found, math.hypot(found.error, max(from_rolling)), tuple(names), assumed, least, count.doubts)


def _spread(car: Car) -> float:
    if car.rolling.spread is not None:
        return car.rolling.spread
    return car.rolling.value * (HIGHEST_SHARE - LOWEST_SHARE) / 3.29


def _mean(read: Counted | None) -> Mean | None:
    return _mean_of(read.readings) if read is not None and read.readings else None


def _mean_of(readings: Sequence[Reading]) -> Mean:
    values = [each.value for each in readings]
    if len(values) == 1:
        return mean_of(values, scatter=SINGLE_SCATTER * abs(values[0]), freedom=30)
    return mean_of(values)


def with_resistances(car: Car, bench_of_car: CarBench | None) -> tuple[Reading, Reading] | None:
    """Return the rolling and starting resistance of a car with bench results in place of assumed values.

    A starting resistance that was not measured keeps its ratio to the rolling resistance, and none is less than that.
    """
    if bench_of_car is None:
        return None
    rolling = car.rolling if bench_of_car.rolling is None else _reading(bench_of_car.rolling)
    ratio = rolling.value / car.rolling.value if car.rolling.value > 0 else 1.0
    spread = None if rolling.spread is None else rolling.spread * car.starting.value / max(car.rolling.value, 1e-12)
    scaled = Reading(car.starting.value * ratio, spread)
    starting = scaled if bench_of_car.starting is None else _reading(bench_of_car.starting)
    return rolling, max(starting, rolling, key=lambda each: each.value)


def _reading(mean: Mean) -> Reading:
    return Reading(max(mean.value, 0.0), max(mean.error, 0.02 * abs(mean.value)))
