"""The keep-clean plan of small networks with several trains: held against every subset of up to 14 tracks."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.train import made_up
from gradehaul.haulage.verdict import judge
from gradehaul.plan import read_plan
from gradehaul.plan.rail_condition import PLANNED
from gradehaul.treatment.keep_clean import KeepCleanOptions, keep_clean_plan
from gradehaul.treatment.units import lay_units, with_rails
from treatment.plans import LOCOS, filmed_rails

CONSISTS = {
    "one group": ('"mule", "{} ore"', '"dray", "{} ore"', '"mule", "dray", "{} ore"'),
    "two groups": ('"mule", "{} ore", "mule"', '"dray", "{} ore", "mule", "2 ore"', '"mule", "{} ore", "dray"'),
}


@st.composite
def networks(draw: st.DrawFn, kind: str) -> str:
    """Draw a trunk with two branches, 6 to 14 tracks in all, and a train up each branch and one down to the trunk."""
    total = draw(st.integers(6, 14))
    trunk = draw(st.integers(2, total - 4))
    left = draw(st.integers(2, total - trunk - 2))
    counts = {"Trunk": trunk, "Left": left, "Right": total - trunk - left}
    lines = []
    for name, count in counts.items():
        tracks = []
        for _ in range(count):
            grade = draw(st.integers(-15, 35)) / 10
            length, pickup = draw(st.integers(100, 900)), draw(st.sampled_from([1, 1, 1, 3]))
            rail = draw(st.sampled_from(["", "", "", "", ', rail = "treated"']))
            tracks.append(f'{{ straight = {length}, grade = "{grade} %", pickup = {pickup}{rail} }}')
        ends = 'from = "Foot", to = "Fork"' if name == "Trunk" else f'from = "Fork", to = "{name} end"'
        lines.append(f"line.{name} = {{ {ends}, track = [{', '.join(tracks)}] }}")
    stock = "\n".join(f"loco.{name} = {{ {keys} }}" for name, keys in LOCOS.items())
    cars = st.integers(1, 14)
    consists = [draw(st.sampled_from(CONSISTS[kind])).format(draw(cars)) for _ in range(3)]
    return "\n".join(
        [
            'scale = "HO"\nunit = "mm"\nrailhead.Foot = 0\nvertical_curve.length = 0',
            *lines,
            'turnout.Fork = { toe = "Trunk", legs = ["Left", "Right"] }',
            stock,
            'car.ore = { mass = "100 g", length = 140, rolling = "2.0 %", starting = "2.5 %" }',
            'route.L = { from = "Foot", to = "Left end" }',
            'route.R = { from = "Foot", to = "Right end" }',
            'route.D = { from = "Right end", to = "Foot" }',
            *(
                f'train.{name} = {{ route = "{name}", consist = [{consist}] }}'
                for name, consist in zip("LRD", consists, strict=True)
            ),
        ]
    )


def check_against_every_subset(text: str, need: str) -> bool:
    """Hold the plan for a network against every set of tracks that could be filmed; tell whether there was one."""
    layout = Layout(read_plan(text))
    units = lay_units(layout)
    open_ = [number for number, unit in enumerate(units.all) if unit.film is None]
    runs = {}
    for name, named in layout.plan.trains.items():
        profile = layout.profile(named.route)
        under = {number for way in profile.route.ways for number in units.stretches.on_way(way)}
        runs[name] = profile, made_up(layout.plan, named), frozenset(under)

    @cache
    def gets_by(name: str, filmed: frozenset[int]) -> bool:
        profile, train, _ = runs[name]
        own = with_rails(profile, units, filmed_rails(units, filmed))
        for rail in PLANNED:
            verdict = judge(own, train, rail, layout.pulls)
            if verdict.outcome == "stalls" or not verdict.holds_back:
                return False
            if need == "climbs" and verdict.outcome != "climbs":
                return False
        return True

    best = -1.0
    weights = np.array([units.all[number].weight for number in open_])
    for bits in range(1 << len(open_)):
        chosen = [(bits >> k) & 1 for k in range(len(open_))]
        weight = float(weights @ chosen)
        if weight > best:
            filmed = frozenset(number for number, one in zip(open_, chosen, strict=True) if one)
            if all(gets_by(name, filmed & under) for name, (*_, under) in runs.items()):
                best = weight
    found = keep_clean_plan(layout, KeepCleanOptions(need=need, carry=0.0))  # type: ignore[arg-type]
    if best < 0:
        assert found.beyond
        return False
    assert not found.beyond
    assert found.gap == 0
    filmed = frozenset(n for n, row in enumerate(found.rows) if row.use in ("film", "no effect"))
    assert all(gets_by(name, filmed & under) for name, (*_, under) in runs.items())
    assert sum(units.all[n].weight for n in filmed) == pytest.approx(best, rel=1e-9, abs=1e-12)
    return True


@settings(max_examples=12, deadline=None)
@given(st.data(), st.sampled_from(["climbs", "marginal"]))
@pytest.mark.parametrize("kind", sorted(CONSISTS))
def test_no_set_of_up_to_fourteen_tracks_weighs_more(kind: str, data: st.DataObject, need: str) -> None:
    check_against_every_subset(data.draw(networks(kind)), need)
