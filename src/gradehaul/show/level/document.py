"""Railheads found by leveling as one JSON document, or as a table for a spreadsheet."""

from __future__ import annotations

import json
from typing import Any

from gradehaul import __version__
from gradehaul.design.level.railheads import ActiveLimit, Leveled
from gradehaul.show.base.digits import rounded
from gradehaul.show.base.spreadsheet import csv_text

HEADS = ("line", "at_m", "string_m", "railhead_m", "free")


def level_json(found: Leveled) -> str:
    """Return the answer as JSON text in plain ASCII, ending with a line break."""
    document: dict[str, Any] = {
        "gradehaul": __version__,
        "plan": found.plan.title,
        "file": found.plan.file,
        "trains": [
            {
                "name": each.train,
                "string_pct": rounded(100 * each.even),
                "leveled_pct": rounded(100 * each.leveled),
                "cars": each.cars,
                "at_m": rounded(each.head),
                "track": each.track,
                "binds": [
                    {
                        "rule": binding.rule,
                        "where": list(binding.where),
                        **_limit(binding),
                        "lower_pct": None if binding.lower is None else rounded(100 * binding.lower),
                    }
                    for binding in each.binds
                ],
            }
            for each in found.hardest
        ],
        "joints": {name: rounded(height) for name, height in found.joints.items()},
        "stations": [dict(zip(HEADS, row, strict=True)) for row in _rows(found)],
    }
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def _limit(binding: ActiveLimit) -> dict[str, float | None]:
    """Return the figure that binds and, of a change of grade, the wider one that was tried."""
    if binding.limit is None:
        return {}
    if binding.rule != "change":
        return {"limit_m": rounded(binding.limit)}
    wider = None if binding.wider is None else rounded(100 * binding.wider)
    return {"limit_pct": rounded(100 * binding.limit), "wider_pct": wider}


def level_csv(found: Leveled) -> str:
    """Return the stations as CSV (RFC 4180)."""
    return csv_text(HEADS, _rows(found))


def _rows(found: Leveled) -> list[tuple[Any, ...]]:
    return [
        (
            line,
            rounded(float(distance[k])),
            rounded(float(found.even[number])),
            rounded(float(found.heights[number])),
            bool(found.stations.free[number]),
        )
        for line, (numbers, distance) in found.stations.lines.items()
        for k, number in enumerate(numbers.tolist())
    ]
