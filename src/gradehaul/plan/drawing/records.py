"""The records of a drawing on its way to a plan: its terms, strokes, elements, faults, and the network they make."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import quoted
from gradehaul.quantities.si import Meters, PerMeter, Radians, Share

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

LARGEST = 1e6
"""The largest coordinate or radius, m, that a drawing of a layout may have."""
LARGEST_BULGE = 1e4
"""The largest bulge of a polyline: all but a full circle."""
FLAT = 1e-9
"""The height, m, up to which a vertex counts as having none."""


# Terms


def option(name: str, value: str = "", *, typed: bool) -> str:
    """Return how a term of a drawing is written: as an option of the command, or as a key of the plan."""
    if typed:
        return f"--{name} {value}".rstrip()
    return f"{name} = {value if value.isdecimal() else quoted(value)}" if value else f"{name} = true"


SNAP = 1 / 10
"""In gauges: how far apart ends may be drawn that meet (our own choice: more than a slip, less than a gap in rail)."""
FIT = 1 / 20
"""In gauges: how far vertices may lie from the fitted curve, as track laid by hand holds (common practice)."""
CHORDS = 1 / 200
"""In gauges: how far chords of splines and arcs of ellipses may lie from them: a tenth of what the fit can see."""
KINK = math.radians(5)
"""The break of direction up to which track goes on (our own choice)."""
NEAR = 4.0
"""In gauges: how far from its joint or its track a text may stand (our own choice: about a track's spacing)."""
LEVEL = 1.0
"""In gauges: ends that differ by more in height do not meet; nothing of that scale fits under so low a bridge."""


@dataclass(frozen=True, slots=True)
class Terms:
    """On what terms a drawing is read; `plan_unit` reads the plan's bare lengths."""

    gauge: Meters
    plan_unit: str
    layers: tuple[str, ...]
    snap: Meters
    fit: Meters
    kink: Radians
    height_layers: tuple[str, ...] = ()
    rails: bool = False
    """Whether the two rails of each track are drawn, of which the center line is read."""
    zero: Meters = 0.0
    """How far above the plan's 0 that of the drawing's heights lies."""
    typed: bool = False
    """Whether they were typed on the command line, so that advice names an option, not a key of the plan."""

    @property
    def near(self) -> Meters:
        """How far from a joint or a line a text may stand that belongs to it."""
        return NEAR * self.gauge

    @property
    def level(self) -> Meters:
        """How much the heights of ends that meet may differ."""
        return LEVEL * self.gauge

    def option(self, name: str, value: str = "") -> str:
        """Return how a term is written, on the command line or in the plan; one without a value is switched on."""
        return option(name, value, typed=self.typed)


def terms(gauge: float, plan_unit: str, layers: Sequence[str], **given: Any) -> Terms:  # noqa: ANN401 - other fields
    """Return the terms on which a drawing is read, with what is not given, or None, taken from the gauge, m.

    Examples
    --------
    >>> read = terms(0.0165, "mm", ["TRACK"])
    >>> round(read.snap, 5), round(read.fit, 6), round(math.degrees(read.kink), 1)
    (0.00165, 0.000825, 5.0)
    """
    usual = {"snap": SNAP * gauge, "fit": FIT * gauge, "kink": KINK}
    chosen = {name: value for name, value in given.items() if value is not None}
    return Terms(gauge, plan_unit, tuple(layers), **usual | chosen)


# The drawing


class Spot(NamedTuple):
    """A point of the drawing; z is None where the drawing has no height there."""

    x: Meters
    y: Meters
    z: Meters | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Stroke:
    """One entity of the drawing as drawn, in m, in drawing order.

    Attributes
    ----------
    handle, layer, kind
        Where it comes from: the entity's handle (of the outermost INSERT, with ``/n`` for parts of a block), its layer
        and its type (``LINE``, ``ARC``, ``SPLINE`` ...).
    points
        Vertices in plan, shape (n, 2). A closed stroke repeats its first vertex at the end.
    bulges
        For each of the n - 1 segments the tangent of a quarter of its turn, positive to the left, 0 for a straight one.
    exact
        Whether its segments are the curve itself (an arc, a bulge, a line, the arcs of an ellipse) or chords of it
        (tessellated polylines, splines).
    heights
        z of every vertex, m, shape (n,), or None for an entity without heights of its own (z = 0 throughout is
        none here; `at_zero_elevation` shows where it is a height after all).
    """

    handle: str
    layer: str
    kind: str
    points: FloatArray
    bulges: FloatArray
    exact: bool
    heights: FloatArray | None = None


@dataclass(frozen=True, slots=True)
class Label:
    """A text of the drawing: what it says, where it was put, and on which layer.

    Where it was not aligned to that point, `middle` leads from there to its middle as it is drawn, and `half` from that
    to its right side, m.
    """

    text: str
    spot: Spot
    layer: str
    handle: str
    middle: tuple[float, float] = (0.0, 0.0)
    half: tuple[float, float] = (0.0, 0.0)

    @property
    def seen(self) -> Spot:
        """Where the middle of it is seen."""
        return Spot(self.spot.x + self.middle[0], self.spot.y + self.middle[1], self.spot.z)


@dataclass(frozen=True, slots=True)
class Fault:
    """Something about a drawing that was mended, passed over or could not be understood.

    `code` is stable, e.g. ``zero-length``, ``unknown-entity``, ``near-miss``, ``kink``, ``stray``, ``duplicate``,
    ``overlap``, ``radius``; `weight` orders faults of one code, worst first.
    """

    code: str
    text: str
    spot: Spot | None = None
    handle: str = ""
    layer: str = ""
    weight: float = 0.0


class Source(NamedTuple):
    """A height, and what shows it."""

    height: Meters
    by: str


@dataclass(frozen=True, slots=True)
class Drawing:
    """What was read of a drawing: strokes and texts in m, and what was passed over."""

    file: str
    strokes: tuple[Stroke, ...]
    labels: tuple[Label, ...]
    faults: tuple[Fault, ...]
    unit: str
    """The unit it is drawn in, by the name that plans use."""
    kink: Radians | None = None
    """The break of direction over which track goes on in it, where export wrote that into its properties."""
    marks: tuple[Label, ...] = ()
    """Points on layers that have texts and no track; they say nothing themselves."""


Inner = tuple[tuple[Share, Meters], ...]
"""Heights of the vertices drawn between the ends of an element, each after the share of its length there."""


class Element(NamedTuple):
    """A straight or an arc as fitted, from `start` to `end`; `heading` is the direction at its start.

    `radius_spread` is the standard deviation of the fitted radius, None for straights and for arcs drawn as arcs.
    """

    start: Spot
    end: Spot
    heading: Radians
    curvature: PerMeter
    length: Meters
    handle: str
    layer: str
    radius_spread: Meters | None = None
    inner: Inner = ()


class Reach(NamedTuple):
    """Elements in order, joined end to start with tangents that agree: what becomes a line of the plan."""

    elements: tuple[Element, ...]
    closed: bool = False


# The network


class ReachEnd(NamedTuple):
    """One end of a line of the network, by its number."""

    line: int
    end: Literal["from", "to"]


class DrawnLine(NamedTuple):
    """A line as drawn: elements in order between two joints, by their numbers; named when all of them are linked.

    `railhead_at` are heights between its ends, each after its distance. `berths` is for each element the berth that it
    is in, empty for none; nothing where no element is in one. `names` are those of its elements, likewise.
    """

    elements: tuple[Element, ...]
    start: int
    finish: int
    layer: str
    name: str = ""
    railhead_at: tuple[tuple[Meters, Meters], ...] = ()
    berths: tuple[str, ...] = ()
    names: tuple[str, ...] = ()

    @property
    def length(self) -> Meters:
        """Level length."""
        return sum(element.length for element in self.elements)


class DrawnJoint(NamedTuple):
    """Where lines meet or end; of a turnout `toe` is one end, the legs are the others.

    A joint of two ends is plain. A joint of four ends that pairs lines straight through (a crossing drawn as four
    ends that meet) is a ``crossing``, whose pairs are `through`. Two turnouts toe to toe are one too: every end of one
    side leads to both of the other, and the moves that change over are its `slips`. A ``table`` is a turntable, where
    the ends of track around it are one joint; `length` is that of its bridge, where the drawing has it.
    """

    spot: Spot
    kind: Literal["end", "plain", "turnout", "crossing", "table"]
    ends: tuple[ReachEnd, ...]
    toe: ReachEnd | None = None
    through: tuple[tuple[ReachEnd, ReachEnd], ...] = ()
    slips: tuple[tuple[ReachEnd, ReachEnd], ...] = ()
    name: str = ""
    length: Meters | None = None

    @property
    def legs(self) -> tuple[ReachEnd, ...]:
        """The ends of a turnout that are not its toe."""
        return tuple(end for end in self.ends if end != self.toe)

    def end_name(self, end: ReachEnd, lines: Sequence[str]) -> str:
        """Return an end as a plan names it: by its line, and its side where both ends of the line are here."""
        both = sum(each.line == end.line for each in self.ends) > 1
        return f"{lines[end.line]}.{end.end}" if both else lines[end.line]


@dataclass(frozen=True, slots=True)
class Linked:
    """A drawing as a network of lines and joints, with what was merged, split and left over on the way."""

    lines: tuple[DrawnLine, ...]
    joints: tuple[DrawnJoint, ...]
    faults: tuple[Fault, ...]


# With names and heights


@dataclass(frozen=True, slots=True)
class Claim:
    """A name for the joint nearest a point, where one lies `within`; `file` and `place` are for messages."""

    name: str
    at: Spot
    within: Meters
    file: str = ""
    place: str = ""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawing as a network: lines and joints by name, in their order, heights of joints, and what was found."""

    file: str
    unit: str
    """The unit that the drawing is drawn in, by its short name."""
    layers: Mapping[str, int]
    """The layers that were read, with the count of their strokes."""
    texts: tuple[Sequence[str], Sequence[str]]
    """The layers whose texts were read: as names, and as heights."""
    lines: Mapping[str, DrawnLine]
    joints: Mapping[str, DrawnJoint]
    heights: Mapping[str, Meters]
    faults: tuple[Fault, ...]
