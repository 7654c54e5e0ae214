"""Helper districts: from which joint to which a train needs another locomotive, and whether it can help there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import ClassVar, Literal

from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.answers.judged import misfits
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.stretches import JointPlace, joints_along
from gradehaul.haulage.train import Block, Train
from gradehaul.haulage.verdict import Verdict, judge, judge_running
from gradehaul.network.engine_moves import can_clear
from gradehaul.network.graph import Way
from gradehaul.plan.records import Loco
from gradehaul.plan.resolve.stock import TOGETHER
from gradehaul.quantities.si import Meters

TrainEnd = Literal["head", "tail"]
_BOTH: tuple[TrainEnd, ...] = ("head", "tail")

Obstacle = Literal["start", "room", "on", "off"]
"""What keeps a helper from its work: the train fails before all of it stands on the route; train and helper are too
long for the tail, berth, loop or lap that must hold both; the helper cannot come on; it cannot get out of the way."""

_WHOLE = 1 + 1e-9
"""A train so little longer than its room is as long."""

_NEAR = 1e-6
"""Places so near each other, m, are one."""


@dataclass(frozen=True, slots=True)
class District:
    """A stretch of a route with a helper: the joints at which it comes on and goes off, and their places, m."""

    KEYS: ClassVar[str] = "on on_m=on_at off off_m=off_at"

    on: str
    on_at: Meters
    off: str
    off_at: Meters


@dataclass(frozen=True, slots=True)
class Help:
    """One locomotive as a helper at one end of a train: where it is on, and whether the train then climbs.

    On a route with reversals it is for the `leg` by its number, from 1, else None; head and tail are those of the train
    as it runs there. `obstacle` is what keeps the helper from coming on or from getting out of the way; such a helper
    is not enough.
    """

    KEYS: ClassVar[str] = "loco leg where enough fits obstacle districts"

    loco: str
    where: TrainEnd
    districts: tuple[District, ...]
    enough: bool
    leg: int | None = None
    obstacle: Obstacle | None = None

    @property
    def fits(self) -> bool:
        """Whether the tail or berth holds both the train and its helper where both must stand in it."""
        return self.obstacle != "room"


def helper_districts(layout: Layout, profile: RouteProfile, train: Train, verdict: Verdict) -> tuple[District, ...]:
    """Return where a train needs help: from the last joint at which it can stop and start alone to the next such one.

    A train stands with its head at the joint, all of it on the route, while the helper comes on or goes off. Where no
    such joint is left, the district reaches from where the train first stands on the route, or to the route's end.

    `verdict` is that on the train without help.
    """
    failing = sorted(
        (stretch.start, stretch.stop) for stretch in (*verdict.stalling, *verdict.no_stopping, *verdict.no_recovery)
    )
    begins = 0.0 if profile.route.lap else min(train.length, profile.length)
    able = [
        joint
        for joint in joints_along(layout, profile)
        if joint.at >= begins - 1e-9 and not any(a < joint.at < b for a, b in failing)
    ]
    first = JointPlace(begins, profile.route.origin, "plain")
    last = JointPlace(profile.length, profile.route.destination, "plain")
    districts: list[District] = []
    for start, stop in failing:
        on = max((joint for joint in able if joint.at <= start), key=lambda joint: joint.at, default=first)
        off = min((joint for joint in able if joint.at >= stop), key=lambda joint: joint.at, default=last)
        if districts and on.at <= districts[-1].off_at:
            before = districts.pop()
            if before.off_at > off.at:
                off = JointPlace(before.off_at, before.off, "plain")
            on = JointPlace(before.on_at, before.on, "plain")
        districts.append(District(on.name, on.at, off.name, off.at))
    return tuple(districts)


def helps(layout: Layout, profile: RouteProfile, train: Train, rail: str, helpers: Sequence[Loco]) -> tuple[Help, ...]:
    """Return what each locomotive does as a helper at the head and at the tail of a train that does not climb alone.

    Over reversals it is leg by leg, for those legs on which the train needs help; places are those on the route.
    """
    found: list[Help] = []
    verdicts = [judge(leg, train, rail, layout.pulls) for leg, _ in profile.runs]
    # no helper shortens a train, nor holds it back where none is on it
    hopeless = bool(misfits(layout, profile.route, train)) or not all(each.holds_back for each in verdicts)
    for (leg, start), verdict in zip(profile.runs, verdicts, strict=True):
        districts = helper_districts(layout, leg, train, verdict)
        shown = tuple(replace(each, on_at=each.on_at + start, off_at=each.off_at + start) for each in districts)
        for loco in helpers if districts else ():
            for where in _BOTH:
                helped = HelpedTrain(layout, profile, leg, train.length, loco.length)
                found.append(
                    Help(
                        loco.name,
                        where,
                        shown,
                        _enough(leg, train, rail, layout.pulls, loco, where, districts),
                        leg.route.number or None,
                        _obstacle(helped, where, districts, verdict),
                    )
                )
    return tuple(replace(each, enough=each.enough and each.obstacle is None and not hopeless) for each in found)


def _obstacle(helped: HelpedTrain, where: TrainEnd, districts: Sequence[District], verdict: Verdict) -> Obstacle | None:
    """Return what keeps a helper from coming on or going off in any of the districts, None where nothing does."""
    failing = (*verdict.stalling, *verdict.no_stopping, *verdict.no_recovery)
    if any(stretch.start < helped.begins - 1e-9 for stretch in failing):
        return "start"
    found = (obstacle(helped, where, district.on_at, district.off_at) for district in districts)
    return next((each for each in found if each is not None), None)


def _enough(
    leg: RouteProfile,
    train: Train,
    rail: str,
    pulls: Pulls,
    loco: Loco,
    where: TrainEnd,
    districts: Sequence[District],
) -> bool:
    """Return whether a train climbs in every district with a helper on it."""
    helper = (Block(loco, 1),)
    running = train.after(leg.route.run_rounds)
    blocks = (*helper, *running.blocks) if where == "head" else (*running.blocks, *helper)
    helped = Train(blocks, min(train.together, TOGETHER), "assumed")
    verdict = judge_running(leg, helped, rail, pulls)
    failing = (*verdict.stalling, *verdict.no_stopping, *verdict.no_recovery, *verdict.running_away)
    # a helper at the head is ahead of the joint at which the train's own head stands
    ahead = loco.length if where == "head" else 0.0
    return not any(
        stretch.start < min(district.off_at + ahead, leg.length) and stretch.stop > district.on_at + ahead
        for stretch in failing
        for district in districts
    )


@dataclass(frozen=True)
class HelpedTrain:
    """A train and its helper, m long each, on one leg of a route."""

    layout: Layout
    profile: RouteProfile
    leg: RouteProfile
    train: Meters
    helper: Meters

    @property
    def begins(self) -> float:
        """Where the train's head is when all of it first stands on the leg, m.

        It is 0 on a lap, or where its route starts whole.
        """
        return 0.0 if self.leg.route.lap or self.leg.route.starts_whole else min(self.train, self.leg.length)

    @property
    def both(self) -> float:
        """Length of train and helper, m."""
        return self.train + self.helper

    def meets_itself(self, on: float, off: float) -> bool:
        """Whether both together are longer than the lap, or than a loop that ends where the helper is on."""
        length, lap = self.leg.length, self.leg.route.lap
        if lap and self.both > length * _WHOLE:
            return True
        passed: dict[str, list[float]] = {}
        for joint in joints_along(self.layout, self.leg):
            passed.setdefault(joint.name, []).append(joint.at)
        if lap:
            passed = {name: [*places, *(place + length for place in places)] for name, places in passed.items()}
        loops = [loop for places in passed.values() for loop in pairwise(places)]
        return any(
            _NEAR < far - near < self.both / _WHOLE and far <= off + self.helper and on < near + self.both
            for near, far in loops
        )

    def overhangs_bridge(self, on: float, off: float) -> bool:
        """Whether both together are longer than a turntable over which they run while the helper is on."""
        joints = self.layout.plan.joints
        return any(
            (joints[joint.name].length or math.inf) < self.both * _WHOLE
            and joint.at < off + self.helper
            and on < joint.at + self.both
            for joint in joints_along(self.layout, self.leg)
        )

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

    def run_over(self, at: float, when: Literal["before", "after"]) -> set[str]:
        """Return the tracks that the train runs over before or after its head is at a place; on a lap, all of them."""
        own, legs = self.leg.route, self.profile.route.legs
        if own.lap:
            return self.tracks(0.0, self.leg.length)
        others = legs[: max(own.number - 1, 0)] if when == "before" else legs[own.number :] if own.number else ()
        between = (0.0, at) if when == "before" else (at, self.leg.length)
        return self.tracks(*between).union(*({way.track for way in leg.ways} for leg in others))

    def ahead(self, at: float) -> tuple[Way, ...]:
        """Return the way behind a helper at the head and those that it stands on, the train's own head at a place."""
        return (*self.under(at - 2 * _NEAR - self.train, at)[-1:], *self.under(at, at + self.helper))

    def behind(self, at: float) -> tuple[Way, ...]:
        """Return the way that the train's tail stands on and those of a helper behind it, in the direction away."""
        tail = at - self.train
        ways = self.under(tail - self.helper, tail + 2 * _NEAR)
        return tuple(way.turned() for way in reversed(ways))


