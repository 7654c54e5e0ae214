"""The records of a drawing on its way to a plan: strokes as drawn, elements as fitted, faults as found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

LARGEST = 1e6
"""The largest coordinate or radius, m, that a drawing of a layout may have."""
LARGEST_BULGE = 1e4
"""The largest bulge of a polyline: all but a full circle."""
FLAT = 1e-9
"""The height, m, up to which a vertex counts as having none."""


class Spot(NamedTuple):
    """A point of the drawing, m; z is None where the drawing has no height there."""

    x: float
    y: float
    z: float | None = None


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
        For each segment whether it is the curve itself (an arc, a bulge, a line) or a chord of one (tessellated
        polylines, splines, ellipses), shape (n - 1,).
    heights
        z of every vertex, m, shape (n,), or None for an entity without heights of its own (z = 0 throughout is
        none here; `at_zero_elevation` tells where it is a height after all).
    """

    handle: str
    layer: str
    kind: str
    points: FloatArray
    bulges: FloatArray
    exact: NDArray[np.bool_]
    heights: FloatArray | None = None


@dataclass(frozen=True, slots=True)
class Label:
    """A text of the drawing: what it says, where, and on which layer."""

    text: str
    spot: Spot
    layer: str
    handle: str


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


@dataclass(frozen=True, slots=True)
class Drawing:
    """What was read of a drawing: strokes and texts in m, and what was passed over."""

    file: str
    strokes: tuple[Stroke, ...]
    labels: tuple[Label, ...]
    faults: tuple[Fault, ...]
    unit: str
    """The unit it is drawn in, by the name that plans use."""
    marks: tuple[Label, ...] = ()
    """Points on layers that have texts and no track; they say nothing themselves."""


@dataclass(frozen=True, slots=True)
class Element:
    """A straight or an arc as fitted: from `start` to `end`, with signed curvature, 1/m (left positive), and length, m.

    `heading` is the direction at its start, radians. `radius_spread` is the standard deviation of the fitted radius, m,
    None for straights and for arcs drawn as arcs. `inner` are the heights, m, of the vertices drawn between its ends,
    each after the share of its length where it lies.
    """

    start: Spot
    end: Spot
    heading: float
    curvature: float
    length: float
    handle: str
    layer: str
    radius_spread: float | None = None
    inner: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Reach:
    """Elements in order, joined end to start with tangents that agree: what becomes a line of the plan."""

    elements: tuple[Element, ...]
    closed: bool
    handle: str
    layer: str


class ReachEnd(NamedTuple):
    """One end of a linked line."""

    line: int
    end: Literal["from", "to"]


@dataclass(frozen=True, slots=True)
class LinkedLine:
    """A line of the network as drawn: elements in order between two joints, by their numbers."""

    elements: tuple[Element, ...]
    start: int
    finish: int
    handle: str
    layer: str


@dataclass(frozen=True, slots=True)
class LinkedJoint:
    """Where linked lines meet or end; at a turnout the toe is told, the legs are the other ends.

    A joint of two ends is plain. A joint of four ends that pairs lines straight through (a crossing drawn as four
    ends that meet) is a ``crossing``, whose pairs are `through`. Two turnouts toe to toe are one too: every end of one
    side leads to both of the other, and the moves that change over are its `slips`. A ``table`` is a turntable, where
    the ends of track around it are one joint.
    """

    spot: Spot
    kind: Literal["end", "plain", "turnout", "crossing", "table"]
    ends: tuple[ReachEnd, ...]
    toe: ReachEnd | None = None
    through: tuple[tuple[ReachEnd, ReachEnd], ...] = ()
    slips: tuple[tuple[ReachEnd, ReachEnd], ...] = ()


@dataclass(frozen=True, slots=True)
class Linked:
    """A drawing as a network of lines and joints, with what was merged, split and left over on the way."""

    lines: tuple[LinkedLine, ...]
    joints: tuple[LinkedJoint, ...]
    faults: tuple[Fault, ...]
