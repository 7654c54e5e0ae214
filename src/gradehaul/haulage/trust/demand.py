"""Demand in many draws at once: the greatest demand of a train along a route, exact in each draw."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from gradehaul.haulage.demand import rails_along, tension, weakest_under
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train
from gradehaul.haulage.trust.draws import Draws
from gradehaul.plan.records import Car, Loco
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic, distinct, shifted_sum, steps

IntArray = np.ndarray[tuple[int], np.dtype[np.intp]]

_CELLS = 1_500_000
"""Figures worked on at once: bounds the memory that the draws take."""


TENSION: Literal["tension"] = "tension"
"""What stands beside the kinds of vehicle for the friction of coupler tension, where a plan counts it."""

Kind = Car | Loco | Literal["tension"]


class Parts(NamedTuple):
    """Demand of a train on each piece of a route, split by kinds of vehicle and by grade and curve.

    `begin` and `width`, m, shape (pieces,); `coefficients` hold value, slope and second derivative at the left end of a
    piece for each kind of vehicle at its nominal mass, first of the railhead, then of the summed curvature (to be
    taken times the curve coefficient), shape (3, 2, kinds, pieces). `rails` says which set of rail conditions is under
    the locomotives on a piece, as a number of `RailsUnder`, shape (pieces,).
    """

    kinds: tuple[Kind, ...]
    begin: FloatArray
    width: FloatArray
    coefficients: FloatArray
    rails: IntArray

    def at_ends(self) -> tuple[FloatArray, FloatArray]:
        """Return the values at both ends of every piece, shape (2, kinds, pieces) each."""
        value, slope, second = self.coefficients
        return value, value + self.width * (slope + 0.5 * self.width * second)


Patterns = tuple[tuple[tuple[str, ...], ...], ...]
"""The sets of rail conditions that are under the locomotives of a train somewhere: for each, in the order of the
locomotives, the conditions under each."""


def parts(profile: RouteProfile, train: Train, rail: str) -> tuple[Parts, Patterns]:
    """Return what a train asks along a route in parts that draws of masses and curve coefficient make up."""
    kinds: tuple[Kind, ...] = tuple({id(block.vehicle): block.vehicle for block in train.blocks}.values())
    there = rails_under(profile, train, rail)
    changes = sum((step * 0.0 for row in there for step in row.values()), steps([0.0, profile.length], [0.0]))
    taut = tension(profile, train) if profile.curves.tension else None
    if taut is not None:
        changes = changes + taut * 0.0
    first, edges = profile.first_head(train.length), train.edges.tolist()
    found: list[list[PiecewiseQuadratic]] = []
    for shape in (profile.railhead, profile.turning):
        behind = profile.shaped(shape).with_track_behind(train.length)
        rows = []
        for kind in kinds:
            weights = np.zeros(len(train.blocks) + 1)
            for number, block in enumerate(train.blocks):
                if block.vehicle is kind:
                    weights[number] += train.line_weights[number]
                    weights[number + 1] -= train.line_weights[number]
            # all edges of the train, so that all parts break at the same places
            asked = shifted_sum(behind, weights.tolist(), edges, first, profile.length)
            rows.append(asked + changes if changes.values.size > 1 else asked)
        found.append(rows)
    one = found[0][0]
    width = np.diff(one.breaks)
    coefficients = np.array(
        [[[getattr(part, name) for part in rows] for rows in found] for name in ("values", "slopes", "seconds")]
    )
    middle = one.breaks[:-1] + 0.5 * width
    if taut is not None:
        friction = np.zeros((3, 2, 1, width.size))
        friction[0, 0, 0] = taut.at(middle)
        kinds, coefficients = (*kinds, TENSION), np.concatenate([coefficients, friction], axis=2)
    patterns, rails = patterns_at(there, middle)
    return Parts(kinds, one.breaks[:-1], width, coefficients, rails), patterns


def rails_under(profile: RouteProfile, train: Train, rail: str) -> list[dict[str, PiecewiseQuadratic]]:
    """Return for each locomotive and rail condition a function of the head's place that is -1 where it is under it."""
    rails = rails_along(profile, rail)
    conditions = dict.fromkeys(each for own in rails for each in own)
    whole = steps([0.0, profile.length], [-1.0])
    if len(set(rails)) == 1:
        return [dict.fromkeys(conditions, whole) for _ in train.locos]
    return [
        {
            condition: weakest_under(profile, loco.length, behind, [-float(condition in own) for own in rails])
            for condition in conditions
        }
        for loco, behind in train.locos
    ]


def patterns_at(there: list[dict[str, PiecewiseQuadratic]], places: FloatArray) -> tuple[Patterns, IntArray]:
    """Return the sets of conditions that occur, and which of them holds at each place."""
    under = np.array([step.at(places) < 0 for row in there for step in row.values()])
    seen, which = np.unique(under, axis=1, return_inverse=True)
    patterns = []
    for column in seen.T:
        digits = iter(column.tolist())
        patterns.append(tuple(tuple(condition for condition in row if next(digits)) for row in there))
    return tuple(patterns), which.reshape(-1)


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """Draws of what scales a demand: masses over nominal, shape (kinds, draws), and curve coefficient, m, (draws,)."""

    masses: FloatArray
    curve: FloatArray