def obstacle(helped: HelpedTrain, where: TrainEnd, on: float, off: float) -> Obstacle | None:
    """Return what keeps a helper from coming on and going off with the train's own head at two places of the leg."""
    if helped.meets_itself(on, off) or helped.overhangs_bridge(on, off):
        return "room"
    if where == "head":
        return _head_on(helped, on) or _head_off(helped, off)
    return _tail_on(helped, on) or _tail_off(helped, off)


def _head_on(helped: HelpedTrain, at: float) -> Obstacle | None:
    # it waits ahead, on track that the train has not yet run over, or comes there from other track
    if at + helped.helper > helped.leg.length * _WHOLE and not helped.leg.route.lap:
        return "on"
    begun = max(place for place in helped.leg.starts.tolist() if place <= at + _NEAR)
    if helped.run_over(begun, "before").isdisjoint(helped.tracks(at, at + helped.helper)):
        return None
    graph, taken = helped.layout.movements.backward, helped.tracks(at - helped.train, at)
    return None if can_clear(graph, helped.ahead(at), taken, helped.run_over(at, "before"), helped.helper) else "on"


def _head_off(helped: HelpedTrain, at: float) -> Obstacle | None:
    # it runs ahead and off the route; or at its end both must fit, the helper shut in by the train
    route, leg = helped.profile.route, helped.leg
    tails, number = route.tails, leg.route.number
    if 0 < number <= len(tails):
        tail = tails[number - 1]
        if at + helped.helper > (leg.length - tail.length) * _WHOLE:
            if helped.both <= helped.layout.tail_room(tail) * _WHOLE:
                # the train turns back and leaves it there, if it does not come again
                shared = helped.tracks(leg.length - tail.length, leg.length)
                ways = [way.track for each in route.legs[number:] for way in each.ways]
                return "off" if any(ways.count(track) > 1 for track in shared) else None
            if at + helped.helper > leg.length * _WHOLE or not _runs_off(helped, at):
                return "room"
            return None
    elif at + helped.helper > leg.length * _WHOLE and not route.lap:
        room = leg.length if route.end_berth is None else helped.layout.clear[route.end_berth].length
        return "room" if helped.both > room * _WHOLE else None
    return None if _runs_off(helped, at) else "off"


