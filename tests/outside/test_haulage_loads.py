"""The whole chain from pull, grade and curve to a load, against published loads.

Sources
-------
- TR0603: US Army subcourse TR0603, Rail Operations Planning, edition 3, 2.5 to 2.12 and 2.18 (read). Gross trailing
  load = DBP x W / (RR + GR + CR) in short tons, GR = 20 lb per ton for each per cent of grade, CR = 0.8 lb per ton for
  each degree of curve, DBP = continuous tractive effort - 20 lb per ton of engine, W a weather factor.
- TI 850-02: US Army TI 850-02 and Air Force AFMAN 32-1125(I), 1 March 2000, equation 3-3, appendix B and table B-1
  (read); superseded by UFC 4-860-01FA, 16 January 2004, of the same body (its record of changes read).
  G = TE / [20 (W of engines + N x W of a car)] - 0.15 per cent.
- Modelers' table: a worked table of cars on the level in HO (read; common practice).
- Limiting case: cars up 1 in 50 without rolling resistance (read; common practice).
"""

from __future__ import annotations

import math

import pytest
from full_chain import FOOT, FULL_SIZE, Answers, answer, pounds_force


def tr0603(*, drawbar_pull: int, weather: float, rolling: float, degrees: float, ton: float = 1) -> Answers:
    """Return a railway with cars of so many short tons on a long 1.5 % grade that is all curve.

    The formula does not lift the engine, so it has next to no mass. A degree of curve is 5,729.578 ft of radius over
    the degrees, the arc definition, by which the tool's curve resistance is 0.04 % a degree. The weather factor is a
    rail condition that keeps this share of the clean pull.
    """
    radius = 5729.578 / degrees
    return answer(f"""
    {FULL_SIZE}
    [line.Hill]
    from = "Foot"
    to = "Top"
    track = [
      {{ right = {radius}, length = 3500, grade = "1.5 %" }},
      {{ left = {radius}, length = 3500, grade = "1.5 %" }},
    ]
    [rail.weather]
    metal = {{ fresh = {weather}, settled = {weather} }}
    tyred = {{ fresh = {weather}, settled = {weather} }}
    [loco.engine]
    mass = "1 g"
    length = 60
    pull.clean = "{drawbar_pull} lbf"
    [power]
    diesels = {{ locos = ["engine", "engine"], together = "100 %" }}
    steamers = {{ locos = ["engine", "engine"] }}
    [car.load]
    mass = "{2000 * ton} lb"
    length = 5
    rolling = "{rolling / 20} %"
    """)


# Tons as the formula gives them, and as printed: the text raises every fraction to the next whole number.
@pytest.mark.parametrize(
    ("effort", "tons", "weather", "rolling", "degrees", "unrounded", "printed"),
    [
        (36_000, 120, 0.80, 7, 10, 597.33, 598),  # TR0603, 2.11 (read)
        (37_850, 127, 0.90, 6, 2.5, 836.29, 837),  # TR0603, 2.18 (read)
    ],
)
def test_tr0603_gross_trailing_load(
    effort: int, tons: int, weather: float, rolling: float, degrees: float, unrounded: float, printed: int
) -> None:
    railway = tr0603(drawbar_pull=effort - 20 * tons, weather=weather, rolling=rolling, degrees=degrees)
    lifted = railway.share_lifted("engine", "load", printed, "weather")
    assert lifted == pytest.approx(unrounded, abs=0.005)
    assert math.ceil(lifted) == printed
    # What an engine pulls on paper it must also pull on rails: the tool rounds down.
    assert railway.load("engine", "load", "weather").limit == printed - 1


def test_tr0603_two_diesels_give_all_of_their_pulls() -> None:
    # TR0603, 2.10 (read): 100 per cent. Twice the raised 598 is the printed 1,196; twice 597.33 is 1,194.67. Cars of
    # two tons, since trains are counted up to 999 cars.
    railway = tr0603(drawbar_pull=33_600, weather=0.80, rolling=7, degrees=10, ton=2)
    assert 2 * railway.share_lifted("diesels", "load", 600, "weather") == pytest.approx(1194.67, abs=0.005)
    assert 2 * railway.load("diesels", "load", "weather").limit == 1194


def test_tr0603_two_steam_engines_give_nine_tenths_which_is_the_default() -> None:
    # TR0603, 2.10 (read): 90 per cent for steam; 0.9 x 1,194.67 = 1,075.2.
    railway = tr0603(drawbar_pull=33_600, weather=0.80, rolling=7, degrees=10, ton=2)
    assert railway.plan.powers["steamers"].together == 0.9
    assert railway.plan.powers["steamers"].basis == "assumed"
    assert 2 * railway.share_lifted("steamers", "load", 600, "weather") == pytest.approx(1075.2, abs=0.005)
    assert 2 * railway.load("steamers", "load", "weather").limit == 1074


