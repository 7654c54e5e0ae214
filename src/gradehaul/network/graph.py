"""The movement graph: every move that a train can make without reversing, and the places where routes begin and end."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Literal, NamedTuple

import networkx as nx

from gradehaul.errors import RouteError
from gradehaul.plan.records import LineEnd, NamedRoute, Plan


class Way(NamedTuple):
    """A track and the direction in which a train runs over it: forward is its line's own, from `from` to `to`."""

    track: str
    forward: bool

    def turned(self) -> Way:
        """Return the same track run over the other way."""
        return Way(self.track, not self.forward)


_Runs = Literal["both", "forward", "backward"]
_BOTH: Mapping[_Runs, _Runs] = {"both": "both", "forward": "both", "backward": "both"}
_BACKWARD: Mapping[_Runs, _Runs] = {"both": "both", "forward": "backward", "backward": "forward"}


class MovementGraph:
    """Every (track, direction) of a plan, and the moves between them that need no reversal.

    Attributes
    ----------
    graph
        A networkx DiGraph. Its nodes are `Way` with the attribute ``length`` (m); an edge that passes through a joint
        has the attribute ``joint``. It is handed out as it is; change a copy.
    successors, predecessors
        For each way, those that may follow it, and those it may follow.
    lengths
        The length of each way, m.
    line_of, berth_of
        The line of each track, and the berth of those that lie in one, by the track's id.
    joint_ahead
        The joint at the far end of each way that ends at one.

    >>> from gradehaul.plan import read_plan
    >>> plan = read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead.A = 0
    ... [line.Main]
    ... from = "A"
    ... to = "B"
    ... track = [{ straight = 1 }, { straight = 2 }]
    ... ''')
    >>> MovementGraph(plan).successors[Way("Main:2", forward=False)]
    (Way(track='Main:1', forward=False),)
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.graph: nx.DiGraph[Way] = nx.DiGraph()
        self._joint: dict[tuple[Way, Way], str] = {}
        for line in plan.lines.values():
            for forward in (True, False):
                if line.runs == ("backward" if forward else "forward"):
                    continue
                order = line.tracks if forward else line.tracks[::-1]
                for track in order:
                    self.graph.add_node(Way(track.id, forward), length=track.length)
                for one, following in pairwise(order):
                    self.graph.add_edge(Way(one.id, forward), Way(following.id, forward))
        for joint in plan.joints.values():
            for pair in joint.through:
                for leave, enter in (pair, pair[::-1]):
                    move = (self.leaving(leave), self.entering(enter))
                    if all(way in self.graph for way in move):
                        self.graph.add_edge(*move, joint=joint.name)
                        self._joint[move] = joint.name
        self.successors: dict[Way, tuple[Way, ...]] = {w: tuple(n) for w, n in self.graph.adjacency()}
        self.predecessors: dict[Way, tuple[Way, ...]] = {w: tuple(n) for w, n in self.graph.pred.items()}
        tracks = plan.tracks
        self.lengths: dict[Way, float] = {way: tracks[way.track].length for way in self.graph}
        self.line_of: dict[str, str] = {track.id: track.line for track in tracks.values()}
        self.berth_of: dict[str, str] = {track: b.name for b in plan.berths.values() for track in b.tracks}
        self.joint_ahead: dict[Way, str] = {
            self.leaving(end): joint.name for joint in plan.joints.values() for end in joint.ends
        }

    def leaving(self, end: LineEnd) -> Way:
        """Return the way that leaves a line through one of its ends."""
        tracks = self.plan.lines[end.line].tracks
        return Way(tracks[-1].id, forward=True) if end.end == "to" else Way(tracks[0].id, forward=False)

    def entering(self, end: LineEnd) -> Way:
        """Return the way that enters a line through one of its ends."""
        return self.leaving(end).turned()

    def joints_met(self, ways: Sequence[Way]) -> list[str | None]:
        """Return the joint where some ways in order begin, and that at the end of each; None between tracks."""
        return [self.joint_ahead.get(way) for way in (ways[0].turned(), *ways)]

    def joint_between(self, one: Way, following: Way) -> str | None:
        """Return the joint that a move passes through, None between two tracks of one line."""
        return self._joint.get((one, following))

    def bridge_between(self, one: Way, following: Way) -> float:
        """Return how long the bridge is that a move passes over, m: that of a turntable, else without end."""
        joint = self.joint_between(one, following)
        length = None if joint is None else self.plan.joints[joint].length
        return math.inf if length is None else length

    def met(self, before: Way | None, way: Way) -> tuple[tuple[str, ...], ...]:
        """Return the names that a train meets as it runs onto a way, in order; those in one group at the same time.

        They are the joint at which a route begins, the line and the berth that are entered here, and the joint at the
        way's far end. `before` is the way the train comes from, None where a route begins.
        """
        met: list[tuple[str, ...]] = []
        joint = self.joint_ahead.get(way.turned())
        if before is None and joint is not None:
            met.append((joint,))
        entered = [self.line_of[way.track]] if before is None or joint is not None else []
        berth = self.berth_of.get(way.track)
        if berth is not None and (entered or before is None or self.berth_of.get(before.track) != berth):
            entered.append(berth)
        met.append(tuple(entered))
        if way in self.joint_ahead:
            met.append((self.joint_ahead[way],))
        return tuple(met)

    def length_of(self, ways: Iterable[Way]) -> float:
        """Return the length of some ways together, m."""
        return sum(self.lengths[way] for way in ways)

    def reach(self, starts: Iterable[Way], *, backward: bool = False) -> set[Way]:
        """Return every way that can be reached from some ways, or that can reach them, themselves included.

        Ways against which no train runs are left out.
        """
        starts, beyond = tuple(starts), nx.ancestors if backward else nx.descendants
        for way in starts:
            if way.track not in self.line_of:
                raise RouteError("the plan has no such track", file=self.plan.file, found=f'"{way.track}"')
        run = {way for way in starts if way in self.graph}
        return run.union(*(beyond(self.graph, way) for way in run))

    @cached_property
    def bridges(self) -> tuple[float, ...]:
        """The lengths of turntables that are known, m, each once."""
        return tuple(sorted({joint.length for joint in self.plan.joints.values() if joint.length is not None}))

    @cached_property
    def ways_at(self) -> Mapping[str, tuple[Way, ...]]:
        """The ways on which a train may meet each line, berth and joint, by its name, as in `met`."""
        found: dict[str, list[Way]] = {}
        for way in self.successors:
            for group in self.met(None, way):
                for name in group:
                    found.setdefault(name, []).append(way)
        return {name: tuple(ways) for name, ways in found.items()}

    @cached_property
    def turning(self) -> frozenset[Way]:
        """The ways at whose far end a train may reverse: the last of a berth in either direction, and at ends."""
        ends = {way for way, joint in self.joint_ahead.items() if self.plan.joints[joint].kind == "end"}
        for berth in self.plan.berths.values():
            ends |= {Way(berth.tracks[-1], forward=True), Way(berth.tracks[0], forward=False)}
        return frozenset(way for way in ends if way in self.successors and way.turned() in self.successors)

    @cached_property
    def run_both_ways(self) -> MovementGraph:
        """The movement graph of the same plan with every line run both ways: itself where all are."""
        return self._with_runs(_BOTH)

    @cached_property
    def backward(self) -> MovementGraph:
        """The movement graph with every one-way line run the other way: what led to a place leads from it there."""
        return self._with_runs(_BACKWARD)

    def _with_runs(self, other: Mapping[_Runs, _Runs]) -> MovementGraph:
        if all(line.runs == "both" for line in self.plan.lines.values()):
            return self
        lines = {name: replace(line, runs=other[line.runs]) for name, line in self.plan.lines.items()}
        return MovementGraph(replace(self.plan, lines=lines))


@dataclass(frozen=True, slots=True)
class RouteEnd:
    """A joint, a line's end or a berth: `departures` are the first ways from it, `arrivals` the last to it."""

    name: str
    departures: tuple[Way, ...]
    arrivals: tuple[Way, ...]


