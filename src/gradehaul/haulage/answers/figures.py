"""The figures that an answer rests on, each with where it comes from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

from gradehaul.haulage.adhesion import Pulls
from gradehaul.plan.rail_condition import conditions
from gradehaul.plan.records import Basis, Car, Film, Loco, Plan
from gradehaul.quantities import Kind
from gradehaul.track.figures import figures_of

_SI: dict[Kind, str] = {"length": "m", "angle": "rad", "mass": "kg", "force": "N"}


@dataclass(frozen=True, slots=True)
class SourcedFigure:
    """A figure that the answer rests on: whose, which, its value in SI units, and where it comes from."""

    KEYS: ClassVar[str] = "subject name value unit basis"

    subject: str
    name: str
    value: float
    kind: Kind
    basis: Basis

    @property
    def unit(self) -> str:
        """The SI unit of its value, 1 of a plain ratio."""
        return _SI.get(self.kind, "1")


_CURVE_BASIS: dict[str, Basis] = {"degree": "assumed", "wheelbase": "stated", "coefficient": "measured"}


def figures(plan: Plan, coefficient: float) -> tuple[SourcedFigure, ...]:
    """List the figures that the answer rests on, each with where it comes from."""
    return (
        *(
            SourcedFigure(f'line "{line.name}"', figure.name, figure.of(figure.track), figure.kind, "fitted")
            for line in plan.lines.values()
            for figure in figures_of(line)
        ),
        SourcedFigure("curves", "coefficient", coefficient, "length", _CURVE_BASIS[plan.curve_resistance.model]),
        *(figure for loco in plan.locos.values() for figure in _pulls_of(plan, loco)),
        *(
            SourcedFigure(f'power "{power.name}"', "together", power.together, "share", power.basis)
            for power in plan.powers.values()
            if len(power.locos) > 1
        ),
        *(figure for car in plan.cars.values() for figure in _figures_of_car(car)),
        *(figure for film in plan.films.values() for figure in _shares_of(film)),
    )


def _pulls_of(plan: Plan, loco: Loco) -> Iterator[SourcedFigure]:
    subject = f'loco "{loco.name}"'
    for rail in conditions(plan.films):
        stand, slip = Pulls(plan).standing(loco, rail), Pulls(plan).slipping(loco, rail)
        yield SourcedFigure(subject, f"standing pull, {rail}", stand.value, "force", stand.basis)
        yield SourcedFigure(subject, f"slipping pull, {rail}", slip.value, "force", slip.basis)


def _figures_of_car(car: Car) -> Iterator[SourcedFigure]:
    subject = f'car "{car.name}"'
    yield SourcedFigure(subject, "mass", car.mass, "mass", car.mass_basis)
    yield SourcedFigure(subject, "rolling resistance", car.rolling.value, "share", car.rolling_basis)
    yield SourcedFigure(subject, "starting resistance", car.starting.value, "share", car.starting_basis)


def _shares_of(film: Film) -> Iterator[SourcedFigure]:
    subject = f'rail "{film.name}"'
    for wheels, share in (("metal", film.metal), ("tyred", film.tyred)):
        yield SourcedFigure(subject, f"{wheels} share kept, fresh", share.fresh, "share", film.basis)
        yield SourcedFigure(subject, f"{wheels} share kept, rested", share.settled, "share", film.basis)
