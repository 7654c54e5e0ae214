"""A helix backwards: the smallest radius, the steepest grade and the most cars, as the exact engine judges them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from gradehaul.design.helix import Build, Helix, radius_in
from gradehaul.design.helix_room import clears, lowest_rise_per_turn
from gradehaul.design.helix_sets import Wishes, helix_of, settled_turns
from gradehaul.design.hill_search import Need, Stop, known_train, least_step
from gradehaul.design.steps import steps_of
from gradehaul.errors import DesignError
from gradehaul.plan.records import Plan

GRADE_STEP = 1e-5
"""Grades are looked for in thousandths of a per cent."""

_LEAST_RADIUS, _MOST_RADIUS = 5.0, 400.0
"""Radii are looked for between these, in gauges."""
_STEEPEST = 0.10
"""Grades are looked for up to this: 1 in 10 is rack-railway country."""


@dataclass(frozen=True, slots=True)
class Found:
    """A helix that was looked for, and why the next smaller radius, or steeper grade, will not do."""

    helix: Helix
    stops: Stop | None


def _reason(helix: Helix, stock: Plan, train: str, rails: Sequence[str], need: Need) -> Stop | None:
    """Return why a helix will not do, None where it does."""
    if not clears(helix, stock):
        return Stop("head room")
    rail = helix.hill(stock).stuck_on(train, rails, need)
    return None if rail is None else Stop("train", rail)


def _tried(wishes: Wishes, build: Build, stock: Plan, train: str, rails: Sequence[str], need: Need) -> Stop | None:
    try:
        return _reason(helix_of(wishes, build, stock.unit), stock, train, rails, need)
    except DesignError:  # easements longer than the curve, or nothing left to turn
        return Stop("curve")


def smallest_radius(
    wishes: Wishes, build: Build, stock: Plan, *, train: str | None = None, rails: Sequence[str], need: Need = "climbs"
) -> Found:
    """Return the helix of the smallest radius, in whole steps, on which a named train still climbs.

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
        What is asked of it.

    Raises
    ------
    DesignError
        A radius is wished for, the wishes leave the helix open or contradict one another, or no radius will do.
    RouteError
        No such train or rail condition.
    """
    train = known_train(stock, train)
    if wishes.radius is not None or wishes.floor is not None:
        raise DesignError("the radius is what is looked for", write="without --radius and --floor")
    gauge, one = stock.scale.gauge, steps_of(stock.unit).length
    low, high = round(_LEAST_RADIUS * gauge / one), round(_MOST_RADIUS * gauge / one)

    def at(step: int) -> Wishes:
        return replace(wishes, radius=step * one)

    helix_of(at(high), build, stock.unit)  # open or contradictory wishes are refused before anything is looked for
    step = least_step(lambda k: _tried(at(k), build, stock, train, rails, need) is None, low, high)
    if step is None:
        raise _none(at(high), build, stock, train, rails, need)
    stops = _tried(at(step - 1), build, stock, train, rails, need) if step > low else None
    return Found(helix_of(at(step), build, stock.unit), stops)


def steepest_grade(
    wishes: Wishes, build: Build, stock: Plan, *, train: str | None = None, rails: Sequence[str], need: Need = "climbs"
) -> Found:
    """Return the helix of the steepest grade, in thousandths of a per cent, on which a named train still climbs.

    Parameters are those of `smallest_radius`, but for the wishes: all but the grade.

    Raises
    ------
    DesignError
        A grade is wished for, the wishes leave the helix open or contradict one another, or no grade will do.
    RouteError
        No such train or rail condition.
    """
    train = known_train(stock, train)
    if wishes.grade is not None or wishes.rise_per_turn is not None:
        raise DesignError("the grade is what is looked for", write="without --grade and --rise-per-turn")
    most = round(_STEEPEST / GRADE_STEP)

    def at(step: int) -> Wishes:
        return replace(wishes, grade=(most - step) * GRADE_STEP)

    helix_of(at(0), build, stock.unit)
    passed = (None, Stop("head room"))
    # flatter only lowers the deck, so what stops for head room is not looked past
    step = least_step(lambda k: _tried(at(k), build, stock, train, rails, need) in passed, 0, most - 1)
    if step is None or _tried(at(step), build, stock, train, rails, need) is not None:
        raise _none(at(step if step is not None else most - 1), build, stock, train, rails, need)
    stops = _tried(at(step - 1), build, stock, train, rails, need) if step else None
    return Found(helix_of(at(step), build, stock.unit), stops)


def roomiest(wishes: Wishes, build: Build, stock: Plan) -> Found:
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
    settled = replace(wishes, radius=radius_in(wishes.floor, build) if wishes.radius is None else wishes.radius)
    if settled.rise_per_turn is None and settled.grade is None and not (settled.turns and settled.rise):
        assert settled.radius is not None
        lowest = lowest_rise_per_turn(settled.radius, build, stock)
        if build.straight and settled.rise is not None:  # whole half turns, as many as the head room allows
            turns = math.floor(2 * settled_turns(settled.radius, lowest, settled.rise, build) + 1e-9) / 2
            if turns < 0.5:
                raise DesignError("the rise is less than a half turn takes", place="--rise", write="an incline for it")
            return Found(helix_of(replace(settled, turns=turns), build, stock.unit), Stop("head room"))
        return Found(helix_of(replace(settled, rise_per_turn=lowest), build, stock.unit), Stop("head room"))
    return Found(helix_of(settled, build, stock.unit), None)


def _none(wishes: Wishes, build: Build, stock: Plan, train: str, rails: Sequence[str], need: Need) -> DesignError:
    stop = _tried(wishes, build, stock, train, rails, need)
    if stop is not None and stop.reason == "head room":
        return DesignError(
            f'where train "{train}" climbs, the deck above is too low for stock',
            write="a higher rise per turn, a thinner deck, or a shorter train",
        )
    return DesignError(
        f'train "{train}" climbs no such helix on {stop.rail if stop and stop.rail else rails[0]} rail',
        write="less rise in a turn, fewer cars, or --rail clean",
    )
