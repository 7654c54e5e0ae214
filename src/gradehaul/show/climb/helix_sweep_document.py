"""A sweep of helices as JSON, grid by grid, and as CSV, a row for each design, power and rail condition."""

from __future__ import annotations

import json

import numpy as np

from gradehaul.design.climb.helix import GUARD
from gradehaul.design.climb.helix_sweep import Sweep
from gradehaul.show.base.digits import rounded
from gradehaul.show.base.spreadsheet import csv_text

HEADS = (
    "power",
    "rail",
    "car",
    "radius_m",
    "rise_per_turn_m",
    "grade_pct",
    "effective_pct",
    "cars",
    "exact",
    "low",
    "steep",
    "stalled",
)
_DIGITS = 6


def sweep_json(found: Sweep) -> str:
    """Return a sweep as JSON text: arrays with a row for each rise per turn and a column for each radius.

    ``cars`` has such an array for each power and rail; ``exact`` tells where no longer train climbs for sure. What
    forbids a design is true in ``low``, ``steep`` or, where a train is named, ``stalled``.
    """
    document = {
        "sweep": {
            "radii_m": [rounded(each) for each in found.radii.tolist()],
            "rises_per_turn_m": [rounded(each) for each in found.rises.tolist()],
            "grade_pct": np.round(100 * found.grade, _DIGITS).tolist(),
            "effective_pct": np.round(100 * found.effective, _DIGITS).tolist(),
            "car": found.car,
            "cars": [
                {
                    "power": power,
                    "rail": rail,
                    "cars": found.cars[i, j].tolist(),
                    "exact": found.exact[i, j].tolist(),
                }
                for i, power in enumerate(found.powers)
                for j, rail in enumerate(found.rails)
            ],
            "steepest_pct": rounded(100 * found.steepest),
            "low": found.low.tolist(),
            "steep": found.steep.tolist(),
            "train": found.train,
            "judged": list(found.judged),
            "stalled": None if found.train is None else found.stalled.tolist(),
        },
        "care": GUARD,
    }
    return json.dumps(document, allow_nan=False) + "\n"


def sweep_csv(found: Sweep) -> str:
    """Return a sweep as CSV (RFC 4180); lengths in m, grades in per cent, what forbids a design as 1."""
    radius, rise = np.meshgrid(found.radii, found.rises)
    figures = (radius, rise, 100 * found.grade, 100 * found.effective)
    same = [np.round(each, _DIGITS).ravel().tolist() for each in figures]
    marks = [each.astype(int).ravel().tolist() for each in (found.low, found.steep, found.stalled)]
    rows = (
        (power, rail, found.car, *cells)
        for i, power in enumerate(found.powers)
        for j, rail in enumerate(found.rails)
        for cells in zip(
            *same,
            found.cars[i, j].ravel().tolist(),
            found.exact[i, j].astype(int).ravel().tolist(),
            *marks,
            strict=True,
        )
    )
    return csv_text(HEADS, rows)
