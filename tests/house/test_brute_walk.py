"""The sampled walk against cases worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from pytest import approx  # noqa: PT013 - reads as arithmetic

from brute_walk import (
    GRAVITY,
    Car,
    Chain,
    Loco,
    Piece,
    Train,
    curvature_sections,
    effective_grade,
    longest,
    mismatch,
    on_rail,
    ruling,
    ruling_under,
    shortfall,
    shortfall_under,
    walk,
)
from strategies import chains, trains

STEP = 0.001


def straight(length: float, percent: float = 0.0, rail: str = "clean") -> Piece:
    return Piece(length, grade=percent / 100, rail=rail)


def engine(newtons: float, *, mass: float = 0.0, length: float = 0.2, slip: float = 0.5, treated: float = 0.5) -> Loco:
    standing = {"clean": newtons, "treated": newtons * treated}
    return Loco(mass, length, standing, {rail: slip * pull for rail, pull in standing.items()})


# 1 N of weight and 0.1 m long, rolling 2 %, starting 3 %
CAR = Car(1 / GRAVITY, 0.1, 0.02, 0.03)
HILL = Chain((straight(1), straight(1, 4), straight(1)))


# ---- curvature ----


def test_easement_meets_an_end_as_straight_and_on_a_lap_meets_the_track_across_the_origin():
    pieces = (Piece(0.2, easement=True), Piece(1, 2.0), straight(1))
    assert curvature_sections(Chain(pieces))[0] == (0, 0.2, 0, 2)
    pieces = (Piece(0.2, easement=True), straight(1), Piece(1, 2.0))
    assert curvature_sections(Chain(pieces, lap=True))[0] == (0, 0.2, 2, 0)
    # a curve with easements of its own is straight where it ends
    pieces = (Piece(1, 2.0, ease=0.1), Piece(0.2, easement=True), Piece(1, 1.0))
    assert curvature_sections(Chain(pieces))[3] == approx((1, 1.2, 0, 1))
    with pytest.raises(ValueError, match="in a row"):
        curvature_sections(Chain((Piece(1, easement=True), Piece(1, easement=True))))


# ---- ruling grade ----


def test_ruling_grade_at_a_point_adds_the_curve_to_the_grade():
    # 2 % and 8 mm / 0.4 m = 2 % on 0.7 m between 1 and 1.7
    chain = Chain((straight(1, 2), Piece(0.7, -2.5, grade=0.02), straight(1, 3)), coefficient=0.008)
    found = ruling(chain, 0.01)
    assert found.effective == approx(0.04)
    assert len(found.stretches) == 1
    assert found.stretches[0] == approx((1, 1.7))


def test_ruling_grade_at_a_corner_counts_from_either_side():
    # an easement on a rising grade is steepest where it meets the curve, but a vertical curve flattens it
    chain = Chain((straight(1, 2), Piece(0.2, easement=True, grade=0.02), Piece(1, 2.0)), coefficient=0.01)
    assert ruling(chain, 0.07).effective == approx(0.04)
    ((begin, end),) = ruling(chain, 0.07).stretches
    assert end == approx(1.2)
    assert end - begin <= 0.07
    assert effective_grade(chain, 1.2, -1) == approx(0.04, abs=1e-6)
    assert effective_grade(chain, 1.2, 1) == approx(0.02)


def test_ruling_grade_under_a_train_is_averaged_over_its_length():
    assert ruling_under(HILL, 0.5, 0.01) == approx((0.04, 1.5))
    average, head = ruling_under(HILL, 2, 0.01)
    assert average == approx(0.02)
    assert head == approx(2)
    # a train of 4 m that begins with its tail on the end of track has its head on the end of a route of 3 m
    assert ruling_under(Chain(HILL.pieces, berth=True), 4, 0.01) == approx((0.01, 3))
    # in a berth, 1.5 m of train is never on a first hill of 1 m alone
    chain = Chain((straight(1, 4), straight(2, -1)), berth=True)
    assert ruling_under(chain, 1.5, 0.01) == approx(((0.04 - 0.005) / 1.5, 1.5))


def test_ruling_grade_under_a_train_takes_the_shortfall_into_account():
    # a train as long as a symmetric vertical sag-and-crest meets its worst between samples: compare coarse and fine
    chain = Chain((straight(0.5), straight(0.5, 4), straight(0.5)), vertical=0.5, coefficient=0.0)
    coarse, fine = ruling_under(chain, 0.713, 0.1)[0], ruling_under(chain, 0.713, 0.0005)[0]
    assert coarse <= fine <= coarse + shortfall_under(chain, 0.713, 0.1)


# ---- demand and pull ----


def test_demand_of_one_car_climbing_onto_a_grade():
    # weight 1 N: 0.02 rolling, 0.03 starting, 0.04 on the hill, in proportion to how much of the car is on it
    met = walk(HILL, Train((engine(1), CAR)), STEP)
    car_front = met.head - 0.2
    on_hill = np.clip(car_front - 1, 0, 0.1) / 0.1 - np.clip(car_front - 2, 0, 0.1) / 0.1
    assert met.running == approx(0.02 + 0.04 * on_hill)
    assert met.starting == approx(0.03 + 0.04 * on_hill)
    assert met.easiest == approx(met.running)
    # 0.1 kg × 9.80665 m/s² × 2 %
    heavy = walk(Chain((straight(1),)), Train((engine(1), Car(0.1, 0.1, 0.02, 0.03))), STEP)
    assert heavy.running == approx(0.0196133, rel=1e-12)
    assert met.head[0] == 0
    assert met.head[-1] == 3


def test_rail_behind_an_open_origin_is_like_the_first_track():
    chain = Chain((straight(0.1, rail="treated"), straight(1)))
    met = walk(chain, Train((engine(1), CAR)), STEP)
    middle = (met.head[:-1] + met.head[1:]) / 2
    assert met.standing == approx(np.where(middle < 0.3, 0.5, 1.0))
    helped = walk(chain, Train((*(CAR,) * 10, engine(1))), STEP)  # 1 m of cars before it: wholly behind till 1 m
    assert helped.standing[:900] == approx(0.5)
    assert walk(replace(chain, behind="clean"), Train((*(CAR,) * 10, engine(1))), STEP).standing[:900] == approx(1)
    assert walk(on_rail(chain, "clean"), Train((engine(1), CAR)), STEP).standing == approx(1)
    assert walk(on_rail(chain, "treated"), Train((engine(1), CAR)), STEP).standing == approx(0.5)


def test_rails_between_which_a_locomotive_stands_do_not_weaken_one_another_at_a_point():
    # treated at 1.0 to 1.1 and at 1.4 to 1.5; the engines' fronts are 0.3 apart and each is weak for 0.3
    pieces = (straight(1), straight(0.1, rail="treated"), straight(0.3), straight(0.1, rail="treated"), straight(1))
    met = walk(Chain(pieces[:3]), Train((engine(1), CAR, engine(1))), STEP)
    # the first leaves the treated rail at the very place where the second comes to it: never both at once
    middle = (met.head[:-1] + met.head[1:]) / 2
    assert met.standing == approx(np.where((middle > 1.0) & (middle < 1.6), 0.9 * 1.5, 0.9 * 2))
    assert met.head[-1] == approx(1.4)
    met = walk(Chain(pieces), Train((engine(1), *(CAR,) * 2, engine(1))), STEP)
    middle = (met.head[:-1] + met.head[1:]) / 2
    weak = [((middle > at) & (middle < at + 0.3)) for at in (1.0, 1.4, 1.4, 1.8)]  # fronts 0.4 apart
    assert met.standing == approx(0.9 * (2 - 0.5 * sum(weak)))


def test_on_a_lap_the_train_follows_its_own_tail():
    # half the lap of 2 m up 4 %, half down; an engine of 0.2 and 18 cars of 0.1 fill it: the cars lift as much as the
    # engine comes down, and 1.8 m of cars in 2 m have at most 1.0 m on the up side and at least 0.8 on the down side
    chain = Chain((straight(1, 4), straight(1, -4, rail="treated")), lap=True)
    met = walk(chain, Train((engine(1), *(CAR,) * 18)), STEP)
    assert met.running.max() == approx(18 * 0.02 + 0.04 * (10 - 8))
    assert met.running.min() == approx(18 * 0.02 + 0.04 * (8 - 10))
    middle = (met.head[:-1] + met.head[1:]) / 2
    assert met.standing == approx(np.where((middle > 0.2) & (middle < 1), 1, 0.5))
    # a whole lap of cars asks for no lift anywhere, and neither do two
    for cars in (20, 40):
        assert walk(chain, Train((engine(1), *(CAR,) * cars)), STEP).running == approx(cars * 0.02)


def test_train_in_a_berth_starts_with_its_tail_at_the_origin():
    chain = Chain(HILL.pieces, berth=True)
    assert walk(chain, Train((engine(1), *(CAR,) * 8)), STEP).head[0] == approx(1.0)
    met = walk(chain, Train((engine(1), *(CAR,) * 40)), STEP)  # 4.2 m: longer than the route
    assert list(met.head) == [3, 3]
    # 10 cars on the hill from 1 to 2 m, 18 behind the origin, on the level
    assert met.running == approx(40 * 0.02 + 0.4)


# ---- verdict ----


@pytest.mark.parametrize(
    ("pull", "slip", "verdict"),
    [
        # ten cars of 1 N: running 0.2 + 0.4, starting 0.3 + 0.4
        (0.70, 0.60 / 0.70, "climbs"),  # exactly enough, twice
        (0.70, 0.59 / 0.70, "marginal"),  # would not recover from a slip
        (0.69, 0.60 / 0.69, "marginal"),  # must not stop
        (0.60, 0.50, "marginal"),
        (0.5999, 0.9, "stalls"),
    ],
)
def test_verdict(pull, slip, verdict):
    assert walk(HILL, Train((engine(pull, slip=slip), *(CAR,) * 10)), STEP).verdict() == verdict


def test_stretches_where_the_pull_is_not_enough():
    met = walk(HILL, Train((engine(0.65, slip=0.4 / 0.65), *(CAR,) * 10)), STEP)
    # the cars' front is 0.2 behind; x m of cars on the hill ask 0.4 x more
    assert met.stretches("stand") == ()
    # 0.3 + 0.4 x > 0.65 from x = 0.875 to 1 and back
    assert mismatch(met.stretches("restart"), [(2.075, 2.325)]) <= 2 * STEP
    # 0.2 + 0.4 x > 0.4 from x = 0.5
    assert mismatch(met.stretches("slip"), [(1.7, 2.7)]) <= 2 * STEP
    assert met.least("stand") == approx((0.05, 2.2))


def test_margin_is_judged_at_the_very_joint_however_coarse_the_step():
    met = walk(HILL, Train((engine(0.65), *(CAR,) * 10)), 10.0)
    assert met.least("stand") == approx((0.05, 2.2))


def test_train_that_pushes_its_locomotive_down_the_hill():
    down = Chain((straight(1), straight(2, -4)))
    easy = Car(1 / GRAVITY, 0.1, 0.02, 0.03, lowest=0.01)
    # ten cars wholly on the hill push 0.4 - 0.1, the engine of 2 N another 0.08
    enough, short = (
        walk(down, Train((engine(2 * slip, mass=2 / GRAVITY), *(easy,) * 10)), STEP) for slip in (0.38, 0.37)
    )
    assert enough.passes("hold")
    assert not short.passes("hold")
    # 0.08 + 0.4 x - 0.1 > 0.37 from x = 0.975, x = head - 1.2
    assert mismatch(short.stretches("hold"), [(2.175, 3)]) <= 2 * STEP


# ---- longest train ----


def test_longest_train_on_the_level_is_pull_over_resistance_even_when_exact():
    level = Chain((straight(3),))
    # 0.14 / 0.02 = 7 rolling; 0.14 / 0.03 = 4.67 starting; slipping 0.07 / 0.02 = 3.5
    found = longest(level, [engine(0.14)], CAR)
    assert (found.limit, found.rated) == (7, 3)
    found = longest(level, [engine(0.14, slip=0.9)], CAR)
    assert (found.limit, found.rated) == (7, 4)
    assert longest(level, [engine(0.1), engine(0.1)], CAR, together=0.7).limit == 7
    assert longest(level, [engine(0.1), engine(0.1)], CAR, trailing=True).limit == 9
    assert longest(level, [engine(1.0)], CAR, most=30).limit == 30
    assert not found.limit_close


def test_longest_train_counts_to_999():
    found = longest(Chain((straight(0.5),)), [engine(100.0)], CAR, step=0.5)
    assert (found.limit, found.rated) == (999, 999)


def test_longest_train_stops_at_the_first_that_fails_over_a_sawtooth():
    # out of a berth over teeth of 0.1 m at ±10 %: one car is wholly on a tooth, two stand across it and lift nothing
    teeth = tuple(straight(0.1, 10 * (-1) ** i) for i in range(10))
    chain = Chain(teeth, berth=True)
    pull = 0.1
    assert walk(chain, Train((engine(pull), CAR)), STEP).verdict() == "stalls"
    assert walk(chain, Train((engine(pull), CAR, CAR)), STEP).passes("stand")
    assert longest(chain, [engine(pull)], CAR).limit == 0


def test_longest_train_is_bound_by_what_it_spans():
    # 1 m at 4 %: up to ten cars ask 0.06 each, more only 0.02 each: 0.63 carries 11, 0.59 carries 9
    assert longest(HILL, [engine(0.63)], CAR).limit == 11
    assert longest(HILL, [engine(0.59)], CAR).limit == 9
    # a route that ends 0.5 m up the hill: behind the engine 0.3 m of cars get onto it, before it 0.5 m
    short = Chain((straight(1), straight(0.5, 4)))
    assert longest(short, [engine(0.25)], CAR).limit == 6  # 6 × 0.02 + 3 × 0.04 = 0.24
    assert longest(short, [engine(0.25)], CAR, trailing=True).limit == 4  # 4 × 0.06 = 0.24


@given(chain=chains(most=5), train=trains())
@settings(deadline=None, max_examples=25)
def test_a_finer_walk_stays_within_the_shortfall_of_a_coarse_one(chain, train):
    coarse, fine = walk(chain, train, 0.05), walk(chain, train, 0.004)
    for test in ("stand", "restart", "slip", "hold"):
        gap = coarse.least(test)[0] - fine.least(test)[0]
        assert -shortfall(chain, train, 0.004) - 1e-8 <= gap <= shortfall(chain, train, 0.05) + 1e-8
