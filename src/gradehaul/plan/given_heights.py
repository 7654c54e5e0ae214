"""Heights, rises and grades that a plan gives: the key of each, and a plan without some of them."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import ClassVar

from gradehaul.plan.records import Line, Plan
from gradehaul.quantities.si import Meters, Ratio

FigureKey = tuple[str, ...]
"""A figure that a plan gives: ``joint NAME``, ``track ID`` for the height at the far end of a track, ``at LINE PLACE``
for one of `railhead_at`, or ``rise ID``, the rise or grade of a track."""


@dataclass(frozen=True, slots=True)
class PutAside:
    """A figure of the plan that yields to a height that is tried: one of `railhead`, `rise` and `grade`."""

    KEYS: ClassVar[str] = "joint line track at railhead rise grade"

    railhead: Meters | None = None
    rise: Meters | None = None
    grade: Ratio | None = None
    joint: str | None = None
    line: str | None = None
    """None of a joint."""
    track: str | None = None
    """The track whose rise or grade it is, or at whose far end its height is."""
    at: Meters | None = None
    """How far a height of `railhead_at` is from the line's `from`."""


def key_at(line: str, place: float) -> FigureKey:
    """Return the key of a height at a place along a line, m from its `from`."""
    return "at", line, repr(float(place))


def put_aside(plan: Plan, key: FigureKey) -> PutAside:
    """Return the figure of a plan that has a key."""
    kind, name, *place = key
    if kind == "joint":
        return PutAside(plan.railhead[name], joint=name)
    if kind == "at":
        height = next(height for at, height in plan.lines[name].railhead_at if key_at(name, at) == key)
        return PutAside(height, line=name, at=float(place[0]))
    track = plan.tracks[name]
    if kind == "track":
        return PutAside(track.railhead, line=track.line, track=name)
    return PutAside(rise=track.rise, grade=track.grade, line=track.line, track=name)


def without_figures(plan: Plan, keys: Collection[FigureKey]) -> Plan:
    """Return a plan without the figures of these keys.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> plan = read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead = { Foot = 0 }
    ... [line.Hill]
    ... from = "Foot"
    ... to = "Top"
    ... track = [{ straight = 1, grade = "2 %" }]
    ... ''')
    >>> without_figures(plan, [("rise", "Hill:1")]).tracks["Hill:1"].grade is None
    True
    """
    railhead = {name: height for name, height in plan.railhead.items() if ("joint", name) not in keys}
    return replace(plan, railhead=railhead, lines={name: _without(line, keys) for name, line in plan.lines.items()})


def _without(line: Line, keys: Collection[FigureKey]) -> Line:
    tracks = []
    for track in line.tracks:
        even = replace(track, rise=None, grade=None) if ("rise", track.id) in keys else track
        tracks.append(replace(even, railhead=None) if ("track", track.id) in keys else even)
    pairs = tuple(pair for pair in line.railhead_at if key_at(line.name, pair[0]) not in keys)
    return replace(line, tracks=tuple(tracks), railhead_at=pairs)
