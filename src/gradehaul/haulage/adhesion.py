"""Adhesion: what each locomotive pulls on each rail condition, standing and slipping, and how well that is known."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean
from typing import Generic, TypeVar

from gradehaul.plan.bench_records import State
from gradehaul.plan.rail_condition import CLEAN, RailCondition, ages, conditions
from gradehaul.plan.records import Basis, Film, KeptShare, Loco, Plan, PredictedPull
from gradehaul.quantities import Reading
from gradehaul.quantities.si import Newtons, Share
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

SLIPPING_TREATED = 0.6
"""Slipping over standing pull on treated rail, assumed: a thin film of oil keeps 0.43 (0.10/0.23, Kirk-Othmer, read
second-hand), but wheels on rail are not sliding blocks."""

FigureT = TypeVar("FigureT", float, FloatArray)
"""A figure, or an array of random trials of it."""

_WEAKEST_LAST: tuple[Basis, ...] = ("measured", "stated", "scaled", "assumed")


@dataclass(frozen=True, slots=True)
class Pull:
    """A pull at the coupler, N, and where the figure comes from."""

    value: Newtons
    basis: Basis


def weakest_basis(bases: Sequence[Basis]) -> Basis:
    """Return the least certain of several sources."""
    return max(bases, key=_WEAKEST_LAST.index)


def readings_of(loco: Loco, state: State) -> Mapping[str, Sequence[Reading]]:
    """Return the readings of a locomotive in a state, by rail condition."""
    return loco.pull if state == "standing" else loco.slipping


@dataclass(frozen=True, slots=True)
class PullSource:
    """What a pull comes from: readings or a prediction on a rail, or weight on drivers, on clean rail.

    `known` is None for weight, and for an assumed slipping pull. On another rail a standing pull is scaled by the
    shares kept on both, a slipping pull by its share of the standing pull there.
    """

    basis: Basis
    rail: str
    known: tuple[Reading, ...] | PredictedPull | None


def source_of_pull(plan: Plan, loco: Loco, condition: str) -> PullSource:
    """Return what the standing pull of a locomotive on a rail condition comes from.

    The first of: its own readings there; its own readings on the nearest other rail; what the readings of other
    locomotives predict there, or on the nearest other rail; its weight on drivers.
    """
    rails = [condition, *_nearest_first(plan, condition)]
    for rail in rails:
        if readings := loco.pull.get(rail):
            return PullSource(_basis(loco, rail) if rail == condition else "scaled", rail, tuple(readings))
    for rail in rails:
        if rail in loco.predicted:
            return PullSource("scaled", rail, loco.predicted[rail])
    return PullSource("assumed", CLEAN, None)


def source_of_slipping(plan: Plan, loco: Loco, condition: str) -> PullSource:
    """Return what the slipping pull of a locomotive on a rail condition comes from.

    The first of: its own readings there; its own readings of both pulls on the nearest other rail; an assumed share.
    """
    if readings := loco.slipping.get(condition):
        return PullSource(_basis(loco, condition), condition, tuple(readings))
    for other in _nearest_first(plan, condition):
        if (readings := loco.slipping.get(other)) and loco.pull.get(other):
            return PullSource("scaled", other, tuple(readings))
    return PullSource("assumed", condition, None)


def _basis(loco: Loco, rail: str) -> Basis:
    return loco.worked_out[rail].basis if rail in loco.worked_out else "measured"


def _nearest_first(plan: Plan, condition: str) -> list[str]:
    """Return the other conditions, those first whose readings say most: the same film, clean rail, other films."""
    film = RailCondition.named(condition).film
    own = [] if film is None else [name for name in ages(film) if name != condition]
    rest = [name for name in conditions(plan.films) if name != condition and name not in own]
    return own + rest


@dataclass(frozen=True, slots=True)
class LeastKept:
    """Whose share of its clean pull on a film holds others alike down, in words, and the film as they then have it."""

    how: str
    film: Film


def least_kept(plan: Plan, loco: Loco, condition: str) -> LeastKept | None:
    """Return what holds a locomotive down on a film on which nothing was read that says its pull; None where nothing.

    It keeps no more there than the least share of others alike.
    """
    rail = RailCondition.named(condition)
    film = plan.films.get(rail.film or "")
    own = plan.locos.get(loco.name, loco)
    if film is None or any(own.pull.get(rail) or rail in own.predicted for rail in ages(film.name)):
        return None
    share, how = least_share(plan, loco, condition)
    part = share / NominalPulls(plan).share_on(film, loco, fresh=rail.fresh)
    if part >= 1:
        return None
    metal, tyred = (KeptShare(part * each.fresh, part * each.settled) for each in (film.metal, film.tyred))
    return LeastKept(how, replace(film, metal=metal, tyred=tyred))


def least_share(plan: Plan, loco: Loco, condition: str) -> tuple[Share, str]:
    """Return the least share of its clean pull that any locomotive alike keeps on a film, and whose it is, in words.

    Alike are those that were read on clean rail and on the film, and drive by the same: metal wheels alone, tires
    alone, or both. It is infinite where there is none, and where the plan states the film's shares.
    """
    film = plan.films.get(RailCondition.named(condition).film or "")
    if film is None or film.basis != "assumed":
        return math.inf, ""
    pulls, rails = NominalPulls(plan), ages(film.name)
    kept = [
        (pulls.standing(other, condition) / pulls.standing(other, CLEAN), other.name)
        for other in plan.locos.values()
        if other.pull.get(CLEAN) and any(map(other.pull.get, rails)) and _drives_by(other) == _drives_by(loco)
    ]
    if not kept:
        return math.inf, ""
    share, name = min(kept)
    keeps = "kept" if plan.locos[name].pull.get(condition) else "does"
    return share, f"it keeps no more than {name} {keeps} ({100 * share:.0f} %)"


def _drives_by(loco: Loco) -> tuple[bool, bool]:
    """Return whether a locomotive drives by metal wheels, and by tires."""
    return loco.on_tyres < loco.on_drivers, loco.on_tyres > 0


class PullModel(ABC, Generic[FigureT]):
    """The pulls of a plan's locomotives, calculated alike from single figures and from arrays of random trials.

    A subclass supplies the figures: readings, predictions, adhesion, shares kept on film, and slipping over standing.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan

    @abstractmethod
    def read(self, state: State, loco: Loco, rail: str) -> FigureT:
        """Return the pull that was read of a locomotive on a rail, N."""

    @abstractmethod
    def predicted(self, loco: Loco, rail: str) -> FigureT:
        """Return the pull that the readings of other locomotives predict on a rail, N."""

    @abstractmethod
    def adhesion(self) -> tuple[FigureT, FigureT]:
        """Return the assumed pull of metal and of tyred wheels on clean rail per unit of weight on them."""

    @abstractmethod
    def kept(self, film: Film, *, fresh: bool) -> tuple[FigureT, FigureT]:
        """Return the shares of their clean pull that metal and tyred wheels keep on a film."""

    @abstractmethod
    def slipping_share(self, condition: str) -> FigureT:
        """Return the assumed slipping over standing pull."""

    def standing(self, loco: Loco, condition: str) -> FigureT:
        """Return the standing pull of a locomotive on a rail condition, N.

        Measured on this condition; else scaled from its readings on the same film at another age, on clean rail or on
        another film, by the shares kept; else, where it was never read, scaled from the readings of other locomotives;
        else from the weight on drivers.
        """
        source = source_of_pull(self.plan, loco, condition)
        if isinstance(source.known, PredictedPull):
            known = self.predicted(loco, source.rail)
        elif source.known:
            known = self.read("standing", loco, source.rail)
        else:
            known = self.by_weight(loco, CLEAN)
        if source.rail == condition:
            return known
        return known * self.share(loco, condition) / self.share(loco, source.rail)

    def slipping(self, loco: Loco, condition: str) -> FigureT:
        """Return the pull that a locomotive keeps on a rail condition once its wheels slide, N.

        Measured; else its standing pull times its own measured ratio on another condition, from clean to treated rail
        less by 0.6 / 0.75; else times 0.75 on clean rail and 0.6 on treated rail (assumed).
        """
        source = source_of_slipping(self.plan, loco, condition)
        if source.known and source.rail == condition:
            return self.read("slipping", loco, condition)
        if source.known:
            ratio = self.read("slipping", loco, source.rail) / self.read("standing", loco, source.rail)
            if source.rail == CLEAN:  # a film takes more of the slipping pull than of the standing one
                ratio = ratio * self.slipping_share(condition) / self.slipping_share(CLEAN)
            return self.standing(loco, condition) * ratio
        return self.standing(loco, condition) * self.slipping_share(condition)

    def by_weight(self, loco: Loco, condition: str) -> FigureT:
        """Return the standing pull that the weight on drivers alone lets expect, N."""
        metal, tyred = self._clean(loco)
        return (metal + tyred) * self.share(loco, condition)

    def share(self, loco: Loco, condition: str) -> FigureT:
        """Return the share of its clean pull that a locomotive keeps, weighted by what each kind of wheel gives.

        On the built-in film no more than others alike kept.
        """
        rail = RailCondition.named(condition)
        if rail.film is None:
            metal, tyred = self._clean(loco)
            one: FigureT = (metal + tyred) ** 0.0
            return one
        least = least_kept(self.plan, loco, condition)
        return self.share_on(self.plan.films[rail.film] if least is None else least.film, loco, fresh=rail.fresh)

    def share_on(self, film: Film, loco: Loco, *, fresh: bool) -> FigureT:
        """Return the share of its clean pull that a locomotive keeps on a film by the film's own shares."""
        metal, tyred = self._clean(loco)
        kept_metal, kept_tyred = self.kept(film, fresh=fresh)
        return (metal * kept_metal + tyred * kept_tyred) / (metal + tyred)

    def _clean(self, loco: Loco) -> tuple[FigureT, FigureT]:
        """Return the pull that metal and tyred wheels are assumed to give on clean rail, N."""
        metal, tyred = self.adhesion()
        return metal * (loco.on_drivers - loco.on_tyres) * GRAVITY, tyred * loco.on_tyres * GRAVITY


