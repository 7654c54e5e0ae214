"""Berths: how many cars stand in them, and whether cars left standing stay."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.haulage.answers.berths import BerthAnswer, berth_answer
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan


def answer(track: str, cars: str, berth: str = "Siding", more: str = "") -> BerthAnswer:
    text = f"""
scale = "HO"
unit = "m"
railhead.A = 0
line.Main = {{ from = "A", to = "B", track = [{track}] }}
{cars}
{more}
"""
    layout = Layout(read_plan(text))
    plan = layout.plan
    return berth_answer(layout.movements, layout.alignment, plan.berths[berth], layout.clear[berth])


def car(name: str, length: float, rolling: str = "2 %") -> str:
    return f'car.{name} = {{ mass = "100 g", length = {length}, rolling = "{rolling}" }}\n'


LEVEL = '{ straight = 0.7, rise = 0 }, { straight = 1.5, rise = 0, berth = "Siding" }'


@pytest.mark.parametrize(
    ("length", "count"),
    [
        (0.15, 10),
        (0.1, 15),
        (0.5, 3),
        (1.5, 1),
        (0.1500001, 9),
        (0.1499999, 10),
        (1.6, 0),
        (0.7, 2),
    ],
)
def test_as_many_cars_fit_as_are_no_longer_than_the_berth(length: float, count: int) -> None:
    found = answer(LEVEL, car("ore", length))
    assert found.clear_length == pytest.approx(1.5)
    assert found.cars_fit == {"ore": count}


@given(st.integers(1, 40), st.integers(30, 400))
def test_a_berth_of_so_many_car_lengths_holds_so_many_cars(count: int, tenths: int) -> None:
    # lengths in tenths of a millimeter, so that the quotient often falls just short in binary, as 0.3 / 0.1 does
    assert math.floor(0.3 / 0.1) == 2
    length = count * tenths / 10_000
    track = f'{{ straight = 17, rise = 0, berth = "Siding", clear = {length} }}'
    assert answer(track, car("ore", tenths / 10_000)).cars_fit == {"ore": count}
    shorter = f'{{ straight = 17, rise = 0, berth = "Siding", clear = {length - 0.00001:.5f} }}'
    assert answer(shorter, car("ore", tenths / 10_000)).cars_fit == {"ore": count - 1}


def test_every_kind_of_car_is_told() -> None:
    found = answer(LEVEL, car("ore", 0.15) + car("coach", 0.3))
    assert found.cars_fit == {"ore": 10, "coach": 5}
    assert found.cars_stay == {"ore": True, "coach": True}


def test_a_stated_clear_length_counts() -> None:
    track = '{ straight = 1.5, rise = 0, berth = "Siding", clear = 1.2 }'
    found = answer(track, car("ore", 0.15))
    assert found.clear_length == pytest.approx(1.2)
    assert found.basis == "stated"
    assert found.cars_fit == {"ore": 8}


def test_a_berth_that_other_track_fouls_is_shorter() -> None:
    found = answer(
        "{ straight = 0.5, rise = 0 }",
        car("ore", 0.1) + 'turnout.B = { toe = "Main", legs = ["Through", "Spur"] }\n'
        'line.Through = { from = "B", to = "C", track = [{ straight = 2, rise = 0 }] }\n'
        'line.Spur = { from = "B", to = "D", berth = "Siding", track = [{ left = 1, length = 1, rise = 0 }] }\n',
    )
    assert found.basis == "map"
    assert found.cars_fit == {"ore": int(found.clear_length / 0.1)}
    assert 0.6 < found.clear_length < 0.8  # the rails part by 44 mm about 0.3 m beyond the turnout


@pytest.mark.parametrize(
    ("track", "stays"),
    [
        ('straight = 1.5, grade = "0.8 %"', True),
        ('straight = 1.5, grade = "0.80001 %"', False),
        ('straight = 1.5, grade = "-0.8 %"', True),
        ('straight = 1.5, grade = "-0.81 %"', False),
        ('left = 0.4, length = 1, grade = "0.81 %"', False),  # what a curve asks may not hold them
    ],
)
def test_cars_stay_on_a_grade_of_just_their_lowest_rolling_resistance(track: str, stays: bool) -> None:
    # 2 % without a spread: 0.8 % at the lowest
    found = answer(f'{{ {track}, berth = "Siding" }}', car("ore", 0.15))
    assert found.cars_stay == {"ore": stays}


def test_cars_with_a_spread_stay_by_their_fifth_percentile() -> None:
    track = '{ straight = 1.5, grade = "1.5 %", berth = "Siding" }'
    cars = car("sure", 0.15, "2.0 ± 0.3 %") + car("loose", 0.15, "2.0 ± 0.31 %") + car("unknown", 0.15, "2 %")
    # 2 - 1.645 × 0.3 = 1.507, 2 - 1.645 × 0.31 = 1.490, and 0.4 × 2 = 0.8 %
    assert answer(track, cars).cars_stay == {"sure": True, "loose": False, "unknown": False}


def test_the_steepest_place_of_the_whole_berth_counts_uphill_or_down() -> None:
    tracks = (
        '{ straight = 1, grade = "0.2 %", berth = "Siding" }, { straight = 0.1, grade = "-1.1 %", berth = "Siding" }, '
        '{ straight = 2, grade = "0.4 %", berth = "Siding" }, { straight = 1, grade = "5 %" }'
    )
    found = answer(tracks, car("ore", 0.15))
    assert found.steepest == pytest.approx(0.011)
    assert found.cars_stay == {"ore": False}


def test_the_steepest_place_of_a_vertical_curve_counts() -> None:
    # half of the rounding lies in the berth: at its end the grade is the mean of 0 and 2 %
    found = answer(
        '{ straight = 1, rise = 0, berth = "Siding" }, { straight = 1, grade = "2 %" }',
        car("ore", 0.15),
        more="vertical_curve.length = 0.4\n",
    )
    assert found.steepest == pytest.approx(0.01)
    assert found.cars_stay == {"ore": False}
