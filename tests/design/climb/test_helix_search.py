"""A helix backwards: the answer passes on the plan it writes, and the next step beyond it fails."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gradehaul.design.climb.backward import roomiest, smallest_radius, steepest_grade
from gradehaul.design.climb.helix import Build, clears, usual_build
from gradehaul.design.climb.helix_known import HelixGiven, helix_of
from gradehaul.design.climb.hill import Need, stock_of
from gradehaul.design.climb.options import designed
from gradehaul.errors import DesignError, RouteError
from gradehaul.haulage.answers.check import check
from gradehaul.plan.reader import read_plan
from gradehaul.plan.records import Plan


@pytest.fixture(scope="module")
def stock() -> Plan:
    return stock_of("plans/first-hill.toml", scale=None, unit=None)


@pytest.fixture(scope="module")
def build(stock: Plan) -> Build:
    return replace(usual_build(stock.scale), ease=0.15)


def outcome(wishes: HelixGiven, build: Build, stock: Plan, rail: str) -> str:
    plan = read_plan(helix_of(wishes, build).hill(stock).text)
    (answer,) = [train for train in check(plan).trains if train.rail == rail]
    return answer.verdict.outcome


@pytest.mark.parametrize(("rail", "need"), [("treated", "climbs"), ("clean", "climbs"), ("treated", "marginal")])
def test_a_radius_1_mm_smaller_fails(stock: Plan, build: Build, rail: str, need: Need) -> None:
    wishes = HelixGiven(rise_per_turn=0.13, turns=3)
    found = smallest_radius(wishes, build, stock, train="local", rails=[rail], need=need)
    passing = ("climbs",) if need == "climbs" else ("climbs", "marginal")
    assert found.stops.reason == "train"
    steps = found.design.radius / (0.025 * 0.0254)  # whole ones of the plan's unit
    assert steps == pytest.approx(round(steps))
    assert outcome(replace(wishes, radius=found.design.radius), build, stock, rail) in passing
    assert outcome(replace(wishes, radius=found.design.radius - 1e-3), build, stock, rail) not in passing


def test_where_no_rail_is_told_both_ages_of_the_film_are_climbed(stock: Plan, build: Build) -> None:
    wishes = HelixGiven(rise_per_turn=0.13, turns=3)
    found = designed(wishes, build, stock, find="radius", train="local")
    assert (found.stops.reason, found.stops.rail) == ("train", "treated fresh")
    for rail in ("treated", "treated fresh"):
        assert outcome(replace(wishes, radius=found.design.radius), build, stock, rail) == "climbs"
    smaller = replace(wishes, radius=found.design.radius - 1e-3)
    assert outcome(smaller, build, stock, "treated") == "climbs"
    assert outcome(smaller, build, stock, "treated fresh") != "climbs"
    settled = designed(wishes, build, stock, find="radius", train="local", rail="treated")
    assert settled.design.radius < found.design.radius


def test_where_the_train_climbs_anywhere_the_head_room_stops_the_radius(stock: Plan, build: Build) -> None:
    found = smallest_radius(HelixGiven(grade=0.02, turns=3), build, stock, train="local", rails=["clean"])
    assert found.stops.reason == "head room"
    smaller = helix_of(HelixGiven(grade=0.02, turns=3, radius=found.design.radius - 1e-3), build)
    assert clears(found.design, stock)
    assert not clears(smaller, stock)


def test_a_grade_a_thousandth_of_a_percent_steeper_fails(stock: Plan, build: Build) -> None:
    wishes = HelixGiven(radius=0.9, turns=3)
    found = steepest_grade(wishes, build, stock, train="local", rails=["clean"])
    assert found.stops.reason == "train"
    assert outcome(replace(wishes, grade=found.design.grade), build, stock, "clean") == "climbs"
    assert outcome(replace(wishes, grade=found.design.grade + 1e-5), build, stock, "clean") != "climbs"


@pytest.mark.parametrize("straight", [0.0, 0.3])
def test_no_helix_in_the_floor_takes_more_cars_than_the_roomiest(stock: Plan, build: Build, straight: float) -> None:
    build = replace(build, straight=straight)
    floor = (2.0, 1.7)
    wishes = HelixGiven(floor=floor, rise=0.5)

    def cars(radius: float, turns: float) -> int:
        helix = helix_of(HelixGiven(radius=radius, rise=0.5, turns=turns), build)
        return helix.hill(stock).layout.longest_train("Up", "switcher", "boxcar", rail="treated").rated

    best = roomiest(wishes, build, stock).design
    most = cars(best.radius, best.turns)
    assert clears(best, stock)
    assert all(need <= side * (1 + 1e-9) for need, side in zip(best.floor, floor, strict=True))
    for radius in (best.radius, best.radius - 0.1, best.radius - 0.2):
        for halves in range(4, 14):
            other = helix_of(HelixGiven(radius=radius, rise=0.5, turns=halves / 2), build)
            if clears(other, stock):
                assert cars(radius, halves / 2) <= most


def test_what_cannot_be_looked_for_is_refused(stock: Plan, build: Build) -> None:
    with pytest.raises(DesignError, match="what is looked for"):
        smallest_radius(HelixGiven(radius=0.6, grade=0.02, turns=3), build, stock, rails=["clean"])
    with pytest.raises(DesignError, match="what is looked for"):
        steepest_grade(HelixGiven(radius=0.6, grade=0.02, turns=3), build, stock, rails=["clean"])
    with pytest.raises(DesignError, match="in a space"):
        roomiest(HelixGiven(rise=0.5), build, stock)
    with pytest.raises(DesignError, match="too little is known"):
        smallest_radius(HelixGiven(grade=0.02), build, stock, rails=["clean"])
    with pytest.raises(RouteError, match="no train of this name"):
        smallest_radius(HelixGiven(grade=0.02, turns=3), build, stock, train="express", rails=["clean"])
    with pytest.raises(RouteError, match="rail condition"):
        smallest_radius(HelixGiven(grade=0.02, turns=3), build, stock, rails=["wet"])
    with pytest.raises(DesignError, match=r'no radius up to 259.9 in works: train "local" stalls on treated rail'):
        smallest_radius(HelixGiven(grade=0.05, turns=3), build, stock, rails=["treated"])
