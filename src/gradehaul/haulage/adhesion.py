"""Adhesion: what each locomotive pulls on each rail condition, standing and slipping, and how well that is known."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import TypeVar

from gradehaul.plan.bench_records import State
from gradehaul.plan.rail_condition import CLEAN, RailCondition, ages, conditions
from gradehaul.plan.records import Basis, Film, Loco, Plan, PredictedPull
from gradehaul.quantities import Reading
from gradehaul.track.piecewise import FloatArray

GRAVITY = 9.80665
"""Standard gravity, m/s²."""

METAL_ADHESION = 0.22
"""Pull of a metal wheel per unit of weight on it, clean rail: 20 to 25 % of the weight on drivers (common practice;
ASCE Transactions, paper 1172, 1910, read second-hand, for full size)."""

TYRED_ADHESION = 0.40
"""Pull of a tyred wheel per unit of weight on it, clean rail (common practice)."""

SLIPPING_CLEAN = 0.75
"""Slipping over standing pull on clean rail, assumed: kinetic over static friction of dry steel runs from 0.54 (hard
steel, 0.42/0.78, Kirk-Othmer, read second-hand) to 0.77 (mild steel, 0.57/0.74, a table of Marks' Standard Handbook for
Mechanical Engineers; the pair read second-hand, the book from memory)."""

SLIPPING_FILMED = 0.6
"""Slipping over standing pull on filmed rail, assumed: a thin film of oil keeps 0.43 (0.10/0.23, Kirk-Othmer, read
second-hand), but wheels on rail are not sliding blocks."""

FigureT = TypeVar("FigureT", float, FloatArray)
"""A figure, or an array of trials of it."""

_WEAKEST_LAST: tuple[Basis, ...] = ("measured", "stated", "scaled", "assumed")


@dataclass(frozen=True, slots=True)
class Pull:
    """A pull at the coupler, N, and where the figure comes from."""

    value: float
    basis: Basis


def weakest_basis(bases: Sequence[Basis]) -> Basis:
    """Return the least certain of several sources."""
    return max(bases, key=_WEAKEST_LAST.index)


def film_of(plan: Plan, condition: str) -> tuple[Film, bool] | None:
    """Return the film of a condition and whether it is fresh; None for clean rail."""
    known = RailCondition.named(condition)
    return None if known.film is None else (plan.films[known.film], known.fresh)


def clean_adhesion(loco: Loco) -> tuple[float, float]:
    """Return the pull, N, that metal and tyred wheels are assumed to give on clean rail, from the weight on them."""
    metal = METAL_ADHESION * (loco.on_drivers - loco.on_tyres) * GRAVITY
    return metal, TYRED_ADHESION * loco.on_tyres * GRAVITY


def share_kept(loco: Loco, film: Film, *, fresh: bool) -> float:
    """Return the share of its clean pull that a locomotive keeps on a film, weighted by what each kind of wheel gives.

    Examples
    --------
    >>> from gradehaul.plan.records import KeptShare
    >>> film = Film("treated", metal=KeptShare(0.75, 0.85), tyred=KeptShare(0.5, 0.65))
    >>> round(share_kept(Loco("a", "a", 0.3, 0.2, on_drivers=0.3, on_tyres=0.1), film, fresh=True), 3)
    0.631
    """
    metal, tyred = clean_adhesion(loco)
    kept_metal = film.metal.fresh if fresh else film.metal.settled
    kept_tyred = film.tyred.fresh if fresh else film.tyred.settled
    return (metal * kept_metal + tyred * kept_tyred) / (metal + tyred)


def standing_pull(plan: Plan, loco: Loco, condition: str) -> Pull:
    """Return the standing pull of a locomotive on one rail condition.

    Measured on this condition; else scaled from its readings on the same film at another age, on clean rail or on
    another film, by the shares kept; else, where it was never read, scaled from the readings of other locomotives; else
    assumed from the weight on drivers.

    Parameters
    ----------
    plan
        The plan, for its films.
    loco
        The locomotive, with its readings.
    condition
        A rail condition of the plan.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> plan = read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead.Foot = 0
    ... line.Hill = { from = "Foot", to = "Top", track = [{ straight = 2 }] }
    ... loco.tank = { mass = "0.3 kg", length = 0.2, pull.clean = "0.6 N" }
    ... ''')
    >>> standing_pull(plan, plan.locos["tank"], "treated")
    Pull(value=0.51, basis='scaled')
    """
    source = source_of_pull(plan, loco, condition)
    if isinstance(source.known, PredictedPull):
        known = source.known.value
    else:
        known = _mean(source.known) if source.known else sum(clean_adhesion(loco))
    return Pull(known * share_on(plan, loco, condition) / share_on(plan, loco, source.rail), source.basis)


@dataclass(frozen=True, slots=True)
class Source:
    """What a pull comes from: readings or a prediction on a rail, or weight on drivers, on clean rail.

    `known` is None for weight, and for an assumed slipping pull. On another rail a standing pull is scaled by the
    shares kept on both, a slipping pull by its share of the standing pull there.
    """

    basis: Basis
    rail: str
    known: tuple[Reading, ...] | PredictedPull | None


def source_of_pull(plan: Plan, loco: Loco, condition: str) -> Source:
    """Return what the standing pull of a locomotive on a rail condition comes from.

    The first of: its own readings there; its own readings on the nearest other rail; what the readings of other
    locomotives predict there, or on the nearest other rail; its weight on drivers.
    """
    rails = [condition, *nearest_first(plan, condition)]
    for rail in rails:
        if readings := loco.pull.get(rail):
            return Source("measured" if rail == condition else "scaled", rail, tuple(readings))
    for rail in rails:
        if rail in loco.predicted:
            return Source("scaled", rail, loco.predicted[rail])
    return Source("assumed", CLEAN, None)


def slipping_pull(plan: Plan, loco: Loco, condition: str) -> Pull:
    """Return the pull a locomotive keeps on one rail condition once its wheels slide.

    Measured; else its standing pull times its own measured ratio on another condition; else times 0.75 on clean rail
    and 0.6 on filmed rail (assumed).

    Parameters
    ----------
    plan
        The plan, for its films.
    loco
        The locomotive, with its readings.
    condition
        A rail condition of the plan.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> plan = read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead.Foot = 0
    ... line.Hill = { from = "Foot", to = "Top", track = [{ straight = 2 }] }
    ... loco.tank = { mass = "0.3 kg", length = 0.2, pull.clean = "0.6 N", slipping.clean = "0.45 N" }
    ... ''')
    >>> pull = slipping_pull(plan, plan.locos["tank"], "treated")
    >>> round(pull.value, 4), pull.basis
    (0.3825, 'scaled')
    """
    source = source_of_slipping(plan, loco, condition)
    value = slipping_from(
        source,
        read=lambda state, rail: _mean((loco.pull if state == "standing" else loco.slipping)[rail]),
        standing=lambda: standing_pull(plan, loco, condition).value,
        assumed=lambda: SLIPPING_CLEAN if condition == CLEAN else SLIPPING_FILMED,
    )
    return Pull(value, source.basis)


def source_of_slipping(plan: Plan, loco: Loco, condition: str) -> Source:
    """Return what the slipping pull of a locomotive on a rail condition comes from.

    The first of: its own readings there; its own readings of both pulls on the nearest other rail; an assumed share.
    """
    if readings := loco.slipping.get(condition):
        return Source("measured", condition, tuple(readings))
    for other in nearest_first(plan, condition):
        if (readings := loco.slipping.get(other)) and loco.pull.get(other):
            return Source("scaled", other, tuple(readings))
    return Source("assumed", condition, None)


def slipping_from(
    source: Source,
    *,
    read: Callable[[State, str], FigureT],
    standing: Callable[[], FigureT],
    assumed: Callable[[], FigureT],
) -> FigureT:
    """Return a slipping pull from its source: a figure, or an array of trials.

    Parameters
    ----------
    source
        What it comes from.
    read
        The pull that was read in a state on a rail, N.
    standing
        The standing pull, N.
    assumed
        The share of the standing pull that is assumed.

    Examples
    --------
    >>> scaled = Source("scaled", "clean", (Reading(0.45),))
    >>> read = {("slipping", "clean"): 0.45, ("standing", "clean"): 0.6}
    >>> slipping_from(scaled, read=lambda *which: read[which], standing=lambda: 0.4, assumed=lambda: 0.6)
    0.30000000000000004
    """
    if source.basis == "measured":
        return read("slipping", source.rail)
    if source.basis == "scaled":
        return standing() * (read("slipping", source.rail) / read("standing", source.rail))
    return standing() * assumed()


def nearest_first(plan: Plan, condition: str) -> list[str]:
    """Return the other conditions, those first whose readings say most: the same film, clean rail, other films."""
    film = RailCondition.named(condition).film
    own = [] if film is None else [name for name in ages(film) if name != condition]
    rest = [name for name in conditions(plan.films) if name != condition and name not in own]
    return own + rest


def share_on(plan: Plan, loco: Loco, condition: str) -> float:
    """Return the share of its clean pull that a locomotive keeps on a rail condition."""
    found = film_of(plan, condition)
    return 1.0 if found is None else share_kept(loco, found[0], fresh=found[1])


def _mean(readings: Sequence[Reading]) -> float:
    return fmean(reading.value for reading in readings)
