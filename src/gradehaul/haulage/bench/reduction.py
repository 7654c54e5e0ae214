"""Reduction: rows of readings to a pull on level straight track, with their scatter, and what looks odd."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import fmean, median
from typing import ClassVar

from gradehaul.errors import PlanError
from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.plan.bench_records import State
from gradehaul.plan.rail_condition import RailCondition
from gradehaul.plan.records import Doubt, Loco, Plan
from gradehaul.quantities import Reading, convert, describe
from gradehaul.quantities.si import Hours, Newtons, Ratio

ENOUGH = 3
"""Readings that a row needs for a scatter of its own; fewer borrow that of all rows."""

FAR_OUT = 3.5
"""Modified z-score beyond which a reading is shown as an outlier (Iglewicz and Hoaglin, from memory)."""


READING_SCATTER = 0.04
"""Scatter of a single reading as a share of it, where too few were taken to show it: a careful hand repeats a pull to
within some 2 to 6 % (assumed)."""

PRIOR_READINGS = 4
"""How many degrees of freedom the assumed scatter counts for, and then the pooled one for each row of readings: few
enough that five readings of one locomotive outweigh it, enough that two that agree by chance do not pass for exact."""


@dataclass(frozen=True, slots=True)
class Scatter:
    """Scatter of a single reading, in the unit of the readings, and the degrees of freedom that it is known with."""

    value: float
    freedom: int


@dataclass(frozen=True, slots=True)
class Pooled:
    """Scatter of all readings of a plan as a share of their means, and the least step that its balances show, N."""

    share: Ratio
    freedom: int
    step: Newtons

    def of(self, readings: Sequence[Reading]) -> Scatter:
        """Return the scatter of one row of readings: its own, with the pooled one for what it is too few to show.

        A spread that was written beside a reading counts as written; no scatter is less than what the balance can show,
        a step evenly spread, step / √12.
        """
        mean = sum(reading.value for reading in readings) / len(readings)
        stated = [reading.spread for reading in readings if reading.spread is not None]
        own = sum((reading.value - mean) ** 2 for reading in readings)
        freedom = PRIOR_READINGS + len(readings) - 1
        value = math.sqrt((PRIOR_READINGS * (self.share * mean) ** 2 + own) / freedom)
        if stated:
            value = math.sqrt(sum(spread**2 for spread in stated) / len(stated))
        return Scatter(max(value, self.step / math.sqrt(12)), freedom)


def pool(rows: Iterable[Sequence[Reading]], step: float | None = None) -> Pooled:
    """Pool the scatter of rows of readings, each of one locomotive on one rail, as shares of their means.

    s² = (4 s₀² + Σ (x / mean - 1)²) / (4 + Σ (n - 1)), with s₀ the scatter assumed where nothing is known: the usual
    pooled variance, and a prior worth four degrees of freedom (inverse chi-square; any text on Bayesian statistics).
    """
    taken = list(rows)
    squares = sum(_mean_and_squares(readings)[1] for readings in taken)
    freedom = sum(len(readings) - 1 for readings in taken)
    step = least_step(reading for readings in taken for reading in readings) if step is None else step
    return Pooled(_pooled_share(squares, freedom), PRIOR_READINGS + freedom, step)


_SAME_DIGITS = 5
"""So many readings that all end in 0 or 5, or in even digits, were read on a balance that shows no others."""


def least_step(readings: Iterable[Reading]) -> float:
    """Return the least step that balances show by what was read on them, in the unit of the values; 0 for none.

    It is the last digit that was written in a unit, or 2 or 5 of it where five readings or more, three of which differ,
    are all multiples of that. The least of all units counts.

    >>> half = [Reading(value, None, "N") for value in (13.0, 13.5, 13.0, 14.0, 13.0)]
    >>> least_step(half), least_step(half[:4])
    (0.5, 0.1)
    """
    written: dict[str, list[float]] = {}
    for reading in readings:
        if reading.unit is not None:
            written.setdefault(reading.unit, []).append(convert(reading.value, reading.unit))
    steps = []
    for unit, values in written.items():
        digit = 10.0 ** -max(map(_decimals, values))
        whole = [round(value / digit) for value in values]
        coarse = next((each for each in (5, 2) if not any(value % each for value in whole)), 1)
        steps.append(digit * (coarse if len(whole) >= _SAME_DIGITS and len(set(whole)) > 2 else 1) / convert(1.0, unit))
    return min(steps, default=0.0)


def _mean_and_squares(readings: Sequence[Reading]) -> tuple[float, float]:
    """Return the mean of readings, and the sum of squares of what they are off it, as shares of it."""
    mean = sum(reading.value for reading in readings) / len(readings)
    return mean, sum((reading.value / mean - 1) ** 2 for reading in readings) if mean else 0.0


def _pooled_share(squares: float, freedom: int) -> Ratio:
    return math.sqrt((PRIOR_READINGS * READING_SCATTER**2 + squares) / (PRIOR_READINGS + freedom))


def pooled_of(plan: Plan) -> Pooled:
    """Pool the scatter of all readings of a plan's locomotives, standing and slipping."""
    return pool(
        readings
        for loco in plan.locos.values()
        for table in (loco.pull, loco.slipping)
        for readings in table.values()
        if readings
    )


