"""What a program gives a layout and the layout does not know is refused by the package's own errors."""

import math

import pytest

import gradehaul
from gradehaul.errors import GradehaulError, QuantityError, RouteError

PLAN = gradehaul.load_plan("plans/first-hill.toml")
LAYOUT = gradehaul.Layout(PLAN)
PROFILE = LAYOUT.profile("Uphill")
OTHER = gradehaul.Layout(gradehaul.load_plan("plans/two-levels.toml"))
BEYOND = [-1.0, math.nan, math.inf, -math.inf]


@pytest.mark.parametrize("hours", [*BEYOND, 2e6])
def test_ages_of_a_film(hours):
    with pytest.raises(QuantityError, match="hours: the age of a film is from 0 to"):
        gradehaul.Layout(PLAN, hours=hours)
    with pytest.raises(QuantityError):
        gradehaul.Layout(PLAN, hours=hours)


@pytest.mark.parametrize("place", [*BEYOND, PROFILE.length + 1])
def test_places(place):
    for call in (PROFILE.track_at, PROFILE.railhead, PROFILE.effective_grade()):
        with pytest.raises(RouteError, match=r"a place must be from 0 to 7\.38"):
            call(place)
    with pytest.raises(RouteError):
        PROFILE.railhead.at([0.0, place])


@pytest.mark.parametrize("length", [*BEYOND, 0.0])
def test_lengths_of_a_train(length):
    with pytest.raises(RouteError, match="a train's length is more than 0 and finite"):
        PROFILE.ruling_under_train(length)


@pytest.mark.parametrize(
    "call",
    [
        lambda: LAYOUT.verdict("local", rail="x"),
        lambda: LAYOUT.longest_train("Uphill", "switcher", "boxcar", engine="middle"),
        lambda: LAYOUT.loads(PROFILE, "switcher", "boxcar", ["x"]),
        lambda: LAYOUT.profile(OTHER.routes[0]),
        lambda: LAYOUT.rooms(OTHER.routes[0]),
        lambda: LAYOUT.loads(OTHER.profile(OTHER.routes[0]), "switcher", "boxcar", ["clean"]),
        lambda: LAYOUT.movements.reach([gradehaul.Way("x", forward=True)]),
    ],
)
def test_names_and_routes_of_another_layout(call):
    with pytest.raises(GradehaulError) as caught:
        call()
    assert str(caught.value).startswith("plans/first-hill.toml: ")
