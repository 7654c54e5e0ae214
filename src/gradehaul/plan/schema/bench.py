"""The tables of the bench as the builder writes them: readings of pulls, strings of cars, tilts, and trials."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from gradehaul.errors import GradehaulError, PlanError, Problems
from gradehaul.plan.schema.values import Distance, Force, Grade, Name, Readings, Rises, Table


class ReadingTable(Table):
    """Readings of a spring balance: the pull of a locomotive, or what a string of cars asks."""

    loco: Name | None = None
    """The locomotive that pulled. Left out: it is a reading of cars."""
    car: Name | None = None
    """The car of a string that was pulled. Left out: it is a reading of a locomotive."""
    cars: int = Field(default=1, ge=1, le=999)
    """How many cars the string had."""
    rail: Name = "clean"
    """Rail condition: `clean` or a film."""
    hours: float | None = Field(default=None, ge=0, le=1e6, examples=["hours = 24"])
    """Hours since the film went on. Left out: settled."""
    force: Readings = Field(examples=['force = ["62 gf", "64 gf"]'])
    """One reading of the balance, or a list of them."""
    state: Literal["standing", "slipping"] = "standing"
    """Whether the wheels still held or were sliding."""
    grade: Grade = 0.0
    """Grade of the track where it was read, positive uphill."""
    radius: Distance | None = None
    """Radius of the track where it was read. Left out: straight."""
    facing: Name | None = None
    """Which way it faced: kept for the builder, not used. Left out: nothing."""
    note: Name | None = None
    """Whatever else was noted: kept, not used. Left out: nothing."""

    @model_validator(mode="after")
    def _of_one_thing(self) -> Self:
        wrong: list[GradehaulError] = []
        given = self.model_fields_set
        if (self.loco is None) == (self.car is None):
            found = "neither" if self.loco is None else "both"
            wrong.append(PlanError("a reading is of a loco or of a car", found=found, write='loco = "..."'))
        elif self.car is not None:
            wrong += [
                PlanError(f"{key} does not belong to a reading of cars", write="a reading of a locomotive beside it")
                for key in ("hours", "state")
                if key in given
            ]
        elif "cars" in given:
            wrong.append(PlanError("cars does not belong to a reading of a locomotive", write='car = "..."'))
        if wrong:
            raise Problems(wrong)
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
    """A train that was run over the layout, and what became of it."""

    route: Name = Field(examples=['route = "Up ore"'])
    """Name of a `[route.NAME]`."""
    consist: list[Name] = Field(min_length=1, max_length=999, examples=['consist = ["articulated", "9 ore"]'])
    """Stock from head to tail, as for a train."""
    rail: Name = "clean"
    """Rail condition: `clean` or a film."""
    hours: float | None = Field(default=None, ge=0, le=1e6)
    """Hours since the film went on. Left out: settled."""
    outcome: Literal["climbs", "stalls"] = Field(examples=['outcome = "stalls"'])
    """What became of it."""
    together: Annotated[float, Field(gt=0, le=1)] | None = None
    """Share of the sum of their pulls that its locomotives give together. Left out: 90 % where there are several."""


class BenchTable(Table):
    """What all readings share: files of readings, and the least step that the balance shows."""

    csv: list[Name] = Field(default_factory=list, examples=['csv = ["bench.csv"]'])
    """Files of readings beside the plan. Left out: none."""
    step: Force | None = None
    """The least that the balance shows. Left out: from the readings."""
    decimal: Literal[".", ","] | None = None
    """Sign of the decimals in these files. Left out: found from the figures, where they can mean one thing only."""
