"""The tables of stock, trains and readings as the builder writes them."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from gradehaul.errors import PlanError, Problems
from gradehaul.plan.schema.values import (
    ByCondition,
    Distance,
    Force,
    Fraction,
    Grade,
    Mass,
    Name,
    PartMass,
    Readings,
    Resistance,
    Rises,
    Table,
)


class ShareTable(Table):
    """Share of the clean pull kept, on the day and after a rest."""

    fresh: Fraction = Field(examples=["fresh = … with the share that readings show"])
    """Share kept on the day."""
    settled: Fraction = Field(examples=["settled = … with the share that readings show"])
    """Share kept after a rest."""


class FilmTable(Table):
    """A rail condition other than clean; where a plan has none there is one, `treated`, by common practice."""

    metal: ShareTable = Field(examples=["metal = { fresh = 0.75, settled = 0.85 }"])
    """Shares of the clean pull that metal wheels keep on the film."""
    tyred: ShareTable = Field(examples=["tyred = { fresh = 0.50, settled = 0.65 }"])
    """Shares of the clean pull that tyred wheels keep on the film."""


class LocoTable(Table):
    """A locomotive."""

    title: Name | None = None
    """What the answers call it. Left out: its name."""
    mass: Mass = Field(examples=['mass = "…" with what it weighs, in g or oz'])
    """All of it, a tender and its load included."""
    length: Distance = Field(examples=['length = "…" with what it measures over couplers'])
    """Over couplers."""
    on_drivers: Mass | None = None
    """The part of `mass` on driven wheels. Left out: all of it."""
    driven_wheels: int | None = Field(default=None, ge=1, le=200)
    """How many wheels are driven. Left out: not known, and none has a tire."""
    tyred_wheels: int = Field(default=0, ge=0, le=200)
    """How many of them have traction tires."""
    on_tyres: PartMass | None = None
    """The part of `on_drivers` on tyred wheels. Left out: by the count of wheels."""
    pull: ByCondition = Field(default_factory=dict, examples=['[loco.NAME.pull] with clean = "84 gf"'])
    """Standing pulls on level straight track by rail condition: `clean`, `FILM`, `FILM fresh`. Left out: estimated."""
    slipping: ByCondition = Field(default_factory=dict, examples=['[loco.NAME.slipping] with clean = "66 gf"'])
    """Pulls with sliding wheels, likewise. Left out: scaled from the standing pull."""

    @model_validator(mode="after")
    def _weights_fit(self) -> Self:
        driven, tyred = self.driven_wheels, self.tyred_wheels
        carried = self.mass if self.on_drivers is None else self.on_drivers
        on_tyres = self.on_tyres or 0.0
        none = on_tyres > 0 and "tyred_wheels" in self.model_fields_set and not tyred
        more = driven is not None and tyred > driven
        rows = (
            (carried > self.mass, "on_drivers must not be more than mass", "", "the part of mass on driven wheels"),
            (tyred and driven is None, "tyred_wheels needs driven_wheels", "", "driven_wheels = … with their number"),
            (more, "tyred_wheels must not be more than driven_wheels", f"{tyred} of {driven}", ""),
            (on_tyres > carried, "on_tyres must not be more than on_drivers", "", "their part of on_drivers"),
            (none, "on_tyres needs tyred wheels", "tyred_wheels = 0", ""),
        )
        if wrong := [PlanError(text, found=found, write=write) for bad, text, found, write in rows if bad]:
            raise Problems(wrong)
        return self


class PowerTable(Table):
    """Locomotives run together: a lashup (a power)."""

    locos: list[Name] = Field(min_length=1, max_length=99, examples=['locos = ["articulated", "articulated"]'])
    """Locomotives from head to tail."""
    together: Fraction | None = None
    """Their pull together, over the sum of their pulls. Left out: 90 %."""


class CarTable(Table):
    """A car."""

    mass: Mass | None = None
    """All of it, its load included. Left out: the practice's weight for its length."""
    length: Distance = Field(examples=['length = "…" with what it measures over couplers'])
    """Over couplers."""
    rolling: Resistance | None = None
    """Pull that keeps it rolling on level straight track, as a share of its weight. Left out: 2 %."""
    starting: Resistance | None = None
    """Pull that starts it, likewise. Left out: 1.25 times `rolling`."""


class TrainTable(Table):
    """A train to run."""

    route: Name = Field(examples=['route = "Up ore"'])
    """Name of a `[route.NAME]`."""
    consist: list[Name] = Field(min_length=1, max_length=999, examples=['consist = ["articulated", "12 ore"]'])
    """Stock from head to tail; `12 ore` is twelve of a kind. A helper may stand anywhere."""
    together: Fraction | None = None
    """Pull of its locomotives together, over the sum of their pulls. Left out: 90 % where there are several, or the
    least that a power among them has."""


