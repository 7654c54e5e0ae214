"""A climb on the bench: the risers of an incline, and those of a helix by angle and turn, with the blocks between."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gradehaul.design.climb.helix import Helix, turn_length
from gradehaul.design.climb.hill import UP, Hill
from gradehaul.design.risers.risers import Riser, Risers, risers_along, risers_at, usual_riser_build
from gradehaul.design.risers.walk import walk_along
from gradehaul.errors import DesignError
from gradehaul.plan.records import Plan
from gradehaul.quantities import INCH, System
from gradehaul.quantities.si import Meters, Radians

SPOKES = 8
"""Risers in a turn where nothing is said (common practice)."""
_MOST_SPOKES = 36
EVERY = {"metric": 0.4, "imperial": 16 * INCH}
"""From riser to riser of an incline where nothing is said, m (common practice: as joists stand)."""


@dataclass(frozen=True, slots=True)
class Spoke:
    """Where risers of a helix stand over one another: its number, a riser for each turn, and its angle, rad.

    Where there are straight sides, the angle is the share of a turn's length that lies before it.
    """

    number: int
    angle: Radians
    risers: tuple[Riser, ...]
    """From the lowest turn up; those of the outer track where there are two."""


@dataclass(frozen=True, slots=True, eq=False)
class HelixBench:
    """A helix as it is built: the risers of its (outer) track, and by spokes."""

    helix: Helix
    found: Risers
    spokes: tuple[Spoke, ...]

    @property
    def width(self) -> Meters:
        """Width of the deck, m."""
        return float(self.helix.build.apart(self.helix.radius)) + 2 * self.helix.build.edge

    @property
    def opening(self) -> tuple[Meters, Meters]:
        """Length and width of the opening inside the deck, m."""
        width, build = 2 * (self.helix.radius - self.helix.build.edge), self.helix.build
        return (width + build.straight + build.ease if build.straight else width), width


def helix_bench(
    helix: Helix, stock: Plan, hill: Hill, system: System, datum: float | None, spokes: int = SPOKES
) -> HelixBench:
    """Return a helix by spokes, the first where its curve begins, evenly so many in each turn.

    The railheads are those that `check` has of the hill; `datum` is the foot's height over what risers stand on, m.
    """
    if not 3 <= spokes <= _MOST_SPOKES:
        raise DesignError(f"a turn has 3 to {_MOST_SPOKES} risers", place="--risers", found=str(spokes))
    walk, own = walk_along(hill.layout, route=UP), helix.build
    build = usual_riser_build(stock, system, deck=own.deck, roadbed=own.roadbed, track=own.track, datum=datum)
    every = turn_length(helix.build, helix.outer_radius) / spokes
    begin = helix.vertical(stock) + (0.0 if helix.build.straight else 0.5 * helix.build.ease)
    places = np.arange(begin, begin + helix.length_at(helix.outer_radius) + 1e-6, every)
    risers = risers_at(walk, build, [(at, "spacing") for at in places.tolist()])
    found = Risers(walk, build, every, begin, risers)
    by_spoke: Sequence[tuple[Riser, ...]] = [risers[number::spokes] for number in range(spokes)]
    return HelixBench(
        helix,
        found,
        tuple(Spoke(number + 1, 2 * math.pi * number / spokes, own) for number, own in enumerate(by_spoke) if own),
    )


def incline_bench(hill: Hill, every: float | None, system: System, datum: float | None) -> Risers:
    """Return the risers of an incline, on the deck of its plan; as joists stand where `every` is None."""
    build = usual_riser_build(hill.plan, system, datum=datum)
    return risers_along(walk_along(hill.layout, route=UP), build, every=EVERY[system] if every is None else every)
