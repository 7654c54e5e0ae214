"""A designed climb as an answer: the design, what stops a better one, what the exact engine says, and its risers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Literal

import numpy as np

from gradehaul.design.climb.given import HelixGiven, helix_of
from gradehaul.design.climb.helix import GUARD, Helix, HelixBuild, turn_length, usual_helix_build
from gradehaul.design.climb.hill import UP, Direction, Hill, car_length, coefficient_of, directions_of
from gradehaul.design.climb.incline import CARE, Bend, Incline, InclineGiven, incline_of
from gradehaul.design.climb.search import (
    Headroom,
    Stop,
    headroom_of,
    roomiest,
    search_helix,
    search_incline,
    train_test,
)
from gradehaul.design.risers.risers import Riser, Risers, risers_along, risers_at, usual_riser_build
from gradehaul.design.risers.walk import walk_along
from gradehaul.errors import DesignError
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.verdict import Need
from gradehaul.plan.names import look_up
from gradehaul.plan.records import Plan
from gradehaul.quantities import INCH, System, describe
from gradehaul.quantities.document import AnswerRecord, document
from gradehaul.quantities.si import Meters, Radians, Ratio

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
    train: str | Sequence[str] | None = None,
    rail: str | None = None,
    need: Need = "climbs",
    direction: Direction | None = None,
) -> HelixAnswer:
    """Return the helix that is fixed, or looked for; one that lacks headroom is judged like any other.

    Where no rail is named the train must climb on the stock's first film, at both ages; where no direction is given
    each train runs as in its own plan. A fixed one, and that of the most cars,
    is judged by the trains that are named, else by all. What is raised is that of `gradehaul.helix`.
    """
    trains = _names(train)
    if find not in ("radius", "grade"):
        stock = _judged_by(stock, trains)
    directions = directions_of(stock, direction)
    stop: Stop | None = None
    if find is None:
        helix = helix_of(given, build, stock.unit)
    elif find == "cars":
        helix = roomiest(given, build, stock)
    else:
        helix, stop = search_helix(find, given, build, train_test(stock, trains, rail, need, directions))
    return HelixAnswer(stock, helix.hill(stock, directions), stop, helix)


def design_incline(
    given: InclineGiven,
    stock: Plan,
    *,
    find: Literal["length", "rise"] | None = None,
    train: str | Sequence[str] | None = None,
    rail: str | None = None,
    need: Need = "climbs",
    direction: Direction | None = None,
) -> InclineAnswer:
    """Return the incline that is fixed, or looked for; the rest as in `design_helix`."""
    trains = _names(train)
    if find is None:
        stock = _judged_by(stock, trains)
    directions = directions_of(stock, direction)
    stop: Stop | None = None
    if find is None:
        incline = incline_of(given, stock)
    else:
        incline, stop = search_incline(find, given, train_test(stock, trains, rail, need, directions))
    return InclineAnswer(stock, incline.hill(stock, directions), stop, incline)


def _names(train: str | Sequence[str] | None) -> tuple[str, ...]:
    return (train,) if isinstance(train, str) else tuple(train or ())


def _judged_by(stock: Plan, trains: Sequence[str]) -> Plan:
    """Return the stock with the trains that are named, or with all."""
    if not trains:
        return stock
    return replace(
        stock,
        trains={name: look_up(name, stock.trains, "train", file=stock.file, place="--train") for name in trains},
    )


SPOKES = 8
"""Risers in a turn where nothing is said (common practice)."""
_MOST_SPOKES = 36
EVERY = {"metric": 0.4, "imperial": 16 * INCH}
"""From riser to riser of an incline where nothing is said, m (common practice: as joists stand)."""


@dataclass(frozen=True, slots=True)
class Spoke:
    """Where risers of a helix stand over one another: its number, a riser for each turn, and its angle, rad.

    Where there are straight sides, the angle is the share of a turn's length that lies before it.
    """

    number: int
    angle: Radians
    risers: tuple[Riser, ...]
    """From the lowest turn up; those of the outer track where there are two."""


@dataclass(frozen=True, slots=True, eq=False)
class HelixBench:
    """A helix as it is built: the risers of its (outer) track, and by spokes."""

    helix: Helix
    found: Risers
    spokes: tuple[Spoke, ...]

    @property
    def width(self) -> Meters:
        """Width of the deck, m."""
        return float(self.helix.build.apart(self.helix.radius)) + 2 * self.helix.build.edge

    @property
    def opening(self) -> tuple[Meters, Meters]:
        """Length and width of the opening inside the deck, m."""
        width, build = 2 * (self.helix.radius - self.helix.build.edge), self.helix.build
        return (width + build.straight + build.ease if build.straight else width), width


def helix_bench(
    helix: Helix, stock: Plan, hill: Hill, system: System, datum: float | None, spokes: int = SPOKES
) -> HelixBench:
    """Return a helix by spokes, the first where its curve begins, evenly so many in each turn.

    The railheads are those that `check` has of the hill; `datum` is the foot's height over what risers stand on, m.
    """
    if not 3 <= spokes <= _MOST_SPOKES:
        raise DesignError(f"a turn has 3 to {_MOST_SPOKES} risers", place="--risers", found=str(spokes))
    walk, own = walk_along(hill.layout, route=UP), helix.build
    build = usual_riser_build(stock, system, deck=own.deck, roadbed=own.roadbed, track=own.track, datum=datum)
    every = turn_length(helix.build, helix.outer_radius) / spokes
    begin = helix.vertical(stock) + (0.0 if helix.build.straight else 0.5 * helix.build.ease)
    places = np.arange(begin, begin + helix.length_at(helix.outer_radius) + 1e-6, every)
    risers = risers_at(walk, build, [(at, "spacing") for at in places.tolist()])
    found = Risers(walk, build, every, begin, risers)
    by_spoke: Sequence[tuple[Riser, ...]] = [risers[number::spokes] for number in range(spokes)]
    return HelixBench(
        helix,
        found,
        tuple(Spoke(number + 1, 2 * math.pi * number / spokes, own) for number, own in enumerate(by_spoke) if own),
    )


def incline_bench(hill: Hill, every: float | None, system: System, datum: float | None) -> Risers:
    """Return the risers of an incline, on the deck of its plan; as joists stand where `every` is None."""
    build = usual_riser_build(hill.plan, system, datum=datum)
    return risers_along(walk_along(hill.layout, route=UP), build, every=EVERY[system] if every is None else every)