class RouteTable(Table):
    """A route on which trains run."""

    from_: Name | None = Field(default=None, alias="from")
    """Where it begins: a joint, an end of a line, or a berth. Left out: for a `lap` alone."""
    to: Name | None = None
    """Where it ends. Left out: for a `lap` alone."""
    via: list[Name] = Field(default_factory=list)
    """Lines, joints or berths that it passes, in order. Left out: the shortest way."""
    lap: list[Name] | None = Field(default=None, min_length=1)
    """Lines of a closed circuit in running order, instead of `from` and `to`. Left out: no circuit."""
    reversals: int = Field(default=0, ge=0, le=9)
    """How often the train may turn back on the way, in berths and at ends of track; 9 times at the most."""
    run_round: list[Name] = Field(default_factory=list)
    """Berths in which the locomotives run round the train as it reverses, to lead on. Left out: they stay and push."""

    @model_validator(mode="after")
    def _between_or_round(self) -> Self:
        given = {"from" if key == "from_" else key for key in self.model_fields_set}
        beside = [key for key in ("from", "to", "via", "reversals", "run_round") if key in given]
        if "lap" in given and beside:
            found = " and ".join(beside)
            raise PlanError("a lap stands alone", found=found, write="lap alone, or from and to without it")
        if "lap" not in given and not {"from", "to"} <= given:
            write = 'from = "..." and to = "...", or lap = [...] for a closed circuit'
            raise PlanError("a route needs from and to", found=" and ".join(beside) or "neither", write=write)
        return self


class ReadingTable(Table):
    """Readings of a spring balance: the pull of a locomotive, or what a string of cars needs."""

    loco: Name | None = None
    """The locomotive that pulled. Left out: it is a reading of cars."""
    car: Name | None = None
    """The car of a string that was pulled. Left out: it is a reading of a locomotive."""
    cars: int = Field(default=1, ge=1, le=999)
    """How many cars the string had."""
    rail: Name = "clean"
    """Rail condition: `clean` or a film."""
    hours: float | None = Field(default=None, ge=0, le=1e6, examples=["hours = 24"])
    """Hours since the film went on. Left out: rested, 12 or more."""
    force: Readings = Field(examples=['force = ["62 gf", "64 gf"]'])
    """One reading of the balance, or a list of them."""
    state: Literal["standing", "slipping"] = "standing"
    """Whether the wheels still held or were sliding."""
    grade: Grade = 0.0
    """Grade of the track where it was read, positive uphill."""
    radius: Distance | None = None
    """Radius of the track where it was read. Left out: straight."""
    facing: Name | None = None
    """Which way it faced: a note, not used. Left out: nothing."""
    note: Name | None = None
    """Whatever else was noted: not used. Left out: nothing."""

    @model_validator(mode="after")
    def _of_one_thing(self) -> Self:
        if (self.loco is None) == (self.car is None):
            found = "neither" if self.loco is None else "both"
            raise PlanError("a reading is of a loco or of a car", found=found, write='loco = "..."')
        kind, others = ("a locomotive", {"cars"}) if self.car is None else ("cars", {"hours", "state"})
        if beside := sorted(others & self.model_fields_set):
            raise PlanError(f"{' and '.join(beside)} do not belong to a reading of {kind}")
        return self


class TiltTable(Table):
    """A tilt test: how high one end of a track must be raised for a car to start, and to roll on once it moves."""

    car: Name = Field(examples=['car = "boxcar"'])
    """The car."""
    over: Distance = Field(examples=['over = "600 mm"'])
    """Length of the track that was tilted."""
    starts: Rises | None = None
    """Rise at which it starts, or a list. Left out: `rolls` alone was read."""
    rolls: Rises | None = None
    """Rise at which it rolls on once it moves, or a list. Left out: `starts` alone was read."""

    @model_validator(mode="after")
    def _something_seen(self) -> Self:
        if self.starts is None and self.rolls is None:
            raise PlanError("a tilt needs starts, rolls or both", write='rolls = ["9 mm", "10 mm"]')
        return self


class TrialTable(Table):
    """A train that was run over the layout, and whether it climbed."""

    route: Name = Field(examples=['route = "Up ore"'])
    """Name of a `[route.NAME]`."""
    consist: list[Name] = Field(min_length=1, max_length=999, examples=['consist = ["articulated", "9 ore"]'])
    """Stock from head to tail, as for a train."""
    rail: Name = "clean"
    """Rail condition: `clean` or a film."""
    hours: float | None = Field(default=None, ge=0, le=1e6)
    """Hours since the film went on. Left out: rested, 12 or more."""
    outcome: Literal["climbs", "stalls"] = Field(examples=['outcome = "stalls"'])
    """What it did."""
    together: Annotated[float, Field(gt=0, le=1)] | None = None
    """Pull of its locomotives together, over the sum of their pulls. Left out: 90 % where there are several."""


class BenchTable(Table):
    """What all readings share: files of readings, and the least step that the balance shows."""

    csv: list[Name] = Field(default_factory=list, examples=['csv = ["bench.csv"]'])
    """Files of readings beside the plan. Left out: none."""
    step: Force | None = None
    """The least that the balance shows. Left out: from the readings."""
    decimal: Literal[".", ","] | None = None
    """Sign of the decimals in these files. Left out: found from the figures, where they can mean one thing only."""
