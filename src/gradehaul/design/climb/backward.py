"""Designs found backward: the hardest helix or incline that a train still climbs, and what stops the next harder."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Generic, Literal, TypeVar

from gradehaul.design.climb.helix import Build, Helix, clears, lowest_rise_per_turn, radius_in
from gradehaul.design.climb.helix_known import HelixGiven, helix_of, settled_turns
from gradehaul.design.climb.hill import Hill, Need, known_train
from gradehaul.design.climb.incline import FallingError, Incline, InclineGiven, incline_of, refuse_nothing
from gradehaul.design.climb.steps import steps_of
from gradehaul.errors import DesignError
from gradehaul.haulage.answers.unusual import STEEP
from gradehaul.plan.names import quoted
from gradehaul.plan.records import Plan
from gradehaul.quantities import describe

GRADE_STEP = 1e-5
"""Grades are tried in thousandths of a per cent."""

_LEAST_RADIUS, _MOST_RADIUS = 5, 400
"""Radii are tried between these, in gauges."""
_LONGEST = 1_000.0
"""Lengths are tried up to so much beyond the curves, m."""
_LOOKS = 24

Design = TypeVar("Design", Helix, Incline)


@dataclass(frozen=True, slots=True)
class Stop:
    """Why a design does not work, as the error that says so; `rail` where a train does not climb.

    Reasons: ``train``, ``head room``, ``curve`` (no such helix), ``room`` (no such incline), ``floor``, and ``limit``
    where a search ends. A `gentler` design fails for it all the more.
    """

    reason: Literal["head room", "train", "curve", "room", "floor", "limit"]
    error: DesignError
    rail: str | None = None
    gentler: bool = False

    @property
    def words(self) -> str:
        """What is wrong with it."""
        return self.error.wrong


@dataclass(frozen=True, slots=True)
class Found(Generic[Design]):
    """A design, and what stops the next harder one; None where nothing was searched for."""

    design: Design
    stops: Stop | None = None


def hardest(
    tried: Callable[[int], Stop | None], looks: Iterable[int], last: int, end: str, none: str
) -> tuple[int, Stop]:
    """Return the hardest step that works, and what stops the one before it.

    Steps count from 0, the hardest, to `last`, the gentlest. Looks find the first that is not too hard, and halving the
    gap before it does the rest. Where a gentler step may be too hard again, as for a train over a sawtooth, a narrow
    window between two looks can be missed; what is returned still works, and the step before it does not.

    Parameters
    ----------
    tried
        What stops a step, None where it works.
    looks
        Steps to look at, rising.
    last
        The gentlest step.
    end, none
        What to say where step 0 works, so that no harder one is tried, and where a train climbs nothing.

    Raises
    ------
    DesignError
        No step works; the message has why.

    Examples
    --------
    >>> tight = Stop("curve", DesignError("too tight"))
    >>> step, stop = hardest(lambda k: None if k >= 437 else tight, range(0, 999, 50), 999, "", "")
    >>> step, stop.words
    (437, 'too tight')
    """
    stop_at = cache(tried)

    def too_hard(step: int) -> bool:
        stop = stop_at(step)
        return stop is not None and not stop.gentler

    failing, passing = -1, last
    for look in looks:
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


def _evenly(last: int) -> Iterable[int]:
    return range(0, last, max(1, -(-last // _LOOKS)))


def _train_stop(hill: Hill, train: str, rails: Sequence[str], need: Need, cure: str) -> Stop | None:
    """Return the worst that becomes of a train on a hill where that is not enough."""
    rail = hill.stuck_on(train, rails, need)
    if rail is None:
        return None
    outcome = "stalls" if hill.layout.verdict(train, rail=rail).outcome == "stalls" else "is marginal"
    return Stop("train", DesignError(f"train {quoted(train)} {outcome} on {rail} rail", write=cure), rail)


def _helix_stop(
    wishes: HelixGiven, build: Build, stock: Plan, train: str, rails: Sequence[str], need: Need
) -> Stop | None:
    """Return what stops a helix: its geometry, its train, then its head room."""
    try:
        helix = helix_of(wishes, build, stock.unit)
    except DesignError as error:
        return Stop("curve", error)
    stop = _train_stop(helix.hill(stock), train, rails, need, "less rise in a turn, fewer cars, or --rail clean")
    if stop is None and not clears(helix, stock):
        cure = "a higher rise per turn, a thinner deck, or a shorter train"
        return Stop("head room", DesignError("the deck above is too low for stock", write=cure), gentler=True)
    return stop


def smallest_radius(
    wishes: HelixGiven,
    build: Build,
    stock: Plan,
    *,
    train: str | None = None,
    rails: Sequence[str],
    need: Need = "climbs",
) -> Found[Helix]:
    """Return the helix of the smallest radius, in whole steps of the plan's unit, on which a named train still climbs.

    Parameters
    ----------
    wishes
        All but the radius.
    build
        How it is built.
    stock
        The plan with the train.
    train
        Its name; None for the only one.
    rails
        The rail conditions, on all of which it must climb.
    need
        The verdict it needs.

    Raises
    ------
    DesignError
        A radius is given, the wishes leave the helix open or contradict each other, or no radius works.
    RouteError
        No such train or rail condition.
    """
    name = known_train(stock, train)
    if wishes.radius is not None or wishes.floor is not None:
        raise DesignError("the radius is what is looked for", write="without --radius and --floor")
    gauge, one = stock.scale.gauge, steps_of(stock.unit).length
    low, high = (round(gauges * gauge / one) for gauges in (_LEAST_RADIUS, _MOST_RADIUS))

    def at(step: int) -> HelixGiven:
        return replace(wishes, radius=(low + step) * one)

    def tried(step: int) -> Stop | None:
        stop = _helix_stop(at(step), build, stock, name, rails, need)
        return None if stop is None else replace(stop, gentler=False)  # a larger radius leaves more head room

    least, most = (describe(each * one, "length", stock.unit) for each in (low, high))
    step, stop = hardest(
        tried, _evenly(high - low), high - low, f"no radius under {least} is tried", f"no radius up to {most} works"
    )
    return Found(helix_of(at(step), build, stock.unit), stop)


def steepest_grade(
    wishes: HelixGiven,
    build: Build,
    stock: Plan,
    *,
    train: str | None = None,
    rails: Sequence[str],
    need: Need = "climbs",
) -> Found[Helix]:
    """Return the helix of the steepest grade, in thousandths of a per cent, on which a named train still climbs.

    Parameters are those of `smallest_radius`, but for the wishes: all but the grade.

    Raises
    ------
    DesignError
        A grade is given, the wishes leave the helix open or contradict each other, or no grade works.
    RouteError
        No such train or rail condition.
    """
    name = known_train(stock, train)
    if wishes.grade is not None or wishes.rise_per_turn is not None:
        raise DesignError("the grade is what is looked for", write="without --grade and --rise-per-turn")
    beyond = round(STEEP / GRADE_STEP) + 1  # the first grade that is refused

    def at(step: int) -> HelixGiven:
        return replace(wishes, grade=(beyond - step) / round(1 / GRADE_STEP))

    step, stop = hardest(
        lambda step: _helix_stop(at(step), build, stock, name, rails, need),
        _evenly(beyond - 1),
        beyond - 1,
        "",
        "no grade down to 0.001 % works",
    )
    return Found(helix_of(at(step), build, stock.unit), stop)


def roomiest(wishes: HelixGiven, build: Build, stock: Plan) -> Found[Helix]:
    """Return the helix that takes the most cars up in a floor: the largest radius, and the least rise per turn.

    A larger radius and a lower rise per turn both lower the effective grade at every point. A rise per turn that is
    wished for is kept.

    Parameters
    ----------
    wishes
        The floor, and turns or the total rise.
    build
        How it is built.
    stock
        The plan with the stock.

    Raises
    ------
    DesignError
        No floor, or wishes that contradict one another or leave the helix open.
    """
    if wishes.floor is None:
        raise DesignError("the most cars are looked for in a space", write='--floor "48 in"')
    fixed = replace(wishes, radius=radius_in(wishes.floor, build) if wishes.radius is None else wishes.radius)
    if fixed.rise_per_turn is None and fixed.grade is None and not (fixed.turns and fixed.rise):
        assert fixed.radius is not None
        lowest = lowest_rise_per_turn(fixed.radius, build, stock)
        stop = Stop("head room", DesignError("a lower rise per turn leaves too little clear height"))
        if build.straight and fixed.rise is not None:  # whole half turns, as many as the head room allows
            turns = math.floor(2 * settled_turns(fixed.radius, lowest, fixed.rise, build) + 1e-9) / 2
            if turns < 0.5:
                raise DesignError("the rise is less than a half turn takes", place="--rise", write="an incline for it")
            return Found(helix_of(replace(fixed, turns=turns), build, stock.unit), stop)
        return Found(helix_of(replace(fixed, rise_per_turn=lowest), build, stock.unit), stop)
    return Found(helix_of(fixed, build, stock.unit), Stop("floor", DesignError("a larger radius needs a larger floor")))


def shortest_length(
    asked: InclineGiven, stock: Plan, *, train: str | None, rails: Sequence[str], need: Need = "climbs"
) -> Found[Incline]:
    """Return the incline of the shortest length, in whole steps, over which a named train gets a rise up.

    Raises
    ------
    DesignError
        No rise, or no length works.
    RouteError
        No such train or rail condition.
    """
    name = known_train(stock, train)
    if asked.rise is None or asked.length is not None or asked.grade is not None:
        raise DesignError("the length is what is looked for", write="--rise, without --length and --grade")
    refuse_nothing(asked, stock.unit)
    one = steps_of(stock.unit).length
    low = max(1, math.floor(sum(bend.length for bend in asked.bends) / one))  # has no room for its curves
    last = round(_LONGEST / one)
    longest = describe((low + last) * one, "length", stock.unit)

    def at(step: int) -> InclineGiven:
        return replace(asked, length=(low + step) * one)

    # each look is twice as far beyond the curves as the one before
    step, stop = hardest(
        lambda step: _incline_stop(at(step), stock, name, rails, need, "fewer cars or less rise"),
        [0, *(64 << k for k in range(last.bit_length()))],
        last,
        "",
        f"no length up to {longest} works",
    )
    return Found(incline_of(at(step), stock), stop)


def highest_rise(
    asked: InclineGiven, stock: Plan, *, train: str | None, rails: Sequence[str], need: Need = "climbs"
) -> Found[Incline]:
    """Return the incline of the highest rise, in whole steps, that a named train gets up within a length.

    Raises
    ------
    DesignError
        No length, or no rise works.
    RouteError
        No such train or rail condition.
    """
    name = known_train(stock, train)
    if asked.length is None or asked.rise is not None or asked.grade is not None:
        raise DesignError("the rise is what is looked for", write="--length, without --rise and --grade")
    refuse_nothing(asked, stock.unit)
    one = steps_of(stock.unit).rise
    beyond = math.ceil(STEEP * asked.length / one) + 1  # so steep a rise is refused
    if beyond < 3:
        raise DesignError("the length is too short for any rise", place="--length", write="a longer length")

    def at(step: int) -> InclineGiven:
        return replace(asked, rise=(beyond - step) * one)

    step, stop = hardest(
        lambda step: _incline_stop(at(step), stock, name, rails, need, "fewer cars or more length"),
        _evenly(beyond - 1),
        beyond - 1,
        "",
        f"no rise down to {describe(one, 'length', stock.unit)} works",
    )
    return Found(incline_of(at(step), stock), stop)


def _incline_stop(
    asked: InclineGiven, stock: Plan, train: str, rails: Sequence[str], need: Need, cure: str
) -> Stop | None:
    """Return what stops an incline: room for its curves, then its train; or that a curve on it would go down."""
    try:
        incline = incline_of(asked, stock)
    except FallingError as error:
        return Stop("room", error, gentler=True)
    except DesignError as error:
        return Stop("room", error)
    return _train_stop(incline.hill(stock), train, rails, need, cure)
