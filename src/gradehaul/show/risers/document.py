"""Risers as one JSON document, or as CSV, for a spreadsheet."""

from __future__ import annotations

import json
from typing import Any

from gradehaul import __version__
from gradehaul.design.risers.risers import Riser, Risers
from gradehaul.quantities import convert
from gradehaul.quantities.document import rounded
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.spreadsheet import csv_text

_LENGTHS = ("at", "after", "railhead", "top", "cut", "residual", "change", "block")


def risers_json(found: Risers) -> str:
    """Return the risers as JSON text in plain ASCII; lengths in m, as their names say."""
    build, plan = found.build, found.walk.layout.plan
    document: dict[str, Any] = {
        "gradehaul": __version__,
        "plan": plan.title,
        "along": found.walk.name,
        "length_m": rounded(found.walk.length),
        "every_m": rounded(found.every),
        "from_m": rounded(found.begin),
        "deck_m": rounded(build.deck),
        "roadbed_m": rounded(build.roadbed),
        "track_m": rounded(build.track),
        "datum_m": None if build.datum is None else rounded(build.datum),
        "rule_m": rounded(build.rule),
        "level_m": rounded(build.level),
        "risers": [_riser(riser) for riser in found.risers],
    }
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def _riser(riser: Riser) -> dict[str, Any]:
    lengths = {f"{name}_m": getattr(riser, name) for name in _LENGTHS}
    return {
        "number": riser.number,
        "joint": riser.joint,
        "track": riser.track,
        **{name: None if value is None else rounded(value) for name, value in lengths.items()},
        "low_end": riser.low_end,
        "beside": [
            {"line": each.line, "offset_m": rounded(each.offset), "railhead_m": rounded(each.railhead)}
            for each in riser.beside
        ],
    }


def risers_csv(found: Risers, reader: Reader | None) -> str:
    """Return the risers as CSV (RFC 4180), lengths in the unit of the reader, or in m."""
    unit = "m" if reader is None else reader.length_unit
    heads = ("riser", "joint", "track", *(f"{name}_{unit}" for name in _LENGTHS), "low_end")
    rows = (
        (
            riser.number,
            riser.joint,
            riser.track,
            *(None if (value := getattr(riser, name)) is None else rounded(convert(value, unit)) for name in _LENGTHS),
            riser.low_end,
        )
        for riser in found.risers
    )
    return csv_text(heads, rows)
