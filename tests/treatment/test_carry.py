"""How far wheels carry the film: against a walk over the moves, foot by foot."""

from __future__ import annotations

from itertools import pairwise

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradehaul.haulage.layout import Layout
from gradehaul.network.graph import Way
from gradehaul.plan import read_plan
from gradehaul.treatment.carry import within_carry
from gradehaul.treatment.units import lay_units

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


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_walk_over_the_moves_finds_the_same(data: st.DataObject) -> None:
    layout = Layout(read_plan(YARD))
    step = data.draw(st.sampled_from([None, 0.5, 0.2]))
    units = lay_units(layout, step)
    clean = data.draw(st.sets(st.integers(0, len(units.all) - 1), max_size=3))
    carry = data.draw(st.floats(0.0, 6.0))
    found = within_carry(units, layout.graph, clean, carry)
    # every node is a unit in one direction; an arc to what may come before it costs the length of what is passed over
    walk: nx.DiGraph[tuple[int, bool]] = nx.DiGraph()
    for way in layout.graph.graph:
        order = units.on_way(way).tolist()
        for number in order:
            walk.add_node((number, way.forward))
        for one, following in pairwise(order):
            walk.add_edge((following, way.forward), (one, way.forward), weight=units.all[following].length)
    for one, following in layout.graph.graph.edges:
        head, tail = int(units.on_way(one)[-1]), int(units.on_way(following)[0])
        walk.add_edge((tail, following.forward), (head, one.forward), weight=units.all[tail].length)
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


def test_a_line_that_runs_one_way_carries_film_one_way() -> None:
    layout = Layout(read_plan(YARD))
    units = lay_units(layout)
    names = {unit.name: number for number, unit in enumerate(units.all)}
    assert Way("Out:1", forward=False) not in layout.graph.lengths
    assert names["Out:1"] in within_carry(units, layout.graph, [names["Out:2"]], 1.0)
    assert names["Out:2"] not in within_carry(units, layout.graph, [names["Out:1"]], 9.0)


def test_a_carry_longer_than_the_layout_reaches_everything() -> None:
    layout = Layout(read_plan(YARD))
    units = lay_units(layout)
    assert len(within_carry(units, layout.graph, [len(units.all) - 1], 1e6)) == len(units.all) - 1


def test_no_carry_reaches_nothing() -> None:
    layout = Layout(read_plan(YARD))
    units = lay_units(layout)
    assert not within_carry(units, layout.graph, range(3), 0.0)
