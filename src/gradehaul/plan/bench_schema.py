"""The tables of the bench as the builder writes them: readings of pulls, strings of cars, tilts, and trials."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from gradehaul.errors import GradehaulError, PlanError, Problems
from gradehaul.plan.values import Distance, Force, Grade, Name, Readings, Room, Table

Rises = Annotated[
    list[Room], BeforeValidator(lambda value: value if isinstance(value, list) else [value]), Field(min_length=1)
]
"""One rise, or a list of them, m."""


class ReadingTable(Table):
    """Readings of a spring balance: the pull of a locomotive, or what a string of cars asks."""

    loco: Name | None = None
    car: Name | None = None
    cars: int = Field(default=1, ge=1, le=999)
    rail: Name = "clean"
    hours: float | None = Field(default=None, ge=0, le=1e6, examples=["hours = 24"])
    force: Readings = Field(examples=['force = ["62 gf", "64 gf"]'])
    state: Literal["standing", "slipping"] = "standing"
    grade: Grade = 0.0
    radius: Distance | None = None
    facing: Name | None = None
    """Which way it faced, and whatever else the builder noted: kept for the builder, not reckoned with."""
    note: Name | None = None

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
    over: Distance = Field(examples=['over = "600 mm"'])
    starts: Rises | None = None
    rolls: Rises | None = None

    @model_validator(mode="after")
    def _something_seen(self) -> Self:
        if self.starts is None and self.rolls is None:
            raise PlanError("a tilt needs starts, rolls or both", write='rolls = ["9 mm", "10 mm"]')
        return self


class TrialTable(Table):
    """A train that was run over the layout, and what became of it."""

    route: Name = Field(examples=['route = "Up ore"'])
    consist: list[Name] = Field(min_length=1, max_length=999, examples=['consist = ["articulated", "9 ore"]'])
    rail: Name = "clean"
    hours: float | None = Field(default=None, ge=0, le=1e6)
    outcome: Literal["climbs", "stalls"] = Field(examples=['outcome = "stalls"'])
    together: Annotated[float, Field(gt=0, le=1)] | None = None


class BenchTable(Table):
    """What all readings share: files of readings, and the least step that the balance shows."""

    csv: list[Name] = Field(default_factory=list, examples=['csv = ["bench.csv"]'])
    step: Force | None = None
    decimal: Literal[".", ","] | None = None
