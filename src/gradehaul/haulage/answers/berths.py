"""Berths: how many cars stand in them, and whether cars left standing stay put."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal

from gradehaul.haulage.answers.standing import Roll, rolls
from gradehaul.haulage.resistance import lowest
from gradehaul.network.graph import MovementGraph
from gradehaul.plan.records import Berth
from gradehaul.quantities.si import Meters, Ratio
from gradehaul.track.alignment import Alignment
from gradehaul.track.piecewise import join
from gradehaul.track.proximity.fouling import ClearLength, Fouling


@dataclass(frozen=True, slots=True)
class BerthAnswer:
    """A berth: its clear length, m, and how that is known, its steepest grade, and what each kind of car does in it."""

    KEYS: ClassVar[str] = "name clear_length clear_length_basis=basis steepest cars_fit cars_stay rolls fouled_by"

    name: str
    clear_length: Meters
    basis: Literal["stated", "map", "whole"]
    steepest: Ratio
    cars_fit: Mapping[str, int]
    """The most cars of a kind, without locomotives, that stand clear."""
    cars_stay: Mapping[str, bool]
    """Whether cars of a kind stay put: their lowest rolling resistance against the steepest grade."""
    rolls: Mapping[str, tuple[Roll, ...]]
    """How cars of each kind that do not stay would roll off, on clean and on filmed rail alike."""
    fouled_by: tuple[Fouling, ...] = ()
    """Other track that ends its clear length, or leaves nothing of it."""


def berth_answer(graph: MovementGraph, alignment: Alignment, berth: Berth, clear: ClearLength) -> BerthAnswer:
    """Say what stands in a berth.

    Cars stay where the steepest grade of the clear length is no more than the rolling resistance they fall short of in
    one case of twenty. That is on the safe side: it leaves curves out and takes the steepest place for the whole cut.
    """
    cars = graph.plan.cars.values()
    steepest = _steepest(alignment, berth, clear)
    stay = {car.name: steepest <= lowest(car.rolling) * (1 + 1e-9) for car in cars}
    return BerthAnswer(
        name=berth.name,
        clear_length=clear.length,
        basis=clear.basis,
        steepest=steepest,
        cars_fit={car.name: math.floor(clear.length / car.length + 1e-9) for car in cars},
        cars_stay=stay,
        rolls={
            car.name: rolls(graph, alignment, berth, clear, lowest(car.rolling)) for car in cars if not stay[car.name]
        },
        fouled_by=clear.fouled_by,
    )


def _steepest(alignment: Alignment, berth: Berth, clear: ClearLength) -> float:
    railhead = join([alignment.tracks[track].railhead for track in berth.tracks])
    grade = railhead.restrict(clear.start, clear.stop).derivative()
    return max(abs(grade.greatest().value), abs(grade.least().value))
