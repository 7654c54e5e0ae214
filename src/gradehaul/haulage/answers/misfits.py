"""Misfits: places of its route that do not hold a train, whole or its locomotives alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gradehaul.haulage.longest import RoomKind
from gradehaul.haulage.train import Train
from gradehaul.network.route import Route
from gradehaul.quantities.si import Meters

if TYPE_CHECKING:
    from gradehaul.haulage.answers.layout import Layout

_WHOLE = 1 + 1e-9
"""A train so little longer than its room still fits."""


@dataclass(frozen=True, slots=True)
class Misfit:
    """A place that does not hold a train: its name, its kind, the train's length there, m, and the length available, m.

    In a ``run-round`` the length is that of the locomotives which go round their train.
    """

    place: str
    kind: RoomKind
    length: Meters
    available: Meters


def misfits(layout: Layout, route: Route, train: Train) -> tuple[Misfit, ...]:
    """Return the places of a route that do not hold a train: berths, tails, its lap, its tightest loop, run-rounds.

    Examples
    --------
    >>> from gradehaul.haulage.answers.layout import Layout
    >>> from gradehaul.haulage.train import made_up
    >>> from gradehaul.plan import read_plan
    >>> plan = read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead = { Foot = 0, Top = 0.1 }
    ... line.Hill = { from = "Foot", to = "Top", track = [{ straight = 1, berth = "Yard" }, { straight = 4 }] }
    ... loco.tank = { mass = "400 g", length = 0.2, pull.clean = "80 gf" }
    ... car.ore = { mass = "100 g", length = 0.15 }
    ... train.up = { route = "Up", consist = ["tank", "6 ore"] }
    ... route.Up = { from = "Yard", to = "Top" }
    ... ''')
    >>> layout = Layout(plan)
    >>> [(each.place, each.kind) for each in misfits(layout, layout.route("Up"), made_up(plan, plan.trains["up"]))]
    [('berth "Yard"', 'berth')]
    """
    rooms = (
        Misfit(room.name, room.kind, train.length, room.length)
        for room in layout.rooms(route)
        if train.length > room.length * _WHOLE
    )
    shut_in = (
        Misfit(f"the run-round {tail.place}", "run-round", length, room)
        for tail, length, room in train.too_long_round(route.tails)
    )
    return (*rooms, *shut_in)
