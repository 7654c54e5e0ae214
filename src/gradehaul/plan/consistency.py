"""Consistency: the conditions that a plan's records must meet, whether a file or a program made them."""

from __future__ import annotations

import copyreg
import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import fields
from types import MappingProxyType
from typing import TYPE_CHECKING

from gradehaul.errors import PlanError, Problems, quoted
from gradehaul.plan.names import unknown

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

    from gradehaul.plan.records import Car, Line, Loco, Plan, Track
    from gradehaul.quantities import Reading

_SAME = 1 + 1e-9
_GUESSED = 1000
"""Names of as many things as this are not compared one by one with a name that is not there."""
_ABOVE_0, _FROM_0, _FINITE = "more than 0", "0 or more", "finite"


def _view(mapping: dict[str, object]) -> MappingProxyType[str, object]:
    return MappingProxyType(mapping)


# A view can be neither copied nor pickled by itself; a plan can.
copyreg.pickle(MappingProxyType, lambda view: (_view, (dict(view),)))


def freeze_mappings(record: DataclassInstance) -> None:
    """Replace each mapping of a frozen record, as it is made, by a read-only view of a copy."""
    for each in fields(record):
        value = getattr(record, each.name)
        if isinstance(value, Mapping) and not isinstance(value, MappingProxyType):
            object.__setattr__(record, each.name, MappingProxyType(dict(value)))


def check_consistent(plan: Plan) -> None:
    r"""Raise unless the records of a plan could have come from a file.

    Numbers are finite and of the right sign, and every name that a record mentions is one of the plan's. A plan read
    from a file holds to this already; one changed with `dataclasses.replace` is held to it here.

    Raises
    ------
    Problems
        Everything that does not hold, each with the record's place.
    """
    problems = [error.at(file=plan.file) for error in (*_of_track(plan), *_of_stock(plan), *_of_routes(plan))]
    if problems:
        raise Problems(problems)


def _number(
    place: str, name: str, value: float, bound: str, *, most: float = math.inf, of: str = ""
) -> Iterator[PlanError]:
    """Yield an error for a figure out of its bound, or above the `most` that it can be, in words `of` what."""
    in_bound = bound == _FINITE or value > 0.0 or (value == 0.0 and bound == _FROM_0)
    if not (math.isfinite(value) and in_bound):
        yield PlanError(f"{name} must be {bound}", place=place, found=f"{value:g}")
    elif value > most * _SAME:
        yield PlanError(f"{name} must be at most {of}, {most:g}", place=place, found=f"{value:g}")


def _known(place: str, kind: str, names: Collection[str], known: Collection[str]) -> Iterator[PlanError]:
    for name in names:
        if name not in known:
            yield unknown(kind, name, known, guess=len(known) < _GUESSED).at(place=place)


def _some(place: str, things: Collection[object], wrong: str) -> Iterator[PlanError]:
    if not things:
        yield PlanError(wrong, place=place, found="none")


def _of_track(plan: Plan) -> Iterator[PlanError]:
    yield from _number("", "vertical_curve", plan.vertical_curve, _FROM_0)
    yield from _number("", "carry_over", plan.carry_over, _FROM_0)
    for layer in fields(plan.deck):
        yield from _number("deck", layer.name, getattr(plan.deck, layer.name) or 0.0, _FROM_0)
    for joint, height in plan.railhead.items():
        yield from _known(f'railhead "{joint}"', "joint", [joint], plan.joints)
        yield from _number(f'railhead "{joint}"', "railhead", height, _FINITE)
    for line in plan.lines.values():
        yield from _of_line(line, plan)
    for berth in plan.berths.values():
        place = f'berth "{berth.name}"'
        yield from _known(place, "line", [berth.line], plan.lines)
        if berth.line in plan.lines:
            yield from _known(place, "track", berth.tracks, [track.id for track in plan.lines[berth.line].tracks])


