"""The book of readings: from checked tables and rows to records, and what contradicts itself."""

from __future__ import annotations

from dataclasses import replace
from statistics import fmean
from typing import TYPE_CHECKING, Any

from gradehaul.plan.bench_records import Book, PullRead, StringRead, TiltRead, Trial
from gradehaul.plan.names import header, quoted
from gradehaul.plan.rail_condition import CLEAN, RailCondition
from gradehaul.plan.resolve.stock import consist_of
from gradehaul.plan.schema.stock import ReadingTable, TiltTable, TrialTable
from gradehaul.plan.text.faults import checked
from gradehaul.quantities import describe

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from gradehaul.plan.records import Loco
    from gradehaul.plan.schema.stock import BenchTable
    from gradehaul.plan.text.faults import Entry, Faults

_CONTRADICTS = 0.3
"""How far apart the means of two rows of readings of the same thing may be, as a share of the larger."""


def book(
    listed: Mapping[str, Sequence[Entry[Any]]],
    bench: Entry[BenchTable] | None,
    known: Mapping[str, Collection[str]],
    locos: Mapping[str, Loco],
    faults: Faults,
) -> Book:
    """Return the book of readings of a plan.

    `known` has the names that readings may use, by kind: ``loco``, ``car``, ``film``, ``route``, ``drawing``.
    """
    raw = list(listed["reading"])
    if bench is not None:
        from gradehaul.plan.resolve.bench_csv import rows_of

        raw += rows_of(bench, faults)
    pulls: list[PullRead] = []
    strings: list[StringRead] = []
    alike: dict[PullRead, list[tuple[float, str]]] = {}
    for entry in raw:
        reading = checked(ReadingTable, entry, faults)
        if reading is None:
            continue
        table = reading.table
        curvature = 0.0 if table.radius is None else 1.0 / table.radius
        if table.car is not None:
            faults.known(reading, "car", table.car, known["car"], declare="[car.NAME] for it", inside="car")
            strings.append(StringRead(reading.place, table.car, table.cars, tuple(table.force), table.grade, curvature))
            continue
        assert table.loco is not None
        if table.loco not in known["loco"] and (table.loco in known["drawing"] or "+" in table.loco):
            power = header("power", table.loco) if table.loco in known["drawing"] else "a [power.NAME] of these locos"
            faults.at(
                reading,
                "a reading is of one locomotive, and this is of several coupled together",
                found=quoted(table.loco),
                write=f"together in {power}, their pull over the sum of those read alone: 160 gf of 90 gf and 88 gf "
                'is together = "90 %"; and leave this row out',
                inside="loco",
            )
        else:
            declare = "[loco.NAME] with its mass and length"
            faults.known(reading, "locomotive", table.loco, known["loco"], declare=declare, inside="loco")
        _check_rail(reading, known["film"], faults)
        forces, state = tuple(table.force), table.state
        pulls.append(
            PullRead(reading.place, table.loco, table.rail, forces, table.hours, state, table.grade, curvature)
        )
        _check_alike(reading, pulls[-1], alike, locos, faults)
    return Book(
        pulls=tuple(pulls),
        strings=tuple(strings),
        tilts=tuple(_tilts(listed["tilt"], known["car"], faults)),
        trials=tuple(_trials(listed["trial"], known, faults)),
        step=bench.table.step.value if bench is not None and bench.table.step is not None else None,
    )


def _tilts(tables: Sequence[Entry[Any]], cars: Collection[str], faults: Faults) -> list[TiltRead]:
    found = []
    for raw in tables:
        entry = checked(TiltTable, raw, faults)
        if entry is None:
            continue
        table = entry.table
        faults.known(entry, "car", table.car, cars, declare="[car.NAME] for it", inside="car")
        for key, rises in (("starts", table.starts), ("rolls", table.rolls)):
            if any(rise > table.over / 2 for rise in rises or ()):
                faults.at(entry, f"{key} rises more than 1 in 2, at which no car needs a test", write="rise and over")
        found.append(TiltRead(entry.place, table.car, table.over, tuple(table.starts or ()), tuple(table.rolls or ())))
    return found


def _trials(tables: Sequence[Entry[Any]], known: Mapping[str, Collection[str]], faults: Faults) -> list[Trial]:
    found = []
    for raw in tables:
        entry = checked(TrialTable, raw, faults)
        if entry is None:
            continue
        table = entry.table
        declare = "[route.NAME] with from and to"
        faults.known(entry, "route", table.route, known["route"], declare=declare, inside="route")
        _check_rail(entry, known["film"], faults)
        consist = consist_of(table.consist, known["drawing"], known["car"], entry, faults)
        found.append(Trial(entry.place, table.route, consist, table.rail, table.outcome, table.hours, table.together))
    return found


def _check_rail(entry: Entry[ReadingTable] | Entry[TrialTable], films: Collection[str], faults: Faults) -> None:
    rail, hours = entry.table.rail, entry.table.hours
    condition = RailCondition.named(rail)
    if condition.film is None:
        if hours is not None:
            wrong = "hours are counted from when a film went on, and this rail is clean"
            faults.at(entry, wrong, write="the film's name")
    elif condition.fresh and condition.film in films:
        write = f'rail = "{condition.film}" and hours = 0'
        faults.at(entry, "the age of a film goes in hours", found=f'"{rail}"', write=write)
    else:
        faults.known(entry, "rail condition", rail, [CLEAN, *films], inside="rail")


def _check_alike(
    entry: Entry[ReadingTable],
    own: PullRead,
    before: dict[PullRead, list[tuple[float, str]]],
    locos: Mapping[str, Loco],
    faults: Faults,
) -> None:
    """Refuse readings that contradict others of just the same thing, of which the lowest and the highest are kept."""
    mean = fmean(force.value for force in own.forces)
    same = before.setdefault(replace(own, place="", forces=()), [])
    others = list(same)
    same[:] = [min((*same, (mean, own.place))), max((*same, (mean, own.place)))]
    loco = locos.get(own.loco)
    if loco is not None and own.hours is None and not own.grade and not own.curvature:
        table = loco.pull if own.state == "standing" else loco.slipping
        if own.rail in table:
            others.append((fmean(force.value for force in table[own.rail]), f'loco "{own.loco}"'))
    for other, place in others:
        if abs(mean - other) > _CONTRADICTS * max(mean, other):
            unit = own.forces[0].unit or "N"
            wrong = f"this contradicts {place}, which is of the same locomotive on the same rail"
            found = f"{describe(mean, 'force', unit)} against {describe(other, 'force', unit)}"
            faults.at(entry, wrong, found=found, write="one of the two, or the hours of each")
            return
