"""The pulls from readings as CSV, for a spreadsheet."""

from __future__ import annotations

from typing import Literal, NamedTuple

from gradehaul.haulage.answers.readings import ReadingsAnswer
from gradehaul.quantities.si import Newtons
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.spreadsheet import table


class _Pull(NamedTuple):
    loco: str
    rail: str
    state: str
    basis: Literal["measured", "predicted"]
    readings: int
    pull: Newtons
    low: Newtons
    high: Newtons
    scatter: Newtons | None
    error: Newtons


def readings_csv(answer: ReadingsAnswer, reader: Reader | None) -> str:
    """Return the pulls as CSV (RFC 4180): a row for each locomotive, rail and state, measured and predicted."""
    rows = [
        _Pull(row.loco, row.rail, row.state, "measured", row.count, row.mean, row.low, row.high, row.scatter, row.error)
        for row in answer.bench.rows
    ]
    rows += [
        _Pull(each.loco, each.rail, "standing", "predicted", 0, pull.value, pull.low, pull.high, None, each.deviation)
        for each in answer.predictions
        for pull in [each.pull]
    ]
    return table(_Pull, " ".join(_Pull._fields), rows, reader)
