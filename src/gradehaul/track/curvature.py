"""Chains of lines through plain joints, and the curvature along them: signed, 0 for straight, linear in easements."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from gradehaul.plan.records import LineEnd, Plan, Track
from gradehaul.quantities.si import Meters, PerMeter
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic


class DirectedLine(NamedTuple):
    """A line and the direction in which a chain runs along it: forward from its `from` to its `to`, or backward."""

    line: str
    forward: bool


@dataclass(frozen=True, slots=True)
class LineChain:
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


def chains(plan: Plan) -> tuple[LineChain, ...]:
    """Divide the lines of a plan into chains; every line is in exactly one.

    A chain begins at an end of track, a turnout, a crossing or a turntable, or, if it is a closed circuit of plain
    joints, at the first of its lines.
    """
    beyond: dict[LineEnd, LineEnd] = {}
    for joint in plan.joints.values():
        if joint.kind == "plain":
            one, other = joint.ends
            beyond[one], beyond[other] = other, one

    found: list[LineChain] = []
    seen: set[str] = set()
    for name in plan.lines:
        if name in seen:
            continue
        back, closed = _follow(LineEnd(name, "from"), beyond)
        behind = tuple(DirectedLine(line, not forward) for line, forward in reversed(back[1:]))
        ahead = [DirectedLine(name, forward=True)] if closed else _follow(LineEnd(name, "to"), beyond)[0]
        lines = (*ahead, *behind) if closed else (*behind, *ahead)
        seen.update(each.line for each in lines)
        found.append(LineChain(lines, closed))
    return tuple(found)


def _follow(end: LineEnd, beyond: dict[LineEnd, LineEnd]) -> tuple[list[DirectedLine], bool]:
    """Return the lines met through one end of a line until plain joints stop, and whether they lead back to it."""
    lines = [DirectedLine(end.line, end.end == "to")]
    while end in beyond:
        entered = beyond[end]
        if entered.line == lines[0].line:
            return lines, True
        lines.append(DirectedLine(entered.line, entered.end == "from"))
        end = entered.far
    return lines, False


@dataclass(frozen=True, slots=True)
class Section:
    """A stretch whose curvature, 1/m, runs evenly from `first` to `last` over its length, m; positive is left."""

    length: Meters
    first: PerMeter
    last: PerMeter

    def reversed(self) -> Section:
        """Return the section as met from its far end: the hands change sides."""
        return Section(self.length, -self.last, -self.first)

    def of_one_hand(self) -> tuple[Section, ...]:
        """Return the section, parted where it passes through zero between opposite hands."""
        if self.first * self.last >= 0:
            return (self,)
        to_zero = self.length * self.first / (self.first - self.last)
        return Section(to_zero, self.first, 0.0), Section(self.length - to_zero, 0.0, self.last)


def sections(plan: Plan, chains: Sequence[LineChain]) -> dict[str, tuple[Section, ...]]:
    """Return the sections of every track, by its id, in its line's direction.

    An easement track runs from the curvature of the track before to that of the track after, across plain joints; a
    turnout, a crossing or an end counts as straight. (A plan is refused where two easements meet.)
    """
    result: dict[str, tuple[Section, ...]] = {}
    for chain in chains:
        order = chain.tracks(plan)
        before, after = (_touching(order[place], at_its_end=place < 0) if chain.closed else 0.0 for place in (-1, 0))
        result |= sections_in_order(order, before, after)
    return result


def sections_in_order(
    order: Sequence[tuple[Track, bool]], before: float = 0.0, after: float = 0.0
) -> dict[str, tuple[Section, ...]]:
    """Return the sections of tracks end to end, by their ids, each in its line's direction.

    `order` has each track and whether it is met in its line's direction; `before` and `after` are the curvatures of the
    tracks before the first and after the last, 1/m.
    """
    result: dict[str, tuple[Section, ...]] = {}
    for place, (track, forward) in enumerate(order):
        if track.kind != "easement":
            result[track.id] = own_sections(track)
            continue
        # the neighbor's curvature where it touches, seen along the chain
        first = _touching(order[place - 1], at_its_end=True) if place else before
        last = _touching(order[place + 1], at_its_end=False) if place + 1 < len(order) else after
        section = Section(track.length, first, last)
        result[track.id] = (section if forward else section.reversed(),)
    return result


def own_sections(track: Track) -> tuple[Section, ...]:
    """Return the sections of a straight or a curve, with the easements of its own."""
    k, ease = track.curvature, track.ease
    if not ease:
        return (Section(track.length, k, k),)
    arc = track.length - 2 * ease
    middle = (Section(arc, k, k),) if abs(arc) > 1e-8 * track.length else ()  # else rounding
    return (Section(ease, 0.0, k), *middle, Section(ease, k, 0.0))


def _touching(neighbor: tuple[Track, bool], *, at_its_end: bool) -> float:
    track, forward = neighbor
    parts = own_sections(track)
    if forward:
        return parts[-1].last if at_its_end else parts[0].first
    return -parts[0].first if at_its_end else -parts[-1].last


def summed_curvature(parts: Sequence[Section]) -> PiecewiseQuadratic:
    """Return K(s) = ∫|κ| ds along sections, radians, from 0.

    A section that passes through zero between opposite hands is two pieces.

    Half a turn at 0.5 m radius sums to π whatever its hand:

    >>> import math
    >>> round(summed_curvature([Section(0.5 * math.pi, -2.0, -2.0)])(0.5 * math.pi) / math.pi, 12)
    1.0
    """
    one_handed = [each for part in parts for each in part.of_one_hand()]
    width, first, last = np.array([(part.length, abs(part.first), abs(part.last)) for part in one_handed]).T
    gain = 0.5 * width * (first + last)
    return PiecewiseQuadratic(_running_total(width), _running_total(gain)[:-1], first, (last - first) / width)


def _running_total(parts: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(parts)])
