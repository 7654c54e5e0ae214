"""Leveling hill by hill: the hardest spot as low as it can be, then the next hardest, and so on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.design.level.grades import TrainGrades
from gradehaul.design.level.program import Optimum, Program
from gradehaul.plan.drawing.nearness import components
from gradehaul.track.piecewise import FloatArray

GAIN = 1e-4
"""A grade that can be lowered by no more than this stays: 0.01 %, a tenth of a millimeter in a meter, less than a level
shows."""
_CUT = 1e-8
"""How far a grade may pass a bound before its row is added."""
_ROOM = 3 * _CUT
"""How much wider a bound is than the grade found, so that the heights found keep it."""
_SHARE = 1e-6
"""A row is active where its multiplier is larger; the multipliers of a hill's rows add up to 1."""
_STILL = 1e-6
"""A height that is off the even one by no more is even, m."""
_MOST = 10.0
"""A grade that no bound needs to keep out."""

_Numbers = NDArray[np.intp]


class ActiveSet(NamedTuple):
    """What keeps a spot from being lower: limits by index, stations that cannot be lower or higher, spots by `own`."""

    limits: _Numbers
    floors: _Numbers
    ceilings: _Numbers
    spots: _Numbers


class LeveledHeights(NamedTuple):
    """Heights, m, and by spot what keeps it from being lower."""

    heights: FloatArray
    why: Mapping[int, ActiveSet]


