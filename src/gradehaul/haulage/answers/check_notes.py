"""Notes of check: what can make it wrong, trains that do not fit or are taut, and pulls and surveys in doubt."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from itertools import chain

import numpy as np

from gradehaul.errors import quoted
from gradehaul.haulage.answers.judged import TrainAnswer
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.answers.seen_runs import doubtful_runs
from gradehaul.haulage.answers.unusual import unusual_notes
from gradehaul.haulage.demand import demand
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.resistance import NORMAL_95
from gradehaul.haulage.train import Train, build_train
from gradehaul.haulage.trust.random_trials import RandomTrials, predictions
from gradehaul.network.route import MOST_BEHIND, Route
from gradehaul.plan.names import some
from gradehaul.plan.rail_condition import ages
from gradehaul.plan.records import Note, Plan, Survey
from gradehaul.quantities import ON_RULER, describe
from gradehaul.track.alignment import Alignment
from gradehaul.track.heights.railhead import LEVEL
from gradehaul.track.piecewise import PiecewiseQuadratic, join

MUCH_WRAPPED = 4.0
"""Angle of curves under a train, rad, beyond which coupler tension is a doubt: some 6 % more demand."""

MATTERS = 0.02
"""Share of a mean of readings by which a doubt must move it to be worth a look: what a careful hand repeats a pull to
(assumed)."""

_NAMED, _DIGITS = 3, 6
"""Lines named in a note at the most, and decimals of heights, m, that count as different."""

USUAL_TENSION = 0.03
"""Effective friction of flanges pressed by coupler tension, 0.02 to 0.05 (from the geometry of HO wheels and rail; no
measured value was found)."""


def doubts_of(layout: Layout, plan: Plan, *, seed: int = 0) -> tuple[Note, ...]:
    """Return what can make the whole answer wrong, each once: readings, geometry, surveys, figures and taut trains.

    `plan` is that of the layout, or the part of it that is asked for; `seed` is that of the random trials.
    """
    made = {named.name: build_train(plan, named) for named in plan.trains.values()}
    reach: dict[str, float] = {}
    for name, train in made.items():
        route = plan.trains[name].route
        reach[route] = max(train.length, reach.get(route, 0.0))
    found = (
        *doubtful_readings(plan, (*plan.locos, *plan.cars) if layout.routes else ()),
        *doubtful_runs(layout.written, seed=seed),
        *plan.doubts,
        *surveyed_steeper(plan, layout.alignment),
        *unusual_notes(plan, layout.alignment),
        *layout.alignment.doubts,
        *level_for_want(layout, {named.route for named in plan.trains.values()}),
        *chain.from_iterable(unknown_behind(layout, each, reach.get(each.name, math.inf)) for each in layout.routes),
        *steeper_elsewhere(layout),
        *taut_trains(layout, made),
    )
    return tuple(dict.fromkeys(found))


def level_for_want(layout: Layout, routes: Collection[str]) -> Iterator[Note]:
    """Yield in a note which track on some routes is level only since no height is known beyond it."""
    plan, alignment = layout.plan, layout.alignment
    ways = {way.track for route in layout.routes if route.name in routes for way in route.ways}
    on_way = [track for track in alignment.level if track in ways]
    if not on_way:
        return
    heights = {round(height, _DIGITS) for height in alignment.railheads.values()}
    if len(heights) == 1 and not any(track.rise or track.grade or track.railhead for track in plan.tracks.values()):
        yield Note("heights", "all track is taken as level, since the plan states fewer than two heights")
        return
    lines = list(dict.fromkeys(plan.tracks[track].line for track in on_way))
    yield Note(f"line{'s' * (len(lines) > 1)} {some(lines, _NAMED, quoted)}", f"on a train's way, {LEVEL}")


def unknown_behind(layout: Layout, route: Route, reach: float = math.inf) -> Iterator[Note]:
    """Yield a note where not all of the track so far behind the start of a route, m, is known to trains on it."""
    starts = (route.legs or (route,))[0].approaches
    known = min((each.length for each in starts if each.cut), default=math.inf)
    if known < reach:
        far = describe(known, "length", layout.plan.unit)
        ways = f"more than {MOST_BEHIND} ways lead to its start, and track more than {far} behind it"
        text = f"{ways} is taken as straight and level: let it begin farther back, or in a berth"
        yield Note(f"route {quoted(route.name)}", text)


def steeper_elsewhere(layout: Layout) -> Iterator[Note]:
    """Yield a note on the steepest line that no route runs over, where it is steeper than all that they run over.

    So a hill that ends beside a loop, from where no other end can be reached. Routes that the plan names are its own.
    """
    if layout.plan.routes or not layout.routes:
        return
    on = {way.track for route in layout.routes for way in route.ways}
    known = max(steep for way, steep in layout.steepest.items() if way.track in on)
    steep, track = max((steep, way.track) for way, steep in layout.steepest.items())
    if track not in on and steep > known:
        line = layout.plan.tracks[track].line
        text = f"the steepest here, {describe(steep, 'grade', '%', 3)}, but none of these routes runs over it"
        yield Note(f'line "{line}"', f"{text}: name one in the plan, [route.NAME] with from and to")


def misfit_notes(plan: Plan, trains: Iterable[TrainAnswer]) -> Iterator[Note]:
    """Yield a note for each place that does not hold a train."""
    for train in trains:
        for misfit in train.misfits:
            needed, holds = (describe(x, "length", plan.unit) for x in (misfit.length, misfit.available))
            if misfit.kind == "run-round":
                text = f"its locomotives are {needed} long and do not fit {misfit.place}, which holds {holds}"
            else:
                text = f"it is {needed} long and does not fit {misfit.place}, which holds {holds}"
            yield Note(f'train "{train.name}"', text)


def doubtful_readings(plan: Plan, vehicles: Collection[str], matters: float = MATTERS) -> tuple[Note, ...]:
    """Return a note for each doubt about readings of some vehicles that matters, the gravest first.

    One matters where the mean depends on it by more than a share.
    """
    found = [
        (f"readings of {name} on {rail} rail{'' if state == 'standing' else ', slipping'}", doubt)
        for name in vehicles
        if name in plan.locos
        for (state, rail), doubts in plan.locos[name].doubts.items()
        for doubt in doubts
    ]
    found += [
        (f"readings of the {kind} resistance of {name}", doubt)
        for name in vehicles
        if name in plan.cars
        for kind, doubts in plan.cars[name].doubts.items()
        for doubt in doubts
    ]
    if vehicles:
        found += [("readings of the curve resistance", doubt) for doubt in plan.curve_resistance.doubts]
    found.sort(key=lambda each: -each[1].share)
    return tuple(Note(place, doubt.text) for place, doubt in found if doubt.share > matters)


def unsure_predictions(plan: Plan, trials: RandomTrials) -> Iterator[Note]:
    """Yield a note for each pull that is calculated from other locomotives though its weight alone says more."""
    if not any(loco.predicted for loco in plan.locos.values()):
        return
    for each in predictions(trials):
        if each.less_sure:
            others, weight = (
                f"{describe(pull.value, 'force', unit)} ({describe(pull.low, 'force', unit)} to "
                f"{describe(pull.high, 'force', unit)})"
                for unit in [_force_unit(plan)]
                for pull in (each.pull, each.by_weight)
            )
            yield Note(
                f'loco "{each.loco}", {each.rail}',
                f"its pull by the readings of other locomotives is {others}, by its weight {weight}; the first is "
                "used, and is very uncertain: read its own pull",
            )


def _force_unit(plan: Plan) -> str:
    """Return a unit in which the plan's readings were written, N where there are none."""
    readings = (force for loco in plan.locos.values() for forces in loco.pull.values() for force in forces)
    return next((force.unit for force in readings if force.unit), "N")