def ti_850_02(engines: list[tuple[int, int]], grade: str, length: float) -> Answers:
    """Return a railway with a hill of a grade and a length, engines of tons and tractive effort, and cars of 187 tons.

    In equation 3-3 the tractive effort also moves the engine against its own rolling resistance, 0.15 % of its weight
    or 3 lb a ton. The tool's pulls are read at the coupler, where that part is gone already: it is taken off here. The
    formula knows neither slipping nor starting, so neither costs more here than standing and rolling.
    """
    locos = "\n".join(
        f"""
        [loco.engine{number}]
        mass = "{2000 * tons} lb"
        length = 70
        pull.clean = "{effort - 3 * tons} lbf"
        slipping.clean = "{effort - 3 * tons} lbf"
        """
        for number, (tons, effort) in enumerate(engines)
    )
    names = [f"engine{number}" for number in range(len(engines))]
    return answer(f"""
    {FULL_SIZE}
    [line.Hill]
    from = "Foot"
    to = "Top"
    track = [ {{ straight = {length}, grade = "{grade} %" }}, {{ straight = 3000, rise = 0 }} ]
    {locos}
    [power.engines]
    locos = {names}
    together = "100 %"
    [car.load]
    mass = "374000 lb"
    length = 70
    rolling = "0.15 %"
    starting = "0.15 %"
    [train.loads]
    route = "Up"
    consist = ["engines", "25 load"]
    """)


def equation_3_3(engines: list[tuple[int, int]], cars: int) -> float:
    """Return the ruling grade of TI 850-02, equation 3-3, per cent, unrounded."""
    return sum(effort for _, effort in engines) / (20 * (sum(tons for tons, _ in engines) + cars * 187)) - 0.15


# TI 850-02, appendix B (read): engines of tons and tractive effort with 25 cars of 187 tons, the printed grade and the
# length of hill from which it holds; then what the rounded grade gives when it is turned back into cars.
@pytest.mark.parametrize(
    ("engines", "printed", "hill", "cars_at_printed"),
    [
        ([(170, 60_000)], "0.47", 1820, 24),  # 0.4692 rounded up is too steep for the 25th car
        ([(170, 85_000), (100, 45_000)], "1.16", 1890, 25),  # 1.1645 rounded down is not
    ],
)
def test_ti_850_02_ruling_grade_and_its_inversion(
    engines: list[tuple[int, int]], printed: str, hill: int, cars_at_printed: int
) -> None:
    grade = equation_3_3(engines, 25)
    assert f"{grade:.2f}" == printed
    assert hill == (len(engines) + 25) * 70
    # At the unrounded grade the 25th car is an exact tie, which the tool grants.
    railway = ti_850_02(engines, repr(grade), hill)
    assert railway.load("engines", "load").limit == 25
    assert railway.load("engines", "load").rated == 25
    assert railway.verdict("loads").margin == pytest.approx(0, abs=0.01)
    assert ti_850_02(engines, repr(grade + 1e-6), hill).load("engines", "load").limit == 24
    assert ti_850_02(engines, printed, hill).load("engines", "load").limit == cars_at_printed


# A train of 26 units is 26 x 70 = 1,820 ft long (read): on a shorter hill it is never whole, and the ruling grade under
# it is less.
@pytest.mark.parametrize(("hill", "share"), [(3640, 1), (1820, 1), (1750, 25 / 26), (910, 0.5)])
def test_ti_850_02_ruling_grade_holds_where_the_hill_is_at_least_a_train_long(hill: int, share: float) -> None:
    railway = ti_850_02([(170, 60_000)], "0.47", hill)
    ruling, _ = railway.profile().ruling_under_train(26 * 70 * FOOT)
    assert 100 * ruling == pytest.approx(share * 0.47)
    assert 100 * railway.profile().ruling().effective == pytest.approx(0.47)


# TI 850-02, chapter 3, 6c (read): a grade "that is steeper, but shorter" can be used as long as the cars on it and off
# it together ask no more than the tractive effort. On a hill of 910 ft stand 13 cars at the most, 2,431 tons; the whole
# train rolls with 3 lb x 4,845 tons = 14,535 lb: 60,000 lb are enough up to 0.935 %, twice the ruling grade of 0.47 %.
@pytest.mark.parametrize(("grade", "outcome"), [("0.93", "climbs"), ("0.94", "stalls")])
def test_ti_850_02_a_steeper_but_shorter_hill(grade: str, outcome: str) -> None:
    engines = [(170, 60_000)]
    found = ti_850_02(engines, grade, 910).verdict("loads")
    assert found.outcome == outcome
    assert pounds_force(found.margin) == pytest.approx(60_000 - 20 * float(grade) * 2431 - 14_535, abs=0.1)
    assert ti_850_02(engines, grade, 1820).verdict("loads").outcome == "stalls"


# TI 850-02, table B-1 (read): degrees of curve; effective grade of an actual 1.16 %; actual grade for an effective
# 1.16 %, per cent.
TABLE_B_1 = [
    (1, 1.20, 1.12),
    (2, 1.24, 1.08),
    (3, 1.28, 1.04),
    (4, 1.32, 1.00),
    (5, 1.36, 0.96),
    (6, 1.40, 0.92),
]


