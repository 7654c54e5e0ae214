"""The tables of stock and trains as the builder writes them: films, locomotives, powers, cars, trains and routes."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from gradehaul.errors import GradehaulError, PlanError, Problems
from gradehaul.plan.values import ByCondition, Distance, Fraction, Mass, Name, PartMass, Resistance, Table


class ShareTable(Table):
    """Share of the clean pull kept, on the day and after a rest."""

    fresh: Fraction = Field(examples=["fresh = 0.75"])
    settled: Fraction = Field(examples=["settled = 0.85"])


class FilmTable(Table):
    """A rail condition other than clean."""

    metal: ShareTable = Field(examples=["metal = { fresh = 0.75, settled = 0.85 }"])
    tyred: ShareTable = Field(examples=["tyred = { fresh = 0.50, settled = 0.65 }"])


class LocoTable(Table):
    """A locomotive."""

    title: Name | None = None
    mass: Mass = Field(examples=['mass = "480 g"'])
    length: Distance = Field(examples=['length = "11.5 in"'])
    on_drivers: Mass | None = None
    driven_wheels: int | None = Field(default=None, ge=1, le=200)
    tyred_wheels: int = Field(default=0, ge=0, le=200)
    on_tyres: PartMass | None = None
    pull: ByCondition = Field(default_factory=dict, examples=['[loco.NAME.pull] with clean = "84 gf"'])
    slipping: ByCondition = Field(default_factory=dict, examples=['[loco.NAME.slipping] with clean = "66 gf"'])

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
                wrong.append(PlanError("on_tyres must not be more than on_drivers"))
            if self.on_tyres and "tyred_wheels" in self.model_fields_set and not self.tyred_wheels:
                wrong.append(PlanError("on_tyres needs tyred wheels", found="tyred_wheels = 0"))
        if wrong:
            raise Problems(wrong)
        return self


class PowerTable(Table):
    """Locomotives that work together."""

    locos: list[Name] = Field(min_length=1, max_length=99, examples=['locos = ["articulated", "articulated"]'])
    together: Fraction | None = None


class CarTable(Table):
    """A car."""

    mass: Mass | None = None
    length: Distance = Field(examples=['length = "5.5 in"'])
    rolling: Resistance | None = None
    starting: Resistance | None = None


class TrainTable(Table):
    """A train the builder wants to run."""

    route: Name = Field(examples=['route = "Up ore"'])
    consist: list[Name] = Field(min_length=1, max_length=999, examples=['consist = ["articulated", "12 ore"]'])
    together: Fraction | None = None


class RouteTable(Table):
    """A route the builder asks about."""

    from_: Name | None = Field(default=None, alias="from")
    to: Name | None = None
    via: list[Name] = Field(default_factory=list)
    lap: list[Name] | None = Field(default=None, min_length=1)
    reversals: int = Field(default=0, ge=0, le=9)

    @model_validator(mode="after")
    def _between_or_round(self) -> Self:
        given = {"from" if key == "from_" else key for key in self.model_fields_set}
        if "lap" in given:
            wrong: list[GradehaulError] = [
                PlanError(f"{key} does not belong to a lap", write="lap alone, or from and to without it")
                for key in ("from", "to", "via", "reversals")
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
