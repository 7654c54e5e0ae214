"""What is assumed of rolling, starting and adhesion, read off plans that say nothing, against published ranges.

Sources
-------
- Models roll at 0.8 to 3 % of their weight; 2 % is the working figure (common practice).
- TR0603: US Army subcourse TR0603, Rail Operations Planning, edition 3 (read): plain bearings ask 16 to 20 lb a ton to
  start against 6 to 7 to roll.
- Ralph Johnson, The Steam Locomotive, 1942 (read second-hand): plain to roller bearings 8 : 1 at the start.
- Model locomotives pull 20 to 25 % of the weight on metal drivers (common practice; full size, ASCE Transactions,
  paper 1172, 1910, read second-hand), more with tires; a clean film halves the pull of a locomotive with tires at
  worst, takes less from bare metal, gives part back after a day and never all (common practice).
- Static and kinetic friction: mild steel 0.74 and 0.57 dry (a table of Marks' Standard Handbook for Mechanical
  Engineers; the pair read second-hand, the book from memory); hard steel 0.78 and 0.42 dry, 0.23 and 0.10 with a thin
  film of oil (Kirk-Othmer, read second-hand). Sliding tables are not wheel on rail.
- Curtius and Kniffler: 7.5 / (v + 44) + 0.161, v in km/h (read second-hand).
"""

from __future__ import annotations

import pytest
from full_chain import Answers, answer

from gradehaul.haulage.adhesion import GRAVITY, Pulls
from gradehaul.haulage.resistance import lowest


def unsaid(locos: str = "", car: str = "") -> Answers:
    """Return an HO plan with a level line that says nothing of resistance and adhesion beyond what is given."""
    return answer(f"""
    scale = "HO"
    unit = "in"
    railhead.Foot = 0
    route.Up = {{ from = "Foot", to = "Top" }}
    line.Level = {{ from = "Foot", to = "Top", track = [ {{ straight = 100, rise = 0 }} ] }}
    [car.load]
    length = 5.5
    {car}
    [loco.bare]
    mass = "400 g"
    length = 9
    on_drivers = "300 g"
    [loco.tyred]
    mass = "400 g"
    length = 9
    driven_wheels = 8
    tyred_wheels = 8
    {locos}
    """)


ON_DRIVERS = {"bare": 0.3, "tyred": 0.4}


def adhesion(railway: Answers, name: str, rail: str = "clean") -> float:
    """Return the standing pull of a locomotive over the weight on its drivers."""
    pull = Pulls(railway.plan).standing(railway.plan.locos[name], rail)
    assert pull.basis == "assumed"
    return pull.value / (ON_DRIVERS[name] * GRAVITY)


def slipping_share(railway: Answers, name: str, rail: str) -> float:
    loco = railway.plan.locos[name]
    pull = Pulls(railway.plan).slipping(loco, rail)
    assert pull.basis == "assumed"
    return pull.value / Pulls(railway.plan).standing(loco, rail).value


def test_rolling_resistance_of_models() -> None:
    # 0.8 to 3 %, usually 2 % (common practice).
    car = unsaid().plan.cars["load"]
    assert car.rolling.value == 0.02
    assert car.rolling_basis == "assumed"
    assert lowest(car.rolling) == 0.008
    assert car.rolling.value < 0.03


def test_starting_resistance_is_more_than_rolling_and_less_than_plain_bearings_at_full_size() -> None:
    # TR0603 (read): at full size 16 / 7 to 20 / 6 of the rolling resistance. What is assumed of models (common
    # practice) must lie below.
    car = unsaid().plan.cars["load"]
    assert car.starting_basis == "assumed"
    assert 1 < car.starting.value / car.rolling.value < 16 / 7
    # a car whose rolling was told starts in the same proportion
    told = unsaid(car='rolling = "1.2 %"').plan.cars["load"]
    assert told.starting.value / told.rolling.value == pytest.approx(car.starting.value / car.rolling.value)