def hill_of_curves(actual: list[float]) -> Answers:
    curves = ", ".join(
        f'{{ {"left" if degrees % 2 else "right"} = {5729.578 / degrees}, length = 500, grade = "{grade} %" }}'
        for (degrees, _, _), grade in zip(TABLE_B_1, actual, strict=True)
    )
    return answer(f'{FULL_SIZE}\nline.Hill = {{ from = "Foot", to = "Top", track = [ {curves} ] }}')


def test_ti_850_02_table_b_1_uncompensated() -> None:
    railway = hill_of_curves([1.16] * 6)
    for degrees, effective, _ in TABLE_B_1:
        assert 100 * railway.effective_on(degrees) == pytest.approx(effective, abs=1e-6)
    ruling = railway.profile().ruling()
    assert (100 * ruling.effective, 100 * ruling.grade, 100 * ruling.curve) == pytest.approx((1.40, 1.16, 0.24))
    assert ruling.track == "Hill:6"


def test_ti_850_02_table_b_1_compensated() -> None:
    railway = hill_of_curves([actual for _, _, actual in TABLE_B_1])
    for degrees, _, _ in TABLE_B_1:
        assert 100 * railway.effective_on(degrees) == pytest.approx(1.16, abs=1e-6)
    # A compensated grade asks the same all the way, so it rules all the way.
    ruling = railway.profile().ruling()
    assert (ruling.start, ruling.stop) == pytest.approx((0, railway.profile().length))


def ho_on_the_level(track: str, curve_resistance: str) -> Answers:
    """Return an HO railway on the level with a pull of 4 ozf and cars of 4 oz that roll at 2 %.

    The table has no engine on the curve, so it has next to no mass here; nor does it know slipping and starting.
    """
    return answer(f"""
    scale = "HO"
    unit = "in"
    railhead.Foot = 0
    route.Up = {{ from = "Foot", to = "Top" }}
    line.Level = {{ from = "Foot", to = "Top", track = [ {{ {track}, rise = 0 }} ] }}
    curve_resistance = {{ {curve_resistance} }}
    [loco.engine]
    mass = "0.001 g"
    length = 9
    pull.clean = "4 ozf"
    slipping.clean = "4 ozf"
    [car.load]
    mass = "4 oz"
    length = 5.5
    rolling = "2 %"
    starting = "2 %"
    """)


# Modelers' table (read; common practice): radius, in, and cars on the level, printed to a tenth. On the straight the
# 50th car is an exact tie.
@pytest.mark.parametrize(
    ("radius", "printed"),
    [
        (None, 50.0),
        (28, 31.8),
        (32, 33.3),
        (36, 34.6),
        (40, 35.7),
        (50, 37.9),
        (60, 39.5),
        (100, 43.1),
        (200, 46.3),
    ],
)
def test_modelers_table_of_cars_on_the_level(radius: float | None, printed: float) -> None:
    # 32 over the radius in inches, per cent: a curve coefficient of 0.32 in.
    track = "straight = 330" if radius is None else f"left = {radius}, length = 330"
    railway = ho_on_the_level(track, 'model = "coefficient", coefficient = 0.32')
    assert railway.share_lifted("engine", "load", 10) == pytest.approx(printed, abs=0.05)
    load = railway.load("engine", "load")
    assert (load.limit, load.rated) == (math.floor(printed), math.floor(printed))


# Limiting case (read; common practice): cars up 1 in 50 without rolling resistance and curve number (pull x 50 - weight
# of engine and tender) / weight of a car. 50 x 4 - 20 = 180 oz are 45 cars of 4 oz exactly; 50 x 3 - 14 = 136 oz are
# 36.27 of 3.75 oz. A plan has no car without any rolling resistance; a million millionth of its weight is next to none.
@pytest.mark.parametrize(
    ("pull", "engine", "car", "cars"),
    [(4, 20, 4, 45), (3, 14, 3.75, 36), (5, 26, 4, 56)],
)
def test_limiting_case_up_1_in_50(pull: float, engine: float, car: float, cars: int) -> None:
    railway = answer(f"""
    scale = "HO"
    unit = "in"
    railhead.Foot = 0
    route.Up = {{ from = "Foot", to = "Top" }}
    line.Hill = {{ from = "Foot", to = "Top", track = [ {{ straight = 400, grade = "1 in 50" }} ] }}
    [loco.engine]
    mass = "{engine} oz"
    length = 14
    pull.clean = "{pull} ozf"
    slipping.clean = "{pull} ozf"
    [car.load]
    mass = "{car} oz"
    length = 5.5
    rolling = "1e-10 %"
    starting = "1e-10 %"
    """)
    assert cars == math.floor((pull * 50 - engine) / car)
    load = railway.load("engine", "load")
    assert (load.limit, load.rated) == (cars, cars)
