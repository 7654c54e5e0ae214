"""The tables of stock and trains as the builder writes them: films, locomotives, powers, cars, trains and routes."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from gradehaul.errors import GradehaulError, PlanError, Problems
from gradehaul.plan.schema.values import ByCondition, Distance, Fraction, Mass, Name, PartMass, Resistance, Table


class ShareTable(Table):
    """Share of the clean pull kept, on the day and after a rest."""

    fresh: Fraction = Field(examples=["fresh = 0.75"])
    """Share kept on the day."""
    settled: Fraction = Field(examples=["settled = 0.85"])
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
    mass: Mass = Field(examples=['mass = "480 g"'])
    """All of it, a tender and its load included."""
    length: Distance = Field(examples=['length = "11.5 in"'])
    """Over couplers."""
    on_drivers: Mass | None = None
    """The part of `mass` on driven wheels. Left out: all of it."""
    driven_wheels: int | None = Field(default=None, ge=1, le=200)
    """How many wheels are driven. Left out: not known, and none has a tyre."""
    tyred_wheels: int = Field(default=0, ge=0, le=200)
    """How many of them have tyres."""
    on_tyres: PartMass | None = None
    """The part of `on_drivers` on tyred wheels. Left out: by the count of wheels."""
    pull: ByCondition = Field(default_factory=dict, examples=['[loco.NAME.pull] with clean = "84 gf"'])
    """Standing pulls on level straight track by rail condition: `clean`, `FILM`, `FILM fresh`. Left out: estimated."""
    slipping: ByCondition = Field(default_factory=dict, examples=['[loco.NAME.slipping] with clean = "66 gf"'])
    """Pulls with sliding wheels, likewise. Left out: scaled from the standing pull."""

    @model_validator(mode="after")
    def _weights_fit(self) -> Self:
        wrong: list[GradehaulError] = []
        if self.on_drivers is not None and self.on_drivers > self.mass:
            wrong.append(PlanError("on_drivers must not be more than mass", write="the part of mass on driven wheels"))
        if self.tyred_wheels and self.driven_wheels is None:
            wrong.append(PlanError("tyred_wheels needs driven_wheels", write="driven_wheels = 12"))
        if self.driven_wheels is not None and self.tyred_wheels > self.driven_wheels:
            wrong.append(
                PlanError(
                    "tyred_wheels must not be more than driven_wheels",
                    found=f"{self.tyred_wheels} of {self.driven_wheels}",
                )
            )
        if self.on_tyres is not None:
            carried = self.mass if self.on_drivers is None else self.on_drivers
            if self.on_tyres > carried:
                wrong.append(
                    PlanError(
                        "on_tyres must not be more than on_drivers", write="the part of on_drivers on tyred wheels"
                    )
                )
            if self.on_tyres and "tyred_wheels" in self.model_fields_set and not self.tyred_wheels:
                wrong.append(PlanError("on_tyres needs tyred wheels", found="tyred_wheels = 0"))
        if wrong:
            raise Problems(wrong)
        return self


class PowerTable(Table):
    """Locomotives that work together."""

    locos: list[Name] = Field(min_length=1, max_length=99, examples=['locos = ["articulated", "articulated"]'])
    """Locomotives from head to tail."""
    together: Fraction | None = None
    """Share of the sum of their pulls that they give together. Left out: 90 %."""


class CarTable(Table):
    """A car."""

    mass: Mass | None = None
    """All of it, its load included. Left out: the practice's weight for its length."""
    length: Distance = Field(examples=['length = "5.5 in"'])
    """Over couplers."""
    rolling: Resistance | None = None
    """Pull that keeps it rolling on level straight track, as a share of its weight. Left out: 2 %."""
    starting: Resistance | None = None
    """Pull that starts it, likewise. Left out: 1.25 times `rolling`."""


class TrainTable(Table):
    """A train the builder wants to run."""

    route: Name = Field(examples=['route = "Up ore"'])
    """Name of a `[route.NAME]`."""
    consist: list[Name] = Field(min_length=1, max_length=999, examples=['consist = ["articulated", "12 ore"]'])
    """Stock from head to tail; `12 ore` is twelve of a kind. A helper may stand anywhere."""
    together: Fraction | None = None
    """Share of the sum of their pulls that its locomotives give together. Left out: 90 % where there are several."""


class RouteTable(Table):
    """A route the builder asks about."""

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
        if "lap" in given:
            wrong: list[GradehaulError] = [
                PlanError(f"{key} does not belong to a lap", write="lap alone, or from and to without it")
                for key in ("from", "to", "via", "reversals", "run_round")
                if key in given
            ]
        else:
            wrong = [
                PlanError(f"{key} is missing", write=f'{key} = "...", or lap = [...] for a closed circuit')
                for key in ("from", "to")
                if key not in given
            ]
        if wrong:
            raise Problems(wrong)
        return self
