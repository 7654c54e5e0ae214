"""A small plan with everything in it that an answer shows, and its answer."""

from __future__ import annotations

import pytest

from checked import check
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.plan import read_plan

PLAN = """
title = "Tarn branch"
scale = "HO"
unit = "in"
[railhead]
Wharf = 0
[line.Main]
from = "Wharf"
to = "Junction"
track = [{ straight = 60, grade = "0 %" }]
[line.Hill]
from = "Junction"
to = "Summit"
track = [
  { straight = 40, grade = "2 %" },
  { name = "Horseshoe", left = 24, angle = 180, grade = "2 %" },
  { straight = 40, grade = "1 %" },
]
[line.Spur]
from = "Junction"
to = "Quarry"
berth = "Quarry loading"
track = [{ left = 30, angle = 20, grade = "3 %" }, { straight = 30, grade = "3 %" }]
[turnout.Junction]
toe = "Main"
legs = ["Hill", "Spur"]
[loco.mogul]
mass = "300 g"
length = "8 in"
pull.clean = ["60 gf", "62 gf"]
[car.ore]
mass = "3.5 oz"
length = "5.5 in"
rolling = "2.2 %"
starting = "3.0 %"
[train.morning]
route = "Up ore"
consist = ["mogul", "7 ore"]
[train.short]
route = "Up ore"
consist = ["mogul", "ore"]
[route."Up ore"]
from = "Wharf"
to = "Summit"
[route."To quarry"]
from = "Wharf"
to = "Quarry loading"
"""

BARE = """
title = "[red]x[/]"
scale = "HO"
unit = "in"
railhead."=1+1" = 0
[line."=1+1 line"]
from = "=1+1"
to = "מחצבה"
track = [{ straight = 60, grade = "2 %", name = "🚂 :smile:" }]
[loco."@mogul"]
mass = "300 g"
length = "8 in"
[car."-ore"]
length = "5.5 in"
[train."[/] night"]
route = "+up"
consist = ["@mogul", "-ore"]
[route."+up"]
from = "=1+1"
to = "מחצבה"
"""
"""Names that a spreadsheet, a markup reader or a terminal might take for more than text."""


@pytest.fixture(scope="session")
def answer() -> CheckAnswer:
    return check(read_plan(PLAN, file="tarn.toml"))


@pytest.fixture(scope="session")
def odd_answer() -> CheckAnswer:
    return check(read_plan(BARE, file="odd.toml"))


@pytest.fixture(scope="session")
def undeclared_answer() -> CheckAnswer:
    """The same layout with no route, train, locomotive or car."""
    return check(read_plan(PLAN[: PLAN.index("[loco.mogul]")], file="bare.toml"))
