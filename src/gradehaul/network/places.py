"""Ends of routes: where a route may begin and end, and the ways that leave and reach it there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gradehaul.errors import RouteError
from gradehaul.network.graph import MovementGraph, Way
from gradehaul.plan.records import LineEnd, NamedRoute


@dataclass(frozen=True, slots=True)
class RouteEnd:
    """A joint, a line's end or a berth: `departures` are the first ways from it, `arrivals` the last to it."""

    name: str
    departures: tuple[Way, ...]
    arrivals: tuple[Way, ...]
    mid_track: bool
    """Whether it is neither a berth nor an end of track, so that the track behind a train there is assumed level."""


def route_end(graph: MovementGraph, name: str) -> RouteEnd:
    """Return the end of routes of that name: a joint, a berth, or a line's end such as ``Main.to``.

    Each way that leads into its track from outside is the first of a route that leaves it. A route that arrives runs
    over the same ways turned; in a berth it ends at the far side, so both are the same there.

    Raises
    ------
    RouteError
        No such place.
    """
    plan = graph.plan
    line, _, end = name.rpartition(".")
    mid_track = False
    if name in plan.berths:
        tracks = plan.berths[name].tracks
        outward = [Way(tracks[0], forward=True), Way(tracks[-1], forward=False)]
    elif name in plan.joints:
        joint = plan.joints[name]
        outward, mid_track = [graph.entering(each) for each in joint.ends], joint.kind != "end"
    elif line in plan.lines and end in ("from", "to"):
        line_end = LineEnd(line, "from" if end == "from" else "to")
        mid_track = plan.joints[plan.lines[line].joint(line_end.end)].kind != "end"
        outward = [graph.entering(line_end)]
    else:
        raise RouteError("no joint, berth or line's end has this name", found=f'"{name}"')
    departures = tuple(way for way in outward if way in graph.graph)
    arrivals = tuple(way.turned() for way in outward if way.turned() in graph.graph)
    return RouteEnd(name, departures, arrivals, mid_track)


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
