"""Words of the trade for which a plan has another: what to write instead of a key or a table of such a name."""

from __future__ import annotations

KEYS = {
    "weight": "mass",
    "tyres": "tyred_wheels",
    "tires": "tyred_wheels",
    "tired_wheels": "tyred_wheels",
    "rubber_tyres": "tyred_wheels",
    "rubber_tires": "tyred_wheels",
    "traction_tyres": "tyred_wheels",
    "traction_tires": "tyred_wheels",
    "traction_wheels": "tyred_wheels",
    "wheels": "driven_wheels",
    "drivers": "driven_wheels",
    "gradient": "grade",
    "slope": "grade",
    "height": "railhead",
    "cars": "consist",
}
TABLES = {
    "switch": "turnout",
    "point": "turnout",
    "points": "turnout",
    "locomotive": "loco",
    "engine": "loco",
    "wagon": "car",
    "carriage": "car",
    "coach": "car",
    "track": "line",
    "film": "rail",
}
