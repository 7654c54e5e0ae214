"""The keep-clean plan as one JSON document."""

from __future__ import annotations

import json
import math
from typing import Any, get_args

from gradehaul import __version__
from gradehaul.show.base.digits import rounded
from gradehaul.show.check.document import verdict_document
from gradehaul.treatment.keep_clean import KeepCleanPlan, Row, Use


def treat_json(found: KeepCleanPlan) -> str:
    """Return the plan as JSON text in plain ASCII, ending with a line break; keys as in `check_json`."""
    document = {
        "gradehaul": __version__,
        "plan": found.plan.title,
        "file": found.plan.file,
        **treat_document(found),
    }
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def treat_document(found: KeepCleanPlan) -> dict[str, Any]:
    """Return what the document tells of the film."""
    asked = found.options
    return {
        "film": found.film,
        "need": asked.need,
        "reserve_pct": rounded(100 * asked.reserve),
        "carry_m": rounded(asked.carry),
        "step_m": None if asked.step is None else rounded(asked.step),
        "found": not found.beyond,
        "depends_on_carry": found.depends_on_carry,
        "gap_pct": None if math.isinf(found.gap) else rounded(100 * found.gap),
        "proven": found.gap == 0,
        "need_film": list(found.need_film),
        "totals_m": {use: rounded(found.length(use)) for use in get_args(Use)},
        "tracks": [_row(row, found) for row in found.rows],
        "trains": [
            {
                "name": train.name,
                "route": train.route,
                "planned": verdict_document(train.planned, train.misfits),
                "everywhere": verdict_document(train.everywhere, train.misfits),
            }
            for train in found.trains
        ],
        "beyond": [
            {
                "train": place.train,
                "test": place.test,
                "at_m": rounded(place.head),
                "track": place.track,
                "short_n": rounded(place.short),
            }
            for place in found.beyond
        ],
    }


def _row(row: Row, found: KeepCleanPlan) -> dict[str, Any]:
    unit, forced, carried = row.unit, row.reason, row.carried
    return {
        "track": unit.name,
        "line": unit.line,
        "from_m": rounded(unit.start),
        "to_m": rounded(unit.stop),
        "use": row.use,
        "forced_by": None
        if forced is None
        else {
            "train": forced.train,
            "test": forced.test,
            "at_m": rounded(forced.head),
            "track": forced.track,
            "on": {"track": forced.on.track, "at_m": rounded(forced.on.along)},
            "short_n": rounded(forced.short),
        },
        "carried_to": None
        if carried is None
        else {"track": found.rows[carried.onto].unit.name, "distance_m": rounded(carried.distance)},
    }
