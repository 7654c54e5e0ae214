"""The page: one HTML file with everything in it, which needs no network."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import islice
from pathlib import Path
from typing import Any

from gradehaul import __version__
from gradehaul.errors import PlanError
from gradehaul.haulage.answers.check import CheckAnswer, RouteAnswer, TrainAnswer
from gradehaul.haulage.answers.judged import worse_ages, worst_of_each
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.plan_view import PlanView, plan_view
from gradehaul.haulage.views.railhead_response import railhead_responses
from gradehaul.network.route import Route
from gradehaul.plan.names import clean
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.show.base.labels import apart, chance_words
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.check.headline import film_everywhere, summary
from gradehaul.show.check.load_rows import load_cards
from gradehaul.show.check.outcome_words import verdict_words
from gradehaul.show.check.route_text import HOW_SURE, reversed_at, run_round_words
from gradehaul.show.check.text import CURVE_MODELS
from gradehaul.show.check.ways_over_text import HOW_HELPED, way_lines
from gradehaul.show.plan_view.film_uses import USES
from gradehaul.show.plan_view.shades import SHADES, shade_words
from gradehaul.show.report.assets import SHARED, asset, json_in_html, policy, script_of, template, trusted
from gradehaul.show.report.document import report_document
from gradehaul.show.report.film import film_parts
from gradehaul.show.report.rows import berth_rows, binding_rows, figure_rows, load_rows, outcome_rows, verdict_rows
from gradehaul.treatment.keep_clean import KeepCleanPlan
from gradehaul.treatment.ways_over import WaysOver

TRAIN_KEY = (
    ("block loco", "locomotives"),
    ("block car", "cars"),
    ("care stall", "stalls with its head here"),
    ("care away", "runs away with its head here"),
    ("care no-stop", "must not stop with its head here"),
    ("care no-recovery", "would not recover from a slip with its head here"),
)
"""How the train that is made up is drawn, and where it must take care: the class on the page, and what it means."""

_HANDLES = 60
"""Railheads that the reader can move; working out what each does takes time on a large layout."""

_OPEN = 6
"""Routes whose sections are shown at once; of more, the reader opens those wanted."""


def report_page(
    layout: Layout, answer: CheckAnswer, ways: Sequence[WaysOver], reader: Reader, film: KeepCleanPlan | None = None
) -> str:
    """Return the page as HTML, in the order of a builder's questions: verdict, routes, trains, loads, basis.

    Script and style are in the page and known by their hashes, so that a browser runs these and no others; names from
    the plan are text and nothing else.

    Parameters
    ----------
    layout
        The layout.
    answer
        The answer for it.
    ways
        What gets trains over that do not climb.
    reader
        The units of whoever reads the page.
    film
        The keep-clean plan, where it is to be shown.
    """
    style, script = asset("page.css"), script_of((*SHARED, "tables.js", "page.js"))
    view, plan_notes = drawn_plan_view(layout)
    responses = islice(railhead_responses(layout.alignment), _HANDLES)
    return template("report.html").render(
        policy=policy(style, script),
        style=trusted(style),
        script=trusted(script),
        data=json_in_html(
            report_document(layout, answer.trains, answer.judged_rails, reader, view, film, responses, answer)
            | {"chances": chances(answer)}
        ),
        plan_view=view is not None,
        plan_notes=plan_notes,
        version=__version__,
        film=[] if film is None else film_parts(film, reader),
        uses=_uses(film),
        filmed=view is not None and any(track.rail != CLEAN for track in view.tracks.values()),
        train_key=TRAIN_KEY,
        legs=any(route.profile.legs for route in answer.routes),
        **_answers(answer, ways, reader),
    )


def drawn_plan_view(layout: Layout) -> tuple[PlanView | None, list[str]]:
    """Return the plan view and the notes on it, which say why there is none where nothing can be drawn."""
    try:
        view = plan_view(layout)
    except PlanError as error:
        # without the file: a page that is mailed says nothing of its maker's folders
        return None, [str(PlanError(error.wrong, place=error.place, found=error.found, write=error.write))]
    return view, [note.text for note in view.notes]


def _uses(film: KeepCleanPlan | None) -> list[tuple[str, str]]:
    """Return the uses that track is put to, each with its class on the page and what it means."""
    used = set() if film is None else {row.use for row in film.rows}
    return [(use.replace(" ", "-"), style.words) for use, style in USES.items() if use in used]


def _answers(answer: CheckAnswer, ways: Sequence[WaysOver], reader: Reader) -> dict[str, Any]:
    plan = answer.plan
    runs = [run for route in answer.routes for run in _runs(answer, route, reader)]
    return {
        "title": plan.title,
        "file": clean(Path(plan.file).name),
        "facts": _facts(answer, reader),
        "summary": _summary(answer),
        "trains": [_train(answer, name, ways, reader) for name in dict.fromkeys(train.name for train in answer.trains)],
        "how_helped": HOW_HELPED if ways else "",
        "outcomes": outcome_rows(answer, reader),
        "verdicts": verdict_rows(answer, reader),
        "routes": runs,
        "open_routes": len(runs) if len(runs) <= _OPEN else 1,
        "shades": [shade_words(number, reader) for number in range(len(SHADES))],
        "workbench": bool(answer.routes and plan.powers),
        "loads": load_rows(answer),
        "how_sure": HOW_SURE,
        "binds": binding_rows(answer, reader),
        "berths": berth_rows(answer, reader),
        "cards": load_cards(answer),
        "assumed_words": _assumed(answer),
        "figures": figure_rows(answer, reader),
        "doubts": [str(note) for note in answer.doubts],
        "notes": [str(note) for note in answer.notes if note not in answer.doubts],
    }


def chances(answer: CheckAnswer) -> list[dict[str, str]]:
    """Return the chance of stalling of each train at its worst: as judged, and with each film everywhere."""
    found = {"": worst_of_each(answer.on(answer.judged_rails)), **film_everywhere(answer)}
    return [
        {"name": train.name, "on": condition, "risk": chance_words(train.trust.stall_probability)}
        for condition, trains in found.items()
        for train in trains
    ]


def _facts(answer: CheckAnswer, reader: Reader) -> list[str]:
    plan, scale = answer.plan, answer.plan.scale
    named = f"{scale.name}, " if scale.name and not scale.name.startswith("1:") else ""
    coefficient, model = reader.small(answer.coefficient), CURVE_MODELS[plan.curve_resistance.model]
    facts = [
        f"Scale {named}1:{scale.ratio:.4g}, gauge {1000 * scale.gauge:.4g} mm.",
        f"Curve coefficient {coefficient} (grade x radius), from {model}.",
    ]
    tightest = max((abs(track.curvature) for track in plan.tracks.values()), default=0.0)
    if tightest > 0:
        adds = reader.grade(answer.coefficient * tightest)
        facts.append(f"The tightest curve, radius {reader.length(1 / tightest)}, adds as much as a grade of {adds}.")
    return facts


def _summary(answer: CheckAnswer) -> str:
    unnamed = "" if answer.plan.trains else "No train is named in the plan, so none is judged here. "
    return (unnamed + summary(answer)).strip()


def _train(answer: CheckAnswer, name: str, ways: Sequence[WaysOver], reader: Reader) -> dict[str, Any]:
    mine = [train for train in answer.trains if train.name == name]
    everywhere = worse_ages(train for train in mine if train.rail in answer.film_rails)
    profile = next(route.profile for route in answer.routes if route.route.name == mine[0].route)

    def condition(train: TrainAnswer) -> dict[str, Any]:
        return {
            "rail": train.rail,
            "judged": train.rail in answer.judged_rails,
            "outcome": train.outcome,
            "words": verdict_words(train.verdict, train.misfits, profile, reader),
            "ways": [
                line for way in ways if (way.train, way.rail) == (name, train.rail) for line in way_lines(way, reader)
            ],
        }

    return {
        "name": name,
        "route": mine[0].route,
        "length": reader.length(mine[0].length),
        "conditions": [condition(train) for train in mine if train.rail in answer.judged_rails]
        + [condition(train) for train in everywhere],
    }


def _runs(answer: CheckAnswer, route_answer: RouteAnswer, reader: Reader) -> list[dict[str, Any]]:
    """Return a route, or its legs where it has reversals, with the facts on the whole at the first."""
    facts = _route_facts(answer, route_answer, reader)
    return [
        {
            "name": run.route.name,
            "kind": "leg" if route_answer.profile.legs else "route",
            "ends": _ends(run.route),
            "facts": facts if number == 0 else [],
        }
        for number, (run, _) in enumerate(route_answer.profile.runs)
    ]


def _ends(route: Route) -> str:
    ends = f"round from {apart(route.origin)}" if route.lap else f"{apart(route.origin)} to {apart(route.destination)}"
    return "" if ends == route.name else ends


def _route_facts(answer: CheckAnswer, route_answer: RouteAnswer, reader: Reader) -> list[str]:
    profile, ruling = route_answer.profile, route_answer.ruling
    length, climb, fall = (reader.length(value) for value in (profile.length, profile.climb, profile.fall))
    effective, grade, curve = (reader.grade(value) for value in (ruling.effective, ruling.grade, ruling.curve))
    start, stop = reader.length(ruling.start), reader.length(ruling.stop)
    where = f"at {start}" if start == stop else f"from {start} to {stop}"
    whole = f"All {len(profile.legs)} legs: " if profile.legs else ""
    reversals = [
        f"{reader.length(at)} in {apart(tail.name)}"
        + (f", where {apart(run_round_words(tail, tail.round_room, reader))}" if tail.round_room is not None else "")
        for tail, at in reversed_at(route_answer)
    ]
    return [
        f"{whole}{length} long, climbs {climb}, falls {fall}.",
        f"Ruling grade {effective}: grade {grade} and curve {curve}, on {apart(ruling.track)}, {where}.",
        *_under_trains(answer, route_answer, reader),
        *([f"It reverses at {', and at '.join(reversals)}."] if reversals else []),
    ]


def _under_trains(answer: CheckAnswer, route_answer: RouteAnswer, reader: Reader) -> Iterable[str]:
    running = {train.length: train.name for train in answer.trains if train.route == route_answer.route.name}
    for under in route_answer.under_trains:
        if under.train_length in running:
            name, grade = apart(running[under.train_length]), reader.grade(under.effective)
            yield f"Under {name}, {reader.length(under.train_length)} long: {grade} on the average at the most."


def _assumed(answer: CheckAnswer) -> str:
    counts = {
        basis: sum(figure.basis == basis for figure in answer.figures)
        for basis in ("measured", "stated", "fitted", "scaled", "assumed")
    }
    of_basis = ", ".join(f"{count} {basis}" for basis, count in counts.items() if count)
    found = " Fitted: found so that a line ends at its joint." if counts["fitted"] else ""
    return (
        f"Of the figures below, {of_basis}. Measured: read at the bench. Stated: written in the plan.{found} Scaled: "
        "from a reading on other rail. Assumed: usual in the trade, measured by nobody here."
    )
