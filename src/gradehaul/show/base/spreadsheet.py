"""A table for a spreadsheet: CSV of any records, with no cell that a spreadsheet would take for a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence

from gradehaul.quantities import convert
from gradehaul.quantities.document import Key, keys_of, plain, rounded, value_at
from gradehaul.quantities.si import SI
from gradehaul.show.base.unit_format import UnitFormat

Cell = str | int | float | None

_FORMULA = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
"""What makes a spreadsheet take text for a formula, in full width too."""


def table(kind: type, columns: str, rows: Iterable[object], units: UnitFormat | None) -> str:
    """Return records as CSV, a row each: figures in the units shown, each head with its unit, as in ``length_mm``.

    `columns` lists keys as ``KEYS`` of a record does (see `gradehaul.quantities.document`); without `units` figures are
    those of the JSON document, in SI.
    """
    keys = keys_of(kind, columns)
    marked = [(key, None if units is None else shown_unit(key.unit, units)) for key in keys]
    heads = [head(key.name, key.unit, unit) for key, unit in marked]
    return csv_text(heads, ([_cell(value_at(row, key.path), key, unit) for key, unit in marked] for row in rows))


def shown_unit(unit: SI | None, units: UnitFormat) -> str | None:
    """Return the unit shown for a number of an SI unit, None where there is no other."""
    small = {"metric": ("gf", "g"), "imperial": ("ozf", "oz")}[units.system]
    by_kind: Mapping[str | None, str] = {
        "length": units.length_unit,
        "force": units.force_unit or small[0],
        "mass": small[1],
    }
    return None if unit is None else by_kind.get(unit.kind)


def head(name: str, unit: SI | None, shown: str | None) -> str:
    """Return the head of a column: the name of its key, with the unit shown in the place of the SI unit."""
    return name if unit is None or shown is None else f"{name.removesuffix(f'_{unit.suffix}')}_{shown}"


def _cell(value: object, key: Key, unit: str | None) -> Cell:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and unit is not None:
        return rounded(convert(value, unit))
    if isinstance(value, tuple):
        return "; ".join(map(str, value))
    cell: Cell = plain(value, key.unit)
    return cell


def csv_text(heads: Sequence[str], rows: Iterable[Iterable[Cell]]) -> str:
    r"""Return a table as CSV (RFC 4180), its cells made harmless.

    Examples
    --------
    >>> csv_text(("car", "cars"), [("ore", 4), ("=1+1", None)])
    "car,cars\r\nore,4\r\n'=1+1,\r\n"
    """
    stream = io.StringIO()
    table = csv.writer(stream)
    table.writerow(heads)
    table.writerows([harmless(cell) for cell in row] for row in rows)
    return stream.getvalue()


def harmless(cell: Cell) -> Cell:
    """Return a cell that no spreadsheet takes for a formula: text that begins like one gets an apostrophe.

    Examples
    --------
    >>> harmless("=1+1"), harmless("ore"), harmless(-0.5)
    ("'=1+1", 'ore', -0.5)
    """
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA) else cell
