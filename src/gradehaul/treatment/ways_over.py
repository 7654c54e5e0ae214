"""What to do about a train that does not climb: leave cars, take it over in two parts, or help it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, Literal

from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.answers.judged import misfits, outcome_of
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train, build_train, pushed
from gradehaul.haulage.verdict import Outcome, judge
from gradehaul.network.engine_moves import can_reach, run_round
from gradehaul.network.route import Route
from gradehaul.plan.records import Loco
from gradehaul.treatment.helping import Help, helps

Undivided = Literal["order", "pull", "foot", "summit", "through", "return"]
"""Why a train cannot be doubled: its locomotives are not all ahead of its cars; no split leaves two parts that climb
and fit; no berth holds the second part where the route begins, or both parts and the locomotives where it ends; the
route runs again over track on which a part stands; the locomotives do not get back to the second part."""

_WHOLE = 1 + 1e-9
"""What is so little longer than its room fits."""


@dataclass(frozen=True, slots=True)
class Doubling:
    """A train taken over in two parts: so many cars of its front part, and of its rear part, which goes second.

    The rear part waits where the route begins; where it ends, both parts stand with the locomotives.
    """

    KEYS: ClassVar[str] = "front_cars=front rear_cars=rear foot_holds summit_holds"

    front: int
    rear: int
    foot_holds: bool = True
    """Whether a berth holds the rear part where the route begins: a train is doubled only where one does."""
    summit_holds: bool = True
    """Whether a berth holds both parts where the route ends: a train is doubled only where one does."""


def cars_to_leave(layout: Layout, profile: RouteProfile, train: Train, rail: str) -> int | None:
    """Return the fewest cars to leave behind, from the tail, so that the rest climbs; None where no number works.

    The rest must fit where it stands and runs, too. A helper behind the cars stays on the train. Fewer cars are not
    always lighter work: over a sawtooth a car can ease the rest, so every number is tried.
    """
    total = sum(count for _, count in train.cars)
    for left in range(total + 1):
        rest = train.with_cars(0, total - left)
        if outcome_of(judge(profile, rest, rail, layout.pulls), misfits(layout, profile.route, rest)) == "climbs":
            return left
    return None


def doubling(layout: Layout, profile: RouteProfile, train: Train, rail: str) -> Doubling | Undivided:
    """Return how to take a train over in two parts, the most even split that can be done, or why none can be.

    Over reversals each part runs the whole route: in a tail the locomotive stands at the stop with the cars between it
    and the way out, so that none of them can be left there. After the first part the locomotives come back alone, past
    the berths in which cars stand.
    """
    kinds = [isinstance(block.vehicle, Loco) for block in train.blocks]
    if not kinds or kinds != sorted(kinds, reverse=True):
        return "order"
    route, total = profile.route, sum(count for _, count in train.cars)
    splits = [
        split
        for split in _splits(profile, train, rail, layout.pulls)
        if all(_passes(layout, route, train.with_cars(*own)) for own in ((0, split.front), (split.front, total)))
    ]
    if not splits:
        return "pull"
    foot, summit = (
        0.0 if name is None else layout.clear[name].length * _WHOLE for name in (route.start_berth, route.end_berth)
    )
    lengths = [car.length for car, count in train.cars for _ in range(count)]
    waiting = [split for split in splits if sum(lengths[split.front :]) <= foot]
    if not waiting:
        return "foot"
    if train.length > summit:
        return "summit"
    most_even = min(waiting, key=lambda split: (abs(split.front - split.rear), split.front))
    return _standing_in_the_way(layout, route, train) or most_even


def _passes(layout: Layout, route: Route, part: Train) -> bool:
    """Return whether a part fits tails, loops, run-rounds and its lap; of the berths at both ends `doubling` sees."""
    return all(each.kind == "berth" for each in misfits(layout, route, part))


def _splits(profile: RouteProfile, train: Train, rail: str, pulls: Pulls) -> Iterator[Doubling]:
    """Yield the splits of a train both of whose parts climb with all its locomotives."""
    total = sum(count for _, count in train.cars)

    def climbs(first: int, last: int) -> bool:
        return judge(profile, train.with_cars(first, last), rail, pulls).outcome == "climbs"

    for front in range(1, total):
        if climbs(0, front) and climbs(front, total):
            yield Doubling(front, total - front)


def _standing_in_the_way(layout: Layout, route: Route, train: Train) -> Literal["through", "return"] | None:
    """Return what keeps locomotives from fetching the second part while cars stand in the berths at both ends."""
    engine = sum(block.length for block in train.blocks if isinstance(block.vehicle, Loco))
    berths = [name for name in (route.start_berth, route.end_berth) if name is not None]
    taken = {track for name in berths for track in layout.plan.berths[name].tracks}
    outside = [number for number, way in enumerate(route.ways) if way.track not in taken]
    if len(set(berths)) < 2 or not outside or outside != list(range(outside[0], outside[-1] + 1)):
        return "through"
    for tail, leg in zip(route.tails, route.legs, strict=False):
        around = run_round(layout.movements, leg.ways[-1], taken) if tail.run_round is not None else None
        if tail.run_round is not None and (around is None or engine > around.room * _WHOLE):
            return "through"
    arrives = train.after((route.legs or (route,))[-1].run_rounds)
    # at the head of its cars the engine stands on the last way; behind them it goes out as it came
    out = route.ways[outside[-1] + 1].turned() if pushed(arrives) else route.ways[-1]
    back = can_reach(layout.movements, [out], route.ways[outside[0] - 1].turned(), taken, engine)
    return None if back else "return"


@dataclass(frozen=True, slots=True)
class WaysOver:
    """The ways over the hill for a train that does not climb on a rail condition.

    `leave` is the fewest cars to leave behind, None where that does not help; `double` how to take it over in two
    parts, or why that cannot be done; `help` what each locomotive does as a helper. Over reversals all of it holds leg
    by leg, with the train's order turned between them.
    """

    KEYS: ClassVar[str] = "train rail cars leave_cars=leave doubling=parts no_doubling=undivided helpers=help"

    train: str
    rail: str
    outcome: Outcome
    cars: int
    leave: int | None
    double: Doubling | Undivided
    help: tuple[Help, ...]

    @property
    def parts(self) -> Doubling | None:
        """How to take it over in two parts, None where that cannot be done."""
        return self.double if isinstance(self.double, Doubling) else None

    @property
    def undivided(self) -> Undivided | None:
        """Why it cannot be taken over in two parts, None where it can."""
        return None if isinstance(self.double, Doubling) else self.double


def ways_over(layout: Layout, answer: CheckAnswer) -> tuple[WaysOver, ...]:
    """Return the ways over for every named train that does not climb on a rail by which the layout is judged.

    Any locomotive of the plan may help.
    """
    plan = layout.plan
    found: list[WaysOver] = []
    for judged in answer.trains:
        if judged.rail not in answer.judged_rails or judged.outcome == "climbs":
            continue
        train = build_train(plan, plan.trains[judged.name])
        profile = layout.profile(judged.route)
        found.append(
            WaysOver(
                judged.name,
                judged.rail,
                judged.outcome,
                sum(count for _, count in train.cars),
                cars_to_leave(layout, profile, train, judged.rail),
                doubling(layout, profile, train, judged.rail),
                helps(layout, profile, train, judged.rail, tuple(plan.locos.values())),
            )
        )
    return tuple(found)
