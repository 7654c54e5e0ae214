"""The numbers along a route as CSV, for a spreadsheet."""

from __future__ import annotations

from gradehaul.haulage.stretches import Element
from gradehaul.haulage.views.section import LongSection
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.spreadsheet import table


def profile_csv(section: LongSection, reader: Reader | None) -> str:
    """Return the elements of a route as CSV (RFC 4180), a row each; curvature is positive for left."""
    columns = (
        "from=start to=stop track grade_from=grade.0 grade_to=grade.1 hand radius curvature_from=curvature.0 "
        "curvature_to=curvature.1 effective_from=effective.0 effective_to=effective.1 railhead"
    )
    return table(Element, columns, section.elements, reader)