def assumed_films(plan: Plan) -> Iterator[Note]:
    """Yield a note for each film whose shares nobody measured or stated, where some pull depends on them."""
    for film in plan.films.values():
        if film.basis == "assumed" and any(
            not loco.pull.get(rail) for loco in plan.locos.values() for rail in ages(film.name)
        ):
            yield Note(
                f'rail "{film.name}"',
                "measure first: the shares of pull that it leaves are assumed, since no measured pull of a model on "
                "such a film was found; on a test rig with steel wheels a film left as little as 35 %",
            )


def taut_trains(layout: Layout, trains: Mapping[str, Train]) -> Iterator[Note]:
    """Yield a note for each train round so much curve that coupler tension, where it is left out, matters."""
    if layout.curves.tension:
        return
    routes = {route.name: route for route in layout.routes}
    for name, train in trains.items():
        if layout.plan.trains[name].route not in routes or not (train.locos and train.cars):
            continue
        taut = [
            _strain(leg, train.after(leg.route.run_rounds))
            for leg, _ in layout.profile(routes[layout.plan.trains[name].route]).approached
        ]
        angle, more = max(taut)
        if angle > MUCH_WRAPPED:
            share = f"{100 * more:.0f} %"
            yield Note(
                f'train "{name}"',
                f"it wraps {math.degrees(angle):.0f} degrees of curve: coupler tension can pull light cars off "
                f"the rail (see clearance), and adds some {share} to its demand, not counted: "
                f"write tension = {USUAL_TENSION:g} in [curve_resistance]",
            )


