"""The exact engine against two walks at 1 mm over a 350 m route with 500 tracks."""

from __future__ import annotations

import pytest
from layouts import loco, long_hill
from walks import height_lookup, numpy_longest, plain_longest, sampled

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.longest import LoadSearch, Room
from gradehaul.plan import read_plan

BEHIND = 20.0


class Setting:
    def __init__(self, pull: float) -> None:
        self.plan = read_plan(long_hill(500, 350) + loco("mallet", pull=pull))
        self.layout = Layout(self.plan)
        self.profile = self.layout.profile("Up")
        self.loco, self.car = self.plan.locos["mallet"], self.plan.cars["hopper"]
        self.pull = self.layout.pulls.standing(self.loco, "clean").value

    def exact(self) -> int:
        climb = LoadSearch(self.plan, self.profile, self.plan.powers["mallet"], self.car, self.layout.pulls)
        return climb.load("clean", [Room("the route", 1e3, "route")]).limit

    def walk(self) -> int:
        """The best walk that numpy allows: heights sampled once, then each train as two look-ups."""
        samples = sampled(self.profile.compensated, BEHIND)
        return numpy_longest(samples, BEHIND, self.loco, self.car, self.pull, most=150)


@pytest.fixture(scope="module", params=[60, 120, 300])
def setting(request):
    return Setting(request.param)


def test_against_the_best_walk_of_numpy(setting, ratio):
    assert setting.exact() == setting.walk()
    ratio(
        f"best numpy walk over exact engine, longest train of {setting.exact()} cars",
        setting.walk,
        setting.exact,
        rounds=15,
        least=2,
    )


def test_against_the_plain_walk(ratio):
    setting = Setting(60)
    cars = setting.exact() + 1
    assert height_lookup(setting.profile.compensated)(100.0) == pytest.approx(setting.profile.compensated(100.0))

    def plain() -> int:
        return plain_longest(setting.profile.compensated, setting.loco, setting.car, setting.pull, most=cars)

    assert plain() == setting.exact()
    ratio("plain walk over exact engine", plain, setting.exact, rounds=3, least=300)
