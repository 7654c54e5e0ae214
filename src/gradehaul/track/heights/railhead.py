"""Railheads: known heights hold, and everything between lies as a stretched string does.

Heights are sought at every station: the joints, the track ends and the places where a height was measured. A given
height fixes its station; a track with a grade or a rise fixes the difference between its ends. All else minimizes the
sum of grade² × length, which is a stretched string over the whole network.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import PlanError, Problems
from gradehaul.plan.records import Line, Note, Plan
from gradehaul.quantities import describe
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
    joints: dict[str, float]
    notes: tuple[Note, ...]


@dataclass(slots=True)
class _Stretch:
    """Track between two neighboring stations; `rise` where it is fixed."""

    start: int
    stop: int
    length: float
    rise: float | None
    place: str


@dataclass(slots=True)
class _Network:
    """All stations and the stretches between them; station 0 is the datum, from which given heights rise."""

    names: list[str]
    stretches: list[_Stretch]
    given: list[_Stretch]
    along: dict[str, tuple[list[float], list[int]]]
    joints: dict[str, int]

    def give(self, station: int, height: float, place: str) -> None:
        self.given.append(_Stretch(0, station, 0.0, height, place))


def solve_railheads(plan: Plan) -> Railheads:
    """Find the railhead at every joint, track end and measured place of a plan.

    Raises
    ------
    Problems
        Rises that contradict one another round a loop by more than 2 mm, and pieces of the network without any known
        height, each named.
    """
    network = _stations(plan)
    ties = _Ties(len(network.names))
    problems: list[PlanError] = []
    notes: list[Note] = []
    shared: set[int] = set()
    for tie in [*network.given, *(s for s in network.stretches if s.rise is not None)]:
        misfit = ties.add(tie)
        if abs(misfit) <= _EXACT:
            continue
        loop = ", ".join(ties.loop(tie))
        size = describe(abs(misfit), "length", plan.unit)
        if abs(misfit) > SHARED_MISFIT + _EXACT:
            problems.append(
                PlanError(
                    f"heights contradict one another round a loop: {loop}",
                    file=plan.file,
                    place="railheads",
                    found=f"a misfit of {size}",
                    write="a railhead, rise or grade less, or correct one of them",
                )
            )
        else:
            notes.append(Note("railheads", f"a misfit of {size} is shared out round a loop: {loop}"))
            shared.add(ties.root(tie.stop))
    roots = np.array([ties.root(station) for station in range(len(network.names))])
    problems += _unknown(plan, network, roots)
    if problems:
        raise Problems(problems)

    offsets = ties.offsets()
    for root in {ties.root(station) for station in shared}:
        _share_out(network, roots == ties.root(root), offsets)
    heights = _stretched_string(network, roots, offsets)

    lines = {
        name: LineHeights(np.array(distance), heights[np.array(stations)])
        for name, (distance, stations) in network.along.items()
    }
    joints = {name: float(heights[station]) for name, station in network.joints.items()}
    return Railheads(lines, joints, tuple(notes))


def refuse_steep(plan: Plan, railheads: Railheads) -> None:
    """Refuse track that comes to a grade of 100 % or more.

    Raises
    ------
    Problems
        Each stretch between two known or calculated heights that does.
    """
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
        network.give(network.joints[name], height, f'railhead of "{name}"')
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
        network.give(stations[0], marks.pop(0)[1], f'railhead_at 0 of line "{line.name}"')
    for track in line.tracks:
        stop = float(ends[track.number])
        grade = track.grade if track.grade is not None else (None if track.rise is None else track.rise / track.length)
        first = len(stations) - 1
        while marks and marks[0][0] < stop - near:
            place, height = marks.pop(0)
            station = arrive(place, f'line "{line.name}"')
            network.give(station, height, f'railhead_at of line "{line.name}", track {track.number}')
        end = arrive(stop, f"the end of {track.place}", last=track.number == len(line.tracks))
        if track.railhead is not None:
            network.give(end, track.railhead, f"railhead of {track.place}")
        while marks and marks[0][0] <= stop + near:
            network.give(end, marks.pop(0)[1], f"railhead_at the end of {track.place}")
        for k in range(first, len(stations) - 1):
            length = distance[k + 1] - distance[k]
            rise = None if grade is None else grade * length
            network.stretches.append(_Stretch(stations[k], stations[k + 1], length, rise, track.place))
    network.along[line.name] = (distance, stations)


class _Ties:
    """Stations tied together by known differences of height: a forest, each tree known up to one height."""

    def __init__(self, count: int) -> None:
        self._parent = list(range(count))
        self._offset = [0.0] * count  # height above the parent
        self._tied: nx.Graph[int] = nx.Graph()

    def root(self, station: int) -> int:
        return self._find(station)[0]

    def _find(self, station: int) -> tuple[int, float]:
        path = []
        while self._parent[station] != station:
            path.append(station)
            station = self._parent[station]
        above = 0.0
        for step in reversed(path):  # hang every station met straight below the root
            above += self._offset[step]
            self._parent[step], self._offset[step] = station, above
        return station, above

    def add(self, tie: _Stretch) -> float:
        """Tie two stations; return by how much the tie contradicts those before it (0 for a new tie)."""
        assert tie.rise is not None
        (low, low_offset), (high, high_offset) = self._find(tie.start), self._find(tie.stop)
        if low == high:
            return tie.rise - (high_offset - low_offset)
        self._parent[high] = low
        self._offset[high] = low_offset + tie.rise - high_offset
        self._tied.add_edge(tie.start, tie.stop, place=tie.place)
        return 0.0

    def loop(self, closing: _Stretch) -> list[str]:
        """Return the places of the ties of the loop that a contradicting tie closes, itself last."""
        if closing.start == closing.stop:
            return [closing.place]
        path = nx.shortest_path(self._tied, closing.start, closing.stop)
        return [*(self._tied.edges[pair]["place"] for pair in pairwise(path)), closing.place]

    def offsets(self) -> FloatArray:
        """Return the height of every station above the root of its tree."""
        return np.array([self._find(station)[1] for station in range(len(self._parent))])


def _share_out(network: _Network, tree: NDArray[np.bool_], offsets: FloatArray) -> None:
    """Spread the misfits of one tree over its fixed rises in proportion to length, given heights held.

    Where one station was given two heights it keeps their mean, for there is nothing else to share them over.
    """
    held: dict[int, list[float]] = {}
    for tie in network.given:
        if tree[tie.stop]:
            assert tie.rise is not None
            held.setdefault(tie.stop, []).append(tie.rise)
    known = {station: float(np.mean(heights)) for station, heights in held.items()}
    members = np.flatnonzero(tree)
    if not known:
        known = {int(members[0]): 0.0}
    if tree[0]:
        known[0] = 0.0
    fixed = [s for s in network.stretches if s.rise is not None and tree[s.start]]
    free = [int(station) for station in members if int(station) not in known]
    column = {station: k for k, station in enumerate(free)}
    heights = _least_squares(fixed, column, known)
    for station in members:
        offsets[station] = known[int(station)] if int(station) in known else heights[column[int(station)]]


def _least_squares(stretches: Iterable[_Stretch], column: dict[int, int], known: dict[int, float]) -> FloatArray:
    """Minimize Σ (difference of height − rise)² / length over the unknown stations."""
    rows: list[tuple[int, int, float, float]] = []  # column of start, of stop (-1: known), weight, right-hand side
    for stretch in stretches:
        rise = (stretch.rise or 0.0) + known.get(stretch.start, 0.0) - known.get(stretch.stop, 0.0)
        rows.append((column.get(stretch.start, -1), column.get(stretch.stop, -1), 1.0 / stretch.length, rise))
    table = np.array(rows, dtype=float).reshape(-1, 4)
    start, stop = table[:, 0].astype(int), table[:, 1].astype(int)
    return _solve_springs(len(column), start, stop, table[:, 2], table[:, 3])


def _stretched_string(network: _Network, roots: NDArray[np.int_], offsets: FloatArray) -> FloatArray:
    """Find the heights of all trees over the free stretches between them."""
    free = [s for s in network.stretches if s.rise is None]
    datum = int(roots[0])
    trees = [root for root in dict.fromkeys(roots.tolist()) if root != datum]
    column = np.full(len(network.names), -1)
    column[trees] = np.arange(len(trees))
    start = np.array([s.start for s in free], dtype=int)
    stop = np.array([s.stop for s in free], dtype=int)
    weight = 1.0 / np.array([s.length for s in free], dtype=float)
    between = roots[start] != roots[stop]
    start, stop, weight = start[between], stop[between], weight[between]
    lift = offsets[start] - offsets[stop]
    solved = _solve_springs(len(trees), column[roots[start]], column[roots[stop]], weight, lift)
    above = np.concatenate([solved, [0.0]])[column[roots]]
    heights = offsets + above
    return np.asarray(heights - heights[0], dtype=float)


def _solve_springs(
    count: int, start: NDArray[np.int_], stop: NDArray[np.int_], weight: FloatArray, rise: FloatArray
) -> FloatArray:
    """Return the heights that minimize Σ weight (z[stop] − z[start] − rise)², by the normal equations.

    `count` heights are unknown. Arrays of shape (n,): `start` and `stop` are the ends of each spring, the index of an
    unknown height or -1 for a height of 0; `weight` its stiffness, `rise` where it is slack, m.

    Examples
    --------
    A spring up from the ground, and one twice as stiff back to it:

    >>> ends = np.array([-1, 0]), np.array([0, -1])
    >>> _solve_springs(1, *ends, np.array([1.0, 2.0]), np.array([0.3, 0.0])).round(6)
    array([0.1])
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


def _unknown(plan: Plan, network: _Network, roots: NDArray[np.int_]) -> list[PlanError]:
    """Name every piece of the network that hangs on no known height."""
    graph: nx.Graph[int] = nx.Graph((s.start, s.stop) for s in network.stretches)
    graph.add_edges_from(enumerate(roots.tolist()))
    line_at: dict[int, list[str]] = {}
    for name, (_, stations) in network.along.items():
        line_at.setdefault(stations[1], []).append(name)
    lost = [
        [name for station in sorted(piece) for name in line_at.get(station, [])]
        for piece in nx.connected_components(graph)
        if 0 not in piece
    ]
    return [
        PlanError(
            "no railhead is known anywhere on this piece of the network: line " + ", ".join(f'"{n}"' for n in names),
            file=plan.file,
            place="railheads",
            write=f'the height of one of its joints under [railhead], e.g. "{plan.lines[names[0]].start}" = 0',
        )
        for names in lost
    ]
