"""A design is written with the stock that it was judged by: read again, it is the same stock."""

from pathlib import Path

import pytest

from command_line import run
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import load_plan

STOCK = """
scale = "HO"
unit = "mm"
railhead.A = 0
[rail."thin film"]
metal = { fresh = 0.72, settled = 0.81 }
tyred = { fresh = 0.48, settled = 0.59 }
[loco.mogul]
title = "Mogul No. 4, \\"the other one\\", 'rebuilt' twice and weighed with coal, water and both of its crew"
mass = "310 g"
length = 190
on_drivers = "240 g"
on_tyres = "90 g"
pull = { clean = ["75 gf", "78 gf ± 2"], "thin film" = "50 gf" }
slipping = { clean = "60 gf" }
[loco.tank]
mass = "210 g"
length = 110
[power."two of them"]
locos = ["mogul", "tank"]
together = 0.91
[car.ore]
mass = "95 g"
length = 130
rolling = "2.2 ± 0.3 %"
starting = "3.1 %"
[car.caboose]
length = 120
[train.long]
route = "Any"
consist = ["mogul", "tank", "9 ore", "caboose"]
together = 0.93
[route.Any]
from = "A"
to = "B"
[line.Flat]
from = "A"
to = "B"
track = [ { straight = 5000, grade = "0.5 %" } ]
"""
VERBS = ["helix --radius 700 --rise-per-turn 115 --turns 2", "incline --rise 90 --length 6000"]
BENDS = ["", 'model = "wheelbase"\nwheelbase = 40\nfriction = 0.28\n', 'model = "coefficient"\ncoefficient = 0.011\n']


@pytest.mark.parametrize("bends", BENDS, ids=["degree", "wheelbase", "coefficient"])
@pytest.mark.parametrize("verb", VERBS)
def test_all_that_is_known_of_the_stock_is_kept(tmp_path: Path, verb: str, bends: str) -> None:
    text = STOCK + ("[curve_resistance]\n" + bends if bends else "")
    (tmp_path / "stock.toml").write_text(text)
    hill = tmp_path / "hill.toml"
    done = run(*verb.split(), "--plan", str(tmp_path / "stock.toml"), "-o", hill)
    assert done.exit_code == 0, done.output
    before, after = load_plan(tmp_path / "stock.toml"), load_plan(hill)
    assert after.films == before.films
    one, other = before.curve_resistance, after.curve_resistance
    assert one.model == other.model
    for key in ("wheelbase", "friction", "coefficient"):
        assert getattr(other, key) == (None if getattr(one, key) is None else pytest.approx(getattr(one, key)))
    assert list(after.locos) == list(before.locos)
    assert list(after.powers) == list(before.powers)
    assert [(p.locos, p.together, p.basis) for p in after.powers.values()] == [
        (p.locos, p.together, p.basis) for p in before.powers.values()
    ]
    mine, theirs = Layout(before).pulls, Layout(after).pulls
    for name, loco in before.locos.items():
        again = after.locos[name]
        assert (again.title, again.length, again.mass, again.on_drivers, again.on_tyres) == (
            loco.title, pytest.approx(loco.length), pytest.approx(loco.mass), pytest.approx(loco.on_drivers),
            pytest.approx(loco.on_tyres),
        )  # fmt: skip
        for rail in ("clean", "thin film", "thin film fresh"):
            for state in ("standing", "slipping"):
                known, result = (getattr(pulls, state)(each, rail) for pulls, each in ((mine, loco), (theirs, again)))
                assert (result.basis, result.value) == (known.basis, pytest.approx(known.value))
    for name, car in before.cars.items():
        again = after.cars[name]
        assert (again.mass_basis, again.rolling_basis, again.starting_basis) == (
            car.mass_basis, car.rolling_basis, car.starting_basis,
        )  # fmt: skip
        assert (again.mass, again.length) == pytest.approx((car.mass, car.length))
        assert again.rolling.value == pytest.approx(car.rolling.value)
        assert again.rolling.spread == (None if car.rolling.spread is None else pytest.approx(car.rolling.spread))
        assert again.starting.value == pytest.approx(car.starting.value)
    (train,), (same,) = before.trains.values(), after.trains.values()
    assert (same.consist, same.together) == (train.consist, train.together)


@pytest.mark.parametrize("verb", VERBS)
def test_a_design_is_judged_by_the_readings_of_its_stock(tmp_path: Path, verb: str) -> None:
    hill = tmp_path / "hill.toml"
    done = run(*verb.split(), "--plan", "plans/bench.toml", "-o", hill)
    assert done.exit_code == 0, done.output
    before, after = Layout(load_plan("plans/bench.toml")), Layout(load_plan(hill))
    assert after.coefficient == pytest.approx(before.coefficient, rel=1e-9)
    bases = set()
    for name, loco in before.plan.locos.items():
        for rail in ("clean", "treated", "treated fresh"):
            for state in ("standing", "slipping"):
                known = getattr(before.pulls, state)(loco, rail)
                result = getattr(after.pulls, state)(after.plan.locos[name], rail)
                assert (result.basis, result.value) == (known.basis, pytest.approx(known.value, rel=1e-9))
                bases.add(known.basis)
    assert len(bases) > 2  # some read, some fitted, some scaled
    for name, car in before.plan.cars.items():
        again = after.plan.cars[name]
        assert (again.rolling.value, again.starting.value) == pytest.approx((car.rolling.value, car.starting.value))
        assert (again.rolling_basis, again.starting_basis) == (car.rolling_basis, car.starting_basis)
