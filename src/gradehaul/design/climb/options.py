"""Which design answers: the one that is fixed, or the hardest that a train still climbs."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from gradehaul.design.climb.backward import (
    Found,
    highest_rise,
    roomiest,
    shortest_length,
    smallest_radius,
    steepest_grade,
)
from gradehaul.design.climb.helix import Build, Helix, refuse_low, usual_build
from gradehaul.design.climb.helix_known import HelixGiven, helix_of
from gradehaul.design.climb.hill import Need, judged_rails
from gradehaul.design.climb.incline import Incline, InclineGiven, incline_of
from gradehaul.errors import DesignError
from gradehaul.plan.records import Plan
from gradehaul.quantities import describe
from gradehaul.scales import track_centers

Look = Literal["radius", "grade", "cars"]
"""What is looked for backwards."""

_THICKEST = 50
"""Decks, roadbeds and clear heights are at most this many gauges."""


def build_for(
    stock: Plan,
    *,
    tracks: int = 1,
    straight: float | None = None,
    ease: float | None = None,
    deck: float | None = None,
    roadbed: float | None = None,
    clear: float | None = None,
    centers: float | None = None,
    vertical: float | None = None,
) -> Build:
    """Return how a helix is built: what is usual for the stock's scale and practice, but for the lengths given, m.

    Parameters
    ----------
    stock
        The plan with the stock.
    tracks
        One or two.
    straight, ease, deck, roadbed, clear, centers, vertical
        As in `Build`; None for what is usual.

    Raises
    ------
    DesignError
        Lengths that make no sense, or two tracks closer than stock needs.
    """
    build = usual_build(stock.scale, stock.practice)
    for name, value in (("deck", deck), ("roadbed", roadbed), ("clear", clear)):
        if value is not None and value > _THICKEST * stock.scale.gauge:
            most, found = (describe(each, "length", stock.unit) for each in (_THICKEST * stock.scale.gauge, value))
            raise DesignError(f"{name} must be at most {most}", place=f"--{name}", found=found)
    if tracks == 2:
        least = stock.scale.fouling_distance
        centers = max(track_centers(stock.scale, stock.practice)[0], least) if centers is None else centers
        if centers < least:
            raise DesignError(
                "two tracks this close foul one another",
                place="--centers",
                found=describe(centers, "length", stock.unit),
                write=f'"{1000 * least:.3g} mm" or more, and more on curves',
            )
        build = replace(build, centers=centers)
    given = {
        "straight": straight, "ease": ease, "deck": deck, "roadbed": roadbed, "clear": clear, "vertical": vertical
    }  # fmt: skip
    return replace(build, **{name: value for name, value in given.items() if value is not None})


def designed(
    wishes: HelixGiven,
    build: Build,
    stock: Plan,
    *,
    find: Look | None = None,
    train: str | None = None,
    rail: str | None = None,
    need: Need = "climbs",
) -> Found[Helix]:
    """Return the helix that is fixed, or looked for.

    Where no rail is named the train must climb on the stock's first film, settled and fresh.

    Raises
    ------
    DesignError
        No helix meets them, or its deck is lower than the stock.
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


def designed_incline(
    given: InclineGiven,
    stock: Plan,
    *,
    find: Literal["length", "rise"] | None = None,
    train: str | None = None,
    rail: str | None = None,
    need: Need = "climbs",
) -> Found[Incline]:
    """Return the incline that is fixed, or looked for.

    Where no rail is named the train must climb on the stock's first film, settled and fresh.
    """
    rails = judged_rails(stock, rail)
    if find == "length":
        return shortest_length(given, stock, train=train, rails=rails, need=need)
    if find == "rise":
        return highest_rise(given, stock, train=train, rails=rails, need=need)
    return Found(incline_of(given, stock))
