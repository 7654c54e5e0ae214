"""Lengths as a rule shows them: fractions of an inch, or millimeters and their parts."""

from __future__ import annotations

from fractions import Fraction

_INCH = 0.0254


def on_rule(length: float, step: float) -> str:
    """Return a length to the nearest step of a rule, both in m.

    Where the step is a fraction of an inch so is the length, else it is in millimeters.

    Examples
    --------
    >>> on_rule(0.0454, 0.0254 / 32), on_rule(-0.0032, 0.0254 / 16), on_rule(0.0454, 0.0005)
    ('1 25/32 in', '-1/8 in', '45.5 mm')
    >>> on_rule(0.0, 0.0254 / 32)
    '0 in'
    """
    steps = round(length / step)
    part = Fraction(step / _INCH).limit_denominator(128)
    sign = "-" if steps < 0 else ""
    if abs(float(part) * _INCH - step) > 1e-9:
        return f"{sign}{round(abs(steps) * step * 1000, 4):.10g} mm"
    whole, rest = divmod(abs(steps) * part, 1)
    return f"{sign}{' '.join(str(each) for each in (whole, rest) if each) or '0'} in"
