"""Designs found backward: the hardest that a train climbs, what stops the next harder, and cures of low headroom."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Literal, NamedTuple

from gradehaul.design.climb.given import HelixGiven, helix_of, turns_of
from gradehaul.design.climb.helix import HEADROOM_TIE, Helix, HelixBuild, radius_in, turn_length
from gradehaul.design.climb.hill import DOWN, Direction, Hill, judged_rails, steps_of
from gradehaul.design.climb.incline import FallingError, Incline, InclineGiven, incline_of, refuse_curves
from gradehaul.errors import DesignError, RouteError, quoted
from gradehaul.haulage.answers.unusual import STEEP
from gradehaul.haulage.verdict import Need, rank
from gradehaul.plan.names import look_up
from gradehaul.plan.records import Plan
from gradehaul.quantities import describe
from gradehaul.quantities.si import Meters, Share

_HAIR = 1e-6
"""What is so little under a whole number of steps, in steps, is whole."""
_THINNEST = 0.003
"""A deck thinner than this, m, carries nothing (common practice: the thinnest hardboard)."""
_WIDEST = 2.0
"""Radii are tried up to so many times that of the helix."""


@dataclass(frozen=True, slots=True)
class Headroom:
    """The headroom of a helix, and each single change that would mend it; None where enough is left or none would."""

    outcome: Literal["pass", "fail"]
    """Whether stock on each turn clears the deck above it."""
    short_by: Meters = 0.0
    """How much is short where it is least; 0 where it is enough."""
    least_rise_per_turn: Meters | None = None
    """The least rise per turn that would do with this radius."""
    least_radius: Meters | None = None
    """The least radius that would do with this rise per turn."""
    most_turns: Share | None = None
    """The most turns that would do with this radius and the same rise."""
    thickest_deck: Meters | None = None
    """The thickest deck that would do with all else the same."""


def clears(helix: Helix, stock: Plan) -> bool:
    """Return whether stock on each turn clears the deck above it."""
    return not helix.short_by(helix.vertical(stock))


def headroom_of(helix: Helix, stock: Plan) -> Headroom:
    """Return the headroom of a helix, and what would mend it where it is short."""
    short = helix.short_by(helix.vertical(stock))
    if not short:
        return Headroom("pass")
    build, steps = helix.build, steps_of(stock.unit)
    rise_per_turn = least_rise_per_turn(helix.radius, helix.build, stock)
    turns = None if rise_per_turn is None else turns_of(helix.radius, rise_per_turn, helix.rise, build)
    if turns is not None:
        parts = 2 if build.straight else 100
        turns = math.floor(parts * turns + _HAIR) / parts
        fewer = Helix(helix.radius, turns, helix.rise, build)
        turns = turns if fewer.stacked and clears(fewer, stock) else None
    deck = math.floor((build.deck - short + HEADROOM_TIE) / steps.rise + _HAIR) * steps.rise
    return Headroom(
        "fail", short, rise_per_turn, _least_radius(helix, stock), turns, deck if deck >= _THINNEST else None
    )


def least_rise_per_turn(radius: float, build: HelixBuild, stock: Plan) -> float | None:
    """Return the least rise per turn, m, in whole steps, that leaves the clear height, up to thrice what it takes."""
    step = steps_of(stock.unit).rise
    enough = max(1, round((build.clear + build.structure) / step))
    rises = (count * step for count in range(enough, 3 * enough))
    return next((rise for rise in rises if clears(_stack(radius, rise, build), stock)), None)


def _least_radius(helix: Helix, stock: Plan) -> float | None:
    """Return the least radius, m, in whole steps, that leaves the clear height at a helix's rise per turn."""
    step = steps_of(stock.unit).length
    counts = range(math.floor(helix.radius / step) + 1, math.ceil(_WIDEST * helix.radius / step) + 1)
    found = bisect_left(
        counts, True, key=lambda count: clears(_stack(count * step, helix.rise_per_turn, helix.build), stock)
    )
    return counts[found] * step if found < len(counts) else None


def _stack(radius: float, rise_per_turn: float, build: HelixBuild) -> Helix:
    """Return two turns of a climb as even as that of many."""
    flat = Helix(radius, 2.0, 1.0, build)
    return Helix(radius, 2.0, rise_per_turn * flat.length / turn_length(build, radius), build)


GRADE_STEP = 1e-5
"""Grades are tried in thousandths of a percent."""

_LEAST_RADIUS, _MOST_RADIUS = 5, 400
"""Radii are tried between these, in gauges."""
_LONGEST = 1_000.0
"""Lengths are tried up to so much beyond the curves, m."""
_MOST_TURNS = 100
"""Grades are tried down to that of a helix of so many turns."""
_LOOKS = 24


@dataclass(frozen=True, slots=True)
class Stop:
    """Why a design does not work, as the error that says so; `rail` where a train does not get over it.

    Reasons: ``train``, ``head room``, ``curve`` (no such helix), ``room`` (no such incline), and ``limit`` where a
    search ends. A `gentler` design fails for it all the more.
    """

    reason: Literal["head room", "train", "curve", "room", "limit"]
    error: DesignError
    rail: str | None = None
    gentler: bool = False

    @property
    def words(self) -> str:
        """What is wrong with it."""
        return self.error.wrong


