"""How far wheels carry the film: against a walk over the moves, foot by foot."""

from __future__ import annotations

from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradehaul.haulage.answers.layout import Layout
from gradehaul.network.film_spread import turning_places, wheels
from gradehaul.network.graph import Way
from gradehaul.network.route import Route
from gradehaul.plan import load_plan, read_plan
from gradehaul.treatment.units import Units, lay_units
from project import PLANS

YARD = """
scale = "HO"
unit = "m"
railhead.West = 0
line.Lead = { from = "West", to = "Fork", track = [{ straight = 1.25 }, { straight = 0.7 }] }
line.Main = { from = "Fork", to = "Join", track = [{ straight = 2.0 }, { straight = 0.4 }] }
line.Loop = { from = "Fork", to = "Join", track = [{ straight = 0.9 }, { straight = 1.6 }] }
line.Out = { from = "Join", to = "East", runs = "forward", track = [{ straight = 0.8 }, { straight = 3.1 }] }
turnout.Fork = { toe = "Lead", legs = ["Main", "Loop"] }
turnout.Join = { toe = "Out", legs = ["Main", "Loop"] }
"""
SWITCHBACK = Layout(load_plan(PLANS / "switchback.toml"))


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_a_walk_over_the_moves_finds_the_same(data: st.DataObject) -> None:
    layout = Layout(read_plan(YARD))
    step = data.draw(st.sampled_from([None, 0.5, 0.2]))
    units = lay_units(layout, step)
    clean = data.draw(st.sets(st.integers(0, len(units.all) - 1), max_size=3))
    carry = data.draw(st.floats(0.0, 6.0))
    turning = data.draw(st.sampled_from([frozenset(), turning_places(units.stretches, layout.movements, 1.0)]))
    found = wheels(units.stretches, layout.movements, carry, turning).within_carry(clean)
    # every node is a unit in one direction; an arc to what may come before it costs the length of what is passed over
    walk: nx.DiGraph[tuple[int, bool]] = nx.DiGraph()
    for way in layout.movements.graph:
        order = units.stretches.on_way(way)
        for number in order:
            walk.add_node((number, way.forward))
        for one, following in pairwise(order):
            walk.add_edge((following, way.forward), (one, way.forward), weight=units.all[following].length)
    for one, following in layout.movements.graph.edges:
        head, tail = units.stretches.on_way(one)[-1], units.stretches.on_way(following)[0]
        walk.add_edge((tail, following.forward), (head, one.forward), weight=units.all[tail].length)
    straight_on = {node: list(walk.successors(node)) for node in walk}
    for number, forward in walk:  # a wheel that came the other way turns on it, and has run over none of it
        turned = number, not forward
        for before in straight_on.get(turned, ()) if turned in turning else ():
            own = units.all[number].length if number in clean else 0.0
            if not walk.has_edge((number, forward), before):
                walk.add_edge((number, forward), before, weight=own)
    nearest: dict[int, float] = {}
    for number in clean:
        for forward in (True, False):
            if (number, forward) in walk:
                for (other, _), far in nx.single_source_dijkstra_path_length(walk, (number, forward)).items():
                    # the length of the clean unit itself is not run over before it is reached
                    away = far - units.all[number].length
                    if other not in clean and away < carry - 1e-9:
                        nearest[other] = min(nearest.get(other, away), away)
    assert set(nearest) <= set(found)
    assert all(found[n].distance >= carry - 1e-6 for n in set(found) - set(nearest))
    assert {n: found[n].distance for n in nearest} == pytest.approx(nearest)


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_film_goes_from_unit_to_unit_both_forward_and_backward_searched(data: st.DataObject) -> None:
    layout = data.draw(st.sampled_from([Layout(read_plan(YARD)), SWITCHBACK]))
    units = lay_units(layout, data.draw(st.sampled_from([None, 0.5])))
    turning = data.draw(st.sampled_from([frozenset(), turning_places(units.stretches, layout.movements, 0.6)]))
    spread = wheels(units.stretches, layout.movements, data.draw(st.floats(0.0, 3.0)), turning)
    every = range(len(units.all))
    onward = {(one, other) for one in every for other in spread.reached({one}) if other != one}
    back = {(one, other) for other in every for one in spread.within_carry({other})}
    assert onward == back
    some = data.draw(st.sets(st.sampled_from(every), max_size=3))
    assert sorted(spread.reached(some)) == sorted(some | {other for one, other in onward if one in some})


