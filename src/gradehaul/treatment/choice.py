"""The weightiest set of track that may be filmed while every train still gets by, proven or with its gap."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gradehaul.network.film_spread import Wheels
from gradehaul.quiet import quietly
from gradehaul.treatment.covers import Atom, Cover, Covers

if TYPE_CHECKING:
    from scipy.sparse import csr_array

PATIENCE = 20.0
"""Seconds after which the best choice found so far is taken, with its gap."""


@dataclass(frozen=True, slots=True)
class Choice:
    """The units to film, and those that no film may reach.

    `weight` is that of the units to film; no choice has more than `bound`, which is the same where this is proven.
    """

    filmed: frozenset[int]
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
    """Choose which units to film so that every train gets by once film has spread, and the filmed weight is greatest.

    Where one unit fails alone, no film may reach it, nor be wiped from where wheels carry it there. For a train with
    one locomotive that is all. Where film under one locomotive trades against film under another, the rest is a program
    in 0 and 1: f of a unit is 1 where it is wiped; s where film may be on it; s of each unit that wheels reach from
    another is at least f of that; and of the conditions of each cover not all hold.

    Returns None where no choice does, or none was found in time.

    Parameters
    ----------
    covers
        What film must not do at once.
    weights
        What filming each unit is worth, for all units that may be filmed; above 0.
    wheels
        How film spreads.
    there
        The units on which film is in any case, since wheels carry it there.
    patience
        Seconds after which the best choice found so far is taken.
    """
    rest = _Undecided(len(wheels.lengths), set(weights), set(covers.pairs), set(covers.larger), set(there))
    groups = rest.fixed(covers.alone, wheels)
    if groups is None:
        return None
    traded = {number: group for number, group in groups.items() if number not in rest.wiped}
    bound, filmed = 0.0, set(rest.wiped)
    if traded:
        solved = _optimum(rest, traded, weights, patience)
        if solved is None:
            return None
        filmed |= solved[0]
        bound = solved[1]
    begun = _Growing(rest, filmed, groups)
    if begun.broken:
        return None
    for number in sorted(traded.keys() - filmed, key=lambda n: (-weights[n], n)):
        if begun.add(groups[number], number):
            filmed.add(number)
    kept = rest.clean | {number for number in sorted(rest.contested) if not begun.add({number})}
    weight = sum(weights[number] for number in filmed)
    bound += sum(weights[number] for number in rest.wiped)
    return Choice(frozenset(filmed), frozenset(kept), weight, max(bound, weight))


_Group = frozenset[int]
"""The units in question that wheels reach from a unit: what film on them would count against."""


@dataclass(slots=True)
class _Undecided:
    """What is still to be decided: covers with conditions that may hold or not, and what is fixed so far.

    `film` and `clean` are units on which film is in any case or never may be; `wiped` and `barred` those that are wiped
    in any case or never may be.
    """

    count: int
    open: set[int]
    pairs: set[tuple[Atom, Atom]]
    larger: set[Cover]
    film: set[int]
    clean: set[int] = field(default_factory=set)
    wiped: set[int] = field(default_factory=set)
    barred: set[int] = field(default_factory=set)

    def holds(self, atom: Atom) -> bool | None:
        """Return whether a condition holds in any case, or never; None where that is to be chosen."""
        number = atom % self.count
        if atom < self.count:
            return True if number in self.film else False if number in self.clean else None
        return False if number in self.wiped else True if number in self.barred else None

    def fixed(self, alone: Iterable[Atom], wheels: Wheels) -> dict[int, _Group] | None:
        """Fix all that follows from conditions that must not hold alone; None where that cannot be.

        Returns what film on each unit that may be wiped would count against; units where that is nothing are wiped.
        """
        never: set[Atom] | None = set(alone)
        while never is not None:
            self.clean |= {atom for atom in never if atom < self.count}
            self.wiped |= {atom - self.count for atom in never if atom >= self.count}
            self.film |= set(wheels.reached(self.wiped))
            self.barred |= {*self.clean, *wheels.within_carry(self.clean)}
            if self.clean & self.film or self.barred & self.wiped:
                return None
            never = self._reduced()
            if never is None or never:
                continue
            groups, clashing = self._groups(wheels)
            self.barred |= clashing
            sure = {number for number, group in groups.items() if not group} - self.wiped
            self.wiped |= sure
            if not (clashing or sure) or max(self.atoms, default=0) < self.count:  # nothing rests on what is wiped
                return groups
        return None

    def _reduced(self) -> set[Atom] | None:
        """Take what is fixed out of the covers; return the conditions that must not hold then, None where all do."""
        never: set[Atom] = set()
        pairs: set[tuple[Atom, Atom]] = set()
        larger: set[Cover] = set()
        for cover in [*(frozenset(frozenset([atom]) for atom in pair) for pair in self.pairs), *self.larger]:
            left = set()
            for atoms in cover:
                held = {atom: self.holds(atom) for atom in atoms}
                if not any(held.values()):
                    left.add(frozenset(atom for atom, yes in held.items() if yes is None))
            if not left:
                return None
            if frozenset() in left:
                continue
            if len(left) == 1:
                never |= left.pop()
            elif len(left) == 2:
                one, two = left
                never |= one & two
                pairs |= {(min(a, b), max(a, b)) for a in one for b in two if a != b}
            else:
                larger.add(frozenset(left))
        self.pairs, self.larger = pairs, larger
        return never

    @property
    def atoms(self) -> set[Atom]:
        """Every condition of the covers."""
        return {atom for pair in self.pairs for atom in pair} | {
            a for cover in self.larger for own in cover for a in own
        }

    @property
    def contested(self) -> set[int]:
        """Every unit on which film is to be chosen."""
        return {atom for atom in self.atoms if atom < self.count}

    @property
    def partners(self) -> dict[Atom, set[Atom]]:
        """For each condition those that must not hold beside it."""
        found: dict[Atom, set[Atom]] = defaultdict(set)
        for one, two in self.pairs:
            found[one].add(two)
            found[two].add(one)
        return found

    def _groups(self, wheels: Wheels) -> tuple[dict[int, _Group], set[int]]:
        """Return what film on each unit would count against, and the units whose own film would be too much."""
        contested, partners = self.contested, self.partners
        groups: dict[int, _Group] = {}
        clashing: set[int] = set()
        for number in sorted(self.open - self.barred):
            own: set[int] = set()
            for reached in wheels.reached([number]) if contested else ():
                if not own.isdisjoint(partners.get(reached, ())):
                    clashing.add(number)
                    break
                if reached in contested:
                    own.add(reached)
            else:
                groups[number] = frozenset(own)
        return groups, clashing


class _Growing:
    """A choice to which units can be added, as long as no cover is broken."""

    def __init__(self, rest: _Undecided, filmed: Collection[int], groups: Mapping[int, _Group]) -> None:
        self._count = rest.count
        self._partners = rest.partners
        self._larger: dict[Atom, list[Cover]] = defaultdict(list)
        for cover in rest.larger:
            for atom in frozenset().union(*cover):
                self._larger[atom].append(cover)
        self._on = {number for wiped in filmed for number in groups.get(wiped, ())}
        self._on |= {atom for atom in rest.atoms if atom >= rest.count and atom - rest.count not in filmed}
        self.broken = any(self._breaks(atom) for atom in self._on)

    def _breaks(self, atom: Atom) -> bool:
        return not self._on.isdisjoint(self._partners.get(atom, ())) or any(
            all(not self._on.isdisjoint(atoms) for atoms in cover) for cover in self._larger.get(atom, ())
        )

    def add(self, units: Iterable[int], wiped: int | None = None) -> bool:
        """Let film come on some units, one of them wiped; where that breaks a cover return False and undo it."""
        new = set(units) - self._on
        gone = set() if wiped is None else {wiped + self._count} & self._on
        self._on = (self._on | new) - gone
        if any(map(self._breaks, new)):
            self._on = (self._on - new) | gone
            return False
        return True


def _optimum(
    rest: _Undecided, traded: Mapping[int, _Group], weights: Mapping[int, float], patience: float
) -> tuple[set[int], float] | None:
    """Return the units to wipe out of those that are traded, and a bound on their weight; None where no choice does."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    program = _Program(rest, traded)
    worth = np.zeros(program.columns)
    for column, members in program.members.items():
        worth[column] = sum(weights[number] for number in members)
    integral = np.zeros(worth.size, dtype=np.intp)
    integral[: program.whole] = 1
    total, most = float(worth.sum()), float(worth.max())
    with quietly():
        found = milp(
            -worth / most,
            integrality=integral,
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(program.matrix(), -np.inf, np.array(program.most)),
            options={"time_limit": max(patience, 0.0), "mip_rel_gap": 0.0},
        )
    if found.status == _INFEASIBLE:
        return None
    dual = found.mip_dual_bound
    bound = total if dual is None or not np.isfinite(dual) else min(total, -float(dual) * most)
    if found.x is None:  # nothing found in time: what can be filmed one by one
        return set(), bound
    return {number for k, members in program.members.items() if found.x[k] > 0.5 for number in members}, bound


