"""A route that begins at a joint with track behind it: its train stands on that track, as an independent walk does."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import brute_walk as walk
from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.answers.check_notes import unknown_behind
from gradehaul.haulage.answers.judged import judged_trains
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.longest import LoadSearch
from gradehaul.haulage.profile import route_profile, steepest_on_ways, way_profiles
from gradehaul.haulage.resistance import CurveCosts, curve_costs
from gradehaul.haulage.train import Engine, build_train
from gradehaul.haulage.verdict import Verdict, demand_breakdown, judge
from gradehaul.network.graph import MovementGraph
from gradehaul.network.route import MOST_BEHIND
from gradehaul.network.routes import find_routes
from gradehaul.plan import read_plan
from gradehaul.plan.rail_condition import AS_PLANNED
from gradehaul.track.alignment import align
from gradehaul.treatment.keep_clean import KeepCleanOptions, keep_clean_plan

STEP = 0.004
COEFFICIENT = 0.008
STAND = {"clean": 0.9, "treated": 0.45}
SLIP = {"clean": 0.7, "treated": 0.4}
LOCO = walk.Loco(0.3, 0.2, STAND, SLIP)
CAR = walk.Car(0.12, 0.15, 0.01, 0.02, lowest=0.004)
HEAVY = walk.Car(0.3, 0.1, 0.01, 0.02, lowest=0.004)


@dataclass(frozen=True)
class Piece:
    """A track in running order: its length, m, its radius to the left, 0 where it is straight, and its grade."""

    length: float
    radius: float
    grade: float
    rail: str

    @property
    def text(self) -> str:
        shape = f"left = {self.radius}, length = {self.length}" if self.radius else f"straight = {self.length}"
        return f'{{ {shape}, grade = "{100 * self.grade:.2f} %", rail = "{self.rail}" }}'

    @property
    def walked(self) -> walk.Piece:
        return walk.Piece(self.length, 1 / self.radius if self.radius else 0.0, grade=self.grade, rail=self.rail)


pieces = st.builds(
    Piece,
    st.sampled_from([0.3, 0.55, 0.8, 1.2]),
    st.sampled_from([0.0, 0.0, 0.6, 0.9]),
    st.sampled_from([-0.05, -0.02, 0.0, 0.02, 0.03, 0.05]),
    st.sampled_from(["clean", "clean", "treated"]),
)
lines = st.lists(pieces, min_size=1, max_size=3)


def line(name: str, start: str, stop: str, tracks: list[Piece]) -> str:
    own = ", ".join(each.text for each in tracks)
    return f'[line.{name}]\nfrom = "{start}"\nto = "{stop}"\ntrack = [{own}]\n'


def plan_text(ahead: list[Piece], behind: list[list[Piece]], consist: str) -> str:
    """A route from M; one line leads to it, or two over a turnout with its toe at M."""
    text = f"""scale = "HO"\nunit = "m"\nvertical_curve.length = 0\nrailhead.M = 0
