"""Clearances as a table for a spreadsheet: a row for each place and rule."""

from __future__ import annotations

from gradehaul.design.clearance.findings import Clearances
from gradehaul.show.base.digits import rounded
from gradehaul.show.base.spreadsheet import csv_text

HEADS = (
    "number",
    "rule",
    "outcome",
    "track",
    "at_m",
    "other_track",
    "other_at_m",
    "train",
    "head_at_m",
    "value",
    "passes",
    "fails",
    "in",
    "words",
    "source",
)


def clearance_csv(found: Clearances) -> str:
    """Return the answer as CSV (RFC 4180); figures in m or as plain shares, as the column `in` says."""
    tracks = found.plan.tracks
    rows = (
        (
            number,
            each.rule,
            each.outcome,
            tracks[each.track].name if each.track in tracks else each.track,
            rounded(each.at),
            tracks[each.other].name if each.other in tracks else None,
            None if each.other_at is None else rounded(each.other_at),
            each.train or None,
            None if each.head_at is None else rounded(each.head_at),
            rounded(each.value),
            rounded(each.wanted),
            rounded(each.least),
            "m" if each.kind == "length" else "share",
            each.words,
            each.source,
        )
        for number, each in enumerate(found.ranked(), 1)
    )
    return csv_text(HEADS, rows)
