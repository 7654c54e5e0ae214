"""Unusual figures: what of a plan's grades, curves, stock and readings cannot be, or hardly."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from statistics import fmean

from gradehaul.errors import PlanError
from gradehaul.haulage.adhesion import GRAVITY, Pulls
from gradehaul.haulage.demand import TIE
from gradehaul.haulage.resistance import DEGREE_COEFFICIENT, curve_coefficient
from gradehaul.plan.rail_condition import CLEAN, conditions
from gradehaul.plan.records import Car, Loco, Note, Plan
from gradehaul.quantities import convert, describe
from gradehaul.scales import car_mass
from gradehaul.track.alignment import Alignment
from gradehaul.track.figures import SHARPEST
from gradehaul.track.piecewise import PiecewiseQuadratic

STEEP = 0.10
"""A grade beyond this gets a note: 1 in 10 is rack-railway country (common practice)."""
_LEAST_STACK = 3.0
"""The least height between turns of a helix at full size, m: no train is lower (common practice)."""
_SHORT, _LONG = 2.5, 45.0
"""The least and the greatest usual length of a vehicle at full size, m (common practice)."""
_CAR, _LOCO = (0.25, 4.0), (0.5, 10.0)
"""The usual masses of cars and locomotives, over what the practice lays down for a car as long (common practice)."""
MOST_ADHESION, LEAST_ADHESION = 0.60, 0.03
"""Standing pull over weight beyond which a reading is more likely a typo (common practice: 20 to 25 % with
metal wheels, up to some 50 % with tyres, half of that on a film)."""
_LIKELY = (0.10, 0.50)
_UNITS = ("N", "gf", "ozf", "mN")
_ROLLS = (0.002, 0.06)
"""The least and the greatest rolling resistance that a model car hardly passes (common practice: 0.8 to 3 %)."""


def unusual_notes(plan: Plan, alignment: Alignment) -> Iterator[Note]:
    """Yield a note for each figure far outside what is usual, on a route or off it."""
    yield from _steep(plan, alignment)
    yield from _sharp(plan)
    yield from _wound(plan, alignment)
    yield from stock_notes(plan, (*plan.locos, *plan.cars))
    yield from curve_notes(plan)
    for loco in plan.locos.values():
        yield from _odd(plan, loco)
    for car in plan.cars.values():
        yield from _odd(plan, car)


def stock_notes(plan: Plan, vehicles: Collection[str]) -> Iterator[Note]:
    """Yield a note for each pull and resistance of some vehicles that cannot be, or hardly."""
    pulls = Pulls(plan)
    for loco in plan.locos.values():
        if loco.name in vehicles:
            yield from _share_of_weight(loco) if plan.scale.ratio > 1 else ()
            yield from _film_above_clean(plan, loco)
            yield from _slipping_above_standing(plan, loco, pulls)
    for car in plan.cars.values():
        if car.name in vehicles and plan.scale.ratio > 1:
            yield from _rolling(car)


def _share_of_weight(loco: Loco) -> Iterator[Note]:
    """Yield a note for each rail on which a locomotive was read to pull more or less of its weight than any does."""
    weight = GRAVITY * loco.mass
    for rail, forces in loco.pull.items():
        pull, unit = fmean(force.value for force in forces), next((force.unit for force in forces if force.unit), "N")
        share = pull / weight
        if LEAST_ADHESION <= share <= MOST_ADHESION:
            continue
        figure = convert(pull, unit)
        meant = [
            f"{figure:.3g} {other} ({100 * value / weight:.0f} %)"
            for other in _UNITS
            if other != unit and _LIKELY[0] <= (value := figure / convert(1.0, other)) / weight <= _LIKELY[1]
        ]
        size, limit = ("more", MOST_ADHESION) if share > MOST_ADHESION else ("less", LEAST_ADHESION)
        hint = f"; was {' or '.join(meant)} meant?" if meant else "; is the mass right?"
        shown = describe(pull, "force", unit)
        text = f"{shown} is {100 * share:.0f} % of its weight, {size} than {100 * limit:.0f} %{hint}"
        yield Note(f"{loco.name} on {rail} rail, standing", text)


def _rolling(car: Car) -> Iterator[Note]:
    """Yield a note where a car rolls more easily, or harder, than any does."""
    share = car.rolling.value
    if _ROLLS[0] <= share <= _ROLLS[1]:
        return
    usual = f"{100 * share:.2f} % of its weight, where 0.8 to 3 % is usual"
    if car.rolling_basis == "measured":
        text = f"comes out at {usual}: were all cars of the string counted, and was the track level?"
    else:
        text = f"is {usual}"
    yield Note(f'car "{car.name}"', f"its rolling resistance {text}")


def curve_notes(plan: Plan) -> Iterator[Note]:
    """Yield a note where curves cost far more or less than is usual."""
    times = curve_coefficient(plan.curve_resistance, plan.scale) * plan.scale.ratio / DEGREE_COEFFICIENT
    if not 1 / 3 <= times <= 3:
        what = "unit" if plan.curve_resistance.spread is None else "radius"
        yield Note("curves", f"the coefficient comes out at {times:.2g} times the usual one: is the {what} right?")


def _steep(plan: Plan, alignment: Alignment) -> Iterator[Note]:
    """Yield a note for each line with a grade, stated or not, that only a rack would climb: on its steepest track."""
    usual = f"more than {describe(STEEP, 'grade', '%')} is for racks, 2 % to 4 % is usual on hills"
    for line in plan.lines.values():
        grades = [_steepest(alignment.tracks[track.id].railhead, track.grade or 0.0) for track in line.tracks]
        steepest, track = max(zip(grades, line.tracks, strict=True), key=lambda each: abs(each[0]))
        if abs(steepest) > STEEP:
            verb = "is" if track.grade == steepest else "comes to"
            yield Note(track.place, f"the grade {verb} {describe(steepest, 'grade', '%')}; {usual}")


def _steepest(railhead: PiecewiseQuadratic, stated: float) -> float:
    """Return the steepest grade of a track: the stated one, unless its railhead is steeper anywhere."""
    slope = railhead.derivative()
    found = max((*slope.values.tolist(), *slope.ends.tolist()), key=abs)
    return found if abs(found) > abs(stated) * (1 + TIE) else stated


def _sharp(plan: Plan) -> Iterator[Note]:
    """Yield a note for each line with a curve that hardly any model runs through."""
    least = plan.scale.permitted_radii
    for line in plan.lines.values():
        sharpest = max(line.tracks, key=lambda track: abs(track.curvature))
        if abs(sharpest.curvature) * SHARPEST * plan.scale.gauge <= 1.0:
            continue
        radius = describe(1 / abs(sharpest.curvature), "length", plan.unit)
        usual = (
            f"NEM 111 permits {describe(least.up_to_20_m, 'length', plan.unit)} or more in {plan.scale.name}"
            if least is not None
            else f"{describe(SHARPEST * plan.scale.gauge, 'length', plan.unit)}, ten gauges, is usual at the least"
        )
        yield Note(sharpest.place, f"the radius is {radius}; {usual}")


def _wound(plan: Plan, alignment: Alignment) -> Iterator[Note]:
    """Yield a note for each curve of more than a full turn that does not climb over itself."""
    for track in plan.tracks.values():
        turns = abs(track.curvature) * track.length / (2 * math.pi)
        railhead = alignment.tracks[track.id].railhead
        climb = abs(float(railhead.ends[-1] - railhead.values[0])) / max(turns, 1.0)
        least = _LEAST_STACK / plan.scale.ratio
        if turns > 1 + 1e-6 and climb < least:
            by, usual = (describe(each, "length", plan.unit) for each in (climb, least))
            turned = describe(2 * math.pi * turns, "angle", "deg")
            yield Note(
                track.place,
                f"it turns through {turned} and climbs {by} in a full turn, 360 deg, so that it meets itself; {usual} "
                "a turn or more is usual in a helix",
            )


def _slipping_above_standing(plan: Plan, loco: Loco, pulls: Pulls) -> Iterator[Note]:
    """Yield a note for each rail on which the wheels of a locomotive pull more when they slide than while they hold."""
    for rail in conditions(plan.films):
        stand, slip = pulls.standing(loco, rail), pulls.slipping(loco, rail)
        if slip.basis != "measured" or slip.value <= stand.value * (1 + TIE):
            continue
        unit = next((force.unit for force in loco.slipping[rail] if force.unit), "N")
        own, other = (describe(pull.value, "force", unit) for pull in (slip, stand))
        why = {
            "scaled": "which is scaled from other rail: measure that too",
            "assumed": "which is assumed from its weight: measure that too",
        }.get(stand.basis, "which is impossible: are the two swapped?")
        wrong = f"{own} with sliding wheels is more than the standing pull, {other}, {why}"
        yield Note(f'loco "{loco.name}", slipping, {rail}', wrong)


def _film_above_clean(plan: Plan, loco: Loco) -> Iterator[Note]:
    """Yield a note for each state in which a locomotive was read to pull more on a film than on clean rail."""
    for state, table in (("standing", loco.pull), ("slipping", loco.slipping)):
        if CLEAN not in table:
            continue
        clean = fmean(force.value for force in table[CLEAN])
        for rail in conditions(plan.films):
            if rail in table and fmean(force.value for force in table[rail]) > clean:
                yield Note(
                    f'loco "{loco.name}", {state}, {rail}',
                    "it pulls more than on clean rail, as on no film (common practice): are the rails swapped, "
                    "or was the clean rail not clean?",
                )


def _odd(plan: Plan, vehicle: Loco | Car) -> Iterator[Note]:
    """Yield notes on a length or a mass that no model of the scale has."""
    kind, usual = ("loco", _LOCO) if isinstance(vehicle, Loco) else ("car", _CAR)
    place = f'{kind} "{vehicle.name}"'
    short, long = (each / plan.scale.ratio for each in (_SHORT, _LONG))
    if plan.scale.ratio > 1 and not short <= vehicle.length <= long:
        length, least, most = (describe(each, "length", plan.unit) for each in (vehicle.length, short, long))
        yield Note(place, f"the length is {length}; {least} to {most} is usual in {plan.scale.name}")
        return
    try:
        car = car_mass(plan.scale, vehicle.length, plan.practice)
    except PlanError:  # the practice has no weights in this scale, so nothing to compare with
        return
    low, high = (factor * car for factor in usual)
    if not low <= vehicle.mass <= high:
        unit = "oz" if plan.practice == "NMRA" else "g"
        mass, least, most = (describe(each, "mass", unit) for each in (vehicle.mass, low, high))
        yield Note(place, f"the mass is {mass}; {least} to {most} is usual for one as long in {plan.scale.name}")