curve_resistance.model = "coefficient"
curve_resistance.coefficient = "{COEFFICIENT} m"
[loco.mule]\nmass = "300 g"\nlength = 0.2\ndriven_wheels = 4
pull = {{ clean = "0.9 N", treated = "0.45 N", "treated fresh" = "0.45 N" }}
slipping = {{ clean = "0.7 N", treated = "0.4 N", "treated fresh" = "0.4 N" }}
[car.ore]\nmass = "120 g"\nlength = 0.15\nrolling = "1 %"\nstarting = "2 %"
[car.slab]\nmass = "300 g"\nlength = 0.1\nrolling = "1 %"\nstarting = "2 %"
[route.Up]\nfrom = "M"\nto = "B"
[train.T]\nroute = "Up"\nconsist = [{consist}]
"""
    for number, tracks in enumerate(behind):
        text += line(f"Behind{number}", f"A{number}", "M", tracks)
    if len(behind) > 1:
        text += '[turnout.M]\ntoe = "Ahead.from"\nlegs = ["Behind0.to", "Behind1.to"]\n'
    return text + line("Ahead", "M", "B", ahead)


def walked(
    ahead: list[Piece], behind: list[list[Piece]], vehicles: tuple[walk.Car | walk.Loco, ...], lowest: float
) -> dict[str, float]:
    """The least of what is left in each test with the head on the route, on whichever track is behind it."""
    least = {}
    for tracks in behind:
        before = sum(each.length for each in tracks)
        chain = walk.Chain(
            tuple(each.walked for each in (*tracks, *ahead)),
            coefficient=COEFFICIENT,
            lowest=lowest,
            behind=tracks[0].rail,
        )
        whole = walk.walk(chain, walk.Train(vehicles), STEP)
        for test in ("stand", "restart", "slip", "hold"):
            asked, given_here = whole._asked_and_given(test)
            on_route = whole.head[:-1] >= before - 1e-9
            left = float((given_here - asked)[on_route].min())
            least[test] = min(least.get(test, np.inf), left)
    return least


TRAINS = {
    '"mule", "5 ore"': (LOCO, *[CAR] * 5),
    '"4 ore", "mule"': (*[CAR] * 4, LOCO),
    '"mule", "2 ore", "3 slab"': (LOCO, *[CAR] * 2, *[HEAVY] * 3),
    '"3 slab", "mule", "2 ore"': (*[HEAVY] * 3, LOCO, *[CAR] * 2),
}


def judged(text: str) -> tuple[Verdict, Verdict, CurveCosts]:
    """The verdict on the train, that without the track behind, and what curves cost."""
    plan = read_plan(text)
    ways = way_profiles(align(plan))
    curves = curve_costs(plan.curve_resistance, plan.scale)
    (route,) = find_routes(MovementGraph(plan), steepest_on_ways(ways, curves.coefficient)).routes
    profile, train, pulls = route_profile(ways, route, curves), build_train(plan, plan.trains["T"]), Pulls(plan)
    verdict = judge(profile, train, AS_PLANNED, pulls)
    parts = demand_breakdown(profile, train, AS_PLANNED, pulls, verdict)
    left = parts.pull + parts.all if verdict.spare_by == "hold" else parts.pull - parts.all
    assert left == pytest.approx(verdict.spare, abs=1e-9)
    return verdict, judge(replace(profile, behind=()), train, AS_PLANNED, pulls), curves


@given(lines, st.lists(lines, min_size=1, max_size=2), st.sampled_from(list(TRAINS)))
@settings(max_examples=60, deadline=None)
def test_the_verdict_is_the_worst_over_the_track_behind(
    ahead: list[Piece], behind: list[list[Piece]], consist: str
) -> None:
    verdict, _, curves = judged(plan_text(ahead, behind, consist))
    least = walked(ahead, behind, TRAINS[consist], curves.lowest)
    outcome = "climbs" if min(least.values()) >= -1e-9 else "marginal"
    if least["hold"] < -1e-9:
        outcome = "runs away"
    if least["stand"] < -1e-9:
        outcome = "stalls"
    assert verdict.outcome == outcome
    if len(behind) == 1:
        spare = min(least.values())
        assert verdict.spare == pytest.approx(spare if spare < -1e-9 else max(spare, 0.0), abs=1e-8)
        assert verdict.margin == pytest.approx(least["stand"], abs=1e-8)


@given(lines, st.lists(lines, min_size=1, max_size=2), st.sampled_from(["leading", "trailing"]))
@settings(max_examples=25, deadline=None)
def test_the_longest_train_is_the_last_before_the_verdict_fails(
    ahead: list[Piece], behind: list[list[Piece]], engine: Engine
) -> None:
    layout = Layout(read_plan(plan_text(ahead, behind, '"mule", "5 ore"')))
    plan, profile = layout.plan, layout.profile("Up")
    load = LoadSearch(plan, profile, plan.powers["mule"], plan.cars["ore"], layout.pulls, engine=engine)
    found = load.load("clean", layout.rooms(profile.route))
    counts = range(1, found.rated + 2 if found.rated < 60 else 60)
    good = [judge(profile, load.train(count), "clean", layout.pulls).outcome == "climbs" for count in counts]
    assert all(good[: found.rated])
    assert found.rated >= 60 or not good[found.rated]


STEEP = Piece(2.0, 0.0, 0.06, "clean")
LEVEL = Piece(2.0, 0.0, 0.0, "clean")
DOWN = Piece(2.0, 0.0, -0.06, "clean")


@pytest.mark.parametrize(
    ("behind", "sure"),
    [([[LEVEL]], 0), ([[STEEP]], 1), ([[LEVEL], [STEEP]], 1), ([[DOWN]], 1), ([[DOWN], [LEVEL]], 1)],
)
def test_the_random_trials_stand_on_the_track_behind(behind: list[list[Piece]], sure: int) -> None:
    layout = Layout(read_plan(plan_text([LEVEL], behind, '"mule", "8 slab"')))
    (train,) = judged_trains(layout, ["clean"])
    assert (train.risk > 0.9) == bool(sure)
    assert (train.risk < 0.1) == (not sure)


@pytest.mark.parametrize(("consist", "kept"), [('"4 ore", "mule"', "Behind0:1"), ('"mule", "4 ore"', "Ahead:1")])
def test_film_stays_off_the_track_behind_where_a_locomotive_stands_there(consist: str, kept: str) -> None:
    short = Piece(0.1, 0.0, 0.0, "clean")
    text = plan_text([short, LEVEL], [[replace(STEEP, grade=0.05)]], consist).replace(', rail = "clean"', "")
    layout = Layout(read_plan(text))
    found = keep_clean_plan(layout, KeepCleanOptions(carry=0.0))
    clean = [row.unit.track for row in found.rows if row.use not in ("film", "no effect")]
    assert kept in clean
    film = [row.unit.track for row in found.rows if row.unit.track not in clean]
    treated = replace(
        layout.plan,
        carry_over=0.0,
        lines={
            name: replace(
                line,
                tracks=tuple(replace(track, rail="treated" if track.id in film else "clean") for track in line.tracks),
            )
            for name, line in layout.plan.lines.items()
        },
    )
    assert Layout(treated).verdict("T", rail=AS_PLANNED).outcome == "climbs"


@pytest.mark.parametrize(("legs", "doubts"), [(MOST_BEHIND, 0), (MOST_BEHIND + 1, 1)])
def test_track_behind_that_is_not_followed_to_its_end_is_doubted(legs: int, doubts: int) -> None:
    text = plan_text([LEVEL], [[LEVEL]], '"mule", "15 ore"').replace("Ahead.from", "Behind0.from")
    text = text.replace('from = "A0"', 'from = "Table"')
    for number in range(legs):
        text += line(f"Leg{number}", f"L{number}", "Table", [replace(STEEP, grade=0.25)])
    lines = ", ".join(f'"Leg{number}"' for number in range(legs))
    layout = Layout(read_plan(text + f'[table.Table]\nlines = ["Behind0", {lines}]\nlength = 0.4\n'))
    (route,) = layout.routes
    notes = list(unknown_behind(layout, route, 2.4))
    assert [("track more than 2 m behind it" in note.text) for note in notes] == [True] * doubts
    assert not list(unknown_behind(layout, route, 1.9))
    assert (layout.verdict("T").outcome == "climbs") == bool(doubts)
