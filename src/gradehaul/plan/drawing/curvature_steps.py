"""Where the curvature of a drawn polyline steps: the fewest steps that explain its vertices."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

PRICE = 14.0
"""What a step of curvature costs, in squares of the scatter: near twice the logarithm of a thousand vertices."""
SHARPEST = 300.0
"""The radius, in tolerances, of a step as large as any: 15 gauges with the plan's own tolerance."""
ROUNDS = 36
"""Rounds of reweighting, over which a step comes to cost the same whatever its size."""
FINEST = 400.0
"""How much smaller than the largest step the least is that still counts as one."""


class Steps(NamedTuple):
    """Curvature of each chord, 1/m; where it steps; and the smoothed vertices and headings there.

    `at` holds the vertices where the curvature changes, without the two ends. `shift` is how far each vertex is moved
    to the left, m. `heading` is the direction at each vertex, radians, unwrapped.
    """

    curvature: FloatArray
    at: IntArray
    shift: FloatArray
    heading: FloatArray


def turns(points: FloatArray) -> FloatArray:
    """Return the turn of a polyline at each inner vertex, radians, within ±π, shape (n - 2,)."""
    along = np.diff(points, axis=0)
    cross = along[:-1, 0] * along[1:, 1] - along[:-1, 1] * along[1:, 0]
    dot = (along[:-1] * along[1:]).sum(axis=1)
    return np.arctan2(cross, dot)


def scatter(points: FloatArray) -> float:
    """Return how far vertices stray sideways from smooth curves, m (standard deviation), by their turns alone.

    Four vertices on one circle turn at one rate at the two inner ones; how much the rates differ shows the scatter.
    Most of a drawing's sets of four that straddle a joint differ for another reason, so the estimate rests on the
    fifth of them that differ least.
    """
    if len(points) < 6:
        return 0.0
    chord = np.hypot(*np.diff(points, axis=0).T)
    turn = turns(points)
    mean = (chord[:-1] + chord[1:]) / 2
    rate = turn / mean
    # Weights of the four vertices' displacements in the difference of the two rates.
    before, middle, after = chord[:-2], chord[1:-1], chord[2:]
    left, right = mean[:-1], mean[1:]
    weight = np.stack(
        (
            -1 / (before * left),
            (1 / before + 1 / middle) / left + 1 / (middle * right),
            -1 / (middle * left) - (1 / middle + 1 / after) / right,
            1 / (after * right),
        )
    )
    stray = np.abs(np.diff(rate)) / np.sqrt((weight**2).sum(axis=0))
    return float(np.quantile(stray, 0.2)) / 0.2533  # a fifth of a normal sample lies within 0.2533 deviations


def steps(points: FloatArray, *, noise: float, tolerance: float, price: float = PRICE) -> Steps:
    """Return the curvature along a smooth polyline as a staircase of few steps.

    The turn at a vertex is the curvature of the two chords beside it, each over half its length, once the vertex is
    moved sideways by its scatter. Minimized is Σ (shift / noise)² + Σ price × ln(1 + (step / ε)²) / ln(1 + (largest
    / ε)²), by solving a banded least squares with the steps reweighted, ε shrinking: at the end a step costs nearly
    the same whatever its size (iteratively reweighted least squares).

    Parameters
    ----------
    points
        Vertices, m, shape (n, 2), n at least 3, no two in a row the same.
    noise
        How far a vertex may stray, m (standard deviation).
    tolerance
        Sets the scale of the largest step, m.
    price
        What a step costs.
    """
    from scipy.linalg import solveh_banded

    count = len(points)
    along = np.diff(points, axis=0)
    chord = np.hypot(*along.T)
    turn = turns(points)
    largest = 1 / (SHARPEST * tolerance)
    # Unknowns in turn: shift of vertex i in units of noise, curvature of chord i in units of the largest step.
    size = 2 * count - 1
    before, after = chord[:-1], chord[1:]
    stiff = 300.0 * np.minimum(before, after) / noise
    # Moving vertex i to the left by e turns the chords beside it by e over their lengths.
    rows = np.stack(
        (
            -noise / before,
            before * largest / 2,
            noise * (1 / before + 1 / after),
            after * largest / 2,
            -noise / after,
        )
    )
    rows *= stiff
    wanted = turn * stiff
    band = np.zeros((5, size))
    right = np.zeros(size)
    inner = 2 * np.arange(count - 2)
    for i in range(5):
        np.add.at(right, inner + i, rows[i] * wanted)
        for j in range(i + 1):
            np.add.at(band[i - j], inner + j, rows[i] * rows[j])
    band[0, 0::2] += 1.0
    band[0, 1::2] += 1e-9
    curvature = np.zeros(count - 1)
    solution = np.zeros(size)
    for round_ in range(ROUNDS):
        fine = FINEST ** (-min(1.0, round_ / (ROUNDS - 6)))
        jump = np.diff(curvature)
        weight = (price / np.log1p(1 / fine**2)) / (jump**2 + fine**2)
        full = band.copy()
        full[0, 1:-2:2] += weight
        full[0, 3::2] += weight
        full[2, 1:-2:2] -= weight
        solution = solveh_banded(full, right, lower=True, check_finite=False)
        curvature = solution[1::2]
    shift = solution[0::2] * noise
    at = np.flatnonzero(np.abs(np.diff(curvature)) > 0.5 / FINEST) + 1
    curvature = curvature * largest
    normal = np.column_stack((-along[:, 1], along[:, 0])) / chord[:, None]
    aside = np.zeros_like(points)
    aside[:-1] += normal
    aside[1:] += normal
    aside /= np.hypot(*aside.T)[:, None]
    moved = points + shift[:, None] * aside
    direction = np.concatenate(([0.0], np.cumsum(turns(moved))))
    first = moved[1] - moved[0]
    direction += np.arctan2(first[1], first[0])
    heading = np.append(direction - curvature * chord / 2, direction[-1] + curvature[-1] * chord[-1] / 2)
    return Steps(curvature, at, shift, heading)
