"""Surveyed hills: the profile that one makes, where it is steeper than meant, and the least shims that mend it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np

from gradehaul.errors import DesignError, quoted
from gradehaul.haulage.resistance import NORMAL_95
from gradehaul.plan.names import look_up
from gradehaul.plan.records import Plan, Survey
from gradehaul.quantities import ON_RULER, System, describe
from gradehaul.quantities.document import AnswerRecord
from gradehaul.quantities.si import METER, Meters, Ratio
from gradehaul.quiet import quietly
from gradehaul.track.piecewise import FloatArray

SHIM = {"metric": 0.006, "imperial": 0.00635}
"""The largest correction where nothing is said, m: a quarter of an inch."""
_MOST_STEPS = 100_000
_HALVINGS = 40
_FINE = 1000
"""Parts of a step in which shims of any thickness are measured."""
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


@dataclass(frozen=True, slots=True)
class Shim:
    """The shim of a riser: number, place, m, railhead, m, grade to the next with its spread, and correction, m."""

    riser: int
    at: Meters
    railhead: Meters
    grade: Ratio | None
    spread: Ratio | None
    correction: Meters


@dataclass(frozen=True, slots=True, eq=False)
class Corrections:
    """What to do at each reading: `steps` of the size `step`, m, up where positive; the ends stay.

    `target` is the grade that was meant, `reached` the steepest that is left between two readings; `met` says
    whether that is no more than the target, and `step_alone` whether shims of any thickness would meet it, so that only
    the step stands in the way. `before` and `after` are the stretches steeper than meant.
    """

    KEYS: ClassVar[str] = (
        "surveyed.name surveyed.reading surveyed.reading_assumed even=surveyed.even_grade target reached met "
        "step_alone step largest_shim=shim total steeper_before=before steeper_after=after risers"
    )

    surveyed: Surveyed
    target: Ratio
    step: Meters
    shim: Meters
    steps: tuple[int, ...]
    reached: Ratio
    met: bool
    step_alone: bool
    before: tuple[Steep, ...]
    after: tuple[Steep, ...]

    @property
    def corrections(self) -> FloatArray:
        """How far each riser goes up, m, negative down."""
        return self.step * np.array(self.steps, dtype=float)

    @property
    def total(self) -> Meters:
        """All shims together, up and down, m."""
        return self.step * sum(map(abs, self.steps))

    @property
    def risers(self) -> tuple[Shim, ...]:
        """Every reading, in order."""
        hill = self.surveyed
        grades, spreads = ([*each.tolist(), None] for each in (hill.grades, hill.spreads))
        columns = (hill.distance.tolist(), hill.height.tolist(), grades, spreads, self.corrections.tolist())
        return tuple(Shim(number, *row) for number, row in enumerate(zip(*columns, strict=True), 1))


@dataclass(frozen=True, slots=True)
class CorrectedSurveys(AnswerRecord):
    """The surveys of a plan, each with its corrections."""

    KEYS: ClassVar[str] = "surveys"

    plan: Plan
    surveys: tuple[Corrections, ...]

    @property
    def passes(self) -> bool:
        """Whether each survey reaches its target with the shims shown."""
        return all(each.met for each in self.surveys)


def corrections(surveyed: Surveyed, *, target: float | None, step: float, shim: float) -> Corrections:
    """Return the least total of corrections that brings a surveyed hill to a grade, or as near to it as may be.

    Corrections are whole numbers of the readable step, at most the largest shim; the first and the last reading stay,
    since other track joins there. No stretch is steeper than the target, and none falls where the hill climbs, unless
    it fell before and no shim can mend that. Where the target cannot be met, the steepest grade is made as low as it
    may be, and then the total as small.

    Every condition bounds the difference of two corrections or one alone by a whole number of steps, so that the
    matrix of the linear program is totally unimodular: its corners are whole [1]_, so that asking the solver for whole
    numbers costs nothing.

    The target has either sign; None is the even grade from end to end, the least possible, and one step more between
    two readings. `step` is the smallest correction that can be read, `shim` the largest allowed, m.

    References
    ----------
    .. [1] Hoffman and Kruskal, Integral boundary points of convex polyhedra, 1956 (from memory).
    """
    sign = 1.0 if surveyed.even_grade >= 0 else -1.0
    rises = sign * np.diff(surveyed.height)
    runs = np.diff(surveyed.distance)
    most = math.floor(min(shim / step + 1e-9, _MOST_STEPS))
    wanted = abs(surveyed.even_grade) + step / float(runs.min()) if target is None else abs(target)
    # what falls may stay as it is where nothing better can be had
    least = 0.0
    if _least_total(rises, runs, math.inf, least, step, most) is None:
        least = _halved(lambda g: _least_total(rises, runs, math.inf, -g, step, most) is not None, _worst(-rises, runs))
        least = -least
    plan = _least_total(rises, runs, wanted, least, step, most)
    reached, step_alone = wanted, False
    if plan is None:
        fine = step / _FINE
        step_alone = _least_total(rises, runs, wanted, least, fine, math.floor(shim / fine + 1e-9)) is not None
        top = max(_worst(rises, runs), wanted)
        reached = _halved(lambda g: _least_total(rises, runs, g, least, step, most) is not None, top, wanted)
        plan = _least_total(rises, runs, reached, least, step, most)
    assert plan is not None
    steps = (sign * plan).astype(int)
    height = surveyed.height + step * steps
    after = Surveyed(surveyed.name, surveyed.distance, height, surveyed.reading, surveyed.reading_assumed)
    steepest = float((sign * after.grades).max())
    return Corrections(
        surveyed=surveyed,
        target=sign * wanted,
        step=step,
        shim=shim,
        steps=tuple(steps.tolist()),
        reached=sign * steepest,
        met=steepest <= wanted + _slack(step, runs),
        step_alone=step_alone,
        before=steeper_than(surveyed, wanted),
        after=steeper_than(after, wanted + _slack(step, runs)),
    )


def _slack(step: float, runs: FloatArray) -> float:
    """Return by how much a grade may pass its bound: a thousandth of a step, which is rounding."""
    return 1e-3 * step / float(runs.min())


def _worst(rises: FloatArray, runs: FloatArray) -> float:
    return max(float((rises / runs).max()), 0.0)


def _halved(holds: Callable[[float], bool], top: float, bottom: float = 0.0) -> float:
    """Return the least grade for which a condition holds, which it does at the top."""
    for _ in range(_HALVINGS):
        middle = 0.5 * (bottom + top)
        bottom, top = (bottom, middle) if holds(middle) else (middle, top)
    return top


def _least_total(
    rises: FloatArray, runs: FloatArray, most_grade: float, least_grade: float, step: float, most: int
) -> FloatArray | None:
    """Return the least total of whole corrections, in steps, that keeps all grades within bounds; None if none does."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import coo_array

    inner = rises.size - 1
    allowance = 1e-6  # of a step: what is exact on paper is not lost to rounding
    rows, columns, entries, bounds = [], [], [], []
    for k in range(rises.size):
        for way, bound in ((1.0, most_grade * runs[k] - rises[k]), (-1.0, rises[k] - least_grade * runs[k])):
            if not math.isfinite(bound):
                continue
            bounds.append(math.floor(bound / step + allowance))
            for riser, part in ((k, way), (k - 1, -way)):
                if 0 <= riser < inner:  # the ends stay
                    rows += [len(bounds) - 1] * 2
                    columns += [riser, inner + riser]
                    entries += [part, -part]
    matrix = coo_array((entries, (rows, columns)), shape=(len(bounds), 2 * inner)).tocsr()
    within = LinearConstraint(matrix, -np.inf, np.array(bounds, dtype=float))
    with quietly():
        done = milp(
            np.ones(2 * inner), integrality=np.ones(2 * inner, dtype=int), constraints=[within], bounds=Bounds(0, most)
        )
    if done.x is None:
        return None
    up = np.round(done.x[:inner] - done.x[inner:])
    return np.concatenate([[0.0], up, [0.0]])


