"""Piecewise quadratics against plain sampling."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.track.piecewise import (
    PiecewiseQuadratic,
    join,
    polyline,
    steps,
    sum_of_shifted,
)

numbers = st.floats(-2, 2, allow_nan=False).map(lambda x: round(x, 3))


@st.composite
def functions(draw: st.DrawFn, *, continuous: bool = False) -> PiecewiseQuadratic:
    count = draw(st.integers(1, 6))
    widths = draw(st.lists(st.floats(0.01, 2).map(lambda x: round(x, 3)), min_size=count, max_size=count))
    breaks = draw(numbers) + np.concatenate([[0.0], np.cumsum(widths)])
    rows = np.array(draw(st.lists(st.tuples(numbers, numbers, numbers), min_size=count, max_size=count)))
    function = PiecewiseQuadratic(breaks, rows[:, 0], rows[:, 1], rows[:, 2])
    if not continuous:
        return function
    parts = [PiecewiseQuadratic(breaks[k : k + 2], *(rows[k : k + 1, j] for j in range(3))) for k in range(count)]
    return join(parts, follow_on=True)


def inside(function: PiecewiseQuadratic, count: int = 201) -> np.ndarray:
    """Places in the function that are no breakpoints, where jumps leave the value undecided."""
    places = np.linspace(function.start, function.stop, count)
    return places[np.abs(places[:, None] - function.breaks).min(axis=1) > 1e-6]


@given(functions(), functions(), numbers)
def test_arithmetic_is_that_of_the_values(f: PiecewiseQuadratic, g: PiecewiseQuadratic, k: float) -> None:
    g = g.shift(f.start - g.start)
    total = f + g
    assert total.start == pytest.approx(f.start)
    assert total.stop == pytest.approx(min(f.stop, g.stop))
    places = inside(total)
    assert total.at(places) == pytest.approx(f.at(places) + g.at(places), abs=1e-9)
    assert (f - g).at(places) == pytest.approx(f.at(places) - g.at(places), abs=1e-9)
    assert (f * k + 1.5).at(places) == pytest.approx(k * f.at(places) + 1.5, abs=1e-9)


@given(functions())
def test_reversing_twice_changes_nothing(f: PiecewiseQuadratic) -> None:
    back = f.reverse()
    places = inside(f)
    assert back.at(f.start + f.stop - places) == pytest.approx(f.at(places), abs=1e-9)
    twice = back.reverse()
    assert twice.breaks == pytest.approx(f.breaks, abs=1e-12)
    assert twice.at(places) == pytest.approx(f.at(places), abs=1e-9)


@given(functions())
def test_extremes_bound_every_sample_and_are_reached(f: PiecewiseQuadratic) -> None:
    top, bottom = f.greatest(), f.least()
    samples = f.at(inside(f))
    both_sides = np.concatenate([f.values, f.ends, samples])
    assert both_sides.max() <= top.value + 1e-9
    assert both_sides.min() >= bottom.value - 1e-9
    for extreme in (top, bottom):
        assert f.start <= extreme.at <= f.stop
        ends_here, begins_here = np.isclose(f.breaks[1:], extreme.at), np.isclose(f.breaks[:-1], extreme.at)
        near = np.concatenate([[f(extreme.at)], f.ends[ends_here], f.values[begins_here]])
        assert np.abs(near - extreme.value).min() < 1e-8


@given(functions(), numbers)
def test_below_is_where_samples_are_below(f: PiecewiseQuadratic, level: float) -> None:
    stretches = f.below(level)
    assert np.all(np.diff(stretches.ravel()) >= 0)
    for place in inside(f):
        value = f(place) - level
        if abs(value) > 1e-6:
            within = bool(np.any((stretches[:, 0] <= place) & (place <= stretches[:, 1])))
            assert within == (value < 0)


def test_below_joins_stretches_that_meet() -> None:
    f = steps([0.0, 1.0, 2.0, 3.0], [-1.0, -2.0, 5.0])
    assert f.below(0.0).tolist() == [[0.0, 2.0]]


def test_below_of_a_function_of_one_place() -> None:
    f = polyline([0.0, 1.0], [0.0, 1.0])
    here = sum_of_shifted([(f, 1.0, 0.0)], 0.5, 0.5)
    assert here.below(1.0).tolist() == [[0.5, 0.5]]
    assert here.below(0.2).size == 0


@given(functions(continuous=True), st.lists(st.tuples(numbers, st.floats(0, 3)), min_size=1, max_size=4))
def test_shifted_sum_is_the_sum_of_shifted_values(f: PiecewiseQuadratic, terms: list[tuple[float, float]]) -> None:
    shifts = [shift for _, shift in terms]
    start, stop = f.start + max(shifts), f.stop + min(shifts)
    if stop <= start:
        return
    total = sum_of_shifted([(f, weight, shift) for weight, shift in terms], start, stop)
    for place in np.linspace(start, stop, 37):
        expected = sum(w * f(place - s) for w, s in terms)
        assert total(place) == pytest.approx(expected, abs=1e-7)


@given(functions(continuous=True))
def test_derivative_is_the_difference_quotient(f: PiecewiseQuadratic) -> None:
    slope = f.derivative()
    for place in inside(f, 51):
        quotient = (f(place + 1e-7) - f(place - 1e-7)) / 2e-7
        assert slope(place) == pytest.approx(quotient, abs=1e-5)


@given(functions())
def test_restricting_keeps_the_values(f: PiecewiseQuadratic) -> None:
    third = (f.stop - f.start) / 3
    part = f.restrict(f.start + third, f.stop - third)
    assert (part.start, part.stop) == (f.start + third, f.stop - third)
    places = inside(part)
    assert part.at(places) == pytest.approx(f.at(places), abs=1e-9)
