"""Cutting cars off and doubling: how to take over a hill, in parts, a train that does not get over it whole."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from gradehaul.haulage.demand import Pulls
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Block, Train
from gradehaul.haulage.verdict import judge
from gradehaul.plan.records import Car, Loco


@dataclass(frozen=True, slots=True)
class Doubling:
    """A train taken over in two parts: so many cars of its front part, and of its rear part, which goes second.

    `foot_holds` and `summit_holds` tell whether the rear part stands clear where the route begins while the front part
    goes, and the front part where it ends while the rear part is fetched; None where the route has no berth there.
    """

    front: int
    rear: int
    foot_holds: bool | None
    summit_holds: bool | None

    @property
    def held(self) -> bool:
        """Whether both parts have a place to stand."""
        return bool(self.foot_holds) and bool(self.summit_holds)


def cars_to_leave(profile: RouteProfile, train: Train, rail: str, pulls: Pulls) -> int | None:
    """Return the fewest cars to leave behind, from the tail, so that the rest climbs; None where no number will do.

    A helper behind the cars stays on the train. Fewer cars are not always lighter work: over a sawtooth a car can ease
    the rest, so every number is tried.

    Parameters
    ----------
    profile, train, rail, pulls
        The train, its route, the rail condition and the pulls of the plan's locomotives.
    """
    total = sum(count for _, count in train.cars)
    for left in range(total + 1):
        if judge(profile, _with_cars(train, 0, total - left), rail, pulls).outcome == "climbs":
            return left
    return None


def doubling(
    profile: RouteProfile, train: Train, rail: str, pulls: Pulls, *, foot: float | None, summit: float | None
) -> Doubling | None:
    """Return how to split a train so that each part climbs with all its locomotives; None where no split will do.

    Of the splits that will do, those are taken whose parts have room to stand, and of these the most even one. Only a
    train with its locomotives ahead of all its cars can be doubled without more ado. Over reversals each part runs the
    whole route: in a tail the locomotive stands at the stop with the cars between it and the way out, so that none of
    them can be left there.

    Parameters
    ----------
    profile, train, rail, pulls
        The train, its route, the rail condition and the pulls of the plan's locomotives.
    foot, summit
        Clear length of the berths where the route begins and ends, m, None where there is none.
    """
    if not _headed(train):
        return None
    lengths = [car.length for car, count in train.cars for _ in range(count)]
    total = len(lengths)
    found: list[Doubling] = []
    climbs: dict[tuple[int, int], bool] = {}

    def up(first: int, last: int) -> bool:
        if (first, last) not in climbs:
            part = _with_cars(train, first, last)
            climbs[first, last] = judge(profile, part, rail, pulls).outcome == "climbs"
        return climbs[first, last]

    for front in range(1, total):
        if up(0, front) and up(front, total):
            rear_length, front_length = sum(lengths[front:]), sum(lengths[:front])
            found.append(
                Doubling(
                    front,
                    total - front,
                    None if foot is None else rear_length <= foot * (1 + 1e-9),
                    None if summit is None else front_length <= summit * (1 + 1e-9),
                )
            )
    return min(found, key=lambda way: (not way.held, abs(way.front - way.rear), way.front), default=None)


def _headed(train: Train) -> bool:
    kinds = [isinstance(block.vehicle, Loco) for block in train.blocks]
    return bool(kinds) and kinds == sorted(kinds, reverse=True)


def _with_cars(train: Train, first: int, last: int) -> Train:
    """Return a train with every locomotive and its cars, counted from the head, from one number up to another."""
    return Train(tuple(_kept(train, first, last)), train.together, train.together_basis)


def _kept(train: Train, first: int, last: int) -> Iterator[Block]:
    passed = 0
    for block in train.blocks:
        if not isinstance(block.vehicle, Car):
            yield block
            continue
        stay = min(last, passed + block.count) - max(first, passed)
        passed += block.count
        if stay > 0:
            yield Block(block.vehicle, stay)
