"""Clear lengths: how much of a berth lies clear of every other track, and how the rail goes on between tracks."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from gradehaul.errors import PlanError
from gradehaul.plan.records import Berth, LineEnd, Note, Plan
from gradehaul.quantities import describe
from gradehaul.quantities.si import Meters
from gradehaul.scales import clear_height
from gradehaul.track.map.closing import figure_misses, misclosure
from gradehaul.track.map.positions import Positions
from gradehaul.track.piecewise import FloatArray
from gradehaul.track.proximity.nearness import Chords, chords_of, near_stretches, neighbors
from gradehaul.track.proximity.spacing import spacing_of

if TYPE_CHECKING:
    from gradehaul.track.alignment import Alignment


from collections.abc import Mapping, Sequence
from heapq import heappop, heappush
from itertools import pairwise

from numpy.typing import NDArray

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


_SAGITTA = 1 / 4000
"""How far a chord may stray from its track, as a share of the fouling distance: 0.011 mm in HO."""

_LONGEST = 4.0
"""The longest chord, in fouling distances, over which the railhead counts as straight."""

_ONWARD = 1.5
"""How far the track that continues a berth is left out, in fouling distances along the rail.

What lies farther along a curve of a radius of at least the fouling distance is farther than that distance from the
berth: 2 R sin(1.5 d / 2 R) > d.
"""

_MISCLOSURE = 0.05
"""The misclosure that gets a note, as a share of the fouling distance: tracks part at about 1 in 3 where they foul."""

_ROUNDING = 1e-9
"""No clear length, m, is shorter."""

_CHORDS_AT_ONCE = 500
"""Chords of a berth searched at once, so that memory stays small."""


@dataclass(frozen=True, slots=True)
class Fouling:
    """Track that ends a clear length: the least distance between its center and the berth's, and what trains need."""

    track: str
    distance: Meters
    needed: Meters


@dataclass(frozen=True, slots=True)
class ClearLength:
    """How much of a berth a train may stand on, and where: distances from the start of its first track, m.

    `basis` is where it comes from: `stated` by the builder, from the `map`, or the `whole` berth where the map does not
    close well enough. `fouled_by` is what ends it at either end where the map does, or leaves nothing of it.
    """

    berth: str
    length: Meters
    start: Meters
    stop: Meters
    basis: Literal["stated", "map", "whole"]
    fouled_by: tuple[Fouling, ...] = ()


def clear_lengths(alignment: Alignment) -> dict[str, ClearLength]:
    """Return the clear length of every berth, by its name.

    A stated clear length holds; it is laid against the end of track, or against the berth's start where both or
    neither of its ends is one. Else it is the longest stretch of the berth on which no other track of the same frame
    has a place nearer than stock needs, center to center in the plane, whose railhead is within the practice's clear
    height above or below: the scale's fouling distance, and on curves what the spacing of tracks has more there. The
    berth's own tracks do not count, nor does the track that continues it without a reversal, near the berth's end; the
    other legs of a turnout do. Places are good to 0.3 mm in HO where tracks part at 0.1 rad, and better where they part
    faster.
    """
    plan, positions = alignment.plan, alignment.positions
    found: dict[str, ClearLength] = {}
    measured: dict[int, list[Berth]] = {}
    for berth in plan.berths.values():
        track = positions.tracks[berth.tracks[0]]
        if berth.clear is not None:
            found[berth.name] = _stated(alignment, berth, berth.clear)
        elif not positions.usable(track.frame):
            whole = _length(alignment, berth)
            found[berth.name] = ClearLength(berth.name, whole, 0.0, whole, "whole")
        else:
            measured.setdefault(track.frame, []).append(berth)
    for frame, berths in measured.items():
        field = _Field(alignment, frame)
        for berth in berths:
            fouled = field.fouled(berth)
            start, stop = _longest_gap(fouled.stretch, _length(alignment, berth))
            ends = tuple(field.ends(fouled, start, stop))
            found[berth.name] = ClearLength(berth.name, stop - start, start, stop, "map", ends)
    return {name: found[name] for name in plan.berths}


