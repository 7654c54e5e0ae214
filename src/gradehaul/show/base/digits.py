"""Digits: how exactly documents tell a number."""

from __future__ import annotations

DIGITS = 6
"""Digits of a number that count: beyond what any bench can tell, and few enough to be the same on every machine."""


def rounded(value: float) -> float:
    """Return a number to six digits that count, and what is only rounding as 0.

    Examples
    --------
    >>> rounded(0.0123456789), rounded(-3e-17)
    (0.0123457, 0.0)
    """
    return 0.0 if abs(value) < 1e-12 else float(f"{value:.{DIGITS}g}")
