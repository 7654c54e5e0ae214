"""The track that continues a berth, as far as it lies near it along the rail."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from heapq import heapify, heappop, heappush
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.records import Berth, LineEnd, Plan
from gradehaul.track.piecewise import FloatArray


class Onward(NamedTuple):
    """How much of some tracks is left out, m, from the start and from the end of each, by their numbers, rising."""

    track: NDArray[np.intp]
    from_start: FloatArray
    from_end: FloatArray


class _Ahead(NamedTuple):
    """A track that continues a berth: how far ahead it begins, m, its line, its place there, the way it is met."""

    gone: float
    line: str
    place: int
    forward: bool


def continuation(plan: Plan, berth: Berth, number: Mapping[str, int], reach: float) -> Onward:
    """Return what continues a berth without a reversal, as far as the reach along the rail.

    `number` counts the tracks of a frame, those of a line one after another.
    """
    tracks = plan.lines[berth.line].tracks
    first = number[berth.tracks[0]] - number[tracks[0].id]
    last = first + len(berth.tracks) - 1
    ahead = [
        *_following(plan, _Ahead(0.0, berth.line, first, forward=False), 0.0),
        *_following(plan, _Ahead(0.0, berth.line, last, forward=True), 0.0),
    ]
    heapify(ahead)
    left_out: dict[tuple[int, bool], float] = {}
    while ahead:
        here = heappop(ahead)  # the nearest, so that each track is met once each way
        track = plan.lines[here.line].tracks[here.place]
        if (number[track.id], here.forward) in left_out:
            continue
        left_out[number[track.id], here.forward] = reach - here.gone
        if here.gone + track.length < reach:
            for onward in _following(plan, here, here.gone + track.length):
                heappush(ahead, onward)
    numbers = sorted({each for each, _ in left_out})
    return Onward(
        np.array(numbers, dtype=np.intp),
        np.array([left_out.get((each, True), 0.0) for each in numbers]),
        np.array([left_out.get((each, False), 0.0) for each in numbers]),
    )


def _following(plan: Plan, here: _Ahead, gone: float) -> Iterator[_Ahead]:
    """Yield the tracks that follow one: the next of its line, or those that trains reach through the joint there."""
    onward = here.place + (1 if here.forward else -1)
    if 0 <= onward < len(plan.lines[here.line].tracks):
        yield _Ahead(gone, here.line, onward, here.forward)
        return
    end = LineEnd(here.line, "to" if here.forward else "from")
    joint = plan.joints[plan.lines[end.line].joint(end.end)]
    for pair in joint.tangents:  # a slip turns away, and around a turntable lines stand apart
        if end in pair:
            entered = pair[1] if pair[0] == end else pair[0]
            forward = entered.end == "from"
            yield _Ahead(gone, entered.line, 0 if forward else len(plan.lines[entered.line].tracks) - 1, forward)
