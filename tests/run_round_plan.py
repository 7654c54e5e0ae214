"""A small plan with a berth in which the locomotives run round their train."""

from __future__ import annotations

from gradehaul.plan import read_plan
from gradehaul.plan.records import Plan

ROUND = 'run_round = ["Dock"]'
STOCK = """
[loco.mule]
mass = "300 g"
length = 0.2
pull = { clean = "0.7 N", treated = "0.4 N" }
slipping = { clean = "0.6 N", treated = "0.35 N" }
[loco.goat]
mass = "250 g"
length = 0.15
pull = { clean = "0.3 N", treated = "0.2 N" }
slipping = { clean = "0.25 N", treated = "0.15 N" }
[power.pair]
locos = ["mule", "goat"]
[car.ore]
mass = "100 g"
length = 0.1
[car.log]
mass = "140 g"
length = 0.12
"""


def plan(*trains: str, more: str = ROUND, stub: float = 0.5) -> Plan:
    """A switchback: up the bottom into a berth beside a run-round track, and out of it up the top, over a hump."""
    return read_plan(f"""
scale = "HO"
unit = "m"
railhead.Foot = 0
line.Bottom = {{ from = "Foot", to = "J", track = [{{ straight = 2, grade = "1 %", berth = "Yard", clear = 1.9 }}] }}
line.Neck = {{ from = "J", to = "A", track = [{{ straight = 1, rise = 0, rail = "treated" }}] }}
line.Quay = {{ from = "A", to = "B", track = [{{ straight = 2, rise = 0, berth = "Dock", clear = 1.7 }}] }}
line.Side = {{ from = "A", to = "B", track = [{{ straight = 2 }}] }}
line.Stub = {{ from = "B", to = "End", track = [{{ straight = {stub}, rise = 0 }}] }}
line.Top = {{ from = "J", to = "Summit", track = [
  {{ straight = 0.5, grade = "4 %", rail = "treated" }}, {{ straight = 2, grade = "1 %" }},
] }}
[turnout.J]
toe = "Neck"
legs = ["Bottom", "Top"]
[turnout.A]
toe = "Neck"
legs = ["Quay", "Side"]
[turnout.B]
toe = "Stub"
legs = ["Quay", "Side"]
[route.Up]
from = "Yard"
to = "Summit"
via = ["Dock"]
reversals = 1
{more}
[route.In]
from = "Yard"
to = "Dock"
[route.Out]
from = "Dock"
to = "Summit"
{STOCK}
{"".join(trains)}""")


def train(name: str, on: str, *consist: str) -> str:
    return f'[train."{name}"]\nroute = "{on}"\nconsist = [{", ".join(map(repr, consist))}]\n'.replace("'", '"')
