"""An incline: a rise within a length, with vertical curves at its ends, curves and easements on the way."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from gradehaul.design.climb.given import Relation, solved
from gradehaul.design.climb.hill import (
    Direction,
    Hill,
    HillLine,
    coefficient_of,
    directions_of,
    hill_of,
    length_text,
    usual_vertical_curve,
)
from gradehaul.design.deck import STRENGTH
from gradehaul.errors import DesignError
from gradehaul.haulage.answers.unusual import STEEP
from gradehaul.plan.records import Plan
from gradehaul.quantities import describe
from gradehaul.quantities.si import Meters, Radians, Ratio
from gradehaul.track.heights.vertical import VerticalCurve, vertical_curves

CARE = (
    "Trains run over an open drop: put a barrier or a raised edge along the incline, and keep children away. "
    f"{STRENGTH}"
)
"""What is said with every incline."""

_MOST_ANGLE = 20 * math.pi
"""A curve on the way turns through ten whole turns at the most."""


class Bend(NamedTuple):
    """A curve on the way: radius, m, the angle it turns through, radians, positive to the left, its easements, m.

    With an easement of length e at each end it turns through e / 2R in each, and is as much longer as one of them.
    """

    radius: Meters
    angle: Radians
    ease: Meters = 0.0

    @property
    def length(self) -> Meters:
        """Its length, easements included, m."""
        return self.radius * abs(self.angle) + self.ease


@dataclass(frozen=True)
class Incline:
    """An incline, lengths in m."""

    rise: Meters
    length: Meters
    """From level to level, both vertical curves in it."""
    bends: tuple[Bend, ...]
    """Curves on the way, with equal straights between them and at both ends."""
    coefficient: Meters
    """Curve coefficient C: a curve of radius R adds as much as a grade of C / R."""
    vertical: Meters
    """Length of the vertical curve at each change of grade; half of it lies on either side."""
    compensated: bool = False
    """Whether the grade is eased on curves by C / R, so that the effective grade is the same everywhere, and less only
    on easements, where the curve begins."""

    @property
    def run(self) -> Meters:
        """Length of the grade between the middles of the vertical curves at its ends, m."""
        return self.length - self.vertical

    @property
    def straight(self) -> Meters:
        """Length of each straight on the grade, m."""
        return (self.run - sum(bend.length for bend in self.bends)) / (len(self.bends) + 1)

    @property
    def grade(self) -> Ratio:
        """Grade of its straights."""
        return (self.rise + given_back(self.bends, self.coefficient, compensated=self.compensated)) / self.run

    def grade_in(self, bend: Bend) -> Ratio:
        """Return the grade in a curve."""
        return self.grade - (self.coefficient / bend.radius if self.compensated else 0.0)

    @property
    def effective_grade(self) -> Ratio:
        """The greatest effective grade away from vertical curves, which reach over where curves begin and end."""
        return max([self.grade, *(self.grade_in(bend) + self.coefficient / bend.radius for bend in self.bends)])

    @cached_property
    def curves(self) -> tuple[VerticalCurve, ...]:
        """The vertical curves as they come out: shorter where the grades beside them are."""
        lengths, grades = [self.vertical or 1.0], [0.0]
        for bend in self.bends:
            lengths += [self.straight, bend.length]
            grades += [self.grade, self.grade_in(bend)]
        lengths += [self.straight, self.vertical or 1.0]
        grades += [self.grade, 0.0]
        steps = np.array([lengths, np.multiply(lengths, grades)])
        distance, height = np.concatenate([np.zeros((2, 1)), np.cumsum(steps, axis=1)], axis=1)
        return tuple(vertical_curves(distance, height, self.vertical))

    def change_per_car(self, car: float) -> Ratio:
        """Return the sharpest change of grade within a car's length, a plain ratio; practice is 1 % at the most."""
        if not self.vertical:
            return abs(self.grade)
        return max(
            (abs(curve.after - curve.before) * min(1.0, car / curve.length) for curve in self.curves), default=0.0
        )

    def hill(self, stock: Plan, directions: Mapping[str, Direction] | None = None) -> Hill:
        """Return it as a plan with the stock of another, between two level straights."""
        unit = stock.unit
        level = (f"straight = {length_text(self.vertical, unit)}, rise = 0",) if self.vertical else ()
        tracks = [f"straight = {length_text(self.straight, unit)}"]
        for bend in self.bends:
            hand = "left" if bend.angle > 0 else "right"
            curve = f"{hand} = {length_text(bend.radius, unit)}, angle = {abs(math.degrees(bend.angle)):.13g}"
            curve += f", ease = {length_text(bend.ease, unit)}" if bend.ease else ""
            eased = f', grade = "{100 * self.grade_in(bend):.13g} %"' if self.compensated else ""
            tracks += [curve + eased, tracks[0]]
        remarks = [
            "An incline as gradehaul incline designed it. Run it with: gradehaul check",
            *textwrap.wrap(CARE, 110),
        ]
        ways = directions or directions_of(stock)
        lines = [HillLine("Incline", (*level, *tracks, *level))]
        return hill_of(stock, "Incline", lines, self.rise, self.vertical, remarks, ways, stock.deck)


def given_back(bends: Sequence[Bend], coefficient: float, *, compensated: bool) -> float:
    """Return the rise that compensation takes from the curves, m: C / R for each length."""
    return coefficient * sum(bend.length / bend.radius for bend in bends) if compensated else 0.0


