"""A helix: its geometry, its headroom, its floor and its plan, and which one follows from what is given of it."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import ArrayLike

from gradehaul.design.climb.given import AGREE, Relation, described, follows, solved
from gradehaul.design.climb.hill import (
    Direction,
    Hill,
    directions_of,
    hill_of,
    length_text,
    usual_vertical_curve,
)
from gradehaul.design.deck import STRENGTH, structure_of
from gradehaul.errors import DesignError
from gradehaul.haulage.answers.check_notes import STEEP
from gradehaul.plan.records import Deck, Plan
from gradehaul.quantities import describe
from gradehaul.quantities.si import Meters, Ratio, Share
from gradehaul.scales import clear_height
from gradehaul.track.piecewise import FloatArray

GUARD = (
    "A train can fall from a helix: put a barrier or a raised edge at least as high as the axles along every open "
    f"side; keep children away from open drops. {STRENGTH}"
)
"""What is said with every helix."""

HEADROOM_TIE = 1e-6
"""Headroom that is short by no more, m, is enough."""
UNEASED = 60.0
"""Radius over gauge beyond which no transition curve is needed (NEM 113, read)."""


@dataclass(frozen=True, slots=True)
class HelixBuild:
    """How a helix is built, all lengths in m."""

    ease: Meters
    """Length of the easement at each end of its curve."""
    deck: Meters
    roadbed: Meters
    track: Meters
    """Thickness of the deck, of the roadbed on it, and height of the track on that."""
    clear: Meters
    """Clear height wanted above the railhead."""
    edge: Meters
    """From the center of the track to the edge of the floor it needs."""
    near: Meters
    """Distance between track centers at which stock beside a track is clear of what is over it."""
    vertical: Meters | None = None
    """Length of the vertical curves; None for what is usual for the grade."""

    @property
    def structure(self) -> Meters:
        """Deck, roadbed and track together, m."""
        return self.deck + self.roadbed + self.track


def usual_helix_build(stock: Plan) -> HelixBuild:
    """Return a helix on the deck that the plan with the stock states, else on the usual one.

    The clear height is the practice's (NEM 102, or NMRA S-7 for modern stock); the edge is half the stock's width and
    the room kept beside it.

    Examples
    --------
    >>> from gradehaul.design.climb.hill import stock_of
    >>> build = usual_helix_build(stock_of(None, scale="H0", unit="mm", practice="NEM"))
    >>> build.clear, round(1000 * build.structure, 1)
    (0.059, 24.9)
    """
    return HelixBuild(
        ease=0.0,
        **structure_of(stock)._asdict(),
        clear=clear_height(stock.scale, stock.practice),
        edge=0.5 * stock.scale.stock_width + stock.scale.side_clearance,
        near=stock.scale.fouling_distance,
    )


@dataclass(frozen=True, slots=True)
class Helix:
    """A helix: radius, turns, total rise; lengths in m.

    It climbs evenly from the start of its curve to the end. One of radius R and N turns is 2πR N + e long with an
    easement e at each end (each easement turns e / 2R, as long an arc would turn e / R).

    Examples
    --------
    A helix of radius 24 in that rises 4 in a turn has a grade of 4 / (2π 24) = 2.65 %.

    >>> from gradehaul.plan import read_plan
    >>> helix = Helix(24 * 0.0254, 3.0, 12 * 0.0254, usual_helix_build(read_plan('scale = "HO"')))
    >>> round(100 * helix.grade, 2), round(helix.rise_per_turn / 0.0254, 6)
    (2.65, 4.0)
    """

    radius: Meters
    turns: Share
    rise: Meters
    build: HelixBuild

    @property
    def length(self) -> Meters:
        """Length of the climb, m."""
        return 2 * math.pi * self.turns * self.radius + self.build.ease

    @property
    def grade(self) -> Ratio:
        """Its grade."""
        return self.rise / self.length

    @property
    def rise_per_turn(self) -> Meters:
        """Rise in one whole turn, m, where a turn goes on in another."""
        return self.grade * 2 * math.pi * self.radius

    def effective_grade(self, coefficient: float) -> Ratio:
        """Return the grade with what its curve adds, C / R."""
        return self.grade + coefficient / self.radius

    @property
    def stacked(self) -> bool:
        """Whether any turn lies over another."""
        return self.turns > 1 - 1e-9

    def clear_left(self, vertical: float) -> Meters:
        """Return the least clear height left over a railhead, m, under the deck of the turn above.

        Between two turns that is the rise per turn less track, roadbed and deck. At the foot and at the top it is less:
        there a level approach leads in beside the helix, under (or over) track that is lower (or higher) by what it
        climbs until the approach is clear of it; and a vertical curve lifts the foot. The approach is clear of a track
        of radius R once it is a fouling distance d outside, at an angle of arccos(R / (R + d)).

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

        An easement lies outside its curve by e² / 24 R at most (textbooks).
        """
        width = 2 * (self.radius + easement_shift(self.build.ease, self.radius) + self.build.edge)
        return width, width

    def vertical(self, stock: Plan) -> Meters:
        """Return the length of its vertical curves, m: as stated, else what is usual for its grade."""
        stated = self.build.vertical
        return usual_vertical_curve(self.grade, stock) if stated is None else stated

    def hill(self, stock: Plan, directions: Mapping[str, Direction] | None = None) -> Hill:
        """Return it as a plan with the stock of another, with level approaches as long as the vertical curves."""
        vertical, unit = self.vertical(stock), stock.unit
        remarks = [
            "A helix as gradehaul helix designed it. Run it with: gradehaul check",
            f"floor needed: {' by '.join(describe(side, 'length', unit) for side in self.floor)}",
            *textwrap.wrap(GUARD, 110),
        ]
        if short := self.short_by(vertical):
            words = describe(short, "length", unit)
            remarks.insert(1, f"TOO LOW: the deck of a turn leaves {words} too little over the railhead below")
        level = (f"straight = {length_text(vertical, unit)}, rise = 0",) if vertical else ()
        ease = f", ease = {length_text(self.build.ease, unit)}" if self.build.ease else ""
        turns = f'name = "Helix", left = {length_text(self.radius, unit)}, angle = {360 * self.turns:.13g}{ease}'
        deck = Deck(self.build.deck, self.build.roadbed, self.build.track)
        tracks = (*level, turns, *level)
        return hill_of(stock, "Helix", tracks, self.rise, vertical, remarks, directions or directions_of(stock), deck)


def easement_shift(ease: float, radius: float) -> float:
    """Return how far easements of a length move their curve inward, m: e² / 24 R (textbooks).

    Examples
    --------
    >>> round(1000 * easement_shift(0.3, 0.6), 3)
    6.25
    """
    return ease**2 / (24 * radius)


def clear_height_left(
    build: HelixBuild, radius: ArrayLike, grade: ArrayLike, rise_per_turn: ArrayLike, vertical: ArrayLike
) -> FloatArray:
    """Return what `Helix.clear_left` does, for arrays of one shape, m, the grades plain ratios."""
    r, g, h, v = (np.asarray(value, dtype=np.float64) for value in (radius, grade, rise_per_turn, vertical))
    angle = np.arccos(r / (r + build.near))
    beside = r * angle - np.minimum(r * angle, 0.5 * build.ease)
    lifted = np.maximum(0.0, 0.5 * v - r * np.tan(angle)) ** 2 / np.where(v > 0, 2 * v, 1.0)
    return np.asarray(h - build.structure - g * np.maximum(0.125 * v, beside + lifted))


@dataclass(frozen=True, slots=True)
class HelixGiven:
    """What is given of a helix: lengths in m, the grade a plain ratio, the floor its two sides; None where open."""

    radius: Meters | None = None
    rise_per_turn: Meters | None = None
    rise: Meters | None = None
    turns: Share | None = None
    grade: Ratio | None = None
    floor: tuple[Meters, Meters] | None = None


def _rules(ease: float) -> Sequence[Relation]:
    """Return each figure with those that it follows from.

    Two relations tie all five: rise per turn = grade x length of a turn, and rise = grade x length of the climb.
    """

    def turn(known: Mapping[str, float]) -> float:
        return 2 * math.pi * known["radius"]

    return (
        Relation("grade", ("radius", "rise_per_turn"), lambda k: k["rise_per_turn"] / turn(k)),
        Relation("rise_per_turn", ("radius", "grade"), lambda k: k["grade"] * turn(k)),
        Relation("radius", ("rise_per_turn", "grade"), lambda k: k["rise_per_turn"] / k["grade"] / (2 * math.pi)),
        Relation("rise", ("radius", "turns", "grade"), lambda k: k["grade"] * (k["turns"] * turn(k) + ease)),
        Relation("grade", ("radius", "turns", "rise"), lambda k: k["rise"] / (k["turns"] * turn(k) + ease)),
        Relation("turns", ("radius", "grade", "rise"), lambda k: (k["rise"] / k["grade"] - ease) / turn(k)),
        Relation(
            "radius",
            ("turns", "grade", "rise"),
            lambda k: (k["rise"] / k["grade"] - ease) / (2 * math.pi * k["turns"]),
        ),
    )


def helix_of(given: HelixGiven, build: HelixBuild, unit: str = "mm") -> Helix:
    """Return the helix that follows from what is given of it.

    Raises
    ------
    DesignError
        Figures that contradict one another (which), that leave the helix open (what is missing), or that no helix has.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> build = usual_helix_build(read_plan('scale = "HO"'))
    >>> helix = helix_of(HelixGiven(rise_per_turn=4 * 0.0254, grade=0.02, turns=3), build)
    >>> round(helix.radius / 0.0254, 1)
    31.8
    >>> helix_of(HelixGiven(radius=0.6096, turns=3), build)
    Traceback (most recent call last):
    gradehaul.errors.DesignError: not enough is known to size the helix, got radius and turns; write one more of
    --grade, --rise, --rise-per-turn
    """
    rules = _rules(build.ease)
    known = asdict(given)
    floor, words = known.pop("floor"), ""
    if floor is not None:
        words = described("floor", floor, unit)
        if not all(math.isfinite(side) and side > 0 for side in floor):
            raise DesignError("floor must be more than 0", place="--floor", found=words)
        if "radius" in follows([name for name, value in known.items() if value is not None], rules):
            words = ""
        else:
            known["radius"] = radius_in(floor, build)
    write = "--radius or --floor, --rise-per-turn or --grade, and --turns or --rise"
    found = solved("helix", known, rules, unit, write=write, floor=words)
    helix = Helix(found["radius"], found["turns"], found["rise"], build)
    _refuse_impossible(helix, unit)
    if floor is not None:
        _refuse_outside(helix, floor, given, unit)
    return helix


def _refuse_impossible(helix: Helix, unit: str) -> None:
    build = helix.build
    if helix.grade > STEEP * (1 + 1e-9):
        raise DesignError(
            f"a helix is no steeper than {describe(STEEP, 'grade', '%')}, which is rack-railway country",
            found=describe(helix.grade, "grade", "%"),
            write="a larger radius, or less rise",
        )
    curve = 2 * math.pi * helix.turns * helix.radius
    if curve < build.ease:
        raise DesignError(
            "the easements are longer than the curve between them",
            place="--ease",
            found=describe(build.ease, "length", unit),
            write=f"at most {describe(curve, 'length', unit)}",
        )


def _refuse_outside(helix: Helix, floor: tuple[float, float], given: HelixGiven, unit: str) -> None:
    """Refuse a helix that is larger than its floor."""
    figures = {name: value for name, value in asdict(given).items() if value is not None and name != "floor"}
    words = [described(name, value, unit) for name, value in figures.items()]
    if any(need > side * (1 + AGREE) for need, side in zip(helix.floor, (max(floor), min(floor)), strict=True)):
        raise DesignError(
            f"{described('floor', floor, unit)} contradicts {', '.join(words)}",
            found=f"{' by '.join(describe(side, 'length', unit) for side in helix.floor)} needed",
            write="a larger floor",
        )


def radius_in(floor: tuple[float, float], build: HelixBuild) -> float:
    """Return the largest radius that a floor holds, m.

    Raises
    ------
    DesignError
        The floor holds none.
    """
    half = 0.5 * min(floor) - build.edge
    under = half**2 - build.ease**2 / 6
    if half <= 0 or under < 0:
        long, wide = (1000 * each for each in (max(floor), min(floor)))
        raise DesignError(
            "the floor is too small for its edges and easements",
            place="--floor",
            found=f"{long:.4g} mm by {wide:.4g} mm",
            write="a larger floor",
        )
    return 0.5 * (half + math.sqrt(under))
