"""The two walks at 1 mm against which the exact engine is timed: a plain one, and the best that numpy allows.

Both answer the same question as the engine: the largest n such that trains of 1…n equal cars behind one locomotive all
ask no more than its pull, on an open route that begins at an end of track.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable

import numpy as np

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.plan.records import Car, Loco
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic

STEP = 0.001


def height_lookup(compensated: PiecewiseQuadratic) -> Callable[[float], float]:
    """A compensated profile to look heights up in, one at a time, in plain Python."""
    breaks, values = compensated.breaks.tolist(), compensated.values.tolist()
    slopes, seconds = compensated.slopes.tolist(), compensated.seconds.tolist()

    def height(s: float) -> float:
        if s <= 0:
            return values[0]
        piece = min(bisect_right(breaks, s) - 1, len(values) - 1)
        t = s - breaks[piece]
        return values[piece] + t * (slopes[piece] + 0.5 * t * seconds[piece])

    return height


def plain_longest(compensated: PiecewiseQuadratic, loco: Loco, car: Car, pull: float, *, most: int) -> int:
    """Walk the train along the route, looking the height of every car's two ends up anew at every step."""
    height = height_lookup(compensated)
    steps = round(compensated.stop / STEP)
    for cars in range(1, most + 1):
        flat = cars * car.mass * GRAVITY * car.rolling.value
        for step in range(steps + 1):
            h = step * STEP
            front, rear = height(h), height(h - loco.length)
            asked = flat + loco.mass * GRAVITY / loco.length * (front - rear)
            for number in range(cars):
                ahead = h - loco.length - number * car.length
                asked += car.mass * GRAVITY / car.length * (height(ahead) - height(ahead - car.length))
            if asked > pull * (1 + 1e-9):
                return cars - 1
    return most


def sampled(compensated: PiecewiseQuadratic, behind: float) -> FloatArray:
    """The compensated profile sampled once, with level track behind the origin for the longest train."""
    inside = compensated.at(np.arange(round(compensated.stop / STEP) + 1) * STEP)
    return np.concatenate([np.full(round(behind / STEP), inside[0]), inside])


def numpy_longest(samples: FloatArray, behind: float, loco: Loco, car: Car, pull: float, *, most: int) -> int:
    """Try trains one car longer at a time, each of them two look-ups in the samples, one for either end of its cars."""
    back, engine, wagon = (round(x / STEP) for x in (behind, loco.length, car.length))
    last = samples.size - back
    front = samples[back:]
    coupler = samples[back - engine : back - engine + last]
    # what the locomotive asks is the same for all trains, and so is the height of its coupler: looked up once
    fixed = loco.mass * GRAVITY / loco.length * (front - coupler) + car.mass * GRAVITY / car.length * coupler
    for cars in range(1, most + 1):
        tail = samples[back - engine - cars * wagon : back - engine - cars * wagon + last]
        most_asked = float((fixed - car.mass * GRAVITY / car.length * tail).max())
        if most_asked + cars * car.mass * GRAVITY * car.rolling.value > pull * (1 + 1e-9):
            return cars - 1
    return most