@dataclass(frozen=True, slots=True)
class InclineGiven:
    """What is given of an incline: lengths in m, the grade of its straights a plain ratio; None where open."""

    rise: Meters | None = None
    length: Meters | None = None
    grade: Ratio | None = None
    bends: tuple[Bend, ...] = ()
    vertical: Meters | None = None
    compensated: bool = False


def incline_of(given: InclineGiven, stock: Plan) -> Incline:
    """Return the incline that follows from two of rise, length and grade.

    Vertical curves that are left out are as long as practice has them: a car length for each 1 % of change.

    Raises
    ------
    DesignError
        Less than two, or three that contradict one another; no room for the curves or the vertical curves; curves so
        tight that compensation would turn the grade on them downward.
    """
    unit, coefficient = stock.unit, coefficient_of(stock)
    refuse_curves(given, unit)
    known = {"rise": given.rise, "length": given.length, "grade": given.grade}
    back = given_back(given.bends, coefficient, compensated=given.compensated)
    if given.rise is not None and given.length is not None:
        vertical = _vertical(given, given.rise + back, given.length, stock)
    elif given.vertical is not None:
        vertical = given.vertical
    else:
        vertical = 0.0 if given.grade is None else usual_vertical_curve(given.grade, stock)
    rules = (
        Relation("grade", ("rise", "length"), lambda k: (k["rise"] + back) / (k["length"] - vertical)),
        Relation("length", ("rise", "grade"), lambda k: (k["rise"] + back) / k["grade"] + vertical),
        Relation("rise", ("length", "grade"), lambda k: _rise(k["grade"] * (k["length"] - vertical), back)),
    )
    found = solved("incline", known, rules, unit, write="two of --rise, --length, --grade")
    incline = Incline(found["rise"], found["length"], given.bends, coefficient, vertical, given.compensated)
    _refuse_impossible(incline, unit)
    return incline


def _rise(climb: float, back: float) -> float:
    """Return the rise that compensation leaves of a climb, m."""
    if climb <= back and back > 0:
        raise FallingError("compensation takes all of the rise", write="a steeper grade or a longer length")
    return climb - back


def refuse_curves(given: InclineGiven, unit: str) -> None:
    """Refuse curves, of track and of the grade, that cannot be."""
    if given.vertical is not None and given.vertical < 0:
        found = describe(given.vertical, "length", unit)
        raise DesignError("a vertical curve must be 0 or longer", place="--vertical-curve", found=found)
    for bend in given.bends:
        if not (math.isfinite(bend.radius) and bend.radius > 0 and math.isfinite(bend.angle) and bend.angle != 0):
            found = f"{describe(bend.radius, 'length', unit)} and {describe(bend.angle, 'angle', 'deg')}"
            wrong = "a curve needs a radius above 0 and an angle"
            raise DesignError(wrong, place="--curve", found=found, write='--curve "24 in" 90')
        if abs(bend.angle) > _MOST_ANGLE:
            raise DesignError(
                "a curve on an incline may turn through ten full turns at most",
                place="--curve",
                found=describe(abs(bend.angle), "angle", "deg"),
                write="gradehaul helix for more",
            )
        if bend.ease < 0:
            found = describe(bend.ease, "length", unit)
            raise DesignError("an easement must be 0 or longer", place="--ease", found=found)
        if bend.ease > bend.radius * abs(bend.angle) * (1 + 1e-9):
            raise DesignError(
                "the easements are longer than the curve between them",
                place="--ease",
                found=describe(bend.ease, "length", unit),
                write=f"at most {describe(bend.radius * abs(bend.angle), 'length', unit)}",
            )


def _vertical(given: InclineGiven, climb: float, length: float, stock: Plan) -> float:
    """Return the length of the vertical curves: the least that practice has for the grade it leaves."""
    vertical = given.vertical or 0.0
    while vertical <= 0.5 * length:
        usual = vertical if given.vertical is not None else usual_vertical_curve(climb / (length - vertical), stock)
        if usual <= vertical:
            return vertical
        vertical = usual
    unit = stock.unit
    raise DesignError(
        f"a length of {describe(length, 'length', unit)} has no room for the vertical curves of this rise",
        found=f"{describe(vertical, 'length', unit)} each, which needs twice as much",
        write="a longer length, less rise, or --vertical-curve with a shorter one",
    )


class FallingError(DesignError):
    """An incline whose curves, eased by what they add, would go down: a gentler one fails all the more."""


def _refuse_impossible(incline: Incline, unit: str) -> None:
    around = sum(bend.length for bend in incline.bends)
    if incline.run < incline.vertical * (1 - 1e-9) or incline.straight < 1e-4:
        raise DesignError(
            f"a length of {describe(incline.length, 'length', unit)} has no room for its curves and vertical curves",
            found=f"curves of {describe(around, 'length', unit)} and two vertical curves of "
            f"{describe(incline.vertical, 'length', unit)}",
            write="a longer length, less of curve, or a shorter --vertical-curve",
        )
    if incline.grade > STEEP * (1 + 1e-9):
        raise DesignError(
            f"an incline is no steeper than {describe(STEEP, 'grade', '%')}, which is rack-railway country",
            found=describe(incline.grade, "grade", "%"),
            write="a longer length, or less rise",
        )
    for bend in incline.bends:
        if incline.grade_in(bend) < 0:
            raise FallingError(
                f"compensation would turn the grade downward on a curve of {describe(bend.radius, 'length', unit)}",
                place="--curve",
                write="a larger radius, or no compensation",
            )
