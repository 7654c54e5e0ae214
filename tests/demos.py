"""The demo plans with their layouts and answers, each worked out once a session; nobody may change them."""

from __future__ import annotations

from functools import cache

from gradehaul.design.level.railheads import Leveled, leveled
from gradehaul.haulage.answers.check import CheckAnswer, check_layout
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import load_plan
from gradehaul.plan.records import Plan
from gradehaul.treatment.ways_over import WaysOver, ways_over
from project import PLANS

DEMOS = sorted(path.stem for path in PLANS.glob("*.toml") if path.stem != "stock-ho")


@cache
def plan_of(name: str) -> Plan:
    return load_plan(PLANS / f"{name}.toml")


@cache
def layout_of(name: str) -> Layout:
    return Layout(plan_of(name))


@cache
def answer_of(name: str, rails: tuple[str, ...] | None = None) -> CheckAnswer:
    return check_layout(layout_of(name), rails=rails)


@cache
def leveled_of(name: str) -> Leveled:
    return leveled(layout_of(name))


@cache
def ways_of(name: str) -> tuple[WaysOver, ...]:
    return ways_over(layout_of(name), answer_of(name))
