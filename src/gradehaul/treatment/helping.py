"""Helper districts: from which joint to which a train needs another locomotive, and whether that is enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Literal

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.demand import Pulls
from gradehaul.haulage.joint_places import JointPlace, joints_along
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Block, Train
from gradehaul.haulage.verdict import Stretch, Verdict, judge, judge_running
from gradehaul.plan.records import Loco
from gradehaul.plan.resolve.stock import TOGETHER
from gradehaul.quantities.si import Meters
from gradehaul.treatment.helper_moves import Obstacle, Stand, obstacle

Where = Literal["head", "tail"]
_BOTH: tuple[Where, ...] = ("head", "tail")


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

    On a route with reversals it is for the `leg` by its number, from 1; head and tail are those of the train as it runs
    there. `obstacle` is what keeps the helper from coming on or from getting out of the way; such a helper is not
    enough.
    """

    KEYS: ClassVar[str] = "loco leg=leg_number where enough fits obstacle districts"

    loco: str
    where: Where
    districts: tuple[District, ...]
    enough: bool
    leg: int = 0
    obstacle: Obstacle | None = None

    @property
    def fits(self) -> bool:
        """Whether the tail or berth holds both the train and its helper where both must stand in it."""
        return self.obstacle != "room"

    @property
    def leg_number(self) -> int | None:
        """The number of its leg, None on a route without reversals."""
        return self.leg or None


def helper_districts(layout: Layout, profile: RouteProfile, train: Train, verdict: Verdict) -> tuple[District, ...]:
    """Return where a train needs help: from the last joint at which it can stop and start alone to the next such one.

    A train stands with its head at the joint, all of it on the route, while the helper comes on or goes off. Where no
    such joint is left, the district reaches from where the train first stands on the route, or to the route's end.

    Parameters
    ----------
    layout, profile, train
        The layout, and the train on its route.
    verdict
        The verdict on the train without help.
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

    Parameters
    ----------
    layout, profile, train, rail
        The layout, and the train on its route and rail condition.
    helpers
        The locomotives to try.
    """
    found: list[Help] = []
    for leg, start in profile.runs:
        verdict = judge(leg, train, rail, layout.pulls)
        districts = helper_districts(layout, leg, train, verdict)
        shown = tuple(replace(each, on_at=each.on_at + start, off_at=each.off_at + start) for each in districts)
        for loco in helpers if districts else ():
            for where in _BOTH:
                stand = Stand(layout, profile, leg, train.length, loco.length)
                found.append(
                    Help(
                        loco.name,
                        where,
                        shown,
                        _enough(leg, train, rail, layout.pulls, loco, where, districts),
                        leg.route.number,
                        _obstacle(stand, where, districts, verdict),
                    )
                )
    return tuple(replace(help_, enough=help_.enough and help_.obstacle is None) for help_ in found)


def _obstacle(stand: Stand, where: Where, districts: Sequence[District], verdict: Verdict) -> Obstacle | None:
    """Return what keeps a helper from coming on or going off in any of the districts, None where nothing does."""
    failing = (*verdict.stalling, *verdict.no_stopping, *verdict.no_recovery)
    if any(stretch.start < stand.begins - 1e-9 for stretch in failing):
        return "start"
    found = (obstacle(stand, where, district.on_at, district.off_at) for district in districts)
    return next((each for each in found if each is not None), None)


def _enough(
    leg: RouteProfile,
    train: Train,
    rail: str,
    pulls: Pulls,
    loco: Loco,
    where: Where,
    districts: Sequence[District],
) -> bool:
    """Return whether a train climbs in every district with a helper on it."""
    together, basis = (train.together, train.together_basis) if len(train.locos) > 1 else (TOGETHER, "assumed")
    helper = (Block(loco, 1),)
    running = train.after(leg.route.run_rounds)
    blocks = (*helper, *running.blocks) if where == "head" else (*running.blocks, *helper)
    helped = Train(blocks, together, basis)
    verdict = judge_running(leg, helped, rail, pulls)
    failing = (*verdict.stalling, *verdict.no_stopping, *verdict.no_recovery)
    # a helper at the head is ahead of the joint at which the train's own head stands
    ahead = loco.length if where == "head" else 0.0
    return not any(
        _meet(stretch, district.on_at + ahead, min(district.off_at + ahead, leg.length))
        for stretch in failing
        for district in districts
    )


def _meet(stretch: Stretch, start: float, stop: float) -> bool:
    return stretch.start < stop and stretch.stop > start
