"""Corrections as a ruler shows them: fractions of an inch, or halves of a millimeter."""

from __future__ import annotations

from fractions import Fraction

_INCH = 0.0254


def told_correction(steps: int, step: float) -> str:
    """Return a correction in words: how far, and whether up or down; lengths of a step in m.

    Fractions of an inch are told as such where the step is one; else millimeters are.

    Examples
    --------
    >>> told_correction(6, 0.0254 / 32), told_correction(-40, 0.0254 / 32), told_correction(3, 0.0005)
    ('3/16 in up', '1 1/4 in down', '1.5 mm up')
    >>> told_correction(0, 0.0005)
    'leave'
    """
    if not steps:
        return "leave"
    way = "up" if steps > 0 else "down"
    part = Fraction(step / _INCH).limit_denominator(128)
    if abs(float(part) * _INCH - step) > 1e-9:
        return f"{abs(steps) * step * 1000:.4g} mm {way}"
    whole, rest = divmod(abs(steps) * part, 1)
    return f"{' '.join(str(each) for each in (whole, rest) if each)} in {way}"
