"""The linear program of leveling: heights of stations within their limits, and the least hardest grade."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from gradehaul.design.level_stations import Stations
from gradehaul.errors import DesignError
from gradehaul.plan.names import instead, quoted
from gradehaul.plan.records import Plan
from gradehaul.quantities import describe
from gradehaul.quiet import quietly
from gradehaul.track.piecewise import FloatArray

_SLACK = 1e-9


class Row(NamedTuple):
    """A train at one place: its averaged effective grade is parts × heights + bends; `value` with the heights then.

    Whatever the hardest grade of all trains may be, this one gets none harder than `most`.
    """

    parts: FloatArray
    bends: float
    value: float
    head: float
    most: float = np.inf


_Condition = tuple[dict[int, float], float, float]
"""Parts by column, and the bounds between which their sum lies."""


def _of_row(row: Row, top: int) -> list[_Condition]:
    """Return the conditions of a row: no more than the hardest grade, the variable `top`, and no more than its own."""
    parts = {column: float(row.parts[column]) for column in np.flatnonzero(row.parts).tolist()}
    return [({**parts, top: -1.0}, -np.inf, -row.bends), (parts, -np.inf, row.most - row.bends)]


class Program:
    """Variables: the heights, the hardest grade, and for each change of grade its size. Lengths scaled as they are."""

    def __init__(self, stations: Stations, change: float) -> None:
        self.stations = stations
        self.change = change
        self.limited = False
        count = stations.string.size
        self.low = np.where(stations.free, -np.inf, stations.string)
        self.high = np.where(stations.free, np.inf, stations.string)
        self._count = count
        self._fixed: list[_Condition] = [({one: -1.0, two: 1.0}, rise, rise) for one, two, rise in stations.ties]
        self._bends: list[dict[int, float]] = []
        for numbers, _ in stations.lines.values():
            string = stations.string[numbers]
            for k in range(numbers.size - 1):
                rise = string[k + 1] - string[k]
                low, high = (0.0, np.inf) if rise > _SLACK else (-np.inf, 0.0) if rise < -_SLACK else (0.0, 0.0)
                self._fixed.append(({int(numbers[k]): -1.0, int(numbers[k + 1]): 1.0}, low, high))

    def limit(self, plan: Plan, least: Mapping[str, float], most: Mapping[str, float]) -> None:
        """Keep heights of joints above or below limits."""
        for name, bound, low in [(n, b, True) for n, b in least.items()] + [(n, b, False) for n, b in most.items()]:
            if name not in self.stations.joints:
                wrong, write = "the plan has no joint of this name", instead(name, self.stations.joints)
                place = "--at-least" if low else "--at-most"
                raise DesignError(wrong, file=plan.file, place=place, found=quoted(name), write=write)
            number = self.stations.joints[name]
            if low:
                self.low[number] = max(self.low[number], bound)
            else:
                self.high[number] = min(self.high[number], bound)
            if self.low[number] > self.high[number] + _SLACK:
                raise DesignError(
                    f"the height of joint {quoted(name)} cannot be as low and as high as it must",
                    file=plan.file,
                    found=f"at least {describe(self.low[number], 'length', plan.unit)} and at most "
                    f"{describe(self.high[number], 'length', plan.unit)}",
                    write="limits that leave room, or a plan that leaves the joint free",
                )
            self.limited = True

    def follow(self, orders: Sequence[Any], places: Sequence[FloatArray]) -> None:
        """Bound the changes of grade along routes, and remember them to be made small."""
        told: set[tuple[int, int, int]] = set()
        for order, at in zip(orders, places, strict=True):
            run = np.diff(at)
            for k in range(1, len(order) - 1):
                key = (int(order[k - 1]), int(order[k]), int(order[k + 1]))
                if key in told or key[::-1] in told:
                    continue
                told.add(key)
                parts = {key[0]: 1 / run[k - 1], key[1]: -1 / run[k - 1] - 1 / run[k], key[2]: 1 / run[k]}
                own = abs(sum(part * self.stations.string[n] for n, part in parts.items()))
                bound = max(self.change, own * (1 + 1e-9))
                self._fixed.append((parts, -bound, bound))
                self._bends.append(parts)

    def solve(self, rows: Sequence[Row], *, smooth: float | None) -> tuple[FloatArray, float]:
        """Return heights, and the hardest grade of the rows; with `smooth`, at most that grade and grades even.

        Raises
        ------
        DesignError
            Limits that no heights keep.
        """
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import lil_array

        bends = self._bends if smooth is not None else []
        n = self._count
        size = n + 1 + len(bends)
        conditions = [*self._fixed, *(each for row in rows for each in _of_row(row, n))]
        for k, bend in enumerate(bends):
            for sign in (1.0, -1.0):
                parts = {column: sign * part for column, part in bend.items()}
                conditions.append(({**parts, n + 1 + k: -1.0}, -np.inf, 0.0))
        table = lil_array((len(conditions), size))
        for number, (parts, _, _) in enumerate(conditions):
            for column, part in parts.items():
                table[number, column] = part
        low, high = (np.array([condition[end] for condition in conditions]) for end in (1, 2))
        top = np.inf if smooth is None else smooth
        cost = np.zeros(size)
        cost[n if smooth is None else slice(n + 1, size)] = 1.0
        with quietly():
            done = milp(
                cost,
                constraints=LinearConstraint(table.tocsr(), low, high),
                bounds=Bounds(
                    np.concatenate([self.low, [-np.inf], np.zeros(len(bends))]),
                    np.concatenate([self.high, [top], np.full(len(bends), np.inf)]),
                ),
            )
        if done.x is None:
            raise DesignError(
                "no heights keep all limits",
                file=self.stations.plan.file,
                write="a larger change of grade, or wider limits of joints",
            )
        heights: FloatArray = np.asarray(done.x[:n], dtype=float)
        if smooth is None:
            return heights, float(done.x[n])
        return heights, float(top)
