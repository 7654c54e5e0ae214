"""Clearances as a table for a spreadsheet: a row for each place and rule."""

from __future__ import annotations

from typing import NamedTuple

from gradehaul.design.clearance.findings import Clearances, Place
from gradehaul.quantities import convert
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.spreadsheet import table


class _Judged(NamedTuple):
    place: Place
    value: float
    passes: float
    fails: float
    unit: str


_COLUMNS = (
    "place.number place.finding.rule place.finding.outcome place.track place.finding.at place.other_track "
    "other_at=place.finding.other_at place.train place.finding.head_at value passes fails in=unit place.finding.words "
    "place.finding.source"
)


def clearance_csv(found: Clearances, reader: Reader | None) -> str:
    """Return the answer as CSV (RFC 4180); figures are lengths or plain shares, as the column `in` says."""
    unit = "m" if reader is None else reader.length_unit

    def judged(place: Place) -> _Judged:
        finding = place.finding
        value, passes, fails = finding.value, finding.wanted, finding.least
        if finding.kind != "length":
            return _Judged(place, value, passes, fails, "share")
        return _Judged(place, convert(value, unit), convert(passes, unit), convert(fails, unit), unit)

    return table(_Judged, _COLUMNS, map(judged, found.places), reader)
