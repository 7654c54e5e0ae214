"""What film must not do at once: sets of conditions on the units that together let a train fall short."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from gradehaul.treatment.needs import Bools, TightPlaces
from gradehaul.treatment.units import Numbers

Atom = int
"""A condition on one of n units: its number where film comes on it, its number + n where it is not wiped."""

Cover = frozenset[frozenset[Atom]]
"""Sets of conditions. A train falls short where each set has a true one."""


@dataclass(frozen=True, slots=True)
class Covers:
    """Everything that film must not do at once.

    `alone` has conditions of which none may hold, `pairs` those of which only one of two may, `larger` the rest.
    """

    alone: frozenset[Atom]
    pairs: frozenset[tuple[Atom, Atom]]
    larger: frozenset[Cover]


def covers_of(tight: Sequence[TightPlaces], takes: Bools, clean: Bools) -> Covers:
    """Return what film must not do at once so that no tight place falls short.

    A locomotive loses pull where film comes on any unit under it, or misses the gain of a film that pulls better than
    clean rail where any clean unit under it is not wiped. Every least set of locomotives whose losses together are more
    than is to spare is one cover.

    Parameters
    ----------
    tight
        The places; none of them falls short where nothing is lost.
    takes, clean
        For each unit, whether film would change it, and whether it is clean now.
    """
    alone: set[Atom] = set()
    pairs: set[tuple[Atom, Atom]] = set()
    larger: set[Cover] = set()
    for place in tight:
        for locos, where in _least_sets(place):
            atoms = [_atoms(place, loco, where, takes, clean) for loco in locos]
            if len(locos) == 1:
                alone.update(np.unique(atoms[0][1]).tolist())
            elif len(locos) == 2:
                one, two = _joined(*atoms)
                codes = np.unique(np.stack([np.minimum(one, two), np.maximum(one, two)]), axis=1)
                alone.update(codes[0, codes[0] == codes[1]].tolist())
                pairs.update(zip(*codes[:, codes[0] != codes[1]].tolist(), strict=True))
            else:
                split = [np.split(own, np.searchsorted(at, np.arange(1, where.size))) for at, own in atoms]
                larger.update(frozenset(frozenset(own.tolist()) for own in sets) for sets in zip(*split, strict=True))
    return Covers(frozenset(alone), frozenset(pairs), frozenset(larger))


def _least_sets(place: TightPlaces) -> Iterator[tuple[tuple[int, ...], Numbers]]:
    """Yield sets of locomotives, and the places at which their losses, and those of no fewer of them, are too much."""
    lost = np.maximum(place.loss, place.gain)
    left = place.short - place.gain.sum(axis=0)
    numbers = range(len(place.under))
    fails: dict[tuple[int, ...], Bools] = {}
    for count in range(1, len(place.under) + 1):
        for locos in combinations(numbers, count):
            fails[locos] = left + lost[list(locos)].sum(axis=0) > 0
            least = fails[locos].copy()
            for fewer in combinations(locos, count - 1):
                if fewer:
                    least &= ~fails[fewer]
            where = np.flatnonzero(least)
            if where.size:
                yield locos, _distinct(place, locos, where)


def _distinct(place: TightPlaces, locos: tuple[int, ...], where: Numbers) -> Numbers:
    """Return one of all places with the same units under some locomotives and the same effect of film on them."""
    same = [(place.under[k].lower[where], place.under[k].upper[where], place.gain[k, where] > 0) for k in locos]
    _, first = np.unique(np.stack([row for rows in same for row in rows]), axis=1, return_index=True)
    return where[np.sort(first)]


def _atoms(place: TightPlaces, loco: int, where: Numbers, takes: Bools, clean: Bools) -> tuple[Numbers, Numbers]:
    """Return the conditions under which a locomotive loses pull at some places, each with its place's number."""
    at, units = place.under[loco].at(where).pairs()
    gains = place.gain[loco, where][at] > 0
    counts = np.where(gains, clean[units], takes[units])
    return at[counts], (units + np.where(gains, takes.size, 0))[counts]


def _joined(one: tuple[Numbers, Numbers], two: tuple[Numbers, Numbers]) -> tuple[Numbers, Numbers]:
    """Return every pair of two locomotives' conditions at the same place."""
    (at, first), (at_two, second) = one, two
    counts = np.bincount(at_two, minlength=int(at.max(initial=-1)) + 1)
    begins = np.cumsum(counts) - counts
    times = counts[at]
    within = np.arange(times.sum()) - np.repeat(np.cumsum(times) - times, times)
    return np.repeat(first, times), second[begins[np.repeat(at, times)] + within]
