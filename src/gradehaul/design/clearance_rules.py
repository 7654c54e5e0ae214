"""What clearances are judged by: figures of the standards and of common practice, each with its source."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal

import numpy as np

from gradehaul.errors import DesignError
from gradehaul.plan.records import Plan
from gradehaul.quantities import describe
from gradehaul.scales import Scale, clear_height

Outcome = Literal["pass", "look", "fail"]
Rule = Literal["vertical room", "side room", "radius", "change of grade", "reverse curve", "string-lining"]

INCH = 0.0254
_MOST_GAUGES = 50
"""Decks and couplers are at most so many gauges."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked: deck with roadbed and track, m (None: the practice's, assumed), wire, coupler height, m, train."""

    deck: float | None = None
    wire: bool = False
    coupler: float | None = None
    trains: tuple[str, ...] = ()


ASKED = Asked()
"""What is asked where nothing is said."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One judgment: values and bounds are lengths, m, or plain ratios (`kind`).

    `least` is the bound below (or, `at_most`, above) which it fails, `wanted` the one from which on it passes; `at` is
    where on the track, m from its start in its line's direction. For a train that is where its head is, and `head_at`
    the same place on its route, m.
    """

    rule: Rule
    outcome: Outcome
    track: str
    at: float
    value: float
    wanted: float
    least: float
    source: str
    kind: Literal["length", "share", "grade"] = "length"
    other: str = ""
    other_at: float | None = None
    words: str = ""
    at_most: bool = False
    train: str = ""
    head_at: float | None = None


@dataclass(frozen=True, slots=True)
class Standard:
    """The figures for one plan, m; `longest` is the longest stock over couplers, None where there is none."""

    height: float
    height_source: str
    deck: float
    deck_assumed: bool
    centers: float
    """Centers from which on straight tracks pass."""
    centers_source: str
    fouling: float
    """Centers under which stock on straight tracks touches what is to be kept free."""
    widening: float
    """Extra half-width times radius, m², the most that the table has for the group of stock."""
    group: str
    longest: float | None
    coupler: float


@cache
def figures() -> Mapping[str, Any]:
    """Return the table of figures."""
    return tomllib.loads(files("gradehaul.design").joinpath("clearances.toml").read_text(encoding="utf-8"))


def curve_widening(scale: Scale, radius: float, group: str) -> float:
    """Return the extra half-width of the clear space on a curve, m, by NEM 103 scaled from H0.

    Between the radii of the table it runs evenly with the curvature; on sharper and on flatter curves it is in
    proportion to the curvature, as the overhang of a long car is.

    Examples
    --------
    >>> from gradehaul.scales import scale_named
    >>> [round(1000 * curve_widening(scale_named("H0"), radius, "C"), 2) for radius in (0.5, 0.6, 1.0, 2.0)]
    [11.0, 9.0, 4.0, 2.0]
    """
    return float(widenings(scale, np.array([1.0 / radius]), group)[0])


def widenings(scale: Scale, curvature: np.ndarray[Any, np.dtype[np.float64]], group: str) -> Any:  # noqa: ANN401
    """Return the same for an array of curvatures, 1/m; 0 on straight track."""
    table = figures()["curve_widening"]
    shrink = table["ratio"] / scale.ratio / 1000
    bends = 1.0 / (np.array(table["radius"][::-1], dtype=float) * shrink)
    widths = np.array(table[group][::-1], dtype=float) * shrink
    inside = np.interp(curvature, np.concatenate([[0.0], bends]), np.concatenate([[0.0], widths]))
    return np.where(curvature > bends[-1], widths[-1] * curvature / bends[-1], inside)


def standard_of(plan: Plan, asked: Asked) -> Standard:
    """Return the figures that hold for a plan.

    Raises
    ------
    DesignError
        A deck or a coupler height that makes no sense.
    PlanError
        No practice has a clear height for the scale.
    """
    table, scale = figures(), plan.scale
    if asked.deck is not None and asked.deck < 0:
        raise DesignError(
            "a deck has a thickness of 0 or more",
            place="--deck",
            found=describe(asked.deck, "length", plan.unit),
            write="--deck 19mm",
        )
    if asked.coupler is not None and asked.coupler <= 0:
        raise DesignError(
            "a coupler is above the railhead",
            place="--coupler",
            found=describe(asked.coupler, "length", plan.unit),
            write="--coupler 10mm",
        )
    for name, value in (("deck", asked.deck), ("coupler", asked.coupler)):
        if value is not None and value > _MOST_GAUGES * scale.gauge:
            raise DesignError(
                f"{name} must be at most {describe(_MOST_GAUGES * scale.gauge, 'length', plan.unit)}",
                place=f"--{name}",
                found=describe(value, "length", plan.unit),
                write="the thickness of the deck" if name == "deck" else "the height of the coupler over the railhead",
            )
    if asked.wire:
        if scale.wire_height is None:
            raise DesignError("no standard has a height under wire for this scale", place="--wire", write="no --wire")
        height, field = scale.wire_height, "wire_height"
    else:
        height = clear_height(scale, plan.practice)
        field = "nmra_clear_height" if height == scale.nmra_clear_height else "clear_height"
    lengths = [loco.length for loco in plan.locos.values()] + [car.length for car in plan.cars.values()]
    longest = max(lengths, default=None)
    group = "C" if longest is None else stock_group(longest * scale.ratio)
    centers = scale.track_centers or scale.fouling_distance
    return Standard(
        height=height,
        height_source=scale.source(field),
        deck=table["deck"]["thickness"] / 1000 if asked.deck is None else asked.deck,
        deck_assumed=asked.deck is None,
        centers=max(centers, scale.fouling_distance),
        centers_source=f"track centers: {scale.source('track_centers')}"
        if scale.track_centers and centers >= scale.fouling_distance
        else f"track centers: {scale.source('stock_width')}; {scale.source('side_clearance')}",
        fouling=scale.fouling_distance,
        widening=max(
            curve_widening(scale, r / 1000 * table["curve_widening"]["ratio"] / scale.ratio, group)
            for r in table["curve_widening"]["radius"]
        ),
        group=group,
        longest=longest,
        coupler=table["coupler"]["height"] * INCH / scale.ratio if asked.coupler is None else asked.coupler,
    )


def stock_group(full_size: float) -> str:
    """Return the group of stock of a length at full size, m; what is longer than all counts with the longest.

    Examples
    --------
    >>> stock_group(13.3), stock_group(24.0), stock_group(30.0)
    ('A', 'B', 'C')
    """
    table = figures()["stock_group"]
    return next((group for group in "ABC" if full_size <= table[group] + 1e-9), "C")