_INFEASIBLE = 2
"""What scipy's milp says where there is no solution."""


class _Program:
    """The columns and rows of the program: first s of each unit in question, which are whole, then f and y.

    Units that count against the same share an f, and `members` has them by its column.
    """

    def __init__(self, rest: _Undecided, traded: Mapping[int, _Group]) -> None:
        self._count = rest.count
        self._column: dict[object, int] = {number: k for k, number in enumerate(sorted(rest.contested))}
        self.whole = self.columns = len(self._column)
        self.members: dict[int, list[int]] = {}
        self.rows: list[dict[int, float]] = []
        self.most: list[float] = []
        atoms = rest.atoms
        shared: dict[tuple[_Group, int], list[int]] = defaultdict(list)
        for number, group in traded.items():
            shared[group, number if number + rest.count in atoms else -1].append(number)
        for (group, _), members in shared.items():
            own = self._new(members[0] + rest.count)
            self.members[own] = members
            for number in group:  # f <= s
                self._add({own: 1.0, self._column[number]: -1.0}, 0.0)
        for pair in rest.pairs:
            self._not_all(pair)
        for cover in rest.larger:
            self._not_all([next(iter(own)) if len(own) == 1 else own for own in cover])

    def _new(self, key: object) -> int:
        self._column[key] = self.columns
        self.columns += 1
        return self._column[key]

    def _add(self, row: dict[int, float], most: float) -> None:
        self.rows.append(row)
        self.most.append(most)

    def _not_all(self, conditions: Sequence[Atom | frozenset[Atom]]) -> None:
        """Add a row by which not all of some conditions hold; a set of them has a y of its own."""
        row: dict[int, float] = {}
        most = len(conditions) - 1.0
        for condition in conditions:
            if isinstance(condition, frozenset) and condition not in self._column:
                own = self._new(condition)
                for atom in condition:  # y >= each of them
                    self._add(*self._part(atom, {own: -1.0}, 0.0))
            row, most = self._part(condition, row, most)
        self._add(row, most)

    def _part(
        self, condition: Atom | frozenset[Atom], row: dict[int, float], most: float
    ) -> tuple[dict[int, float], float]:
        """Return a row and its bound with one more condition."""
        column = self._column[condition]
        unwiped = isinstance(condition, int) and condition >= self._count  # 1 - f
        row[column] = row.get(column, 0.0) + (-1.0 if unwiped else 1.0)
        return row, most - unwiped

    def matrix(self) -> csr_array[np.float64]:
        """Return the rows as a matrix."""
        from scipy.sparse import csr_array

        values = [value for row in self.rows for value in row.values()]
        where = [column for row in self.rows for column in row]
        starts = np.cumsum([0, *(len(row) for row in self.rows)])
        return csr_array((values, where, starts), shape=(len(self.rows), self.columns))
