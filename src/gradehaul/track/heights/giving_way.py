"""Heights that are tried win over what else the plan gives: which of its figures give way to them."""

from __future__ import annotations

from collections.abc import Collection

from gradehaul.plan.edit.trial import TrialHeights, keys_of, tried
from gradehaul.plan.given_heights import FigureKey, PutAside, put_aside, without_figures
from gradehaul.plan.records import Plan
from gradehaul.track.heights.railhead import Contrary, contrary_loops

_LEVEL = 1e-9
"""A rise that is no more is level track, m."""


def give_way(plan: Plan, won: Collection[FigureKey]) -> tuple[Plan, dict[FigureKey, PutAside]]:
    """Return a plan without what contradicts some of its heights, and the figures that it lost for that.

    Each loop that does not close, from one of these heights over stated rises to another height, loses its grades and
    rises; where all of it is level, it stays so and loses the height at its other end; where that is of a joint, or
    won too, the level track gives way. What contradicts no height of these stays as it is.
    """
    aside: dict[FigureKey, PutAside] = {}
    while yielding := _yielding(plan, won):
        aside |= {key: put_aside(plan, key) for key in yielding}
        plan = without_figures(plan, yielding)
    return plan, aside


def tried_plan(plan: Plan, trial: TrialHeights) -> tuple[Plan, dict[FigureKey, PutAside]]:
    """Return a plan with a trial's changes, and the figures that gave way to its heights.

    Raises
    ------
    Problems
        The changes do not hold together with the rest of the plan.
    """
    return give_way(tried(plan, trial), keys_of(plan, trial)) if trial.heights else (tried(plan, trial), {})


def _yielding(plan: Plan, won: Collection[FigureKey]) -> frozenset[FigureKey]:
    """Return what gives way first; nothing where no loop with one of these heights fails to close."""
    for loop in contrary_loops(plan):
        if not any(each.key in won for each in loop):
            continue
        others = [each for each in loop if each.key not in won]
        ranks = [_rank(each) for each in others]
        if others:
            return frozenset(each.key for each, rank in zip(others, ranks, strict=True) if rank == min(ranks))
    return frozenset()


def _rank(figure: Contrary) -> int:
    kind = figure.key[0]
    if kind == "rise":
        return 0 if abs(figure.rise) > _LEVEL else 2
    return 3 if kind == "joint" else 1
