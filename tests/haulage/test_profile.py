"""The rail under a locomotive, against each track laid out in turn."""

from __future__ import annotations

from dataclasses import replace
from itertools import accumulate
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.demand import rails_under
from gradehaul.haulage.profile import RouteProfile, steepest_on_ways, way_profiles
from gradehaul.plan import load_plan, read_plan

LENGTHS = st.lists(st.integers(1, 9), min_size=1, max_size=6)
"""Of tracks, in tenths of a meter, so that ends of stretches fall on joints."""


def profile_of(lengths: list[int], *, lap: bool) -> RouteProfile:
    """A route of tracks on rails 0, 1, 2 and so on."""
    straights = "".join(f"{{ straight = {length / 10} }}, " for length in lengths)
    text = f'scale = "HO"\nunit = "m"\nrailhead.A = 0\n[line.Main]\nfrom = "A"\nto = "B"\ntrack = [{straights}]\n'
    profile = Layout(read_plan(text)).profile("A to B")
    route = replace(profile.route, lap=lap)
    return replace(profile, route=route, rails=tuple(map(str, range(len(lengths)))))


def laid_out(lengths: list[int], start: float, stop: float, *, lap: bool) -> set[str]:
    ends = list(accumulate(lengths, initial=0))
    whole = ends[-1]
    return {
        str(number)
        for turn in (range(-60, 60) if lap else (0,))
        for number in range(len(lengths))
        if ends[number] + turn * whole < stop and ends[number + 1] + turn * whole > start
    }


@example(lengths=[1, 1], behind=0, size=1, lap=True)  # the joint at which the lap closes
@example(lengths=[2, 1, 3], behind=12, size=1, lap=True)
@given(LENGTHS, st.integers(0, 30), st.integers(1, 30), st.booleans())
def test_the_rail_under_a_locomotive_is_that_of_every_track_that_it_stands_on(lengths, behind, size, lap):
    profile = profile_of(lengths, lap=lap)
    train = SimpleNamespace(locos=[(SimpleNamespace(length=size / 10), behind / 10)])
    places, under = rails_under(profile, train)
    for half in range(2 * sum(lengths)):  # in the middle between any two places where anything can change
        head = half / 2 + 0.25
        (found,) = under[int(np.searchsorted(places, head / 10)) - 1]
        expected = laid_out(lengths, head - behind - size, head - behind, lap=lap)
        assert set(found) == (expected or {"0"})


@pytest.mark.parametrize("name", ["yard", "n-mountain", "two-levels", "switchback"])
def test_the_steepest_on_every_way_is_that_of_the_routes_over_it(name):
    layout = Layout(load_plan(f"plans/{name}.toml"))
    steepest = steepest_on_ways(way_profiles(layout.alignment), layout.coefficient)
    seen = set()
    for route in layout.routes:
        profile = layout.profile(route)
        for leg, _ in profile.runs:
            grade = leg.effective_grade()
            for way, start, stop in zip(leg.route.ways, leg.starts[:-1], leg.starts[1:], strict=True):
                within = (grade.breaks[:-1] >= start - 1e-9) & (grade.breaks[1:] <= stop + 1e-9)
                if not within.any():
                    continue
                most = max(grade.values[within].max(), grade.ends[within].max())
                assert steepest[way] == pytest.approx(most, abs=1e-9)
                seen.add(way.forward)
    assert seen == {True, False}


def test_the_ruling_grade_is_found_where_a_vertical_curve_is_left_in_a_bend():
    """The grade grows through a sag; the bend ends or begins within it, so that the most is at a jump, on one side."""
    head = 'scale = "HO"\nunit = "m"\nrailhead.A = 0\nvertical_curve = { length = 1 }\n'
    head += 'route.R = { from = "A", to = "B" }\n[line.L]\nfrom = "A"\nto = "B"\ntrack = ['
    for tracks, at in (
        # the grade of the first half of the vertical curve, with all of the bend's resistance, at its end
        (
            '{straight = 2, grade = "0 %"}, {left = 0.5, length = 1, grade = "0 %"}, {straight = 2, grade = "2 %"}',
            3.0,
        ),
        (
            '{straight = 2, grade = "2 %"}, {left = 0.5, length = 1, grade = "0 %"}, {straight = 2, grade = "0 %"}',
            2.0,
        ),
    ):
        layout = Layout(read_plan(f"{head}{tracks}]\n"))
        ruling = layout.profile("R").ruling()
        assert ruling.effective == pytest.approx(0.01 + layout.coefficient / 0.5, abs=1e-9)
        assert (ruling.start, ruling.stop) == pytest.approx((at, at), abs=1e-6)
