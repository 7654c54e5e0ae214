"""From plan text to answers by the tool's own steps, for checks against published values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from gradehaul.haulage.adhesion import GRAVITY, Pulls
from gradehaul.haulage.demand import gravity_and_curves
from gradehaul.haulage.longest import Load, LoadSearch, Room
from gradehaul.haulage.profile import RouteProfile, route_profile, steepest_on_ways, way_profiles
from gradehaul.haulage.resistance import curve_costs
from gradehaul.haulage.train import build_train, headed_by
from gradehaul.haulage.verdict import Verdict, judge
from gradehaul.network.graph import MovementGraph
from gradehaul.network.routes import find_routes
from gradehaul.plan import read_plan
from gradehaul.plan.records import Plan
from gradehaul.track.alignment import Alignment, align

FOOT = 0.3048
POUND = 0.45359237

FULL_SIZE = """
scale = { ratio = 1, gauge = "1435 mm" }
unit = "ft"
railhead.Foot = 0
route.Up = { from = "Foot", to = "Top" }
"""
"""The head of a full-size plan in feet: the railway climbs from Foot to Top."""


@dataclass(frozen=True, slots=True)
class Answers:
    """A plan with its alignment and the profile of every route."""

    plan: Plan
    alignment: Alignment
    profiles: Mapping[str, RouteProfile]
    pulls: Pulls

    def profile(self, route: str = "Up") -> RouteProfile:
        return self.profiles[route]

    def load(self, power: str, car: str, rail: str = "clean") -> Load:
        return self._climb(power, car).load(rail, [Room("the route", 1e3, "route")])

    def share_lifted(self, power: str, car: str, count: int, rail: str = "clean") -> float:
        """Return the pull of one locomotive or power over what each of so many cars asks at the worst place."""
        climb = self._climb(power, car)
        train = headed_by(self.plan, climb.power, climb.car, count)
        asked = gravity_and_curves(climb.profile, train).greatest().value + train.rolling
        pull = train.together * sum(self.pulls.standing(loco, rail).value for loco, _ in train.locos)
        return pull / (asked / count)

    def verdict(self, train: str, rail: str = "clean") -> Verdict:
        named = self.plan.trains[train]
        return judge(self.profiles[named.route], build_train(self.plan, named), rail, self.pulls)

    def effective_on(self, track: int, route: str = "Up") -> float:
        """Return the effective grade in the middle of a route's track, counted from 1."""
        profile = self.profiles[route]
        middle = 0.5 * float(profile.starts[track - 1] + profile.starts[track])
        return profile.effective_grade()(middle)

    def _climb(self, power: str, car: str) -> LoadSearch:
        return LoadSearch(self.plan, self.profile(), self.plan.powers[power], self.plan.cars[car], self.pulls)


def answer(text: str) -> Answers:
    """Read a plan and work out every route of it."""
    plan = read_plan(text)
    alignment = align(plan)
    curves = curve_costs(plan.curve_resistance, plan.scale)
    laid = way_profiles(alignment)
    routes = find_routes(MovementGraph(plan), steepest_on_ways(laid, curves.coefficient)).routes
    profiles = {route.name: route_profile(laid, route, curves) for route in routes}
    return Answers(plan, alignment, profiles, Pulls(plan))


def pounds_force(newtons: float) -> float:
    return newtons / (POUND * GRAVITY)


def curve_grade(head: str, curve: str) -> float:
    """Return the ruling effective grade of a level railway that is one curve."""
    text = f"""
    {head}
    railhead.Foot = 0
    route.Up = {{ from = "Foot", to = "Top" }}
    line.Bend = {{ from = "Foot", to = "Top", track = [ {{ {curve}, rise = 0 }} ] }}
    """
    return answer(text).profile().ruling().effective
