"""The tables of a plan file as the builder writes them: lines, joints and what a plan has once."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, ValidationInfo, model_validator
from pydantic.types import AllowInfNan

from gradehaul.errors import GradehaulError, PlanError, Problems
from gradehaul.plan.bench_schema import BenchTable, ReadingTable, TiltTable, TrialTable
from gradehaul.plan.stock_schema import CarTable, FilmTable, LocoTable, PowerTable, RouteTable, TrainTable
from gradehaul.plan.values import (
    Angle,
    Distance,
    Fraction,
    Grade,
    Length,
    Name,
    Pair,
    Radius,
    Room,
    Station,
    Table,
    Turn,
    Weight,
    unit_of,
)
from gradehaul.quantities import describe

_SHAPES = ("straight", "left", "right", "easement", "piece")
_HEIGHTS = ("grade", "rise", "railhead")
_ANY = frozenset({"name", "grade", "rise", "railhead", "rail", "pickup", "berth", "clear"})
_BESIDE = {
    "straight": _ANY,
    "left": _ANY | {"angle", "length", "ease"},
    "right": _ANY | {"angle", "length", "ease"},
    "easement": _ANY,
    "piece": frozenset({"hand", "rail", "pickup", "berth", "clear"}),
}

_USUAL = frozenset(
    frozenset({*shape, *height})
    for shape in (("straight",), ("left", "angle"), ("right", "angle"), ("left", "length"), ("right", "length"))
    for height in ((), ("railhead",))
)
"""What most tracks say, and nothing can be wrong with: a large plan has tens of thousands of them."""

_CALLED = {"straight": "a straight", "curve": "a curve", "easement": "an easement", "piece": "a piece"}


class TrackTable(Table):
    """One track, or a piece that stands for several."""

    name: Name | None = None
    straight: Distance | None = None
    left: Radius | None = None
    right: Radius | None = None
    easement: Distance | None = None
    piece: Name | None = None
    hand: Literal["left", "right"] | None = None
    angle: Turn | None = None
    length: Distance | None = None
    ease: Room | None = None
    grade: Grade | None = None
    rise: Length | None = None
    railhead: Length | None = None
    rail: Name | None = None
    pickup: Weight | None = None
    berth: Name | None = None
    clear: Distance | None = None

    @property
    def shape(self) -> str:
        """Which of the five shapes the track has."""
        given = self.__pydantic_fields_set__
        return next(shape for shape in _SHAPES if shape in given)

    @property
    def radius(self) -> float:
        """Radius of a curve, m."""
        radius = self.left if self.left is not None else self.right
        assert radius is not None
        return radius

    @model_validator(mode="after")
    def _one_shape(self, info: ValidationInfo) -> Self:
        given = self.__pydantic_fields_set__
        if given in _USUAL:
            return self
        shapes = [shape for shape in _SHAPES if shape in given]
        if len(shapes) != 1:
            raise PlanError(
                "a track is one of straight, left, right, easement or piece",
                found=" and ".join(shapes) or "none of them",
                write="" if shapes else "straight = 30, or left = 24, angle = 90",
            )
        wrong: list[GradehaulError] = []
        shape = shapes[0]
        kind = "curve" if shape in {"left", "right"} else shape
        wrong += [
            PlanError(f"{key} does not belong to {_CALLED[kind]}", write=_INSTEAD.get((kind, key), ""))
            for key in TrackTable.model_fields
            if key in given and key != shape and key not in _BESIDE[shape]
        ]
        heights = [key for key in _HEIGHTS if key in given]
        if len(heights) > 1:
            wrong.append(PlanError("only one of grade, rise and railhead fixes a track", found=" and ".join(heights)))
        if kind == "curve":
            wrong += self._curve_faults(unit_of(info))
        if wrong:
            raise Problems(wrong)
        return self

    def _curve_faults(self, unit: str | None) -> list[PlanError]:
        if (self.angle is None) == (self.length is None):
            found = "neither" if self.angle is None else "both"
            return [PlanError("a curve needs either its angle or its length", found=found, write="angle = 90")]
        ease = self.ease or 0.0
        tell = unit or "mm"
        if self.angle is not None and self.radius * self.angle < ease * (1 - 1e-9):
            return [
                PlanError(
                    f"an easement of {describe(ease, 'length', tell)} at each end is too long for this curve, whose "
                    f"radius times its angle is {describe(self.radius * self.angle, 'length', tell)}",
                    write="a larger angle or a shorter ease",
                )
            ]
        if self.length is not None and self.length < 2 * ease * (1 - 1e-9):
            return [
                PlanError(
                    f"two easements of {describe(ease, 'length', tell)} do not fit into the whole length of "
                    f"{describe(self.length, 'length', tell)}",
                    write="a longer length or a shorter ease",
                )
            ]
        return []


_INSTEAD = {
    ("straight", "length"): "straight = 30, which is the length already",
    ("easement", "length"): "easement = 8, which is the length already",
    ("straight", "ease"): "{ easement = 8 } as a track of its own",
    ("straight", "angle"): "left = 24 or right = 24 instead of straight",
    ("piece", "name"): "the name on the piece's own tracks",
}


class LineTable(Table):
    """Tracks in order between two joints."""

    from_: Name = Field(alias="from", examples=['from = "Wharf"'])
    to: Name = Field(examples=['to = "Summit"'])
    track: list[TrackTable] = Field(min_length=1, examples=["track = [ { straight = 30 } ]"])
    berth: Name | None = None
    clear: Distance | None = None
    railhead_at: list[Station] = Field(default_factory=list, examples=["railhead_at = [[20, 1.9]]"])
    runs: Literal["both", "forward", "backward"] = "both"
    rail: Name | None = None
    pickup: Weight | None = None
    at: Station | None = Field(default=None, examples=["at = [12.0, 40.5]"])
    heading: Angle | None = None

    @model_validator(mode="after")
    def _placed_whole(self) -> Self:
        if self.heading is not None and self.at is None:
            raise PlanError("heading needs at", write="at = [12.0, 40.5] beside it, where the line begins")
        return self


class PieceTable(Table):
    """Tracks that are used many times."""

    track: list[TrackTable] = Field(min_length=1, examples=["track = [ { left = 30, angle = 12 } ]"])


class TurnoutTable(Table):
    """A joint where one line divides."""

    toe: Name = Field(examples=['toe = "Main"'])
    legs: list[Name] = Field(min_length=2, max_length=3, examples=['legs = ["Hill", "Spur"]'])


class CrossingTable(Table):
    """A joint where lines cross on the level."""

    through: list[Pair] = Field(min_length=2, examples=['through = [["A", "B"], ["C", "D"]]'])
    moves: list[Pair] = Field(default_factory=list)


class TurntableTable(Table):
    """A turntable: every line to every line."""

    lines: list[Name] = Field(min_length=2, max_length=200, examples=['lines = ["S1", "S2"]'])
    length: Distance | None = None


class MapTable(Table):
    """Where the drawing starts."""

    joint: Name = Field(examples=['joint = "Wharf"'])
    x: Length = 0.0
    y: Length = 0.0
    heading: Angle = 0.0


class DrawingTable(Table):
    """A drawing whose track becomes lines of the plan."""

    file: Name = Field(examples=['file = "tarn.dxf"'])
    layers: list[Name] = Field(min_length=1, examples=['layers = ["TRACK*"]'])
    height_layers: list[Name] = Field(default_factory=list, examples=['height_layers = ["HEIGHTS"]'])
    unit: Name | None = None
    snap: Distance | None = None
    fit: Distance | None = None
    kink: Turn | None = None
    repair: bool = False


class JointTable(Table):
    """A name for the drawing's joint nearest a point."""

    at: Station = Field(examples=["at = [12.0, 40.5]"])
    within: Distance | None = None


