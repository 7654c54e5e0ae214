"""Climbs from the text of options: what is given of a helix or an incline, how it is built, what to find."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np

from gradehaul.design.climb.backward import (
    Found,
    highest_rise,
    roomiest,
    shortest_length,
    smallest_radius,
    steepest_grade,
)
from gradehaul.design.climb.helix import Build, Helix, refuse_low, usual_build
from gradehaul.design.climb.helix_known import Wishes, helix_of
from gradehaul.design.climb.helix_sweep import Sweep, sweep
from gradehaul.design.climb.hill import Need, judged_rails, known_train
from gradehaul.design.climb.incline import Bend, Incline, InclineGiven, incline_of
from gradehaul.errors import DesignError, QuantityError
from gradehaul.plan.records import Plan
from gradehaul.quantities import Kind, describe, read_quantity
from gradehaul.scales import track_centers

Look = Literal["radius", "grade", "cars"]
"""What is looked for backwards."""

_BY = re.compile(r"\s+(?:x|by|×)\s+", re.IGNORECASE)
_THICKEST = 50
"""Decks, roadbeds and clear heights are at most this many gauges."""

_LENGTHS = ("straight", "ease", "deck", "roadbed", "clear", "centers")
_MOST, _LEAST = 1e4, 1e-6


def read_option(option: str, text: str, kind: Kind, unit: str | None) -> float:
    """Return the SI value of an option's text.

    Raises
    ------
    QuantityError
        The text is not the quantity asked for; the message has the option.
    """
    try:
        value = read_quantity(text, kind, unit=unit)
    except QuantityError as error:
        raise error.at(place=f"--{option}") from error
    if kind == "length" and abs(value) > _MOST:
        raise QuantityError("too long for any railway", place=f"--{option}", found=text)
    if kind == "length" and 0 < abs(value) < _LEAST:
        raise QuantityError("too short for any railway", place=f"--{option}", found=text)
    return value


def read_wishes(unit: str, texts: Mapping[str, str | None], turns: float | None = None) -> Wishes:
    """Return wishes from text; bare lengths read in the unit.

    Parameters
    ----------
    unit
        The unit of bare lengths.
    texts
        Some of ``radius``, ``rise_per_turn``, ``rise``, ``grade`` and ``floor``, the last as one side or as two.
    turns
        Turns.

    Examples
    --------
    >>> read_wishes("in", {"radius": "24", "floor": "5 ft x 4 ft"})
    Wishes(radius=0.6096, rise_per_turn=None, rise=None, turns=None, grade=None, floor=(1.524, 1.2192))
    """
    kinds: dict[str, Kind] = {"radius": "length", "rise_per_turn": "length", "rise": "length", "grade": "grade"}
    found: dict[str, float] = {}
    for name, kind in kinds.items():
        text = texts.get(name)
        if text is not None:
            found[name] = read_option(name.replace("_", "-"), text, kind, unit)
    floor = texts.get("floor")
    sides = None
    if floor is not None:
        parts = [read_option("floor", part, "length", unit) for part in _BY.split(floor.strip())]
        if len(parts) > 2:
            raise DesignError("a floor has two sides", place="--floor", found=floor, write='"48 in x 60 in"')
        sides = (parts[0], parts[-1])
    return Wishes(turns=turns, floor=sides, **found)


def read_build(stock: Plan, texts: Mapping[str, str | None], tracks: int = 1) -> Build:
    """Return how a helix is built: what is usual for the stock's scale and practice, and what is told otherwise.

    Parameters
    ----------
    stock
        The plan with the stock.
    texts
        Some of ``straight``, ``ease``, ``deck``, ``roadbed``, ``clear``, ``centers`` and ``vertical_curve``.
    tracks
        One or two.

    Raises
    ------
    DesignError
        Lengths under 0, or two tracks closer than stock needs.
    """
    build = usual_build(stock.scale, stock.practice)
    values: dict[str, float] = {}
    for name in (*_LENGTHS, "vertical_curve"):
        text = texts.get(name)
        if text is not None:
            option = name.replace("_", "-")
            values["vertical" if name == "vertical_curve" else name] = read_option(option, text, "length", stock.unit)
            if values["vertical" if name == "vertical_curve" else name] < 0:
                raise DesignError(f"{name.replace('_', ' ')} must be 0 or more", place=f"--{option}", found=text)
    for name in ("deck", "roadbed", "clear"):
        if values.get(name, 0.0) > _THICKEST * stock.scale.gauge:
            most = describe(_THICKEST * stock.scale.gauge, "length", stock.unit)
            raise DesignError(f"{name} must be at most {most}", place=f"--{name}", found=str(texts[name]))
    centers = values.pop("centers", None)
    if tracks == 2:
        least = stock.scale.fouling_distance
        centers = max(track_centers(stock.scale, stock.practice)[0], least) if centers is None else centers
        if centers < least:
            raise DesignError(
                "two tracks this close foul one another",
                place="--centers",
                found=str(texts["centers"]),
                write=f'"{1000 * least:.3g} mm" or more, and more on curves',
            )
        return replace(build, centers=centers, **values)
    return replace(build, **values)


def designed(
    wishes: Wishes,
    build: Build,
    stock: Plan,
    *,
    find: Look | None = None,
    train: str | None = None,
    rail: str | None = None,
    need: Need = "climbs",
) -> Found[Helix]:
    """Return the helix that is wished for, or looked for.

    Where no rail is told the train must climb on the stock's first film, settled and fresh.

    Raises
    ------
    DesignError
        No helix meets the wishes, or its deck is lower than the stock.
    """
    rails = judged_rails(stock, rail)
    if find == "radius":
        found = smallest_radius(wishes, build, stock, train=train, rails=rails, need=need)
    elif find == "grade":
        found = steepest_grade(wishes, build, stock, train=train, rails=rails, need=need)
    elif find == "cars":
        found = roomiest(wishes, build, stock)
    else:
        helix: Helix = helix_of(wishes, build, stock.unit)
        found = Found(helix)
    refuse_low(found.design, stock)
    return found


SIDE = 200
"""Radii, and rises per turn, in a sweep."""


def swept(build: Build, stock: Plan, asked: Mapping[str, Any], turns: float | None) -> Sweep:
    """Return the sweep that is asked for: ``sweep`` has the radii and rises between which designs lie, as text.

    Raises
    ------
    DesignError
        No turns, or bounds that are not in order.
    """
    low, high, least, most = (read_option("sweep", text, "length", stock.unit) for text in asked["sweep"])
    if not (0 < low < high and 0 < least < most):
        raise DesignError(
            "a sweep runs from less to more", place="--sweep", found=" ".join(asked["sweep"]), write="--sweep 18 40 3 6"
        )
    if turns is None:
        raise DesignError("the turns are missing", place="--turns", write="--turns 3")
    return sweep(
        np.linspace(low, high, SIDE),
        np.linspace(least, most, SIDE),
        build,
        stock,
        turns=turns,
        powers=asked["powers"],
        car=asked["car"],
        train=None if asked["train"] is None else known_train(stock, asked["train"]),
        judged=judged_rails(stock, asked["rail"]),
        steepest=read_option("steepest", asked["steepest"], "grade", None),
    )


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
    asked: InclineGiven,
    stock: Plan,
    *,
    find: Literal["length", "rise"] | None = None,
    train: str | None = None,
    rail: str | None = None,
    need: Need = "climbs",
) -> Found[Incline]:
    """Return the incline that is settled, or looked for.

    Where no rail is told the train must climb on the stock's first film, settled and fresh.
    """
    rails = judged_rails(stock, rail)
    if find == "length":
        return shortest_length(asked, stock, train=train, rails=rails, need=need)
    if find == "rise":
        return highest_rise(asked, stock, train=train, rails=rails, need=need)
    return Found(incline_of(asked, stock))