class Leveling:
    """Spots of trains in hills, the linear programs over them, and what was found so far.

    The even heights, m, need not keep the program's limits. `hills` has a hill for each spot, shape (spots,): every
    partition leads to the same answer, and one whose hills hardly hang together is fast. `own` is what each spot may
    never be above, shape (spots,).
    """

    def __init__(
        self, grades: TrainGrades, program: Program, even: FloatArray, hills: _Numbers, own: FloatArray
    ) -> None:
        self.grades, self.program, self.even, self.own = grades, program, even, own
        self._hill = hills.copy()
        self._bound = np.full(hills.size, np.inf)  # what a spot may be once it is fixed
        self._pool = dict.fromkeys((row, 0) for row in grades.worst(even)[1].tolist())

    def hill_by_hill(self) -> LeveledHeights | None:
        """Return heights that lower the hardest spot as far as can be, then the next hardest, and so on (leximin).

        Each round is one linear program: the least sum of every hill's hardest grade, over spots not fixed yet. Its
        multipliers prove that a hill's grade cannot be lower where its part of them leans on no other hill and on no
        spot that is fixed lower. Then spots whose rows have multipliers above 0 have that grade in every optimum
        (complementary slackness) and are fixed; hills that lean on one another become one. Between rounds heights rest
        as near to even as the bounds so far let them: with the least sum of changes of grade of what differs. A hill
        that could be lower than that by no more than `GAIN` keeps it, and one where no train pulls (0 or less) is done.

        Returns
        -------
        The heights; None where none keep all limits.
        """
        why: dict[int, ActiveSet] = {}
        heights = self._rested(np.full(self._hill.size, np.inf))
        if heights is None:
            return None
        while True:
            now, _ = self.grades.worst(heights)
            self._bound[np.isinf(self._bound) & (self._tops(now) <= _CUT)] = _CUT + _ROOM
            if np.isfinite(self._bound).all():
                break
            bounds = self._round(now, why)
            rested = heights if bounds is None else self._rested(bounds)
            heights = heights if rested is None else rested
        off = np.abs(heights - self.even) > _STILL
        return LeveledHeights(np.where(off, heights, self.even), why)

    def _tops(self, values: FloatArray) -> FloatArray:
        """Return for each spot the hardest of its hill among those not fixed."""
        tops = np.full(int(self._hill.max()) + 1, -np.inf)
        np.maximum.at(tops, self._hill, np.where(np.isinf(self._bound), values, -np.inf))
        found: FloatArray = tops[self._hill]
        return found

    def _round(self, now: FloatArray, why: dict[int, ActiveSet]) -> FloatArray | None:
        """Fix what one program proves; return the bounds of all spots where heights are to change, else None."""
        open_hills = np.unique(self._hill[np.isinf(self._bound)])
        variable = np.where(np.isinf(self._bound), np.searchsorted(open_hills, self._hill), -1)
        tops = self._tops(now)
        bounds = np.where(np.isinf(self._bound), tops + _ROOM, self._bound)
        answer = self._solved(variable, None, np.ones(open_hills.size), -_MOST)
        if answer is None:  # rounding alone: the heights so far keep all limits
            self._bound = bounds
            return None
        rows, own, spots = self._rows()
        of_row, of_limit, of_hill = self._parts(answer, variable)
        changed = False
        for k, top in enumerate(answer.others.tolist()):
            part = of_row == of_hill[k]
            lower = part & ~own & (self._bound[spots] < top - _ROOM)
            leans = np.union1d(open_hills[of_hill == of_hill[k]], self._hill[spots[lower]])
            if leans.size > 1 or lower.any():
                inside = np.isin(self._hill, leans)
                self._hill[inside] = leans[0]
                self._bound[inside & (self._bound < top - _ROOM)] = np.inf
                continue
            fixing = np.unique(spots[part & ~own & (variable[spots] == k)])
            if float(tops[fixing[0]]) - top > GAIN:
                self._bound[fixing] = top + _ROOM
                bounds[variable == k] = top + _ROOM
                changed = True
            else:
                self._bound[fixing] = np.maximum(now[fixing], top) + _ROOM
            limits = np.flatnonzero(of_limit == of_hill[k])
            under = self.grades.parts[rows[part]].indices.tolist()
            under += [n for limit in limits.tolist() for n in self.program.limits[limit].parts]
            floors, ceilings = (np.intersect1d(each, under) for each in (answer.floors, answer.ceilings))
            kept = ActiveSet(limits, floors, ceilings, np.unique(spots[part & own]))
            why.update(dict.fromkeys(fixing.tolist(), kept))
        return bounds if changed else None

    def _rested(self, bounds: FloatArray) -> FloatArray | None:
        """Return heights within bounds of spots, the sum of changes of grade of what differs from even the least."""
        from scipy.sparse import eye_array, hstack, vstack

        turns = self.program.turns
        size = eye_array(turns.shape[0], format="csr")
        even = turns @ self.even
        more = vstack([hstack([turns, -size]), hstack([-turns, -size])]), np.append(even, -even)
        answer = self._solved(np.full(self._hill.size, -1), more, np.ones(turns.shape[0]), 0.0, bounds)
        return None if answer is None else answer.heights

    def _rows(self) -> tuple[_Numbers, NDArray[np.bool_], _Numbers]:
        """Return the rows of the pool, which of them keep a spot's `own`, and the spot of each."""
        rows, own = np.array([*self._pool], dtype=np.intp).reshape(-1, 2).T
        return rows, own > 0, self.grades.number[rows]

    def _solved(
        self,
        variable: _Numbers,
        more: tuple[Any, FloatArray] | None,
        cost: FloatArray,
        least: float,
        bounds: FloatArray | None = None,
    ) -> Optimum | None:
        """Return the optimum with no spot above its variable or, where that is -1, its bound.

        Rows are added to the pool until no spot is. The first multipliers are those of the pool's rows.
        """
        from scipy.sparse import coo_array, hstack, vstack

        bounds = self._bound if bounds is None else bounds
        while True:
            rows, own, spots = self._rows()
            at = np.flatnonzero(~own & (variable[spots] >= 0))
            minus = coo_array((np.full(at.size, -1.0), (at, variable[spots[at]])), shape=(rows.size, cost.size))
            table = hstack([self.grades.parts[rows], minus])
            most = np.minimum(np.where(own, self.own[spots], bounds[spots]), _MOST)
            most[at] = 0.0
            most -= self.grades.bends[rows]
            if more is not None:
                table, most = vstack([table, more[0]]), np.append(most, more[1])
            answer = self.program.solve(table, most, cost, least)
            if answer is None:
                return None
            hardest, worst = self.grades.worst(answer.heights)
            bound = np.where(variable >= 0, answer.others[variable], bounds) if cost.size else bounds
            known = len(self._pool)
            self._pool.update(dict.fromkeys((row, 0) for row in worst[hardest > bound + _CUT].tolist()))
            self._pool.update(dict.fromkeys((row, 1) for row in worst[hardest > self.own + _CUT].tolist()))
            if len(self._pool) == known:
                self._bound = np.where(np.isinf(self._bound), np.inf, np.maximum(self._bound, hardest))
                return answer

    def _parts(self, answer: Optimum, variable: _Numbers) -> tuple[_Numbers, _Numbers, _Numbers]:
        """Return the components, through free heights, of rows, limits and hills: -1 where they are not active."""
        rows, own, spots = self._rows()
        free = self.program.low < self.program.high
        first_hill, first_limit = free.size, free.size + answer.others.size
        first_row = first_limit + len(self.program.limits)
        active = np.flatnonzero(answer.rows[: rows.size] > _SHARE)
        cells = self.grades.parts[rows[active]].tocoo()
        limits = [(first_limit + k, n) for k in answer.limits.tolist() for n in self.program.limits[k].parts]
        heights = np.array([first_row + active[cells.coords[0]], cells.coords[1]])
        pairs = np.concatenate([heights, np.array(limits, dtype=np.intp).reshape(-1, 2).T], axis=1)
        mine = active[~own[active] & (variable[spots[active]] >= 0)]
        of_hill = np.array([first_row + mine, first_hill + variable[spots[mine]]])
        pairs = np.concatenate([pairs[:, free[pairs[1]]], of_hill], axis=1)
        count = first_row + rows.size
        part = components(count, pairs.T)
        bound = np.isin(np.arange(count), np.concatenate([first_row + active, first_limit + answer.limits]))
        parts = np.where(bound | (np.arange(count) < first_limit), part, -1)
        return parts[first_row:], parts[first_limit:first_row], parts[first_hill:first_limit]
