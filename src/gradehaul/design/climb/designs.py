"""A designed climb as an answer: the design, what stops a better one, and what the exact engine says of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Literal

from gradehaul.design.climb.given import HelixGiven, helix_of
from gradehaul.design.climb.headroom import Headroom, headroom_of
from gradehaul.design.climb.helix import GUARD, Helix, HelixBuild, usual_helix_build
from gradehaul.design.climb.hill import Direction, Hill, car_length, coefficient_of, directions_of
from gradehaul.design.climb.incline import CARE, Bend, Incline, InclineGiven, incline_of
from gradehaul.design.climb.search import Stop, roomiest, search_helix, search_incline, train_test
from gradehaul.errors import DesignError
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.verdict import Need
from gradehaul.plan.names import look_up
from gradehaul.plan.records import Plan
from gradehaul.quantities import describe
from gradehaul.quantities.document import AnswerRecord, document
from gradehaul.quantities.si import Meters, Ratio

HelixSearch = Literal["radius", "grade", "cars"]
"""What of a helix is looked for backward."""

_STOPS = "stops=stops.reason stops_on=stops.rail stops_why=stops.words"
_THICKEST = 50
"""Decks, roadbeds and clear heights are at most this many gauges."""


@dataclass(frozen=True, slots=True)
class ClimbAnswer(AnswerRecord):
    """A climb's stock, the climb as a plan, and what stops the next harder one; None where nothing was looked for."""

    HEAD: ClassVar[str] = ""
    KIND: ClassVar[str]
    CARE: ClassVar[str]

    stock: Plan
    hill: Hill
    stops: Stop | None

    @property
    def check(self) -> CheckAnswer:
        """What `check` says of it as a plan."""
        return self.hill.check

    @property
    def passes(self) -> bool:
        """Whether every named train passes `check`."""
        return self.check.passes

    def to_dict(self) -> dict[str, Any]:
        """Return the climb as ``--json`` prints it, beside what `check` says of it."""
        return {self.KIND: document(self), "care": self.CARE, **self.check.to_dict(), "passes": self.passes}


@dataclass(frozen=True, slots=True)
class HelixAnswer(ClimbAnswer):
    """A helix as an answer."""

    KIND, CARE = "helix", GUARD
    KEYS: ClassVar[str] = (
        "helix.radius helix.outer_radius helix.turns helix.rise helix.rise_per_turn helix.grade helix.outer_grade "
        "effective outer_effective helix.length vertical_curve helix.build.structure clear_wanted=helix.build.clear "
        f"clear_left headroom helix.floor {_STOPS}"
    )

    helix: Helix

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

    @property
    def headroom(self) -> Headroom:
        """Whether stock clears the deck of the turn above, and what would mend it where it does not."""
        return headroom_of(self.helix, self.stock)

    @property
    def passes(self) -> bool:
        """Whether stock clears every deck above it, and every named train passes `check`."""
        return self.check.passes and self.headroom.outcome == "pass"


@dataclass(frozen=True, slots=True)
class GradedBend:
    """A curve of an incline with its grade."""

    KEYS: ClassVar[str] = "bend.radius bend.angle bend.ease grade"

    bend: Bend
    grade: Ratio


@dataclass(frozen=True, slots=True)
class InclineAnswer(ClimbAnswer):
    """An incline as an answer."""

    KIND, CARE = "incline", CARE
    KEYS: ClassVar[str] = (
        "incline.rise incline.length incline.grade effective=incline.effective_grade greatest_effective "
        "incline.compensated curves incline.straight vertical_curve=incline.vertical car_length change_per_car "
        f"{_STOPS}"
    )

    incline: Incline

    @property
    def greatest_effective(self) -> Ratio:
        """The greatest effective grade anywhere on it."""
        return self.hill.check.routes[0].ruling.effective

    @property
    def curves(self) -> tuple[GradedBend, ...]:
        """Its curves, each with its grade."""
        return tuple(GradedBend(bend, self.incline.grade_in(bend)) for bend in self.incline.bends)

    @property
    def car_length(self) -> Meters:
        """The car length of the practice for changes of grade."""
        return car_length(self.stock)

    @property
    def change_per_car(self) -> Ratio:
        """The sharpest change of grade within that length."""
        return self.incline.change_per_car(self.car_length)


def build_for(stock: Plan, *, tracks: int = 1, **given: float | None) -> HelixBuild:
    """Return how a helix is built: what is usual for the stock's scale and practice, but for what is given.

    Lengths are those of `HelixBuild`, m; None for what is usual. The distance of two tracks counts where there are two.

    Raises
    ------
    DesignError
        Lengths that make no sense.
    """
    build = replace(usual_helix_build(stock), two=tracks == 2)
    for name in ("deck", "roadbed", "clear"):
        value = given.get(name)
        if value is not None and value > _THICKEST * stock.scale.gauge:
            most, found = (describe(each, "length", stock.unit) for each in (_THICKEST * stock.scale.gauge, value))
            raise DesignError(f"{name} must be at most {most}", place=f"--{name}", found=found)
    stated: Mapping[str, Any] = {name: value for name, value in given.items() if value is not None}
    return replace(build, **stated)


def design_helix(
    given: HelixGiven,
    build: HelixBuild,
    stock: Plan,
    *,
    find: HelixSearch | None = None,
    train: str | None = None,
    rail: str | None = None,
    need: Need = "climbs",
    direction: Direction | None = None,
) -> HelixAnswer:
    """Return the helix that is fixed, or looked for; one that lacks headroom is judged like any other.

    Where no rail is named the train must climb on the stock's first film, at both ages; where no direction is given
    each train runs as in its own plan. A fixed one, and that of the most cars,
    is judged by the train that is named, else by all. What is raised is
    that of `gradehaul.helix`.
    """
    if find not in ("radius", "grade"):
        stock = _judged_by(stock, train)
    directions = directions_of(stock, direction)
    stop: Stop | None = None
    if find is None:
        helix = helix_of(given, build, stock.unit)
    elif find == "cars":
        helix = roomiest(given, build, stock)
    else:
        helix, stop = search_helix(find, given, build, train_test(stock, train, rail, need, directions))
    return HelixAnswer(stock, helix.hill(stock, directions), stop, helix)


def design_incline(
    given: InclineGiven,
    stock: Plan,
    *,
    find: Literal["length", "rise"] | None = None,
    train: str | None = None,
    rail: str | None = None,
    need: Need = "climbs",
    direction: Direction | None = None,
) -> InclineAnswer:
    """Return the incline that is fixed, or looked for; the rest as in `design_helix`."""
    if find is None:
        stock = _judged_by(stock, train)
    directions = directions_of(stock, direction)
    stop: Stop | None = None
    if find is None:
        incline = incline_of(given, stock)
    else:
        incline, stop = search_incline(find, given, train_test(stock, train, rail, need, directions))
    return InclineAnswer(stock, incline.hill(stock, directions), stop, incline)


def _judged_by(stock: Plan, train: str | None) -> Plan:
    """Return the stock with the train that is named, or with all."""
    if train is None:
        return stock
    look_up(train, stock.trains, "train", file=stock.file, place="--train")
    return replace(stock, trains={train: stock.trains[train]})
