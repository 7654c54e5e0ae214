"""What to do about trains that do not climb, as part of the JSON document of the main job."""

from __future__ import annotations

from typing import Any

from gradehaul.show.check_json import rounded
from gradehaul.treatment.ways_over import WaysOver


def ways_over_document(way: WaysOver) -> dict[str, Any]:
    """Return the ways over the hill for one train: counts of cars, places of its head in m."""
    return {
        "train": way.train,
        "rail": way.rail,
        "cars": way.cars,
        "leave_cars": way.leave,
        "doubling": None
        if way.double is None
        else {
            "front_cars": way.double.front,
            "rear_cars": way.double.rear,
            "foot_holds": way.double.foot_holds,
            "summit_holds": way.double.summit_holds,
        },
        "helpers": [
            {
                "loco": each.loco,
                "where": each.where,
                "enough": each.enough,
                "districts": [
                    {"on": d.on, "on_m": rounded(d.on_at), "off": d.off, "off_m": rounded(d.off_at)}
                    for d in each.districts
                ],
            }
            for each in way.help
        ],
    }