def corrected_surveys(
    plan: Plan,
    system: System,
    *,
    surveys: Sequence[str] = (),
    target: float | None = None,
    shim: float | None = None,
    step: float | None = None,
) -> CorrectedSurveys:
    """Return the corrections of surveys by name, of all where none is named."""
    names = list(dict.fromkeys(surveys or plan.surveys))
    if not names:
        write = "[survey.NAME] with heights = [[0, 0], ...]"
        raise DesignError("the plan has no survey", file=plan.file, write=write)
    found = []
    for name in names:
        declare = "[survey.NAME] in the plan"
        survey = look_up(name, plan.surveys, "survey", file=plan.file, place="--survey", declare=declare)
        hill = surveyed(survey, file=plan.file, unit=plan.unit, reading=ON_RULER[system])
        meant = survey.grade if target is None else target
        deck = plan.deck.thickness if survey.deck is None else survey.deck
        usual = min(SHIM[system], deck or SHIM[system])
        largest = (survey.shim or usual) if shim is None else shim
        smallest = (survey.step or ON_RULER[system]) if step is None else step
        if largest < smallest or smallest <= 0:
            raise DesignError(
                "the largest shim must be at least one step that can be read",
                file=plan.file,
                place=f"survey {quoted(name)}",
                found=f"{1000 * largest:g} mm with steps of {1000 * smallest:g} mm",
                write="a larger shim, or a smaller step",
            )
        if deck is not None and largest > deck:
            raise DesignError(
                f"a shim must not go through the deck, which is {describe(deck, 'length', plan.unit)} thick",
                file=plan.file,
                place=f"survey {quoted(name)}" if shim is None else "--shim",
                found=describe(largest, "length", plan.unit),
                write="a smaller shim",
            )
        found.append(corrections(hill, target=meant, step=smallest, shim=largest))
    return CorrectedSurveys(plan, tuple(found))
