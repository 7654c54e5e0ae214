"""Chains: lines laid end to end through plain joints, so that what runs across a joint is seen whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from gradehaul.plan.records import LineEnd, Plan, Track


class DirectedLine(NamedTuple):
    """A line and the direction in which a chain runs along it: forward from its `from` to its `to`, or backward."""

    line: str
    forward: bool


@dataclass(frozen=True, slots=True)
class Chain:
    """Lines in order with nothing but plain joints between them; closed if the last meets the first."""

    lines: tuple[DirectedLine, ...]
    closed: bool

    def tracks(self, plan: Plan) -> list[tuple[Track, bool]]:
        """Return every track in the chain's order, and whether it runs in its line's own direction."""
        return [
            (track, each.forward)
            for each in self.lines
            for track in (plan.lines[each.line].tracks if each.forward else reversed(plan.lines[each.line].tracks))
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
        behind = tuple(DirectedLine(line, not forward) for line, forward in reversed(back[1:]))
        ahead = [DirectedLine(name, forward=True)] if closed else _follow(LineEnd(name, "to"), beyond)[0]
        lines = (*ahead, *behind) if closed else (*behind, *ahead)
        seen.update(each.line for each in lines)
        found.append(Chain(lines, closed))
    return tuple(found)


def _follow(end: LineEnd, beyond: dict[LineEnd, LineEnd]) -> tuple[list[DirectedLine], bool]:
    """Return the lines met through one end of a line until plain joints stop, and whether they lead back to it."""
    lines = [DirectedLine(end.line, end.end == "to")]
    while end in beyond:
        entered = beyond[end]
        if entered.line == lines[0].line:
            return lines, True
        lines.append(DirectedLine(entered.line, entered.end == "from"))
        end = LineEnd(entered.line, "to" if entered.end == "from" else "from")
    return lines, False