class NominalPulls(PullModel[float]):
    """The pulls that a plan's own figures give."""

    def read(self, state: State, loco: Loco, rail: str) -> float:
        """Return the mean of the readings of a locomotive on a rail, N."""
        return fmean(reading.value for reading in readings_of(loco, state)[rail])

    def predicted(self, loco: Loco, rail: str) -> float:
        """Return the prediction itself, N."""
        return loco.predicted[rail].value

    def adhesion(self) -> tuple[float, float]:
        """Return the assumed adhesion of metal and of tyred wheels."""
        return METAL_ADHESION, TYRED_ADHESION

    def kept(self, film: Film, *, fresh: bool) -> tuple[float, float]:
        """Return the film's own shares."""
        return (film.metal.fresh, film.tyred.fresh) if fresh else (film.metal.settled, film.tyred.settled)

    def slipping_share(self, condition: str) -> float:
        """Return the assumed slipping over standing pull."""
        return SLIPPING_CLEAN if condition == CLEAN else SLIPPING_TREATED


class Pulls:
    """Standing and slipping pull of every locomotive of a plan on every condition, each worked out once."""

    def __init__(self, plan: Plan) -> None:
        self._model = NominalPulls(plan)
        self._known: dict[tuple[State, str, str], Pull] = {}

    def standing(self, loco: Loco, condition: str) -> Pull:
        """Return the standing pull."""
        return self._pull("standing", loco, condition)

    def slipping(self, loco: Loco, condition: str) -> Pull:
        """Return the slipping pull."""
        return self._pull("slipping", loco, condition)

    def _pull(self, state: State, loco: Loco, condition: str) -> Pull:
        key = state, loco.name, condition
        if key not in self._known:
            model = self._model
            value, source = (
                (model.standing, source_of_pull) if state == "standing" else (model.slipping, source_of_slipping)
            )
            self._known[key] = Pull(value(loco, condition), source(model.plan, loco, condition).basis)
        return self._known[key]
