"""Vertices to the chain of fewest straights and arcs, each the tangent of the next, that holds at them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.chain_checks import flattened, true_to_chords, without_slivers
from gradehaul.plan.drawing.chain_guess import SPACING, first_guess, thinned
from gradehaul.plan.drawing.chain_simplifying import simplified
from gradehaul.plan.drawing.fit_limits import SYSTEMATIC, Fit, noise_of
from gradehaul.plan.drawing.settling import settle
from gradehaul.plan.drawing.tangent_arcs import Arcs, joined

FloatArray = NDArray[np.float64]


GUESS_ROUNDS = 15
"""The most steps of a first guess: one of too many elements settles slowly, and most of them are left out anyway."""
MANY = 1000
"""Up to this many vertices of a run, all count in finding out how many elements there are."""


def chain(points: FloatArray, fit: Fit, price: float, *, closed: bool) -> Arcs | None:
    """Return the chain of fewest elements found for the vertices, or None where none settles.

    `points` of a closed chain do not repeat the first. The scatter of the ends themselves has no say in how many
    elements there are: only then is an open chain held to them.
    """
    noise = fit.noise
    some, kept = points, np.arange(len(points))
    if len(points) > MANY:  # fewer will do to find out how many elements there are
        some, kept = thinned(points, 2 * SPACING * fit.tolerance)
    for _ in range(2):
        guess = first_guess(some, fit._replace(noise=noise), price, closed=closed)
        if guess is None:
            return None
        arcs = settle(some, guess, closed=closed, hold="beside", rounds=GUESS_ROUNDS)
        count = 0
        while count != arcs.count:  # once settled as a whole, more may turn out needless
            count = arcs.count
            arcs = simplified(some, arcs, fit._replace(noise=noise), closed=closed)
        arcs = flattened(some, arcs, fit, closed=closed)
        seen = min(noise_of(arcs, fit.tolerance, closed=closed), fit.tolerance / 4)
        if not noise > 2 * max(seen, fit.tolerance * SYSTEMATIC):
            break
        noise = seen  # the joints had passed for scatter: look again with a keener eye
    total = len(some)
    if closed:
        first = kept[arcs.first % total] + arcs.first // total * len(points)
    else:
        first = np.append(kept, len(points))[arcs.first]
        first[[0, -1]] = 0, len(points)
    return finished(points, replace(arcs, first=first), fit, closed=closed)


def finished(points: FloatArray, arcs: Arcs, fit: Fit, *, closed: bool) -> Arcs | None:
    """Return a chain settled on all vertices and the drawn ends, after the last checks; None where it comes apart."""
    arcs = _checked(points, arcs, fit, closed=closed)
    # Settled so far, more may turn out needless. Each time there are fewer elements, or as many with fewer curves.
    while (fewer := simplified(points, arcs, fit, closed=closed)) is not arcs:
        arcs = _checked(points, fewer, fit, closed=closed)
    return arcs if joined(arcs, closed=closed) else None


def _checked(points: FloatArray, arcs: Arcs, fit: Fit, *, closed: bool) -> Arcs:
    arcs = settle(points, arcs, closed=closed)
    if not closed:
        arcs = without_slivers(points, arcs, fit)
    return true_to_chords(points, arcs, fit, closed=closed)
