"""Designs looked for backwards: what is asked of a train, on which rails, why a design will not do, and the search."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from gradehaul.errors import RouteError
from gradehaul.plan.names import instead, nearest, quoted
from gradehaul.plan.records import Plan
from gradehaul.plan.stock import conditions

Need = Literal["climbs", "marginal"]
"""What is asked of a train: that it gets through even if its wheels slip, or only as long as they never do."""


def rails_asked(stock: Plan, rail: str | None) -> tuple[str, ...]:
    """Return the rails on which a train must climb: the one asked for, else the first film's, settled and fresh.

    A film is judged at both ages, since the first day must be lived through.

    Raises
    ------
    RouteError
        No rail condition of this name.
    """
    if rail is None:
        return conditions(list(stock.films)[:1])[1:]
    if rail not in (known := conditions(stock.films)):
        wrong, write = "the stock has no rail condition of this name", instead(rail, known)
        raise RouteError(wrong, place="--rail", found=quoted(rail), write=write)
    return (rail,)


@dataclass(frozen=True, slots=True)
class Stop:
    """Why the next design will not do, and the rail on which the train does not climb where that is why."""

    reason: Literal["head room", "train", "curve", "room"]
    rail: str | None = None


def known_train(stock: Plan, train: str | None) -> str:
    """Return the train asked for, or the only one.

    Raises
    ------
    RouteError
        No train of this name, or several and none named.
    """
    if train is None and len(stock.trains) == 1:
        return next(iter(stock.trains))
    if train is not None and train in stock.trains:
        return train
    near = nearest(train or "", stock.trains)
    names = [near] if near else list(stock.trains)
    write = " or ".join(f"--train {quoted(name)}" for name in names) or "[train.NAME] in the file after --plan"
    raise RouteError(
        "no train is named" if train is None else "the stock has no such train",
        place="--train",
        found="" if train is None else quoted(train),
        write=write,
    )


def least_step(passes: Callable[[int], bool], low: int, high: int, *, looks: int = 24) -> int | None:
    """Return a number of steps that passes while one step less fails, the first found from below; None without one.

    Equally spaced looks find the first that passes, and halving the gap below it does the rest. Where passing is not
    monotone a shorter stretch that passes between two looks can be missed; what is returned still passes.

    Parameters
    ----------
    passes
        The test.
    low, high
        The range, both ends in it.
    looks
        How many places to look at first.

    Examples
    --------
    >>> least_step(lambda k: k >= 437, 1, 1000)
    437
    >>> least_step(lambda k: False, 1, 1000) is None
    True
    """
    if passes(low):
        return low
    step = max(1, -(-(high - low) // looks))
    places = [*range(low, high, step), high]
    passing: int | None = next((place for place in places[1:] if passes(place)), None)
    if passing is None:
        return None
    failing = places[places.index(passing) - 1]
    while passing - failing > 1:
        middle = (passing + failing) // 2
        passing, failing = (middle, failing) if passes(middle) else (passing, middle)
    return passing
