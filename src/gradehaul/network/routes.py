"""The routes of a plan: those it declares, or where it declares none, those that tell most."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from gradehaul.network.declared import declared_routes
from gradehaul.network.graph import MovementGraph, Way
from gradehaul.network.route import RouteList
from gradehaul.network.undeclared import all_routes, telling_routes


def find_routes(graph: MovementGraph, steepest: Mapping[Way, float], *, list_all: bool = False) -> RouteList:
    """Return the declared routes of a plan; where there are none, the telling ones.

    Those are, for every ordered pair of ends and berths, the route with the lowest and the one with the highest
    ruling grade, or one where these are alike, and every lap. With `list_all`, the declared routes and every other.
    Lists have a limit, and a note where it was reached. No two routes have the same name.

    Parameters
    ----------
    graph
        The movement graph of the plan.
    steepest
        The steepest effective grade on each way.

    Raises
    ------
    Problems
        Declared routes that no train can follow.
    """
    if list_all:
        return _with_all_others(graph, declared_routes(graph))
    if graph.plan.routes:
        return declared_routes(graph)
    return telling_routes(graph, steepest)


def _with_all_others(graph: MovementGraph, declared: RouteList) -> RouteList:
    """Return declared routes and behind them every route that is none of them."""
    every = all_routes(graph)
    known = {route.ways for route in declared.routes}
    names = {route.name for route in declared.routes}
    others = [
        replace(route, name=f"{route.name}, undeclared") if route.name in names else route
        for route in every.routes
        if route.ways not in known
    ]
    return RouteList((*declared.routes, *others), every.between, (*declared.notes, *every.notes))
