"""What is given of a climb: what follows from it, what is missing, and what contradicts."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

from gradehaul.errors import DesignError
from gradehaul.quantities import describe

AGREE = 5e-4
"""Figures that say one thing twice may differ by this share, which is rounding of what a person writes."""


class Given(NamedTuple):
    """A figure of a climb, and the words of all that was given and leads to it."""

    value: float
    words: tuple[str, ...]


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


def stated(figures: Mapping[str, float | None], unit: str) -> dict[str, Given]:
    """Return the figures that are given, by name.

    Raises
    ------
    DesignError
        One of 0 or less.
    """
    found: dict[str, Given] = {}
    for name, value in figures.items():
        if value is None:
            continue
        words = described(name, value, unit)
        if not (math.isfinite(value) and value > 0):
            raise DesignError(f"{name.replace('_', ' ')} must be more than 0", place=option(name), found=words)
        found[name] = Given(value, (words,))
    return found


def follows(names: Collection[str], rules: Sequence[Relation]) -> frozenset[str]:
    """Return some figures and all that follow from them, by name."""
    found = frozenset(names)
    while more := {rule.name for rule in rules if found.issuperset(rule.of)} - found:
        found |= more
    return found


def solved(
    what: str,
    given: Mapping[str, Given],
    rules: Sequence[Relation],
    unit: str,
    *,
    write: str,
    also: Mapping[str, str] = MappingProxyType({}),
) -> dict[str, float]:
    """Return all figures of a climb.

    Parameters
    ----------
    what
        What it is, in a word.
    given
        What is given of it.
    rules
        Each figure with those that it follows from, in every way there is.
    unit
        The unit in which messages have lengths.
    write
        What to give where no single figure more would do.
    also
        Further options by the figure that follows from each.

    Raises
    ------
    DesignError
        Too little is given (what is missing), figures contradict one another (which), or one would be 0 or less.
    """
    every = {rule.name for rule in rules}
    if follows(given, rules) != every:
        more = [option(name) for name in sorted(every - set(given)) if follows({*given, name}, rules) == every]
        more += [words for name, words in also.items() if option(name) in more]
        found = " and ".join(name.replace("_", " ") for name in given) or "nothing of it"
        write = f"one more of {', '.join(more)}" if more else write
        raise DesignError(f"not enough is known to size the {what}", found=found, write=write)
    known = dict(given)
    while len(known) < len(every):
        rule = next(each for each in rules if each.name not in known and known.keys() >= set(each.of))
        words = tuple(dict.fromkeys(word for name in rule.of for word in known[name].words))
        value = rule.value({name: each.value for name, each in known.items()})
        if value <= 0:
            raise DesignError(
                f"no {what} has {' and '.join(words)}", found=f"{rule.name.replace('_', ' ')} of 0 or less"
            )
        known[rule.name] = Given(value, words)
    values = {name: each.value for name, each in known.items()}
    for rule in rules:
        value = rule.value(values)
        if abs(value - values[rule.name]) > AGREE * abs(values[rule.name]):
            others = tuple(dict.fromkeys(word for name in rule.of for word in known[name].words))
            own = [word for word in known[rule.name].words if word not in others] or list(known[rule.name].words)
            rest = [word for word in others if word not in own]
            raise DesignError(
                f"{' and '.join(own)} contradicts {' and '.join(rest)}",
                found=f"{described(rule.name, value, unit)} by the latter",
                write="without one of them",
            )
    return values
