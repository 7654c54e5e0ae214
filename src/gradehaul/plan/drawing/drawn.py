"""The records of a drawing as a network that bears names and heights: what becomes tables of a plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from gradehaul.plan.drawing.records import Element, Fault, Spot
from gradehaul.plan.records import LineEnd


def option(name: str, value: str = "", *, typed: bool) -> str:
    """Return how a term of a drawing is written: as an option of the command, or as a key of the plan.

    Examples
    --------
    >>> option("unit", "mm", typed=True), option("rails", typed=True), option("unit", "mm", typed=False)
    ('--unit mm', '--rails', 'unit = "mm"')
    """
    if typed:
        return f"--{name} {value}".rstrip()
    return f'{name} = "{value}"' if value else f"{name} = true"


@dataclass(frozen=True, slots=True)
class Terms:
    """On what terms a drawing is read: lengths in m, `kink` in radians; `plan_unit` reads the plan's bare lengths.

    `near` is how far from a joint or a line a text may stand that belongs to it.
    """

    layers: tuple[str, ...]
    snap: float
    fit: float
    kink: float
    near: float
    level: float
    plan_unit: str
    height_layers: tuple[str, ...] = ()
    unit: str | None = None
    """The drawing's own unit, where it is given."""
    gauge: float = 0.0165
    rails: bool = False
    """Whether the two rails of each track are drawn, of which the center line is read."""
    typed: bool = False
    """Whether they were typed on the command line, so that advice names an option, not a key of the plan."""

    def option(self, name: str, value: str = "") -> str:
        """Return how a term is written, on the command line or in the plan; one without a value is switched on."""
        return option(name, value, typed=self.typed)


@dataclass(frozen=True, slots=True)
class Claim:
    """A name for the joint nearest a point, m, where one lies `within`; `file` and `place` are for messages."""

    name: str
    x: float
    y: float
    within: float
    file: str = ""
    place: str = ""


@dataclass(frozen=True, slots=True)
class DrawnLine:
    """A line as drawn: elements in order, from joint `start` to joint `finish`, and heights between its ends, m."""

    name: str
    start: str
    finish: str
    elements: tuple[Element, ...]
    layer: str
    railhead_at: tuple[tuple[float, float], ...] = ()
    berths: tuple[str, ...] = ()
    """For each element the berth that it is in, empty for none; nothing where no element is in one."""

    @property
    def length(self) -> float:
        """Level length, m."""
        return sum(element.length for element in self.elements)


@dataclass(frozen=True, slots=True)
class DrawnJoint:
    """A joint as drawn, with the pairs of line ends that continue one another and, of a crossing, its slips."""

    name: str
    spot: Spot
    kind: Literal["end", "plain", "turnout", "crossing", "table"]
    ends: tuple[LineEnd, ...]
    toe: LineEnd | None = None
    through: tuple[tuple[LineEnd, LineEnd], ...] = ()
    slips: tuple[tuple[LineEnd, LineEnd], ...] = ()
    length: float | None = None
    """Of a turntable: the length of its bridge, m, where the drawing has it."""

    @property
    def legs(self) -> tuple[LineEnd, ...]:
        """The ends of a turnout that are not its toe."""
        return tuple(end for end in self.ends if end != self.toe)


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawing as a network: lines and joints by name, the heights of joints, m, and what was found on the way."""

    file: str
    unit: str
    """The unit that the drawing is drawn in, by its short name."""
    layers: Mapping[str, int]
    """The layers that were read, with the count of their strokes."""
    lines: Mapping[str, DrawnLine]
    joints: Mapping[str, DrawnJoint]
    heights: Mapping[str, float]
    faults: tuple[Fault, ...]
