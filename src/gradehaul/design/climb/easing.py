"""Easements: where a curve wants them, and how far they move it."""

from __future__ import annotations

from gradehaul.scales import Scale

UNEASED = 60.0
"""Radius over gauge beyond which no transition curve is needed (NEM 113, read)."""

WANTED = "Easements would help: none are needed only where the radius is over 60 x gauge (NEM 113)."


def wants_easement(radius: float, scale: Scale) -> bool:
    """Return whether a curve of a radius, m, wants easements by NEM 113.

    Examples
    --------
    >>> from gradehaul.scales import scale_named
    >>> wants_easement(0.989, scale_named("H0")), wants_easement(0.991, scale_named("H0"))
    (True, False)
    """
    return radius <= UNEASED * scale.gauge


def easement_shift(ease: float, radius: float) -> float:
    """Return how far easements of a length move their curve inward, m: e² / 24 R (textbooks).

    Examples
    --------
    >>> round(1000 * easement_shift(0.3, 0.6), 3)
    6.25
    """
    return ease**2 / (24 * radius)
