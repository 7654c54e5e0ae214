"""The rail between ends of tracks: where track goes on without a reversal, and where two tracks part at a joint."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from heapq import heappop, heappush
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.records import LineEnd, Plan
from gradehaul.track.piecewise import FloatArray

Integers = NDArray[np.intp]


class Rail(NamedTuple):
    """Tracks by number, and how they are joined; the end of track k at its start is 2 k, the other 2 k + 1.

    `joined` has for every end those that meet it, and whether a train must reverse to go on there.
    """

    lengths: Sequence[float]
    joined: Sequence[Sequence[tuple[int, bool]]]

    def ahead(self, start: int, onward: float, parting: float = 0.0) -> Iterator[tuple[int, float, bool]]:
        """Yield the ends by which tracks are entered beyond one end, the nearest first.

        Each comes with the rail run up to it, m, and whether it took a reversal: at most one way `onward` without, and
        one way `parting` with one.
        """
        queue = [(0.0, start, False)]
        seen: set[tuple[int, bool]] = set()
        while queue:
            gone, leave, parted = heappop(queue)
            if (leave, parted) in seen:
                continue
            seen.add((leave, parted))
            for enter, reverses in self.joined[leave]:
                turned = parted or reverses
                yield enter, gone, turned
                farther = gone + self.lengths[enter // 2]
                if farther < (parting if turned else onward):
                    heappush(queue, (farther, enter ^ 1, turned))


def rail_of(plan: Plan, number: Mapping[str, int], *, slips: bool) -> Rail:
    """Return how the tracks of a frame are joined, by their numbers.

    Without `slips`, only tangents count as running on: neither a slip, which turns away, nor a turntable.
    """
    joined: list[list[tuple[int, bool]]] = [[] for _ in range(2 * len(number))]
    outer: dict[LineEnd, int] = {}
    for line in plan.lines.values():
        own = [number[track.id] for track in line.tracks if track.id in number]
        for one, two in pairwise(own):
            joined[2 * one + 1].append((2 * two, False))
            joined[2 * two].append((2 * one + 1, False))
        if own:
            outer[LineEnd(line.name, "from")] = 2 * own[0]
            outer[LineEnd(line.name, "to")] = 2 * own[-1] + 1
    for joint in plan.joints.values():
        pairs = joint.through if slips else joint.tangents
        through = {pair for each in pairs for pair in (each, each[::-1])}
        ends = [end for end in joint.ends if end in outer]
        for leave in ends:
            joined[outer[leave]] += [(outer[end], (leave, end) not in through) for end in ends if end != leave]
    tracks = plan.tracks
    return Rail([tracks[name].length for name in number], joined)


def rail_gaps(rail: Rail, onward: float, parting: float) -> tuple[Integers, FloatArray]:
    """Return the rail between ends of tracks: sorted keys, and by running on and by parting, m, shape (n, 2).

    The key of two ends is start x (number of ends) + the other.
    """
    found: dict[int, list[float]] = {}
    size = len(rail.joined)
    for start in range(size):
        for enter, gone, turned in rail.ahead(start, max(onward, parting), parting):
            gaps = found.setdefault(start * size + enter, [np.inf, np.inf])
            gaps[turned] = min(gaps[turned], gone)
    keys = np.array(sorted(found), dtype=np.intp)
    return keys, np.array([found[key] for key in keys.tolist()]).reshape(-1, 2)


class Continuation(NamedTuple):
    """How much of some tracks continues a berth, m, from the start and from the end of each, by their numbers."""

    track: Integers
    from_start: FloatArray
    from_end: FloatArray


def continuation(rail: Rail, first: int, last: int, reach: float) -> Continuation:
    """Return the track that goes on without a reversal beyond the tracks from one number to another, up to a reach."""
    left: dict[int, float] = {}
    for start in (2 * first, 2 * last + 1):
        for enter, gone, turned in rail.ahead(start, reach):
            if not turned:
                left[enter] = max(left.get(enter, 0.0), reach - gone)
    numbers = sorted({enter // 2 for enter in left})
    return Continuation(
        np.array(numbers, dtype=np.intp),
        *(np.array([left.get(2 * each + end, 0.0) for each in numbers]) for end in (0, 1)),
    )
