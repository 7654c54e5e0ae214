"""What heights of stations must keep, track over other track too, and linear programs over heights that keep it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.design.deck import structure_of
from gradehaul.design.level.stations import Stations
from gradehaul.errors import DesignError, quoted
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan.components import components
from gradehaul.plan.names import look_up
from gradehaul.plan.records import Plan
from gradehaul.quantities import describe
from gradehaul.quiet import quietly
from gradehaul.scales import clear_height
from gradehaul.track.map.plane import many_points
from gradehaul.track.piecewise import FloatArray

_SLACK = 1e-9
_ACTIVE = 1e-7
"""A limit with no larger multiplier is not active."""

LimitRule = Literal["given", "rise", "direction", "change", "at least", "at most", "train", "apart"]
"""What may keep a grade from being lower: a given height, a rise or grade that the plan fixes, that nothing falls where
even heights climb (nor climbs where they fall), the change of grade, a limit of a joint, that no train's hardest
grade is above that with even heights, and that track over other track stays as high above it as it must."""


class Limit(NamedTuple):
    """A weighted sum of heights, by station, that lies between two bounds; its rule, and the station it is about."""

    rule: LimitRule
    station: int
    parts: Mapping[int, float]
    low: float
    high: float


@dataclass(frozen=True, slots=True, eq=False)
class Optimum:
    """The optimum of a linear program: heights, shape (stations,), and the further variables."""

    heights: FloatArray
    others: FloatArray
    rows: FloatArray
    """The multiplier of each row, shape (rows,), positive where the row is active."""
    limits: NDArray[np.intp]
    """The active limits: indices of `Program.limits`."""
    floors: NDArray[np.intp]
    ceilings: NDArray[np.intp]
    """The stations that cannot be lower, or higher."""


class Program:
    """Bounds of heights and limits that tie them; lengths in m, changes of grade plain ratios."""

    def __init__(
        self, stations: Stations, change: float, orders: Iterable[tuple[Any, FloatArray]], apart: Iterable[Limit]
    ) -> None:
        self.stations = stations
        self.low = np.where(stations.free, -np.inf, stations.even)
        self.high = np.where(stations.free, np.inf, stations.even)
        self.limits = [
            Limit("rise", two, {one: -1.0, two: 1.0}, rise, rise)
            for one, two, rise in stations.ties
            if stations.free[one] or stations.free[two]
        ]
        for numbers, _ in stations.lines.values():
            for one, two in zip(numbers[:-1].tolist(), numbers[1:].tolist(), strict=True):
                rise = float(stations.even[two] - stations.even[one])
                low, high = (0.0, np.inf) if rise > _SLACK else (-np.inf, 0.0) if rise < -_SLACK else (0.0, 0.0)
                if stations.free[one] or stations.free[two]:
                    self.limits.append(Limit("direction", two, {one: -1.0, two: 1.0}, low, high))
        self.limits += self._changes(change, orders)
        self.limits += apart

    def _changes(self, change: float, orders: Iterable[tuple[Any, FloatArray]]) -> list[Limit]:
        """Return the limits of changes of grade along routes and lines, each once, whichever way it is run."""
        known: dict[tuple[int, int, int], Limit] = {}
        for order, at in orders:
            run = np.diff(at)
            for k in range(1, len(order) - 1):
                key = (int(order[k - 1]), int(order[k]), int(order[k + 1]))
                if key in known or key[::-1] in known or not self.stations.free[list(key)].any():
                    continue
                parts = {key[0]: 1 / run[k - 1], key[1]: -1 / run[k - 1] - 1 / run[k], key[2]: 1 / run[k]}
                own = abs(sum(part * self.stations.even[n] for n, part in parts.items()))
                bound = max(change, own * (1 + 1e-9))
                known[key] = Limit("change", key[1], parts, -bound, bound)
        return list(known.values())

    def bound(self, plan: Plan, least: Mapping[str, float], most: Mapping[str, float]) -> None:
        """Keep heights of joints above or below limits."""
        for name, limit, low in [(n, b, True) for n, b in least.items()] + [(n, b, False) for n, b in most.items()]:
            place = "--at-least" if low else "--at-most"
            number = look_up(name, self.stations.joints, "joint", file=plan.file, place=place)
            if low:
                self.low[number] = max(self.low[number], limit)
            else:
                self.high[number] = min(self.high[number], limit)
            if self.low[number] > self.high[number] + _SLACK:
                raise DesignError(
                    f"the height of joint {quoted(name)} cannot be as low and as high as it must",
                    file=plan.file,
                    found=f"at least {describe(self.low[number], 'length', plan.unit)} and at most "
                    f"{describe(self.high[number], 'length', plan.unit)}",
                    write="limits that leave room, or a plan that leaves the joint free",
                )

    def free(self) -> NDArray[np.bool_]:
        """Return which stations are not fixed by their bounds, nor by a fixed rise to one that is."""
        tied = [[*limit.parts] for limit in self.limits if limit.low == limit.high]
        label = components(self.low.size, tied)
        found: NDArray[np.bool_] = ~np.isin(label, label[self.high - self.low <= _SLACK])
        return found

    @cached_property
    def _sums(self) -> Any:  # noqa: ANN401 - a sparse array
        """The limits as sums of heights, shape (limits, stations)."""
        from scipy.sparse import coo_array

        cells = [(k, n, part) for k, limit in enumerate(self.limits) for n, part in limit.parts.items()]
        row, column, part = np.array(cells, dtype=float).reshape(-1, 3).T
        shape = (len(self.limits), self.low.size)
        return coo_array((part, (row.astype(int), column.astype(int))), shape=shape).tocsr()

    @cached_property
    def turns(self) -> Any:  # noqa: ANN401 - a sparse array
        """The changes of grade as sums of heights, shape (changes, stations)."""
        return self._sums[[k for k, limit in enumerate(self.limits) if limit.rule == "change"]]

    def solve(
        self,
        rows: Any,  # noqa: ANN401 - a sparse array
        most: FloatArray,
        cost: FloatArray,
        least: float,
    ) -> Optimum | None:
        """Return the heights and further variables of least cost, None where no heights satisfy all limits.

        The rows are sums of them, shape (rows, stations + further), with the most that each may be. Only the further
        variables cost, shape (further,), and none is under `least`.
        """
        from scipy.optimize import linprog
        from scipy.sparse import csr_array, diags_array, hstack, vstack

        count, further = self.low.size, cost.size
        low, high = np.array([(limit.low, limit.high) for limit in self.limits]).reshape(-1, 2).T
        same = np.flatnonzero(low == high)
        of = np.repeat(np.flatnonzero(low < high), 2)  # at most the high bound, and at least the low one
        sign = np.tile([1.0, -1.0], of.size // 2)
        own = np.where(sign > 0, high[of], -low[of])
        of, sign, own = (each[np.isfinite(own)] for each in (of, sign, own))
        upper = hstack([diags_array(sign) @ self._sums[of], csr_array((of.size, further))])
        equal = hstack([self._sums[same], csr_array((same.size, further))])
        bounds: Any = np.column_stack(
            [np.append(self.low, np.full(further, least)), np.append(self.high, np.full(further, np.inf))]
        )
        with quietly():
            done = linprog(
                np.append(np.zeros(count), cost),
                A_ub=vstack([upper, rows]).tocsr(),
                b_ub=np.append(own, most),
                A_eq=equal.tocsr() if same.size else None,
                b_eq=high[same] if same.size else None,
                bounds=bounds,
                method="highs-ds",
                options={
                    "presolve": False,
                    "primal_feasibility_tolerance": _SLACK,
                    "dual_feasibility_tolerance": _SLACK,
                },
            )
        if done.x is None:
            return None
        active = of[-done.ineqlin.marginals[: of.size] > _ACTIVE]
        if same.size:
            active = np.append(active, same[np.abs(done.eqlin.marginals) > _ACTIVE])
        return Optimum(
            heights=done.x[:count],
            others=done.x[count:],
            rows=-done.ineqlin.marginals[of.size :],
            limits=np.unique(active),
            floors=np.flatnonzero(done.lower.marginals[:count] > _ACTIVE),
            ceilings=np.flatnonzero(done.upper.marginals[:count] < -_ACTIVE),
        )


_CLOSE = 0.005
"""How closely track is followed on the map, m."""


def decks_apart(layout: Layout, stations: Stations) -> Iterator[Limit]:
    """Yield limits that keep track over other track at the clear height and its deck, or where even heights have it.

    Tracks lie over one another where they are nearer on the map than stock is wide, and with even heights farther apart
    in height than a deck is thick.
    """
    from scipy.spatial import cKDTree

    alignment, plan = layout.alignment, layout.plan
    positions, structure = alignment.positions, structure_of(plan).total
    wide = plan.scale.stock_width
    bar = clear_height(plan.scale, plan.practice) + structure
    names = sorted(positions.tracks, key=lambda name: positions.tracks[name].frame)
    for frame, own in groupby(names, key=lambda name: positions.tracks[name].frame):
        if not positions.usable(frame):
            continue
        tracks = list(own)
        of, at, points = many_points(
            [alignment.tracks[name].sections for name in tracks],
            [positions.tracks[name].start for name in tracks],
            _CLOSE,
            longest=wide,
        )
        before, share = _between_stations(stations, tracks, of, at)
        even = (1 - share) * stations.even[before[:, 0]] + share * stations.even[before[:, 1]]
        one, two = cKDTree(points).query_pairs(wide, output_type="ndarray").reshape(-1, 2).T
        upper, lower = np.where(even[one] > even[two], one, two), np.where(even[one] > even[two], two, one)
        rise = even[upper] - even[lower]
        free = np.any(stations.free[before], axis=1)
        for over, under, room in zip(upper.tolist(), lower.tolist(), rise.tolist(), strict=True):
            if room > structure and (free[over] or free[under]):
                parts: dict[int, float] = {}
                for point, sign in ((over, 1.0), (under, -1.0)):
                    for station, part in zip(before[point].tolist(), (1 - share[point], share[point]), strict=True):
                        parts[station] = parts.get(station, 0.0) + sign * float(part)
                yield Limit("apart", int(before[over, 0]), parts, min(bar, room), math.inf)


def _between_stations(
    stations: Stations, tracks: Sequence[str], of: NDArray[np.intp], at: FloatArray
) -> tuple[NDArray[np.intp], FloatArray]:
    """Return the stations before and behind points on tracks, shape (points, 2), and how far they are between them."""
    before, share = np.empty((of.size, 2), dtype=np.intp), np.empty(of.size)
    for number, name in enumerate(tracks):
        track = stations.plan.tracks[name]
        begin = sum(each.length for each in stations.plan.lines[track.line].tracks[: track.number - 1])
        numbers, distance = stations.lines[track.line]
        here = of == number
        place = begin + at[here]
        last = np.clip(np.searchsorted(distance, place, side="right") - 1, 0, distance.size - 2)
        before[here] = np.column_stack([numbers[last], numbers[last + 1]])
        share[here] = np.clip((place - distance[last]) / (distance[last + 1] - distance[last]), 0.0, 1.0)
    return before, share