# TR0603 (read): rolling 7 and starting 20 lb a ton, or 6 and 16. Johnson, 1942 (read second-hand): roller bearings
# start at an eighth, here of 16 lb, and are taken to roll at no less. An engine with 33,600 lb at the coupler.
@pytest.mark.parametrize(
    ("rolling", "starting", "limit", "rated"),
    [(7, 20, 240, 84), (6, 16, 280, 105), (2, 16 / 8, 840, 840)],
)
def test_starting_binds_on_plain_bearings_and_not_on_rollers(
    rolling: float, starting: float, limit: int, rated: int
) -> None:
    railway = answer(f"""
    scale = {{ ratio = 1, gauge = "1435 mm" }}
    unit = "ft"
    railhead.Foot = 0
    route.Up = {{ from = "Foot", to = "Top" }}
    line.Level = {{ from = "Foot", to = "Top", track = [ {{ straight = 1000, rise = 0 }} ] }}
    [loco.engine]
    mass = "120 lb"
    length = 60
    pull.clean = "33600 lbf"
    slipping.clean = "33600 lbf"
    [car.load]
    mass = "40000 lb"
    length = 40
    rolling = "{rolling / 20} %"
    starting = "{starting / 20} %"
    """)
    load = railway.load("engine", "load")
    assert (limit, rated) == (33_600 // (rolling * 20), 33_600 // (starting * 20))
    assert (load.limit, load.rated) == (limit, rated)
    assert load.binds is not None
    assert load.binds.test == ("restart" if starting > rolling else "stand")


def test_adhesion_of_metal_and_of_tyres() -> None:
    # Metal 20 to 25 % of the weight on drivers, more with tyres (common practice).
    railway = unsaid()
    assert 0.20 <= adhesion(railway, "bare") <= 0.25
    assert adhesion(railway, "tyred") > 0.25


def test_a_film_halves_the_pull_of_tyres_at_worst_and_takes_less_from_metal() -> None:
    # Common practice, for all four figures.
    railway = unsaid()
    kept = {
        (name, rail): adhesion(railway, name, rail) / adhesion(railway, name)
        for name in ("bare", "tyred")
        for rail in ("treated", "treated fresh")
    }
    assert min(kept.values()) == pytest.approx(0.5)
    assert kept["tyred", "treated fresh"] == pytest.approx(0.5)
    for rail in ("treated", "treated fresh"):
        assert kept["bare", rail] > kept["tyred", rail]
    for name in ("bare", "tyred"):
        assert kept[name, "treated fresh"] < kept[name, "treated"] < 1


def test_slipping_over_standing_on_clean_rail_is_that_of_dry_steel() -> None:
    # 0.57 / 0.74 = 0.770 (mild steel, read second-hand) and 0.42 / 0.78 = 0.538 (Kirk-Othmer, read second-hand).
    railway = unsaid()
    for name in ("bare", "tyred"):
        assert 0.42 / 0.78 <= slipping_share(railway, name, "clean") <= 0.57 / 0.74


def test_slipping_over_standing_on_treated_rail_lies_between_oil_and_dry_steel() -> None:
    # 0.10 / 0.23 = 0.435 with a thin film of oil (Kirk-Othmer), and 0.770 dry (mild steel); both read second-hand.
    railway = unsaid()
    for name in ("bare", "tyred"):
        for rail in ("treated", "treated fresh"):
            share = slipping_share(railway, name, rail)
            assert 0.10 / 0.23 <= share <= 0.57 / 0.74
            assert share < slipping_share(railway, name, "clean")


def test_a_conductive_film_keeps_more_than_oil() -> None:
    # Oil keeps 0.23 / 0.78 = 0.29 of the static and 0.10 / 0.42 = 0.24 of the kinetic friction of hard steel
    # (Kirk-Othmer, read second-hand).
    railway = unsaid()
    for name in ("bare", "tyred"):
        clean = slipping_share(railway, name, "clean")
        for rail in ("treated", "treated fresh"):
            standing = adhesion(railway, name, rail) / adhesion(railway, name)
            assert standing > 0.23 / 0.78
            assert standing * slipping_share(railway, name, rail) / clean > 0.10 / 0.42


def test_friction_of_sliding_tables_is_never_taken_as_adhesion() -> None:
    # Dry steel on steel, 0.74 at rest and 0.57 sliding, 0.42 sliding (Kirk-Othmer); all read second-hand.
    railway = unsaid()
    assert adhesion(railway, "bare") < 0.42
    assert adhesion(railway, "tyred") < 0.57


def curtius_kniffler(speed: float) -> float:
    """Return the adhesion of full-size electric locomotives at a speed, km/h."""
    return 7.5 / (speed + 44) + 0.161


# Curtius and Kniffler (read second-hand).
@pytest.mark.parametrize(("speed", "printed"), [(0, 0.3315), (40, 0.2503), (100, 0.2131)])
def test_metal_adhesion_beside_full_size(speed: float, printed: float) -> None:
    assert curtius_kniffler(speed) == pytest.approx(printed, abs=0.00005)
    # A model's metal wheels are of the same order, and below full size at rest.
    assert adhesion(unsaid(), "bare") == pytest.approx(printed, rel=0.4)
    assert adhesion(unsaid(), "bare") < curtius_kniffler(0)
