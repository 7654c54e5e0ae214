"""What is given of a climb: what follows from it, what is missing, and what contradicts."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import NamedTuple

from gradehaul.errors import DesignError
from gradehaul.quantities import describe

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

    Raises
    ------
    DesignError
        Too little is given (what is missing), figures contradict one another, or one is 0 or less.
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
        found = " and ".join(name.replace("_", " ") for name in known) or "nothing of it"
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
