"""Surveys: the profile that a hill really makes, how well its grades are known, and where it is steeper than meant."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np

from gradehaul.errors import DesignError, quoted
from gradehaul.haulage.resistance import NORMAL_95
from gradehaul.plan.records import Survey
from gradehaul.quantities import describe
from gradehaul.quantities.si import METER, Meters, Ratio
from gradehaul.track.piecewise import FloatArray

GAP = 5.0
"""A stretch without a reading that is so many times as long as most is a gap."""


@dataclass(frozen=True, slots=True, eq=False)
class Surveyed:
    """A survey that can be used: distances and heights, m, and the error of one reading, m, one standard deviation."""

    name: str
    distance: Annotated[FloatArray, METER]
    height: Annotated[FloatArray, METER]
    reading: Meters
    reading_assumed: bool

    @property
    def grades(self) -> FloatArray:
        """Grade from each reading to the next, shape (n - 1,)."""
        found: FloatArray = np.diff(self.height) / np.diff(self.distance)
        return found

    @property
    def spreads(self) -> FloatArray:
        """Standard deviation of each grade: two readings of the same error over their distance."""
        found: FloatArray = math.sqrt(2) * self.reading / np.diff(self.distance)
        return found

    @property
    def even_grade(self) -> Ratio:
        """The grade from the first reading to the last."""
        return float((self.height[-1] - self.height[0]) / (self.distance[-1] - self.distance[0]))


@dataclass(frozen=True, slots=True)
class Steep:
    """A stretch steeper than meant, m along the line: its grade, its spread, and whether that is beyond the error."""

    KEYS: ClassVar[str] = "from=start to=stop grade spread sure"

    start: Meters
    stop: Meters
    grade: Ratio
    spread: Ratio
    sure: bool


def surveyed(survey: Survey, *, file: str, unit: str, reading: float) -> Surveyed:
    """Return a survey whose readings are in order and without gaps.

    `reading` is the error of a reading where the survey says nothing, one standard deviation, m: what a ruler shows.
    """

    def shown(length: float) -> str:
        return describe(length, "length", unit)

    place = f"survey {quoted(survey.name)}"
    if len(survey.heights) < 3:
        raise DesignError(
            "a survey needs three readings or more", file=file, place=place, found=str(len(survey.heights))
        )
    distance, height = np.array(survey.heights, dtype=float).T
    steps = np.diff(distance)
    for number in np.flatnonzero(steps <= 0)[:1].tolist():
        raise DesignError(
            "distances must rise from reading to reading",
            file=file,
            place=f"{place}, reading {number + 2}",
            found=f"{shown(distance[number + 1])} after {shown(distance[number])}",
            write="the readings in the order in which they lie along the line, each place once",
        )
    usual = float(np.median(steps))
    for number in np.flatnonzero(steps > GAP * usual)[:1].tolist():
        raise DesignError(
            f"there is a gap: no reading for {shown(steps[number])}, where most are {shown(usual)} apart",
            file=file,
            place=f"{place}, reading {number + 2}",
            write=f"readings between {shown(distance[number])} and {shown(distance[number + 1])} too",
        )
    return Surveyed(survey.name, distance, height, survey.reading or reading, survey.reading is None)


def steeper_than(found: Surveyed, grade: float) -> tuple[Steep, ...]:
    """Return the stretches that climb, or fall, more steeply than a grade; neighbors that do are one stretch.

    A stretch is surely steeper where its grade, taken from its first reading to its last, is beyond what is meant by
    1.645 standard deviations, which chance alone brings about in 1 case of 20.
    """
    sign = 1.0 if found.even_grade >= 0 else -1.0
    steep = sign * found.grades > abs(grade) + 1e-12
    edges = np.flatnonzero(np.diff(np.concatenate([[False], steep, [False]]).astype(int)))
    result = []
    for first, last in edges.reshape(-1, 2).tolist():
        run = float(found.distance[last] - found.distance[first])
        own = float(found.height[last] - found.height[first]) / run
        spread = math.sqrt(2) * found.reading / run
        result.append(
            Steep(
                float(found.distance[first]),
                float(found.distance[last]),
                own,
                spread,
                sign * own - abs(grade) > NORMAL_95 * spread,
            )
        )
    return tuple(result)