def fouling_notes(alignment: Alignment) -> list[Note]:
    """Return notes on berths that have no clear length from the map, and on a map that closes poorly."""
    plan, positions = alignment.plan, alignment.positions
    notes = _notes_on_accuracy(plan, positions)
    frames = {line.name: positions.tracks[line.tracks[0].id].frame for line in plan.lines.values()}
    for berth in plan.berths.values():
        if berth.clear is not None:
            continue
        frame = positions.tracks[berth.tracks[0]].frame
        place = f'berth "{berth.name}"'
        whole = describe(_length(alignment, berth), "length", plan.unit)
        if not positions.usable(frame):
            worst = positions.worst[frame]
            text = (
                f"its whole length of {whole} counts as clear, since the map cannot tell where other track fouls it: "
                f"{figure_misses(worst)} by {misclosure(plan, worst)}; clear = … beside the berth says what is clear"
            )
            notes.append(Note(place, text))
            continue
        for end in _ends_of_line(plan, berth):
            joint = plan.joints[plan.lines[end.line].joint(end.end)]
            own = {end, *(other for pair in joint.through if end in pair for other in pair)}
            unknown = [each.line for each in joint.ends if each not in own and frames[each.line] != frame]
            if joint.kind == "crossing" and unknown:
                text = (
                    f'it counts as clear up to the crossing "{joint.name}", since the angle at which '
                    f"{', '.join(dict.fromkeys(unknown))} crosses there is unknown; write clear = … beside the berth"
                )
                notes.append(Note(place, text))
    return notes


def _notes_on_accuracy(plan: Plan, positions: Positions) -> list[Note]:
    """Return notes on figures that close well enough to be used, and miss by a good part of the fouling distance."""
    frames = {positions.tracks[berth.tracks[0]].frame for berth in plan.berths.values() if berth.clear is None}
    notes = []
    for frame in sorted(frames):
        off = [closure for closure in positions.closures if closure.frame == frame]
        worst = max(off, key=lambda closure: closure.distance, default=None)
        if worst and positions.usable(frame) and worst.distance > _MISCLOSURE * plan.scale.fouling_distance:
            distance = describe(worst.distance, "length", plan.unit)
            text = f"by {distance}, so fouling points on it may lie several times as far from the truth"
            notes.append(Note("", f"{figure_misses(worst)} {text}"))
    return notes


def _length(alignment: Alignment, berth: Berth) -> float:
    return math.fsum(alignment.tracks[track].length for track in berth.tracks)


def _ends_of_line(plan: Plan, berth: Berth) -> list[LineEnd]:
    """Return the ends of its line that a berth reaches."""
    tracks = plan.lines[berth.line].tracks
    ends = []
    if tracks[0].id == berth.tracks[0]:
        ends.append(LineEnd(berth.line, "from"))
    if tracks[-1].id == berth.tracks[-1]:
        ends.append(LineEnd(berth.line, "to"))
    return ends


def _stated(alignment: Alignment, berth: Berth, clear: float) -> ClearLength:
    plan = alignment.plan
    whole = _length(alignment, berth)
    clear = min(clear, whole)  # a plan allows for rounding
    line = plan.lines[berth.line]
    closed = {end.end for end in _ends_of_line(plan, berth) if plan.joints[line.joint(end.end)].kind == "end"}
    start = whole - clear if closed == {"to"} else 0.0
    return ClearLength(berth.name, clear, start, start + clear, "stated")


class _Fouled(NamedTuple):
    """Stretches of a berth that other track fouls, m from its start, shape (n, 2), and the numbers of both chords."""

    stretch: FloatArray
    own: Integers
    other: Integers


