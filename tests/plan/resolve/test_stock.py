"""Stock and trains: what is read, what is assumed, and what is noted."""

import pytest

from gradehaul.plan import read_plan
from gradehaul.plan.records import Cut, Film, KeptShare, Note, Power, Reading
from plan.example import HEAD, one_line

LOCO = '[loco.mogul]\nmass = "300 g"\nlength = 8\n'
CAR = '[car.ore]\nmass = "4 oz"\nlength = 5.5\n'
ROUTE = '[route.Up]\nfrom = "Wharf"\nto = "Summit"\n'
GRAM_FORCE = 0.00980665


def test_the_film_that_is_built_in():
    assert read_plan(HEAD).films == {"treated": Film("treated", KeptShare(0.75, 0.85), KeptShare(0.5, 0.65), "assumed")}


def test_films_of_ones_own_replace_it():
    film = '[rail.wax]\nmetal = { fresh = "70 %", settled = 0.8 }\ntyred = { fresh = 0.4, settled = 0.4 }\n'
    plan = read_plan(HEAD + film + LOCO + '[loco.mogul.pull]\nwax = "30 gf"\n"wax fresh" = "20 gf"\n')
    assert plan.films == {"wax": Film("wax", KeptShare(0.7, 0.8), KeptShare(0.4, 0.4), "stated")}
    assert set(plan.locos["mogul"].pull) == {"wax", "wax fresh"}


def test_a_film_that_loses_pull_with_rest_gets_a_note():
    film = "[rail.wax]\nmetal = { fresh = 0.9, settled = 0.8 }\ntyred = { fresh = 0.4, settled = 0.5 }\n"
    assert read_plan(HEAD + film).notes == (
        Note('rail "wax", metal', "fresh (0.9) is more than settled (0.8), but a rest brings pull back"),
    )


def test_weights_of_a_locomotive():
    loco = read_plan(HEAD + LOCO).locos["mogul"]
    assert (loco.title, loco.on_drivers, loco.on_tyres, loco.pull) == ("mogul", pytest.approx(0.3), 0.0, {})
    loco = read_plan(HEAD + LOCO + 'driven_wheels = 6\ntyred_wheels = 2\non_drivers = "240 g"').locos["mogul"]
    assert (loco.on_drivers, loco.on_tyres) == (pytest.approx(0.24), pytest.approx(0.08))
    loco = read_plan(HEAD + LOCO + 'driven_wheels = 6\ntyred_wheels = 2\non_tyres = "50 g"').locos["mogul"]
    assert (loco.on_drivers, loco.on_tyres) == (pytest.approx(0.3), pytest.approx(0.05))


def test_readings_keep_their_spread():
    plan = read_plan(HEAD + LOCO + '[loco.mogul.pull]\nclean = "62 ± 3 gf"\n')
    (reading,) = plan.locos["mogul"].pull["clean"]
    assert reading == Reading(pytest.approx(62 * GRAM_FORCE), pytest.approx(3 * GRAM_FORCE))


def test_powers_and_what_they_give_together():
    powers = (
        '[power.two]\nlocos = ["mogul", "mogul"]\n'
        '[power.diesels]\nlocos = ["mogul", "mogul"]\ntogether = 1\n'
        '[power.one]\nlocos = ["mogul"]\n'
    )
    assert list(read_plan(HEAD + LOCO + powers).powers.values()) == [
        Power("mogul", ("mogul",), 1.0, "stated"),
        Power("two", ("mogul", "mogul"), 0.9, "assumed"),
        Power("diesels", ("mogul", "mogul"), 1.0, "stated"),
        Power("one", ("mogul",), 1.0, "stated"),
    ]


def test_resistances_of_a_car():
    car = read_plan(HEAD + CAR + 'rolling = "2.0 ± 0.4 %"').cars["ore"]
    assert car.rolling == Reading(pytest.approx(0.02), pytest.approx(0.004))
    assert car.starting == Reading(pytest.approx(0.025), pytest.approx(0.005))
    assert (car.mass_basis, car.rolling_basis, car.starting_basis) == ("stated", "stated", "assumed")


def test_a_starting_resistance_below_the_rolling_resistance_gets_a_note():
    assert read_plan(HEAD + CAR + 'rolling = "3 %"\nstarting = "2 %"').notes == (
        Note('car "ore"', "the starting resistance is less than the rolling resistance, which is impossible"),
    )


def test_a_car_without_a_mass_weighs_what_the_practice_says():
    car = "[car.ore]\nlength = 5\n"
    american = read_plan(HEAD + car).cars["ore"]
    european = read_plan('practice = "NEM"\n' + HEAD + car).cars["ore"]
    assert american.mass > european.mass
    assert american.mass_basis == european.mass_basis == "assumed"


def test_consists():
    more = '[car."12 ore"]\nmass = "1 oz"\nlength = 5\n[power.two]\nlocos = ["mogul", "mogul"]\n'
    train = '[train.m]\nroute = "Up"\nconsist = ["two", "12 ore", "3 ore", "2 mogul", "1 12 ore"]\ntogether = "80 %"\n'
    plan = read_plan(one_line("{ straight = 9 }") + LOCO + CAR + more + ROUTE + train)
    assert plan.trains["m"].consist == (
        Cut("two", 1), Cut("12 ore", 1), Cut("ore", 3), Cut("mogul", 2), Cut("12 ore", 1),
    )  # fmt: skip
    assert plan.trains["m"].together == pytest.approx(0.8)


def test_routes_to_line_ends_berths_and_round_a_lap():
    routes = (
        '[route.A]\nfrom = "Main.from"\nto = "Yard"\nvia = ["Main", "Summit", "Yard"]\nreversals = 2\n'
        '[route.B]\nfrom = "Yard"\nto = "Yard"\n'
        '[route.C]\nlap = ["Main"]\n'
    )
    plan = read_plan(one_line('{ straight = 9, berth = "Yard" }') + routes)
    assert [(route.origin, route.destination, route.reversals) for route in plan.routes.values()] == [
        ("Main.from", "Yard", 2),
        ("Yard", "Yard", 0),
        ("", "", 0),
    ]
    assert plan.routes["A"].via == ("Main", "Summit", "Yard")
    assert plan.routes["C"].lap == ("Main",)
