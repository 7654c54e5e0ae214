"""Trains made up from stock: blocks from head to tail, places of locomotives, and the share they give together."""

from __future__ import annotations

import pytest

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.train import Train, build_train, headed_by
from gradehaul.plan import read_plan
from gradehaul.plan.records import Plan

STOCK = """
scale = "HO"
unit = "m"
railhead.A = 0
line.Main = { from = "A", to = "B", track = [{ straight = 9 }] }
route.Up = { from = "A", to = "B" }
loco.dray = { mass = "500 g", length = 0.25 }
loco.mule = { mass = "300 g", length = 0.2 }
power.pair = { locos = ["dray", "dray"] }
power.trio = { locos = ["dray", "mule", "mule"], together = "80 %" }
power.solo = { locos = ["mule"] }
car.ore = { mass = "100 g", length = 0.14, rolling = "2 ± 0.3 %", starting = "3 %" }
car.van = { mass = "80 g", length = 0.12, rolling = "1 %" }
car."2 bay" = { mass = "90 g", length = 0.13 }
"""


def plan_with(consist: str, more: str = "") -> Plan:
    return read_plan(f'{STOCK}[train.it]\nroute = "Up"\nconsist = [{consist}]\n{more}')


def train_of(consist: str, more: str = "") -> Train:
    plan = plan_with(consist, more)
    return build_train(plan, plan.trains["it"])


def blocks(train: Train) -> list[tuple[str, int]]:
    return [(block.vehicle.name, block.count) for block in train.blocks]


def locos(train: Train) -> list[tuple[str, float]]:
    return [(loco.name, round(place, 12)) for loco, place in train.locos]


# Blocks


def test_a_consist_is_blocks_from_head_to_tail() -> None:
    train = train_of('"dray", "12 ore", "van"')
    assert blocks(train) == [("dray", 1), ("ore", 12), ("van", 1)]
    assert train.edges == pytest.approx([0.0, 0.25, 0.25 + 12 * 0.14, 0.25 + 12 * 0.14 + 0.12])
    assert train.length == pytest.approx(0.25 + 12 * 0.14 + 0.12)
    assert train.line_weights == pytest.approx([GRAVITY * 0.5 / 0.25, GRAVITY * 0.1 / 0.14, GRAVITY * 0.08 / 0.12])


def test_masses_and_lengths_of_a_block_are_those_of_all_its_vehicles() -> None:
    _, ores = train_of('"dray", "12 ore"').blocks
    assert (ores.mass, ores.length) == pytest.approx((1.2, 1.68))


def test_a_power_in_a_consist_stands_for_its_locomotives_in_order() -> None:
    assert blocks(train_of('"trio", "2 ore"')) == [("dray", 1), ("mule", 2), ("ore", 2)]
    assert blocks(train_of('"pair", "2 ore"')) == [("dray", 2), ("ore", 2)]


def test_several_of_a_power_come_one_after_another() -> None:
    assert blocks(train_of('"2 trio", "ore"')) == [("dray", 1), ("mule", 2), ("dray", 1), ("mule", 2), ("ore", 1)]


# Places of locomotives


def test_locomotives_stand_where_the_consist_has_them() -> None:
    assert locos(train_of('"2 dray", "ore"')) == [("dray", 0.0), ("dray", 0.25)]
    assert locos(train_of('"trio", "ore"')) == [("dray", 0.0), ("mule", 0.25), ("mule", 0.45)]


def test_a_helper_in_the_middle() -> None:
    train = train_of('"dray", "10 ore", "2 mule", "5 ore"')
    assert locos(train) == [("dray", 0.0), ("mule", 1.65), ("mule", 1.85)]
    assert [(car.name, count) for car, count in train.cars] == [("ore", 10), ("ore", 5)]


def test_a_train_pushed_by_its_only_locomotive() -> None:
    assert locos(train_of('"10 ore", "dray"')) == [("dray", 1.4)]


# What they give together


@pytest.mark.parametrize(
    ("consist", "more", "together", "basis"),
    [
        ('"dray", "ore"', "", 1.0, "stated"),  # one alone gives all it has
        ('"solo", "ore"', "", 1.0, "stated"),
        ('"pair", "ore"', "", 0.9, "assumed"),
        ('"trio", "ore"', "", 0.8, "stated"),
        ('"ore", "trio"', "", 0.8, "stated"),
        ('"dray", "ore", "mule"', "", 0.9, "assumed"),
        ('"2 dray", "ore"', "", 0.9, "assumed"),
        ('"2 trio", "ore"', "", 0.8, "assumed"),  # no longer one power's own rule, but no better than it
        ('"trio", "ore", "mule"', "", 0.8, "assumed"),
        ('"trio", "ore", "mule"', 'together = "70 %"', 0.7, "stated"),
        ('"trio", "ore"', 'together = "70 %"', 0.7, "stated"),  # the train's word counts before the power's
        ('"2 dray", "ore"', "together = 1", 1.0, "stated"),
    ],
)
def test_the_share_that_locomotives_give_together(consist: str, more: str, together: float, basis: str) -> None:
    train = train_of(consist, more)
    assert train.together == pytest.approx(together)
    assert train.together_basis == basis


# Sums


def test_rolling_and_starting_sums_are_those_of_the_cars_alone() -> None:
    train = train_of('"trio", "10 ore", "dray", "2 van"')
    assert train.rolling == pytest.approx(GRAVITY * (10 * 0.1 * 0.02 + 2 * 0.08 * 0.01))
    # the van's starting resistance is left out: 1.25 times its rolling resistance
    assert train.starting == pytest.approx(GRAVITY * (10 * 0.1 * 0.03 + 2 * 0.08 * 0.0125))


def test_the_lowest_rolling_sum_takes_each_car_s_own_spread() -> None:
    train = train_of('"dray", "10 ore", "2 van"')
    low_ore = 0.02 - 1.6448536 * 0.003
    assert train.lowest_rolling == pytest.approx(GRAVITY * (10 * 0.1 * low_ore + 2 * 0.08 * 0.4 * 0.01))


def test_locomotives_without_cars_ask_for_no_resistance() -> None:
    train = train_of('"pair"')
    assert (train.rolling, train.starting, train.lowest_rolling) == (0.0, 0.0, 0.0)
    assert train.length == 0.5


# Equal cars behind a power


def test_a_power_heads_a_train_of_equal_cars() -> None:
    plan = plan_with('"dray"')
    train = headed_by(plan, plan.powers["trio"], plan.cars["ore"], 7)
    assert blocks(train) == [("dray", 1), ("mule", 2), ("ore", 7)]
    assert (train.together, train.together_basis) == (0.8, "stated")
    assert headed_by(plan, plan.powers["pair"], plan.cars["ore"], 7).together_basis == "assumed"


def test_a_power_without_cars_is_as_long_as_its_locomotives() -> None:
    plan = plan_with('"dray"')
    assert headed_by(plan, plan.powers["trio"], plan.cars["ore"], 0).length == pytest.approx(0.65)