def _decimals(value: float, most: int = 4) -> int:
    """Return how many decimals a figure was written with."""
    return next((count for count in range(most) if abs(round(value, count) - value) < 1e-7 * max(1.0, value)), most)


@dataclass(frozen=True, slots=True)
class Taken:
    """One row as it was taken: its place in the plan and the hours since the film went on; readings corrected, N."""

    KEYS: ClassVar[str] = "place hours correction forces=pulls"

    place: str
    forces: tuple[Reading, ...]
    correction: Newtons
    """What was added for grade and curve, N."""
    hours: Hours | None = None

    @property
    def pulls(self) -> tuple[Newtons, ...]:
        """The readings without their spreads."""
        return tuple(force.value for force in self.forces)


@dataclass(frozen=True, slots=True)
class Counted:
    """The readings of one thing that count, at one age of a film, and what is doubtful of all that were taken."""

    readings: tuple[Reading, ...]
    far: tuple[float, ...]
    """Readings far off the others, counted or not."""
    doubts: tuple[Doubt, ...]

    @property
    def mean(self) -> float:
        """The mean of what counts."""
        return fmean(_values(self.readings))


@dataclass(frozen=True, slots=True)
class _Set:
    """Readings of one place, their mean, and the sum of squares of what they are off it, as shares of it."""

    place: str
    readings: Sequence[Reading]
    mean: float
    squares: float

    def apart(self, other: _Set, share: float, step: float, *, own: bool) -> bool:
        """Return whether two sets contradict; with `own`, they are held to their own scatter where that is less."""
        counts = len(self.readings), len(other.readings)
        if own:
            share = min(share, _pooled_share(self.squares + other.squares, sum(counts) - 2))
        mean = (self.mean * counts[0] + other.mean * counts[1]) / sum(counts)
        scatter = max(share * abs(mean), step / math.sqrt(12))
        return abs(self.mean - other.mean) > FAR_OUT * scatter * math.sqrt(1 / counts[0] + 1 / counts[1])


def counted(
    sets: Sequence[tuple[str, Sequence[Reading]]],
    share: float,
    show: Callable[[float], str],
    *,
    step: float = 0.0,
    highest: bool = False,
    own: bool = False,
) -> Counted:
    """Return which readings of one thing count: of sets that contradict the lower, and none far above the others.

    Means of n and m readings that scatter by s differ by s √(1/n + 1/m); beyond 3.5 times that two sets contradict.
    They are taken in the order of their means up to the first that contradicts one of them, without readings far off.
    Of what is left out, those readings count that lower the mean. So no set above that contradicts can raise it.

    `sets` are the readings with the place of each; `share` is the scatter of a single one as a share of it, and with
    `own` two sets are held to theirs where that is less, so that a third cannot hide that they contradict. `step` is
    the least that the balance shows. What is `highest` is a load, of which the higher counts. `show` words a figure.

    >>> pulls = [("a", [Reading(0.66), Reading(0.67)]), ("b", [Reading(0.79), Reading(0.80)])]
    >>> found = counted(pulls, 0.02, "{:.3f} N".format)
    >>> round(found.mean, 3), str(found.doubts[0])
    (0.665, 'a and b contradict, 0.665 N and 0.795 N; the lower counts')
    """
    sign, side, beyond = (-1.0, "higher", "below") if highest else (1.0, "lower", "above")
    ordered = [_Set(place, each, *_mean_and_squares(each)) for place, each in sets]
    ordered.sort(key=lambda one: sign * one.mean)
    readings: list[Reading] = []
    left_out: list[Reading] = []
    doubts: list[Doubt] = []
    lowest: list[_Set] = []  # of all that count those that the next can contradict first: the lowest, or the steadiest
    for one in ordered:
        least = next((other for other in lowest if other.apart(one, share, step, own=own)), None)
        if least is not None or doubts:
            left_out.extend(one.readings)
        if least is not None:
            means = f"{show(least.mean)} and {show(one.mean)}"
            text = f"{least.place} and {one.place} contradict, {means}; the {side} counts"
            doubts.append(Doubt(text, _share_off(one.mean, least.mean)))
        elif doubts:
            text = f"{one.place}, {show(one.mean)}, does not count: it lies {beyond} readings that contradict others"
            doubts.append(Doubt(text, _share_off(one.mean, ordered[0].mean)))
        else:
            readings.extend(one.readings)
            if all(len(other.readings) != len(one.readings) or one.squares < other.squares for other in lowest):
                lowest.append(one)
    values = _values(readings)
    far_off = outliers(values, step=step)
    kept = [each for each in readings if each.value not in far_off]
    left_out += [each for each in readings if each.value in far_off]
    for each in sorted(left_out, key=lambda other: sign * other.value):
        if sign * (each.value - fmean(_values(kept))) < 0:
            kept.append(each)
    for value in far_off:
        others = [each for each in values if each not in far_off]
        included, alone = fmean([*others, value]), fmean(others)
        both = f"the mean is {show(included)} with it, {show(alone)} without it"
        far = f"{show(value)} is far from the others: {both}; the {side} counts"
        doubts.append(Doubt(far, _share_off(included, alone)))
    return Counted(tuple(kept), far_off, tuple(doubts))