class TrainTest(NamedTuple):
    """What a design must pass: trains of the stock, the rail conditions, the verdict they need on all, their ways."""

    stock: Plan
    trains: tuple[str, ...]
    rails: tuple[str, ...]
    need: Need
    directions: Mapping[str, Direction]

    def stop(self, hill: Hill, cure: str) -> Stop | None:
        """Return the worst that becomes of a train on a hill where that is not enough."""
        enough = ("climbs",) if self.need == "climbs" else ("climbs", "marginal")
        tried = [
            (name, run, rail, hill.layout.verdict(run, rail=rail))
            for name in self.trains
            for run in hill.runs[name]
            for rail in self.rails
        ]
        stuck = [each for each in tried if each[-1].outcome not in enough]
        if not stuck:
            return None
        name, run, rail, verdict = min(stuck, key=lambda each: rank(each[-1]))
        going = ", going down," if hill.plan.trains[run].route == DOWN else ""
        outcome = "is marginal" if verdict.outcome == "marginal" else verdict.outcome
        words = f"train {quoted(name)}{going} {outcome} on {rail} rail"
        return Stop("train", DesignError(words, write=cure), rail)


def train_test(
    stock: Plan, trains: Sequence[str], rail: str | None, need: Need, directions: Mapping[str, Direction]
) -> TrainTest:
    """Return the test of trains, the only one where none is named, on a rail, the first film's ages where none is."""
    if not trains and len(stock.trains) == 1:
        trains = tuple(stock.trains)
    if not trains:
        write = " or ".join(f"--train {quoted(name)}" for name in stock.trains)
        raise RouteError("no train is named", place="--train", write=write or "[train.NAME] in the file after --plan")
    for train in trains:
        look_up(train, stock.trains, "train", file=stock.file, place="--train")
    return TrainTest(stock, tuple(trains), judged_rails(stock, rail), need, directions)