class _Field:
    """All track of one frame as chords, in a tree that finds those near a place."""

    def __init__(self, alignment: Alignment, frame: int) -> None:
        self.plan = alignment.plan
        self.distance = distance = self.plan.scale.fouling_distance
        self.spacing = spacing_of(self.plan)
        self.names = names = [name for name, track in alignment.positions.tracks.items() if track.frame == frame]
        self.number = {name: number for number, name in enumerate(names)}
        self.rail = rail_of(self.plan, self.number, slips=False)
        self.chords = chords_of(alignment, names, stray=distance * _SAGITTA, longest=distance * _LONGEST)
        self.first = np.searchsorted(self.chords.track, np.arange(len(names) + 1))
        self.length = self.chords.span[self.first[1:] - 1, 1]
        most = self.chords.bend.max(keepdims=True)
        self.widest = float(self.spacing.least(most, most)[0])
        self.near = neighbors(self.chords.ends[:, :, :2], self.widest)
        self.height = math.inf
        with suppress(PlanError):  # a scale made by hand has no height to keep: then all is one level
            self.height = clear_height(self.plan.scale, self.plan.practice)

    def fouled(self, berth: Berth) -> _Fouled:
        """Return the stretches of a berth that other track fouls."""
        parts = list(self._fouled(berth))
        return _Fouled(*(np.concatenate(column) for column in zip(*parts, strict=True)))

    def ends(self, fouled: _Fouled, start: float, stop: float) -> Iterator[Fouling]:
        """Yield the track that ends a clear length at either end, or all of it that there might be."""
        low, high = fouled.stretch.T
        if start < stop:
            at_ends = (np.abs(high - start) < _ROUNDING) | (np.abs(low - stop) < _ROUNDING)
        else:
            at_ends = np.full(low.size, fill_value=True)
        if not at_ends.any():
            return
        from shapely import distance, linestrings

        tracks = self.chords.track[fouled.other]
        some = np.flatnonzero(np.isin(tracks, tracks[at_ends]))
        one, two = self.chords.take(fouled.own[some]), self.chords.take(fouled.other[some])
        apart = np.asarray(distance(linestrings(one.ends[:, :, :2]), linestrings(two.ends[:, :, :2])))
        needed = self.spacing.least(one.bend, two.bend)
        nearest_first = np.argsort(apart, kind="stable")
        _, firsts = np.unique(two.track[nearest_first], return_index=True)
        found = nearest_first[np.sort(firsts)]
        for place in found if start < stop else found[:1]:
            yield Fouling(self.names[two.track[place]], float(apart[place]), float(needed[place]))

    def _fouled(self, berth: Berth) -> Iterator[_Fouled]:
        own = [self.number[track] for track in berth.tracks]  # one after another, as in the line
        lead = np.concatenate([[0.0], np.cumsum(self.length[own])])
        beyond = continuation(self.rail, own[0], own[-1], _ONWARD * self.widest)
        last = int(self.first[own[-1] + 1])
        for begin in range(int(self.first[own[0]]), last, _CHORDS_AT_ONCE):
            stop = min(begin + _CHORDS_AT_ONCE, last)
            mine, near = self.near(begin, stop)
            other = (self.chords.track[near] < own[0]) | (self.chords.track[near] > own[-1])
            yours = self._without(self.chords.take(near[other]), beyond)
            kept = np.flatnonzero(yours[:, 0] < yours[:, 1])
            one, two = begin + mine[other][kept], near[other][kept]
            theirs = self.chords.take(two).cut(yours[kept])
            berths = self.chords.take(one)
            berths = berths._replace(span=berths.span + lead[berths.track - own[0]][:, np.newaxis])
            # chords bulge from their tracks, and what is a hair nearer may be as far away as it should
            apart = self.spacing.least(berths.bend, theirs.bend) - 2 * _SAGITTA * self.distance
            which, stretch = near_stretches(berths, theirs, apart, self.height)
            yield _Fouled(stretch, one[which], two[which])

    def _without(self, chords: Chords, beyond: Continuation) -> FloatArray:
        """Return the spans of chords without what is left out; nothing is left of one that is not rising."""
        if not beyond.track.size:
            return chords.span
        place = np.minimum(np.searchsorted(beyond.track, chords.track), beyond.track.size - 1)
        some = beyond.track[place] == chords.track
        low = np.where(some, beyond.from_start[place], 0.0)
        high = self.length[chords.track] - np.where(some, beyond.from_end[place], 0.0)
        return np.column_stack([np.maximum(chords.span[:, 0], low), np.minimum(chords.span[:, 1], high)])


def _longest_gap(stretches: FloatArray, whole: float) -> tuple[float, float]:
    """Return the longest part of a length that no stretch covers.

    >>> _longest_gap(np.array([[3.0, 5.0], [0.0, 1.0], [4.0, 6.0]]), 9.0)
    (6.0, 9.0)
    """
    order = np.argsort(stretches[:, 0])
    begin = np.concatenate([[0.0], np.maximum.accumulate(np.clip(stretches[order, 1], 0.0, whole))])
    stop = np.concatenate([np.clip(stretches[order, 0], 0.0, whole), [whole]])
    best = int(np.argmax(stop - begin))
    # what is left between two stretches that meet is rounding
    return (float(begin[best]), float(stop[best])) if stop[best] - begin[best] > _ROUNDING else (0.0, 0.0)
