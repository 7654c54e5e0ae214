"""The rail between ends of tracks, so that track going on and tracks that part are not taken for a meeting."""

from __future__ import annotations

from collections.abc import Sequence
from heapq import heappop, heappush
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.records import LineEnd, Plan
from gradehaul.track.alignment import Alignment
from gradehaul.track.piecewise import FloatArray

Integers = NDArray[np.intp]


def gaps_between(
    alignment: Alignment, names: Sequence[str], onward: float, parting: float
) -> tuple[Integers, FloatArray]:
    """Return the rail between ends of tracks: sorted keys, and by running on and by parting at a joint, shape (n, 2).

    The key of two ends is their numbers laid side by side; the end of track k at its start is 2 k, the other 2 k + 1.
    """
    plan = alignment.plan
    number = {name: count for count, name in enumerate(names)}
    beyond = _beyond(plan, number)
    lengths = [alignment.tracks[name].length for name in names]
    found: dict[int, list[float]] = {}
    size = 2 * len(names)
    for start in range(size):
        queue = [(0.0, start, False)]  # rail so far, the end by which a track is left, whether it parted on the way
        seen: set[tuple[int, bool]] = set()
        while queue:
            gone, leave, parted = heappop(queue)
            if (leave, parted) in seen:
                continue
            seen.add((leave, parted))
            for enter, reverses in beyond[leave]:
                turned = parted or reverses
                entry = found.setdefault(start * size + enter, [np.inf, np.inf])
                entry[turned] = min(entry[turned], gone)
                farther = gone + lengths[enter // 2]
                if farther < (parting if turned else max(onward, parting)):
                    heappush(queue, (farther, enter ^ 1, turned))
    keys = np.array(sorted(found), dtype=np.intp)
    return keys, np.array([found[key] for key in keys.tolist()]).reshape(-1, 2)


def _beyond(plan: Plan, number: dict[str, int]) -> list[list[tuple[int, bool]]]:
    """Return for every end of a track the ends of tracks that meet it, and whether a train must reverse to go there."""
    beyond: list[list[tuple[int, bool]]] = [[] for _ in range(2 * len(number))]
    outer: dict[LineEnd, int] = {}
    for line in plan.lines.values():
        own = [number[track.id] for track in line.tracks if track.id in number]
        if not own:
            continue
        for one, two in pairwise(own):
            beyond[2 * one + 1].append((2 * two, False))
            beyond[2 * two].append((2 * one + 1, False))
        outer[LineEnd(line.name, "from")] = 2 * own[0]
        outer[LineEnd(line.name, "to")] = 2 * own[-1] + 1
    for joint in plan.joints.values():
        through = {pair for each in joint.through for pair in (each, each[::-1])}
        for one_end in joint.ends:
            for other_end in joint.ends:
                if one_end != other_end and one_end in outer and other_end in outer:
                    beyond[outer[one_end]].append((outer[other_end], (one_end, other_end) not in through))
    return beyond
