"""A table for a spreadsheet: CSV, with no cell that a spreadsheet would take for a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

Cell = str | int | float | None

_FORMULA = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
"""What makes a spreadsheet take text for a formula, in full width too."""


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
