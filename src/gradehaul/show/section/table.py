"""The numbers along a route as a table for a spreadsheet."""

from __future__ import annotations

from gradehaul.haulage.stretches import Element
from gradehaul.haulage.views.section import LongSection
from gradehaul.show.base.digits import rounded
from gradehaul.show.base.spreadsheet import Cell, csv_text

HEADS = (
    "from_m",
    "to_m",
    "track",
    "grade_from_pct",
    "grade_to_pct",
    "hand",
    "radius_m",
    "curvature_from_per_m",
    "curvature_to_per_m",
    "effective_from_pct",
    "effective_to_pct",
    "railhead_m",
)
"""The columns; those of the JSON document where they tell the same. Curvature is positive for left."""


def profile_csv(section: LongSection) -> str:
    """Return the elements of a route as CSV (RFC 4180), a row each."""
    return csv_text(HEADS, map(_row, section.elements))


def _row(element: Element) -> tuple[Cell, ...]:
    return (
        rounded(element.start),
        rounded(element.stop),
        element.track,
        *(rounded(100 * grade) for grade in element.grade),
        element.hand,
        None if element.radius is None else rounded(element.radius),
        *map(rounded, element.curvature),
        *(rounded(100 * grade) for grade in element.effective),
        rounded(element.railhead),
    )
