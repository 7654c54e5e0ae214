"""The weightiest set of track that may be filmed while every train still gets by, proven or with its gap."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gradehaul.treatment.needs import Tight, hardest

if TYPE_CHECKING:
    from scipy.sparse import csr_array

PATIENCE = 20.0
"""Seconds after which the best choice found so far is taken, with its gap."""


@dataclass(frozen=True, slots=True)
class Choice:
    """The units to keep clean, and by what share of its weight a better choice could at most beat this one: 0, proven.

    `why` has for every unit kept clean the place that would fail first, and most, if it were filmed too.
    """

    kept: frozenset[int]
    gap: float
    why: Mapping[int, Tight]


def choose(tight: Sequence[Tight], weights: Mapping[int, float], *, patience: float = PATIENCE) -> Choice:
    """Choose which units to film so that no tight place falls short and the filmed weight is greatest.

    A unit that falls short at some place when it alone is filmed stays clean in any case; with one locomotive to a
    train that settles all. Where the film under one locomotive trades against the film under another, the rest is a
    mixed-integer program: x of each unit is 1 where it is filmed, and y of each set of units under a locomotive is at
    least the x of each of them; the losses of all locomotives at a place, each times its y, must not exceed what is to
    spare there.

    Parameters
    ----------
    tight
        The places that set bounds to the film; none of them falls short without film.
    weights
        What filming each unit is worth, for all units that may be filmed; above 0.
    patience
        Seconds after which the best choice found so far is taken.
    """
    tight = hardest(tight)
    at_unit: dict[int, list[Tight]] = defaultdict(list)
    for place in tight:
        for number in frozenset().union(*place.under):
            at_unit[number].append(place)
    kept = {number for number, places in at_unit.items() if any(_alone(p, number) > 0 for p in places)}
    open_ = [place for place in tight if place.short(lambda under: bool(under - kept)) > 0]
    gap = 0.0
    if open_:
        traded = sorted(frozenset().union(*(under for place in open_ for under in place.under)) - kept)
        filmed, bound = _solved(open_, traded, kept, weights, patience)
        kept |= set(traded) - filmed
        _mend(open_, kept, weights)
    _film_more(at_unit, kept, weights)
    if open_:
        total = sum(weights[n] for n in traded if n not in kept)
        gap = max(0.0, (bound - total) / max(total, 1e-12)) if bound > total * (1 + 1e-6) else 0.0
    why = {number: max(at_unit[number], key=lambda p: _with(p, number, kept)) for number in kept}
    return Choice(frozenset(kept), gap, why)


def _alone(place: Tight, number: int) -> float:
    """Return by how much a place falls short with one unit filmed and no other."""
    return place.short(lambda under: number in under)


def _with(place: Tight, number: int, kept: Collection[int]) -> float:
    """Return by how much a place falls short with one more unit filmed beside those not kept clean."""
    return place.short(lambda under: any(other == number or other not in kept for other in under))


def _film_more(at_unit: Mapping[int, Sequence[Tight]], kept: set[int], weights: Mapping[int, float]) -> None:
    """Film each unit that can be filmed beside the others, the weightiest first: no choice one larger is left."""
    for number in sorted(kept, key=lambda n: (-weights[n], n)):
        if all(_with(place, number, kept) <= 0 for place in at_unit[number]):
            kept.discard(number)


def _mend(tight: Sequence[Tight], kept: set[int], weights: Mapping[int, float]) -> None:
    """Keep more units clean where a place falls short by less than the solver's tolerance."""
    for place in tight:
        while place.short(lambda under: bool(under - kept)) > 0:
            left = frozenset().union(*place.under) - kept
            kept.add(min(left, key=lambda n: (weights[n], n)))


def _solved(
    tight: Sequence[Tight], traded: Sequence[int], kept: set[int], weights: Mapping[int, float], patience: float
) -> tuple[set[int], float]:
    """Return the units to film out of those that are traded, and a bound on the weight that can be filmed."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    column = {number: k for k, number in enumerate(traded)}
    joint: dict[frozenset[int], int] = {}
    rows: list[dict[int, float]] = []
    most: list[float] = []
    for place in tight:
        row: dict[int, float] = defaultdict(float)
        for under, loss in zip(place.under, place.loss, strict=True):
            open_ = under - kept
            if len(open_) == 1:
                row[column[next(iter(open_))]] += loss
            elif open_:
                row[joint.setdefault(open_, len(traded) + len(joint))] += loss
        rows.append(row)
        most.append(sum(place.base) - place.least)
    for open_, y in joint.items():  # x - y <= 0
        for number in sorted(open_):
            rows.append({column[number]: 1.0, y: -1.0})
            most.append(0.0)
    count = len(traded) + len(joint)
    worth = np.zeros(count)
    worth[: len(traded)] = [weights[number] for number in traded]
    integral = np.zeros(count, dtype=np.intp)
    integral[: len(traded)] = 1
    found = milp(
        -worth / worth.max(),
        integrality=integral,
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(_matrix(rows, count), -np.inf, np.array(most)),
        options={"time_limit": patience, "mip_rel_gap": 0.0},
    )
    bound = -float(found.mip_dual_bound) * float(worth.max()) if found.mip_dual_bound is not None else float(sum(worth))
    if found.x is None:  # nothing found in time: what can be filmed one by one
        return set(), bound
    return {number for number, x in zip(traded, found.x, strict=False) if x > 0.5}, bound


def _matrix(rows: Sequence[Mapping[int, float]], columns: int) -> csr_array[np.float64]:
    from scipy.sparse import csr_array

    values = [value for row in rows for value in row.values()]
    where = [column for row in rows for column in row]
    starts = np.cumsum([0, *(len(row) for row in rows)])
    return csr_array((values, where, starts), shape=(len(rows), columns))
