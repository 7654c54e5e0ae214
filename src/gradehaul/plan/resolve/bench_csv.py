"""A file of readings as a spreadsheet saves it: which sign parts the columns, which the decimals, and the rows."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gradehaul.errors import PlanError, Problems, QuantityError
from gradehaul.plan.names import clean, nearest, quoted, shown
from gradehaul.plan.text.faults import Entry, Faults
from gradehaul.plan.text.files import is_beside
from gradehaul.plan.text.toml import read_text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gradehaul.plan.schema.stock import BenchTable

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


def rows_of(bench: Entry[BenchTable], faults: Faults) -> list[Entry[Any]]:
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
        raise PlanError(f"this is no table of readings: {error}", file=file) from error
    heads = _heads(lines[0], file)
    source = replace(bench.source, file=file, headers={})
    if len(lines) > _MOST_ROWS:
        raise PlanError(f"a file of readings has at most {_MOST_ROWS:,} rows", found=f"{len(lines):,}")
    for number, line in enumerate(lines[1:], 2):
        if not any(cell.strip() for cell in line):
            continue
        if len(line) > len(heads):
            more = " where commas part the columns too, decimals need points" if parted == "," else ""
            faults.add(
                PlanError(
                    "the row has more cells than the header" + (":" + more if more else ""), found=f"{len(line)}"
                ),
                file=file,
                place=f"row {number}",
            )
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
            raise PlanError(f"column {quoted(name)} stands twice", file=file)
        heads.append((name, (match[2] or "") if match else ""))
    if "force" not in [head for head, _ in heads]:
        raise PlanError("the column force is missing", file=file, write="force (gf) in the first row")
    return heads


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
