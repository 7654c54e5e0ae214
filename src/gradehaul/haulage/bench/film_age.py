"""The film in time: what a locomotive pulls on it at any age, fresh at first, then partly recovered, never clean."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np

from gradehaul.plan.records import WorkedOut
from gradehaul.quantities.si import Hours, Newtons

EARLY = 1.0
"""Hours since it went on within which a film is read as it is when fresh (assumed)."""

AGES_FOR_CURVE = 3
"""Different ages from which a curve is fitted; fewer are taken stepwise."""


@dataclass(frozen=True, slots=True)
class AgedPull:
    """A mean pull, N, as read at an age of the film, hours."""

    hours: Hours
    pull: Newtons


@dataclass(frozen=True, slots=True)
class Recovery:
    """A locomotive's pull on a film by hours since it went on, N.

    ``exponential``: P(t) = settled - (settled - fresh) exp(-t / time), with fresh ≤ settled ≤ the clean pull;
    ``stepwise``: the pull last read at or before an age, of the pairs in `ages`.
    """

    KEYS: ClassVar[str] = "loco film form fresh settled time_h=time clean misfit ages=aged_pulls"

    loco: str
    film: str
    form: Literal["exponential", "stepwise"]
    ages: tuple[tuple[Hours, Newtons], ...]
    """Hours and mean pull, N, as read."""
    clean: Newtons | None
    fresh: Newtons
    settled: Newtons
    time: Hours | None
    """Hours in which all but 37 % of the recovery is made; None where stepwise."""
    misfit: Newtons
    """Root mean square of what the curve misses, N."""

    @property
    def first_age(self) -> float:
        """The first age at which it was read, hours."""
        return self.ages[0][0]

    def at(self, hours: float) -> float:
        """Return the pull at an age, N.

        A film recovers, so it is no more than was read then or at any later age; after the last age no more than there.
        """
        before = [pull for age, pull in self.ages if age <= hours]
        after = [pull for age, pull in self.ages if age >= hours] or [self.ages[-1][1]]
        if self.time is not None:
            return min(self._curve(self.time, hours), *after)
        return min(before[-1] if before else after[0], *after)

    def around(self, hours: float) -> tuple[tuple[Hours, Newtons], tuple[Hours, Newtons]]:
        """Return the last age read at or before an age and the first at or after it, each with its pull, stepwise.

        Both are the same where the age was read, lies beyond the ages read, or has a curve.
        """
        before = next((age for age in reversed(self.ages) if age[0] <= hours), self.ages[0])
        after = next((age for age in self.ages if age[0] >= hours), before)
        return (before, after) if self.time is None else (before, before)

    def kept_since(self, hours: float, later: float) -> float:
        """Return the least share of its pull at a later age that it had at an age: 1 where it may not have recovered.

        Between two ages that were read without a curve, the later pull may be as much as at the next age.
        """
        after = next((pull for age, pull in self.ages if age >= later), self.ages[-1][1])
        most = after if self.time is None else self._curve(self.time, later)
        return min(1.0, self.at(hours) / max(most, self.at(later)))

    def _curve(self, time: float, hours: float) -> float:
        return self.settled - (self.settled - self.fresh) * math.exp(-hours / time)

    @property
    def aged_pulls(self) -> tuple[AgedPull, ...]:
        """The pulls by age, as read."""
        return tuple(AgedPull(hours, pull) for hours, pull in self.ages)


def recovery(loco: str, film: str, ages: Sequence[tuple[float, float]], clean: float | None) -> Recovery:
    """Return how the pull of a locomotive on a film recovers.

    Least squares over time constants from a twentieth of the first gap, and no less than the first age, to twenty times
    the last age, on a grid drawn closer three times; for each the two levels are linear, and held to 0 ≤ fresh ≤
    settled ≤ clean. What recovers faster than the first age leaves nothing to tell how low it began.

    `ages` has hours since the film went on and the mean pull then, N; `clean` is the pull on clean rail where it was
    read: the film never gives back more.

    >>> found = recovery("goat", "treated", [(0.0, 0.42), (6.0, 0.48), (24.0, 0.51), (72.0, 0.511)], 0.80)
    >>> found.form, round(found.fresh, 2), round(found.settled, 2), round(found.at(1000.0), 2)
    ('exponential', 0.42, 0.51, 0.51)
    >>> recovery("goat", "treated", [(0.0, 0.42), (24.0, 0.51)], 0.80).at(12.0)
    0.42
    """
    rows = sorted(_by_age(ages))
    values = [pull for _, pull in rows]
    if len(rows) < AGES_FOR_CURVE:
        return Recovery(loco, film, "stepwise", tuple(rows), clean, values[0], values[-1], None, 0.0)
    hours, pulls = np.array([age for age, _ in rows]), np.array(values)
    most = math.inf if clean is None else clean
    least = math.log(max(0.05 * float(np.diff(hours).min()), float(hours[0])))
    low, high = least, math.log(20 * float(hours[-1]))
    best = (math.inf, 0.0, 0.0, 1.0)
    for _ in range(4):
        times = np.exp(np.linspace(low, high, 121))
        trials = [(*_levels(np.exp(-hours / time), pulls, most), float(time)) for time in times]
        best = min(best, *trials)
        step = (high - low) / 120
        low, high = max(least, math.log(best[3]) - 2 * step), math.log(best[3]) + 2 * step
    misses, fresh, settled, time = best
    return Recovery(loco, film, "exponential", tuple(rows), clean, fresh, settled, time, math.sqrt(misses / len(rows)))


def pull_at(own: Recovery, films: Sequence[Recovery], hours: float) -> tuple[Newtons, WorkedOut]:
    """Return a locomotive's pull on a film at an age, N, and what it comes from.

    Before its first age read it had not recovered so far: it is scaled by the least share that another locomotive kept
    on the same film, of those that were read earlier, and never more than its own curve has.

    >>> mule = recovery("mule", "treated", [(6.0, 0.61)], None)
    >>> goat = recovery("goat", "treated", [(0.5, 0.52), (6.0, 0.61)], None)
    >>> value, source = pull_at(mule, [mule, goat], 0.5)
    >>> round(value, 3), source.basis, source.how
    (0.52, 'scaled', 'its reading at 6 h x 0.852, what goat had at 0.5 h of its pull then')
    """
    first, value = own.ages[0][0], own.at(hours)
    read = own.at(first)
    if hours >= first:
        before, after = own.around(hours)
        if before[0] < hours < after[0]:
            counts = min(before, after, key=lambda age: age[1])[0]
            read_at = f"readings at {before[0]:g} h and {after[0]:g} h"
            how = f"the lower of its {read_at}, that at {counts:g} h, for {hours:g} h"
            return value, WorkedOut("measured", how, (before[0], after[0], counts))
        last = own.ages[-1][0]
        read_at = f"reading at {first:g} h" if first == last else f"readings from {first:g} h to {last:g} h"
        return value, WorkedOut("measured", f"its {read_at}, at {hours:g} h")
    others = [
        (other.kept_since(hours, first), other.loco)
        for other in films
        if first > EARLY and other.film == own.film and other.loco != own.loco and other.first_age < first
    ]
    kept, loco = min(others, default=(1.0, ""))
    if kept * read < value:
        how = f"its reading at {first:g} h x {kept:.3g}, what {loco} had at {hours:g} h of its pull then"
        return kept * read, WorkedOut("scaled", how)
    if value < read:
        return value, WorkedOut("scaled", f"the curve of its readings, {first:g} h or older, at {hours:g} h")
    if first <= EARLY:
        how = f"its reading at {first:g} h, fresh as all within {EARLY:g} h of wiping (assumed)"
        return value, WorkedOut("measured", how)
    return value, WorkedOut("assumed", f"no more than its reading at {first:g} h")


def _by_age(ages: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    by: dict[float, list[float]] = {}
    for age, pull in ages:
        by.setdefault(age, []).append(pull)
    return [(age, sum(pulls) / len(pulls)) for age, pulls in by.items()]


def _levels(left: np.ndarray, pulls: np.ndarray, most: float) -> tuple[float, float, float]:
    """Return the sum of squares and the levels fresh and settled that fit best, fresh ≤ settled ≤ most.

    P = fresh x + settled (1 - x), x being what is left to recover: the free solution where it is allowed, else the best
    on an edge of what is.
    """
    y = 1.0 - left
    a, b, d = float(left @ left), float(left @ y), float(y @ y)
    r, q = float(left @ pulls), float(y @ pulls)
    determinant = a * d - b * b
    mean = float(pulls.mean())
    tries = [(min(mean, most), min(mean, most))]
    if math.isfinite(most) and a > 0:
        tries.append((min(max((r - b * most) / a, 0.0), most), most))
    if determinant > 1e-12 * max(a * d, 1e-300):
        fresh, settled = (d * r - b * q) / determinant, (a * q - b * r) / determinant
        if 0 <= fresh <= settled <= most:
            tries.append((fresh, settled))
    if d > 0:
        tries.append((0.0, min(max(q / d, 0.0), most)))
    return min((float(((f * left + s * y - pulls) ** 2).sum()), f, s) for f, s in tries)
