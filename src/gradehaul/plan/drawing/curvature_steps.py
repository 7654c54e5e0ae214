"""Where the curvature of a drawn polyline steps: the fewest steps that explain its vertices."""

from __future__ import annotations

import math
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
KINK_PRICE = 1.25
"""What a kink costs, in steps: a curve, which takes a step in and a step out, is believed before two kinks are."""
LARGEST_KINK = 0.5
"""A kink as large as any, radians; the least that is told is a hundredth of it."""
FINEST = 400.0
"""How much smaller than the largest step the least is that still counts as one."""


class Steps(NamedTuple):
    """Curvature of each chord, 1/m; where it steps; and the smoothed vertices and headings there.

    `at` holds the vertices where the curvature changes, without the two ends. `shift` is how far each vertex is moved
    to the left, m. `heading` is the direction at each vertex, radians, unwrapped. `kink` is the break of direction at
    each inner vertex, radians, shape (n - 2,).
    """

    curvature: FloatArray
    at: IntArray
    shift: FloatArray
    heading: FloatArray
    kink: FloatArray


def turns(points: FloatArray) -> FloatArray:
    """Return the turn of a polyline at each inner vertex, radians, within ±π, shape (n - 2,)."""
    along = np.diff(points, axis=0)
    cross = along[:-1, 0] * along[1:, 1] - along[:-1, 1] * along[1:, 0]
    dot = (along[:-1] * along[1:]).sum(axis=1)
    return np.asarray(np.arctan2(cross, dot), dtype=np.float64)


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


def steps(points: FloatArray, *, noise: float, tolerance: float, price: float = PRICE, kinks: bool = False) -> Steps:
    """Return the curvature along a smooth polyline as a staircase of few steps.

    The turn at a vertex is the curvature of the two chords beside it, each over half its length, once the vertex is
    moved sideways by its scatter. Minimized is Σ (shift / noise)² + Σ price × ln(1 + (step / ε)²) / ln(1 + (largest
    / ε)²), and a like sum for kinks, turns at a single vertex, by iteratively reweighted least squares on a banded
    matrix. ε shrinks from round to round: at the end a step costs nearly the same whatever its size.

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
    kinks
        Whether the direction may break at vertices too.
    """
    from scipy.linalg.lapack import dpbsv

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
    curvature = np.zeros(count - 1)
    kink = np.zeros(count - 2)
    solution = np.zeros(size)
    last = 2 * (count - 2)
    tie = stiff**2
    for round_ in range(ROUNDS):
        shrink = -min(1.0, round_ / (ROUNDS - 6))
        fine, fine_kink = FINEST**shrink, LARGEST_KINK * 100.0**shrink
        jump = curvature[1:] - curvature[:-1]
        weight = price / math.log1p(1 / fine**2) / (jump**2 + fine**2)
        if kinks:
            # A kink that costs w b² beside a tie that costs v (miss - b)² leaves a tie that costs v w / (v + w) miss².
            kink_weight = KINK_PRICE * price / math.log1p((LARGEST_KINK / fine_kink) ** 2) / (kink**2 + fine_kink**2)
            tie = 1 / (1 / stiff**2 + 1 / kink_weight)
        if kinks or not round_:
            fixed, right = _fixed(rows, tie, turn)
        band = fixed.copy("F")
        band[0, 1:-2:2] += weight
        band[0, 3::2] += weight
        band[2, 1:-2:2] -= weight
        _, solution, fault = dpbsv(band, right, lower=1, overwrite_ab=1)
        if fault:
            raise np.linalg.LinAlgError(f"row {fault} of {size} tells nothing")
        curvature = solution[1::2]
        if kinks:
            miss = turn - sum(rows[i] * solution[i : i + last : 2] for i in range(5))
            kink = miss * tie / kink_weight
    at = np.flatnonzero(np.abs(np.diff(curvature)) > 1e-3 / FINEST) + 1
    curvature = curvature * largest
    shift = solution[0::2] * noise
    return Steps(curvature, at, shift, _headings(points, shift, curvature), kink)


def _fixed(rows: FloatArray, tie: FloatArray, turn: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return what ties and shifts add to the lower band of the matrix, as the solver has it in memory; the right side.

    Row i of the five belongs to the unknown i behind that of the vertex before.
    """
    last = 2 * len(turn)
    band = np.zeros((last + 3, 5)).T
    right = np.zeros(last + 3)
    bent = tie * turn
    for i in range(5):
        right[i : i + last : 2] += rows[i] * bent
        weighed = rows[i] * tie
        for j in range(i + 1):
            band[i - j, j : j + last : 2] += rows[j] * weighed
    band[0, 0::2] += 1.0
    band[0, 1::2] += 1e-9
    return band, right


def _headings(points: FloatArray, shift: FloatArray, curvature: FloatArray) -> FloatArray:
    """Return the direction at each vertex, radians, unwrapped, with the vertices moved to the left by `shift`, m."""
    along = np.diff(points, axis=0)
    chord = np.hypot(*along.T)
    normal = np.column_stack((-along[:, 1], along[:, 0])) / chord[:, None]
    aside = np.zeros_like(points)
    aside[:-1] += normal
    aside[1:] += normal
    aside /= np.hypot(*aside.T)[:, None]
    moved = points + shift[:, None] * aside
    direction = np.concatenate(([0.0], np.cumsum(turns(moved))))
    first = moved[1] - moved[0]
    direction += np.arctan2(first[1], first[0])
    return np.append(direction - curvature * chord / 2, direction[-1] + curvature[-1] * chord[-1] / 2)
