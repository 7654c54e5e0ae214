"""Vertical curves through plans against worked examples.

Sources
-------
- Parabola: y = y0 + g1 x + (g2 - g1) x^2 / (2 L) (from memory), with a crest worked by a surveyor
  (mathhelpforum.com, pre-calculus, thread 118633; read).
- Length by rate of change: L = A / r (read).
- Model practice: about one car length (the longest), or a foot, of vertical curve for each 1 % of change (common
  practice).
"""

from __future__ import annotations

import numpy as np
import pytest
from full_chain import FOOT, Answers, answer

from gradehaul.design.risers.risers import RiserBuild, risers_along
from gradehaul.design.risers.walk import walk_along
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan

# Crest (the surveyor's; read): g1 +1.34 %, g2 -1.77 %, 500 ft long, begun at station 0+00, elevation 1,067.29 ft; the
# grades meet at station 2+50, 1,070.64 ft.
CREST = """
scale = { ratio = 1, gauge = "1435 mm" }
unit = "ft"
railhead."Grades meet" = 1070.64
vertical_curve.length = 500
route.Over = { from = "West", to = "East" }
line.Up = { from = "West", to = "Grades meet", track = [ { straight = 600, grade = "1.34 %" } ] }
line.Down = { from = "Grades meet", to = "East", track = [ { straight = 600, grade = "-1.77 %" } ] }
"""
BEGUN = 600 - 250
"""Distance of station 0+00 from the west end, ft."""

# Station, ft; elevation, ft; half the last figure that is printed.
STATIONS = [
    (0, 1067.29, 0.005),
    (100, 1068.32, 0.005),
    (200, 1068.726, 0.0005),
    (250, 1068.696, 0.0005),
    (300, 1068.511, 0.0005),
    (400, 1067.674, 0.0005),
]


@pytest.mark.parametrize(("station", "elevation", "within"), STATIONS)
def test_crest_elevations(station: float, elevation: float, within: float) -> None:
    railhead = answer(CREST).profile("Over").railhead
    assert railhead((BEGUN + station) * FOOT) / FOOT == pytest.approx(elevation, abs=within)


@pytest.mark.parametrize(("station", "elevation", "within"), STATIONS)
def test_crest_elevations_from_the_other_side(station: float, elevation: float, within: float) -> None:
    text = CREST.replace('from = "West", to = "East" }', 'from = "East", to = "West" }')
    railhead = answer(text).profile("Over").railhead
    assert railhead((1200 - BEGUN - station) * FOOT) / FOOT == pytest.approx(elevation, abs=within)


def test_risers_over_the_crest_are_cut_to_the_printed_elevations() -> None:
    printed = {station: elevation for station, elevation, _ in STATIONS if station % 100 == 0}
    build = RiserBuild(deck=1.5 * FOOT, roadbed=0.5 * FOOT, track=FOOT, rule=0.001 * FOOT, level=FOOT)
    walk = walk_along(Layout(read_plan(CREST)), route="Over")
    risers = risers_along(walk, build, every=100 * FOOT, begin=BEGUN * FOOT).risers
    cut = {round(riser.at / FOOT) - BEGUN: riser.cut / FOOT for riser in risers}
    assert {station: cut[station] + 3 for station in printed} == pytest.approx(printed, abs=0.0055)


def test_crest_highest_point() -> None:
    # 2+15.43, 1,068.733 ft (read).
    highest = answer(CREST).profile("Over").railhead.greatest()
    assert highest.at / FOOT - BEGUN == pytest.approx(215.43, abs=0.005)
    assert highest.value / FOOT == pytest.approx(1068.733, abs=0.0005)


def test_crest_in_the_given_railhead() -> None:
    # A given railhead is the height where the grades meet, not that of the rounded rail below it.
    crest = answer(CREST)
    assert crest.alignment.railheads["Grades meet"] / FOOT == pytest.approx(1070.64)
    assert crest.profile("Over").railhead(600 * FOOT) / FOOT == pytest.approx(1068.696, abs=0.0005)


def by_rate(first: float, second: float, length: float) -> Answers:
    return answer(f"""
    scale = {{ ratio = 1, gauge = "1435 mm" }}
    unit = "m"
    railhead.West = 0
    vertical_curve.length = {length}
    route.Over = {{ from = "West", to = "East" }}
    [line.Line]
    from = "West"
    to = "East"
    track = [ {{ straight = 200, grade = "{first} %" }}, {{ straight = 200, grade = "{second} %" }} ]
    """)


def test_length_by_rate_of_change() -> None:
    # +0.8 to -0.4 % at 0.2 % in 20 m is L = A / r = 1.2 / 0.2 x 20 m = 120 m (read).
    railhead = by_rate(0.8, -0.4, 120).profile("Over").railhead
    grade = railhead.derivative()
    stations = 200 + np.arange(-80, 81, 20)
    printed = [0.8, 0.8, 0.6, 0.4, 0.2, 0.0, -0.2, -0.4, -0.4]
    assert 100 * grade.at(stations.astype(float)) == pytest.approx(printed, abs=1e-9)
    bent = railhead.seconds[railhead.seconds != 0]
    assert 100 * 20 * bent == pytest.approx(np.full(bent.size, -0.2))


def hill_at_model_size(change: float, length: float) -> Answers:
    return answer(f"""
    scale = "HO"
    unit = "in"
    railhead.West = 0
    vertical_curve.length = {length}
    route.Over = {{ from = "West", to = "East" }}
    [line.Line]
    from = "West"
    to = "East"
    track = [ {{ straight = 60, grade = "0 %" }}, {{ straight = 60, grade = "{change} %" }} ]
    """)


@pytest.mark.parametrize("change", [1.0, 2.0, 3.5])
def test_a_foot_for_each_percent_bends_a_car_by_one_percent(change: float) -> None:
    # By the rule of a foot (or the longest car) for each 1 %, no car of a foot stands on grades that differ by more.
    railhead = hill_at_model_size(change, 12 * change).profile("Over").railhead
    grade = railhead.derivative()
    bend = (grade - grade.shift(FOOT)) * 100
    assert bend.greatest().value == pytest.approx(1.0)
    assert bend.least().value >= -1e-9
