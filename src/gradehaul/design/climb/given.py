"""What is given of a climb: what follows from it, what is missing, what contradicts, and which helix it is."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import NamedTuple

import numpy as np

from gradehaul.design.climb.helix import Helix, HelixBuild, lengths_of, radius_in, turn_length
from gradehaul.errors import DesignError
from gradehaul.haulage.answers.unusual import STEEP
from gradehaul.quantities import describe
from gradehaul.quantities.si import Meters, Ratio, Share

AGREE = 5e-4
"""Figures that say one thing twice may differ by this share, which is rounding of what a person writes."""


class Relation(NamedTuple):
    """A figure that follows from others, all in SI units."""

    name: str
    of: tuple[str, ...]
    value: Callable[[Mapping[str, float]], float]


def option(name: str) -> str:
    """Return the option by which a figure is given."""
    return f"--{name.replace('_', '-')}"


def described(name: str, value: float | tuple[float, float], unit: str) -> str:
    """Return a figure in words, with its name.

    Examples
    --------
    >>> described("rise_per_turn", 0.1016, "in"), described("turns", 3.0, "in"), described("floor", (1.2, 0.9), "mm")
    ('rise per turn 4 in', '3 turns', 'floor 1200 mm by 900 mm')
    """
    if isinstance(value, tuple):
        return f"{name} {' by '.join(describe(side, 'length', unit) for side in value)}"
    if name == "turns":
        return f"{value:.4g} turns"
    figure = describe(value, "grade", "%") if name == "grade" else describe(value, "length", unit)
    return f"{name.replace('_', ' ')} {figure}"


def follows(names: Collection[str], rules: Sequence[Relation]) -> frozenset[str]:
    """Return some figures and all that follow from them, by name."""
    found = frozenset(names)
    while more := {rule.name for rule in rules if found.issuperset(rule.of)} - found:
        found |= more
    return found


def solved(
    what: str, given: Mapping[str, float | None], rules: Sequence[Relation], unit: str, *, write: str, floor: str = ""
) -> dict[str, float]:
    """Return all figures of a climb by what is given of it, and each figure with those it follows from, in every way.

    Messages call it `what` and say to `write` where no one figure more would do; the radius came of a `floor`, if any.
    """
    known = {name: value for name, value in given.items() if value is not None}
    shown = {name: described(name, value, unit) for name, value in known.items()}
    for name, value in known.items():
        if not (math.isfinite(value) and value > 0):
            raise DesignError(f"{name.replace('_', ' ')} must be more than 0", place=option(name), found=shown[name])
    if floor:
        shown["radius"] = floor
    every = {rule.name for rule in rules}
    if follows(known, rules) != every:
        more = [option(name) for name in sorted(every - set(known)) if follows({*known, name}, rules) == every]
        more += ["--floor"] * ("--radius" in more)
        found = " and ".join(name.replace("_", " ") for name in known) or "none"
        write = f"one more of {', '.join(more)}" if more else write
        raise DesignError(f"not enough is known to size the {what}", found=found, write=write)
    words = ", ".join(shown.values())
    while len(known) < len(every):
        rule = next(each for each in rules if each.name not in known and known.keys() >= set(each.of))
        known[rule.name] = rule.value(known)
        if known[rule.name] <= 0:
            raise DesignError(f"no {what} has {words}", found=f"{rule.name.replace('_', ' ')} of 0 or less")
    for rule in rules:
        value = rule.value(known)
        if rule.name in shown and abs(value - known[rule.name]) > AGREE * known[rule.name]:
            found = f"{described(rule.name, value, unit)} by the others"
            raise DesignError(f"{words} contradict one another", found=found, write="without one of them")
    return known


@dataclass(frozen=True, slots=True)
class HelixGiven:
    """What is given of a helix: lengths in m, the grade a plain ratio, the floor its two sides; None where open."""

    radius: Meters | None = None
    rise_per_turn: Meters | None = None
    rise: Meters | None = None
    turns: Share | None = None
    grade: Ratio | None = None
    floor: tuple[Meters, Meters] | None = None


def _rules(build: HelixBuild) -> Sequence[Relation]:
    """Return each figure with those that it follows from.

    Two relations tie all five: rise per turn = grade x length of a turn, and rise = grade x length of the climb.
    """

    def climb(radius: float, turns: float) -> float:
        per_turn, once = lengths_of(build, turns)
        return per_turn * radius + once

    def radius_by_turns(turns: float, length: float) -> float:
        per_turn, once = lengths_of(build, turns)
        return (length - once) / per_turn

    straights = 2 * (build.ease + build.straight) if build.straight else 0.0
    return (
        Relation("grade", ("radius", "rise_per_turn"), lambda k: k["rise_per_turn"] / turn_length(build, k["radius"])),
        Relation("rise_per_turn", ("radius", "grade"), lambda k: k["grade"] * turn_length(build, k["radius"])),
        Relation(
            "radius",
            ("rise_per_turn", "grade"),
            lambda k: (k["rise_per_turn"] / k["grade"] - straights) / (2 * math.pi),
        ),
        Relation("rise", ("radius", "turns", "grade"), lambda k: k["grade"] * climb(k["radius"], k["turns"])),
        Relation("grade", ("radius", "turns", "rise"), lambda k: k["rise"] / climb(k["radius"], k["turns"])),
        Relation(
            "turns",
            ("radius", "grade", "rise"),
            lambda k: turns_of(k["radius"], k["grade"] * turn_length(build, k["radius"]), k["rise"], build),
        ),
        Relation("radius", ("turns", "grade", "rise"), lambda k: radius_by_turns(k["turns"], k["rise"] / k["grade"])),
    )


def turns_of(radius: float, rise_per_turn: float, rise: float, build: HelixBuild) -> float:
    """Return the turns that a rise takes at a rise per turn; lengths are linear in turns."""
    turn = turn_length(build, radius)
    length = rise * turn / rise_per_turn
    return (length + build.straight) / turn if build.straight else (length - build.ease) / turn


def helix_of(given: HelixGiven, build: HelixBuild, unit: str = "mm") -> Helix:
    """Return the helix that follows from what is given of it."""
    rules = _rules(build)
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
    if build.straight and abs(2 * helix.turns - round(2 * helix.turns)) > 1e-6:
        whole = max(1, round(2 * helix.turns)) / 2
        raise DesignError(
            "a helix with straight sides has a whole number of half turns",
            place="--turns",
            found=f"{helix.turns:.4g}",
            write=f"--turns {whole:g} and leave another figure out",
        )
    if build.two and build.centers is not None:
        bends = np.array([1 / helix.radius, 1 / helix.outer_radius])
        least, wanted = (float(each(*bends)) for each in (build.spacing.least, build.spacing.wanted))
        if build.centers < least:
            raise DesignError(
                "two tracks this close foul one another on this curve",
                place="--centers",
                found=describe(build.centers, "length", unit),
                write=f"at least {describe(wanted, 'length', unit)}, or leave it out",
            )
    curve = helix.radius * (math.pi if build.straight else 2 * math.pi * helix.turns)
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
