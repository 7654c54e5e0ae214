"""Chains of lines: every line in one of them, in the order and direction in which the rail runs."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.plan import read_plan
from gradehaul.plan.records import LineEnd, Plan
from gradehaul.track.curvature import DirectedLine, LineChain, chains

HEAD = 'scale = "HO"\nunit = "m"\n'


def line(name: str, start: str, finish: str, track: str = "{ straight = 1 }") -> str:
    return f'[line.{name}]\nfrom = "{start}"\nto = "{finish}"\ntrack = [{track}]\n'


def chained(*parts: str) -> tuple[LineChain, ...]:
    return chains(read_plan(HEAD + "".join(parts)))


def runs(chain: LineChain) -> list[tuple[str, bool]]:
    return [(run.line, run.forward) for run in chain.lines]


def entry(run: DirectedLine) -> LineEnd:
    return LineEnd(run.line, "from" if run.forward else "to")


def leaving(run: DirectedLine) -> LineEnd:
    return LineEnd(run.line, "to" if run.forward else "from")


def same_way(one: LineChain, other: LineChain) -> bool:
    """Whether two chains are one stretch of rail, whichever end they are named from and wherever a circuit begins."""
    if one.closed != other.closed or len(one.lines) != len(other.lines):
        return False
    back = tuple(DirectedLine(run.line, not run.forward) for run in reversed(other.lines))
    turns = range(len(other.lines)) if other.closed else (0,)
    return any(one.lines == way[k:] + way[:k] for way in (other.lines, back) for k in turns)


def check_chains(plan: Plan) -> None:
    """Every line once; neighbors meet in plain joints; an open chain ends where no plain joint is."""
    found = chains(plan)
    assert sorted(run.line for chain in found for run in chain.lines) == sorted(plan.lines)
    pairs = [joint.ends for joint in plan.joints.values() if joint.kind == "plain"]
    plain = {end for pair in pairs for end in pair}
    for chain in found:
        following = (*chain.lines[1:], chain.lines[0]) if chain.closed else chain.lines[1:]
        for run, after in zip(chain.lines, following, strict=False):
            pair = {leaving(run), entry(after)}
            assert any(pair == set(ends) for ends in pairs)
        if not chain.closed:
            assert entry(chain.lines[0]) not in plain
            assert leaving(chain.lines[-1]) not in plain


def test_the_first_line_of_an_open_chain_is_met_forward() -> None:
    (chain,) = chained(line("Two", "C", "B"), line("One", "A", "B"), line("Three", "C", "D"))
    assert runs(chain) == [("Three", False), ("Two", True), ("One", False)]


@pytest.mark.parametrize(
    "joint",
    [
        'turnout.T = { toe = "One", legs = ["Two", "Three"] }\n',
        'table.T = { lines = ["One", "Two", "Three"] }\n',
    ],
)
def test_turnouts_and_turntables_end_chains(joint: str) -> None:
    found = chained(joint, line("One", "A", "T"), line("Two", "T", "B"), line("Three", "T", "C"))
    assert [runs(chain) for chain in found] == [[("One", True)], [("Two", True)], [("Three", True)]]
    assert not any(chain.closed for chain in found)


def test_a_crossing_ends_chains_though_its_lines_go_straight_on() -> None:
    found = chained(
        'crossing.X = { through = [["W", "E"], ["N", "S"]] }\n',
        *(line(name, f"{name} end", "X") for name in ("W", "E", "N", "S")),
    )
    assert [runs(chain) for chain in found] == [[(name, True)] for name in ("W", "E", "N", "S")]


def test_a_turntable_between_two_lines_is_no_plain_joint() -> None:
    found = chained('table.T = { lines = ["One", "Two"] }\n', line("One", "A", "T"), line("Two", "T", "B"))
    assert len(found) == 2


@st.composite
def networks(draw: st.DrawFn) -> tuple[str, str]:
    """Plan texts of random lines between few joints, with the lines in two orders of writing.

    Joints at which three or more line ends meet are turntables; the lines of a joint of two ends go through.
    """
    joints = [f"J{k}" for k in range(draw(st.integers(1, 6)))]
    pairs = draw(st.lists(st.tuples(st.sampled_from(joints), st.sampled_from(joints)), min_size=1, max_size=9))
    lines = [line(f"L{k}", a, b) for k, (a, b) in enumerate(pairs)]
    tables = ""
    for joint in joints:
        meeting = [
            f"L{k}.{end}"
            for k, pair in enumerate(pairs)
            for end, at in zip(("from", "to"), pair, strict=True)
            if at == joint
        ]
        if len(meeting) > 2:
            tables += f"table.{joint} = {{ lines = {meeting} }}\n"
    return HEAD + tables + "".join(lines), HEAD + tables + "".join(draw(st.permutations(lines)))


@given(networks())
def test_every_line_is_in_one_chain_and_the_order_of_writing_does_not_matter(texts: tuple[str, str]) -> None:
    plan, shuffled = (read_plan(text) for text in texts)
    check_chains(plan)
    check_chains(shuffled)
    others = list(chains(shuffled))
    for chain in chains(plan):
        (same,) = [other for other in others if same_way(chain, other)]
        others.remove(same)
    assert not others