def drawn(train_parts: Parts, draws: Draws) -> Drawn:
    """Return the draws that scale a train's demand."""
    ones = np.ones(draws.count)
    factors = [draws.tension if kind == TENSION else draws.mass(kind) for kind in train_parts.kinds]
    return Drawn(np.array([ones if factor is None else factor for factor in factors]), draws.curve)


def most_asked(train_parts: Parts, factors: Drawn, pattern: int) -> FloatArray:
    """Return the most that grades and curves ask of a train on the pieces of one pattern, N, shape (draws,).

    On each piece the coefficients are linear in the masses m and in m·C, so the draws are one matrix product. The worst
    place moves with the draw: both ends of every piece count, and the vertex of those that bend. Pieces that stay below
    another in every draw, by bounds that hold for all of them, are left out first, which changes nothing.
    """
    part = _kept(_taken(train_parts, np.flatnonzero(train_parts.rails == pattern)), factors)
    kinds = part.coefficients.shape[2]
    bent = np.flatnonzero((part.coefficients[2] != 0).any(axis=(0, 1)) & (part.width > 0))
    ends = np.concatenate(part.at_ends(), axis=-1).reshape(2 * kinds, -1)
    ends = _distinct_columns(ends)
    value, slope, second = (c[:, :, bent].reshape(2 * kinds, -1) for c in part.coefficients)
    width = part.width[bent]
    count = factors.curve.size
    most = np.empty(count)
    rows = max(64, _CELLS // max(ends.shape[1], 3 * bent.size, 1))
    for start in range(0, count, rows):
        span = slice(start, start + rows)
        masses = factors.masses[:, span]
        x = np.concatenate([masses, masses * factors.curve[span]]).T
        top = (x @ ends).max(axis=1)
        if bent.size:
            bend, rise = x @ second, x @ slope
            with np.errstate(divide="ignore", invalid="ignore"):
                t = -rise / bend
                inside = (bend < 0) & (t > 0) & (t < width)
            turning = np.where(inside, x @ value + 0.5 * rise * np.where(inside, t, 0.0), -np.inf)
            top = np.maximum(top, turning.max(axis=1))
        most[span] = top
    return most


def _distinct_columns(table: FloatArray) -> FloatArray:
    """Return the columns of a table in order, each once.

    >>> _distinct_columns(np.array([[2.0, 1.0, 2.0], [0.0, 3.0, 0.0]])).tolist()
    [[1.0, 2.0], [3.0, 0.0]]
    """
    ordered = table[:, np.lexsort(table[::-1])]
    new = (ordered[:, 1:] != ordered[:, :-1]).any(axis=0)
    return ordered[:, np.concatenate([[True], new])]


def _taken(part: Parts, pieces: IntArray) -> Parts:
    return Parts(part.kinds, part.begin[pieces], part.width[pieces], part.coefficients[..., pieces], part.rails[pieces])


def _kept(part: Parts, factors: Drawn, tries: int = 24) -> Parts:
    """Return the pieces that may hold the worst place of some draw.

    A piece is left out if it lies below one and the same place in every draw. For a fixed curve coefficient what it
    lies above that place by is linear in each mass, so its most is found kind by kind; and that is convex in the
    coefficient, so it is enough to look at the least and the greatest.
    """
    if part.width.size < 8:
        return part
    left, right = part.at_ends()
    curves = np.array([factors.curve.min(), factors.curve.max()])
    low, high = factors.masses.min(axis=1)[:, None], factors.masses.max(axis=1)[:, None]
    # places that are the worst of some draw: those of the extreme draws and of some others
    some = distinct(
        np.concatenate(
            [
                [factors.curve.argmin(), factors.curve.argmax()],
                factors.masses.argmin(axis=1),
                factors.masses.argmax(axis=1),
                np.linspace(0, factors.curve.size - 1, tries).astype(int),
            ]
        )
    )
    here = np.einsum("kd,kp->dp", factors.masses[:, some], left[0]) + np.einsum(
        "kd,kp->dp", factors.masses[:, some] * factors.curve[some], left[1]
    )
    marks = distinct(here.argmax(axis=1))
    keep = np.ones(part.width.size, dtype=bool)
    second = part.coefficients[2]
    for mark in marks:
        above = np.full(part.width.size, -np.inf)
        for c in curves:
            bulge = np.maximum(0.0, -(second[0] + c * second[1])) * part.width**2 / 8
            gap = np.maximum(*((end[0] + c * end[1]) for end in (left, right))) + bulge
            gap = gap - (left[0][:, mark] + c * left[1][:, mark])[:, None]
            above = np.maximum(above, np.maximum(low * gap, high * gap).sum(axis=0))
        keep &= above > 0
        keep[mark] = True
    keep[marks] = True
    return _taken(part, np.flatnonzero(keep))
