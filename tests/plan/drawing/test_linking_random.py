"""Random networks, drawn in pieces, shuffled, turned round and jostled, come back as they were."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from gradehaul.plan.drawing.elements import gap, in_plan, nearest, order, place
from gradehaul.plan.drawing.linking import link
from gradehaul.plan.drawing.nearness import Nearness
from gradehaul.plan.drawing.records import Element, Linked, Reach, Spot, terms
from gradehaul.plan.drawing.rows import Rows
from plan.drawing.pen import after, arc, back, draw, length_of, parts, reach, rows_of, shifted, straight

TERMS = terms(0.01, "mm", ["TRACK"], kink=math.radians(2))
SNAP = TERMS.snap
PARTING = 0.08
"""Nearer than this to a turnout its legs still lie within `snap`, and pieces of both fit either."""


@dataclass
class Network:
    """Lines as elements, the joint at each of their ends, and the kind and toe of each joint."""

    lines: list[list[Element]] = field(default_factory=list)
    ends: list[tuple[int, int]] = field(default_factory=list)
    kinds: list[str] = field(default_factory=list)
    toes: dict[int, tuple[int, int]] = field(default_factory=dict)
    strokes: list[list[Element]] = field(default_factory=list)
    """The lines as drawn: some drawn through a turnout, some routes over one another."""

    def joint(self, kind: str) -> int:
        self.kinds.append(kind)
        return len(self.kinds) - 1

    def line(self, elements, start: int, finish: int) -> int:
        self.lines.append(elements)
        self.ends.append((start, finish))
        return len(self.lines) - 1


def grown(chance: random.Random, size: int) -> Network:
    """Return a tree of turnouts with passing loops and reversing loops in it."""
    network = Network()
    first = network.joint("end")
    lead = draw((0.0, 0.0, chance.uniform(-3, 3)), tracks(chance))
    waiting = [(first, lead)]
    network.strokes.append(list(lead))
    stroke_of = [network.strokes[0]]
    while waiting:
        at = chance.randrange(len(waiting))
        start, lead = waiting.pop(at)
        stroke = stroke_of.pop(at)
        if len(network.lines) > size:
            network.line(lead, start, network.joint("end"))
            continue
        toe = network.joint("turnout")
        line = network.line(lead, start, toe)
        network.toes[toe] = (line, 1)
        if chance.random() < 0.15:
            balloon(chance, network, toe, after(lead))
            continue
        bends = chance.sample([0.0, 1.0, -1.0], 3 if chance.random() < 0.2 else 2)
        if chance.random() < 0.25:
            lead, toe = passing_loop(chance, network, toe, after(lead))
            stroke = network.strokes[-1]
        way = chance.choice(["apart", "through", "routes"])
        for number, bend in enumerate(bends):
            leg = draw(after(lead), tracks(chance, bend))
            if way == "through" and number == 0:
                stroke.extend(leg)
                own = stroke
            else:
                again = tail(chance, lead) if way == "routes" and number else []
                own = [*again, *leg]
                network.strokes.append(own)
            waiting.append((toe, leg))
            stroke_of.append(own)
    return network


def tracks(chance: random.Random, bend=None):
    """Return a few straights and arcs; the first bends the way it should."""
    bend = chance.choice([0.0, 1.0, -1.0]) if bend is None else bend
    found = []
    for _ in range(chance.randint(1, 3)):
        length = chance.uniform(0.25, 0.7)
        found.append((length, bend / chance.uniform(0.4, 1.2)))
        bend = chance.choice([one for one in (0.0, 1.0, -1.0) if one != bend])
    return found


def tail(chance, elements):
    """Return the rest of a lead from a random place on, as far from both of its ends as legs take to part."""
    length = length_of(elements)
    return parts(elements, [chance.uniform(PARTING, length - PARTING)])[-1]


def balloon(chance, network, toe, at):
    radius = chance.uniform(0.4, 0.8)
    loop = draw(at, [arc(radius, 60), arc(-radius, 300), arc(radius, 60)])
    network.line(loop, toe, toe)
    network.strokes.append(loop)


def passing_loop(chance, network, toe, at):
    """Draw two tracks side by side and the lead beyond them; return the lead and the turnout at its end."""
    radius, angle = chance.uniform(0.5, 1.0), chance.uniform(20, 40)
    main = draw(at, [straight(4 * radius * math.sin(math.radians(angle)))])
    side = draw(at, [arc(radius, angle), arc(-radius, 2 * angle), arc(radius, angle)])
    other = network.joint("turnout")
    network.line(main, toe, other)
    network.line(side, toe, other)
    lead = draw(after(main), tracks(chance))
    end = network.joint("turnout")
    line = network.line(lead, other, end)
    network.toes[other] = (line, 0)
    network.toes[end] = (line, 1)
    network.strokes.extend([main, side, list(lead)])
    return lead, end


def confused(network: Network) -> bool:
    """Return whether lines lie on one another where none should, or an end lies beside a track that is not its own."""
    index = Nearness(Rows.of(network.lines))
    owner = index.owner.tolist()
    elements = [element for row in index.rows.rows() for element in row]
    joints: dict[int, Spot] = {}
    for line, (start, finish) in zip(network.lines, network.ends, strict=True):
        joints[start], joints[finish] = line[0].start, line[-1].end
    if len({order(spot) for spot in joints.values()}) < len(joints):
        return True
    spots = list(joints.values())
    for which, number in zip(*index.candidates(in_plan(spots), 8 * SNAP), strict=True):
        element, spot = elements[number], spots[which]
        if min(gap(element.start, spot), gap(element.end, spot)) < 1e-6:
            continue
        if gap(place(element, nearest(element, spot)), spot) < 8 * SNAP:
            return True
    # A line that runs back beside itself or another for a while has a place with the same heading near it.
    marks = [(number, place(e, e.length * part / 12)) for number, e in enumerate(elements) for part in range(13)]
    for which, number in zip(*index.candidates(in_plan([spot for _, spot in marks]), 8 * SNAP), strict=True):
        mine, spot = marks[which]
        if owner[mine] == owner[number] and abs(mine - number) <= 1:
            continue
        along = nearest(elements[number], spot)
        if gap(place(elements[number], along), spot) > 8 * SNAP:
            continue
        if not any(gap(spot, joint) < 0.25 for joint in spots):
            turn = elements[mine].heading - elements[number].heading
            turn += elements[mine].curvature * elements[mine].length * 0.5 - elements[number].curvature * along
            if abs(math.sin(turn)) < 0.5:
                return True
    return False


def pieces(chance: random.Random, network: Network) -> list[Reach]:
    """Return the strokes cut at random places, jostled by less than half of `snap`, turned round and shuffled."""
    found = []
    joints = {order(end) for line in network.lines for end in (line[0].start, line[-1].end)}
    for number, stroke in enumerate(network.strokes):
        named = [Element(e.start, e.end, e.heading, e.curvature, e.length, f"{number}", "") for e in stroke]
        length = length_of(named)
        places = [chance.uniform(PARTING, length - PARTING) for _ in range(chance.randint(0, 3))]
        past = [length_of(named[:at]) for at in range(len(named)) if order(named[at].start) in joints]
        places = [at for at in places if all(abs(at - joint) > PARTING for joint in past)]
        places = [at for at in places if all(abs(at - other) > 0.02 for other in places if other != at)]
        for piece in parts(named, places):
            angle, off = chance.uniform(0, 2 * math.pi), chance.uniform(0, 0.49) * SNAP
            moved = shifted(piece, off * math.cos(angle), off * math.sin(angle))
            found.append(reach(back(moved) if chance.random() < 0.5 else moved))
    chance.shuffle(found)
    return found


def graph_of(lines, ends, kinds, toes) -> nx.Graph:
    """Return a graph with a node for each joint, line and line end; ends carry their role, lines their length."""
    graph = nx.Graph()
    for number, kind in enumerate(kinds):
        graph.add_node(("joint", number), what=kind, length=0.0)
    for number, (line, joints) in enumerate(zip(lines, ends, strict=True)):
        graph.add_node(("line", number), what="line", length=length_of(line))
        for side, joint in enumerate(joints):
            role = "end"
            if kinds[joint] == "turnout":
                role = "toe" if toes[joint] == (number, side) else "leg"
            graph.add_node(("end", number, side), what=role, length=0.0)
            graph.add_edge(("end", number, side), ("line", number))
            graph.add_edge(("end", number, side), ("joint", joint))
    return graph


def graph_of_linked(linked: Linked) -> nx.Graph:
    side = {"from": 0, "to": 1}
    toes = {
        number: (joint.toe.line, side[joint.toe.end])
        for number, joint in enumerate(linked.joints)
        if joint.toe is not None
    }
    ends = [(line.start, line.finish) for line in linked.lines]
    return graph_of([line.elements for line in linked.lines], ends, [joint.kind for joint in linked.joints], toes)


def same(one: nx.Graph, other: nx.Graph, tolerance: float) -> bool:
    def match(mine, theirs):
        return mine["what"] == theirs["what"] and abs(mine["length"] - theirs["length"]) <= tolerance

    return nx.is_isomorphic(one, other, node_match=match)


def figures(linked: Linked):
    """Return everything about a linked drawing, coordinates and figures rounded to the micrometer."""

    def rounded(spot):
        return None if spot is None else order(spot)

    lines = [
        (
            [
                (rounded(e.start), rounded(e.end), round(e.curvature, 6), round(e.length, 6), e.handle)
                for e in line.elements
            ],
            line.start,
            line.finish,
        )
        for line in linked.lines
    ]
    joints = [(rounded(joint.spot), joint.kind, joint.ends, joint.toe, joint.through) for joint in linked.joints]
    faults = [(fault.code, fault.text, rounded(fault.spot), fault.handle) for fault in linked.faults]
    return lines, joints, faults


def linked_of(reaches):
    return link(rows_of(reaches), TERMS)


def clearance(network, spot):
    """How far the track nearest a spot is, that of the line which ends there left out: by points every 0.2 mm."""
    off = []
    for line in network.lines.values() if hasattr(network.lines, "values") else network.lines:
        elements = getattr(line, "elements", line)
        tips = (elements[0].start, elements[-1].end)
        if min(math.hypot(tip.x - spot.x, tip.y - spot.y) for tip in tips) < 2 * SNAP:
            continue
        for e in elements:
            for step in range(int(e.length / 2e-4) + 1):
                t, k = step * 2e-4, e.curvature
                turned = 0.5 * k * t
                chord = t * (math.sin(turned) / turned if turned else 1.0)
                x, y = (
                    e.start.x + chord * math.cos(e.heading + turned),
                    e.start.y + chord * math.sin(e.heading + turned),
                )
                off.append(math.hypot(x - spot.x, y - spot.y))
    return min(off)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 14))
def test_random_networks_come_back(seed, size):
    chance = random.Random(seed)
    network = grown(chance, size)
    assume(not confused(network))
    drawn = pieces(chance, network)
    linked = linked_of(drawn)
    wanted = graph_of(network.lines, network.ends, network.kinds, network.toes)
    # Each piece along a line may be off by half of `snap` lengthwise at both ends.
    assert same(wanted, graph_of_linked(linked), 5 * SNAP)
    assert {fault.code for fault in linked.faults} <= {"gap", "overlap", "duplicate", "near-miss"}
    for fault in linked.faults:
        if fault.code == "near-miss":  # only where the network was grown with other track so near
            assert clearance(network, fault.spot) < 7 * SNAP


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 12))
def test_random_networks_with_strokes_drawn_again_come_back(seed, size):
    chance = random.Random(seed)
    network = grown(chance, size)
    assume(not confused(network))
    network.strokes += [list(stroke) for stroke in network.strokes if chance.random() < 0.4]
    linked = linked_of(pieces(chance, network))
    wanted = graph_of(network.lines, network.ends, network.kinds, network.toes)
    assert same(wanted, graph_of_linked(linked), 6 * SNAP)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 10))
def test_order_and_direction_of_drawing_do_not_matter(seed, size):
    chance = random.Random(seed)
    drawn = pieces(chance, grown(chance, size))
    again = [reach(back(one.elements)) if chance.random() < 0.5 else one for one in drawn]
    chance.shuffle(again)
    assert figures(linked_of(again)) == figures(linked_of(drawn))


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32))
def test_no_track_is_lost_or_made(seed):
    chance = random.Random(seed)
    network = grown(chance, 8)
    assume(not confused(network))
    linked = linked_of(pieces(chance, network))
    drawn = math.fsum(length_of(stroke) for stroke in network.strokes)
    merged = math.fsum(fault.weight for fault in linked.faults if fault.code in {"overlap", "duplicate"})
    kept = math.fsum(length_of(line.elements) for line in linked.lines)
    gaps = math.fsum(fault.weight for fault in linked.faults if fault.code == "gap")
    hair = 0.1 * SNAP * len(linked.joints)  # gaps of less than a tenth of `snap` are not named
    assert kept + merged == pytest.approx(drawn, abs=2 * SNAP + hair + 3 * gaps)
    ends = sorted(end for joint in linked.joints for end in joint.ends)
    assert ends == sorted((number, side) for number in range(len(linked.lines)) for side in ("from", "to"))


def test_candidates_near_a_point_do_not_grow_with_the_drawing():
    def candidates(rows):
        yard = [e for row in range(rows) for e in draw((0.0, 0.1 * row, 0.0), [straight(0.5), arc(0.8, 20)] * 10)]
        spots = [element.start for element in yard]
        return len(Nearness(Rows.of([yard])).candidates(in_plan(spots), SNAP)[0]) / len(spots)

    assert candidates(100) == pytest.approx(candidates(50), rel=0.2)
    assert candidates(100) < 5


@pytest.mark.parametrize("count", [500, 2000])
def test_candidates_among_tiny_pieces_do_not_grow_with_the_length_of_other_track(count):
    tiny = draw((0.0, 0.1, 0.0), [(0.0006, 0.0), (0.0007, 3.0)] * (count // 2), "tiny")
    long = draw((0.0, 0.0, 0.0), [(2000.0, 0.0)], "long")
    spots = in_plan([element.start for element in tiny])
    which, number = Nearness(Rows.of([tiny, long])).candidates(spots, SNAP)
    assert np.bincount(which).max() < 12  # those within snap on both sides, and a few
    assert {*zip(range(count), range(count), strict=True)} <= {*zip(which.tolist(), number.tolist(), strict=True)}


def test_a_yard_of_two_thousand_elements():
    def ladder(y):
        yield from (reach([e]) for e in draw((0.0, y, 0.0), [straight(0.5)] * 41))
        for number in range(40):
            leg = draw((0.3 + number * 0.5, y, 0.0), [arc(0.6, 15), straight(0.3), arc(-0.6, 15), straight(0.2)])
            yield from (reach([e]) for e in leg)

    linked = linked_of([piece for row in range(10) for piece in ladder(0.6 * row)])
    kinds = [joint.kind for joint in linked.joints]
    assert {kind: kinds.count(kind) for kind in set(kinds)} == {"turnout": 400, "end": 420}
    assert len(linked.lines) == 810
    assert linked.faults == ()
