"""The records of the bench: what was read, where and how long after the film went on, in SI units and frozen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from gradehaul.quantities import Reading
from gradehaul.quantities.si import Hours, Meters, Newtons, PerMeter, Ratio, Share

if TYPE_CHECKING:
    from gradehaul.plan.records import Cut

State = Literal["standing", "slipping"]
"""Whether the wheels still held when the balance was read, or were sliding."""


@dataclass(frozen=True, slots=True)
class PullRead:
    """Readings of one locomotive's pull, N, on one rail in one state.

    `hours` since the film went on, None where not stated or the rail is clean; `grade` and `curvature`, 1/m, of the
    track where it stood, the grade positive where it pulled uphill. `place` names the table or the row in a message.
    """

    place: str
    loco: str
    rail: str
    forces: tuple[Reading, ...]
    hours: Hours | None = None
    state: State = "standing"
    grade: Ratio = 0.0
    curvature: PerMeter = 0.0


@dataclass(frozen=True, slots=True)
class StringRead:
    """Readings of what a string of equal cars asks, N, kept moving on track of one grade and one curvature, 1/m."""

    place: str
    car: str
    cars: int
    forces: tuple[Reading, ...]
    grade: Ratio
    curvature: PerMeter


@dataclass(frozen=True, slots=True)
class TiltRead:
    """Rises, m, over a length, m, at which a car starts to roll, and at which it rolls on once it moves."""

    place: str
    car: str
    over: Meters
    starts: tuple[Meters, ...] = ()
    rolls: tuple[Meters, ...] = ()


@dataclass(frozen=True, slots=True)
class TrialRun:
    """A train that was run over a route, and what became of it."""

    place: str
    route: str
    consist: tuple[Cut, ...]
    rail: str
    outcome: Literal["climbs", "stalls"]
    hours: Hours | None = None
    together: Share | None = None


@dataclass(frozen=True, slots=True)
class Book:
    """All that was read at the bench and tried on the layout; `step` is the least that the balance shows, N."""

    pulls: tuple[PullRead, ...] = ()
    strings: tuple[StringRead, ...] = ()
    tilts: tuple[TiltRead, ...] = ()
    trials: tuple[TrialRun, ...] = ()
    step: Newtons | None = None

    @property
    def empty(self) -> bool:
        """Whether nothing was read."""
        return not (self.pulls or self.strings or self.tilts or self.trials)
