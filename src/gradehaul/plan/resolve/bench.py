"""The book of readings: from tables, and from files that a spreadsheet saved, to records."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gradehaul.errors import PlanError, Problems, QuantityError, clean, quoted, shown
from gradehaul.plan.bench_records import Book, PullRead, StringRead, TiltRead, TrialRun
from gradehaul.plan.names import header, nearest
from gradehaul.plan.rail_condition import CLEAN, RailCondition
from gradehaul.plan.resolve.stock import consist_of
from gradehaul.plan.schema.stock import ReadingTable, TiltTable, TrialTable
from gradehaul.plan.text.faults import Entry, checked
from gradehaul.plan.text.files import is_beside
from gradehaul.plan.text.toml import read_text
from gradehaul.quantities import read_quantity

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from gradehaul.plan.schema.stock import BenchTable
    from gradehaul.plan.text.faults import Faults

COLUMNS = ("loco", "car", "cars", "rail", "hours", "force", "state", "grade", "radius", "facing", "note")
"""The columns there may be; ``force`` may stand several times, as ``force 1``, ``force 2``, …"""

_HEAD = re.compile(r"\s*([^\W\d]+)\s*[0-9]*\s*(?:[(\[]\s*([^)\]]+?)\s*[)\]])?\s*")
_DECIMAL_COMMA = re.compile(r"[-+]?[0-9]+,[0-9]+")
_THOUSANDS = re.compile(r"[-+]?[1-9][0-9]{0,2},[0-9]{3}")
_NUMBER = re.compile(r"[-+]?[0-9]+(\.[0-9]+)?")
_OWN_UNIT = re.compile(r"[-+0-9.,±/ ]+([^\W\d_][\w ]*|%)")
_MOST_ROWS = 10_000
_LONGEST_NUMBER = 40
_LONGEST_HEAD = 60


def book(
    listed: Mapping[str, Sequence[Entry[Any]]],
    bench: Entry[BenchTable] | None,
    known: Mapping[str, Collection[str]],
    faults: Faults,
) -> Book:
    """Return the book of readings of a plan.

    `known` has the names that readings may use, by kind: ``loco``, ``car``, ``film``, ``route``, ``drawing``.
    """
    raw = list(listed["reading"])
    if bench is not None:
        raw += _rows_of_files(bench, faults)
    pulls: list[PullRead] = []
    strings: list[StringRead] = []
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
        if table.loco in known["drawing"] and table.loco not in known["loco"]:
            write = f"together in {header('power', table.loco)}, their pull over the sum of those read alone"
            faults.at(reading, "a reading is of one locomotive, not of a power", write=write, inside="loco")
        else:
            declare = "[loco.NAME] with its mass and length"
            faults.known(reading, "locomotive", table.loco, known["loco"], declare=declare, inside="loco")
        _check_rail(reading, known["film"], faults)
        forces, state = tuple(table.force), table.state
        pulls.append(
            PullRead(reading.place, table.loco, table.rail, forces, table.hours, state, table.grade, curvature)
        )
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
                faults.at(
                    entry,
                    f'"{key}" is more than half of "over": too steep for a test',
                    write=f'"{key}" and "over" in one unit',
                )
        found.append(TiltRead(entry.place, table.car, table.over, tuple(table.starts or ()), tuple(table.rolls or ())))
    return found


def _trials(tables: Sequence[Entry[Any]], known: Mapping[str, Collection[str]], faults: Faults) -> list[TrialRun]:
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
        found.append(
            TrialRun(entry.place, table.route, consist, table.rail, table.outcome, table.hours, table.together)
        )
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
        faults.at(entry, "the age of a film is given in hours", found=f'"{rail}"', write=write)
    else:
        faults.known(entry, "rail condition", rail, [CLEAN, *films], inside="rail")


def _rows_of_files(bench: Entry[BenchTable], faults: Faults) -> list[Entry[Any]]:
    """Return the rows of all files of readings, each as the table ``[[reading]]`` that says the same."""
    found: list[Entry[Any]] = []
    for name in bench.table.csv:
        folder = bench.source.folder
        if folder is None or not is_beside(name):
            faults.at(
                bench, "a file of readings must be in the plan's folder or below it", found=quoted(name), inside="csv"
            )
            continue
        file = str(Path(bench.source.file).parent / name)
        try:
            text = read_text(folder / name, file)
            found += _rows(text, file, bench, faults)
        except PlanError as error:
            faults.add(error, file=file)
    return found


def _rows(text: str, file: str, bench: Entry[BenchTable], faults: Faults) -> Iterator[Entry[Any]]:
    header = text.partition("\n")[0]
    parted = max(",;\t", key=header.count)
    try:
        lines = list(csv.reader(io.StringIO(text), delimiter=parted))
    except csv.Error as error:
        raise PlanError(f"this is not a table of readings: {error}", file=file) from error
    heads = _heads(lines[0], file)
    source = replace(bench.source, file=file, headers={})
    if len(lines) > _MOST_ROWS:
        raise PlanError(f"a file of readings has at most {_MOST_ROWS:,} rows", found=f"{len(lines):,}")
    for number, line in enumerate(lines[1:], 2):
        if not any(cell.strip() for cell in line):
            continue
        if len(line) > len(heads):
            more = " where commas part the columns too, decimals need points" if parted == "," else ""
            wrong = "the row has more cells than the header" + (":" + more if more else "")
            faults.take(file, f"row {number}", wrong, found=f"{len(line)}")
            continue
        try:
            table = _table(heads, line, parted, bench.table.decimal)
        except (PlanError, QuantityError, Problems) as error:
            faults.add(error, file=file, place=f"row {number}")
            continue
        yield Entry(source, ("row", number - 1), table)


def _heads(cells: list[str], file: str) -> list[tuple[str, str]]:
    """Return the name and the unit of every column."""
    heads: list[tuple[str, str]] = []
    for cell in cells:
        match = _HEAD.fullmatch(clean(cell)) if len(cell) <= _LONGEST_HEAD else None
        name = match[1].lower() if match else clean(cell)
        if name not in COLUMNS:
            near = nearest(name, COLUMNS)
            raise PlanError(
                f"there is no column {quoted(name)}", file=file, write=near or f"one of {', '.join(COLUMNS)}"
            )
        if name != "force" and name in [head for head, _ in heads]:
            raise PlanError(f"column {quoted(name)} appears twice", file=file)
        unit = (match[2] or "") if match else ""
        if name == "force" and unit:
            _refuse_mass(clean(cell), unit, file)
        heads.append((name, unit))
    if "force" not in [head for head, _ in heads]:
        raise PlanError("the column force is missing", file=file, write="force (gf) in the first row")
    return heads


def _refuse_mass(cell: str, unit: str, file: str) -> None:
    """Refuse a heading of forces with a unit of mass: once, not for each of its cells."""
    try:
        read_quantity(f"1 {unit}", "force")
    except QuantityError as error:
        force = re.fullmatch(r'"1 (\w+)"', error.write)
        write = quoted(cell.replace(unit, force[1])) if force else ""
        raise PlanError(error.wrong, file=file, found=f"the heading {quoted(cell)}", write=write) from error


def _table(
    heads: list[tuple[str, str]],
    line: list[str],
    parted: str,
    decimal: str | None,
) -> dict[str, Any]:
    """Return the table that says the same as a row."""
    table: dict[str, Any] = {}
    for (name, unit), raw in zip(heads, line, strict=False):
        cell = clean(raw)
        if not cell:
            continue
        if name in ("loco", "car", "rail", "state", "facing", "note"):
            table[name] = cell
            continue
        cell = _with_point(cell, name, parted, decimal)
        if name in ("cars", "hours"):
            if len(cell) > _LONGEST_NUMBER or not _NUMBER.fullmatch(cell):
                raise PlanError(f"{name} must be a number", found=shown(cell))
            table[name] = int(cell) if name == "cars" and "." not in cell else float(cell)
            continue
        own = _OWN_UNIT.fullmatch(cell)
        if unit and own is None:
            cell = f"{cell} {unit}"
        if name == "force":
            table.setdefault("force", []).append(cell)
        elif unit or own:
            table[name] = cell
        else:
            table[name] = float(cell) if _NUMBER.fullmatch(cell) else cell
    return table


def _with_point(cell: str, name: str, parted: str, decimal: str | None) -> str:
    """Return a number with a decimal point; one that may be thousands or decimals is asked about."""

    def point(match: re.Match[str]) -> str:
        figure = match[0]
        if decimal == "," or (decimal is None and parted != "," and not _THOUSANDS.fullmatch(figure)):
            return figure.replace(",", ".")
        one, other = figure.replace(",", "."), figure.replace(",", "")
        raise PlanError(
            f"{name} may mean {one} or {other}",
            found=quoted(cell),
            write='decimal = "," in [bench], or a decimal point',
        )

    return _DECIMAL_COMMA.sub(point, cell)
