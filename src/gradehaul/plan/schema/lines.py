"""The tables of track as the builder writes them: tracks of all shapes, lines, and pieces that are used many times."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from gradehaul.errors import GradehaulError, PlanError, Problems
from gradehaul.plan.schema.values import (
    Angle,
    Distance,
    FitDistance,
    FitRadius,
    FitTurn,
    FrogNumber,
    Grade,
    Length,
    Name,
    Room,
    Station,
    Table,
    Weight,
    unit_of,
)
from gradehaul.quantities import describe

_SHAPES = ("straight", "left", "right", "easement", "turnout", "piece")
_HEIGHTS = ("grade", "rise", "railhead")
_ANY = frozenset({"name", *_HEIGHTS, "rail", "pickup", "berth", "clear"})
_BESIDE = {
    "straight": _ANY,
    "left": _ANY | {"angle", "length", "ease"},
    "right": _ANY | {"angle", "length", "ease"},
    "easement": _ANY,
    "turnout": _ANY | {"hand"},
    "piece": _ANY - {"name", *_HEIGHTS} | {"hand"},
}
"""The keys that may stand beside each shape of a track."""


class TrackTable(Table):
    """One track, or a piece that stands for several."""

    name: Name | None = None
    """What the answers call this track. Left out: its line and its number, such as `Hill:3`."""
    straight: FitDistance | None = Field(default=None, examples=["straight = 30"])
    """Length of a straight; `"fit"` finds it. Left out: another shape."""
    left: FitRadius | None = None
    """Radius of a curve to the left, going from `from` to `to`; with `angle` or `length`. Left out: another shape."""
    right: FitRadius | None = None
    """Radius of a curve to the right; with `angle` or `length`. Left out: another shape."""
    easement: Distance | None = None
    """Length of track that leads evenly from the curvature before it to that after it. Left out: another shape."""
    turnout: FrogNumber | None = Field(default=None, examples=['turnout = 6, hand = "left"'])
    """Number of a turnout's frog: its curved leg, one arc from the toe to the frog, first or last in a line, through
    the frog's angle: 9.53 degrees for a number 6. Printed dimensions of your turnout take precedence over these.
    Left out: another shape."""
    piece: Name | None = None
    """Name of a `[piece.NAME]`, whose tracks are laid here. Left out: another shape."""
    hand: Literal["left", "right"] | None = None
    """`right` mirrors a piece, `left` lays it as it is written; of a turnout, its hand seen from its toe. Left out: as
    it is written."""
    angle: FitTurn | None = Field(default=None, examples=["angle = 90"])
    """Angle through which a curve turns, its easements included. Left out: from `length`."""
    length: FitDistance | None = None
    """Length of a curve, its easements included. Left out: from `angle`."""
    ease: Room | None = None
    """Length of an easement at each end of a curve. Left out: none."""
    grade: Grade | None = None
    """Rise over run on this track, uphill from the line's `from` to its `to`. Left out: it follows from the heights."""
    rise: Length | None = None
    """Rise from one end of this track to the other. Left out: it follows from the heights."""
    railhead: Length | None = None
    """Height of the railhead at the track's far end. Left out: it follows from the heights."""
    rail: Name | None = None
    """Rail condition on this track: `clean`, a film, or a film and `fresh`. Left out: the line's `rail`."""
    pickup: Weight | None = None
    """How much contact matters on this track, against 1 elsewhere. Left out: the line's `pickup`."""
    berth: Name | None = None
    """Name of a berth, where a train waits. Tracks in a row with the same name are one. Left out: no berth."""
    clear: Distance | None = None
    """Usable length of the berth. Left out: from the map, clear of other tracks."""

    @property
    def radius(self) -> float | None:
        """Radius of a curve, m; NaN where it is to be found, None where the track is no curve."""
        return self.left if self.left is not None else self.right

    @model_validator(mode="after")
    def _one_shape(self, info: ValidationInfo) -> Self:
        given = self.model_fields_set
        shapes = [shape for shape in _SHAPES if shape in given]
        if len(shapes) != 1:
            raise PlanError(
                "a track is one of straight, left, right, easement, turnout or piece",
                found=" and ".join(shapes) or "none",
                write="each as a track of its own" if shapes else "straight = 30, or left = 24, angle = 90",
            )
        (shape,) = shapes
        kind = "curve" if shape in {"left", "right"} else shape
        wrong: list[GradehaulError] = []
        if others := sorted(given - _BESIDE[shape] - {shape}):
            what, beside = "an easement" if kind == "easement" else f"a {kind}", ", ".join(sorted(_BESIDE[shape]))
            wrong.append(PlanError(f"{what} takes no such key", found=" and ".join(others), write=f"one of {beside}"))
        heights = [key for key in _HEIGHTS if key in given]
        if len(heights) > 1:
            found = " and ".join(heights)
            once = "a track takes only one of grade, rise and railhead"
            wrong.append(PlanError(once, found=found, write="the one that you measured"))
        if kind == "turnout" and self.hand is None:
            wrong.append(PlanError("a turnout needs its hand", write='hand = "left" or hand = "right"'))
        if kind == "curve" and (self.angle is None) == (self.length is None):
            found = "neither" if self.angle is None else "both"
            wrong.append(PlanError("a curve needs either its angle or its length", found=found, write="angle = 90"))
        elif self.ease is not None and self.radius is not None:
            wrong += self._ease_faults(self.ease, self.radius, unit_of(info) or "mm")
        if wrong:
            raise Problems(wrong)
        return self

    def _ease_faults(self, ease: float, radius: float, unit: str) -> Iterator[PlanError]:
        room = self.length if self.angle is None else radius * self.angle + ease
        if room is not None and room < 2 * ease * (1 - 1e-9):
            of, whole = describe(ease, "length", unit), describe(room, "length", unit)
            wrong = f"two easements of {of} do not fit into this curve, whose whole length is {whole}"
            longer = "a longer length" if self.angle is None else "a larger angle"
            yield PlanError(wrong, write=f"{longer} or a shorter ease")


