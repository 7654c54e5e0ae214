"""Railheads found by leveling, and corrected surveys, as tables for a spreadsheet."""

from __future__ import annotations

from typing import NamedTuple

from gradehaul.design.level.railheads import Leveled, StationHeight
from gradehaul.design.level.risers import CorrectedSurveys, Riser
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.spreadsheet import table


class _Surveyed(NamedTuple):
    survey: str
    riser: Riser


def level_csv(found: Leveled, reader: Reader | None) -> str:
    """Return the stations as CSV (RFC 4180)."""
    return table(StationHeight, "line at string railhead free", found.rows, reader)


def risers_csv(found: CorrectedSurveys, reader: Reader | None) -> str:
    """Return the risers as CSV (RFC 4180); the grade is that to the next reading."""
    columns = "survey riser.riser riser.at riser.railhead riser.grade riser.spread riser.correction"
    rows = (_Surveyed(each.surveyed.name, riser) for each in found.surveys for riser in each.risers)
    return table(_Surveyed, columns, rows, reader)
