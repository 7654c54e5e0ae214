"""The answer to the main job for a person: the verdict first, then route by route, then what it all rests on."""

from __future__ import annotations

from collections.abc import Sequence

from gradehaul.haulage.answers.check import CheckAnswer, Figure, misfit_notes
from gradehaul.plan.names import clean
from gradehaul.show.base.page import Page
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.check.route_text import Told, add_route, explain_loads
from gradehaul.show.check.verdict_text import add_verdicts
from gradehaul.show.check.ways_over_text import add_ways_over
from gradehaul.treatment.ways_over import WaysOver

CURVE_MODELS = {
    "degree": "full-size practice scaled down (0.04 % of grade per degree of curve), assumed",
    "wheelbase": "the gauge, and the wheelbase and friction stated in the plan",
    "coefficient": "your own measurement",
}
"""Where the curve coefficient comes from, by model."""

CLEAR_LENGTH = {
    "stated": "stated in the plan",
    "map": "the map, clear of other tracks",
    "whole": "the whole of its track",
}
"""How the clear length of a berth is known."""

_CAUTION = (
    "Before any film goes on a rail of the layout: wipe it on a loose plank of track, measure the pull there, and put "
    "the readings in the plan. A film does not come off again; a dry rag does not lift it."
)


def check_page(answer: CheckAnswer, reader: Reader, ways: Sequence[WaysOver] = (), *, verbose: bool = False) -> Page:
    """Return the answer as a page, in the order in which a builder asks, with what to do about trains that fail.

    `verbose` also tells of every figure where it comes from.
    """
    page = Page()
    _add_title(page, answer, reader)
    if answer.doubts:
        page.heading("Look at these figures first: if one is wrong, so is the answer")
        for doubt in answer.doubts:
            page.line(str(doubt), indent=2)
    add_verdicts(page, answer, reader)
    _add_missing(page, answer)
    if any(route.loads for route in answer.routes):
        explain_loads(page)
    before: Told = {}
    for route in answer.routes:
        add_route(page, answer, route, reader, before)
    add_ways_over(page, ways, reader)
    _add_between(page, answer, reader)
    _add_berths(page, answer, reader)
    if verbose:
        from gradehaul.show.check.origins_text import add_origins

        add_origins(page, answer, reader)
    else:
        _add_figures(page, answer, reader)
    above = (*answer.doubts, *misfit_notes(answer.plan, answer.trains))
    notes = [note for note in answer.notes if note not in above]
    if notes:
        page.heading("Notes")
        for note in notes:
            page.line(str(note), indent=2)
    if answer.plan.films:
        page.heading("Caution")
        page.line(_CAUTION, indent=2)
    return page


def _add_title(page: Page, answer: CheckAnswer, reader: Reader) -> None:
    plan = answer.plan
    scale = plan.scale
    page.line((plan.title, "bold"), f" ({clean(plan.file)})")
    named = f"{scale.name}, " if scale.name else ""
    gauge = f"{1000 * scale.gauge:.4g} mm"
    page.line(f"Scale {named}1:{scale.ratio:.4g}, gauge {gauge}; {plan.practice} practice where nothing is said.")
    bends = plan.curve_resistance
    model = CURVE_MODELS[bends.model]
    more = "" if bends.starting is None else f"; {bends.starting:g} times that when starting"
    more += f"; coupler tension with friction {bends.tension:g}" if bends.tension else ""
    page.line(f"Curve coefficient {reader.small(answer.coefficient)} (grade x radius), from {model}{more}.")
    tightest = max((abs(track.curvature) for track in plan.tracks.values()), default=0.0)
    if tightest > 0:
        radius, asks = reader.length(1 / tightest), reader.grade(answer.coefficient * tightest)
        page.line(f"The tightest curve, radius {radius}, asks as much as a grade of {asks}.")


def _add_missing(page: Page, answer: CheckAnswer) -> None:
    plan = answer.plan
    missing = [
        words
        for present, words in (
            (plan.locos, "no locomotive: write [loco.NAME] with its mass and length"),
            (plan.cars, "no car: write [car.NAME] with its length"),
        )
        if not present
    ]
    if missing:
        page.line()
        page.line(f"No loads are told, for the plan has {'; and '.join(missing)}.")
    if not answer.routes and plan.routes:
        page.line()
        page.line("No declared route could be answered: see the notes.")
    elif not answer.routes:
        page.line()
        page.line("No train can run from one end or berth to another, so there are no routes to tell.")


def _add_between(page: Page, answer: CheckAnswer, reader: Reader) -> None:
    if not answer.between:
        return
    page.heading("Ways between places (no route is declared; those with the lowest and highest ruling grade are told)")
    rows = []
    for between in answer.between:
        count = f"{between.count}" if between.exact else f"at least {between.count}"
        bound = f"{'' if between.exact else 'at most '}{reader.grade(between.highest_bound)}"
        rows.append([between.origin, between.destination, count, bound])
    page.table(["from", "to", "routes>", "highest ruling grade>"], rows)


def _add_berths(page: Page, answer: CheckAnswer, reader: Reader) -> None:
    if not answer.berths:
        return
    page.heading("Berths")
    rows = [
        [
            berth.name,
            reader.length(berth.clear_length),
            CLEAR_LENGTH[berth.basis],
            reader.grade(berth.steepest),
            ", ".join(f"{count} {car}" for car, count in berth.cars_fit.items()) or "-",
            ", ".join(f"{car} {'stay' if stay else 'ROLL AWAY'}" for car, stay in berth.cars_stay.items()) or "-",
        ]
        for berth in answer.berths
    ]
    heads = ["berth", "clear length>", "known from", "steepest>", "cars that fit, no engine", "left standing"]
    page.table(heads, rows)
    rolling = [(berth, car, roll) for berth in answer.berths for car, rolls in berth.rolls.items() for roll in rolls]
    for berth, car, roll in rolling:
        run = reader.length(roll.length)
        stops = f"to the end of track at {roll.end}" if roll.end is not None else f"and stops on {roll.track}"
        page.line(f"{car} left standing in {berth.name} would roll toward {roll.toward}: {run}, {stops}", indent=2)
    if rolling:
        page.line(
            "Runs are those of a single car from the worst place, at its lowest rolling resistance, over whichever way "
            "lets it run furthest; a film on the rail changes nothing in them. Block the wheels, or stand cars "
            "elsewhere.",
            indent=2,
        )


def _add_figures(page: Page, answer: CheckAnswer, reader: Reader) -> None:
    unsure = [figure for figure in answer.figures if figure.basis in ("assumed", "scaled")]
    if not unsure:
        return
    page.heading("Figures that nobody measured or stated")
    rows = [[figure.subject, figure.name, figure_value(figure, reader), figure.basis] for figure in unsure]
    page.table(["of", "figure", "value>", "basis"], rows)


def figure_value(figure: Figure, reader: Reader) -> str:
    """Return the value of a figure as it is told."""
    if figure.kind == "length":
        return reader.small(figure.value)
    return reader.quantity(figure.value, figure.kind)
