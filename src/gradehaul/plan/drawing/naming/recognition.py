"""Lines and joints of an earlier drawing found again in a new one, so that they keep the names they have by now."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from gradehaul.plan.drawing.elements import gap, in_plan, length_of, turned, wrapped
from gradehaul.plan.drawing.nearness import pairs
from gradehaul.plan.drawing.records import DrawnLine, Linked, Spot

_SAME_WAY = math.radians(5)


class KnownLine(NamedTuple):
    """A line as it was drawn before: its name, its joints, where its ends lie, m, and how it leaves them, radians."""

    name: str
    start: str
    finish: str
    at: Spot
    heading: float
    end: Spot
    end_heading: float
    length: float


def recognize(linked: Linked, known: Sequence[KnownLine], within: float) -> tuple[dict[int, str], dict[int, str]]:
    """Return the names of joints and of lines that were there before, by their numbers in the new network.

    A joint is known by its place. Where one end of a line has moved, so that the line is longer or shorter than
    before, that end is known by the line, which still leaves the other end in the same direction. A line is known by
    its joints; of several between the same two, each by the length nearest to its own.

    Parameters
    ----------
    linked
        The new network.
    known
        The lines as they were.
    within
        How far a joint may have moved to be known by its place, m.
    """
    if not known:
        return {}, {}
    joints = _by_place(linked, known, within)
    _by_lines(linked, known, joints)
    free: dict[frozenset[str], list[KnownLine]] = {}
    for line in known:
        free.setdefault(frozenset((line.start, line.finish)), []).append(line)
    lines = _nearest_first(
        (abs(before.length - length_of(drawn.elements)), before.name, number)
        for number, drawn in enumerate(linked.lines)
        if drawn.start in joints and drawn.finish in joints
        for before in free.get(frozenset((joints[drawn.start], joints[drawn.finish])), ())
    )
    return joints, lines


def _nearest_first(pairs: Iterable[tuple[float, str, int]]) -> dict[int, str]:
    """Return which number has which name, those that differ least first."""
    found: dict[int, str] = {}
    taken: set[str] = set()
    for _, name, number in sorted(pairs):
        if number not in found and name not in taken:
            found[number] = name
            taken.add(name)
    return found


def _by_place(linked: Linked, known: Sequence[KnownLine], within: float) -> dict[int, str]:
    places = {name: spot for line in reversed(known) for name, spot in ((line.finish, line.end), (line.start, line.at))}
    before, now = list(places.items()), [joint.spot for joint in linked.joints]
    near = pairs(in_plan(list(places.values())), within, in_plan(now))
    return _nearest_first(
        (gap(before[name][1], now[number]), before[name][0], number)
        for name, number in zip(*(each.tolist() for each in near), strict=True)
    )


def _by_lines(linked: Linked, known: Sequence[KnownLine], joints: dict[int, str]) -> None:
    """Name the joints at the moved ends of lines whose other ends are known, and so on from there."""
    lines_at: dict[int, list[DrawnLine]] = {}
    for drawn in linked.lines:
        for joint in {drawn.start, drawn.finish}:
            lines_at.setdefault(joint, []).append(drawn)
    known_at: dict[str, list[tuple[str, float]]] = {}
    for line in known:
        known_at.setdefault(line.start, []).append((line.finish, line.heading))
        known_at.setdefault(line.finish, []).append((line.start, line.end_heading))
    names = set(joints.values())
    waiting = deque(sorted(joints))
    while waiting:
        number = waiting.popleft()
        for drawn in lines_at.get(number, ()):
            far, heading = _seen_from(drawn, number)
            if far in joints:
                continue
            same = [
                other
                for other, before in known_at.get(joints[number], ())
                if other not in names and abs(wrapped(before - heading)) < _SAME_WAY
            ]
            if len(same) == 1:
                joints[far] = same[0]
                names.add(same[0])
                waiting.append(far)


def _seen_from(line: DrawnLine, joint: int) -> tuple[int, float]:
    """Return the far joint of a line seen from one of its joints, and the heading in which it leaves that one."""
    if line.start == joint:
        return line.finish, line.elements[0].heading
    return line.start, turned(line.elements[-1]).heading
