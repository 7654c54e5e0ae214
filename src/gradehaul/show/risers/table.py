"""Risers as a table for a spreadsheet: a row for each."""

from __future__ import annotations

from gradehaul.design.risers.risers import Riser, Risers
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.spreadsheet import table


def risers_csv(found: Risers, reader: Reader | None) -> str:
    """Return the risers as CSV (RFC 4180), lengths in the unit of the reader, or in m."""
    columns = "riser=number joint track at after railhead top cut residual change block low_end"
    return table(Riser, columns, found.risers, reader)