def test_a_line_that_runs_one_way_carries_film_one_way() -> None:
    layout = Layout(read_plan(YARD))
    units = lay_units(layout)
    names = {unit.name: number for number, unit in enumerate(units.all)}
    assert Way("Out:1", forward=False) not in layout.movements.lengths
    assert names["Out:1"] in wheels(units.stretches, layout.movements, 1.0).within_carry([names["Out:2"]])
    assert names["Out:2"] not in wheels(units.stretches, layout.movements, 9.0).within_carry([names["Out:1"]])


def test_a_carry_longer_than_the_layout_reaches_everything() -> None:
    layout = Layout(read_plan(YARD))
    units = lay_units(layout)
    assert len(wheels(units.stretches, layout.movements, 1e6).within_carry([len(units.all) - 1])) == len(units.all) - 1


def test_no_carry_reaches_nothing() -> None:
    layout = Layout(read_plan(YARD))
    units = lay_units(layout)
    assert not wheels(units.stretches, layout.movements, 0.0).within_carry(range(3))


# Reversals


def run_of_a_wheel(layout: Layout, units: Units, route: Route, train: float, behind: float) -> list[tuple[int, float]]:
    """Return the units that one wheel runs over, so far behind the head as the train starts, and how far on each."""
    found: list[tuple[int, float]] = []
    for number, leg in enumerate(route.legs):
        offset = train - behind if number % 2 else behind  # behind the end that leads here
        length = sum(layout.movements.lengths[way] for way in leg.ways)
        start, stop = train - offset, length - offset  # the train stands whole on the leg at both ends
        here = 0.0
        for way in leg.ways:
            for unit in units.stretches.on_way(way):
                there = here + units.all[unit].length
                run = min(stop, there) - max(start, here)
                if run > 0:
                    found.append((unit, run))
                here = there
    return found


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_no_wheel_of_a_train_that_reverses_carries_film_from_elsewhere(data: st.DataObject) -> None:
    route = data.draw(st.sampled_from(SWITCHBACK.routes))
    units = lay_units(SWITCHBACK, data.draw(st.sampled_from([None, 0.3, 0.15])))
    clean = data.draw(st.sets(st.integers(0, len(units.all) - 1), min_size=1, max_size=6))
    carry, train = data.draw(st.floats(0.05, 3.0)), data.draw(st.floats(0.1, 0.6))
    turning = turning_places(units.stretches, SWITCHBACK.movements, train)
    found = wheels(units.stretches, SWITCHBACK.movements, carry, turning).within_carry(clean)
    for behind in np.linspace(0.0, train, 12).tolist():
        run = run_of_a_wheel(SWITCHBACK, units, route, train, behind)
        for k, (unit, _) in enumerate(run):
            far = 0.0
            for other, over in run[k + 1 :]:
                if other in clean or far >= carry - 1e-9:
                    if unit not in clean and other in clean and far < carry - 1e-9:
                        assert unit in found, (unit, other, behind)
                        assert found[unit].distance <= far + 1e-9
                    break
                far += over


def test_a_wheel_that_turns_past_the_points_brings_film_from_the_other_leg() -> None:
    units = lay_units(SWITCHBACK)
    number = {unit.name: k for k, unit in enumerate(units.all)}
    clean = [number["Middle:1"]]
    none = wheels(units.stretches, SWITCHBACK.movements, 0.5).within_carry(clean)
    assert number["Bottom:3"] not in none
    turning = turning_places(units.stretches, SWITCHBACK.movements, 0.6)
    found = wheels(units.stretches, SWITCHBACK.movements, 0.5, turning).within_carry(clean)
    assert found[number["Bottom:3"]].distance == 0.0
    assert found[number["Bottom:2"]].distance == pytest.approx(units.all[number["Bottom:3"]].length)
    # backward from what must stay clean over two reversals, leg by leg
    far = wheels(units.stretches, SWITCHBACK.movements, 1.8, turning).within_carry([number["Top:2"]])
    assert far[number["Middle:2"]].distance == pytest.approx(2 * units.all[number["Middle:3"]].length)
    assert number["Bottom:3"] in far


