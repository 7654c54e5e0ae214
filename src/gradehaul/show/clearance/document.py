"""Clearances as one JSON document."""

from __future__ import annotations

import json
from typing import Any

from gradehaul import __version__
from gradehaul.design.clearance.findings import Clearances
from gradehaul.design.clearance.rules import Finding
from gradehaul.show.base.digits import rounded


def clearance_json(found: Clearances) -> str:
    """Return the answer as JSON text in plain ASCII, ending with a line break; lengths in m, shares as ratios."""
    standard = found.standard
    document: dict[str, Any] = {
        "gradehaul": __version__,
        "plan": found.plan.title,
        "file": found.plan.file,
        "passes": found.passes,
        "complete": found.complete,
        "not_checked": [{"what": each.what, "reason": each.reason} for each in found.unchecked],
        "counts": {outcome: found.count(outcome) for outcome in ("pass", "look", "fail")},
        "standard": {
            "clear_height_m": rounded(standard.height),
            "clear_height_source": standard.height_source,
            "deck_m": rounded(standard.deck),
            "deck_assumed": standard.deck_assumed,
            "overhead_line_m": rounded(standard.overhead),
            "overhead_line_assumed": standard.overhead_assumed,
            "track_centers_m": rounded(standard.spacing.straight),
            "track_centers_source": standard.spacing.straight_source,
            "curve_centers_source": standard.spacing.curve_source,
            "fouling_distance_m": rounded(standard.spacing.fouling),
            "stock_group": standard.spacing.group,
            "stock_class": standard.spacing.stock_class,
            "longest_stock_m": None if standard.longest is None else rounded(standard.longest),
            "coupler_height_m": rounded(standard.coupler),
        },
        "places": [{"number": number, **_place(finding, found)} for number, finding in enumerate(found.ranked(), 1)],
        "notes": [{"place": note.place, "text": note.text} for note in found.notes],
    }
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def _place(finding: Finding, found: Clearances) -> dict[str, Any]:
    tracks = found.plan.tracks
    end = "m" if finding.kind == "length" else "share"
    return {
        "rule": finding.rule,
        "outcome": finding.outcome,
        "track": tracks[finding.track].name if finding.track in tracks else finding.track,
        "at_m": rounded(finding.at),
        "other_track": tracks[finding.other].name if finding.other in tracks else None,
        "other_at_m": None if finding.other_at is None else rounded(finding.other_at),
        "train": finding.train or None,
        "head_at_m": None if finding.head_at is None else rounded(finding.head_at),
        f"value_{end}": rounded(finding.value),
        f"passes_{end}": rounded(finding.wanted),
        f"fails_{end}": rounded(finding.least),
        "words": finding.words,
        "source": finding.source,
    }
