"""Track that passes too low over other track: found wherever the clearances find it, and shown on the first screen."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from command_line import run
from gradehaul.design.clearance.findings import clearances
from gradehaul.design.clearance.suspects import places_too_low
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan

PLAN = """
scale = "H0"
unit = "mm"
practice = "{practice}"
railhead.Foot = 0
[line.Hill]
from = "Foot"
to = "Top"
track = [{{ straight = 1500, rise = 0 }}, {{ left = {radius}, angle = {angle}, rise = {rise} }}, {{ straight = 1500 }}]
[loco.goat]
mass = "300 g"
length = 200
[car.ore]
length = 120
"""


@given(
    practice=st.sampled_from(["NEM", "NMRA"]),
    radius=st.integers(400, 700),
    angle=st.sampled_from([90, 270, 300, 400, 720, 1000]),
    rise=st.integers(10, 400),
)
@settings(max_examples=25, deadline=None)
def test_all_that_is_too_low_is_found(practice, radius, angle, rise):
    layout = Layout(read_plan(PLAN.format(practice=practice, radius=radius, angle=angle, rise=rise)))
    found = clearances(layout)
    low = [each for each in found.findings if (each.rule, each.outcome) == ("vertical room", "fail")]
    assert places_too_low(layout) in ([found.count("fail")] if low else [0, found.count("fail")])


@pytest.mark.parametrize(("rise", "shown"), [(300, False), (100, True)])
def test_check_names_it_in_a_line(tmp_path: Path, rise: int, shown: bool):
    plan = tmp_path / "helix.toml"
    plan.write_text(PLAN.format(practice="NEM", radius=600, angle=720, rise=rise), encoding="utf-8")
    count = clearances(Layout(read_plan(plan.read_text(encoding="utf-8")))).count("fail")
    words = f"{count} place{'s' if count > 1 else ''} fail{'' if count > 1 else 's'} clearance: gradehaul clearance"
    assert (words in run("check", str(plan)).stdout) is shown
    assert (count > 0) is shown
