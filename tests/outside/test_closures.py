"""Figures that a plan leaves to "fit", against worked examples of crossovers and reverse curves.

Sources
-------
- Crossover between two parallel straight tracks with a straight between its frogs: S = (D - G) N - G sqrt(1 + N^2), and
  over all S + 4 G N, with two worked examples (eng.dieselloc.ru, railway engineering, examples 15.1 and 15.2; read).
  There the lead 2 G N stands for G cot(F / 2), 0.3 % short at 1 in 8.5.
- Reverse curve between parallel straights, D = 2 R (1 - cos A), with a worked example: 30 m apart, 200 m radius (a page
  of solved problems on horizontal curves; read).
"""

from __future__ import annotations

import math

import pytest

from gradehaul.plan import read_plan
from gradehaul.plan.records import Line
from gradehaul.track.fit import fitted

GAUGE = 1.676
FIT = '{ straight = "fit" }'


def siding(tracks: str, apart: float) -> Line:
    """Return a siding beside 500 m of straight main track, as it closes."""
    plan = read_plan(f"""
    scale = {{ ratio = 1, gauge = "{GAUGE} m" }}
    unit = "m"
    route.Over = {{ from = "South end", to = "North end" }}
    turnout."South toe" = {{ toe = "Approach", legs = ["Main", "Siding"] }}
    turnout."North toe" = {{ toe = "Departure", legs = ["Main", "Siding"] }}
    line.Approach = {{ from = "South end", to = "South toe", track = [ {{ straight = 100 }} ] }}
    line.Main = {{ from = "South toe", to = "North toe", track = [ {{ straight = 500 }} ] }}
    line.Departure = {{ from = "North toe", to = "North end", track = [ {{ straight = 100 }} ] }}
    line.Siding = {{ from = "South toe", to = "North toe", track = [ {tracks} ], parallel = {apart} }}
    """)
    return fitted(plan).lines["Siding"]


# The second example takes 20.18 from 39.88, which is 39.888.
@pytest.mark.parametrize(
    ("number", "straight", "within", "over_all"), [(8.5, 13.91, 0.005, 70.89), (12, 19.69, 0.018, 100.13)]
)
def test_the_straight_between_the_frogs_of_a_crossover(
    number: float, straight: float, within: float, over_all: float
) -> None:
    angle = math.atan(1 / number)
    outer = GAUGE / (1 - math.cos(angle))  # the outer rail leaves one rail and crosses the other at the frog
    arc = f"{outer - GAUGE / 2}, angle = {math.degrees(angle)} }}"
    out, back = f"{{ left = {arc}, {FIT}, {{ right = {arc}", f"{{ right = {arc}, {FIT}, {{ left = {arc}"
    leg, middle, *_ = siding(f"{out}, {FIT}, {back}", 5).tracks
    ahead = 2 * (outer - GAUGE / 2) * math.sin(angle) + middle.length * math.cos(angle)
    lead = outer * math.sin(angle)
    assert leg.length == pytest.approx((outer - GAUGE / 2) * angle)
    assert ahead - 2 * lead == pytest.approx(straight, abs=within)
    assert ahead == pytest.approx(over_all, rel=0.003)


def test_a_reverse_curve_between_parallel_straights() -> None:
    """Each curve turns 22.3 degrees and is 77.8 m long."""
    out = '{ left = 200, angle = "fit" }, { right = 200, angle = "fit" }'
    between = (30 - 400 * (1 - math.cos(math.radians(15)))) / math.sin(math.radians(15))
    back = f"{{ right = 200, angle = 15 }}, {{ straight = {between} }}, {{ left = 200, angle = 15 }}"
    first, second, *_ = siding(f"{out}, {FIT}, {back}", 30).tracks
    for curve in (first, second):
        assert curve.length == pytest.approx(77.8, abs=0.2)  # printed of 0.389 rad
        assert math.degrees(curve.length / 200) == pytest.approx(22.3, abs=0.05)
