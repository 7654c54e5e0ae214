"""Clearances by a cloud of points: an independent program that walks a line in small steps and imports no package."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np


class Piece(NamedTuple):
    """A piece of a line: length, m, curvature, 1/m, positive to the left, and grade."""

    length: float
    curvature: float
    grade: float


class Cloud(NamedTuple):
    """What the cloud has: least room over one another, least distance beside, and rooms that lie near a bound.

    `rooms` has the least room of each pair of pieces, by their numbers from 1, the lesser first.
    """

    room: float
    beside: float
    doubtful: bool
    rooms: dict[tuple[int, int], float]


def walk(pieces, step):
    """Return rows of distance, x, y, heading, height, |curvature| and the number of the piece along a line."""
    rows = []
    x = y = heading = height = gone = 0.0
    for number, piece in enumerate(pieces, 1):
        count = max(1, math.ceil(piece.length / step))
        h = piece.length / count
        for _ in range(count):
            rows.append((gone, x, y, heading, height, abs(piece.curvature), number))
            middle = heading + 0.5 * h * piece.curvature
            x, y = x + h * math.cos(middle), y + h * math.sin(middle)
            heading, height, gone = heading + h * piece.curvature, height + h * piece.grade, gone + h
    rows.append((gone, x, y, heading, height, *rows[-1][5:]))
    return np.array(rows)


def cloud(pieces, *, half, widening, level, highest, onward, cell=0.006):
    """Fill the width of the line with points and compare those of one cell; then compare centers beside one another.

    `half` is the half-width on straight track, `widening` a function of curvature, `level` the rise from which tracks
    are over one another, `highest` the rise from which they no longer count, `onward` the rail that is skipped.
    """
    line = walk(pieces, cell / 2)
    points = []
    for gone, x, y, heading, height, bend, number in line:
        wide = half + widening(bend)
        sides = np.linspace(-wide, wide, max(2, math.ceil(4 * wide / cell)))
        points += [(gone, x - side * math.sin(heading), y + side * math.cos(heading), height, number) for side in sides]
    points = np.array(points)
    cells = np.floor(points[:, 1:3] / cell).astype(int)
    cells -= cells.min(axis=0)
    key = cells[:, 0] * (cells[:, 1].max() + 1) + cells[:, 1]
    order = np.argsort(key, kind="stable")
    key, gone, height, number = key[order], points[order, 0], points[order, 3], points[order, 4].astype(int)
    rooms, doubtful = {}, False
    for shift in range(1, len(key)):
        same = key[shift:] == key[:-shift]
        if not same.any():
            break
        far = np.abs(gone[shift:] - gone[:-shift])[same] > onward
        rise = np.abs(height[shift:] - height[:-shift])[same][far]
        for bound in (level, highest):
            doubtful = doubtful or bool((np.abs(rise - bound) < 0.004).any())
        both = np.sort([number[shift:][same][far], number[:-shift][same][far]], axis=0)
        for pair in np.unique(both[:, (rise >= level) & (rise < highest)], axis=1).T.tolist():
            of_pair = rise[(both == np.array(pair)[:, None]).all(axis=0) & (rise >= level)]
            rooms[tuple(pair)] = min(rooms.get(tuple(pair), math.inf), of_pair.min())
    beside = math.inf
    for shift in range(int(2 * onward / cell), len(line)):  # a step is half a cell at the most
        off = np.hypot(line[shift:, 1] - line[:-shift, 1], line[shift:, 2] - line[:-shift, 2])
        rise = np.abs(line[shift:, 4] - line[:-shift, 4])
        rail = line[shift:, 0] - line[:-shift, 0]
        beside = min(beside, off[(rise < level) & (rail > onward)].min(initial=math.inf))
    return Cloud(min(rooms.values(), default=math.inf), float(beside), doubtful, rooms)