def test_trains_turn_in_berths_and_at_ends_no_farther_behind_than_they_are_long() -> None:
    text = """
scale = "HO"
unit = "m"
railhead.West = 0
line.Lead = { from = "West", to = "Fork", track = [{ straight = 4 }] }
line.Stub = { from = "Fork", to = "Points", track = [{ straight = 0.5 }] }
line.Long = { from = "Points", to = "Stop", track = [{ straight = 3 }] }
line.Other = { from = "Points", to = "End", track = [{ straight = 9 }] }
line.Away = { from = "Fork", to = "East", track = [
  { straight = 2 }, { straight = 1, berth = "Hold" }, { straight = 2 },
] }
turnout.Fork = { toe = "Stub", legs = ["Lead", "Away"] }
turnout.Points = { toe = "Stub", legs = ["Long", "Other"] }
"""
    layout = Layout(read_plan(text))
    units = lay_units(layout)
    for train, reaches in ((2.9, False), (3.1, True)):
        turning = {
            (units.all[k].name, forward) for k, forward in turning_places(units.stretches, layout.movements, train)
        }
        assert {("Long:1", True), ("Other:1", True), ("Lead:1", False), ("Away:2", True), ("Away:2", False)} <= turning
        assert (("Stub:1", True) in turning) == reaches  # a train that stands on it as it reverses at the stop


def test_a_circuit_without_berths_turns_no_train() -> None:
    layout = Layout(
        read_plan("""
scale = "HO"
unit = "m"
railhead.A = 0
line.Round = { from = "A", to = "A", track = [{ left = 1, angle = 360 }] }
""")
    )
    assert not turning_places(lay_units(layout).stretches, layout.movements, 5.0)


def test_locomotives_that_run_round_bring_film_from_the_track_beside() -> None:
    text = """
scale = "HO"
unit = "m"
railhead.Foot = 0
line.Bottom = { from = "Foot", to = "J", track = [{ straight = 4 }] }
line.Top = { from = "J", to = "Summit", track = [{ straight = 4 }] }
line.Neck = { from = "J", to = "A", track = [{ straight = 1 }] }
line.Quay = { from = "A", to = "B", track = [{ straight = 2, berth = "Dock" }] }
line.Side = { from = "A", to = "B", track = [{ straight = 2 }] }
line.Beyond = { from = "B", to = "C", track = [{ straight = 1 }, { straight = 1 }] }
line.Far = { from = "C", to = "End", track = [{ straight = 9 }] }
line.Wide = { from = "C", to = "Stop", track = [{ straight = 9 }] }
turnout.J = { toe = "Neck", legs = ["Bottom", "Top"] }
turnout.A = { toe = "Neck", legs = ["Quay", "Side"] }
turnout.B = { toe = "Beyond", legs = ["Quay", "Side"] }
turnout.C = { toe = "Beyond", legs = ["Far", "Wide"] }
route.Up = { from = "Foot", to = "Summit", via = ["Dock"], reversals = 1, run_round = ["Dock"] }
"""
    layout = Layout(read_plan(text))
    units = lay_units(layout)
    number = {unit.name: k for k, unit in enumerate(units.all)}
    (tail,) = layout.route("Up").tails
    assert tail.run_round is not None
    assert tail.run_round.spurs == (Way("Beyond:1", forward=True), Way("Neck:1", forward=False))
    stands = turning_places(units.stretches, layout.movements, 0.9)
    turns = turning_places(units.stretches, layout.movements, 0.9, tail.run_round.spurs)
    assert turns - stands == {(number["Beyond:1"], True), (number["Neck:1"], False)}
    longer = turning_places(units.stretches, layout.movements, 1.1, tail.run_round.spurs)
    assert (number["Beyond:2"], True) in longer - turns
    clean = [number["Quay:1"]]
    assert number["Side:1"] not in wheels(units.stretches, layout.movements, 0.5, stands).within_carry(clean)
    assert wheels(units.stretches, layout.movements, 0.5, turns).within_carry(clean)[number["Side:1"]].distance == 0.0
