"""Chains: lines laid end to end through plain joints, so that what runs across a joint is seen whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from gradehaul.plan.records import LineEnd, Plan, Track


class Run(NamedTuple):
    """A line as it is met along a chain: forward from its `from` to its `to`, or backward."""

    line: str
    forward: bool


@dataclass(frozen=True, slots=True)
class Chain:
    """Lines in order with nothing but plain joints between them; closed if the last meets the first."""

    runs: tuple[Run, ...]
    closed: bool

    def tracks(self, plan: Plan) -> list[tuple[Track, bool]]:
        """Every track in the chain's order, and whether it is met in its line's own direction."""
        return [
            (track, run.forward)
            for run in self.runs
            for track in (plan.lines[run.line].tracks if run.forward else reversed(plan.lines[run.line].tracks))
        ]


def chains(plan: Plan) -> tuple[Chain, ...]:
    """Divide the lines of a plan into chains; every line is in exactly one.

    A chain begins at an end of track, a turnout, a crossing or a turntable, or, if it is a closed circuit of plain
    joints, at the first of its lines.
    """
    beyond: dict[LineEnd, LineEnd] = {}
    for joint in plan.joints.values():
        if joint.kind == "plain":
            one, other = joint.ends
            beyond[one], beyond[other] = other, one

    found: list[Chain] = []
    seen: set[str] = set()
    for name in plan.lines:
        if name in seen:
            continue
        back, closed = _follow(LineEnd(name, "from"), beyond)
        behind = tuple(Run(run.line, not run.forward) for run in reversed(back[1:]))
        ahead = [Run(name, forward=True)] if closed else _follow(LineEnd(name, "to"), beyond)[0]
        runs = (*ahead, *behind) if closed else (*behind, *ahead)
        seen.update(run.line for run in runs)
        found.append(Chain(runs, closed))
    return tuple(found)


def _follow(end: LineEnd, beyond: dict[LineEnd, LineEnd]) -> tuple[list[Run], bool]:
    """Walk out through one end of a line until the plain joints stop; tell whether the walk came back to the line."""
    runs = [Run(end.line, end.end == "to")]
    while end in beyond:
        entered = beyond[end]
        if entered.line == runs[0].line:
            return runs, True
        runs.append(Run(entered.line, entered.end == "from"))
        end = LineEnd(entered.line, "to" if entered.end == "from" else "from")
    return runs, False
