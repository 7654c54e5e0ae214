"""Chords that may meet: which of them are near one another, and where two are nearest."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gradehaul.track.alignment import Alignment
from gradehaul.track.curvature import Section
from gradehaul.track.nearness import Chords
from gradehaul.track.piecewise import FloatArray
from gradehaul.track.plane import points

SAGITTA = 1 / 200
"""How far a chord may stray from its track while places are looked for, as a share of the fouling distance."""
LONGEST = 2.0
"""The longest such chord, in fouling distances."""


def closest(one: FloatArray, two: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return where chords are nearest one another: the shares of the way along both, and the distance there.

    The last is how far the one place lies along the rail from the foot of the other, on the chord where that is less.
    """
    d, e = one[:, 1] - one[:, 0], two[:, 1] - two[:, 0]
    off = one[:, 0] - two[:, 0]
    a, b, c = (d * d).sum(1), (d * e).sum(1), (e * e).sum(1)
    p, q = (d * off).sum(1), (e * off).sum(1)
    det = a * c - b * b
    inner = det > 1e-12 * a * c
    s = np.where(inner, (b * q - c * p) / np.where(inner, det, 1.0), 0.0)
    t = np.where(inner, (a * q - b * p) / np.where(inner, det, 1.0), 0.0)
    crosses = inner & (s >= 0) & (s <= 1) & (t >= 0) & (t <= 1)

    def onto(place: FloatArray, start: FloatArray, step: FloatArray, size: FloatArray) -> FloatArray:
        found: FloatArray = np.clip(((place - start) * step).sum(1) / size, 0.0, 1.0)
        return found

    zero, full = np.zeros_like(a), np.ones_like(a)
    options = [
        (s, t),
        (zero, onto(one[:, 0], two[:, 0], e, c)),
        (full, onto(one[:, 1], two[:, 0], e, c)),
        (onto(two[:, 0], one[:, 0], d, a), zero),
        (onto(two[:, 1], one[:, 0], d, a), full),
    ]
    gaps = np.stack([np.hypot(*(off + u[:, None] * d - v[:, None] * e).T) for u, v in options])
    gaps[0] = np.where(crosses, 0.0, np.inf)
    best = gaps.argmin(axis=0)
    row = np.arange(best.size)
    shares = np.stack([u for u, _ in options]), np.stack([v for _, v in options])
    u, v = shares[0][best, row], shares[1][best, row]
    apart = off + u[:, None] * d - v[:, None] * e
    slip = np.minimum(np.abs((apart * d).sum(1)) / np.sqrt(a), np.abs((apart * e).sum(1)) / np.sqrt(c))
    return u, v, gaps[best, row], slip