def _share_off(value: float, mean: float) -> float:
    return abs(value / mean - 1) if mean else 1.0


def _values(readings: Iterable[Reading]) -> list[float]:
    return [reading.value for reading in readings]


@dataclass(frozen=True, slots=True)
class Reduced:
    """All readings of one locomotive on one rail in one state, reduced to a pull on level straight track, N.

    `ages` has the readings that count, at each age of a film; the mean is that of the age at which it pulled least, and
    the scatter that of all that count about their own age's mean. `scatter` is that of a single reading and `error` the
    standard error of the mean; the mean lies between `low` and `high` with 95 %, by Student's t with `freedom` degrees
    of freedom. `borrowed` means that the scatter is that of all rows, or assumed, since there are too few readings
    here. `outliers` are far off the others, and `doubts` say of them, and of sets that contradict, which count.
    """

    KEYS: ClassVar[str] = (
        "loco rail state readings=count pull=mean low high scatter error freedom scatter_borrowed=borrowed "
        "outliers counted doubts taken"
    )

    loco: str
    rail: str
    state: State
    taken: tuple[Taken, ...]
    ages: Mapping[Hours | None, Counted]
    mean: Newtons
    scatter: Newtons
    error: Newtons
    freedom: int
    borrowed: bool
    low: Newtons
    high: Newtons

    @property
    def count(self) -> int:
        """How many readings there are."""
        return sum(len(row.forces) for row in self.taken)

    @property
    def counted(self) -> int:
        """How many of them count, at any age."""
        return sum(len(age.readings) for age in self.ages.values())

    @property
    def weakest(self) -> tuple[Reading, ...]:
        """The readings that count at the age of the film at which they are least in the mean."""
        return min(self.ages.values(), key=lambda age: age.mean).readings

    @property
    def outliers(self) -> tuple[Newtons, ...]:
        """Readings far off the others of their age, counted or not."""
        return tuple(far for age in self.ages.values() for far in age.far)

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        """What is doubtful, and what of it counts."""
        return tuple(doubt for age in self.ages.values() for doubt in age.doubts)


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean with its scatter, standard error, degrees of freedom and half the width of its 95 % interval."""

    KEYS: ClassVar[str] = "share=value error half_95=half"

    value: float
    scatter: float
    error: float
    freedom: int
    half: float


def mean_of(values: Sequence[float], *, step: float = 0.0, scatter: float | None = None, freedom: int = 0) -> Mean:
    """Return the mean of readings of one thing and how well it is known.

    Standard error s / √n, 95 % interval by Student's t (any text on statistics). Readings that scatter by less than
    half a step of the balance were all rounded alike: their mean is never surer than a step evenly spread, step / √12.

    `step` is the least that the balance shows. `scatter` and `freedom` are borrowed; else they are the readings' own,
    of which there must be two or more.
    """
    count = len(values)
    value = fmean(values)
    if scatter is None:
        freedom = count - 1
        scatter = math.sqrt(sum((x - value) ** 2 for x in values) / freedom)
    error = scatter / math.sqrt(count)
    if scatter < step / 2:
        scatter, error = max(scatter, step / math.sqrt(12)), max(error, step / math.sqrt(12))
    return Mean(value, scatter, error, freedom, student(freedom) * error)


@lru_cache(maxsize=256)
def student(freedom: int, share: float = 0.95) -> float:
    """Return Student's t within which a share of all cases lies."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.5 + share / 2))