def _of_line(line: Line, plan: Plan) -> Iterator[PlanError]:
    place = f'line "{line.name}"'
    yield from _some(place, line.tracks, "a line needs track")
    yield from _known(place, "joint", [line.start, line.finish], plan.joints)
    if line.parallel is not None:
        yield from _known(f"{place}, parallel", "line", [line.parallel.line], plan.lines)
    for track in line.tracks:
        if not track.open and not _sound(track):
            yield from _number(track.place, "length", track.length, _ABOVE_0)
            yield from _number(track.place, "ease", track.ease, _FROM_0)
            for name in ("curvature", "grade", "rise", "railhead"):
                yield from _number(track.place, name, getattr(track, name) or 0.0, _FINITE)
            if math.isfinite(track.grade or 0.0) and abs(track.grade or 0.0) >= 1.0:
                found = f"{100 * (track.grade or 0.0):g} %"
                yield PlanError("grade must be under 100 % up or down", place=track.place, found=found)
    for at, height in line.railhead_at:
        yield from _number(place, "a distance of railhead_at", at, _FROM_0, most=line.length, of="the line's length")
        yield from _number(place, "a height of railhead_at", height, _FINITE)


def _sound(track: Track) -> bool:
    """Return whether a track has no fault, as nearly all of the tens of thousands of a large plan."""
    total = track.curvature + track.ease + (track.grade or 0.0) + (track.rise or 0.0) + (track.railhead or 0.0)
    return 0.0 < track.length < math.inf and math.isfinite(total) and track.ease >= 0.0 and abs(track.grade or 0) < 1.0


def _of_stock(plan: Plan) -> Iterator[PlanError]:
    for car in plan.cars.values():
        yield from _of_car(car)
    for loco in plan.locos.values():
        yield from _of_loco(loco)
    for power in plan.powers.values():
        place = f'power "{power.name}"'
        yield from _some(place, power.locos, "a power needs a locomotive")
        yield from _known(place, "loco", power.locos, plan.locos)
        yield from _number(place, "together", power.together, _ABOVE_0, most=1.0, of="the sum of the pulls")
    for film in plan.films.values():
        for wheels, share in (("metal", film.metal), ("tyred", film.tyred)):
            for age, value in (("fresh", share.fresh), ("settled", share.settled)):
                yield from _number(f'rail "{film.name}"', f"{wheels} {age}", value, _FROM_0)


def _reading(place: str, name: str, reading: Reading, most: float = math.inf) -> Iterator[PlanError]:
    yield from _number(place, name, reading.value, _FROM_0, most=most, of="the whole weight")
    yield from _number(place, f"the spread of {name}", reading.spread or 0.0, _FROM_0)


def _of_car(car: Car) -> Iterator[PlanError]:
    place = f'car "{car.name}"'
    yield from _number(place, "mass", car.mass, _ABOVE_0)
    yield from _number(place, "length", car.length, _ABOVE_0)
    yield from _reading(place, "rolling", car.rolling, 1.0)
    yield from _reading(place, "starting", car.starting, 1.0)


def _of_loco(loco: Loco) -> Iterator[PlanError]:
    place = f'loco "{loco.name}"'
    yield from _number(place, "mass", loco.mass, _ABOVE_0)
    yield from _number(place, "length", loco.length, _ABOVE_0)
    yield from _number(place, "on_drivers", loco.on_drivers, _FROM_0, most=loco.mass, of="the mass")
    yield from _number(place, "on_tyres", loco.on_tyres, _FROM_0, most=loco.on_drivers, of="the mass on drivers")
    for kind, by_rail in (("pull", loco.pull), ("slipping", loco.slipping)):
        for rail, readings in by_rail.items():
            yield from _some(place, readings, f"{kind} on {rail} needs a reading")
            for reading in readings:
                yield from _reading(place, f"{kind} on {rail}", reading)


def _of_routes(plan: Plan) -> Iterator[PlanError]:
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
        yield from _number(place, "reversals", route.reversals, _FROM_0)
    stock = {*plan.cars, *plan.powers}
    for train in plan.trains.values():
        place = f'train "{train.name}"'
        if plan.routes:
            yield from _known(place, "route", [train.route], plan.routes)
        yield from _some(place, train.consist, "a train needs a consist")
        yield from _known(place, "stock", [cut.name for cut in train.consist], stock)
        for cut in train.consist:
            yield from _number(place, f"the count of {quoted(cut.name)}", cut.count, _ABOVE_0)
        if train.together is not None:
            yield from _number(place, "together", train.together, _ABOVE_0, most=1.0, of="the sum of the pulls")
