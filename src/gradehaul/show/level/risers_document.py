"""Surveyed hills and their corrections as one JSON document, or as a table for a spreadsheet."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from gradehaul import __version__
from gradehaul.design.level.risers import Corrections
from gradehaul.design.level.survey import Steep
from gradehaul.plan.records import Plan
from gradehaul.show.base.digits import rounded
from gradehaul.show.base.spreadsheet import csv_text

HEADS = ("survey", "riser", "at_m", "railhead_m", "grade_pct", "spread_pct", "correction_m")


def risers_json(plan: Plan, found: Sequence[Corrections]) -> str:
    """Return the answer as JSON text in plain ASCII, ending with a line break."""
    document: dict[str, Any] = {
        "gradehaul": __version__,
        "plan": plan.title,
        "file": plan.file,
        "surveys": [
            {
                "name": each.surveyed.name,
                "reading_m": rounded(each.surveyed.reading),
                "reading_assumed": each.surveyed.reading_assumed,
                "even_pct": rounded(100 * each.surveyed.even_grade),
                "target_pct": rounded(100 * each.target),
                "reached_pct": rounded(100 * each.reached),
                "met": each.met,
                "step_m": rounded(each.step),
                "largest_shim_m": rounded(each.shim),
                "total_m": rounded(each.total),
                "steeper_before": [_steep(steep) for steep in each.before],
                "steeper_after": [_steep(steep) for steep in each.after],
                "risers": [dict(zip(HEADS[1:], row, strict=True)) for row in _rows(each)],
            }
            for each in found
        ],
    }
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def risers_csv(found: Sequence[Corrections]) -> str:
    """Return the risers as CSV (RFC 4180); the grade is that to the next reading."""
    return csv_text(HEADS, ((each.surveyed.name, *row) for each in found for row in _rows(each)))


def _rows(found: Corrections) -> list[tuple[float | None, ...]]:
    hill = found.surveyed
    grades = [*(rounded(100 * grade) for grade in hill.grades.tolist()), None]
    spreads = [*(rounded(100 * spread) for spread in hill.spreads.tolist()), None]
    return [
        (number, rounded(where), rounded(height), grade, spread, rounded(correction))
        for number, where, height, grade, spread, correction in zip(
            range(1, len(found.steps) + 1),
            hill.distance.tolist(),
            hill.height.tolist(),
            grades,
            spreads,
            found.corrections.tolist(),
            strict=True,
        )
    ]


def _steep(steep: Steep) -> dict[str, Any]:
    return {
        "from_m": rounded(steep.start),
        "to_m": rounded(steep.stop),
        "grade_pct": rounded(100 * steep.grade),
        "spread_pct": rounded(100 * steep.spread),
        "sure": steep.sure,
    }