def rows_taken(plan: Plan, coefficient: float) -> dict[tuple[str, str, State], list[Taken]]:
    """Return every row of a plan's readings of pulls, from its locomotives' tables and its book, corrected.

    A locomotive that pulls on the balance up a grade g and round a curve of curvature κ also lifts itself: on level
    straight track it would give W (g + C κ) more.

    Raises
    ------
    PlanError
        A reading that comes to no pull on level straight track.
    """
    found: dict[tuple[str, str, State], list[Taken]] = {}
    for loco in plan.locos.values():
        tables: tuple[tuple[State, Mapping[str, tuple[Reading, ...]]], ...] = (
            ("standing", loco.pull),
            ("slipping", loco.slipping),
        )
        for state, table in tables:
            for rail, forces in table.items():
                if forces:
                    found.setdefault((loco.name, rail, state), []).append(Taken(f'loco "{loco.name}"', forces, 0.0))
    for row in plan.book.pulls:
        weight = GRAVITY * plan.locos[row.loco].mass
        correction = weight * (row.grade + coefficient * row.curvature)
        forces = tuple(Reading(force.value + correction, force.spread, force.unit) for force in row.forces)
        if (least := min(forces, key=lambda force: force.value)).value <= 0:
            raise PlanError(
                "on level straight track it comes to no pull at all",
                file=plan.file,
                place=row.place,
                found=describe(least.value, "force", least.unit or "N"),
                write="its grade, uphill where positive, and its mass as they are",
            )
        key = row.loco, RailCondition.named(row.rail).at(row.hours).name, row.state
        found.setdefault(key, []).append(Taken(row.place, forces, correction, row.hours))
    return found


def reduce_row(key: tuple[str, str, State], taken: Sequence[Taken], pooled: Pooled, *, sure: float = 0.0) -> Reduced:
    """Return the readings of one locomotive on one rail in one state, reduced.

    `sure` is the standard error of the correction for curves, N, common to all of the readings.
    """
    step = pooled.step
    unit = next((force.unit for row in taken for force in row.forces if force.unit), "N")
    ages = {
        hours: counted(
            [(row.place, row.forces) for row in taken if row.hours == hours],
            pooled.share,
            lambda value: describe(value, "force", unit),
            step=step,
            own=True,
        )
        for hours in dict.fromkeys(row.hours for row in taken)
    }
    forces = [force for age in ages.values() for force in age.readings]
    values = _values(min(ages.values(), key=lambda age: age.mean).readings)
    stated = [force.spread for force in forces if force.spread is not None]
    scatter, freedom = _within_ages([_values(age.readings) for age in ages.values()])
    borrowed = len(forces) < ENOUGH or freedom < 1
    if stated:
        scatter, freedom = math.sqrt(fmean(spread**2 for spread in stated)), max(pooled.freedom, 30)
    elif borrowed:
        scatter, freedom = pooled.share * fmean(values), pooled.freedom
    mean = mean_of(values, step=step, scatter=scatter, freedom=freedom)
    error = math.hypot(mean.error, sure)
    half = student(mean.freedom) * error
    return Reduced(
        *key,
        taken=tuple(taken),
        ages=ages,
        mean=mean.value,
        scatter=mean.scatter,
        error=error,
        freedom=mean.freedom,
        borrowed=borrowed and not stated,
        low=max(0.0, mean.value - half),
        high=mean.value + half,
    )


def _within_ages(ages: Sequence[Sequence[float]]) -> tuple[float | None, int]:
    """Return the scatter of readings about the mean of their own age of film, and its degrees of freedom."""
    freedom = sum(len(values) - 1 for values in ages)
    if freedom < 1:
        return None, 0
    squares = sum((x - fmean(values)) ** 2 for values in ages for x in values)
    return math.sqrt(squares / freedom), freedom


def outliers(values: Sequence[float], *, step: float = 0.0) -> tuple[float, ...]:
    """Return readings that lie far from the others: more than 3.5 robust standard deviations from the median.

    The spread is the median distance from the median and half a step of the balance, since either may be rounded by
    as much, together times 1.4826, and at least 1 % of the median. So readings of which most are equal, as a balance
    shows them, have no spread of 0. Fewer than four readings have no outlier.
    """
    if len(values) < 4:
        return ()
    middle = median(values)
    spread = max(1.4826 * (median(abs(x - middle) for x in values) + step / 2), 0.01 * abs(middle))
    return tuple(x for x in values if abs(x - middle) > FAR_OUT * spread)


def weights_on(loco: Loco) -> tuple[float, float]:
    """Return the weight, N, on a locomotive's metal and on its tyred driven wheels."""
    return (loco.on_drivers - loco.on_tyres) * GRAVITY, loco.on_tyres * GRAVITY


def all_forces(rows: Iterable[Sequence[Taken]], step: float) -> list[tuple[Reading, ...]]:
    """Return the readings of every row that count of it, for pooling: a slip in one must not hide others' doubts."""
    each = [row for taken in rows for row in taken if row.forces]
    return [counted([(row.place, row.forces)], 0.0, str, step=step).readings for row in each]
