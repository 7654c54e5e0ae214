"""Places: where a route may begin and end, and the ways that leave and reach them."""

from __future__ import annotations

from dataclasses import dataclass

from gradehaul.errors import RouteError
from gradehaul.network.graph import MovementGraph, Way
from gradehaul.plan.records import Berth, LineEnd


@dataclass(frozen=True, slots=True)
class Place:
    """A joint, a line's end or a berth: `departures` are the first ways from it, `arrivals` the last to it."""

    name: str
    departures: tuple[Way, ...]
    arrivals: tuple[Way, ...]
    mid_track: bool
    """Whether it is neither a berth nor an end of track, so that the track behind a train there is assumed level."""


def place_named(graph: MovementGraph, name: str) -> Place:
    """Return the place of that name: a joint, a berth, or a line's end such as ``Main.to``.

    Raises
    ------
    RouteError
        No such place.
    """
    plan = graph.plan
    if name in plan.berths:
        return _of_ways(graph, name, _berth_ways(plan.berths[name]))
    if name in plan.joints:
        joint = plan.joints[name]
        return _of_ways(graph, name, [graph.entering(end) for end in joint.ends], mid_track=joint.kind != "end")
    line, _, end = name.rpartition(".")
    if line in plan.lines and end in ("from", "to"):
        line_end = LineEnd(line, "from" if end == "from" else "to")
        joint = plan.joints[plan.lines[line].joint(line_end.end)]
        return _of_ways(graph, name, [graph.entering(line_end)], mid_track=joint.kind != "end")
    raise RouteError("no joint, berth or line's end has this name", found=f'"{name}"')


def standing_places(graph: MovementGraph) -> list[Place]:
    """Return the places between which trains run: every berth, and every end of track that is not a berth's."""
    plan = graph.plan
    places = [place_named(graph, name) for name in plan.berths]
    places += [
        place_named(graph, joint.name)
        for joint in plan.joints.values()
        if joint.kind == "end" and graph.entering(joint.ends[0]).track not in graph.berth_of
    ]
    return places


def _berth_ways(berth: Berth) -> list[Way]:
    return [Way(berth.tracks[0], forward=True), Way(berth.tracks[-1], forward=False)]


def _of_ways(graph: MovementGraph, name: str, outward: list[Way], *, mid_track: bool = False) -> Place:
    """Make a place of the ways that lead into its track from outside, each the first of a route that leaves it.

    A route that arrives runs over the same ways turned; in a berth it ends at the far side, so there both are alike.
    """
    departures = tuple(way for way in outward if way in graph.graph)
    arrivals = tuple(way.turned() for way in outward if way.turned() in graph.graph)
    return Place(name, departures, arrivals, mid_track)
