"""The weightiest set of track that may be treated while every train still gets by, proven or with its gap.

Where film under one locomotive alone would be too much, no film may come there. Where film under one locomotive trades
against film under another, the choice is a program in 0 and 1.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np

from gradehaul.network.film_spread import Wheels
from gradehaul.quiet import quietly
from gradehaul.treatment.needs import Bools, TightPlaces
from gradehaul.treatment.units import Numbers

if TYPE_CHECKING:
    from scipy.sparse import csr_array

PATIENCE = 20.0
"""Seconds after which the best choice found so far is taken, with its gap."""

_INFEASIBLE = 2
"""What scipy's milp says where there is no solution."""

Atom = int
"""A condition on one of n units: its number where film comes on it, its number + n where it is not wiped."""


@dataclass(frozen=True, slots=True)
class Covers:
    """Everything that film must not do at once.

    `alone` has conditions of which none may hold, `pairs` those of which only one of two may.
    """

    alone: frozenset[Atom]
    pairs: frozenset[tuple[Atom, Atom]]


def covers_of(tight: Sequence[TightPlaces], takes: Bools, clean: Bools) -> Covers:
    """Return what film must not do at once so that no tight place falls short.

    A locomotive loses pull where film comes on any unit under it, or misses the gain of a film that pulls better than
    clean rail where any clean unit under it is not wiped. It fails alone where that is more than is to spare, else with
    the other where both together are.

    No tight place falls short where nothing is lost. `takes` and `clean` say of each unit whether film would change it,
    and whether it is clean now.
    """
    alone: set[Atom] = set()
    pairs: set[tuple[Atom, Atom]] = set()
    for place in tight:
        for locos, where in _least_sets(place):
            atoms = [_atoms(place, loco, where, takes, clean) for loco in locos]
            if len(locos) == 1:
                alone.update(np.unique(atoms[0][1]).tolist())
            else:
                one, two = _joined(*atoms)
                codes = np.unique(np.stack([np.minimum(one, two), np.maximum(one, two)]), axis=1)
                alone.update(codes[0, codes[0] == codes[1]].tolist())
                pairs.update(zip(*codes[:, codes[0] != codes[1]].tolist(), strict=True))
    return Covers(frozenset(alone), frozenset(pairs))


def _least_sets(place: TightPlaces) -> Iterator[tuple[tuple[int, ...], Numbers]]:
    """Yield sets of locomotives, and the places at which their losses, and those of no fewer of them, are too much."""
    lost = np.maximum(place.loss, place.gain)
    left = place.short - place.gain.sum(axis=0)
    alone = left + lost > 0
    least: dict[tuple[int, ...], Bools] = {(number,): fails for number, fails in enumerate(alone)}
    if len(alone) == 2:
        least[0, 1] = ~alone.any(axis=0) & (left + lost.sum(axis=0) > 0)
    for locos, fails in least.items():
        where = np.flatnonzero(fails)
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


@dataclass(frozen=True, slots=True)
class Choice:
    """The units to treat, and those that no film may reach.

    `weight` is that of the units to treat; no choice has more than `bound`, which is the same where this is proven.
    """

    treated: frozenset[int]
    kept: frozenset[int]
    weight: float
    bound: float

    @property
    def gap(self) -> float:
        """By what share of its weight a better choice could at most beat this one: 0, proven."""
        more = self.bound - self.weight
        return 0.0 if more <= 1e-6 * self.bound else more / self.weight if self.weight else float("inf")


def choose(
    covers: Covers, weights: Mapping[int, float], wheels: Wheels, there: Collection[int], *, patience: float = PATIENCE
) -> Choice | None:
    """Choose which units to treat so that every train gets by once film has spread, and the treated weight is greatest.

    Where one unit fails alone, no film may reach it, nor be wiped from where wheels carry it there. For a train with
    one locomotive that is all. Where film under one locomotive trades against film under another, the rest is a program
    in 0 and 1: f of a unit is 1 where it is wiped; s where film may be on it; s of each unit that wheels reach from
    another is at least f of that; and of the conditions of each cover not all hold.

    Returns None where no choice does, or none was found in time.

    `weights` say what treating each unit is worth, above 0, for all that may be treated. Film is in any case on units
    `there`, since wheels carry it there. After `patience` seconds the best choice found so far is taken.
    """
    count = len(wheels.lengths)
    clean = {atom for atom in covers.alone if atom < count}
    needed = frozenset(atom - count for atom in covers.alone if atom >= count)
    open_ = set(weights) - clean - wheels.within_carry(clean).keys()
    if not clean.isdisjoint(there) or not needed <= open_:
        return None
    rest = _Rest(count, [pair for pair in covers.pairs if clean.isdisjoint(pair)])
    reach = {n: rest.contested.intersection(wheels.reached([n])) for n in sorted(open_)} if rest.atoms else {}
    treated, bound = open_, sum(weights[number] for number in open_)
    if rest.atoms:
        solved = _optimum(rest, reach, (clean, there, needed), weights, patience)
        if solved is None:
            return None
        treated, bound = solved
    grown = _Growing(rest, treated, reach, there)
    if grown.broken:
        return None
    treated |= {n for n in sorted(open_ - treated, key=lambda n: (-weights[n], n)) if grown.add(reach[n], n)}
    kept = clean | {number for number in sorted(rest.contested - clean) if not grown.add({number})}
    weight = sum(weights[number] for number in treated)
    return Choice(frozenset(treated), frozenset(kept), weight, max(bound, weight))


