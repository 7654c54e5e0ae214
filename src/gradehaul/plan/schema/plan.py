"""The tables of a plan file as the builder writes them: joints, surveys, what a plan has once, and all by name."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator
from pydantic.types import AllowInfNan

from gradehaul.errors import PlanError
from gradehaul.plan.schema.lines import LineTable, PieceTable
from gradehaul.plan.schema.stock import (
    BenchTable,
    CarTable,
    FilmTable,
    LocoTable,
    PowerTable,
    ReadingTable,
    RouteTable,
    TiltTable,
    TrainTable,
    TrialTable,
)
from gradehaul.plan.schema.values import (
    Angle,
    Distance,
    Fraction,
    Grade,
    Length,
    Name,
    Pair,
    Room,
    StartingFactor,
    Station,
    Table,
    Tension,
    Turn,
)


class TurnoutTable(Table):
    """A joint where one line divides."""

    toe: Name = Field(examples=['toe = "Main"'])
    """Line at the end that all trains pass; `Loop.from` or `Loop.to` where both ends of a line meet here."""
    legs: list[Name] = Field(min_length=2, max_length=3, examples=['legs = ["Hill", "Spur"]'])
    """Lines into which it divides, two or three."""


class CrossingTable(Table):
    """A joint where lines cross at grade."""

    through: list[Pair] = Field(min_length=2, examples=['through = [["A", "B"], ["C", "D"]]'])
    """Pairs of lines that go straight through."""
    moves: list[Pair] = Field(default_factory=list)
    """Pairs of lines connected by a slip. Left out: none."""


class TurntableTable(Table):
    """A turntable: every line to every line."""

    lines: list[Name] = Field(min_length=2, max_length=200, examples=['lines = ["S1", "S2"]'])
    """All lines that end at it."""
    length: Distance | None = None
    """Length of the bridge, onto which all of a train must go. Left out: not known, and not used."""


class MapTable(Table):
    """Where the map starts."""

    joint: Name = Field(examples=['joint = "Wharf"'])
    """Joint whose place is stated."""
    x: Length = 0.0
    """Its place to the right."""
    y: Length = 0.0
    """Its place upward on the map."""
    heading: Angle = 0.0
    """Direction in which the first line leaves it, counterclockwise from the x axis."""


class DrawingTerms(Table):
    """How a drawing is read."""

    layers: list[Name] = Field(min_length=1, examples=['layers = ["TRACK*"]'])
    """Names of layers with track, or patterns such as `TRACK*`."""
    height_layers: list[Name] = Field(default_factory=list, examples=['height_layers = ["HEIGHTS"]'])
    """Names of layers with heights as texts, or patterns. Left out: none."""
    unit: Name | None = None
    """Unit of the drawing. Left out: the file's own, where it names one."""
    snap: Distance | None = None
    """Ends of drawn track within this distance meet. Left out: a tenth of the gauge."""
    fit: Distance | None = None
    """A curve fitted to chords lies this near to what is drawn. Left out: a twentieth of the gauge."""
    kink: Turn | None = None
    """Track goes on over a break of direction up to this angle. Left out: 5 degrees."""
    rails: bool = False
    """Whether the layers show the two rails of each track, of which the center line is read."""
    raise_: Length = Field(default=0.0, alias="raise")
    """How far above the plan's 0 the drawing's 0 lies, where its heights count from another; negative: below."""


class ImportTable(DrawingTerms):
    """The options of the last `import`, which writes them here and uses them again unless you type others."""

    unused_heights: int = Field(default=0, ge=0)
    """How many heights of the drawing `import` could not use: a doubt about every answer. Left out: none."""


class DrawingTable(DrawingTerms):
    """A drawing whose track becomes lines of the plan.

    What `export` wrote is read with
    `layers = ["Railhead line", "Berth *", "Names", "Line names", "Single track names", "Turntables", "Slips"]` and
    `height_layers = ["Railhead heights"]`.
    """

    file: Name = Field(examples=['file = "tarn.dxf"'])
    """A DXF file beside the plan."""


class JointTable(Table):
    """A name for the drawing's joint nearest a point."""

    at: Station = Field(examples=["at = [12.0, 40.5]"])
    """A point of the drawing, x and y, in the plan's unit."""
    within: Distance | None = None
    """How near to it the joint must be. Left out: 4 snaps."""


class VerticalCurveTable(Table):
    """Rounding at each change of grade."""

    length: Room = Field(examples=["length = 12"])
    """Length of the rounding, as far as the track has room for it; 0 for none."""


