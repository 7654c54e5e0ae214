"""An incline backwards: the shortest length and the highest rise, as the exact engine judges them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from gradehaul.design.hill import coefficient_of, usual_vertical_curve
from gradehaul.design.hill_search import Need, Stop, known_train, least_step, rails_asked
from gradehaul.design.incline import Asked, Bend, Incline, given_back, incline_of, refuse_nothing
from gradehaul.design.steps import steps_of
from gradehaul.errors import DesignError, QuantityError
from gradehaul.plan.records import Plan
from gradehaul.quantities import read_quantity

Look = Literal["length", "rise"]
"""What is looked for backwards."""

_LONGEST = 1_000.0
"""Lengths are looked for up to so much beyond the curves, m."""
_STEEPEST = 0.10


@dataclass(frozen=True, slots=True)
class FoundIncline:
    """An incline that was asked or looked for, and whether the next step beyond fails for the train."""

    incline: Incline
    stops: Stop | None = None


def shortest_length(
    asked: Asked, stock: Plan, *, train: str | None, rails: Sequence[str], need: Need = "climbs"
) -> FoundIncline:
    """Return the incline of the shortest length, in whole steps, over which a named train gets a rise up.

    Raises
    ------
    DesignError
        No rise, or no length will do.
    RouteError
        No such train or rail condition.
    """
    train = known_train(stock, train)
    if asked.rise is None or asked.length is not None or asked.grade is not None:
        raise DesignError("the length is what is looked for", write="--rise, without --length and --grade")
    refuse_nothing(asked, stock.unit)
    one = steps_of(stock.unit).length
    low = max(1, math.ceil(sum(bend.length for bend in asked.bends) / one))

    def fails(step: int) -> Stop | None:
        return _fails(replace(asked, length=step * one), stock, train, rails, need)

    # each look is twice as far beyond the curves as the one before, up to where compensation leaves no grade on a curve
    most = min(round(_LONGEST / one), _longest(asked, stock) - low)
    reach = min(64, most)
    while fails(low + reach) is not None:
        if reach >= most:
            raise _none(train, rails, "fewer cars or less rise")
        reach = min(2 * reach, most)
    step = least_step(lambda k: fails(k) is None, low + reach // 2, low + reach)
    assert step is not None
    return FoundIncline(incline_of(replace(asked, length=step * one), stock), fails(step - 1))


def highest_rise(
    asked: Asked, stock: Plan, *, train: str | None, rails: Sequence[str], need: Need = "climbs"
) -> FoundIncline:
    """Return the incline of the highest rise, in whole steps, that a named train gets up within a length.

    Raises
    ------
    DesignError
        No length, or no rise will do.
    RouteError
        No such train or rail condition.
    """
    train = known_train(stock, train)
    if asked.length is None or asked.rise is not None or asked.grade is not None:
        raise DesignError("the rise is what is looked for", write="--length, without --rise and --grade")
    refuse_nothing(asked, stock.unit)
    one = steps_of(stock.unit).rise
    most = math.ceil(_STEEPEST * asked.length / one)

    def fails(step: int) -> Stop | None:
        return _fails(replace(asked, rise=(most - step) * one), stock, train, rails, need)

    step = least_step(lambda k: fails(k) is None, 0, most - 1)
    if step is None:
        raise _none(train, rails, "fewer cars or more length")
    return FoundIncline(incline_of(replace(asked, rise=(most - step) * one), stock), fails(step - 1) if step else None)


def _longest(asked: Asked, stock: Plan) -> int:
    """Return the greatest length, in steps, at which no compensated grade turns downward on a curve."""
    one = steps_of(stock.unit).length
    if not (asked.compensated and asked.bends):
        return round(2 * _LONGEST / one)
    assert asked.rise is not None
    coefficient = coefficient_of(stock)
    least = max(coefficient / bend.radius for bend in asked.bends)
    climb = asked.rise + given_back(asked.bends, coefficient, compensated=True)
    vertical = usual_vertical_curve(least, stock) if asked.vertical is None else asked.vertical
    return math.floor((climb / least + vertical) / one) - 1  # a vertical curve is a whole number of steps, too


def _none(train: str, rails: Sequence[str], write: str) -> DesignError:
    return DesignError(f'train "{train}" climbs no such incline on {" or ".join(rails)} rail', write=write)


def _fails(asked: Asked, stock: Plan, train: str, rails: Sequence[str], need: Need) -> Stop | None:
    try:
        incline = incline_of(asked, stock)
    except DesignError:
        return Stop("room")
    rail = incline.hill(stock).stuck_on(train, rails, need)
    return None if rail is None else Stop("train", rail)


def read_bends(curves: Sequence[tuple[str, str]], unit: str, ease: float = 0.0) -> tuple[Bend, ...]:
    """Return curves from their radius and angle as text, all with one easement; an angle under 0 turns to the right.

    Examples
    --------
    >>> read_bends([("24", "-90")], "in")
    (Bend(radius=0.6096, angle=-1.5707963267948966, ease=0.0),)
    """
    try:
        return tuple(
            Bend(read_quantity(radius, "length", unit=unit), read_quantity(angle, "angle"), ease)
            for radius, angle in curves
        )
    except QuantityError as error:
        raise error.at(place="--curve") from error


def designed_incline(
    asked: Asked,
    stock: Plan,
    *,
    find: Look | None = None,
    train: str | None = None,
    rail: str | None = None,
    need: Need = "climbs",
) -> FoundIncline:
    """Return the incline that is settled, or looked for.

    Where no rail is told the train must climb on the stock's first film, settled and fresh.
    """
    rails = rails_asked(stock, rail)
    if find == "length":
        return shortest_length(asked, stock, train=train, rails=rails, need=need)
    if find == "rise":
        return highest_rise(asked, stock, train=train, rails=rails, need=need)
    return FoundIncline(incline_of(asked, stock))
