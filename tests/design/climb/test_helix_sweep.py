"""A sweep of helices: every count against the exact engine on the plan of that very design, and what it marks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from gradehaul.design.climb.designs import build_for
from gradehaul.design.climb.given import HelixGiven, helix_of
from gradehaul.design.climb.helix import usual_helix_build
from gradehaul.design.climb.helix_sweep import sweep
from gradehaul.design.climb.hill import directions_of, stock_of
from gradehaul.design.climb.search import clears, train_test
from gradehaul.errors import DesignError
from gradehaul.haulage.bench.benched import with_bench
from gradehaul.haulage.demand import demand, supply
from gradehaul.haulage.train import build_train
from gradehaul.haulage.verdict import surplus
from gradehaul.plan.records import CurveResistance, Plan


@pytest.fixture(scope="module", params=["plans/n-mountain.toml", "plans/bench.toml"])
def stock(request: pytest.FixtureRequest) -> Plan:
    return stock_of(request.param, scale=None, unit=None)


@pytest.mark.parametrize(
    ("ease", "vertical", "turns", "tracks"), [(0.0, None, 3.0, 1), (0.3, 0.0, 2.5, 2), (0.2, 0.25, 1.5, 1)]
)
def test_every_exact_count_is_that_of_the_engine_and_others_are_no_more(
    stock: Plan, ease: float, vertical: float | None, turns: float, tracks: int
) -> None:
    build = build_for(stock, tracks=tracks, ease=ease, vertical=vertical)
    radii, rises = np.linspace(0.27, 0.9, 4), np.linspace(0.05, 0.16, 4)
    train = next(iter(stock.trains))
    found = sweep(radii, rises, build, stock, turns=turns, train=train, steepest=0.03)
    test = train_test(stock, (train,), None, "climbs", directions_of(stock))
    exact = 0
    for down, across in np.ndindex(4, 4):
        given = HelixGiven(radius=float(radii[across]), rise_per_turn=float(rises[down]), turns=turns)
        helix = helix_of(given, build)
        hill = helix.hill(stock)
        assert found.grade[down, across] == pytest.approx(helix.grade)
        assert found.low[down, across] == (not clears(helix, stock))
        assert found.steep[down, across] == (helix.grade > 0.03)
        for each in found.cars:
            (load,) = hill.layout.loads(hill.layout.profile("Up"), each.power, found.car, (each.rail,))
            if each.exact[down, across]:
                exact += 1
                assert each.cars[down, across] == load.rated
            else:
                assert each.cars[down, across] <= load.rated
        if not found.stalled[down, across]:
            assert test.stop(hill, "") is None
        elif all(each.exact[down, across] for each in found.cars) and helix.length > 4:
            assert test.stop(hill, "") is not None
    assert exact > 0.5 * 16 * len(found.cars)


@pytest.mark.parametrize("costs", [{"starting": 2.5}, {"starting": 1.6, "tension": 0.03}])
def test_starting_and_tension_count_as_in_single_verdicts(stock: Plan, costs: dict[str, float]) -> None:
    """On the even stretch, where tension's bound is within some 1 % of the friction: a count differs by one at most.

    The named train is taken to hang on its farthest end, its locomotives' own length included, so it may be shorter.
    """
    stock = with_bench(stock)
    unpredicted = {name: replace(loco, predicted={}) for name, loco in stock.locos.items()}  # as a plan is written
    stock = replace(stock, locos=unpredicted, curve_resistance=replace(stock.curve_resistance, **costs))
    build = replace(usual_helix_build(stock), ease=0.0, vertical=0.0)
    radii, rises = np.array([0.3, 0.55]), np.array([0.03, 0.08])
    train = next(iter(stock.trains))
    found = sweep(radii, rises, build, stock, turns=4, train=train, direction="up")
    straight = replace(stock, curve_resistance=CurveResistance())
    plain = sweep(radii, rises, build, straight, turns=4, train=train, direction="up")
    assert any((one.cars < other.cars).any() for one, other in zip(found.cars, plain.cars, strict=True))
    assert (found.short_by > plain.short_by).all() or "tension" not in costs
    for down, across in np.ndindex(2, 2):
        given = HelixGiven(radius=float(radii[across]), rise_per_turn=float(rises[down]), turns=4)
        hill = helix_of(given, build).hill(stock)
        profile, pulls = hill.layout.profile("Up"), hill.layout.pulls
        for each in found.cars:
            (load,) = hill.layout.loads(profile, each.power, found.car, (each.rail,))
            if each.exact[down, across]:
                slack = 1 if "tension" in costs else 0
                assert 0 <= each.cars[down, across] - load.rated <= slack
        made = build_train(stock, stock.trains[train])
        need = demand(profile, made)
        short = []
        for rail in found.judged:
            given = supply(profile, made, rail, pulls)
            short += [
                surplus(given.standing, need.running).least().value,
                surplus(given.standing, need.starting).least().value,
                surplus(given.slipping, need.running).least().value,
            ]
        weight = need.starting.greatest().value
        more = (found.short_by[down, across] + min(short)) / weight
        assert -1e-6 <= more + (0.002 if "tension" in costs else 0) <= (0.025 if "tension" in costs else 1e-6)


def test_what_cannot_be_swept_is_refused(stock: Plan) -> None:
    build = usual_helix_build(stock)
    with pytest.raises(DesignError, match="round"):
        sweep([0.5], [0.1], replace(build, straight=0.2), stock, turns=3)
    with pytest.raises(DesignError, match="more than 0"):
        sweep([0.0], [0.1], build, stock, turns=3)
