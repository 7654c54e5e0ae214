"""A table for a spreadsheet: CSV of any records, with no cell that a spreadsheet would take for a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence

from gradehaul.quantities import convert
from gradehaul.quantities.document import Key, keys_of, plain, rounded, value_at
from gradehaul.quantities.si import SI
from gradehaul.show.base.reading_units import Reader

Cell = str | int | float | None

_FORMULA = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
"""What makes a spreadsheet take text for a formula, in full width too."""


def table(kind: type, columns: str, rows: Iterable[object], reader: Reader | None) -> str:
    r"""Return records as CSV, a row each: figures in a reader's units, each head with its unit, as in ``length_mm``.

    Parameters
    ----------
    kind
        What the rows are.
    columns
        The columns, as ``KEYS`` of a record lists keys (see `gradehaul.quantities.document`).
    rows
        The records.
    reader
        Whose units; None for those of the JSON document, which are SI.

    Examples
    --------
    >>> from gradehaul.haulage.joint_places import JointPlace
    >>> table(JointPlace, "name at", [JointPlace(0.3, "Foot", "plain")], Reader("mm", "metric"))
    'name,at_mm\r\nFoot,300.0\r\n'
    """
    keys = keys_of(kind, columns)
    units = [None if reader is None else reader_unit(key.unit, reader) for key in keys]
    heads = [head(key.name, key.unit, unit) for key, unit in zip(keys, units, strict=True)]
    marked = list(zip(keys, units, strict=True))
    return csv_text(heads, ([_cell(value_at(row, key.path), key, unit) for key, unit in marked] for row in rows))


def reader_unit(unit: SI | None, reader: Reader) -> str | None:
    """Return the unit in which a reader has a number of an SI unit, None where there is no other."""
    small = {"metric": ("gf", "g"), "imperial": ("ozf", "oz")}[reader.system]
    units: Mapping[str | None, str] = {
        "length": reader.length_unit,
        "force": reader.force_unit or small[0],
        "mass": small[1],
    }
    return None if unit is None else units.get(unit.kind)


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

    Parameters
    ----------
    heads
        What stands over the columns.
    rows
        The cells of each row, one for each column.

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
