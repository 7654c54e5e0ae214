"""The pulls that readings tell as a table for a spreadsheet."""

from __future__ import annotations

from gradehaul.haulage.answers.readings import ReadingsAnswer
from gradehaul.show.base.digits import rounded
from gradehaul.show.base.spreadsheet import Cell, csv_text

HEADS = ("loco", "rail", "state", "basis", "readings", "pull_n", "low_n", "high_n", "scatter_n", "error_n")
"""The columns; those of the JSON document where they tell the same. `basis` is measured or predicted."""


def readings_csv(answer: ReadingsAnswer) -> str:
    """Return the pulls as CSV (RFC 4180): a row for each locomotive, rail and state, measured and predicted."""
    rows: list[tuple[Cell, ...]] = [
        (
            row.loco,
            row.rail,
            row.state,
            "measured",
            row.count,
            *map(rounded, (row.mean, row.low, row.high, row.scatter, row.error)),
        )
        for row in answer.bench.rows
    ]
    rows += [
        (
            told.loco,
            told.rail,
            "standing",
            "predicted",
            0,
            *map(rounded, (told.pull.value, told.pull.low, told.pull.high)),
            None,
            rounded(told.deviation),
        )
        for told in answer.predictions
    ]
    return csv_text(HEADS, rows)
