"""Networks of track as plans: written out by hand, or made up at random, small for brute force and large for speed."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from itertools import islice
from typing import TypeVar

import networkx as nx
from hypothesis import assume
from hypothesis import strategies as st

from gradehaul.network.graph import MovementGraph, Way
from gradehaul.network.route import RouteList
from gradehaul.network.routes import find_routes
from gradehaul.plan import read_plan

HEAD = 'scale = "HO"\nunit = "m"\n'

T = TypeVar("T")


def line(name: str, start: str, end: str, *lengths: float, keys: str = "", berths: Sequence[str] = ()) -> str:
    """A line of straight tracks, one of 1 m where no lengths are given; `berths` names each track's, "" for none."""
    sizes = lengths or (1,)
    named = [f', berth = "{berth}"' if berth else "" for berth in (*berths, *[""] * (len(sizes) - len(berths)))]
    tracks = ", ".join(f"{{ straight = {size}{berth} }}" for size, berth in zip(sizes, named, strict=True))
    return f'[line."{name}"]\nfrom = "{start}"\nto = "{end}"\n{keys}\ntrack = [ {tracks} ]\n'


def turnout(name: str, toe: str, *legs: str) -> str:
    return f'[turnout."{name}"]\ntoe = "{toe}"\nlegs = {_names(legs)}\n'


def crossing(name: str, *through: Sequence[str], moves: Sequence[Sequence[str]] = ()) -> str:
    pairs = "[ " + ", ".join(map(_names, through)) + " ]"
    return f'[crossing."{name}"]\nthrough = {pairs}\nmoves = [ {", ".join(map(_names, moves))} ]\n'


def table(name: str, *lines: str) -> str:
    return f'[table."{name}"]\nlines = {_names(lines)}\n'


def route(name: str, start: str, end: str, *via: str, more: str = "") -> str:
    return f'[route."{name}"]\nfrom = "{start}"\nto = "{end}"\nvia = {_names(via)}\n{more}\n'


def lap(name: str, *lines: str) -> str:
    return f'[route."{name}"]\nlap = {_names(lines)}\n'


def _names(names: Sequence[str]) -> str:
    return "[" + ", ".join(f'"{name}"' for name in names) + "]"


def network(*tables: str) -> MovementGraph:
    return MovementGraph(read_plan(HEAD + "".join(tables), file="tarn.toml"))


def routes_of(*tables: str) -> RouteList:
    graph = network(*tables)
    return find_routes(graph, dict.fromkeys(graph.graph, 0.0))


def ways(told: str) -> tuple[Way, ...]:
    """Ways from words such as ``Main:1 Loop:1 -Main:1``, a minus for backward."""
    return tuple(Way(word.removeprefix("-"), not word.startswith("-")) for word in told.split())


def told(run: Sequence[Way]) -> str:
    """The same backward: ways as words."""
    return " ".join(("" if way.forward else "-") + way.track for way in run)


LADDER_LEAD, LADDER_SIDING = 1, 1.5


def ladder(passing: int) -> str:
    """A line from West to East over so many passing tracks in series: 2 to that power routes each way."""
    parts = []
    for number in range(passing):
        west, east = f"W{number}", f"E{number}"
        before = f"E{number - 1}" if number else "West"
        onward = f"Lead{number + 1}" if number + 1 < passing else "Last"
        parts += [
            line(f"Lead{number}", before, west, LADDER_LEAD),
            line(f"Main{number}", west, east),
            line(f"Siding{number}", west, east, LADDER_SIDING),
            turnout(west, f"Lead{number}", f"Main{number}", f"Siding{number}"),
            turnout(east, onward, f"Main{number}", f"Siding{number}"),
        ]
    return "".join(parts) + line("Last", f"E{passing - 1}", "East")


def _join_up(degrees: Sequence[int], order: Sequence[int], pick: Callable[[Sequence[T]], T], *, berths: int) -> str:
    """Join line ends in pairs, in an order, and say at random how trains pass the joints where several meet."""
    stubs = [joint for joint, degree in enumerate(degrees) for _ in range(degree)]
    shuffled = [stubs[place] for place in order]
    meeting: dict[int, list[str]] = {joint: [] for joint in range(len(degrees))}
    parts = []
    for number, (one, other) in enumerate(zip(shuffled[::2], shuffled[1::2], strict=True)):
        name = f"L{number}"
        meeting[one].append(f"{name}.from")
        meeting[other].append(f"{name}.to")
        lengths = [pick([1, 2, 3, 5, 8]) for _ in range(pick([1, 1, 2]))]
        keys = pick([""] * 6 + ['runs = "forward"', 'runs = "backward"'])
        named = [f"B{number}"] if number < berths else []
        parts.append(line(name, f"J{one}", f"J{other}", *lengths, keys=keys, berths=named))
    for joint, ends in meeting.items():
        if len(ends) == 3:
            toe = pick(ends)
            parts.append(turnout(f"J{joint}", toe, *(end for end in ends if end != toe)))
        elif len(ends) == 4:
            one, two, three, four = ends
            parts.append(
                pick(
                    [
                        turnout(f"J{joint}", *ends),
                        crossing(f"J{joint}", (one, two), (three, four)),
                        crossing(f"J{joint}", (one, three), (two, four), moves=[(one, two)]),
                        table(f"J{joint}", *ends),
                    ]
                )
            )
    return "".join(parts)


@st.composite
def random_networks(draw: st.DrawFn, most: int = 8) -> str:
    """Up to so many joints at random: ends, plain joints, turnouts, crossings, turntables; some berths."""
    degrees = draw(st.lists(st.sampled_from([1, 1, 2, 3, 3, 3, 3, 4]), min_size=min(5, most), max_size=most))
    if sum(degrees) % 2:
        degrees[0] += 1 if degrees[0] < 4 else -1
    order = draw(st.permutations(range(sum(degrees))))
    berths = draw(st.integers(0, 2))
    return _join_up(degrees, order, lambda options: draw(st.sampled_from(options)), berths=berths)


def large_network(joints: int, ends: int, seed: int) -> str:
    """A large tangle: turnouts and ends of track, joined at random."""
    chance = random.Random(seed)
    degrees = [1] * ends + [3] * joints
    if sum(degrees) % 2:
        degrees.append(1)
    order = list(range(sum(degrees)))
    chance.shuffle(order)
    return _join_up(degrees, order, chance.choice, berths=0)


def every_path(graph: MovementGraph, starts, stops, most: int = 3_000) -> list[tuple[Way, ...]]:
    """Return every simple path by brute force; a graph with too many is left to other examples."""
    found: list[tuple[Way, ...]] = []
    for start in starts:
        for stop in stops:
            paths = [[start]] if start == stop else nx.all_simple_paths(graph.graph, start, stop)
            found += map(tuple, islice(paths, most))
    assume(len(found) < most)
    return found
