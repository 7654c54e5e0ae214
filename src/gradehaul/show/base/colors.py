"""The colors of things, the same in every picture; each is distinct in gray too, by width, dashes or hatches."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gradehaul.haulage.verdict import Outcome

INK, FAINT = "#1a1a1a", "#8a8a8a"

OUTCOME_COLORS: Mapping[Outcome, str] = {
    "stalls": "#9c2f1b",
    "runs away": "#9c2f1b",
    "too long": "#9c2f1b",
    "marginal": "#805100",
    "climbs": "#2c6238",
}
"""An outcome, as on the page: red fails, amber is marginal, and only green climbs."""

SHORT, SPARE = "#f2b8b5", "#dcebdf"
"""The gap between pull and demand, where the pull falls short and where it has some to spare."""

EARTH, PALE_EARTH = "#e4d8c3", "#f3ede2"
"""Below the rail, and every other track of a band."""

CURVED, PALE_CURVED = "#6a51a3", "#e4def2"
"""Curves, and what they add."""

VERTICAL = "#56b4e9"
"""Vertical curves."""

FILM, PALE_FILM = "#0057a8", "#cfe6f5"
"""Track with film, and the ground under its dashes."""

EVEN = "#0057a8"
"""What was there before: even heights, measured ones."""

RAILS: tuple[tuple[str, Any], ...] = (
    ("#0072b2", "-"),
    ("#d55e00", (0, (6, 2))),
    ("#a3527f", (0, (6, 2, 1.2, 2))),
    ("#00775a", (0, (3, 1.5))),
    ("#7a6000", (0, (8, 2, 1.2, 2, 1.2, 2))),
)
"""Color and dashes of the rail conditions in turn: Okabe and Ito's palette, some darker so that thin lines show."""
