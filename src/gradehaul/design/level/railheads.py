"""Leveling: railheads at free ends of tracks that make effective grades under trains as low as possible."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import starmap
from typing import Annotated, ClassVar

import numpy as np
from numpy.typing import NDArray

from gradehaul.design.level.as_checked import (
    ParkedGrade,
    RulingGrade,
    as_written,
    hardest_under,
    plan_at,
    ruling_grades,
    steeper_berths,
)
from gradehaul.design.level.grades import TrainGrades, runs_of
from gradehaul.design.level.hills import GAIN, ActiveSet, LeveledHeights, Leveling
from gradehaul.design.level.program import LimitRule, Program, decks_apart
from gradehaul.design.level.stations import Stations, stations_of
from gradehaul.errors import DesignError, RouteError
from gradehaul.haulage.answers.judged import TrainAnswer, judged_trains
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.train import trains_named
from gradehaul.haulage.verdict import FAILS, WORST_FIRST
from gradehaul.plan.records import Plan
from gradehaul.quantities.document import AnswerRecord
from gradehaul.quantities.si import METER, Meters, Ratio
from gradehaul.track.piecewise import FloatArray

MOST_CHANGE = 0.02
"""Change of grade from one stretch to the next, at the most, unless even heights have more there already."""

_MORE_RISK = 0.005
"""A risk that grows by no more is as before: half of a percent as it is shown."""


@dataclass(frozen=True, slots=True)
class ActiveLimit:
    """A limit that keeps a train's hardest grade from being lower: its rule, where it is active, and what it costs.

    `where` names joints, or places on lines; for the rule ``train`` it names trains. `limit` is the change of grade or
    the height, m. With the change of grade `wider`, or without that height, the hardest grade of all would be `lower`,
    leveled again and with vertical curves as in `Hardest`; None where that was not calculated.
    """

    KEYS: ClassVar[str] = "rule where *limits lower"

    rule: LimitRule
    where: tuple[str, ...]
    limit: float | None = None
    wider: float | None = None
    lower: Ratio | None = None

    @property
    def limits(self) -> Mapping[str, float | None]:
        """What binds by its key in a document: the height, or the change of grade and the wider one that was tried."""
        if self.limit is None:
            return {}
        if self.rule != "change":
            return {"limit_m": self.limit}
        return {"limit_pct": 100 * self.limit, "wider_pct": None if self.wider is None else 100 * self.wider}


@dataclass(frozen=True, slots=True)
class Hardest:
    """The hardest effective grade under a train from its locomotives alone up to all of it: the worst number of cars.

    `even` is the hardest grade with even heights, `leveled` with those found; both with the plan's vertical curves, as
    `check` has them. `cars`, `head` and `track` are where it is hardest when leveled.
    """

    KEYS: ClassVar[str] = "name=train string=even leveled cars at=head track binds"

    train: str
    even: Ratio
    leveled: Ratio
    cars: int
    head: Meters
    track: str
    binds: tuple[ActiveLimit, ...] = ()


@dataclass(frozen=True, slots=True)
class StationHeight:
    """A station on a line, m from its `from`, with its heights, m: even, as a string has it, and as leveled."""

    line: str
    at: Meters
    string: Meters
    railhead: Meters
    free: bool


@dataclass(frozen=True, slots=True)
class Compared:
    """A named train on a rail condition with even heights and with those found, risk of the random trials included."""

    KEYS: ClassVar[str] = (
        "after.name after.rail outcome_before=before.outcome after.outcome risk_before=before.risk after.risk"
    )

    before: TrainAnswer
    after: TrainAnswer

    @property
    def newly_fails(self) -> bool:
        """Whether it fails now and did not before."""
        return self.after.outcome in FAILS and self.before.outcome not in FAILS

    @property
    def rank(self) -> tuple[int, float]:
        """What orders changes, the worst first: steps of the outcome for the better, and of the risk."""
        steps = WORST_FIRST.index(self.after.outcome) - WORST_FIRST.index(self.before.outcome)
        return steps, self.before.risk - self.after.risk


@dataclass(frozen=True, slots=True, eq=False)
class Leveled(AnswerRecord):
    """The railheads found: for every line its stations, m from its `from`, and heights, m; the even heights too.

    `hardest` has every train, `rulings` every route, both as `check` has them in a copy of the plan with these heights.
    """

    KEYS: ClassVar[str] = "trains=hardest ruling=rulings berths=parked worse passes limited_by joints stations=rows"

    plan: Plan
    stations: Stations
    heights: Annotated[FloatArray, METER]
    hardest: tuple[Hardest, ...]
    rulings: tuple[RulingGrade, ...]
    parked: tuple[ParkedGrade, ...]
    """The berths that get steeper."""
    compare: Callable[[], tuple[Compared, ...]] = field(repr=False)
    """Every train on every rail condition, judged when first looked at."""
    limited_by: tuple[LimitRule, ...] = ()
    """Where no train gains: the rules without which, each by itself, the hardest grade of all would be lower; ``given``
    alone where no other is. Each was proved by leveling again without it."""

    @property
    def worse(self) -> tuple[Compared, ...]:
        """The trains that do worse than with even heights, uphill or down, each on the rail where it is worst."""
        found: dict[str, Compared] = {}
        for each in self.compare():
            name, (steps, risk) = each.after.name, each.rank
            if (steps < 0 or (steps == 0 and risk < -_MORE_RISK)) and (
                name not in found or each.rank < found[name].rank
            ):
                found[name] = each
        return tuple(found.values())

    @property
    def harder(self) -> tuple[Hardest | RulingGrade, ...]:
        """Trains, and ruling grades, that are harder than with even heights, which vertical curves can make them."""
        every: tuple[Hardest | RulingGrade, ...] = (*self.hardest, *self.rulings)
        return tuple(each for each in every if each.leveled > each.even + GAIN)

    @property
    def passes(self) -> bool:
        """Whether no train, ruling grade or berth fails that did not with even heights.

        No train and no ruling grade is harder, no train newly fails, and no berth gets steeper from which cars roll.
        """
        return not (
            self.harder or any(each.fails for each in self.parked) or any(each.newly_fails for each in self.compare())
        )

    @property
    def gains(self) -> bool:
        """Whether the hardest grade of some train falls."""
        return any(each.even - each.leveled > GAIN for each in self.hardest)

    @property
    def top(self) -> Hardest:
        """The train with the hardest grade of all."""
        return max(self.hardest, key=lambda each: each.leveled)

    @property
    def even(self) -> FloatArray:
        """The heights without leveling, m."""
        return self.stations.even

    @property
    def joints(self) -> Mapping[str, float]:
        """The railhead of every joint, m."""
        return {name: float(self.heights[k]) for name, k in self.stations.joints.items()}

    @property
    def rows(self) -> tuple[StationHeight, ...]:
        """Every station of every line, in order."""
        return tuple(
            StationHeight(line, at, float(self.even[k]), float(self.heights[k]), bool(self.stations.free[k]))
            for line, (numbers, distance) in self.stations.lines.items()
            for k, at in zip(numbers.tolist(), distance.tolist(), strict=True)
        )


def leveled(
    layout: Layout,
    *,
    trains: Sequence[str] = (),
    least: Mapping[str, float] | None = None,
    most: Mapping[str, float] | None = None,
    change: float = MOST_CHANGE,
) -> Leveled:
    """Return the railheads that make the hardest effective grade as low as possible, then the next hardest, and so on.

    How hard a stretch is for a train is the greatest, over every number of its cars from none and over every place of
    its head on the stretch, of the effective grade averaged by weight under it. That is linear in the heights where
    the head is held. The hardest of all stretches is made as low as can be; what cannot be lower is fixed; then the
    hardest of the others is made as low as can be, and so on. So no stretch gets harder than with even heights unless
    that lowers a harder one. Where no more than `GAIN` is to be had, and where no train pulls, heights stay even.

    Where even heights climb nothing falls, and where they fall nothing climbs. No train's hardest grade gets harder
    than with even heights, unless limits of joints forbid these. Track over other track stays at the clear height and
    its deck above it, or where even heights have it.

    All of this is without vertical curves: one that lies on a curve of the track can take back what was gained. The
    grades in the answer are those with vertical curves, as `check` has them. On a route with reversals each leg is
    judged, on a lap with the lap behind it. The parameters, and what is raised, are those of
    `gradehaul.Layout.level`.
    """
    plan = layout.plan
    stations = stations_of(plan)
    if not stations.free.any():
        raise DesignError(
            "every railhead is fixed: there is nothing to level",
            file=plan.file,
            write="tracks without rise, grade or railhead between joints whose height is given",
        )
    runs = runs_of(layout, stations, trains_named(plan, trains))
    if not runs:
        raise RouteError(
            "no train is named, or every train is longer than its route",
            file=plan.file,
            write="[train.NAME] with a consist, and a route over the hill",
        )
    # what no train runs over is kept even too
    orders = [(run.order, run.places) for run in runs] + [*stations.lines.values()]
    apart = list(decks_apart(layout, stations))
    grades = TrainGrades(runs, stations.even.size)
    trains_of, hills = _spots(stations, grades)
    even_hard, _ = grades.worst(stations.even)

    def leveling(
        change: float, least: Mapping[str, float], most: Mapping[str, float], tied: Stations = stations
    ) -> Leveling:
        program = Program(tied, change, orders, apart)
        program.bound(plan, least, most)
        own = np.full(hills.size, np.inf)
        if not (least or most):
            for name in np.unique(trains_of):
                own[trains_of == name] = even_hard[trains_of == name].max()
        return Leveling(grades, program, stations.even, hills, own)

    least, most = least or {}, most or {}
    chosen = leveling(change, least, most)
    if (least or most) and not chosen.program.free().any():
        raise DesignError(
            "the limits of joints fix every railhead: nothing is left to find",
            file=plan.file,
            place=" and ".join(option for option, own in (("--at-least", least), ("--at-most", most)) if own),
            write="limits that leave a joint free to move",
        )
    found = chosen.hill_by_hill()
    if found is None:
        raise DesignError(
            "no heights satisfy all limits",
            file=plan.file,
            write="a larger change of grade, or wider limits of joints",
        )

    def hardest_with(
        change: float, least: Mapping[str, float], most: Mapping[str, float], tied: Stations = stations
    ) -> float | None:
        """Return the hardest grade of all with other limits; None where no heights keep them."""
        other = leveling(change, least, most, tied).hill_by_hill()
        return None if other is None else max(hardest_under(_as_checked(stations, other)[0], n).grade for n in binds)

    after, heights = _as_checked(stations, found)
    binds = _binds(grades, trains_of, found, chosen)
    top = max(binds, key=lambda name: binds[name][0])
    hardest = [
        Hardest(
            name, hardest_under(layout, name).grade, *hardest_under(after, name),
            binds=tuple(_with_cost(each, hardest_with, change, least, most) for each in own) if name == top else own,
        )
        for name, (_, own) in binds.items()
    ]  # fmt: skip
    compare = cache(lambda: tuple(starmap(Compared, zip(judged_trains(layout), judged_trains(after), strict=True))))
    answer = Leveled(
        plan, stations, heights, tuple(hardest), ruling_grades(layout, after), steeper_berths(layout, after), compare
    )
    if answer.gains:
        return answer
    without: dict[LimitRule, Callable[[], float | None]] = {
        "change": lambda: hardest_with(math.inf, least, most),
        "at least": lambda: hardest_with(change, {}, most),
        "at most": lambda: hardest_with(change, least, {}),
        "rise": lambda: hardest_with(change, least, most, replace(stations, ties=())),
    }
    bar = answer.top.leveled - GAIN
    active = [each.rule for each in answer.top.binds]
    lower = {rule: solve() for rule, solve in without.items() if rule in active}
    limiting = tuple(rule for rule, grade in lower.items() if grade is not None and grade < bar)
    return replace(answer, limited_by=limiting or ("given",))


def _with_cost(
    active: ActiveLimit,
    hardest_with: Callable[[float, Mapping[str, float], Mapping[str, float]], float | None],
    change: float,
    least: Mapping[str, float],
    most: Mapping[str, float],
) -> ActiveLimit:
    """Return an active limit with how low the hardest grade of all would be without it, or with twice the change."""
    wider = None
    if active.rule == "change" and active.limit is not None:
        change = wider = math.ceil(200 * active.limit - 1e-6) / 100  # a figure that a person would try
    elif active.rule == "at least":
        least = {name: bound for name, bound in least.items() if name not in active.where}
    elif active.rule == "at most":
        most = {name: bound for name, bound in most.items() if name not in active.where}
    else:
        return active
    return replace(active, wider=wider, lower=hardest_with(change, least, most))


def _as_checked(stations: Stations, found: LeveledHeights) -> tuple[Layout, FloatArray]:
    """Return the layout with the heights found, and these to the digits with which a copy of the plan has them, m."""
    even = stations.even
    heights = np.where(found.heights == even, even, as_written(found.heights, stations.plan.unit))
    return Layout(plan_at(stations.plan, stations, heights)), heights


def _spots(stations: Stations, grades: TrainGrades) -> tuple[NDArray[np.str_], NDArray[np.intp]]:
    """Return the train and the hill of each spot, shape (spots,)."""
    trains = np.empty(grades.spots.size, dtype=object)
    hills = np.zeros(grades.spots.size, dtype=np.intp)
    label = stations.hills
    for run in grades.runs:
        here = np.isin(run.spots, grades.spots)
        one, two = run.order[:-1][here], run.order[1:][here]
        number = np.searchsorted(grades.spots, run.spots[here])
        trains[number], hills[number] = run.name, label[np.where(stations.free[one], one, two)]
    return trains.astype(str), hills


def _binds(
    grades: TrainGrades, trains: NDArray[np.str_], found: LeveledHeights, leveling: Leveling
) -> dict[str, tuple[float, tuple[ActiveLimit, ...]]]:
    """Return for each train its hardest grade without vertical curves, and what keeps that from being lower."""
    hard, _ = grades.worst(found.heights)
    result = {}
    for name in dict.fromkeys(run.name for run in grades.runs):
        own = np.flatnonzero(trains == name)
        spot = int(own[np.argmax(hard[own])])
        active = _active_limits(found.why[spot], trains, leveling.program) if spot in found.why else ()
        result[name] = float(hard[spot]), active
    return result


def _active_limits(why: ActiveSet, trains: NDArray[np.str_], program: Program) -> tuple[ActiveLimit, ...]:
    """Return the active limits by rule, those with a figure of their own first."""
    names, stations = program.stations.names, program.stations
    where: dict[tuple[LimitRule, float | None], list[str]] = {}
    rule: LimitRule
    for limit in (program.limits[k] for k in why.limits.tolist()):
        figure = round(limit.high, 6) if limit.rule == "change" else None
        where.setdefault((limit.rule, figure), []).append(names[limit.station])
    for rule, numbers, bounds in (("at least", why.floors, program.low), ("at most", why.ceilings, program.high)):
        for number in numbers.tolist():
            free = stations.free[number]
            where.setdefault((rule, float(bounds[number])) if free else ("given", None), []).append(names[number])
    if why.spots.size:
        where["train", None] = trains[why.spots].tolist()
    order: tuple[LimitRule, ...] = ("change", "at least", "at most", "train", "apart", "rise", "direction", "given")
    found = [ActiveLimit(rule, tuple(dict.fromkeys(names)), figure) for (rule, figure), names in where.items()]
    return tuple(sorted(found, key=lambda each: order.index(each.rule)))