class ParallelTable(Table):
    """The line beside which this one runs, and how far from it."""

    line: Name | None = None
    """The other line. Left out: the one other line between the same two joints."""
    distance: Distance = Field(examples=['distance = "2 in"'])
    """Between the centers of the two."""


class LineTable(Table):
    """Tracks in order between two joints."""

    from_: Name = Field(alias="from", examples=['from = "Wharf"'])
    """Joint at which the line begins."""
    to: Name = Field(examples=['to = "Summit"'])
    """Joint at which it ends."""
    track: list[TrackTable] = Field(min_length=1, examples=["track = [ { straight = 30 } ]"])
    """Its tracks in order."""
    berth: Name | None = None
    """Makes the whole line one berth of this name. Left out: only tracks with a `berth` are."""
    clear: Distance | None = None
    """Usable length of that berth. Left out: from the map, clear of other tracks."""
    railhead_at: list[Station] = Field(default_factory=list, examples=["railhead_at = [[20, 1.9]]"])
    """Heights that were measured along the line: pairs of distance from `from` and height; on a drawn line they are
    added to those of the drawing. Left out: none."""
    runs: Literal["both", "forward", "backward"] = "both"
    """Which way trains run: `forward` is from `from` to `to`."""
    rail: Name | None = None
    """Rail condition on all its tracks. Left out: `clean`."""
    pickup: Weight | None = None
    """How much contact matters on all its tracks. Left out: 1."""
    at: Station | None = Field(default=None, examples=["at = [12.0, 40.5]"])
    """Where the line begins on the map: x and y. Left out: it follows from the lines it meets."""
    heading: Angle | None = None
    """Direction in which it begins, counterclockwise from the x axis. It needs `at`. Left out: 0."""
    parallel: ParallelTable | None = Field(default=None, examples=['parallel = "2 in"'])
    """Distance at which the middle of this line lies beside another between the same two joints; or a table with `line`
    and `distance` for any other. Figures that are `"fit"` follow from that one place; a note says where the distance
    differs along the middle half. Left out: it follows from the tracks."""

    @field_validator("parallel", mode="before")
    @classmethod
    def _bare_distance(cls, value: object) -> object:
        """Read a bare distance as a table without its line, which the joints name."""
        return value if value is None or isinstance(value, dict) else {"distance": value}

    @model_validator(mode="after")
    def _placed_whole(self) -> Self:
        if self.heading is not None and self.at is None:
            raise PlanError('"heading" needs "at"', write="at = [12.0, 40.5] beside it, where the line begins")
        return self


class PieceTable(Table):
    """Tracks to use many times."""

    track: list[TrackTable] = Field(min_length=1, examples=["track = [ { left = 30, angle = 12 } ]"])
    """Its tracks in order."""
