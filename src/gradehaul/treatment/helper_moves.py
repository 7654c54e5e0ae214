"""Helper moves: whether a helper can come on to a train where it stands, and get out of its way again."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.profile import RouteProfile
from gradehaul.network.engine_moves import can_clear
from gradehaul.network.graph import Way

Obstacle = Literal["start", "room", "on", "off"]
"""What keeps a helper from its work: the train fails before all of it stands on the route; train and helper are too
long for the tail or berth that must hold both; the helper cannot come on; it cannot get out of the way."""

_WHOLE = 1 + 1e-9
"""A train so little longer than its room is as long."""

_NEAR = 1e-6
"""Places so near each other, m, are one."""


@dataclass(frozen=True)
class Stand:
    """A train and its helper, m long each, on one leg of a route."""

    layout: Layout
    profile: RouteProfile
    leg: RouteProfile
    train: float
    helper: float

    @property
    def begins(self) -> float:
        """Where the train's head is when all of it first stands on the leg, m."""
        return 0.0 if self.leg.route.lap or self.leg.route.starts_whole else min(self.train, self.leg.length)

    @property
    def both(self) -> float:
        """Length of train and helper, m."""
        return self.train + self.helper

    def under(self, start: float, stop: float) -> tuple[Way, ...]:
        """Return the ways of the leg between two places, in running order; on a lap it is as if unrolled."""
        ways, starts, length = self.leg.route.ways, self.leg.starts.tolist(), self.leg.length
        turns = range(math.floor(start / length), math.ceil(stop / length)) if self.leg.route.lap else (0,)
        return tuple(
            way
            for turn in turns
            for way, a, b in zip(ways, starts[:-1], starts[1:], strict=True)
            if a + turn * length < stop - _NEAR and b + turn * length > start + _NEAR
        )

    def tracks(self, start: float, stop: float) -> set[str]:
        """Return the tracks of the leg between two places."""
        return {way.track for way in self.under(start, stop)}

    def run_before(self, at: float) -> set[str]:
        """Return the tracks that the train has run over with its head at a place; on a lap, all of them."""
        if self.leg.route.lap:
            return self.tracks(0.0, self.leg.length)
        earlier = self.profile.route.legs[: max(self.leg.route.number - 1, 0)]
        return self.tracks(0.0, at).union(*({way.track for way in leg.ways} for leg in earlier))

    def run_after(self, at: float) -> set[str]:
        """Return the tracks that the train is still to run over with its head at a place; on a lap, all of them."""
        if self.leg.route.lap:
            return self.tracks(0.0, self.leg.length)
        later = self.profile.route.legs[self.leg.route.number :] if self.leg.route.number else ()
        return self.tracks(at, self.leg.length).union(*({way.track for way in leg.ways} for leg in later))

    def ahead(self, at: float) -> tuple[Way, ...]:
        """Return the way behind a helper at the head and those that it stands on, the train's own head at a place."""
        return (*self.under(at - 2 * _NEAR - self.train, at)[-1:], *self.under(at, at + self.helper))

    def behind(self, at: float) -> tuple[Way, ...]:
        """Return the way that the train's tail stands on and those of a helper behind it, in the direction away."""
        tail = at - self.train
        ways = self.under(tail - self.helper, tail + 2 * _NEAR)
        return tuple(way.turned() for way in reversed(ways))


def obstacle(stand: Stand, where: Literal["head", "tail"], on: float, off: float) -> Obstacle | None:
    """Return what keeps a helper from coming on and going off with the train's own head at two places of the leg."""
    if where == "head":
        return _head_on(stand, on) or _head_off(stand, off)
    return _tail_on(stand, on) or _tail_off(stand, off)


def _head_on(stand: Stand, at: float) -> Obstacle | None:
    # it waits ahead, on track that the train has not yet run over, or comes there from other track
    if at + stand.helper > stand.leg.length * _WHOLE and not stand.leg.route.lap:
        return "on"
    begun = max(place for place in stand.leg.starts.tolist() if place <= at + _NEAR)
    if stand.run_before(begun).isdisjoint(stand.tracks(at, at + stand.helper)):
        return None
    graph, taken = stand.layout.movements.backward, stand.tracks(at - stand.train, at)
    return None if can_clear(graph, stand.ahead(at), taken, stand.run_before(at), stand.helper) else "on"


def _head_off(stand: Stand, at: float) -> Obstacle | None:
    # it runs ahead and off the route; or at its end both must stand, the helper shut in by the train
    route, leg = stand.profile.route, stand.leg
    tails, number = route.tails, leg.route.number
    if 0 < number <= len(tails):
        tail = tails[number - 1]
        if at + stand.helper > (leg.length - tail.length) * _WHOLE:
            if stand.both <= stand.layout.tail_room(tail) * _WHOLE:
                # the train turns back and leaves it there, if it does not come again
                shared = stand.tracks(leg.length - tail.length, leg.length)
                ways = [way.track for each in route.legs[number:] for way in each.ways]
                return "off" if any(ways.count(track) > 1 for track in shared) else None
            if at + stand.helper > leg.length * _WHOLE or not _runs_off(stand, at):
                return "room"
            return None
    elif at + stand.helper > leg.length * _WHOLE and not route.lap:
        room = leg.length if route.end_berth is None else stand.layout.clear[route.end_berth].length
        return "room" if stand.both > room * _WHOLE else None
    return None if _runs_off(stand, at) else "off"


def _runs_off(stand: Stand, at: float) -> bool:
    taken = stand.tracks(at - stand.train, at)
    return can_clear(stand.layout.movements, stand.ahead(at), taken, stand.run_after(at), stand.helper)


def _tail_on(stand: Stand, at: float) -> Obstacle | None:
    # it waits behind the train where that starts, or comes behind it from track that the train does not run over
    route, leg = stand.profile.route, stand.leg
    number = leg.route.number
    if number > 1:
        room = stand.layout.tail_room(route.tails[number - 2])
    elif leg.route.start_berth is not None:
        room = stand.layout.clear[leg.route.start_berth].length
    else:
        room = 0.0 if leg.route.lap else at
    if stand.both <= room * _WHOLE:
        return None
    taken = stand.tracks(at - stand.train, at)
    if can_clear(stand.layout.movements.backward, stand.behind(at), taken, stand.run_before(at), stand.helper):
        return None
    return "room" if at <= max(stand.begins, stand.train) + _NEAR else "on"


def _tail_off(stand: Stand, at: float) -> Obstacle | None:
    # it stays where it drops off, unless the train runs there again: then it must get out of the way
    after = stand.run_after(at)
    tail = at - stand.train
    if after.isdisjoint(stand.tracks(tail - stand.helper, tail)):
        return None
    taken = stand.tracks(tail, at)
    return None if can_clear(stand.layout.movements, stand.behind(at), taken, after, stand.helper) else "off"