@dataclass(frozen=True)
class _Rest:
    """The pairs of conditions that are to be decided."""

    count: int
    pairs: Sequence[tuple[Atom, Atom]]

    @property
    def atoms(self) -> set[Atom]:
        """Every condition of the pairs."""
        return set(chain.from_iterable(self.pairs))

    @property
    def contested(self) -> set[int]:
        """Every unit on which film is to be chosen."""
        return {atom for atom in self.atoms if atom < self.count}


class _Growing:
    """A choice to which units can be added, as long as no cover is broken."""

    def __init__(
        self, rest: _Rest, treated: Collection[int], reach: Mapping[int, set[int]], there: Collection[int]
    ) -> None:
        self._count = rest.count
        self._partners: dict[Atom, set[Atom]] = defaultdict(set)
        for one, two in rest.pairs:
            self._partners[one].add(two)
            self._partners[two].add(one)
        self._on = {*there, *(number for wiped in treated for number in reach.get(wiped, ()))}
        self._on |= {atom for atom in rest.atoms if atom >= rest.count and atom - rest.count not in treated}
        self.broken = any(self._breaks(atom) for atom in self._on)

    def _breaks(self, atom: Atom) -> bool:
        return not self._on.isdisjoint(self._partners.get(atom, ()))

    def add(self, units: Iterable[int], wiped: int | None = None) -> bool:
        """Let film come on some units, one of them wiped; where that breaks a cover return False and undo it."""
        new = set(units) - self._on
        gone = set() if wiped is None else {wiped + self._count} & self._on
        self._on = (self._on | new) - gone
        if any(map(self._breaks, new)):
            self._on = (self._on - new) | gone
            return False
        return True


class _Program:
    """The columns and rows of the program: s of each contested unit, which are whole, then f.

    Units that are not conditions themselves and reach the same contested units share an f; `members` has them by its
    column.
    """

    def __init__(self, rest: _Rest, reach: Mapping[int, set[int]]) -> None:
        self._count = rest.count
        self.contested = sorted(rest.contested)
        self.column: dict[Atom, int] = {number: k for k, number in enumerate(self.contested)}
        self.members: dict[int, list[int]] = {}
        self.rows: list[tuple[dict[int, float], float]] = []
        atoms = rest.atoms
        shared: dict[tuple[frozenset[int], int], list[int]] = defaultdict(list)
        for number, reached in reach.items():
            shared[frozenset(reached), number if number + rest.count in atoms else -1].append(number)
        for (group, _), wiped in shared.items():
            k = self.column[wiped[0] + rest.count] = len(self.column)
            self.members[k] = wiped
            self.rows += [({k: 1.0, self.column[number]: -1.0}, 0.0) for number in group]  # f <= s
        self.rows += [self._not_both(pair) for pair in rest.pairs]

    def _not_both(self, pair: tuple[Atom, Atom]) -> tuple[dict[int, float], float]:
        """Return the row and bound of two conditions of which one may hold; one on a unit that is never wiped does."""
        row: dict[int, float] = {}
        most = 1.0
        for atom in pair:
            unwiped = atom >= self._count  # 1 - f
            most -= unwiped
            if atom in self.column:
                row[self.column[atom]] = -1.0 if unwiped else 1.0
        return row, most

    def matrix(self) -> csr_array[np.float64]:
        """Return the rows as a matrix."""
        from scipy.sparse import csr_array

        starts = np.cumsum([0, *(len(row) for row, _ in self.rows)])
        entries = [entry for row, _ in self.rows for entry in row.items()]
        values, where = [value for _, value in entries], [k for k, _ in entries]
        return csr_array((values, where, starts), shape=(len(self.rows), len(self.column)))


def _optimum(
    rest: _Rest,
    reach: Mapping[int, set[int]],
    fixed: tuple[Collection[int], Collection[int], frozenset[int]],
    weights: Mapping[int, float],
    patience: float,
) -> tuple[set[int], float] | None:
    """Return the units to wipe, and a bound on the weight of any choice; None where there is none.

    `fixed` are the units that stay clean, those that have film in any case, and those that must be wiped.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    clean, there, needed = fixed
    program = _Program(rest, reach)
    size = len(program.column)
    worth, lower, upper = np.zeros(size), np.zeros(size), np.ones(size)
    for k, wiped in program.members.items():
        worth[k], lower[k] = sum(weights[number] for number in wiped), not needed.isdisjoint(wiped)
    for k, number in enumerate(program.contested):
        lower[k], upper[k] = number in there, number not in clean
    total, greatest = float(worth.sum()), float(worth.max(initial=1e-9))
    with quietly():
        found = milp(
            -worth / greatest,
            integrality=(np.arange(size) < len(program.contested)).astype(np.intp),
            bounds=Bounds(lower, upper),
            constraints=LinearConstraint(program.matrix(), -np.inf, np.array([most for _, most in program.rows])),
            options={"time_limit": max(patience, 0.0), "mip_rel_gap": 0.0},
        )
    if found.status == _INFEASIBLE:
        return None
    dual = found.mip_dual_bound
    bound = total if dual is None or not np.isfinite(dual) else min(total, -float(dual) * greatest)
    if found.x is None:  # nothing found in time: what can be treated one by one
        return set(needed), bound
    return {number for k, wiped in program.members.items() if found.x[k] > 0.5 for number in wiped}, bound
