"""Consistency: the conditions that a plan's records must meet, whether a file or a program made them."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING

from gradehaul.errors import PlanError, Problems
from gradehaul.plan.names import quoted, unknown
from gradehaul.quantities import Reading

if TYPE_CHECKING:
    from gradehaul.plan.records import Car, Film, Line, Loco, Plan, Power, Track

_SAME = 1 + 1e-9


def check_consistent(plan: Plan) -> None:
    r"""Raise unless the records of a plan could have come from a file.

    Numbers are finite and of the right sign, and every name that a record mentions is one of the plan's. A plan read
    from a file holds to this already; one changed with `dataclasses.replace` is held to it here.

    Raises
    ------
    Problems
        Everything that does not hold, each with the record's place.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from gradehaul.plan import read_plan
    >>> plan = read_plan('scale = "HO"\nunit = "in"\ncar.ore = { mass = "4 oz", length = 5 }')
    >>> replace(plan, cars={"ore": replace(plan.cars["ore"], mass=-1.0)})
    Traceback (most recent call last):
    ...
    gradehaul.errors.Problems: plan.toml: car "ore": mass must be more than 0 kg, got -1
    """
    problems = [error.at(file=plan.file) for error in _faults(plan)]
    if problems:
        raise Problems(problems)


def _faults(plan: Plan) -> Iterator[PlanError]:
    yield from _least("", "vertical_curve", plan.vertical_curve, "m", strict=False)
    yield from _least("", "carry_over", plan.carry_over, "m", strict=False)
    for joint, height in plan.railhead.items():
        yield from _known(f'railhead "{joint}"', "joint", [joint], plan.joints)
        yield from _finite(f'railhead "{joint}"', "railhead", height)
    for line in plan.lines.values():
        yield from _line_faults(line, plan)
    for car in plan.cars.values():
        yield from _car_faults(car)
    for loco in plan.locos.values():
        yield from _loco_faults(loco)
    for power in plan.powers.values():
        yield from _power_faults(power, plan)
    for film in plan.films.values():
        yield from _film_faults(film)
    for berth in plan.berths.values():
        place = f'berth "{berth.name}"'
        yield from _known(place, "line", [berth.line], plan.lines)
        if berth.line in plan.lines:
            yield from _known(place, "track", berth.tracks, [track.id for track in plan.lines[berth.line].tracks])
    yield from _route_faults(plan)
    yield from _train_faults(plan)


def _finite(place: str, name: str, value: float) -> Iterator[PlanError]:
    if not math.isfinite(value):
        yield PlanError(f"{name} must be finite", place=place, found=f"{value:g}")


def _least(place: str, name: str, value: float, unit: str, *, strict: bool = True) -> Iterator[PlanError]:
    """Yield an error for a figure that is not finite, or not more than 0 (not less where it is not `strict`)."""
    if not (math.isfinite(value) and (value > 0.0 or (value == 0.0 and not strict))):
        bound = "more than 0" if strict else "0 or more"
        yield PlanError(f"{name} must be {bound} {unit}".rstrip(), place=place, found=f"{value:g}")


def _most(place: str, name: str, value: float, most: float, what: str) -> Iterator[PlanError]:
    if value > most * _SAME:
        yield PlanError(f"{name} must be at most {what}, {most:g}", place=place, found=f"{value:g}")


def _known(place: str, kind: str, names: Collection[str], known: Collection[str]) -> Iterator[PlanError]:
    for name in names:
        if name not in known:
            yield unknown(kind, name, known, guess=len(known) < _GUESSED).at(place=place)


_GUESSED = 1000
"""Names of as many things as this are not compared one by one with a name that is not there."""


def _line_faults(line: Line, plan: Plan) -> Iterator[PlanError]:
    place = f'line "{line.name}"'
    if not line.tracks:
        yield PlanError("a line needs track", place=place, found="none")
    yield from _known(place, "joint", [line.start, line.finish], plan.joints)
    if line.parallel is not None:
        yield from _known(f"{place}, parallel", "line", [line.parallel.line], plan.lines)
    for track in line.tracks:
        if not track.open and not _sound(track):
            yield from _track_faults(track)
    for at, height in line.railhead_at:
        yield from _least(place, "a distance of railhead_at", at, "m", strict=False)
        yield from _most(place, "a distance of railhead_at", at, line.length, "the line's length")
        yield from _finite(place, "a height of railhead_at", height)


def _sound(track: Track) -> bool:
    """Return whether a track has no fault, as nearly all of the tens of thousands of a large plan."""
    total = track.curvature + track.ease + (track.grade or 0.0) + (track.rise or 0.0) + (track.railhead or 0.0)
    return (
        0.0 < track.length < math.inf and math.isfinite(total) and track.ease >= 0.0 and abs(track.grade or 0.0) < 1.0
    )


def _track_faults(track: Track) -> Iterator[PlanError]:
    yield from _least(track.place, "length", track.length, "m")
    yield from _least(track.place, "ease", track.ease, "m", strict=False)
    for name in ("curvature", "grade", "rise", "railhead"):
        yield from _finite(track.place, name, getattr(track, name) or 0.0)
    if abs(track.grade or 0.0) >= 1.0:
        yield PlanError("grade must be less than 100 %", place=track.place, found=f"{100 * (track.grade or 0.0):g} %")


def _reading(place: str, name: str, reading: Reading, most: float = math.inf) -> Iterator[PlanError]:
    yield from _least(place, name, reading.value, "", strict=False)
    yield from _most(place, name, reading.value, most, "the whole weight")
    if reading.spread is not None:
        yield from _least(place, f"the spread of {name}", reading.spread, "", strict=False)


def _car_faults(car: Car) -> Iterator[PlanError]:
    place = f'car "{car.name}"'
    yield from _least(place, "mass", car.mass, "kg")
    yield from _least(place, "length", car.length, "m")
    yield from _reading(place, "rolling", car.rolling, 1.0)
    yield from _reading(place, "starting", car.starting, 1.0)


def _loco_faults(loco: Loco) -> Iterator[PlanError]:
    place = f'loco "{loco.name}"'
    yield from _least(place, "mass", loco.mass, "kg")
    yield from _least(place, "length", loco.length, "m")
    yield from _least(place, "on_drivers", loco.on_drivers, "kg", strict=False)
    yield from _most(place, "on_drivers", loco.on_drivers, loco.mass, "the mass")
    yield from _least(place, "on_tyres", loco.on_tyres, "kg", strict=False)
    yield from _most(place, "on_tyres", loco.on_tyres, loco.on_drivers, "the mass on drivers")
    for kind, readings in (("pull", loco.pull), ("slipping", loco.slipping)):
        for rail, each in readings.items():
            if not each:
                yield PlanError(f"{kind} on {rail} needs a reading", place=place, found="none")
            for reading in each:
                yield from _reading(place, f"{kind} on {rail}", reading)


def _power_faults(power: Power, plan: Plan) -> Iterator[PlanError]:
    place = f'power "{power.name}"'
    if not power.locos:
        yield PlanError("a power needs a locomotive", place=place, found="none")
    yield from _known(place, "loco", power.locos, plan.locos)
    yield from _least(place, "together", power.together, "")
    yield from _most(place, "together", power.together, 1.0, "the sum of the pulls")


def _film_faults(film: Film) -> Iterator[PlanError]:
    for wheels, share in (("metal", film.metal), ("tyred", film.tyred)):
        for age, value in (("fresh", share.fresh), ("settled", share.settled)):
            yield from _least(f'rail "{film.name}"', f"{wheels} {age}", value, "", strict=False)


def _route_faults(plan: Plan) -> Iterator[PlanError]:
    ends = {f"{name}.{end}" for name in plan.lines for end in ("from", "to")} if plan.routes else set()
    places = {*plan.joints, *plan.berths, *ends}
    for route in plan.routes.values():
        place = f'route "{route.name}"'
        if route.lap:
            yield from _known(place, "line", route.lap, plan.lines)
            continue
        yield from _known(place, "joint, berth or line's end", [route.origin, route.destination], places)
        yield from _known(place, "line, joint or berth", route.via, {*places, *plan.lines})
        yield from _known(place, "berth", route.run_round, plan.berths)
        if route.reversals < 0:
            yield PlanError("reversals must be 0 or more", place=place, found=str(route.reversals))


def _train_faults(plan: Plan) -> Iterator[PlanError]:
    stock = {*plan.cars, *plan.powers}
    for train in plan.trains.values():
        place = f'train "{train.name}"'
        if plan.routes:
            yield from _known(place, "route", [train.route], plan.routes)
        if not train.consist:
            yield PlanError("a train needs a consist", place=place, found="none")
        yield from _known(place, "stock", [cut.name for cut in train.consist], stock)
        for cut in train.consist:
            if cut.count < 1:
                yield PlanError(f"a consist counts from 1 {quoted(cut.name)}", place=place, found=str(cut.count))
        if train.together is not None:
            yield from _least(place, "together", train.together, "")
            yield from _most(place, "together", train.together, 1.0, "the sum of the pulls")
