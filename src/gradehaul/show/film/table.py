"""The keep-clean plan as a table for a spreadsheet: a row for each stretch of track."""

from __future__ import annotations

from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.spreadsheet import table
from gradehaul.treatment.keep_clean import KeepCleanPlan, Row


def treat_csv(found: KeepCleanPlan, reader: Reader | None) -> str:
    """Return the plan as CSV (RFC 4180), with the train and the place that keep a stretch clean."""
    columns = (
        "track=unit.name unit.line from=unit.start to=unit.stop unit.length use reason.train reason.test "
        "at=reason.head reason.short"
    )
    return table(Row, columns, found.rows, reader)
