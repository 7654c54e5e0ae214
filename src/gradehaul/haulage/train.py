"""Trains: vehicles from head to tail, in blocks of equal ones."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import takewhile
from typing import Literal

import numpy as np

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.resistance import lowest
from gradehaul.network.engine_moves import RunRound
from gradehaul.network.route import Tail
from gradehaul.plan.names import look_up
from gradehaul.plan.records import Basis, Car, Loco, NamedTrain, Plan, Power
from gradehaul.plan.resolve.stock import TOGETHER
from gradehaul.quantities.si import Meters, Share
from gradehaul.track.piecewise import FloatArray

Engine = Literal["leading", "trailing"]
"""Where the locomotives stand as a train starts: ahead of its cars, or behind them."""


@dataclass(frozen=True, slots=True)
class Block:
    """Equal vehicles in a row; their weight is spread evenly over their length."""

    vehicle: Car | Loco
    count: int

    @property
    def mass(self) -> float:
        """Mass of the whole block, kg."""
        return self.count * self.vehicle.mass

    @property
    def length(self) -> float:
        """Length of the whole block over couplers, m."""
        return self.count * self.vehicle.length


@dataclass(frozen=True)
class Train:
    """Blocks from head to tail; `together` is the share of the sum of their pulls that its locomotives have together.

    A locomotive's own rolling resistance on level straight track is in its readings already, so `rolling`, `starting`
    and `lowest_rolling`, N, are those of the cars.
    """

    blocks: tuple[Block, ...]
    together: Share = 1.0
    together_basis: Basis = "stated"

    def after(self, run_rounds: Iterable[RunRound | None]) -> Train:
        """Return the train as it runs on after reversals, with the way round it that locomotives take at each.

        Its tail becomes its head; then the locomotives behind all its cars go round to the other end and lead, unless
        there is None. They keep their order along the track, or come in the opposite one where their way turns them. A
        leg of a route has these as its `run_rounds`.
        """
        blocks = self.blocks
        for way in run_rounds:
            blocks = blocks[::-1]
            if way is not None and self.cars:
                stay = len(blocks) - len(_at_tail(blocks))
                locos = blocks[stay:]
                blocks = (*(locos[::-1] if way.turns else locos), *blocks[:stay])
        return replace(self, blocks=blocks)

    def with_cars(self, first: int, last: int) -> Train:
        """Return it with every locomotive and its cars, counted from the head, from one number up to another."""
        blocks: list[Block] = []
        passed = 0
        for block in self.blocks:
            stay = block.count
            if isinstance(block.vehicle, Car):
                stay = min(last, passed + block.count) - max(first, passed)
                passed += block.count
            if stay > 0:
                blocks.append(Block(block.vehicle, stay))
        return replace(self, blocks=tuple(blocks))

    def too_long_round(self, tails: Sequence[Tail]) -> Iterator[tuple[Tail, float, float]]:
        """Yield the tails in which its locomotives are too long to run round it, how long they are, and may be, m."""
        for number, tail in enumerate(tails):
            arrives = self.after(each.run_round for each in tails[:number])
            length = sum(block.length for block in _at_tail(arrives.after([None]).blocks))
            if self.cars and tail.round_room is not None and length > tail.round_room * (1 + 1e-9):
                yield tail, length, tail.round_room

    @cached_property
    def edges(self) -> FloatArray:
        """Distance of the front of every block behind the head, m, and that of the tail, shape (blocks + 1,)."""
        return np.concatenate([[0.0], np.cumsum([block.length for block in self.blocks])])

    @property
    def length(self) -> Meters:
        """Length over couplers, m."""
        return float(self.edges[-1])

    @cached_property
    def line_weights(self) -> FloatArray:
        """Weight per length of every block, N/m, shape (blocks,)."""
        return np.array([GRAVITY * block.mass / block.length for block in self.blocks])

    @cached_property
    def locos(self) -> tuple[tuple[Loco, float], ...]:
        """Every locomotive and how far behind the head its front is, m."""
        return tuple(
            (block.vehicle, float(edge) + number * block.vehicle.length)
            for block, edge in zip(self.blocks, self.edges[:-1], strict=True)
            if isinstance(block.vehicle, Loco)
            for number in range(block.count)
        )

    @cached_property
    def cars(self) -> tuple[tuple[Car, int], ...]:
        """Every block of cars and how many they are."""
        return tuple((block.vehicle, block.count) for block in self.blocks if isinstance(block.vehicle, Car))

    @property
    def rolling(self) -> float:
        """Rolling resistance of the cars on level straight track, N."""
        return sum(GRAVITY * count * car.mass * car.rolling.value for car, count in self.cars)

    @property
    def starting(self) -> float:
        """Starting resistance of the cars, N."""
        return sum(GRAVITY * count * car.mass * car.starting.value for car, count in self.cars)

    @property
    def lowest_rolling(self) -> float:
        """Rolling resistance that the cars fall short of in one case of twenty, N."""
        return sum(GRAVITY * count * car.mass * lowest(car.rolling, car.rolling_drop) for car, count in self.cars)


def pushed(train: Train) -> bool:
    """Return whether the locomotives of a train with cars in one row are behind them."""
    return isinstance(train.blocks[0].vehicle, Car)


def _at_tail(blocks: Sequence[Block]) -> list[Block]:
    """Return the locomotives behind all cars."""
    return list(takewhile(lambda block: isinstance(block.vehicle, Loco), reversed(blocks)))


def build_train(plan: Plan, named: NamedTrain) -> Train:
    """Make up a named train from the stock of its plan.

    Its locomotives work together as the train says; else as their power says where all are of one; else at 90 %, or at
    the least that any of its powers says where that is less.
    """
    blocks: list[Block] = []
    powers: list[Power] = []
    for cut in named.consist:
        if cut.name in plan.cars:
            blocks.append(Block(plan.cars[cut.name], cut.count))
        else:
            power = plan.powers[cut.name]
            powers += [power] * cut.count
            blocks += _locos(plan, [name for _ in range(cut.count) for name in power.locos])
    if named.together is not None:
        return Train(tuple(blocks), named.together, "stated")
    if len(powers) == 1:
        return Train(tuple(blocks), powers[0].together, powers[0].basis)
    return Train(tuple(blocks), min([TOGETHER, *(power.together for power in powers)]), "assumed")


def trains_named(plan: Plan, names: Sequence[str]) -> tuple[str, ...]:
    """Return names of trains, each once, those of all where none is named; refuse one that the plan does not have."""
    for name in names:
        look_up(name, plan.trains, "train", file=plan.file, place="--train")
    return tuple(dict.fromkeys(names or plan.trains))


def headed_by(plan: Plan, power: Power, car: Car, count: int, *, engine: Engine = "leading") -> Train:
    """Return a train of equal cars as it starts, with a power ahead of them or, trailing, behind them.

    As it runs on a leg of a route it is that train `after` the leg's `run_rounds`, like any other.
    """
    cars = (Block(car, count),) if count else ()
    train = Train((*_locos(plan, power.locos), *cars), power.together, power.basis)
    return train if engine == "leading" else train.after([None])


def _locos(plan: Plan, names: Iterable[str]) -> list[Block]:
    blocks: list[Block] = []
    for name in names:
        loco = plan.locos[name]
        if blocks and blocks[-1].vehicle is loco:
            blocks[-1] = Block(loco, blocks[-1].count + 1)
        else:
            blocks.append(Block(loco, 1))
    return blocks
