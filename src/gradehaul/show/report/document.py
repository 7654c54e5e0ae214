"""What the page calculates with: profiles, stock and trains in full precision, and what is drawn of each route."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from gradehaul import __version__
from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.answers.judged import TrainAnswer, worst_of_each
from gradehaul.haulage.answers.layout import Layout, film_rails
from gradehaul.haulage.answers.set_heights import Response
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.resistance import lowest
from gradehaul.haulage.verdict import WORST_FIRST
from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.haulage.views.section import LongSection, section_without_train
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.network.route import Route
from gradehaul.plan.edit.trial import fixed_railheads
from gradehaul.plan.rail_condition import CLEAN, PLANNED
from gradehaul.plan.rail_condition import conditions as conditions_of
from gradehaul.plan.records import Loco
from gradehaul.plan.resolve.stock import TOGETHER
from gradehaul.quantities.document import keys_of, value_at
from gradehaul.show.base.labels import chance_words
from gradehaul.show.base.unit_format import UnitFormat, unit_rules
from gradehaul.show.check.outcome_words import SENTENCES, conditions, everywhere, spread_words
from gradehaul.show.plan_view.styles import shades_of
from gradehaul.track.piecewise import PiecewiseQuadratic
from gradehaul.treatment.keep_clean import KeepCleanPlan, UsedStretch, used_stretches

_PLACES = 4
"""Decimals of lengths in m that are only drawn."""

_DRAWN = ("name", "from", "to", "lap", "length_m", "grades", "curves", "tracks", "joints")


def report_document(
    layout: Layout,
    trains: Sequence[TrainAnswer],
    judged_rails: Sequence[str],
    units: UnitFormat,
    view: PlanView | None = None,
    film: KeepCleanPlan | None = None,
    responses: Iterable[Response] = (),
    answered: CheckAnswer | None = None,
) -> dict[str, Any]:
    """Return the document that the page's script reads.

    What it calculates with has all its digits, so that the page's verdicts are those of the package: the compensated
    profile of every route, the stock and its pulls. What it only draws is rounded as in every other document. Stations
    whose height the reader can change are in `responses`; an answer narrows the routes and trains to its own.
    """
    plan = layout.plan
    named = plan.trains if answered is None else answered.plan.trains
    routes = layout.routes if answered is None else [each.route for each in answered.routes]
    conditions_shown = conditions_document(layout, judged_rails)
    verdicts = verdict_rows(on_conditions(conditions_shown, trains))
    wheels, names = layout.wheels(), list(plan.tracks)
    return {
        "gradehaul": __version__,
        "plan": plan.title,
        "units": unit_rules(units),
        "rails": list(layout.rails),
        **conditions_shown,
        "planned": list(layout.planned),
        "aged": {} if layout.hours is None else {rail: layout.aged(rail) for rail in conditions_of(plan.films)},
        "outcomes": {"worst_first": WORST_FIRST, "sentences": SENTENCES},
        "stock": stock_document(layout),
        "trains": [
            _exact(train, "name route together") | {"consist": [_exact(cut, "name count") for cut in train.consist]}
            for train in named.values()
        ],
        "routes": [route_document(layout, run.route) for each in routes for run, _ in layout.profile(each).runs],
        "trial": {"heights": {}, "rails": {}, "hours": None},
        "verdicts": verdicts,
        "stated_verdicts": verdicts,
        "films": [film.name for film in plan.films.values()],
        "film_reach": {name: [names[other] for other in wheels.reached([number])] for number, name in enumerate(names)},
        "film_spreads": spread_words(plan, units),
        "stated_rails": {key: track.rail for key, track in plan.tracks.items() if track.rail is not None},
        "stated_heights": fixed_railheads(plan),
        "heights": heights_document(responses),
        "plan_view": None if view is None else plan_view_document(view, film),
    }


def conditions_document(layout: Layout, judged_rails: Sequence[str]) -> dict[str, Any]:
    """Return the rail conditions by which trains are judged with what these are called, and each film everywhere."""
    films = [rail for rail in film_rails(layout.rails) if rail not in judged_rails]
    return {
        "judged": " and ".join(conditions(judged_rails, layout.hours)),
        "judged_rails": list(judged_rails),
        "everywhere": [{"name": name, "rails": ages} for name, ages in everywhere(films, layout.hours).items()],
    }


def on_conditions(shown: Mapping[str, Any], trains: Sequence[TrainAnswer]) -> dict[str, list[TrainAnswer]]:
    """Return trains at their worst on each condition that is shown: on the judged ones under no name, and by name."""
    rails = {"": shown["judged_rails"], **{each["name"]: each["rails"] for each in shown["everywhere"]}}
    return {on: worst_of_each(train for train in trains if train.rail in own) for on, own in rails.items()}


def verdict_rows(shown: Mapping[str, Iterable[TrainAnswer]]) -> list[dict[str, Any]]:
    """Return each train on each condition: its outcome, what it has to spare, and where that is least."""
    keys = "name rail outcome verdict.spare at=verdict.spare_at track=verdict.spare_track verdict.uphill"
    return [{"on": on, **_exact(train, keys)} for on, trains in shown.items() for train in trains]


def chances(shown: Mapping[str, Iterable[TrainAnswer]]) -> Iterator[dict[str, str]]:
    """Yield the chance of failing of each train on each condition; its random trials run as it is drawn."""
    for on, trains in shown.items():
        for train in trains:
            yield {"name": train.name, "on": on, "risk": chance_words(train.risk)}


def heights_document(responses: Iterable[Response]) -> list[dict[str, Any]]:
    """Return the stations whose height can be changed, with what a meter more does to the railhead of each track."""
    return [
        _exact(each, "key height fixed joint track at")
        | {
            "changes": {
                track: {"bend": change.bend and _function(change.bend), "per_m": _function(change.per_meter)}
                for track, change in each.changes.items()
            }
        }
        for each in responses
    ]


def stock_document(layout: Layout) -> dict[str, Any]:
    """Return locomotives with their pulls on every rail condition, powers and cars: masses in kg, forces in N."""
    plan = layout.plan
    return {
        "gravity": GRAVITY,
        "together": TOGETHER,
        "curves": _exact(layout.curves, "coefficient starting lowest tension"),
        "locos": [_loco(layout, loco) for loco in plan.locos.values()],
        "powers": [_exact(power, "name locos together") for power in plan.powers.values()],
        "cars": [
            _exact(car, "name mass length rolling=rolling.value starting=starting.value")
            | {"lowest": lowest(car.rolling, car.rolling_drop)}
            for car in plan.cars.values()
        ],
    }


def route_document(layout: Layout, route: Route) -> dict[str, Any]:
    """Return a route run in one direction: what is drawn of it, and its compensated profile in full precision.

    A leg of a route with reversals names it as its ``whole``, and has in ``run_rounds`` for each reversal before it the
    longest locomotives that run round the train there, m, or null where they stay; ``run_rounds_turn`` says where their
    way puts them in the opposite order.
    """
    profile = layout.profile(route)
    section = section_without_train(layout, route.name)
    return {
        **_drawn(section),
        "whole": route.whole,
        "run_rounds": [None if way is None else way.room for way in route.run_rounds],
        "run_rounds_turn": [way is not None and way.turns for way in route.run_rounds],
        "starts_whole": route.starts_whole,
        "rooms": [_exact(room, "name length") for room in layout.rooms(layout.route(route.whole))],
        "reversals": [
            {"run_round": f"the run-round {tail.place}", "room_m": tail.round_room}
            for tail in layout.route(route.whole).tails
        ],
        **_profile(profile),
        # with each way on to its start laid before it, from less than 0
        "behind": [
            {
                "tracks": [
                    {"id": way.track, "name": name, "forward": way.forward}
                    for way, name in zip(each.route.ways, each.tracks, strict=True)
                ],
                **_profile(each),
            }
            for each in profile.behind
        ],
    }


def _drawn(section: LongSection) -> dict[str, Any]:
    document = section.to_dict()
    for track, way in zip(document["tracks"], section.route.ways, strict=True):
        track["forward"] = way.forward
    return {"name": document.pop("route"), **{key: document[key] for key in _DRAWN if key in document}}


def _profile(profile: RouteProfile) -> dict[str, Any]:
    return {
        "starts": profile.starts.tolist(),
        "rails": [own[0] for own in profile.rails],
        "conditions": [list(own) for own in profile.rails],
        "compensated": _function(profile.compensated),
        # at the same breakpoints
        "railhead": {key: part for key, part in _function(profile.railhead).items() if key != "breaks"},
    }


def _function(function: PiecewiseQuadratic) -> dict[str, list[float]]:
    return {
        "breaks": function.breaks.tolist(),
        "values": function.values.tolist(),
        "slopes": function.slopes.tolist(),
        "seconds": function.seconds.tolist(),
    }


def _loco(layout: Layout, loco: Loco) -> dict[str, Any]:
    def on(rail: str) -> dict[str, Any]:
        standing, slipping = layout.pulls.standing(loco, rail), layout.pulls.slipping(loco, rail)
        slips = _exact(slipping, "slipping=value slipping_basis=basis")
        return _exact(standing, "standing=value basis") | slips

    rails = [rail for rail in layout.rails if rail not in PLANNED]
    return _exact(loco, "name title mass length") | {"pulls": {rail: on(rail) for rail in rails}}


def _exact(record: object, keys: str) -> dict[str, Any]:
    """Return keys of a record, named as in its own document, with all digits."""
    found = {key.name: value_at(record, key.path) for key in keys_of(type(record), keys)}
    return {name: list(value) if isinstance(value, tuple) else value for name, value in found.items()}


def plan_view_document(view: PlanView, film: KeepCleanPlan | None = None) -> dict[str, Any]:
    """Return what the page draws of a plan view, with a keep-clean plan's uses; m, to a tenth of a millimeter."""
    uses = {} if film is None else used_stretches(film)
    return {
        "tracks": [_track(track, uses.get(key, ())) for key, track in view.tracks.items()],
        "joints": [
            {"name": joint.name, "x": _short(joint.x), "y": _short(joint.y), "plain": joint.kind == "plain"}
            for joint in view.joints
        ],
        "overpasses": [{"track": each.over.track, "at_m": _short(each.over.at)} for each in view.overpasses],
    }


def _track(track: TrackView, uses: Sequence[UsedStretch]) -> dict[str, Any]:
    """Return a track as points, and between each two the shade and which way it climbs: 1 onward, -1 back, 0 level."""
    return {
        "id": track.id,
        "at_m": track.distance.round(_PLACES).tolist(),
        "xy_m": track.xy.ravel().round(_PLACES).tolist(),
        "shades": shades_of(track),
        "climbs": track.climbs.tolist(),
        "railhead_m": _short(float(track.railhead.mean())),
        "treated": track.rail != CLEAN,
        "uses": [{"use": each.use, "from_m": _short(each.start), "to_m": _short(each.stop)} for each in uses],
    }


def _short(value: float) -> float:
    return round(value, _PLACES)
