"""A sweep of helices as a table for a spreadsheet: a row for each design, power and rail condition."""

from __future__ import annotations

import numpy as np

from gradehaul.design.climb.helix_sweep import Sweep
from gradehaul.quantities import convert
from gradehaul.quantities.si import METER
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.spreadsheet import csv_text, head

_DIGITS = 6


def sweep_csv(found: Sweep, reader: Reader | None) -> str:
    """Return a sweep as CSV (RFC 4180); grades in per cent, what forbids a design as 1."""
    unit = "m" if reader is None else reader.length_unit
    lengths = [head(name, METER, unit) for name in ("radius", "rise_per_turn")]
    heads = ("power", "rail", "car", *lengths, "grade_pct", "effective_pct", "cars", "exact", "low", "steep", "stalled")
    radius, rise = (convert(1.0, unit) * each for each in np.meshgrid(found.radii, found.rises))
    figures = (radius, rise, 100 * found.grade, 100 * found.effective)
    same = [np.round(each, _DIGITS).ravel().tolist() for each in figures]
    marks = [each.astype(int).ravel().tolist() for each in (found.low, found.steep, found.stalled)]
    rows = (
        (each.power, each.rail, found.car, *cells)
        for each in found.counted
        for cells in zip(
            *same, each.cars.ravel().tolist(), each.exact.astype(int).ravel().tolist(), *marks, strict=True
        )
    )
    return csv_text(heads, rows)