class DeckTable(Table):
    """What lies between the railhead and the underside of a deck (plywood subroadbed), wherever one is built."""

    thickness: Room | None = Field(default=None, examples=['thickness = "1/2 in"'])
    """Thickness of the deck itself. Left out: 1/2 in, assumed."""
    roadbed: Room | None = None
    """Thickness of the roadbed on it. Left out: 1/4 in, assumed."""
    track: Room | None = None
    """Height of rail and ties on that. Left out: the scale's, assumed."""


class CarryOverTable(Table):
    """Film that wheels carry from treated track onto clean track."""

    length: Room = Field(examples=['length = "6 ft"'])
    """How far they carry it; without this table 2 m, a guess, since nobody has measured it."""


class SurveyTable(Table):
    """Railheads of a hill that is built, read with ruler and level: distances along a line and heights there."""

    heights: list[Station] = Field(min_length=2, examples=["heights = [[0, 0], [12, 0.25]]"])
    """Pairs of distance along the line and height of the railhead, three or more."""
    reading: Distance | None = None
    """Error of one reading, one standard deviation. Left out: what a ruler can show."""
    grade: Grade | None = None
    """The grade that was meant. Left out: the one from the first reading to the last."""
    shim: Distance | None = None
    """Largest correction of a riser. Left out: 6 mm or 1/4 in."""
    step: Distance | None = None
    """Smallest correction that can be set. Left out: 0.5 mm or 1/32 in."""
    deck: Distance | None = None
    """Thickness of the deck, which a shim must not go through. Left out: that of `[deck]`, where it is stated."""


_MODELS = {
    "degree": (),
    "wheelbase": ('wheelbase = "24 mm"', "friction = 0.2"),
    "coefficient": ('coefficient = "8.1 mm"',),
}
"""The keys that belong to each model, as they are written."""


class CurveResistanceTable(Table):
    """How curve resistance is calculated."""

    model: Literal["degree", "wheelbase", "coefficient"] = "degree"
    """The rule of degrees scaled down, the form with gauge and wheelbase, or a coefficient that was measured."""
    wheelbase: Distance | None = None
    """Rigid wheelbase, for the model `wheelbase` alone. Left out: no default; that model needs it."""
    friction: Fraction | None = None
    """Friction of wheel on rail, for the model `wheelbase` alone. Left out: no default; that model needs it."""
    coefficient: Distance | None = None
    """Grade times radius, for the model `coefficient` alone. Left out: no default; that model needs it."""
    starting: StartingFactor | None = None
    """Curve resistance when starting over that when running, 1 to 10. Left out: 1, and 1 to 1.5 in random trials."""
    tension: Tension = 0.0
    """Effective friction of flanges pressed by coupler tension, such as 0.03. Left out: 0, tension is not counted."""

    @model_validator(mode="after")
    def _keys_of_the_model(self) -> Self:
        needed = {example.partition(" ")[0]: example for example in _MODELS[self.model]}
        given = [key for key in ("wheelbase", "friction", "coefficient") if key in self.model_fields_set]
        if set(given) != set(needed):
            keys = " and ".join(needed) or "none of wheelbase, friction and coefficient"
            wrong = f'model = "{self.model}" takes {keys}'
            write = ", ".join(needed.values()) or 'model = "wheelbase" or model = "coefficient" beside it'
            raise PlanError(wrong, found=" and ".join(given) or "neither", write=write)
        return self


class HeadTable(Table):
    """What stands above the first table for itself; its keys are those of `HEAD`."""

    title: Name | None = Field(default=None, examples=['title = "Tarn branch"'])
    practice: Literal["NMRA", "NEM"] = Field(default="NMRA", examples=['practice = "NMRA"'])


class OwnScaleTable(Table):
    """A scale that no table has."""

    ratio: Annotated[float, AllowInfNan(False)] = Field(gt=0, examples=["ratio = 87.1"])
    """Full size over model size, such as 87.1."""
    gauge: Distance = Field(examples=['gauge = "16.5 mm"'])
    """Distance between the rails."""


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
    "import": ImportTable,
    "map": MapTable,
    "vertical_curve": VerticalCurveTable,
    "deck": DeckTable,
    "carry_over": CarryOverTable,
    "curve_resistance": CurveResistanceTable,
}
"""The tables that a plan has once."""

HEAD = {
    "title": "What the answers call the plan. Left out: the file's name.",
    "scale": 'A scale of the table of scales, such as `HO`, or a table `{ ratio = 87.1, gauge = "16.5 mm" }`.',
    "unit": "Unit of lengths written without one, such as `in` or `mm`. Left out: each length needs its own.",
    "practice": "Whose weights, clearances and radii apply where the plan has none: `NMRA` or `NEM`. Left out: `NMRA`.",
    "include": 'Files beside this one whose tables belong to the plan, such as `["stock.toml"]`. Left out: none.',
}
"""The keys that stand above the first table, and what each means."""
