"""A plan with its bench results: readings taken in, coefficients worked out, films at an age."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from gradehaul.haulage.adhesion import GRAVITY, NominalPulls, least_share
from gradehaul.haulage.bench.adhesion_fit import AdhesionFit, fit_adhesion
from gradehaul.haulage.bench.cars import CarBench, CurveBench, cars_at_bench, curve_at_bench, with_resistances
from gradehaul.haulage.bench.film_age import EARLY, Recovery, pull_at, recovery
from gradehaul.haulage.bench.reduction import (
    Pooled,
    Reduced,
    Taken,
    all_forces,
    least_step,
    pool,
    reduce_row,
    rows_taken,
    weights_on,
)
from gradehaul.haulage.resistance import curve_coefficient, curve_spread
from gradehaul.plan.bench_records import State
from gradehaul.plan.rail_condition import CLEAN, RailCondition, ages, conditions
from gradehaul.plan.records import Car, CurveResistance, Loco, Plan, PredictedPull, WorkedOut
from gradehaul.quantities import Reading
from gradehaul.quantities.si import Meters, Newtons


@dataclass(frozen=True, slots=True)
class Bench:
    """All that follows from the readings of a plan."""

    rows: tuple[Reduced, ...]
    fits: Mapping[str, AdhesionFit]
    """By rail condition."""
    films: tuple[Recovery, ...]
    cars: Mapping[str, CarBench]
    curve: CurveBench | None
    coefficient: Meters
    """Curve coefficient used, m."""
    pooled: Pooled

    def row(self, loco: str, rail: str) -> Reduced | None:
        """Return the readings of the standing pull of a locomotive on a rail."""
        wanted = loco, rail, "standing"
        return next((row for row in self.rows if (row.loco, row.rail, row.state) == wanted), None)

    def undated(self, loco: str, condition: RailCondition) -> Newtons | None:
        """Return the least mean of the standing pulls of a locomotive that were read at no stated age of a film, N.

        Of a fresh film what was read of it rested counts too, for it recovers. None where there is none.
        """
        rails = [each for each in ages(str(condition.film)) if condition.fresh or each == condition.name]
        rows = [row for row in (self.row(loco, rail) for rail in rails) if row is not None]
        return min((row.ages[None].mean for row in rows if None in row.ages), default=None)


def work_out(plan: Plan) -> Bench:
    """Work out everything that follows from the readings of a plan: pulls, adhesion, films in time, cars and curves."""
    cars = cars_at_bench(plan)
    curve = curve_at_bench(plan, cars)
    resistance = _curve_resistance(plan, curve)
    coefficient = curve_coefficient(resistance, plan.scale)
    taken = rows_taken(plan, coefficient)
    read = (force for rows in taken.values() for row in rows for force in row.forces)
    step = least_step(read) if plan.book.step is None else plan.book.step
    pooled = pool(all_forces(taken.values(), step), step)
    locos, rails = list(plan.locos), conditions(plan.films)
    rows = tuple(
        reduce_row(key, taken[key], pooled, sure=_sure(plan, key[0], taken[key], resistance, coefficient))
        for key in sorted(taken, key=lambda key: (locos.index(key[0]), rails.index(key[1]), key[2] == "slipping"))
    )
    by_rail: dict[str, list[Reduced]] = {}
    for rail in rails:
        if found := [row for row in rows if row.rail == rail and row.state == "standing"]:
            by_rail[rail] = found
    fits = {
        rail: fit_adhesion(
            rail,
            tuple(row.loco for row in found),
            [weights_on(plan.locos[row.loco]) for row in found],
            [row.mean for row in found],
            [row.error for row in found],
        )
        for rail, found in by_rail.items()
        if all(sum(weights_on(plan.locos[row.loco])) > 0 for row in found)
    }
    return Bench(rows, fits, tuple(_films(plan, rows)), cars, curve, coefficient, pooled)


def predicted(bench: Bench, loco: Loco) -> dict[str, PredictedPull]:
    """Return the pulls of a locomotive by the readings of others, by rail; none where it was read itself, on any rail.

    What was read of one locomotive thus changes nothing of another that was read too.
    """
    if any(row.loco == loco.name and row.state == "standing" for row in bench.rows):
        return {}
    found = {rail: fit.predict(weights_on(loco)) for rail, fit in bench.fits.items()}
    return {rail: pull for rail, pull in found.items() if pull is not None}


def with_bench(plan: Plan, *, hours: float | None = None) -> Plan:
    """Return a plan with its readings taken in, and its films at an age where one is named.

    Nothing of the plan changes where it has no readings and no age is named.

    At an age of all films, hours, the fresh or rested condition, as the age has it, has the pulls of that age. Where it
    is left out, each condition has those of the age at which it was read to pull least.
    """
    book, in_tables = plan.book, any(loco.pull or loco.slipping for loco in plan.locos.values())
    if not (book.pulls or book.strings or book.tilts or in_tables):
        return plan
    bench = work_out(plan)
    taken_in = replace(
        plan,
        locos={name: _with_readings(bench, loco, predict=bool(book.pulls)) for name, loco in plan.locos.items()},
        cars={name: _with_car(car, bench.cars.get(name)) for name, car in plan.cars.items()},
        curve_resistance=_curve_resistance(plan, bench.curve),
        book=replace(book, pulls=(), strings=(), tilts=()),
    )
    aged = replace(
        taken_in, locos={name: _at_age(taken_in, bench, loco, hours) for name, loco in taken_in.locos.items()}
    )
    return replace(aged, locos={name: _held_down(aged, loco) for name, loco in aged.locos.items()})


def _curve_resistance(plan: Plan, curve: CurveBench | None) -> CurveResistance:
    if curve is None or curve.coefficient.value <= 0:
        return plan.curve_resistance
    error = max(curve.error, 0.02 * curve.coefficient.value)
    known = plan.curve_resistance
    return CurveResistance(
        "coefficient",
        coefficient=curve.coefficient.value,
        starting=known.starting,
        tension=known.tension,
        spread=error,
        least=curve.least,
        doubts=curve.doubts,
    )


def _sure(plan: Plan, loco: str, rows: Sequence[Taken], resistance: CurveResistance, coefficient: float) -> float:
    """Return the standard error of the correction for curves, N, taken over all readings of a row."""
    weight = GRAVITY * plan.locos[loco].mass
    curved = {row.place: row.curvature for row in plan.book.pulls}
    count = sum(len(row.forces) for row in rows)
    bend = sum(len(row.forces) * curved.get(row.place, 0.0) for row in rows) / count
    return weight * coefficient * curve_spread(resistance) * bend


def _films(plan: Plan, rows: Sequence[Reduced]) -> list[Recovery]:
    standing = {(row.loco, row.rail): row for row in rows if row.state == "standing"}
    found = []
    for loco in plan.locos:
        clean = standing.get((loco, CLEAN))
        for film in plan.films:
            pulls = [
                (hours, age.mean)
                for rail in reversed(ages(film))
                if (loco, rail) in standing
                for hours, age in standing[loco, rail].ages.items()
                if hours is not None
            ]
            if pulls:
                found.append(recovery(loco, film, pulls, None if clean is None else clean.mean))
    return found


def _with_readings(bench: Bench, loco: Loco, *, predict: bool) -> Loco:
    tables: dict[State, dict[str, tuple[Reading, ...]]] = {"standing": {}, "slipping": {}}
    own = [row for row in bench.rows if row.loco == loco.name]
    for row in own:
        tables[row.state][row.rail] = row.weakest
    predicted_pulls = predicted(bench, loco) if predict else {}
    doubts = {(row.state, row.rail): row.doubts for row in own if row.doubts}
    return replace(loco, pull=tables["standing"], slipping=tables["slipping"], predicted=predicted_pulls, doubts=doubts)


def _at_age(plan: Plan, bench: Bench, loco: Loco, hours: float | None) -> Loco:
    """Return a locomotive with the pulls of an age of each film; where None, fresh as low as it begins.

    What was first read later than that is an upper bound, and a fresh film's is scaled too from its other readings,
    by the shares kept: the lowest counts.
    """
    pull, slipping, worked_out = dict(loco.pull), dict(loco.slipping), dict(loco.worked_out)
    age, pulls = hours or 0.0, NominalPulls(plan)
    for found in bench.films:
        if found.loco != loco.name:
            continue
        condition = RailCondition(found.film).at(age)
        rail, known = condition.name, pulls.standing(loco, condition.name)
        value, source = pull_at(found, bench.films, age)
        if hours is not None and (lowest := bench.undated(loco.name, condition)) is not None and lowest < value:
            value, source = lowest, WorkedOut("measured", "its readings without hours, which are lower")
        late = age < found.first_age and found.first_age > EARLY
        elsewhere = {name: forces for name, forces in loco.pull.items() if name != rail}
        bound = pulls.standing(replace(loco, pull=elsewhere), rail) if late and condition.fresh else math.inf
        if bound <= value:
            pull.pop(rail, None)
            worked_out[rail] = WorkedOut("scaled", "the shares kept")
        elif late or hours is not None or value < known:
            unit = next((force.unit for name in ages(found.film) for force in loco.pull.get(name, ())), None)
            unsure = (found.at(found.first_age) - value) / 2 if late else 0.0  # none of that fall, or as much again
            alone = (Reading(value, math.hypot(bench.pooled.share * value, unsure), unit),)
            pull[rail] = (() if late else _read_as(bench.row(loco.name, rail), value)) or alone
            worked_out[rail] = source
        least = min(value, bound)
        if rail in slipping and least < known:
            slipping[rail] = tuple(replace(each, value=each.value * least / known) for each in slipping[rail])
    return replace(loco, pull=pull, slipping=slipping, worked_out=worked_out)


def _read_as(row: Reduced | None, pull: Newtons) -> tuple[Reading, ...]:
    """Return the readings at the age of a film whose mean a pull is, which say how sure it is; none where none is."""
    ages = () if row is None else row.ages.values()
    return next((age.readings for age in ages if math.isclose(age.mean, pull)), ())


def _held_down(plan: Plan, loco: Loco) -> Loco:
    """Return a locomotive predicted to pull no more on a film, as a share of clean rail, than others alike kept."""
    clean = loco.predicted.get(CLEAN)
    if clean is None:
        return loco
    pulls, worked_out = dict(loco.predicted), dict(loco.worked_out)
    for rail, pull in loco.predicted.items():
        share, how = least_share(plan, loco, rail)
        if share * clean.value < pull.value:
            pulls[rail] = replace(pull, value=share * clean.value)
            worked_out[rail] = WorkedOut("scaled", f"from readings of others on {CLEAN} x {share:.3g}: {how}")
    return replace(loco, predicted=pulls, worked_out=worked_out)


def _with_car(car: Car, bench: CarBench | None) -> Car:
    found = with_resistances(car, bench)
    if bench is None or found is None:
        return car
    return replace(
        car,
        rolling=found[0],
        starting=found[1],
        rolling_basis="measured" if bench.rolling is not None else car.rolling_basis,
        starting_basis="measured" if bench.starting is not None else car.starting_basis,
        rolling_drop=bench.drop,
        doubts=bench.doubtful,
    )