def route_end(graph: MovementGraph, name: str) -> RouteEnd:
    """Return the end of routes of that name: a joint, a berth, or a line's end such as ``Main.to``.

    Each way that leads into its track from outside is the first of a route that leaves it. A route that arrives runs
    over the same ways turned; in a berth it ends at the far side, so both are the same there.
    """
    plan = graph.plan
    line, _, end = name.rpartition(".")
    if name in plan.berths:
        tracks = plan.berths[name].tracks
        outward = [Way(tracks[0], forward=True), Way(tracks[-1], forward=False)]
    elif name in plan.joints:
        outward = [graph.entering(each) for each in plan.joints[name].ends]
    elif line in plan.lines and end in ("from", "to"):
        outward = [graph.entering(LineEnd(line, "from" if end == "from" else "to"))]
    else:
        raise RouteError("no joint, berth or end of a line has this name", found=f'"{name}"')
    departures = tuple(way for way in outward if way in graph.graph)
    arrivals = tuple(way.turned() for way in outward if way.turned() in graph.graph)
    return RouteEnd(name, departures, arrivals)


def standing_places(graph: MovementGraph) -> list[RouteEnd]:
    """Return the places between which trains run: every berth, and every end of track that is not a berth's."""
    ends = (joint for joint in graph.plan.joints.values() if joint.kind == "end")
    free = [joint.name for joint in ends if graph.entering(joint.ends[0]).track not in graph.berth_of]
    return [route_end(graph, name) for name in (*graph.plan.berths, *free)]


def first_and_last(graph: MovementGraph, wanted: NamedRoute) -> list[tuple[Sequence[Way], Sequence[Way]]]:
    """Return the first ways of a declared route and the last ones that go with them.

    Out of a berth and home to it a train runs over its whole length each time, so the last way is the first one turned.
    """
    origin, destination = route_end(graph, wanted.origin), route_end(graph, wanted.destination)
    if wanted.origin != wanted.destination or wanted.origin not in graph.plan.berths:
        return [(origin.departures, destination.arrivals)]
    return [([way], [way.turned()]) for way in origin.departures]
