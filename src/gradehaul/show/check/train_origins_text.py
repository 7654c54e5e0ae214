"""Where the figures of named trains come from: what each is the sum of, and what rules where least is to spare."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.answers.check import CheckAnswer, TrainAnswer
from gradehaul.haulage.answers.demand_breakdown import asked_at_least_margin
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Block, Train, made_up
from gradehaul.plan.rail_condition import PLANNED
from gradehaul.plan.records import Basis, Car, Loco
from gradehaul.show.base.reading_units import Reader

Row = list[str]


def train_rows(answer: CheckAnswer, reader: Reader) -> Iterator[Row]:
    """Yield whose figure, which, its value, where it comes from and how it is worked out, for every named train."""
    plan, pulls = answer.plan, Pulls(answer.plan)
    profiles = {each.route.name: each.profile for each in answer.routes}
    for named in plan.trains.values():
        subject, train = f'train "{named.name}"', made_up(plan, named)
        for row in (*_of_stock(train, reader), *_of_cars(train, reader)):
            yield [subject, *row]
        for each in answer.trains:
            if each.name == named.name:
                for row in _on_rail(answer, each, train, profiles[each.route], pulls, reader):
                    yield [subject, *row]


def _of_stock(train: Train, reader: Reader) -> Iterator[Row]:
    masses = _sum(train.blocks, [f"{reader.mass(each.vehicle.mass)} {_mass_basis(each)}" for each in train.blocks])
    yield ["mass", reader.mass(sum(block.mass for block in train.blocks)), "summed", masses]
    lengths = _sum(train.blocks, [f"{reader.length(each.vehicle.length)} stated" for each in train.blocks])
    yield ["length", reader.length(train.length), "summed", lengths]


def _of_cars(train: Train, reader: Reader) -> Iterator[Row]:
    cars = [(block, block.vehicle) for block in train.blocks if isinstance(block.vehicle, Car)]
    if not cars:
        return
    blocks = [block for block, _ in cars]
    rolling = [f"{reader.quantity(car.rolling.value, 'share')} {car.rolling_basis}" for _, car in cars]
    own = "of their weights; that of locomotives is in their pulls already"
    yield ["rolling resistance", reader.force(train.rolling), "summed", f"{_sum(blocks, rolling)} {own}"]
    starting = [f"{reader.quantity(car.starting.value, 'share')} {car.starting_basis}" for _, car in cars]
    yield ["starting resistance", reader.force(train.starting), "summed", f"{_sum(blocks, starting)} of their weights"]


def _on_rail(
    answer: CheckAnswer, each: TrainAnswer, train: Train, profile: RouteProfile, pulls: Pulls, reader: Reader
) -> Iterator[Row]:
    """Yield the pull on one rail, the curve resistance, and the place that rules."""
    demand = asked_at_least_margin(profile, train, each.verdict)
    place = f"{reader.length(demand.at)} on {demand.track}"
    pull, made = _pull(train, each.rail, demand.given, pulls, reader)
    yield [f"pull, {each.rail}", pull, each.verdict.basis, made]
    basis = next(figure.basis for figure in answer.figures if figure.subject == "curves")
    coefficient = reader.small(answer.coefficient)
    curves = f"with its head at {place}: the coefficient {coefficient} x the weight on each curve / its radius"
    yield [f"curve resistance, {each.rail}", reader.force(demand.curves), basis, curves]
    parts = {"grade": demand.grade, "curves": demand.curves, "rolling": demand.rolling}
    if demand.tension:
        parts["coupler tension on curves"] = demand.tension
    words = ", ".join(f"{name} {reader.force(force)}" for name, force in parts.items())
    least = f"on {demand.track}: pull less {words} leaves least there, {reader.force(each.verdict.margin)}"
    yield [f"ruling place of its head, {each.rail}", reader.length(demand.at), "worked out", least]


def _pull(train: Train, rail: str, pull: float, pulls: Pulls, reader: Reader) -> tuple[str, str]:
    """Return the pull of a train and what it is made of; on rails as planned it is that of the place that rules."""
    locos = [(block.count, block.vehicle) for block in train.blocks if isinstance(block.vehicle, Loco)]
    if rail in PLANNED:
        words = " + ".join(f"{count} {loco.name}" for count, loco in locos)
        words += ", each on the weakest of the rails that the plan has under it there"
    else:
        each = [(count, loco.name, pulls.standing(loco, rail)) for count, loco in locos]
        words = " + ".join(f"{count} {name} {reader.force(pull.value)} {pull.basis}" for count, name, pull in each)
        pull = train.together * sum(count * pull.value for count, _, pull in each)
    together = f"({words}) x {reader.quantity(train.together, 'share')} together, {train.together_basis}"
    return reader.force(pull), words if train.together == 1.0 else together


def _mass_basis(block: Block) -> Basis:
    return block.vehicle.mass_basis if isinstance(block.vehicle, Car) else "stated"


def _sum(blocks: Sequence[Block], figures: Sequence[str]) -> str:
    """Return what a figure of a train is the sum of, from head to tail."""
    pairs = zip(blocks, figures, strict=True)
    return " + ".join(f"{block.count} {block.vehicle.name} {figure}" for block, figure in pairs)
