"""The rail under a stretch of a route, against each track laid out in turn."""

from __future__ import annotations

from dataclasses import replace
from itertools import accumulate

from hypothesis import example, given
from hypothesis import strategies as st

from gradehaul.haulage.layout import Layout
from gradehaul.haulage.profile import RouteProfile
from gradehaul.plan import read_plan

LENGTHS = st.lists(st.integers(1, 9), min_size=1, max_size=6)
"""Of tracks, in tenths of a meter, so that ends of stretches fall on joints."""


def profile_of(lengths: list[int], *, lap: bool) -> RouteProfile:
    """A route of tracks on rails 0, 1, 2 and so on."""
    straights = "".join(f"{{ straight = {length / 10} }}, " for length in lengths)
    text = f'scale = "HO"\nunit = "m"\nrailhead.A = 0\n[line.Main]\nfrom = "A"\nto = "B"\ntrack = [{straights}]\n'
    profile = Layout(read_plan(text)).profile("A to B")
    route = replace(profile.route, lap=lap)
    return replace(profile, route=route, rails=tuple(map(str, range(len(lengths)))))


def laid_out(lengths: list[int], start: int, stop: int, *, lap: bool) -> set[str]:
    ends = list(accumulate(lengths, initial=0))
    whole = ends[-1]
    return {
        str(number)
        for turn in (range(-60, 60) if lap else (0,))
        for number in range(len(lengths))
        if ends[number] + turn * whole <= stop and ends[number + 1] + turn * whole >= start
    }


@example(lengths=[1, 1], start=0, size=0, lap=True)  # the joint at which the lap closes
@example(lengths=[2, 1, 3], start=-12, size=1, lap=True)
@given(LENGTHS, st.integers(-30, 54), st.integers(0, 30), st.booleans())
def test_the_rail_under_a_stretch_is_that_of_every_track_it_touches(lengths, start, size, lap):
    profile = profile_of(lengths, lap=lap)
    stop = start + size
    if not lap:
        start, stop = min(start, sum(lengths)), min(stop, sum(lengths))
    expected = laid_out(lengths, start, stop, lap=lap) or {"0"}
    assert profile.rails_under(start / 10, stop / 10) == expected
