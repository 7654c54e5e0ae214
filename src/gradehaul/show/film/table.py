"""The keep-clean plan as a table for a spreadsheet: a row for each stretch of track."""

from __future__ import annotations

from gradehaul.show.base.digits import rounded
from gradehaul.show.base.spreadsheet import Cell, csv_text
from gradehaul.treatment.keep_clean import KeepCleanPlan, Row

HEADS = ("track", "line", "from_m", "to_m", "length_m", "use", "train", "test", "at_m", "short_n")


def treat_csv(found: KeepCleanPlan) -> str:
    """Return the plan as CSV (RFC 4180), with the train and the place that keep a stretch clean."""
    return csv_text(HEADS, map(_cells, found.rows))


def _cells(row: Row) -> tuple[Cell, ...]:
    unit, forced = row.unit, row.reason
    why: tuple[Cell, ...] = (None,) * 4
    if forced is not None:
        why = (forced.train, forced.test, rounded(forced.head), rounded(forced.short))
    return (unit.name, unit.line, rounded(unit.start), rounded(unit.stop), rounded(unit.length), row.use, *why)
