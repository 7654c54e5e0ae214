"""The keep-clean plan as a table for a spreadsheet: a row for each stretch of track."""

from __future__ import annotations

import csv
import io

from gradehaul.show.check_csv import harmless
from gradehaul.show.digits import rounded
from gradehaul.treatment.keep_clean import KeepCleanPlan

HEADS = ("track", "line", "from_m", "to_m", "length_m", "use", "train", "test", "at_m", "short_n")


def treat_csv(found: KeepCleanPlan) -> str:
    """Return the plan as CSV (RFC 4180), with the train and the place that keep a stretch clean."""
    stream = io.StringIO()
    table = csv.writer(stream)
    table.writerow(HEADS)
    for row in found.rows:
        unit, forced = row.unit, row.forced
        why = (None,) * 4
        if forced is not None:
            why = (forced.train, forced.test, rounded(forced.head), rounded(forced.short))  # type: ignore[assignment]
        cells = (unit.name, unit.line, rounded(unit.start), rounded(unit.stop), rounded(unit.length), row.use, *why)
        table.writerow([harmless(cell) for cell in cells])
    return stream.getvalue()