def hardest(
    tried: Callable[[int], Stop | None], last: int, end: str, none: str, looks: Sequence[int] = ()
) -> tuple[int, Stop]:
    """Return the hardest step that works, and what stops the one before it.

    Steps count from 0, the hardest, to `last`, the gentlest; `tried` returns what stops one. Looks, rising, evenly
    apart where left out, find the first that is not too hard, and halving the gap before it does the rest. Where a
    gentler step may be too hard again, as for a train over a sawtooth, a narrow window between two looks can be missed;
    what is returned still works, and the step before it does not. `end` is said where step 0 works, `none` where a
    train climbs nothing.

    Raises
    ------
    DesignError
        No step works; the message has why.
    """
    stop_at = cache(tried)

    def too_hard(step: int) -> bool:
        stop = stop_at(step)
        return stop is not None and not stop.gentler

    failing, passing = -1, last
    for look in looks or range(0, last, max(1, -(-last // _LOOKS))):
        if look >= last:
            break
        if not too_hard(look):
            passing = look
            break
        failing = look
    while passing - failing > 1:
        middle = (passing + failing) // 2
        passing, failing = (passing, middle) if too_hard(middle) else (middle, failing)
    stop, before = stop_at(passing), stop_at(passing - 1) if passing else None
    if stop is None:
        return passing, before or Stop("limit", DesignError(end))
    if stop.rail is not None:
        raise DesignError(f"{none}: {stop.words}", write=stop.error.write)
    if before is not None and stop.gentler:
        raise DesignError(f"nothing works: {before.words}; one step gentler, {stop.words}", write=stop.error.write)
    raise stop.error


def search_helix(
    find: Literal["radius", "grade"], given: HelixGiven, build: HelixBuild, test: TrainTest
) -> tuple[Helix, Stop]:
    """Return the helix of the smallest radius or the steepest grade on which a train still climbs, and what stops more.

    Radii come in whole steps of the plan's unit, grades in thousandths of a percent. Where no radius has the headroom,
    the radius is that for the train alone.
    """
    stock, unit = test.stock, test.stock.unit
    if find == "radius":
        if given.radius is not None or given.floor is not None:
            raise DesignError("the radius is what --find finds", write="without --radius and --floor")
        gauge, one = stock.scale.gauge, steps_of(unit).length
        low, high = (round(gauges * gauge / one) for gauges in (_LEAST_RADIUS, _MOST_RADIUS))
        least, most = (describe(each * one, "length", unit) for each in (low, high))
        end, none = f"no radius under {least} is tried", f"no radius up to {most} works"
        last = high - low
    else:
        if given.grade is not None or given.rise_per_turn is not None:
            raise DesignError("the grade is what --find finds", write="without --grade and --rise-per-turn")
        beyond = round(STEEP / GRADE_STEP) + 1  # the first grade that is refused
        last, end = beyond - 1, ""

    def at(step: int) -> HelixGiven:
        if find == "radius":
            return replace(given, radius=(low + step) * one)
        return replace(given, grade=(beyond - step) / round(1 / GRADE_STEP))

    if find == "grade":
        last = max(0, bisect_left(range(last + 1), True, key=lambda step: _too_high(at(step), build, unit)) - 1)
        none = f"no grade down to {describe(at(last).grade or 0.0, 'grade', '%')} works"

    def tried(step: int, *, alone: bool = False) -> Stop | None:
        """Return what stops a helix: its geometry, its train and, unless that is left out, its headroom."""
        try:
            helix = helix_of(at(step), build, unit)
        except DesignError as error:
            return Stop("curve", error)
        stop = test.stop(helix.hill(stock, test.directions), "less rise in a turn, fewer cars, or --rail clean")
        if stop is None and not alone and not clears(helix, stock):
            cure = "a higher rise per turn, a thinner deck, or a shorter train"
            # a larger radius leaves more headroom, a gentler grade less
            return Stop(
                "head room",
                DesignError("the deck above leaves too little headroom for the stock", write=cure),
                gentler=find == "grade",
            )
        return stop

    gentlest = tried(last) if find == "radius" else None
    low_anyhow = gentlest is not None and gentlest.reason == "head room"
    step, stop = hardest(partial(tried, alone=low_anyhow), last, end, none)
    return helix_of(at(step), build, unit), stop


def _too_high(given: HelixGiven, build: HelixBuild, unit: str) -> bool:
    """Return whether a helix has more turns than are tried."""
    try:
        return helix_of(given, build, unit).turns > _MOST_TURNS
    except DesignError:
        return False


def roomiest(given: HelixGiven, build: HelixBuild, stock: Plan) -> Helix:
    """Return the helix that takes the most cars up in a floor: the largest radius, and the least rise per turn.

    A larger radius and a lower rise per turn both lower the effective grade everywhere.
    """
    open_ones = (given.radius, given.rise_per_turn, given.grade)
    if (
        given.floor is None
        or any(each is not None for each in open_ones)
        or (given.rise is None) == (given.turns is None)
    ):
        raise DesignError("the most cars are found for a floor space", write="--floor, and --rise or --turns, alone")
    radius = radius_in(given.floor, build)
    lowest = least_rise_per_turn(radius, build, stock)
    if lowest is None:
        raise DesignError("no rise per turn leaves the headroom", write="a larger floor or a shorter --vertical-curve")
    turns = given.turns
    if given.rise is not None:
        turns = turns_of(radius, lowest, given.rise, build)
        if build.straight:  # whole half turns, as many as the headroom allows
            turns = math.floor(2 * turns + 1e-9) / 2
    if turns is not None and turns < 1:
        raise DesignError("not even one turn lies over another", write="more rise or turns, or no --find cars")
    fixed = replace(given, rise_per_turn=lowest) if given.rise is None else replace(given, turns=turns)
    return helix_of(fixed, build, stock.unit)


def search_incline(find: Literal["length", "rise"], given: InclineGiven, test: TrainTest) -> tuple[Incline, Stop]:
    """Return the incline of the shortest length, or of the highest rise, that a train gets up, and what stops more."""
    stock, unit = test.stock, test.stock.unit
    fixed = "rise" if find == "length" else "length"
    if getattr(given, fixed) is None or getattr(given, find) is not None or given.grade is not None:
        write = f"--{fixed}, without --{find} and --grade"
        raise DesignError(f"the {find} is what --find finds", write=write)
    refuse_curves(given, unit)
    looks: Sequence[int] = ()
    if find == "length":
        one = steps_of(unit).length
        low = max(1, math.floor(sum(bend.length for bend in given.bends) / one))  # has no room for its curves
        last = round(_LONGEST / one)
        none = f"no length up to {describe((low + last) * one, 'length', unit)} works"
        # each look is twice as far beyond the curves as the one before
        looks = [0, *(64 << k for k in range(last.bit_length()))]
    else:
        one = steps_of(unit).rise
        beyond = math.ceil(STEEP * (given.length or 0.0) / one) + 1  # so steep a rise is refused
        if beyond < 3:
            raise DesignError("the length is too short for any rise", place="--length", write="a longer length")
        none = f"no rise down to {describe(one, 'length', unit)} works"
        last = beyond - 1
    cure = f"fewer cars or {'less rise' if find == 'length' else 'more length'}"

    def at(step: int) -> InclineGiven:
        if find == "length":
            return replace(given, length=(low + step) * one)
        return replace(given, rise=(beyond - step) * one)

    def tried(step: int) -> Stop | None:
        """Return what stops an incline: room for its curves, then its train; or that a curve on it would go down."""
        try:
            incline = incline_of(at(step), stock)
        except DesignError as error:
            return Stop("room", error, gentler=isinstance(error, FallingError))
        return test.stop(incline.hill(stock, test.directions), cure)

    step, stop = hardest(tried, last, "", none, looks)
    return incline_of(at(step), stock), stop