class VerticalCurveTable(Table):
    """Rounding at each change of grade."""

    length: Room = Field(examples=["length = 12"])


class SurveyTable(Table):
    """Railheads of a hill that stands, read with ruler and level: distances along a line and heights there."""

    heights: list[Station] = Field(min_length=2, examples=["heights = [[0, 0], [12, 0.25]]"])
    reading: Distance | None = None
    grade: Grade | None = None
    shim: Distance | None = None
    step: Distance | None = None
    deck: Distance | None = None


_MODEL_KEYS = {"degree": (), "wheelbase": ("wheelbase", "friction"), "coefficient": ("coefficient",)}
_MODEL_EXAMPLES = {
    "wheelbase": 'wheelbase = "24 mm"',
    "friction": "friction = 0.2",
    "coefficient": 'coefficient = "8.1 mm"',
}


class CurveResistanceTable(Table):
    """How curve resistance is reckoned."""

    model: Literal["degree", "wheelbase", "coefficient"] = "degree"
    wheelbase: Distance | None = None
    friction: Fraction | None = None
    coefficient: Distance | None = None

    @model_validator(mode="after")
    def _keys_of_the_model(self) -> Self:
        needed = _MODEL_KEYS[self.model]
        wrong: list[GradehaulError] = [
            PlanError(f'{key} is missing for model = "{self.model}"', write=_MODEL_EXAMPLES[key])
            for key in needed
            if key not in self.model_fields_set
        ]
        wrong += [
            PlanError(
                f'{key} does not belong to model = "{self.model}"',
                write=next(f'model = "{model}"' for model, keys in _MODEL_KEYS.items() if key in keys),
            )
            for key in ("wheelbase", "friction", "coefficient")
            if key in self.model_fields_set and key not in needed
        ]
        if wrong:
            raise Problems(wrong)
        return self


class OwnScaleTable(Table):
    """A scale that no table has."""

    ratio: Annotated[float, AllowInfNan(False)] = Field(gt=0, examples=["ratio = 87.1"])
    gauge: Distance = Field(examples=['gauge = "16.5 mm"'])


KEYED: dict[str, Any] = {
    "piece": PieceTable,
    "line": LineTable,
    "turnout": TurnoutTable,
    "crossing": CrossingTable,
    "table": TurntableTable,
    "joint": JointTable,
    "rail": FilmTable,
    "loco": LocoTable,
    "power": PowerTable,
    "car": CarTable,
    "train": TrainTable,
    "route": RouteTable,
    "survey": SurveyTable,
}
"""The tables that are keyed by name, e.g. ``[line.Main]``."""

LISTED: dict[str, Any] = {"reading": ReadingTable, "tilt": TiltTable, "trial": TrialTable}
"""The tables of which a plan has a list, e.g. ``[[reading]]``."""

SINGLE: dict[str, Any] = {
    "bench": BenchTable,
    "drawing": DrawingTable,
    "map": MapTable,
    "vertical_curve": VerticalCurveTable,
    "curve_resistance": CurveResistanceTable,
}
"""The tables that a plan has once."""

HEAD = ("title", "scale", "unit", "practice", "include")
"""The keys that stand above the first table."""