def _runs_off(helped: HelpedTrain, at: float) -> bool:
    taken = helped.tracks(at - helped.train, at)
    return can_clear(helped.layout.movements, helped.ahead(at), taken, helped.run_over(at, "after"), helped.helper)


def _tail_on(helped: HelpedTrain, at: float) -> Obstacle | None:
    # it waits behind the train where that starts, or comes behind it from track that the train does not run over
    route, leg = helped.profile.route, helped.leg
    number = leg.route.number
    if number > 1:
        room = helped.layout.tail_room(route.tails[number - 2])
    elif leg.route.start_berth is not None:
        room = helped.layout.clear[leg.route.start_berth].length
    else:
        room = 0.0 if leg.route.lap else at
    if helped.both <= room * _WHOLE:
        return None
    taken = helped.tracks(at - helped.train, at)
    if can_clear(
        helped.layout.movements.backward, helped.behind(at), taken, helped.run_over(at, "before"), helped.helper
    ):
        return None
    return "room" if not leg.route.lap and at <= max(helped.begins, helped.train) + _NEAR else "on"


def _tail_off(helped: HelpedTrain, at: float) -> Obstacle | None:
    # it stays where it drops off, unless the train runs there again: then it must get out of the way
    after = helped.run_over(at, "after")
    tail = at - helped.train
    if after.isdisjoint(helped.tracks(tail - helped.helper, tail)):
        return None
    taken = helped.tracks(tail, at)
    return None if can_clear(helped.layout.movements, helped.behind(at), taken, after, helped.helper) else "off"
