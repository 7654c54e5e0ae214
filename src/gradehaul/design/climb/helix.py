"""A helix: round or with straight sides, one track or two: its geometry, its headroom, its floor and its plan."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from gradehaul.design.climb.hill import (
    UP,
    Direction,
    Hill,
    HillLine,
    directions_of,
    hill_of,
    length_text,
    usual_vertical_curve,
)
from gradehaul.design.deck import STRENGTH, structure_of
from gradehaul.errors import DesignError
from gradehaul.plan.records import Deck, Plan
from gradehaul.quantities import describe
from gradehaul.quantities.si import Meters, Ratio, Share
from gradehaul.scales import clear_height
from gradehaul.track.piecewise import FloatArray
from gradehaul.track.proximity.spacing import Spacing, spacing_of

_Length = TypeVar("_Length", float, FloatArray)

GUARD = (
    "A train can fall from a helix: put a barrier or a raised edge at least as high as the axles along every open "
    f"side; keep children away from open drops. {STRENGTH}"
)
"""What is said with every helix."""

HEADROOM_TIE = 1e-6
"""Headroom that is short by no more, m, is enough."""
_ROUNDS = 40
"""Rounds of the search for the radius in a floor: each leaves a small part of what is left."""
UNEASED = 60.0
"""Radius over gauge beyond which no transition curve is needed (NEM 113, read)."""


@dataclass(frozen=True, slots=True)
class HelixBuild:
    """How a helix is built, all lengths in m."""

    straight: Meters
    """Length of each of its two straight sides, 0 for a round helix."""
    ease: Meters
    """Length of the easement at each end of a curve."""
    deck: Meters
    roadbed: Meters
    track: Meters
    """Thickness of the deck, of the roadbed on it, and height of the track on that."""
    clear: Meters
    """Clear height wanted above the railhead."""
    edge: Meters
    """From the center of the outermost track to the edge of the floor it needs."""
    spacing: Spacing = field(compare=False)
    """The room that stock takes on either side of a track, and what two tracks need between their centers."""
    two: bool = False
    """Whether it has two tracks."""
    centers: Meters | None = None
    """The distance between them; None for what the practice wants on their curve."""
    vertical: Meters | None = None
    """Length of the vertical curves; None for what is usual for the grade."""

    @property
    def structure(self) -> Meters:
        """Deck, roadbed and track together, m."""
        return self.deck + self.roadbed + self.track

    def apart(self, radius: ArrayLike) -> FloatArray:
        """Return the distance between the centers of two tracks, m, the inner of a radius; 0 for one track."""
        r = np.asarray(radius, dtype=np.float64)
        if not self.two:
            return np.zeros_like(r)
        return self.spacing.wanted(1 / r, 1 / r) if self.centers is None else np.full_like(r, self.centers)

    def outer(self, radius: ArrayLike) -> FloatArray:
        """Return the radius of the outermost track, m, about the same center as the (inner) one of a radius."""
        r = np.asarray(radius, dtype=np.float64)
        return _inward(r + easement_shift(self.ease, r) + self.apart(r), self.ease) if self.two else r


def usual_helix_build(stock: Plan) -> HelixBuild:
    """Return a round helix of one track on the deck that the plan with the stock states, else on the usual one.

    The clear height is the practice's (NEM 102, or NMRA S-7 for modern stock); the edge is half the stock's width and
    the room kept beside it.
    """
    return HelixBuild(
        straight=0.0,
        ease=0.0,
        **structure_of(stock)._asdict(),
        clear=clear_height(stock.scale, stock.practice),
        edge=0.5 * stock.scale.stock_width + stock.scale.side_clearance,
        spacing=spacing_of(stock),
    )


@dataclass(frozen=True, slots=True)
class Helix:
    """A helix: radius of its (inner) track, turns, total rise; lengths in m.

    It climbs evenly from the start of its first curve to the end of its last. A round one of radius R and N turns is
    2πR N + e long with an easement e at each end (each easement turns e / 2R, as long an arc would turn e / R).
    """

    radius: Meters
    turns: Share
    rise: Meters
    build: HelixBuild

    def length_at(self, radius: float) -> Meters:
        """Return the length of the climb on a track of a radius, m."""
        per_turn, once = lengths_of(self.build, self.turns)
        return per_turn * radius + once

    @property
    def length(self) -> Meters:
        """Length of the climb on the (inner) track, m."""
        return self.length_at(self.radius)

    @property
    def outer_radius(self) -> Meters:
        """Radius of the outermost track, m."""
        return float(self.build.outer(self.radius))

    @property
    def grade(self) -> Ratio:
        """Grade of the (inner) track."""
        return self.rise / self.length

    @property
    def outer_grade(self) -> Ratio:
        """Grade of the outermost track, which is longer for the same rise, and so flatter."""
        return self.rise / self.length_at(self.outer_radius)

    @property
    def rise_per_turn(self) -> Meters:
        """Rise in one whole turn, m, where a turn goes on in another."""
        return self.grade * turn_length(self.build, self.radius)

    def effective_grade(self, coefficient: float, *, outer: bool = False) -> Ratio:
        """Return the grade with what its curves add, C / R, on the (inner) or the outermost track."""
        radius, grade = (self.outer_radius, self.outer_grade) if outer else (self.radius, self.grade)
        return grade + coefficient / radius

    @property
    def stacked(self) -> bool:
        """Whether any turn lies over another."""
        return self.turns > 1 - 1e-9

    def clear_left(self, vertical: float) -> Meters:
        """Return the least clear height left over a railhead, m, under the deck of the turn above.

        Between two turns that is the rise per turn less track, roadbed and deck. At the foot and at the top it is less:
        there a level approach leads in beside the helix, under (or over) track that is lower (or higher) by what it
        climbs until the approach is clear of it; and a vertical curve lifts the foot. Stock takes half a fouling
        distance to either side, and more where it swings out on a curve. So an approach to a track of radius r, with
        stock up to b inside it, is clear of a turn of radius R, with stock up to a outside it, at an angle of
        arccos((r - b) / (R + a)).

        Parameters
        ----------
        vertical
            Length of the vertical curves, m.
        """
        return float(clear_height_left(self.build, self.radius, self.grade, self.rise_per_turn, vertical))

    def short_by(self, vertical: float) -> Meters:
        """Return how much of the clear height wanted is lacking, m; 0 for up to a thousandth of a millimeter."""
        short = self.build.clear - self.clear_left(vertical) if self.stacked else 0.0
        return short if short > HEADROOM_TIE else 0.0

    @property
    def floor(self) -> tuple[Meters, Meters]:
        """Length and width of the floor it needs, m, without its approaches.

        An easement lies outside its curve by e² / 24 R at most (textbooks) and reaches e / 2 out of a half turn.
        """
        build, radius = self.build, self.outer_radius
        width = 2 * (radius + easement_shift(build.ease, radius) + build.edge)
        if not build.straight:
            return width, width
        return 2 * (radius + build.edge) + build.straight + build.ease, width

    def vertical(self, stock: Plan) -> Meters:
        """Return the length of its vertical curves, m: as stated, else what is usual for its grade."""
        stated = self.build.vertical
        return usual_vertical_curve(self.grade, stock) if stated is None else stated

    def hill(self, stock: Plan, directions: Mapping[str, Direction] | None = None) -> Hill:
        """Return it as a plan with the stock of another: level approaches as long as the vertical curves at both ends.

        With two tracks the outer climbs (route ``Up``), the inner has a route of its own (``Up inner``), and what comes
        down runs on the inner.
        """
        vertical, unit = self.vertical(stock), stock.unit
        remarks = [
            "A helix as gradehaul helix designed it. Run it with: gradehaul check",
            f"floor needed: {' by '.join(describe(side, 'length', unit) for side in self.floor)}",
            *textwrap.wrap(GUARD, 110),
        ]
        if short := self.short_by(vertical):
            words = describe(short, "length", unit)
            remarks.insert(1, f"TOO LOW: the deck of a turn leaves {words} too little over the railhead below")
        if not self.build.two:
            lines = [HillLine("Helix", self._tracks("Helix", self.radius, vertical, unit))]
        else:
            apart = float(self.build.apart(self.radius))
            outer = self._tracks("Outer", self.outer_radius, vertical, unit)
            inner = self._tracks("Inner", self.radius, vertical, unit)
            lines = [
                HillLine("Outer", outer, "Outer foot", "Outer top", UP, 0.0),
                HillLine("Inner", inner, "Inner foot", "Inner top", f"{UP} inner", apart),
            ]
        deck = Deck(self.build.deck, self.build.roadbed, self.build.track)
        ways = directions or directions_of(stock)
        return hill_of(stock, "Helix", lines, self.rise, vertical, remarks, ways, deck)

    def _tracks(self, name: str, radius: float, vertical: float, unit: str) -> tuple[str, ...]:
        level = (f"straight = {length_text(vertical, unit)}, rise = 0",) if vertical else ()
        curve = f"left = {length_text(radius, unit)}, angle = "
        ease = f", ease = {length_text(self.build.ease, unit)}" if self.build.ease else ""
        if not self.build.straight:
            return (*level, f'name = "{name}", {curve}{360 * self.turns:.13g}{ease}', *level)
        halves = round(2 * self.turns)
        side = f"straight = {length_text(self.build.straight, unit)}"
        around = [f"{curve}180{ease}", side] * halves
        return (*level, *around[:-1], *level)


def easement_shift(ease: float, radius: _Length) -> _Length:
    """Return how far easements of a length move their curve inward, m: e² / 24 R (textbooks).

    Examples
    --------
    >>> round(1000 * easement_shift(0.3, 0.6), 3)
    6.25
    """
    return ease**2 / (24 * radius)


def _inward(reach: _Length, ease: float) -> _Length:
    """Return the radius of a curve that reaches so far out of its center with its easements, R + e² / 24 R, m."""
    root: _Length = np.sqrt(np.maximum(reach**2 - ease**2 / 6, 0.0))
    return 0.5 * (reach + root)


def clear_height_left(
    build: HelixBuild, radius: ArrayLike, grade: ArrayLike, rise_per_turn: ArrayLike, vertical: ArrayLike
) -> FloatArray:
    """Return what `Helix.clear_left` does, for arrays of one shape, m, the grades plain ratios."""
    r, g, h, v = (np.asarray(value, dtype=np.float64) for value in (radius, grade, rise_per_turn, vertical))
    outer, half = build.outer(r), 0.5 * build.spacing.fouling
    bends = build.spacing.overhang(1 / r) if build.ease else 0.0  # an eased approach bends at its foot
    inside = np.maximum(r - half - bends, 0.0)
    angle = np.arccos(inside / (outer + half + build.spacing.overhang(1 / outer)))
    begun = build.straight + 0.5 * build.ease if build.straight else -0.5 * build.ease
    before = inside * np.tan(angle) + begun  # from there to where the climb begins
    level = np.where(v > 0, v, 1.0)
    lifted = np.where(before > -0.5 * v, np.maximum(0.5 * v - before, 0.0) ** 2 / (2 * level), -before)
    return np.asarray(h - build.structure - g * np.maximum(0.125 * v, r * angle + begun + lifted))


def lengths_of(build: HelixBuild, turns: float) -> tuple[float, float]:
    """Return (a, b) with the length of a climb = a * radius + b, m."""
    if not build.straight:
        return 2 * math.pi * turns, build.ease
    return 2 * math.pi * turns, 2 * turns * build.ease + (2 * turns - 1) * build.straight


def turn_length(build: HelixBuild, radius: float) -> float:
    """Return the length of one turn that goes on in another, m."""
    return 2 * math.pi * radius + (2 * (build.ease + build.straight) if build.straight else 0.0)


def radius_in(floor: tuple[float, float], build: HelixBuild) -> float:
    """Return the largest (inner) radius that a floor holds, m."""
    long, wide = max(floor), min(floor)
    reach = 0.5 * wide - build.edge
    if build.straight:
        outer = 0.5 * (long - build.straight - build.ease) - build.edge
        reach = min(reach, outer + easement_shift(build.ease, outer)) if outer > 0 else 0.0
    radius = reach
    for _ in range(_ROUNDS):  # the sharper the inner track, the farther out the other
        inner = reach - float(build.apart(radius))
        if inner <= 0 or inner**2 < build.ease**2 / 6:
            radius = 0.0
            break
        radius = float(_inward(inner, build.ease))
    if radius <= 0:
        raise DesignError(
            "the floor is too small for its edges, easements and sides",
            place="--floor",
            found=f"{1000 * long:.4g} mm by {1000 * wide:.4g} mm",
            write="a larger floor",
        )
    return radius
