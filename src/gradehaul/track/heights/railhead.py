"""Railheads: known heights hold, and everything between lies as a stretched string does.

Heights are sought at every station: the joints, the track ends and the places where a height was measured. A given
height fixes its station; a track with a grade or a rise fixes the difference between its ends. All else minimizes the
sum of grade² × length, which is a stretched string over the whole network.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import PlanError, Problems
from gradehaul.plan.given_heights import FigureKey, key_at
from gradehaul.plan.names import listed
from gradehaul.plan.records import Line, Note, Plan
from gradehaul.quantities import describe
from gradehaul.quantities.si import Meters
from gradehaul.track.piecewise import FloatArray

SHARED_MISFIT = 0.002
"""Rises that contradict one another by no more than this, m, are shared out; more is an error."""

_EXACT = 1e-9
"""A misfit below this, m, is rounding."""

_FEW = 200
"""Up to so many unknown heights the springs are solved as a full matrix, beyond it as a sparse one."""


@dataclass(frozen=True, slots=True)
class LineHeights:
    """Heights along one line: distances from its `from`, m, rising, and railheads there, m, both of shape (n,)."""

    distance: FloatArray
    railhead: FloatArray


@dataclass(frozen=True, slots=True)
class Railheads:
    """The railheads of a plan: along each line and at each joint, with what was noted on the way."""

    lines: dict[str, LineHeights]
    joints: dict[str, Meters]
    notes: tuple[Note, ...]
    slack: tuple[str, ...] = ()
    """Tracks, by id, that are level only since no height is known beyond them."""


@dataclass(slots=True)
class _Stretch:
    """Track between two neighboring stations; `rise` where it is fixed, by which figure of the plan."""

    start: int
    stop: int
    length: float
    rise: float | None
    place: str
    key: FigureKey


@dataclass(slots=True)
class _Network:
    """All stations and the stretches between them; station 0 is the datum, from which given heights rise."""

    names: list[str]
    stretches: list[_Stretch]
    given: list[_Stretch]
    along: dict[str, tuple[list[float], list[int]]]
    joints: dict[str, int]

    def give(self, station: int, height: float, place: str, key: FigureKey) -> None:
        self.given.append(_Stretch(0, station, 0.0, height, place, key))


def solve_railheads(plan: Plan) -> Railheads:
    """Find the railhead at every joint, track end and measured place of a plan.

    Rises that contradict one another around a loop by more than 2 mm are refused, and pieces of the network without any
    known height, each named.
    """
    network = _stations(plan)
    forest, closing = _forest([*network.given, *(s for s in network.stretches if s.rise is not None)])
    roots, offsets = _measured_from_roots(forest, len(network.names))
    problems: list[PlanError] = []
    notes: list[Note] = []
    shared: set[int] = set()
    for misfit, ties in _misfits(forest, closing, offsets):
        tie = ties[-1]
        loop = ", ".join(each.place for each in ties)
        size = describe(misfit, "length", plan.unit)
        if misfit > SHARED_MISFIT + _EXACT:
            problems.append(
                PlanError(
                    f"heights contradict one another around a loop: {loop}",
                    file=plan.file,
                    place="railheads",
                    found=f"a misfit of {size}",
                    write="a railhead, rise or grade less, or correct one of them",
                )
            )
        else:
            notes.append(Note("railheads", f"a misfit of {size} is shared out around a loop: {loop}"))
            shared.add(int(roots[tie.stop]))
    problems += _unknown(plan, network, roots)
    if problems:
        raise Problems(problems)

    for root in shared:
        _share_out(network, roots == root, offsets)
    free = [s for s in network.stretches if s.rise is None]
    heights = _stretched(free, roots, offsets)

    lines = {
        name: LineHeights(np.array(distance), heights[np.array(stations)])
        for name, (distance, stations) in network.along.items()
    }
    joints = {name: float(heights[station]) for name, station in network.joints.items()}
    return Railheads(lines, joints, tuple(notes), _level_for_want(free, roots))


class Contrary(NamedTuple):
    """A height or a rise in a loop that does not close: its key, and how much it rises, m."""

    key: FigureKey
    rise: Meters


def contrary_loops(plan: Plan) -> Iterator[tuple[Contrary, ...]]:
    """Yield the loops of heights and rises that contradict one another, also where solving would share the misfit."""
    network = _stations(plan)
    forest, closing = _forest([*network.given, *(s for s in network.stretches if s.rise is not None)])
    _, offsets = _measured_from_roots(forest, len(network.names))
    for _, ties in _misfits(forest, closing, offsets):
        yield tuple(Contrary(tie.key, tie.rise or 0.0) for tie in ties)


def _misfits(
    forest: nx.Graph[int], closing: Iterable[_Stretch], offsets: FloatArray
) -> Iterator[tuple[float, list[_Stretch]]]:
    """Yield by how much loops of known differences do not close, m, with the ties of each; the last one closes it."""
    for tie in closing:
        misfit = abs((tie.rise or 0.0) - (offsets[tie.stop] - offsets[tie.start]))
        if misfit > _EXACT:
            path = nx.shortest_path(forest, tie.start, tie.stop)
            yield misfit, [*(forest.edges[pair]["tie"] for pair in pairwise(path)), tie]


def refuse_steep(plan: Plan, railheads: Railheads) -> None:
    """Refuse track that comes to a grade of 100 % or more, between two known or calculated heights."""
    problems = []
    for name, heights in railheads.lines.items():
        rises, lengths = np.abs(np.diff(heights.railhead)), np.diff(heights.distance)
        for place in np.flatnonzero(rises >= lengths).tolist():
            tracks = plan.lines[name].tracks
            ends = np.cumsum([track.length for track in tracks])
            track = tracks[min(int(np.searchsorted(ends, heights.distance[place] + 1e-9)), len(tracks) - 1)]
            high, far = (describe(float(each[place]), "length", plan.unit) for each in (rises, lengths))
            problems.append(
                PlanError(
                    "its grade comes to 100 % or more",
                    file=plan.file,
                    place=track.place,
                    found=f"{high} up or down over {far}",
                    write="heights, or a length, that make it climb as track does: 2 % to 4 % is usual",
                )
            )
    if problems:
        raise Problems(problems)


def _stations(plan: Plan) -> _Network:
    network = _Network(names=["the datum"], stretches=[], given=[], along={}, joints={})
    for name in plan.joints:
        network.joints[name] = len(network.names)
        network.names.append(f'joint "{name}"')
    for name, height in plan.railhead.items():
        network.give(network.joints[name], height, f'railhead of "{name}"', ("joint", name))
    for line in plan.lines.values():
        _stations_of_line(network, line)
    return network


def _stations_of_line(network: _Network, line: Line) -> None:
    ends = np.cumsum([0.0, *(track.length for track in line.tracks)])
    marks = sorted(line.railhead_at)
    distance, stations = [0.0], [network.joints[line.start]]
    near = 1e-9 * max(1.0, float(ends[-1]))

    def arrive(place: float, name: str, *, last: bool = False) -> int:
        station = network.joints[line.finish] if last else len(network.names)
        if not last:
            network.names.append(name)
        distance.append(place)
        stations.append(station)
        return station

    while marks and marks[0][0] <= near:
        at, height = marks.pop(0)
        network.give(stations[0], height, f'railhead_at 0 of line "{line.name}"', key_at(line.name, at))
    for track in line.tracks:
        stop = float(ends[track.number])
        grade = track.grade if track.grade is not None else (None if track.rise is None else track.rise / track.length)
        first = len(stations) - 1
        while marks and marks[0][0] < stop - near:
            place, height = marks.pop(0)
            station = arrive(place, f'line "{line.name}"')
            words = f'railhead_at of line "{line.name}", track {track.number}'
            network.give(station, height, words, key_at(line.name, place))
        end = arrive(stop, f"the end of {track.place}", last=track.number == len(line.tracks))
        if track.railhead is not None:
            network.give(end, track.railhead, f"railhead of {track.place}", ("track", track.id))
        while marks and marks[0][0] <= stop + near:
            at, height = marks.pop(0)
            network.give(end, height, f"railhead_at the end of {track.place}", key_at(line.name, at))
        for k in range(first, len(stations) - 1):
            length = distance[k + 1] - distance[k]
            rise = None if grade is None else grade * length
            key = ("rise", track.id)
            network.stretches.append(_Stretch(stations[k], stations[k + 1], length, rise, track.place, key))
    network.along[line.name] = (distance, stations)


def _level_for_want(free: Sequence[_Stretch], roots: NDArray[np.int_]) -> tuple[str, ...]:
    """Return the ids of tracks that are level, at least in part, only since no height is known beyond them.

    A stretch is drawn taut where it lies on a way from one known height to another: on a circle through the datum.
    """
    graph: nx.Graph[int] = nx.Graph()
    for number, stretch in enumerate(free, 1):
        ends = roots[[stretch.start, stretch.stop]].tolist()
        if ends[0] != ends[1]:
            graph.add_edges_from((end, -number) for end in ends)
    circles = [edges for edges in nx.biconnected_component_edges(graph) if len(edges) > 1]
    taut = {node for edges in circles if any(0 in edge for edge in edges) for edge in edges for node in edge}
    slack = sorted(-1 - node for node in graph if node < 0 and node not in taut)
    return tuple(dict.fromkeys(free[number].key[1] for number in slack))


def _forest(ties: Iterable[_Stretch]) -> tuple[nx.Graph[int], list[_Stretch]]:
    """Return the known differences of height that close no loop, as edges between stations, and those that do."""
    trees: nx.utils.UnionFind[int] = nx.utils.UnionFind()
    forest: nx.Graph[int] = nx.Graph()
    closing = []
    for tie in ties:
        if trees[tie.start] == trees[tie.stop]:
            closing.append(tie)
        else:
            trees.union(tie.start, tie.stop)
            forest.add_edge(tie.start, tie.stop, tie=tie)
    return forest, closing


def _measured_from_roots(forest: nx.Graph[int], count: int) -> tuple[NDArray[np.int_], FloatArray]:
    """Return the tree of every station, by its first station, and the height above that; shape (count,) each."""
    roots, offsets = np.arange(count), np.zeros(count)
    for tree in nx.connected_components(forest):
        root = min(tree)
        roots[list(tree)] = root
        for one, other in nx.bfs_edges(forest, root):
            tie = forest.edges[one, other]["tie"]
            offsets[other] = offsets[one] + (tie.rise if tie.start == one else -tie.rise)
    return roots, offsets


def _share_out(network: _Network, tree: NDArray[np.bool_], offsets: FloatArray) -> None:
    """Spread the misfits of one tree over its fixed rises in proportion to length, given heights held.

    Where one station was given two heights it keeps their mean, for there is nothing else to share them over.
    """
    held: dict[int, list[float]] = {}
    for tie in network.given:
        if tree[tie.stop]:
            held.setdefault(tie.stop, []).append(tie.rise or 0.0)
    known = {station: float(np.mean(heights)) for station, heights in held.items()}
    if tree[0] or not known:
        known[int(np.argmax(tree))] = 0.0  # the datum, which is the first of all, or any station
    alone = np.arange(tree.size)
    alone[list(known)] = 0
    start = np.zeros(tree.size)
    start[list(known)] = list(known.values())
    fixed = [s for s in network.stretches if s.rise is not None and tree[s.start]]
    offsets[tree] = _stretched(fixed, alone, start)[tree]


def _stretched(stretches: Sequence[_Stretch], roots: NDArray[np.int_], offsets: FloatArray) -> FloatArray:
    """Return the heights of all stations, each tree of them lifted so that Σ (rise − its own)² / length is least.

    `roots` is the tree of each station, 0 for those that are held, and `offsets` the height above it, m, both of shape
    (n,).
    """
    ends = np.array([(s.start, s.stop) for s in stretches], dtype=int).reshape(-1, 2)
    weight = 1.0 / np.array([s.length for s in stretches], dtype=float)
    rise = np.array([s.rise or 0.0 for s in stretches], dtype=float)
    between = roots[ends[:, 0]] != roots[ends[:, 1]]
    start, stop = ends[between].T
    trees = sorted({*roots[start].tolist(), *roots[stop].tolist()} - {0})
    column = np.full(roots.size, -1)
    column[trees] = np.arange(len(trees))
    slack = (rise - offsets[ends[:, 1]] + offsets[ends[:, 0]])[between]
    solved = _solve_springs(len(trees), column[roots[start]], column[roots[stop]], weight[between], slack)
    lift = np.append(solved, 0.0)[column[roots]]
    return np.asarray(offsets + lift, dtype=float)


def _solve_springs(
    count: int, start: NDArray[np.int_], stop: NDArray[np.int_], weight: FloatArray, rise: FloatArray
) -> FloatArray:
    """Return the heights that minimize Σ weight (z[stop] − z[start] − rise)², by the normal equations.

    `count` heights are unknown. Arrays of shape (n,): `start` and `stop` are the ends of each spring, the index of an
    unknown height or -1 for a height of 0; `weight` its stiffness, `rise` where it is slack, m.
    """
    if not count:
        return np.empty(0)
    a, b = start >= 0, stop >= 0
    both = a & b
    row = np.concatenate([start[a], stop[b], start[both], stop[both]])
    col = np.concatenate([start[a], stop[b], stop[both], start[both]])
    entries = np.concatenate([weight[a], weight[b], -weight[both], -weight[both]])
    right = np.bincount(stop[b], (weight * rise)[b], count) - np.bincount(start[a], (weight * rise)[a], count)
    if count <= _FEW:
        # loading scipy would take longer than the whole of a small plan
        small = np.zeros((count, count))
        np.add.at(small, (row, col), entries)
        return np.asarray(np.linalg.solve(small, right), dtype=float)
    from scipy.sparse import coo_array
    from scipy.sparse.linalg import spsolve

    matrix = coo_array((entries, (row, col)), shape=(count, count)).tocsc()
    return np.asarray(spsolve(matrix, right, permc_spec="MMD_AT_PLUS_A"), dtype=float)


LEVEL = "taken as level, at least in part, since no height is known beyond it"
"""What a note says of lines without a height at one of their ends."""


def level_notes(plan: Plan, slack: Collection[str]) -> Iterator[Note]:
    """Yield a note of the lines with track that is level only for want of a height, where there is any."""
    lines = dict.fromkeys(plan.tracks[each].line for each in slack)
    if lines:
        named = [name for name in plan.lines if name in lines]
        yield Note(f"line{'s' * (len(named) > 1)} {listed(named)}", LEVEL)


def _unknown(plan: Plan, network: _Network, roots: NDArray[np.int_]) -> list[PlanError]:
    """Name every piece of the network that hangs on no known height."""
    graph: nx.Graph[int] = nx.Graph((s.start, s.stop) for s in network.stretches)
    graph.add_edges_from(enumerate(roots.tolist()))
    line_at: dict[int, list[str]] = {}
    for name, (_, stations) in network.along.items():
        line_at.setdefault(stations[1], []).append(name)
    pieces = [
        [name for station in sorted(piece) for name in line_at.get(station, [])]
        for piece in nx.connected_components(graph)
        if 0 not in piece
    ]
    return [
        PlanError(
            "no height is known on this part of the network: line " + ", ".join(f'"{n}"' for n in names),
            file=plan.file,
            place="railheads",
            write=f'the height of one of its joints under [railhead], e.g. "{plan.lines[names[0]].start}" = 0, '
            "or what joins it to the rest",
        )
        for names in pieces
    ]