def _strain(profile: RouteProfile, train: Train) -> tuple[float, float]:
    """Return the most angle that a train's cars wrap, rad, and by how much usual tension raises its greatest demand."""
    angle = profile.bends.averaged(train.length, profile.first_head(train.length)).greatest()
    wrapped = angle.value * train.length
    if wrapped <= MUCH_WRAPPED:
        return wrapped, 0.0
    taut = replace(profile, curves=replace(profile.curves, tension=USUAL_TENSION))
    with_it, without = (demand(each, train).running.greatest().value for each in (taut, profile))
    return wrapped, with_it / without - 1 if without > 0 else 0.0


def surveyed_steeper(plan: Plan, alignment: Alignment) -> Iterator[Note]:
    """Yield a note for each survey that is steeper than the plan, with the worst place, or that names no line."""
    for survey in plan.surveys.values():
        line = plan.lines.get(survey.name)
        place = f"survey {quoted(survey.name)}"
        if line is None:
            yield Note(place, "no line has its name, so its readings are not compared with the plan's heights")
            continue
        railhead = join([alignment.tracks[track.id].railhead for track in line.tracks])
        reading = survey.reading or ON_RULER["imperial" if plan.unit in ("in", "ft") else "metric"]
        found = _steepest_beyond(survey, railhead, reading)
        if found is not None:
            start, stop, measured, planned = found
            here, there = (describe(each, "length", plan.unit) for each in (start, stop))
            built, drawn = (describe(each, "grade", "%") for each in (measured, planned))
            yield Note(
                place,
                f"it is steeper than the plan, by which trains are judged: {built} measured, {drawn} planned, from "
                f"{here} to {there}",
            )


def _steepest_beyond(
    survey: Survey, railhead: PiecewiseQuadratic, reading: float
) -> tuple[float, float, float, float] | None:
    """Return between which two readings a survey is steeper by most, its grade there and the plan's; None if nowhere.

    Any two readings are compared, beyond their error in 19 cases of 20: what climbs more steeply either way.
    """
    places, heights = np.array(sorted(dict(survey.heights).items()), dtype=float).T
    on_line = (places >= railhead.start - 1e-6) & (places <= railhead.stop + 1e-6)
    places, heights = places[on_line], heights[on_line]
    first, last = np.triu_indices(places.size, 1)
    if not first.size:
        return None
    planned_heights = railhead.continued(places)
    runs = places[last] - places[first]
    measured = (heights[last] - heights[first]) / runs
    planned = (planned_heights[last] - planned_heights[first]) / runs
    up, down = (np.maximum(s * measured, 0.0) - np.maximum(s * planned, 0.0) for s in (1.0, -1.0))
    beyond = np.maximum(up, down)
    sure = beyond > NORMAL_95 * math.sqrt(2.0) * reading / runs
    if not sure.any():
        return None
    worst = int(np.argmax(np.where(sure, beyond, -np.inf)))
    return float(places[first[worst]]), float(places[last[worst]]), float(measured[worst]), float(planned[worst])
