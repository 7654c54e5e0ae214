"""A designed climb as an answer: the design, what stops a better one, and what the exact engine says of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from gradehaul.design.climb.backward import Stop
from gradehaul.design.climb.helix import GUARD, Helix
from gradehaul.design.climb.hill import coefficient_of
from gradehaul.design.climb.incline import CARE, Bend, Incline, practice_car
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.plan.records import Plan
from gradehaul.quantities.document import AnswerRecord, document
from gradehaul.quantities.si import Meters, Ratio

_STOPS = "stops=stops.reason stops_on=stops.rail stops_why=stops.words"


@dataclass(frozen=True, slots=True)
class HelixAnswer(AnswerRecord):
    """A helix with what stops the next harder one, the plan with its stock, and what `check` says of it as a plan."""

    HEAD: ClassVar[str] = ""
    KEYS: ClassVar[str] = (
        "helix.radius helix.outer_radius helix.turns helix.rise helix.rise_per_turn helix.grade helix.outer_grade "
        "effective outer_effective helix.length vertical_curve helix.build.structure clear_wanted=helix.build.clear "
        f"clear_left helix.floor {_STOPS}"
    )

    helix: Helix
    stops: Stop | None
    stock: Plan
    check: CheckAnswer

    @property
    def effective(self) -> Ratio:
        """The grade with what curves add, on the (inner) track."""
        return self.helix.effective_grade(coefficient_of(self.stock))

    @property
    def outer_effective(self) -> Ratio:
        """The grade with what curves add, on the outermost track."""
        return self.helix.effective_grade(coefficient_of(self.stock), outer=True)

    @property
    def vertical_curve(self) -> Meters:
        """Length of the vertical curves."""
        return self.helix.vertical(self.stock)

    @property
    def clear_left(self) -> Meters | None:
        """The least clear height left over a railhead, None where no turn lies over another."""
        return self.helix.clear_left(self.vertical_curve) if self.helix.stacked else None

    def to_dict(self) -> dict[str, Any]:
        """Return the helix as ``--json`` prints it, beside what `check` says of it."""
        return {"helix": document(self), "care": GUARD, **self.check.to_dict()}


@dataclass(frozen=True, slots=True)
class GradedBend:
    """A curve of an incline with its grade."""

    KEYS: ClassVar[str] = "bend.radius bend.angle bend.ease grade"

    bend: Bend
    grade: Ratio


@dataclass(frozen=True, slots=True)
class InclineAnswer(AnswerRecord):
    """An incline with what stops a better one, the plan with its stock, and what `check` says of it as a plan."""

    HEAD: ClassVar[str] = ""
    KEYS: ClassVar[str] = (
        "incline.rise incline.length incline.grade effective=incline.effective_grade greatest_effective "
        "incline.compensated curves incline.straight vertical_curve=incline.vertical car_length change_per_car "
        f"{_STOPS}"
    )

    incline: Incline
    stops: Stop | None
    stock: Plan
    check: CheckAnswer

    @property
    def greatest_effective(self) -> Ratio:
        """The greatest effective grade anywhere on it."""
        return self.check.routes[0].ruling.effective

    @property
    def curves(self) -> tuple[GradedBend, ...]:
        """Its curves, each with its grade."""
        return tuple(GradedBend(bend, self.incline.grade_in(bend)) for bend in self.incline.bends)

    @property
    def car_length(self) -> Meters:
        """The car length of the practice for changes of grade."""
        return practice_car(self.stock)

    @property
    def change_per_car(self) -> Ratio:
        """The sharpest change of grade within that length."""
        return self.incline.change_per_car(self.car_length)

    def to_dict(self) -> dict[str, Any]:
        """Return the incline as ``--json`` prints it, beside what `check` says of it."""
        return {"incline": document(self), "care": CARE, **self.check.to_dict()}
